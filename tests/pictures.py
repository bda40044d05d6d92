"""The pictures of the docs, made from the demo: python tests/pictures.py writes them.

Beside each stands a text, `docs/pictures/NAME.txt`: the words and figures that the picture shows.
The test makes those again, which every machine can, and compares; the pictures themselves depend
on a machine's fonts.
"""

from __future__ import annotations

import contextlib
import io
import re
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from orient import cli

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "pictures"
DEMO = ROOT / "sites" / "aldermoor"
DAY = "2026-06-21"
#: What a telephone's clock shows when its page is opened.
AT = f"{DAY}T07:00:00Z"


class Picture(NamedTuple):
    """A page that the program makes, and the part of it that is shown."""

    arguments: list[str]
    file: str
    shown: str  # of the page, a selector
    width: int
    height: int


PICTURES = {
    "report": Picture(["report", str(DEMO), "-o", "."], "index.html", "#results", 900, 700),
    "board": Picture(["report", str(DEMO), "-o", "."], "index.html", "#setups figure", 640, 700),
    "plan": Picture(
        ["plan", str(DEMO), "--from", DAY, "--to", "2026-06-27", "--page", "plan.html"],
        "plan.html",
        "body",
        760,
        900,
    ),
    "telephone": Picture(
        ["field", str(DEMO), "--from", DAY, "-o", "field.html"], "field.html", "body", 360, 640
    ),
    "sheet": Picture(
        ["sheet", str(DEMO), "--site", "larkdune", "--date", DAY, "-o", "sheet.pdf"],
        "sheet.pdf",
        "",
        800,
        0,
    ),
}


def made(picture: Picture, folder: Path) -> Path:
    """The page, made by the program as a person would."""
    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()):
        assert cli.run(picture.arguments) == 0
    return folder / picture.file


def words(path: Path) -> str:
    """The headings of a page and the figures of its first table, or a PDF's first page."""
    if path.suffix == ".pdf":
        import pdfplumber

        with pdfplumber.open(path) as document:
            return document.pages[0].extract_text() + "\n"
    page = path.read_text("utf-8")
    page = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.S)
    table = re.search(r"<table.*?</table>", page, re.S)
    parts = re.findall(r"<h[12][^>]*>.*?</h[12]>", page, re.S)
    parts += re.findall(r"<tr.*?(?=</?t(?:r|body|able)\b)", table[0], re.S) if table else []
    plain = (re.sub(r"<[^>]+>", " ", part) for part in parts)
    return "\n".join(" ".join(part.split()) for part in plain) + "\n"


def draw(name: str, picture: Picture, path: Path) -> None:
    """The picture of a page as PNG."""
    if path.suffix == ".pdf":
        command = ["pdftoppm", "-png", "-r", "80", "-f", "1", "-l", "1", "-singlefile"]
        subprocess.run([*command, str(path), str(FOLDER / name)], check=True)
        return
    from browser import open_page

    part = "#setup-1" if name == "board" else ""
    with open_page(path, picture.width, height=picture.height, at=AT, part=part) as opened:
        if name == "telephone":
            mark_a_day(opened.page)
        shown = opened.page.locator(picture.shown).first
        shown.scroll_into_view_if_needed()
        box = shown.bounding_box()
        clip = {
            "x": max(0.0, box["x"] - 8),
            "y": box["y"],
            "width": min(box["width"] + 16, picture.width),
            "height": min(box["height"], picture.height),
        }
        whole = {**clip, "y": clip["y"] + opened.page.evaluate("window.scrollY")}
        opened.page.screenshot(path=FOLDER / f"{name}.png", clip=whole, full_page=True)


def mark_a_day(page: Any) -> None:
    """A set-up and its marks typed into the telephone's page, which then shows north."""
    import numpy as np

    from orient import simulate
    from orient.tables.campaign import read_campaign

    site = read_campaign(DEMO, ("sites",)).sites.loc["larkdune"]
    place = [float(site[name]) for name in ("latitude_deg", "longitude_deg", "elevation_m")]
    hours = np.arange(
        np.datetime64(f"{DAY}T07:30"), np.datetime64(f"{DAY}T15"), np.timedelta64(45, "m")
    )
    azimuth, altitude, _ = simulate.sun_seen(hours.astype("datetime64[s]").astype(float), *place)
    tips = simulate.shadow_tips(azimuth, altitude, simulate.TrueBoard(31.0, 300.0))
    tips += np.random.default_rng(4).normal(0.0, 0.5, tips.shape)
    page.select_option("#f-site", "larkdune")
    filled = {
        "setup": "lark-9",
        "height": "300",
        "height-again": "300",
        "reference-name": "palm stump",
    }
    for field, text in (filled | {"reference-x": "250", "reference-y": "180"}).items():
        page.fill(f"#f-{field}", text)
    page.click("#save-setup")
    page.click("#tabs [data-part=marks]")
    for number, (hour, tip) in enumerate(zip(hours, tips, strict=True), start=1):
        page.clock.pause_at(f"{hour}:00Z")
        page.click("#mark-button")
        row = page.locator(f'#mark-rows tr[data-mark="{number}"]')
        for column, value in zip(("x_mm", "y_mm"), tip, strict=True):
            row.locator(f'[data-column="{column}"]').fill(f"{value:.1f}")
            row.locator(f'[data-column="{column}"]').press("Tab")
    page.click("#tabs [data-part=north]")


def each(use: Callable[[str, Picture, Path], None]) -> None:
    """Make every page and hand it on."""
    for name, picture in PICTURES.items():
        with tempfile.TemporaryDirectory() as folder:
            use(name, picture, made(picture, Path(folder)))


def _write(name: str, picture: Picture, path: Path) -> None:
    (FOLDER / f"{name}.txt").write_text(words(path), "utf-8")
    draw(name, picture, path)


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    each(_write)
