"""`orient compass`: what a campaign's compass readings say of rock and needle."""

from __future__ import annotations

import os
from collections.abc import Mapping
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
    records,
    say,
)

if TYPE_CHECKING:
    from orient.observation.compass import CompassCheck


@click.command()
@campaign_argument
@format_option
def compass(campaign: str, style: str) -> None:
    """Judge the compass readings of CAMPAIGN against lines of known azimuth.

    What a reading is off by is the compass's own error and the pull of the ground together.
    Where compasses were read at several places the two are told apart, as far as the readings
    go. Readings come from readings.csv, from the set-ups, and from sights toward the sky.
    """
    from orient.observation.compass import check_compasses, left_out_words
    from orient.observation.setups import reduce_campaign
    from orient.observation.sights.campaign import every_reading
    from orient.tables.campaign import read_campaign

    read = read_campaign(campaign, may_lack=("setups", "marks"), unplaced=True)
    with progress("Reducing", len(read.setups)) as advance:
        results = reduce_campaign(read, workers=os.cpu_count() or 1, advance=advance)
    rows = [result.row for result in results]
    readings = every_reading(read, rows)
    check = check_compasses(readings)
    emit(_rows(check), style, _COLUMNS, title=f"{read.name}: compass readings")
    if style == "table":
        _tell(check)
        for sentence in left_out_words(read, readings):
            say(sentence)


def _rows(check: CompassCheck) -> list[Row]:
    """The readings, each with what was found of its place and of its compass beside it."""
    readings = check.readings
    if readings.empty:
        return []
    of_place = ["anomaly_deg", "anomaly_low_deg", "anomaly_high_deg", "verdict"]
    of_compass = ["correction_deg", "correction_low_deg", "correction_high_deg", "verdict"]
    places = check.places[of_place].rename(columns={"verdict": "place_verdict"})
    compasses = check.compasses[of_compass].rename(columns={"verdict": "compass_verdict"})
    beside = {
        str(name): table[name].reindex(readings[key]).to_numpy()
        for key, table in (("place", places), ("compass", compasses))
        for name in table
    }
    rows = records(readings.assign(**beside))
    return [dict(row) | {key: row[key] or None for key in ("reading", "of_setup")} for row in rows]


def _tell(check: CompassCheck) -> None:
    out = console()
    out.print("All in degrees. Off: read minus expected, the compass's own error in it.")
    if not check.places.empty:
        out.print()
        for heading, columns, frame in (
            ("compass", _OF_COMPASS, check.compasses),
            ("place", _OF_PLACE, check.places),
        ):
            _show(heading, columns, frame.reset_index())
        out.print("From … to: the 95 % interval. Pull: how probable a pull above 1° is.")
    for sentence in check.sentences:
        out.print(printable(sentence))


def _show(heading: str, columns: list[Column], frame: object) -> None:
    from orient.commands.common import show_table

    named = Column(heading, lambda row: row[heading] or "–", right=False)
    show_table(records(frame), [named, *columns])


def _angle(key: str) -> Column:
    headings: Mapping[str, str] = {"low": "from", "high": "to"}
    heading = headings.get(key.split("_")[-2], key.split("_")[0])
    return Column(heading, lambda row: number(round(row[key], 1) + 0.0, 1, plus=True))


_FINDING = {
    "": "",
    "ground": "ground",
    "off": "?",
    "compass": "compass",
    "dial": "dial set",
    "turned": "180°",
    "alone": "left out",
}
_VERDICT = {
    "pulled": "pulled",
    "perhaps": "perhaps pulled",
    "off": "something is off",
    "open": "cannot be told",
    "none": "no pull shown",
}

_COLUMNS = [
    Column("reading", lambda row: row["reading"] or row["of_setup"], right=False),
    Column("place", lambda row: row["place"], right=False),
    Column("compass", lambda row: row["compass"] or "–", right=False),
    Column("true", lambda row: number(row["true_azimuth_deg"], 1)),
    Column("expect", lambda row: number(row["expected_deg"], 1)),
    Column("read", lambda row: number(row["reading_deg"], 1)),
    Column("off", lambda row: number(row["difference_deg"], 1, plus=True)),
    Column("shows", lambda row: _FINDING[row["finding"]], right=False),
]
_OF_COMPASS = [
    Column("n", lambda row: str(row["n"])),
    Column("places", lambda row: str(row["places"])),
    _angle("correction_deg"),
    _angle("correction_low_deg"),
    _angle("correction_high_deg"),
]
_OF_PLACE = [
    Column("n", lambda row: str(row["n"])),
    _angle("anomaly_deg"),
    _angle("anomaly_low_deg"),
    _angle("anomaly_high_deg"),
    Column("pull", lambda row: f"{100 * row['pulled_probability']:.0f} %"),
    Column("verdict", lambda row: _VERDICT[row["verdict"]], right=False),
]
