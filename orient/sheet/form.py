"""What stands beside the board of a field sheet: hours, steps, how well, the mark table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers.tolerances import COVERAGE_95
from orient.sheet.filled import BLANK, Filled
from orient.sheet.layout import ROD_ALLOWANCE_MM, SheetLayout
from orient.sheet.paper import (
    SOFT,
    Heading,
    Page,
    Paper,
    Window,
    fitted,
    line_height_mm,
    width_mm,
    wrapped,
)
from orient.sheet.pictures import (
    EDGE,
    FAR_POINT,
    FROM_ABOVE,
    HEIGHT,
    LEVEL,
    NUMBER,
    PLUMB,
    WATCH,
    Panel,
    Picture,
)
from orient.tables import clock

#: A direction worse than this at 95 % is not worth setting out by.
_USELESS_DEG = 10.0
_ROW_MM = 5.2
_MARK_ROW_MM, _LEAST_MARKS = 7.0, 13
_PICTURE_MM, _PICTURE_GAP_MM = 17.0, 3.0


_PRACTISED = (
    "Nobody stood at this board: its marks were computed for the site and the day. Measure them "
    "with a ruler, or photograph the board's page for `orient photo`."
)
_Part = Callable[["Flow", SheetLayout], None]


class Flow:
    """Pages filled from the top down; a block that finds no room begins the next page."""

    def __init__(self, paper: Paper, heading: Heading) -> None:
        self.paper, self.heading = paper, heading
        self.pages: list[Page] = []
        self.steps = 0
        self.new_page()

    def new_page(self) -> None:
        self.page = Page(self.paper, self.heading)
        self.pages.append(self.page)
        self.left, self.room = self.page.window.left_mm, self.page.window.width_mm
        self.top = self.page.window.top_mm - 2.0

    @property
    def left_over_mm(self) -> float:
        return self.top - self.page.window.bottom_mm - 2.0

    def need(self, height_mm: float) -> None:
        if height_mm > self.left_over_mm:
            self.new_page()

    def heading_line(self, text: str) -> None:
        # A heading alone at the foot of a page helps nobody: room for the head of a table too.
        self.need(7.0 + 4 * _ROW_MM)
        self.top = self.page.paragraph(text, self.left, self.top - 2.0, self.room, 10.0, True)
        self.top -= 0.8

    def text(self, text: str, indent_mm: float = 0.0) -> None:
        room = self.room - indent_mm
        self.need(len(wrapped(text, room, 8.0)) * line_height_mm(8.0))
        self.top = self.page.paragraph(text, self.left + indent_mm, self.top, room, 8.0) - 0.8

    def step(self, text: str, boxes: Sequence[str] = ()) -> None:
        """A numbered step with a box to tick before it, and further boxes or blanks below."""
        self.steps += 1
        text = f"{self.steps}. {text}"
        lines = wrapped(text, self.room - 6.0, 8.0)
        height = (len(lines) + (1.45 if boxes else 0)) * line_height_mm(8.0)
        self.need(height)
        self.page.box(self.left, self.top - 3.5)
        self.top = self.page.paragraph(text, self.left + 6.0, self.top, self.room - 6.0, 8.0)
        if boxes:
            self._boxes(boxes)
        self.top -= 1.4

    def pictures(self, shown: Sequence[tuple[Picture, str]]) -> None:
        """A row of pictures, each with its words under it."""
        words = line_height_mm(8.0)
        self.need(_PICTURE_MM + words + 4.0)
        share = (self.room + _PICTURE_GAP_MM) / len(shown)
        wide, bottom = share - _PICTURE_GAP_MM, self.top - _PICTURE_MM - 1.0
        for number, (picture, text) in enumerate(shown):
            left = self.left + number * share
            Panel(self.page, Window(left, bottom, wide, _PICTURE_MM), picture)
            self.page.text(
                left + wide / 2, bottom - words + 0.4, fitted(text, wide, 8.0), across="center"
            )
        self.top = bottom - words - 2.4

    def _boxes(self, boxes: Sequence[str]) -> None:
        x, y = self.left + 8.0, self.top - 3.9
        for name in boxes:
            wide = 4.6 + width_mm(name, 8.0) + 5.0
            if x + wide > self.left + self.room:
                x, y = self.left + 8.0, y - 5.0
            self.page.box(x, y, 2.9)
            self.page.text(x + 4.4, y + 0.4, name, 8.0)
            x += wide
        self.top = y - 0.6

    def table(self, columns: Sequence[tuple[str, float]], rows: Sequence[Sequence[str]]) -> None:
        """A ruled table; each column with its share of the width."""
        shares = np.array([share for _, share in columns])
        edges = self.left + self.room * np.concatenate([[0.0], np.cumsum(shares / shares.sum())])
        high = _ROW_MM
        self.need(high * (min(len(rows), 3) + 1))
        self._row(edges, [name for name, _ in columns], high, bold=True)
        for row in rows:
            if high > self.left_over_mm:
                self.new_page()
                self._row(edges, [name for name, _ in columns], high, bold=True)
            self._row(edges, row, high)
        self.top -= 1.5

    def _row(self, edges: Any, cells: Sequence[str], high: float, bold: bool = False) -> None:
        bottom = self.top - high
        self.page.line([edges[0], edges[-1]], [bottom, bottom], 0.8 if bold else 0.4, SOFT)
        for cell, left, right in zip(cells, edges, edges[1:], strict=False):
            text = fitted(cell, right - left - 2.0, 8.0, bold)
            self.page.text(left + 1.0, bottom + 1.5, text, 8.0, bold)
        self.top = bottom

    def blank_table(
        self,
        columns: Sequence[tuple[str, float]],
        high: float,
        filled: Filled = BLANK,
        done: int = 0,
    ) -> None:
        """A ruled table to the foot of the page, with the marks known; more pages for more marks.

        `done` marks stand on the pages before.
        """
        shares = np.array([share for _, share in columns])
        edges = self.left + self.room * np.concatenate([[0.0], np.cumsum(shares / shares.sum())])
        last = done + int(self.left_over_mm // high) - 1
        top = self.top
        self._row(edges, [name for name, _ in columns], high, bold=True)
        for number in range(done + 1, last + 1):
            known = {"mark": str(number)}
            if number <= len(filled.times):
                known |= {"set-up": filled.setup, "watch time": filled.times[number - 1]}
            self._row(edges, [known.get(name, "") for name, _ in columns], high)
        for edge in edges:
            self.page.line([edge, edge], [self.top, top], 0.4, SOFT)
        self.page.line([edges[0], edges[-1]], [top, top], 0.4, SOFT)
        if len(filled.times) > last:
            self.new_page()
            self.blank_table(columns, high, filled, last)


def form_pages(layout: SheetLayout, paper: Paper, heading: Heading, kind: str) -> list[Page]:
    """The pages beside the board: hours, steps, how well north is found, the mark table."""
    flow = Flow(paper, heading)
    marking: tuple[_Part, ...] = (_form_hours, _form_steps, _form_marking, _form_marks)
    track: tuple[_Part, ...] = (_form_hours, _form_north, _form_astray)
    parts = marking if kind == "marking" else track
    for part in (_form_marks,) if heading.filled.practised else parts:
        part(flow, layout)
    return flow.pages


def _form_hours(flow: Flow, layout: SheetLayout) -> None:
    flow.heading_line("The good hours")
    good = layout.good_clocks()
    if good:
        wanted = COVERAGE_95 * layout.limits.target_deg
        spans = " and ".join(f"{first} to {last}" for first, last in good)
        best = COVERAGE_95 * layout.day.pair_u_deg
        flow.text(
            f"Mark from {spans}, by the clock of the heading: pairs there find north to "
            f"±{wanted:.2g}° (95 %) or better, the best to ±{best:.2f}°. Marks at other times help "
            "less, and near noon least."
        )
    noon = layout.noon
    if noon is not None:
        flow.text(
            f"Local noon is at {str(noon['local'])[11:19]}, the sun then "
            f"{noon['altitude_deg']:.1f}° high, the shadow {noon['shadow_mm']:.0f} mm long."
        )
    if not layout.on_sheet.empty:
        spans = " and ".join(f"{first} to {last}" for first, last in _spans(layout.on_sheet))
        flow.text(f"The shadow's tip is on this sheet from {spans}.")
    for sentence in layout.warnings():
        flow.text(sentence)
    if not layout.rings.empty:
        timezone = str(layout.site["timezone"])
        rings = layout.rings
        rows = zip(
            rings["ring"],
            [f"{radius:.0f}" for radius in rings["radius_mm"]],
            _clocks(rings["am_utc_s"], timezone),
            _clocks(rings["pm_utc_s"], timezone),
            strict=True,
        )
        columns = [("ring", 1.0), ("radius, mm", 1.2), ("crossed, am", 1.2), ("crossed, pm", 1.2)]
        flow.table(columns, list(rows))


def _spans(seen: pd.DataFrame) -> list[tuple[str, str]]:
    breaks = np.flatnonzero(np.diff(seen["utc_s"].to_numpy()) > 61.0) + 1
    parts = np.split(seen["clock"].to_numpy(), breaks)
    return [(str(part[0]), str(part[-1])) for part in parts]


def _clocks(utc_s: pd.Series, timezone: str) -> list[str]:
    rounded = np.round(utc_s.to_numpy() / 60.0) * 60.0
    return [str(text)[11:16] for text in clock.local_iso(rounded, timezone)]


def _form_steps(flow: Flow, layout: SheetLayout) -> None:
    flow.heading_line("Before the first mark")
    shown = (
        (LEVEL, "3. level, turned end for end"),
        (PLUMB, "4. plumb, from two sides"),
        (HEIGHT, "5. tip above the board"),
        (WATCH, "6. watch and time signal"),
    )
    flow.pictures(shown)
    flow.step(
        "Both check bars of every page measure 100 mm. Pages of one board: cut along the corner "
        "marks, glue them by their letters, each cut edge on its dashed line."
    )
    flow.step(
        "Sheet flat on the board and taped between its targets, not over them; board firm, in the "
        "sun all day, its arrow to north to a few degrees, so that the marks fall on the paper."
    )
    flow.step(
        "Board level. Lay the level across and along; each time turn it end for end: the bubble "
        "must stand the same both ways.",
        ("across", "across, reversed", "along", "along, reversed", "again at noon", "at the end"),
    )
    flow.step(
        "Rod plumb, its tip straight above the foot cross, seen against a plumb line from two "
        "sides at a right angle. Cap the tip.",
        ("from the first side", "from the second side", "again at the end"),
    )
    flow.step(
        f"Tip above the board, planned {layout.rod_mm:g} mm. Measured: ________ mm, once more: "
        "________ mm."
    )
    flow.step(
        f"Watch shows {zone_text(layout.site, layout.date)}. Against a time signal: fast / slow by "
        "________ s, at ____:____ . At the end: fast / slow by ________ s, at ____:____ ."
    )


def _form_north(flow: Flow, layout: SheetLayout) -> None:
    if layout.on_sheet.empty:
        return
    flow.heading_line("How this sheet shows north")
    flow.text(
        "With a watch: when it shows one of the times on the track, turn the whole board, rod and "
        "all, until the tip of the shadow lies on that tick. The arrow then points to true north. "
        "Level again, and try other times: all of them must agree."
    )
    flow.text(
        "With or without a watch: do not turn the board. Mark the tip through morning and "
        "afternoon on the marking sheet, never on this one. Lay this sheet over it against the "
        "light, cross on cross, and turn it until the marks lie in the shaded band: with a watch "
        "each at its tick, without one along the track and each pair of equal shadows alike. Its "
        "arrow is north."
    )
    expected = layout.expected()
    spreads = COVERAGE_95 * expected["u_deg"].to_numpy()
    found = [
        f"± {spread:.2f}°" if spread <= _USELESS_DEG else "of no use: too near the zenith"
        for spread in spreads
    ]
    rows = list(zip(expected["way"], expected["detail"], found, strict=True))
    flow.table([("fitted to", 1.4), ("", 1.6), ("north, 95 %", 1.5)], rows)
    flow.text(_tolerance_sentence(layout))


def _tolerance_sentence(layout: SheetLayout) -> str:
    sd = layout.tolerances
    return (
        f"For careful work, one standard deviation each: marks {sd.mark_sd_mm:g} mm, level "
        f"{sd.level_sd_deg:g}°, foot {sd.plumb_sd_mm:g} mm, rod {sd.height_sd_mm:g} mm, watch "
        f"{sd.watch_sd_s:g} s, edge of the shadow {sd.edge_sd_deg * 60:.0f}′. The shaded band is "
        f"where such marks fall, 95 of 100; the dotted lines are a rod {ROD_ALLOWANCE_MM:.0f} mm "
        "taller or shorter."
    )


def _form_marking(flow: Flow, layout: SheetLayout) -> None:
    flow.heading_line("While the shadow moves")
    shown = (
        (EDGE, "7. middle of the soft edge"),
        (NUMBER, "8. number beside the mark"),
        (FAR_POINT, "9. line to the far point"),
        (FROM_ABOVE, "10. photograph from above"),
    )
    flow.pictures(shown)
    flow.step(
        "Mark the tip in pencil: a fine cross, 4 to 6 mm, its middle on the middle of the soft "
        "edge. Each time it comes to a ring, and every 20 minutes; note the time at once."
    )
    flow.step("Write the mark's number beside it, 5 mm away, not through it.")
    flow.step("Draw the line to the far reference point from the foot. At the end check the level.")
    flow.step(
        "Then lift the rod and photograph the sheet: all of it, from above, sharp, no flash. Its "
        "marks are read by `orient photo`; or measure them with a ruler into the table of marks."
    )
    flow.text("The predicted track, to lay over the marks, is on a sheet of its own: --kind track.")


def _form_astray(flow: Flow, layout: SheetLayout) -> None:
    shifts = layout.shifts()
    if shifts.empty:
        return
    flow.heading_line("When the marks leave the track")
    clocks = list(dict.fromkeys(shifts["clock"]))
    rows = [
        (
            str(error),
            *(f"{row.along_mm:.1f} / {row.across_mm:.1f}" for row in part.itertuples()),
        )
        for error, part in shifts.groupby("error", sort=False)
    ]
    flow.table([("mm along / across the track", 2.2), *((at, 1.0) for at in clocks)], rows)


def _form_marks(flow: Flow, layout: SheetLayout) -> None:
    filled = flow.heading.filled
    flow.need(_MARK_ROW_MM * (_LEAST_MARKS + 3))
    flow.heading_line("The marks")
    if filled.practised:
        flow.text(_PRACTISED)
    flow.text(
        "x to the right and y up the sheet from the foot cross; or length from the cross and "
        f"angle clockwise from the arrow. Set-up: {filled.setup or '_' * 10}  Marked: middle / "
        f"dark end of the soft edge.  Reference line: {filled.reference_name or '_' * 20} at "
        "________° from the arrow, or its end at x ________ mm, y ________ mm. A compass along it "
        "reads ________°. Its true azimuth, found by hand: ________°."
    )
    columns = [
        ("set-up", 1.2), ("mark", 0.8), ("watch time", 1.5), ("x, mm", 1.2), ("y, mm", 1.2),
        ("length, mm", 1.4), ("angle, °", 1.2), ("ring", 0.8), ("note", 3.0),
    ]  # fmt: skip
    flow.blank_table(columns, _MARK_ROW_MM, filled)


def zone_text(site: pd.Series, date: np.datetime64) -> str:
    """The clock of the site on a day, such as UTC+02:00 (Europe/Berlin)."""
    timezone = str(site["timezone"])
    noon_s = float(clock.utc_s(date, 43200.0, timezone))
    return f"UTC{clock.local_iso(noon_s, timezone)[19:]} ({timezone})".replace("-", "−", 1)
