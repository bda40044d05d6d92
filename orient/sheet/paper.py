"""Paper at true scale: pages in millimetres, their furniture, and text that stays inside.

A page's origin is its lower left corner, x to the right and y up, in millimetres. Every page
carries a title, the cautions and two check bars of 100 mm; what is left is its window.

Accuracy: lines lie within 0.01 mm of their place in the file (`tests/test_sheet.py` measures
the PDF); the printer's own scale is what the check bars are for.
"""

from __future__ import annotations

import logging
import re
import unicodedata
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import numpy as np

from orient.flags import CAUTIONS
from orient.sheet.filled import BLANK, Filled

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72.0
BAR_MM = 100.0
BAR_NOTE = "Both bars are 100 mm. If not: print at 100 %."
#: The smallest print of what is read at a board, points.
READ_PT = 8.0
INK, SOFT = "#1a1a1a", "#6b6b6b"

_LEFT_MM, _RIGHT_MM, _TOP_MM, _BOTTOM_MM = 15.0, 8.0, 7.0, 7.0
_LINE = 1.32
#: Room for both check bars, the cautions and something to look at.
SMALLEST_MM, LARGEST_MM = 180.0, 1500.0


@dataclass(frozen=True)
class Paper:
    """A sheet of paper as it is printed, millimetres."""

    width_mm: float
    height_mm: float

    def turned(self) -> Paper:
        return Paper(self.height_mm, self.width_mm)


#: ISO 216, and ANSI letter (8½ × 11 in), upright.
PAPERS = {"A4": Paper(210.0, 297.0), "A3": Paper(297.0, 420.0), "Letter": Paper(215.9, 279.4)}


def size_mm(text: str) -> tuple[float, float]:
    """Read a size in millimetres, width × height, such as 650x470.

    Raises:
        ValueError: no such size; the message says what is wanted.
    """
    match = re.fullmatch(r"\s*(\d{1,5}(?:\.\d+)?)\s*[x×X*,]\s*(\d{1,5}(?:\.\d+)?)\s*", text)
    if match is None:
        raise ValueError("a size is width x height in mm, such as 650x470")
    return float(match[1]), float(match[2])


def paper_named(text: str) -> Paper:
    """A paper by its name (A4, A3, Letter) or its size in millimetres (300x400).

    Raises:
        ValueError: unknown, or too small for the check bars, or too large.
    """
    for name, paper in PAPERS.items():
        if text.strip().lower() == name.lower():
            return paper
    try:
        paper = Paper(*size_mm(text))
    except ValueError:
        raise ValueError(f"paper is {', '.join(PAPERS)} or a size in mm, such as 300x400") from None
    if not (
        min(paper.width_mm, paper.height_mm) >= SMALLEST_MM
        and max(paper.width_mm, paper.height_mm) <= LARGEST_MM
    ):
        raise ValueError(f"paper is {SMALLEST_MM:.0f} to {LARGEST_MM:.0f} mm each way")
    return paper


@contextmanager
def drawing_rules() -> Iterator[None]:
    """Draw by our own rules, whatever matplotlib is set to; its settings are put back."""
    logger = logging.getLogger("matplotlib")
    level = logger.level
    logger.setLevel(logging.ERROR)
    try:
        with _own_settings():
            yield
    finally:
        logger.setLevel(level)


@contextmanager
def _own_settings() -> Iterator[None]:
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {
                # Embedded outlines of the font itself: text stays text in the PDF. In the SVG
                # text is drawn as outlines, for a phone has other fonts, and labels would collide.
                "pdf.fonttype": 42,
                "svg.fonttype": "path",
                "svg.hashsalt": "orient",
                "path.simplify": False,
                "text.parse_math": False,
                # Letters stand as far apart in pixels as they do on paper.
                "text.hinting": "none",
            }
        )
        yield


@lru_cache(maxsize=2)
def _font(bold: bool) -> Any:
    from matplotlib import get_data_path
    from matplotlib.font_manager import FontProperties

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FontProperties(fname=str(Path(get_data_path()) / "fonts" / "ttf" / name))


