"""The demo campaign's files, as its crew would have typed them, and the truth for the tests."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from orient.demo.boards import ShadowDay, Spot, rounded, shadow_day, spot
from orient.demo.sights import sight_rows
from orient.demo.story import COMPASS_INDEX_DEG, DAYS, NAME, PLACES, SEED, Day, Place
from orient.demo.story import WATCHES as CREW_WATCHES
from orient.flags import CAUTIONS
from orient.tables.beginning import README
from orient.tables.campaign import campaign_files
from orient.tables.columns import MARKS, SETUPS, SIGHTS, SITES, WATCHES, Table

_COMPASS_NOISE_DEG, _COMPASS_ROUNDED_TO_DEG = 0.3, 0.5


@dataclass(frozen=True)
class Demo:
    """The demo campaign: file name to text, and what is true of each set-up.

    `truth`, by set-up: `board_azimuth_deg` and `reference_azimuth_deg`, geodetic, and
    `watch_error_s`, watch minus true. `needle`, by site: `anomaly_deg`, east plus.
    """

    files: dict[str, str]
    truth: pd.DataFrame
    needle: pd.Series[float]


@lru_cache(maxsize=1)
def make_demo() -> Demo:
    """The demo campaign, the same at every call and on every machine.

    Returns:
        Its files for `orient.files.write_whole`, and the truth behind them.
    """
    boards: dict[str, ShadowDay] = {}
    for number, day in enumerate(DAYS):
        boards[day.setup] = shadow_day(number, day, boards)
    setups = [_setup_row(number, day, boards[day.setup]) for number, day in enumerate(DAYS)]
    files = campaign_files(
        _table(SITES, [{"site": place.site, **place.cells} for place in PLACES]),
        _table(SETUPS, setups),
        _table(MARKS, [mark for board in boards.values() for mark in board.marks]),
        watches=_table(WATCHES, _comparisons()),
        sights=_table(SIGHTS, sight_rows()),
    )
    truth = pd.DataFrame(
        {
            "board_azimuth_deg": [board.board_azimuth_deg for board in boards.values()],
            "reference_azimuth_deg": [day.line.true_azimuth_deg for day in DAYS],
            "watch_error_s": [board.truth.watch_fast_s for board in boards.values()],
        },
        index=pd.Index(list(boards), name="setup"),
    )
    needle = pd.Series({place.site: place.anomaly_deg for place in PLACES}, dtype=float)
    return Demo(files | {README: _readme()}, truth, needle)


def _table(table: Table, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Cells as typed, with the columns that the crew had a use for."""
    used = [name for name in table.names if any(row.get(name) is not None for row in rows)]
    return pd.DataFrame(
        [[row.get(name) for name in used] for row in rows], columns=used, dtype=object
    )


def _comparisons() -> list[dict[str, Any]]:
    """The crew's watches held against a time signal, at noon, read to the second."""
    generator = np.random.default_rng([SEED, len(DAYS)])
    rows = []
    for name, watch in CREW_WATCHES.items():
        for date in watch.compared:
            days = float((np.datetime64(date) - np.datetime64(watch.date)).astype(int))
            error_s = watch.fast_s + watch.gains_s * days + generator.normal(0.0, 0.5)
            rows.append(
                {"timepiece": name, "date": date, "time": "12:00", "error_s": round(error_s)}
            )
    return rows


def _setup_row(number: int, day: Day, board: ShadowDay) -> dict[str, Any]:
    place = next(place for place in PLACES if place.site == day.site)
    row = {
        "setup": day.setup,
        "site": day.site,
        "date": day.date,
        "gnomon_height_mm": day.rod_mm,
        "reference_name": day.line.name,
        **board.line,
        **day.cells,
    }
    if day.compass:
        row |= {"compass": day.compass, "compass_reading_deg": _reading(number, day, place)}
    if day.line.distance_m is not None:
        row |= _far_end(day, spot(place))
    return row


def _reading(number: int, day: Day, place: Place) -> float:
    """What the compass read: the model's declination, the rock, the compass and the eye."""
    from orient.numbers.magnetic import decimal_year, field

    where = spot(place)
    declination = field(
        where.latitude_deg,
        where.longitude_deg,
        where.elevation_m,
        decimal_year(np.datetime64(day.date)),
    ).declination_deg
    eye = np.random.default_rng([SEED, number, 1]).normal(0.0, _COMPASS_NOISE_DEG)
    reading = (
        day.line.true_azimuth_deg
        - float(declination)
        - place.anomaly_deg
        + COMPASS_INDEX_DEG[day.compass]
        + eye
    )
    return rounded(reading % 360.0, _COMPASS_ROUNDED_TO_DEG)


def _far_end(day: Day, where: Spot) -> dict[str, float]:
    """Grid coordinates of the line's far end, found along the geodesic."""
    from pyproj import Geod, Transformer

    place = next(place for place in PLACES if place.site == day.site)
    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        where.longitude_deg, where.latitude_deg, day.line.true_azimuth_deg, day.line.distance_m
    )
    to_grid = Transformer.from_crs("EPSG:4326", place.cells["crs"], always_xy=True)
    easting, northing = to_grid.transform(longitude, latitude)
    return {
        "reference_easting_m": round(easting, 1),
        "reference_northing_m": round(northing, 1),
    }


def _readme() -> str:
    story = (
        "Nothing here happened. The crew, the names of the places and the lines, the boards and "
        "the compasses are invented; the marks were made by a simulator with the errors that a "
        "careful crew makes, and with some that a tired one does. The places themselves are in "
        "country where nobody lives. It is here to be looked at, tried on and broken."
    )
    faces = [
        ("alderflat", "48.6° N: one line on two days, the board turned end for end on the "
         "second; on the third a watch that was never put forward for summer."),
        ("thornmesa", "48.3° S: a full day with a mark read wrong and one set aside; a "
         "beginner's board, an hour about noon; stars by night, one of them misread."),
        ("larkdune", "18.6° N with the noon sun in the zenith; a morning alone; a compass "
         "checked by shadow."),
        ("frostdell", "65.1° N in February: a low sun, a short rod."),
        ("wormwood", "the edge of a grid zone, coordinates on the grid, a far pillar "
         "whose place is known; a watch that runs well but is not set."),
        ("petreltop", "the needle points far from north; no watch."),
        ("ironknoll", "iron in the ground, read by two compasses; the plumb line leans."),
        ("gullbeach", "78.6° N in polar day: a field that hardly turns a needle."),
    ]  # fmt: skip
    title = f"The demo campaign: {NAME}"
    parts = [title, "=" * len(title), "", textwrap.fill(story, 79), ""]
    parts += [
        textwrap.fill(f"{site}: {text}", 79, subsequent_indent="    ") for site, text in faces
    ]
    parts += ["", "Cautions", "--------"]
    parts += [textwrap.fill(f"- {text}", 79, subsequent_indent="  ") for text in CAUTIONS]
    return "\n".join(parts) + "\n"
