"""`orient sights`: directions read against the sky, to true azimuths and compass corrections."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NoReturn

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    console,
    emit,
    format_option,
    number,
    printable,
    progress,
    show_flags,
)

if TYPE_CHECKING:
    from orient.observation.setups import SetupResult
    from orient.tables.campaign import Campaign


@click.command()
@campaign_argument
@format_option
def sights(campaign: str, style: str) -> None:
    """Reduce the sights of CAMPAIGN: shadow bearings, moon and stars, on graduated circles.

    Each circle gives the true azimuth of every reference line read on it; a compass gives its
    correction. What boards say of the same lines is compared and joined.
    """
    from orient.observation.sights.campaign import reduce_sights
    from orient.observation.sights.words import sentences
    from orient.tables.campaign import read_campaign

    # A crew with a compass and no board has neither set-ups nor marks.
    read = read_campaign(campaign, may_lack=("setups", "marks"), unplaced=True)
    if read.sights.empty:
        _refuse()
    results = reduce_sights(read, _boards(read))
    rows: list[Row] = [row for result in results for row in result.rows]
    emit(rows, style, _COLUMNS, title=f"{read.name}: sights")
    if style != "table":
        return
    out = console()
    out.print("Degrees; ±: the 95 % figure. zero: the true azimuth of the circle's zero.")
    for result in results:
        for sentence in sentences(result):
            out.print(printable(sentence))
    show_flags(rows, "circle")


def _refuse() -> NoReturn:
    from orient.errors import Fault, InputError

    wanted = "directions read toward shadow, moon or stars; docs/tables.md has its columns"
    raise InputError(Fault("sights.csv", None, None, "no such file, or no rows", wanted))


def _boards(read: Campaign) -> list[SetupResult]:
    """The set-ups whose reference line was read on a circle too, reduced."""
    from dataclasses import replace

    from orient.observation.setups import reduce_campaign

    named = set(zip(read.sights["site"], read.sights["target"], strict=True))
    keys = list(zip(read.setups["site"], read.setups["reference_name"], strict=True))
    wanted = [setup for setup, key in zip(read.setups.index, keys, strict=True) if key in named]
    if not wanted:
        return []
    mine = read.setups.loc[wanted]
    marks = read.marks[read.marks["setup"].isin(mine.index)]
    with progress("Reducing", len(mine)) as advance:
        chosen = replace(read, setups=mine, marks=marks)
        return reduce_campaign(chosen, workers=os.cpu_count() or 1, advance=advance)


def _at_95(key: str) -> Column:
    from orient.numbers.tolerances import COVERAGE_95

    def show(row: Row) -> str:
        u = row[key]
        return number(None if u is None else COVERAGE_95 * u, 2)

    return Column("±", show)


def _number(heading: str, key: str, places: int) -> Column:
    return Column(heading, lambda row: number(row[key], places))


_COLUMNS = [
    Column("circle", lambda row: row["circle"], right=False),
    Column("site", lambda row: row["site"], right=False),
    Column("date", lambda row: row["date"], right=False, whole=True),
    Column("line", lambda row: row["reference_name"] or "–", right=False),
    _number("true", "reference_azimuth_deg", 2),
    _at_95("reference_azimuth_u_deg"),
    _number("zero", "orientation_deg", 2),
    _at_95("orientation_u_deg"),
    Column("n", lambda row: str(row["n"])),
]