@lru_cache(maxsize=2)
def _glyphs(bold: bool) -> frozenset[int]:
    from matplotlib.font_manager import get_font

    return frozenset(get_font(_font(bold).get_file()).get_charmap())


def drawable(text: str, bold: bool = False) -> str:
    """The text with what the font or the paper cannot show replaced by a sign that says so.

    Line breaks become spaces; marks that only steer the writing direction are dropped.
    """
    glyphs = _glyphs(bold)
    shown = []
    for character in text:
        if character.isspace():
            shown.append(" ")
        elif unicodedata.category(character) == "Cf":
            continue
        elif ord(character) in glyphs and unicodedata.category(character)[0] != "C":
            shown.append(character)
        else:
            shown.append("\N{REPLACEMENT CHARACTER}")
    return "".join(shown)


@lru_cache(maxsize=4096)
def width_mm(text: str, size_pt: float, bold: bool = False) -> float:
    """How wide a text is when drawn."""
    from matplotlib.textpath import text_to_path

    font = _font(bold).copy()
    font.set_size(size_pt)
    width, _, _ = text_to_path.get_text_width_height_descent(drawable(text, bold), font, False)
    return float(width) * MM_PER_POINT


def fitted(text: str, room_mm: float, size_pt: float, bold: bool = False) -> str:
    """The text, cut short with an ellipsis where it is wider than its room."""
    text = drawable(text, bold)
    if width_mm(text, size_pt, bold) <= room_mm:
        return text
    kept = _most_kept(text, lambda kept: width_mm(text[:kept] + "…", size_pt, bold) <= room_mm)
    return text[:kept].rstrip() + "…"


def _most_kept(text: str, fits: Callable[[int], bool]) -> int:
    """How many signs of a text too wide can stay, by halving."""
    return bisect_left(range(1, len(text)), True, key=lambda kept: not fits(kept))


def shortened(text: str, room_mm: float, size_pt: float, bold: bool = False) -> str:
    """A name, cut in its middle where it is too wide: its end tells it from its like."""
    text = drawable(text, bold)
    if width_mm(text, size_pt, bold) <= room_mm:
        return text

    def shown(kept: int) -> str:
        return f"{text[: kept - kept // 2].rstrip()}…{text[len(text) - kept // 2 :].lstrip()}"

    kept = _most_kept(text, lambda kept: width_mm(shown(kept), size_pt, bold) <= room_mm)
    return shown(kept) if kept > 1 else "…"


