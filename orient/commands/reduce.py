"""`orient reduce`: the marks of every board to true north."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

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
    say,
    show_flags,
    some_of,
)
from orient.defaults import TARGET_U_DEG
from orient.text import at_95

if TYPE_CHECKING:
    from orient.observation.setups import SetupResult


@click.command()
@campaign_argument
@format_option
@click.option("--alone", is_flag=True, help="Reduce each set-up by itself.")
@click.option("--verbose", is_flag=True, help="Say of each board what was found and done.")
def reduce(campaign: str, style: str, verbose: bool, alone: bool = False) -> None:
    """Reduce the shadow marks of CAMPAIGN to true north.

    Each set-up's line: the true azimuth of its reference with the 95 % figure, its grid
    bearing, and what a good compass should read there.
    """
    from orient.observation.setups import reduce_campaign
    from orient.tables.campaign import read_campaign

    read = read_campaign(campaign, unplaced=True)
    with progress("Reducing", len(read.setups)) as advance:
        results = reduce_campaign(read, workers=os.cpu_count() or 1, advance=advance, alone=alone)
    rows = [result.row for result in results]
    if style == "table":
        _say_unreduced(results)
        _say_doubts(results)
    by_hand = any(row["hand_difference_deg"] is not None for row in rows)
    columns = [*_COLUMNS[:-1], *[_BY_HAND] * by_hand, _COLUMNS[-1]]
    emit(rows, style, columns, title=f"{read.name}: true north from the marks")
    if style != "table":
        return
    say("± is the 95 % figure; grid and compass are bearings of the same reference.")
    if by_hand:
        say("By hand: the azimuth found by hand, less what that board alone gives.")
    for told in dict.fromkeys(
        r.remarks[0] for r in results if "place-from-marks" in r.row["flags"]
    ):
        say(told)
    show_flags(rows, "setup")
    if not verbose and any(map(_wide, rows)):
        say("What makes a figure wide, and what would help most: --verbose.")
    if verbose:
        from rich.padding import Padding
        from rich.text import Text

        for result in results:
            console().print()
            console().print(printable(f"{result.row['setup']}, {result.row['site']}:"))
            for remark in result.remarks:
                console().print(Padding(Text(printable(remark)), (0, 0, 0, 2)))


def _say_unreduced(results: list[SetupResult]) -> None:
    """Which set-ups have no line at all, and why."""
    for why in dict.fromkeys(result.unreduced for result in results if result.unreduced):
        names = [str(each.row["setup"]) for each in results if each.unreduced == why]
        say(f"{some_of(names)}: {why}")


def _say_doubts(results: list[SetupResult]) -> None:
    """What each set-up most likely suffers, before what follows from the record as it stands."""
    for doubt in dict.fromkeys(each for result in results for each in result.doubts):
        say(doubt)


def _shown(row: Row) -> str:
    """What the row's azimuth is of: its reference, or, where none is named, the board's +y."""
    named = row["reference_name"] is not None or row["reference_azimuth_deg"] is not None
    return "reference" if named else "board"


def _true(row: Row) -> str:
    return number(row[f"{_shown(row)}_azimuth_deg"], 2, "°")


def _allowed(row: Row) -> str:
    return at_95(row[f"{_shown(row)}_azimuth_u_deg"])


def _wide(row: Row) -> bool:
    """Whether a line is less good than a day's pair is asked to be."""
    u_deg = row[f"{_shown(row)}_azimuth_u_deg"]
    return u_deg is not None and u_deg > TARGET_U_DEG


_BY_HAND = Column("by hand", lambda row: number(row["hand_difference_deg"], 2, "°", plus=True))
_COLUMNS = [
    Column("set-up", lambda row: row["setup"], right=False),
    Column("reference", lambda row: row["reference_name"] or "board's +y", right=False),
    Column("true", _true),
    Column("±", _allowed),
    Column("grid", lambda row: number(row["reference_grid_bearing_deg"], 2, "°")),
    Column("compass", lambda row: number(row["reference_magnetic_bearing_deg"], 1, "°")),
    Column("read", lambda row: number(row["compass_reading_deg"], 1, "°")),
    Column("flags", lambda row: "⚑" * len(row["flags"]), right=False),
]
