"""The night sheet to print: hours, stars, steps, pictures to find them by, a table to fill in."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from orient.flags import NIGHT_CAUTIONS
from orient.nightsheet import words
from orient.nightsheet.finder import draw_finders
from orient.planning.night import Night, NightRig
from orient.sheet.form import Flow
from orient.sheet.paper import PAPERS, Heading, Page, Paper, Printed, drawing_rules
from orient.tables.coordinates import format_dms

_ROW_MM = 7.0

STEPS = (
    "By daylight: choose level ground, clear of edges and water. Hang two plumb lines "
    "{base:g} m apart toward the star, weights in buckets of water, a dim lamp to each line.",
    "Set the watch to a time signal. Watch fast / slow by ________ s, at ____:____ .",
    "At the time of the table, behind the nearer line, move it until both lines cover the star. "
    "Call, and write the time to the second. Peg the ground plumb under both lines.",
    "Once more with the same star some minutes later, then with another one: one sight alone "
    "shows no mistake.",
    "A pair: wait until one line covers both stars, move the other line behind it, call and peg. "
    "No watch is needed, but write the time all the same.",
    "By daylight: measure from the pegged lines to your reference line.",
)


def night_sheet(
    site: pd.Series, night: Night, rig: NightRig, paper: Paper | None = None
) -> Printed:
    """Draw the sheet of one night.

    Args:
        site: row of the sites table.
        night: of `planning.night.plan_night` for it.
        rig: what it was planned for.
        paper: A4 when None.

    Returns:
        The sheet; the same arguments give the same bytes.
    """
    paper = paper or PAPERS["A4"]
    heading = _heading(site, night)
    with drawing_rules():
        flow = Flow(paper, heading)
        _plan(flow, night, rig)
        _steps(flow, rig)
        _record(flow)
        pages = list(flow.pages)
        if len(night.stars):
            finders = Page(paper, heading)
            draw_finders(finders, site, night)
            pages.append(finders)
        for number, page in enumerate(pages, start=1):
            page.number(f"page {number} of {len(pages)}")
    return Printed(tuple(pages), f"Night sheet {night.site} {night.date}", night.date)


def _heading(site: pd.Series, night: Night) -> Heading:
    latitude, longitude = float(site["latitude_deg"]), float(site["longitude_deg"])
    figures = (
        f"night of {night.date}",
        f"{format_dms(latitude, 'latitude', 0)} {format_dms(longitude, 'longitude', 0)}",
        f"local time, {night.timezone}",
    )
    unbroken = (part.replace(" ", "\N{NO-BREAK SPACE}") for part in figures)
    return Heading("Night sheet", night.site, " · ".join(unbroken))


def _plan(flow: Flow, night: Night, rig: NightRig) -> None:
    flow.heading_line("Nights")
    flow.text(" ".join(NIGHT_CAUTIONS))
    flow.heading_line("When it is dark")
    flow.text(f"{words.darkness(night)} {words.moonlight(night)}")
    if reason := words.nothing(night):
        flow.text(reason)
        return
    flow.text(words.rigging(rig))
    if len(night.polaris):
        flow.heading_line("Polaris")
        flow.text(words.events(night))
        _table(flow, words.POLARIS_COLUMNS, words.polaris_rows(night))
    flow.heading_line("Stars, each at its best moment")
    _table(flow, words.STAR_COLUMNS, words.star_rows(night))
    if len(night.pairs):
        flow.heading_line("Two stars in one vertical: no watch needed")
        _table(flow, words.PAIR_COLUMNS, words.pair_rows(night))


def _table(flow: Flow, columns: Sequence[str], rows: list[list[str]]) -> None:
    flow.table(
        [(name, 1.3 if name in ("star", "above", "below") else 1.0) for name in columns], rows
    )


def _steps(flow: Flow, rig: NightRig) -> None:
    flow.heading_line("A line by two plumb lines")
    for step in STEPS:
        flow.step(step.format(base=rig.base_m))


def _record(flow: Flow) -> None:
    flow.need(_ROW_MM * 12)
    flow.heading_line("The sights (columns of sights.csv; one name of circle for each standing)")
    columns = [
        ("sight", 0.8), ("date", 1.2), ("time", 1.3), ("circle", 1.2), ("target", 1.8),
        ("reading, °", 1.3), ("altitude, °", 1.2), ("note", 2.6),
    ]  # fmt: skip
    flow.blank_table(columns, _ROW_MM)
