"""What every page for a browser shares: its style, its parts, and a head that guards it."""

from __future__ import annotations

import base64
import hashlib
import html
import re
from functools import lru_cache
from importlib.resources import files
from typing import Any

from orient.text import figure, left_to_right

#: Stands in a page's template where `sealed` puts the head's lines.
SEAL = "<!-- seal -->"
_INLINE = re.compile(r"<(style|script)>(.*?)</\1>", re.DOTALL)


def shared_style() -> str:
    """The style sheet that every page begins with: light, dark and paper."""
    return page_text("pages", "style.css")


def panel_style() -> str:
    """The style of the panel for use on site; it takes its colours --u1 and --u3 from the page."""
    return page_text("pages", "panel.css")


def page_text(room: str, name: str) -> str:
    """A style or script as the package carries it.

    Args:
        room: the product that it belongs to, such as `planpage`.
        name: of the file there.
    """
    return (files(f"orient.{room}") / name).read_text(encoding="utf-8")


@lru_cache(maxsize=8)
def page_template(room: str, name: str) -> Any:
    """A page's template, which may include what pages share.

    Every text is escaped, a name that is not given is an error, and the filter `figure`
    writes a number for people: `{{ u | figure(2, "°") }}`. The filter `coded` sets
    as code what a sentence has between backticks; `isolated` keeps a name that may be written
    from right to left from turning what stands beside it.

    Args:
        room: the product whose template it is, such as `planpage`.
        name: of the template's file there.
    """
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    loader = ChoiceLoader([PackageLoader("orient", room), PackageLoader("orient", "pages")])
    environment = Environment(
        loader=loader, autoescape=True, trim_blocks=True, undefined=StrictUndefined
    )
    environment.filters["figure"] = _figure
    environment.filters["isolated"] = _isolated
    environment.filters["coded"] = _coded
    return environment.get_template(name)


def _figure(value: Any, places: int = 2, unit: str = "", plus: bool = False) -> str:
    return figure(value, places, unit, plus)


def _isolated(text: Any) -> str:
    from markupsafe import Markup, escape

    safe = escape(text)
    return safe if left_to_right(str(text)) else Markup("<bdi>{}</bdi>").format(safe)


def _coded(sentence: Any) -> str:
    from markupsafe import Markup, escape

    return Markup(re.sub("`([^`]+)`", r"<code>\1</code>", str(escape(sentence))))


def sealed(page: str, kind: str) -> str:
    """A page that runs its own scripts and styles and nothing else, and tells what made it.

    Args:
        page: HTML with `SEAL` in its head; its `<style>` and `<script>` stand bare, and no
            element has a `style` or an `on…` attribute of its own.
        kind: what page this is, such as "orient report": a later page of the same kind may
            replace it (`orient.outputs`).

    Returns:
        The page; its policy names the SHA-256 of each style and script (Content Security
        Policy Level 3, W3C), so that text put into it later runs nowhere.
    """
    sources: dict[str, list[str]] = {"style": [], "script": []}
    for tag, text in _INLINE.findall(page):
        digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()
        sources[tag].append(f"'sha256-{digest}'")
    allowed = " ".join(
        f"{tag}-src {' '.join(dict.fromkeys(digests))};"
        for tag, digests in sources.items()
        if digests
    )
    policy = f"default-src 'none'; {allowed} img-src data:; base-uri 'none'; form-action 'none'"
    head = (
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f'<meta name="generator" content="{html.escape(kind)}">'
    )
    return page.replace(SEAL, head, 1)