def wrapped(text: str, room_mm: float, size_pt: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than its room; a word too long for a line is cut short."""
    lines: list[str] = []
    # Only plain spaces part words: a figure keeps its unit by a no-break space.
    for word in filter(None, text.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_mm(longer, size_pt, bold) <= room_mm:
            lines[-1] = longer
        else:
            lines.append(fitted(word, room_mm, size_pt, bold))
    return lines


def line_height_mm(size_pt: float) -> float:
    """From one line of text to the next."""
    return size_pt * MM_PER_POINT * _LINE


@dataclass(frozen=True)
class Window:
    """A rectangle of a page, millimetres."""

    left_mm: float
    bottom_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        return self.left_mm + self.width_mm

    @property
    def top_mm(self) -> float:
        return self.bottom_mm + self.height_mm


@dataclass(frozen=True)
class Heading:
    """What stands at the head of every page: the sheet, its place, its figures, and whose it is."""

    title: str
    name: str
    figures: str
    filled: Filled = BLANK

    @property
    def whose(self) -> str:
        """The place, and the set-up and its crew where they are known."""
        return " · ".join(filter(None, (self.name, self.filled.setup, self.filled.crew)))


class Page:
    """One page to draw on, with its heading, cautions and check bars already there."""

    def __init__(self, paper: Paper, heading: Heading) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.paper = paper
        self.figure = Figure(figsize=(paper.width_mm / MM_PER_INCH, paper.height_mm / MM_PER_INCH))
        FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_axis_off()
        self.axes.set_xlim(0.0, paper.width_mm)
        self.axes.set_ylim(0.0, paper.height_mm)
        self._furnish(heading)

    def _furnish(self, heading: Heading) -> None:
        """Draw what every page has, and note what that leaves as the window."""
        self.window = window_of(self.paper, heading)
        self._draw_heading(heading)
        self._draw_cautions()
        self._draw_bars()

    def number(self, text: str) -> None:
        """Which page this is, at the right of its heading."""
        right, y = self.paper.width_mm - _RIGHT_MM, self._heading_mm
        self.text(
            right, y, fitted(text, _NUMBER_MM, 9.0, bold=True), 9.0, bold=True, across="right"
        )

    def line(
        self,
        x_mm: Any,
        y_mm: Any,
        width_pt: float = 0.6,
        colour: str = INK,
        style: Any = "-",
        name: str | None = None,
        clip: Window | None = None,
    ) -> None:
        """A line through points; `name` becomes its id in an SVG."""
        from matplotlib.lines import Line2D

        drawn = Line2D(
            np.asarray(x_mm, dtype=float),
            np.asarray(y_mm, dtype=float),
            linewidth=width_pt,
            color=colour,
            linestyle=style,
            gid=name,
            solid_capstyle="butt",
        )
        self.axes.add_artist(drawn)
        self._clip(drawn, clip)

    def area(self, x_mm: Any, y_mm: Any, colour: str, clip: Window | None = None) -> None:
        """A filled outline without an edge."""
        from matplotlib.patches import Polygon

        shape = Polygon(np.column_stack([x_mm, y_mm]), facecolor=colour, edgecolor="none")
        self.axes.add_artist(shape)
        self._clip(shape, clip)

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        size_pt: float = 8.0,
        bold: bool = False,
        colour: str = INK,
        across: str = "left",
        up: str = "baseline",
        turned_deg: float = 0.0,
        halo: bool = False,
        clip: Window | None = None,
    ) -> None:
        """A line of text, in the sheet's own font, missing signs replaced."""
        font = _font(bold).copy()
        font.set_size(size_pt)
        drawn = self.axes.text(
            x_mm,
            y_mm,
            drawable(text, bold),
            fontproperties=font,
            color=colour,
            ha=across,
            va=up,
            rotation=turned_deg,
            rotation_mode="anchor",
            parse_math=False,
        )
        if halo:
            drawn.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})
        self._clip(drawn, clip)

    def box(self, x_mm: float, y_mm: float, side_mm: float = 3.2) -> None:
        """An empty box to tick."""
        right, top = x_mm + side_mm, y_mm + side_mm
        self.line([x_mm, right, right, x_mm, x_mm], [y_mm, y_mm, top, top, y_mm], 0.7)

    def paragraph(
        self,
        text: str,
        left_mm: float,
        top_mm: float,
        room_mm: float,
        size_pt: float = 8.0,
        bold: bool = False,
        colour: str = INK,
    ) -> float:
        """Text in lines from `top_mm` down; returns where the next may begin."""
        step = line_height_mm(size_pt)
        for line in wrapped(text, room_mm, size_pt, bold):
            self.text(left_mm, top_mm - 0.76 * step, line, size_pt, bold, colour)
            top_mm -= step
        return top_mm

    def _clip(self, artist: Any, clip: Window | None) -> None:
        if clip is None:
            artist.set_clip_on(False)
            return
        from matplotlib.patches import Rectangle

        frame = Rectangle(
            (clip.left_mm, clip.bottom_mm),
            clip.width_mm,
            clip.height_mm,
            transform=self.axes.transData,
        )
        artist.set_clip_on(True)
        artist.set_clip_path(frame)

    @property
    def _heading_mm(self) -> float:
        return self.paper.height_mm - _TOP_MM - 4.0

    def _draw_heading(self, heading: Heading) -> None:
        y = self._heading_mm
        right = self.paper.width_mm - _RIGHT_MM
        room = right - _LEFT_MM - _NUMBER_MM - 4.0
        title = fitted(heading.title, room, 12.0, bold=True)
        self.text(_LEFT_MM, y, title, 12.0, bold=True)
        taken = width_mm(title, 12.0, True) + 4.0
        name = shortened(heading.whose, room - taken, 12.0)
        self.text(_LEFT_MM + taken, y, name, 12.0)
        self.paragraph(
            heading.figures, _LEFT_MM, y - 2.0, right - _LEFT_MM, _FIGURES_PT, colour=SOFT
        )

    def _draw_cautions(self) -> None:
        room = self.paper.width_mm - _LEFT_MM - _RIGHT_MM
        self.paragraph(_CAUTION_TEXT, _LEFT_MM, self.window.bottom_mm - 3.5, room, _CAUTIONS_PT)

    def _draw_bars(self) -> None:
        y, x = _BOTTOM_MM + 1.5, _LEFT_MM - 6.0
        right = _LEFT_MM + BAR_MM
        start = self.window.bottom_mm
        for offset in range(0, int(BAR_MM) + 1, 10):
            tick = 1.5 if 0 < offset < BAR_MM else 3.0
            self.line([_LEFT_MM + offset] * 2, [y - tick / 2, y + tick / 2], 0.5)
            self.line([x - tick / 2, x + tick / 2], [start + offset] * 2, 0.5)
        self.line([_LEFT_MM, right], [y, y], 0.5, name="bar-across")
        self.line([x, x], [start, start + BAR_MM], 0.5, name="bar-up")
        room = self.paper.width_mm - _RIGHT_MM - right - 3.0
        lines = wrapped(BAR_NOTE, room, READ_PT)
        step = line_height_mm(READ_PT)
        for number, line in enumerate(lines):
            self.text(right + 3.0, y + (len(lines) / 2 - number - 0.75) * step, line, READ_PT)
        self.text(x - 1.5, start + BAR_MM / 2, "100 mm", READ_PT, across="center", turned_deg=90)


