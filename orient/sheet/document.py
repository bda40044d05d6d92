"""The field sheet: the board at true scale, what to do, and the table to fill in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from orient.defaults import ROD_MM
from orient.numbers.tolerances import COVERAGE_95
from orient.sheet.board import BoardDrawing, tiles_of
from orient.sheet.form import form_pages, zone_text
from orient.sheet.layout import SheetLayout
from orient.sheet.paper import (
    PAPERS,
    Heading,
    Page,
    Paper,
    as_pdf,
    as_svg,
    drawing_rules,
    window_of,
)

SHORTEST_ROD_MM, TALLEST_ROD_MM = 20.0, 5000.0
SMALLEST_BOARD_MM, LARGEST_BOARD_MM = 100.0, 2000.0


@dataclass(frozen=True)
class Sheet:
    """A field sheet: its pages, the first `board_pages` of them the board at true scale."""

    pages: tuple[Page, ...]
    board_pages: int
    layout: SheetLayout
    title: str

    @property
    def _made(self) -> datetime:
        # The day it is for, not the clock: the same sheet is the same file.
        return datetime.fromisoformat(str(self.layout.date)).replace(tzinfo=UTC)

    def pdf(self) -> bytes:
        """All the pages as one PDF."""
        with drawing_rules():
            return as_pdf(self.pages, self.title, self._made)

    def svgs(self) -> list[str]:
        """Each page as an SVG."""
        with drawing_rules():
            return [as_svg(page, self.title, self._made) for page in self.pages]


def field_sheet(
    site: pd.Series,
    date: Any,
    rod_mm: float = ROD_MM,
    paper: Paper | None = None,
    board_mm: tuple[float, float] | None = None,
    landscape: bool | None = None,
) -> Sheet:
    """Draw the field sheet of one site and day.

    Args:
        site: a row of the sites table, its id as the row's name.
        date: local date.
        rod_mm: tip above the board.
        paper: upright; A4 when None.
        board_mm: width and height to draw on, tiled over pages when larger than the paper;
            one page's window when None.
        landscape: turn the paper; None takes the way that shows more of the track.

    Returns:
        The sheet; the same arguments give the same bytes.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.
        ValueError: a rod or board of impossible size.

    Accuracy: the tip is drawn where `shadow.tip` puts it, within 0.01 mm in the file.
    """
    check_sizes(rod_mm, board_mm)
    heading = _heading(site, np.datetime64(date, "D"), rod_mm)
    upright = paper or PAPERS["A4"]
    with drawing_rules():
        used, layout = _turned_best(site, date, rod_mm, upright, board_mm, landscape, heading)
        board_pages = BoardDrawing(layout, used, heading).pages()
        pages = [*(page for page, _ in board_pages), *form_pages(layout, used, heading)]
        _number(pages, [name for _, name in board_pages])
    title = f"{heading.title} {heading.name} {layout.date}"
    return Sheet(tuple(pages), len(board_pages), layout, title)


def check_sizes(rod_mm: float, board_mm: tuple[float, float] | None) -> None:
    """Refuse a rod or a board that no sheet can be drawn for.

    Raises:
        ValueError: the message says what is wanted.
    """
    if not SHORTEST_ROD_MM <= rod_mm <= TALLEST_ROD_MM:
        raise ValueError(
            f"a rod is {SHORTEST_ROD_MM:.0f} to {TALLEST_ROD_MM:.0f} mm tall, found {rod_mm:g}"
        )
    for side_mm in board_mm or ():
        if not SMALLEST_BOARD_MM <= side_mm <= LARGEST_BOARD_MM:
            raise ValueError(
                f"a board is {SMALLEST_BOARD_MM:.0f} to {LARGEST_BOARD_MM:.0f} mm each way, "
                f"found {side_mm:g}"
            )


def _turned_best(
    site: pd.Series,
    date: Any,
    rod_mm: float,
    upright: Paper,
    board_mm: tuple[float, float] | None,
    landscape: bool | None,
    heading: Heading,
) -> tuple[Paper, SheetLayout]:
    ways = {False: [upright], True: [upright.turned()], None: [upright, upright.turned()]}
    found = []
    for paper in ways[landscape]:
        window = window_of(paper, heading)
        board = board_mm or (window.width_mm, window.height_mm)
        found.append((paper, SheetLayout.of(site, date, rod_mm, board)))
    if board_mm is not None:
        return min(found, key=lambda way: tiles_of(way[0], way[1].board_mm, heading).count)
    return max(found, key=lambda way: int(way[1].on_sheet["on_sheet"].sum()))


def _number(pages: Sequence[Page], tile_names: Sequence[str]) -> None:
    for number, page in enumerate(pages, start=1):
        tiled = len(tile_names) > 1 and number <= len(tile_names)
        tile = f"{tile_names[number - 1]} · " if tiled else ""
        page.number(f"{tile}page {number} of {len(pages)}")


# ---------------------------------------------------------------- heading


def _heading(site: pd.Series, date: np.datetime64, rod_mm: float) -> Heading:
    from orient.tables.coordinates import format_dms

    latitude, longitude = float(site["latitude_deg"]), float(site["longitude_deg"])
    figures = [
        str(date),
        f"{format_dms(latitude, 'latitude', 0)} {format_dms(longitude, 'longitude', 0)}",
        f"{float(site['elevation_m']):.0f} m",
        f"rod {rod_mm:g} mm",
        _declination(site, date),
        _convergence(site),
        f"clock {zone_text(site, date)}",
    ]
    unbroken = (part.replace(" ", "\N{NO-BREAK SPACE}") for part in figures if part)
    return Heading("Shadow sheet", str(site.name), " · ".join(unbroken))


def _declination(site: pd.Series, date: np.datetime64) -> str:
    from orient.numbers.magnetic import OutsideModels, decimal_year, field

    try:
        here = field(
            float(site["latitude_deg"]),
            float(site["longitude_deg"]),
            float(site["elevation_m"]),
            decimal_year(date),
        )
    except OutsideModels:
        return "declination not known for this date"
    doubt = " (model expired)" if bool(here.expired) else ""
    spread = COVERAGE_95 * float(here.declination_u_deg)
    return f"declination {_east_west(float(here.declination_deg))} ± {spread:.1f}°{doubt}"


def _convergence(site: pd.Series) -> str:
    from orient.numbers.grid import grid_figures

    grid = str(site["grid"])
    here = grid_figures(float(site["latitude_deg"]), float(site["longitude_deg"]), grid)
    convergence = float(here.convergence_deg)
    if not np.isfinite(convergence):
        return ""
    return f"grid north {_east_west(convergence, 2)} of true ({grid})"


def _east_west(angle_deg: float, places: int = 1) -> str:
    return f"{abs(angle_deg):.{places}f}° {'W' if angle_deg < 0 else 'E'}"
