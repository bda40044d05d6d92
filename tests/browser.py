"""A real browser for the tests of pages: Debian's chromium, driven headless."""

import atexit
import shutil
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest

_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Opened(NamedTuple):
    """A page as opened: what the browser complained of and what it asked for grow with use."""

    page: Any
    errors: list[str]
    requests: list[str]

    def overflow_px(self) -> int:
        """By how much the page is wider than its window."""
        return self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )


@cache
def _browser() -> Any:
    """One browser for all pages of a process; each page gets a profile of its own."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    playwright = pytest.importorskip(
        "playwright.sync_api", reason="no playwright here: pip install 'orient[test]'"
    )
    driver = playwright.sync_playwright().start()
    browser = driver.chromium.launch(executable_path=chromium, args=_FLAGS)
    atexit.register(driver.stop)
    atexit.register(browser.close)
    return browser


def open_again(profile: Path, path: Path) -> Any:
    """A file in a browser of its own that keeps its storage in a folder; its page."""
    context = _browser().browser_type.launch_persistent_context(
        str(profile), executable_path=shutil.which("chromium"), args=_FLAGS, offline=True
    )
    context.set_default_timeout(60000)
    (page,) = context.pages
    page.goto(path.resolve().as_uri())
    return page


@contextmanager
def open_page(
    path, width, dark=False, height=800, at=None, timezone=None, before=None, scripts=True, part=""
):
    """Open a file in a window of a width, offline; skips the test where there is no browser.

    An address of this machine, http://…, is opened with the network on.

    `at`, ISO text in UTC, sets the browser's clock, which then runs on; `timezone` is the
    browser's own; `before` is a script that runs before any of the page's. `scripts` off shows
    the page to a browser that runs none; `part` is the fragment asked for.
    """
    served = str(path).startswith("http://")
    context = _browser().new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        timezone_id=timezone,
        java_script_enabled=scripts,
        offline=not served,
    )
    try:
        page = context.new_page()
        errors, requests = [], []
        page.on("console", lambda said: errors.append(said.text) if said.type == "error" else 0)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda request: requests.append(request.url))
        if before:
            page.add_init_script(before)
        if at:
            page.clock.install(time=at)
        context.set_default_timeout(60000)
        page.goto((str(path) if served else Path(path).resolve().as_uri()) + part)
        yield Opened(page, errors, requests)
    finally:
        context.close()
