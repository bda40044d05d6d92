"""The field sheet: the board at true scale, what to do, and the table to fill in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from orient.defaults import ROD_MM
from orient.numbers.tolerances import COVERAGE_95
from orient.planning.boardday import rod_of_best_marks_mm, rods_that_work
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.sheet.board import BoardLines
from orient.sheet.boardpaper import BoardSheet, board_window
from orient.sheet.code import KINDS, SheetCode, code_name
from orient.sheet.filled import BLANK, Filled
from orient.sheet.form import form_pages, zone_text
from orient.sheet.geometry import BoardPage, board_pages, tiles_of
from orient.sheet.layout import SheetLayout
from orient.sheet.paper import PAPERS, Heading, Page, Paper, Printed, as_pdf, day_of, drawing_rules

SHORTEST_ROD_MM, TALLEST_ROD_MM = 20.0, 5000.0
SMALLEST_BOARD_MM, LARGEST_BOARD_MM = 100.0, 2000.0


@dataclass(frozen=True)
class Sheet(Printed):
    """A field sheet: its pages, the first of them the board at true scale.

    `boards` says where everything stands on those board pages, `code` what they tell of
    themselves.
    """

    boards: tuple[BoardPage, ...]
    layout: SheetLayout
    code: SheetCode

    @property
    def board_pages(self) -> int:
        return len(self.boards)

    def as_layout(self) -> dict[str, Any]:
        """The geometry of every page, as `--layout` writes it."""
        forms = [
            {
                "page": number,
                "width_mm": page.paper.width_mm,
                "height_mm": page.paper.height_mm,
                "x_axis": [1.0, 0.0],
                "y_axis": [0.0, -1.0],
                "north_on_board_deg": 0.0,
                "targets": [],
            }
            for number, page in enumerate(self.pages, start=1)
            if number > self.board_pages
        ]
        return {
            "made_by": "orient sheet layout",
            "pages": [*(board.as_layout() for board in self.boards), *forms],
        }


@dataclass(frozen=True)
class SheetPlan:
    """A site and day laid out on paper, before it is drawn: what all boards of a class share."""

    site: pd.Series
    paper: Paper
    layout: SheetLayout
    kind: str
    campaign: str

    @classmethod
    def of(
        cls,
        site: pd.Series,
        date: Any,
        rod_mm: float = ROD_MM,
        paper: Paper | None = None,
        board_mm: tuple[float, float] | None = None,
        landscape: bool | None = None,
        kind: str = "marking",
        campaign: str = "",
        limits: Limits | None = None,
    ) -> SheetPlan:
        """Lay out one site and day; arguments and errors as of `field_sheet`."""
        check_sizes(rod_mm, board_mm)
        if kind not in KINDS:
            raise ValueError(f"a sheet is of the kind {' or '.join(KINDS)}, found {kind!r}")
        upright = paper or PAPERS["A4"]
        used, layout = _turned_best(site, date, rod_mm, upright, board_mm, landscape, limits)
        return cls(site, used, layout, kind, campaign)

    def sheet(self, filled: Filled = BLANK) -> Sheet:
        """Draw the sheet, blank or filled in."""
        layout, kind = self.layout, self.kind
        heading = _heading(self.site, layout.date, layout.rod_mm, kind, filled)
        with drawing_rules():
            code = _code(layout, self.paper, kind, self.campaign, filled.setup)
            boards = board_pages(code)
            drawing = BoardLines(boards, code, layout if kind == "track" else None, filled)
            drawn = [_board_sheet(board, code, drawing, heading, len(boards)) for board in boards]
            pages = [*drawn, *form_pages(layout, self.paper, heading, kind)]
            _number(pages, [board.name for board in boards])
        title = f"{heading.title} {heading.whose} {layout.date}"
        return Sheet(tuple(pages), title, str(layout.date), tuple(boards), layout, code)

    def pdf_of(self, boards: Iterable[Filled], advance: Callable[[int], None]) -> bytes:
        """The sheets of many boards as one PDF, in their order.

        Args:
            boards: what is filled in on each.
            advance: told after each sheet drawn.
        """

        def pages() -> Iterator[Page]:
            for filled in boards:
                yield from self.sheet(filled).pages
                advance(1)

        heading = _heading(self.site, self.layout.date, self.layout.rod_mm, self.kind, BLANK)
        title = f"{heading.title}s {heading.name} {self.layout.date}"
        with drawing_rules():
            return as_pdf(pages(), title, day_of(str(self.layout.date)))


def field_sheet(
    site: pd.Series,
    date: Any,
    rod_mm: float = ROD_MM,
    paper: Paper | None = None,
    board_mm: tuple[float, float] | None = None,
    landscape: bool | None = None,
    kind: str = "marking",
    campaign: str = "",
    limits: Limits | None = None,
) -> Sheet:
    """Draw the field sheet of one site and day.

    Args:
        site: a row of the sites table, its id as the row's name.
        date: local date.
        rod_mm: tip above the board.
        paper: upright; A4 when None.
        board_mm: width and height to draw on, tiled over pages when larger than the paper;
            one page's window when None.
        landscape: turn the paper; None takes the way with the longer good hours.
        kind: "marking", with foot, axes, rings and targets to mark on; or "track", with the
            predicted track, to be laid over the marks.
        campaign: its name, for the printed code.
        limits: what a pair must meet in the good hours; those of `plan` when None.

    Returns:
        The sheet; the same arguments give the same bytes.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.
        ValueError: a rod or board of impossible size, an unknown kind.

    Accuracy: the tip is drawn where `shadow.tip` puts it, within 0.01 mm in the file.
    """
    return SheetPlan.of(
        site, date, rod_mm, paper, board_mm, landscape, kind, campaign, limits
    ).sheet()


def marking_print(code: SheetCode) -> tuple[list[BoardPage], list[Page]]:
    """What is printed inside the border of marking sheets, drawn again from their code."""
    with drawing_rules():
        boards = board_pages(code)
        drawing = BoardLines(boards, code, None)
        blank = Heading("", "", "")
        return boards, [_board_sheet(board, code, drawing, blank, len(boards)) for board in boards]


def _board_sheet(
    board: BoardPage, code: SheetCode, drawing: BoardLines, heading: Heading, count: int
) -> BoardSheet:
    page = BoardSheet(board.paper, heading)
    drawing.draw(page, board)
    for target in board.targets:
        page.draw_target(target)
    if board.code_box is not None:
        page.draw_code(code.of_page(board.number).text(), board.code_box)
    return page


def _code(layout: SheetLayout, paper: Paper, kind: str, campaign: str, setup: str) -> SheetCode:
    tiles = tiles_of(paper, layout.board_mm, layout.foot_mm)
    return SheetCode(
        code_name(campaign),
        code_name(str(layout.site.name)),
        str(layout.date),
        layout.rod_mm,
        kind,
        1,
        tiles.count,
        (paper.width_mm, paper.height_mm),
        layout.board_mm,
        layout.foot_mm,
        tuple(layout.rings["radius_mm"]),
        code_name(setup),
    )


def fitting_rod_mm(
    site: pd.Series, date: Any, upright: Paper, board_mm: tuple[float, float] | None = None
) -> float:
    """The rod with the longest good hours on a paper laid either way, or on a board, tried.

    Where none has any, the rod whose timed marks tell most there.
    """
    windows = [board_window(paper) for paper in (upright, upright.turned())]
    sizes = [board_mm] if board_mm else [(each.width_mm, each.height_mm) for each in windows]
    tried = list(rods_that_work(site, date, Rig(), sizes))
    if tried:
        return max(tried, key=lambda day: day.good_s).rig.rod_mm
    return rod_of_best_marks_mm(site, date, Rig(), sizes)


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
    limits: Limits | None,
) -> tuple[Paper, SheetLayout]:
    ways = {False: [upright], True: [upright.turned()], None: [upright, upright.turned()]}
    if board_mm is not None:
        layout = SheetLayout.of(site, date, rod_mm, board_mm, limits=limits)
        count = {
            paper: tiles_of(paper, board_mm, layout.foot_mm).count for paper in ways[landscape]
        }
        return min(count, key=lambda paper: count[paper]), layout
    found = []
    for paper in ways[landscape]:
        window = board_window(paper)
        board = (window.width_mm, window.height_mm)
        found.append((paper, SheetLayout.of(site, date, rod_mm, board, limits=limits)))
    return max(
        found, key=lambda way: (round(way[1].day.good_s), int(way[1].on_sheet["on_sheet"].sum()))
    )


def _number(pages: Sequence[Page], tile_names: Sequence[str]) -> None:
    for number, page in enumerate(pages, start=1):
        tiled = len(tile_names) > 1 and number <= len(tile_names)
        tile = f"{tile_names[number - 1]} · " if tiled else ""
        page.number(f"{tile}page {number} of {len(pages)}")


# ---------------------------------------------------------------- heading


_TITLES = {"marking": "Marking sheet", "track": "Track sheet"}


def _heading(
    site: pd.Series, date: np.datetime64, rod_mm: float, kind: str, filled: Filled
) -> Heading:
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
    title = "Practice sheet" if filled.practised else _TITLES[kind]
    return Heading(title, str(site.name), " · ".join(unbroken), filled)


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
    from orient.numbers.grid import grid_figures, short_name

    grid = str(site["grid"])
    here = grid_figures(float(site["latitude_deg"]), float(site["longitude_deg"]), grid)
    convergence = float(here.convergence_deg)
    if not np.isfinite(convergence):
        return ""
    return f"grid north {_east_west(convergence, 2)} of true ({short_name(grid)})"


def _east_west(angle_deg: float, places: int = 1) -> str:
    return f"{abs(angle_deg):.{places}f}° {'W' if angle_deg < 0 else 'E'}"
