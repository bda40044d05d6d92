"""`orient compass`: what a campaign's compass readings say of rock and needle."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

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
    records,
)

if TYPE_CHECKING:
    import pandas as pd

    from orient.observation.compass import CompassCheck
    from orient.observation.setups import SetupResult


@click.command()
@campaign_argument
@format_option
def compass(campaign: str, style: str) -> None:
    """Judge the compass readings of CAMPAIGN against the true azimuths of its boards.

    What a reading is off by is the compass's own error and the pull of the ground together.
    Where compasses were read at several places the two are told apart.
    """
    from orient.observation.compass import check_compasses
    from orient.observation.setups import reduce_campaign
    from orient.tables.campaign import read_campaign

    read = read_campaign(campaign)
    with progress("Reducing", len(read.setups)) as advance:
        results = reduce_campaign(read, workers=os.cpu_count() or 1, advance=advance)
    check = check_compasses(_readings(results))
    emit(_rows(check), style, _COLUMNS, title=f"{read.name}: compass readings")
    if style == "table":
        out = console()
        out.print("All in degrees. Off: read less expected; ±: its 95 % figure; ⚑: beyond that.")
        for sentence in check.sentences:
            out.print(printable(sentence))


def _readings(results: list[SetupResult]) -> pd.DataFrame:
    """The readings of the boards that have one, as `check_compasses` takes them."""
    import pandas as pd

    from orient.observation.compass import COLUMNS

    rows = [
        {
            "setup": result.row["setup"],
            "site": result.row["site"],
            "compass": result.setup["compass"],
            "true_azimuth_deg": result.row["reference_azimuth_deg"],
            "true_azimuth_u_deg": result.row["reference_azimuth_u_deg"],
            "declination_deg": result.row["declination_deg"],
            "declination_u_deg": result.row["declination_u_deg"],
            "reading_deg": result.row["compass_reading_deg"],
            "reading_u_deg": result.setup["compass_sd_deg"],
        }
        for result in results
        if result.row["compass_reading_deg"] is not None
        and result.row["reference_azimuth_deg"] is not None
    ]
    return pd.DataFrame(rows, columns=["setup", *COLUMNS])


def _rows(check: CompassCheck) -> list[Row]:
    """The readings, each with what was found of its place and of its compass beside it."""
    readings = check.readings
    if readings.empty:
        return []
    places = check.places.loc[readings["site"], ["anomaly_deg", "anomaly_u_deg"]]
    of_compass = ["correction_deg", "correction_u_deg", "separated"]
    compasses = check.compasses.loc[readings["compass"], of_compass]
    beside: dict[str, Any] = {
        str(name): table[name].to_numpy() for table in (places, compasses) for name in table
    }
    return records(readings.assign(**beside))


def _allowed(row: Row) -> str:
    from orient.numbers.tolerances import COVERAGE_95

    return number(COVERAGE_95 * row["difference_u_deg"], 1)


def _off(row: Row) -> str:
    return number(row["difference_deg"], 1, plus=True) + (" ⚑" if row["differs"] else "  ")


_COLUMNS = [
    Column("set-up", lambda row: row["setup"], right=False),
    Column("site", lambda row: row["site"], right=False),
    Column("compass", lambda row: row["compass"] or "–", right=False),
    Column("true", lambda row: number(row["true_azimuth_deg"], 1)),
    Column("expect", lambda row: number(row["expected_deg"], 1)),
    Column("read", lambda row: number(row["reading_deg"], 1)),
    Column("off  ", _off),
    Column("±", _allowed),
]