_CAUTION_TEXT = " ".join(CAUTIONS)
_CAUTIONS_PT, _FIGURES_PT, _NUMBER_MM = READ_PT, READ_PT, 40.0


def window_of(paper: Paper, heading: Heading) -> Window:
    """What is left of a page beside its furniture."""
    room = paper.width_mm - _LEFT_MM - _RIGHT_MM
    cautions = len(wrapped(_CAUTION_TEXT, room, _CAUTIONS_PT)) * line_height_mm(_CAUTIONS_PT)
    figures = len(wrapped(heading.figures, room, _FIGURES_PT)) * line_height_mm(_FIGURES_PT)
    bottom = _BOTTOM_MM + 5.0 + cautions + 4.0
    top = paper.height_mm - _TOP_MM - 4.0 - 2.0 - figures - 2.5
    return Window(_LEFT_MM, bottom, room, top - bottom)


def as_pdf(pages: Iterable[Page], title: str, made: datetime) -> bytes:
    """The pages as one PDF; the same pages give the same bytes."""
    from matplotlib.backends.backend_pdf import PdfPages

    stream = BytesIO()
    about = {"Title": drawable(title), "Creator": "orient", "CreationDate": made}
    with PdfPages(stream, metadata=about) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return stream.getvalue()


def day_of(date: str) -> datetime:
    """When a document says that it was made: the day it is for, not the clock."""
    return datetime.fromisoformat(date).replace(tzinfo=UTC)


@dataclass(frozen=True)
class Printed:
    """Drawn pages as files; of the same pages the same file."""

    pages: tuple[Page, ...]
    title: str
    date: str

    def pdf(self) -> bytes:
        """All the pages as one PDF."""
        with drawing_rules():
            return as_pdf(self.pages, self.title, day_of(self.date))

    def svgs(self) -> list[str]:
        """Each page as an SVG."""
        with drawing_rules():
            return [as_svg(page, self.title, day_of(self.date)) for page in self.pages]


def as_svg(page: Page, title: str, made: datetime) -> str:
    """One page as SVG, in its size on paper; the same page gives the same text."""
    stream = StringIO()
    about = {"Title": drawable(title), "Creator": "orient", "Date": made.date().isoformat()}
    page.figure.savefig(stream, format="svg", metadata=about)
    return stream.getvalue()
