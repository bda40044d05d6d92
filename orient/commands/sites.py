"""`orient sites`: all that is known of each place before going."""

from __future__ import annotations

from datetime import date as Date
from typing import TYPE_CHECKING

import click

from orient.commands.common import (
    Column,
    LocalDate,
    campaign_argument,
    emit,
    format_option,
    number,
    records,
    say,
    show_flags,
    some_of,
)
from orient.commands.planning_options import check_day, chosen_sites
from orient.defaults import MAX_ALTITUDE_DEG

if TYPE_CHECKING:
    import pandas as pd


@click.command()
@campaign_argument
@click.option(
    "--date",
    type=LocalDate(),
    help="Local date; today if left out.",
)
@click.option(
    "--max-altitude",
    type=click.FloatRange(10, 90),
    metavar="DEG",
    default=MAX_ALTITUDE_DEG,
    show_default=True,
    help="A noon sun above this is flagged as too high.",
)
@format_option
def sites(campaign: str, date: Date | None, max_altitude: float, style: str) -> None:
    """Each site of CAMPAIGN: declination, convergence, local noon, flags."""
    from orient.numbers.grid import short_name
    from orient.numbers.tolerances import COVERAGE_95
    from orient.site import COLUMNS, describe, grid_words

    table = chosen_sites(campaign, ())
    if date:
        check_day(date, table)
    day = str(date or Date.today())
    known = describe(table, day, max_altitude_deg=max_altitude)
    rows = records(known[list(COLUMNS)])
    columns = [
        Column("site", lambda row: row["site"], right=False),
        Column("declin.", lambda row: number(row["declination_deg"], 2, "°", plus=True)),
        Column("±", lambda row: number(COVERAGE_95 * row["declination_u_deg"], 1, "°")),
        Column("converg.", lambda row: number(row["convergence_deg"], 2, "°", plus=True)),
        Column("grid", lambda row: short_name(row["grid"]), right=False, whole=True),
        Column("noon", lambda row: row["noon_local"][11:19]),
        Column("sun", lambda row: number(row["noon_altitude_deg"], 1, "°")),
        Column("flags", lambda row: "⚑" * len(row["flags"]), right=False),
    ]
    emit(rows, style, columns, title=f"Sites on {day}")
    if style == "table":
        models = ", ".join(filter(None, dict.fromkeys(known["magnetic_model"]))) or "no model"
        clocks = _clocks(table)
        said = f"Declination by {models}, east plus, ± its 95 % figure"
        say(f"{said}; noon by the clock of {clocks}.")
        show_flags(rows, "site")
        for place in records(known):
            for sentence in grid_words(place):
                say(sentence)


def _clocks(table: pd.DataFrame) -> str:
    """The zones of the sites' noons, and where there are more than one, whose each is."""
    zones = table.groupby("timezone", sort=False).groups
    if len(zones) == 1:
        return str(next(iter(zones)))
    named = [f"{zone} ({some_of([*map(str, names)])})" for zone, names in zones.items()]
    return some_of(named)
