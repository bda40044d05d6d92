"""A campaign's sights reduced: every circle, its lines, and what a board says of the same lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import pandas as pd

from orient import site as site_table
from orient.flags import Flag
from orient.numbers import grid
from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.boards import has_deflection, plumb_place
from orient.observation.compass import COLUMNS, compass_readings
from orient.observation.setups import SetupResult
from orient.observation.sights.adjustment import Adjusted, Direction, adjust
from orient.observation.sights.circle import circle_of, standings
from orient.observation.sights.joining import Known, joined, with_compared_watches
from orient.tables.campaign import Campaign
from orient.tables.sights import LINE

#: The keys of a row, in order.
KEYS = (
    "circle",
    "site",
    "date",
    "reference_name",
    "reference_azimuth_deg",
    "reference_azimuth_u_deg",
    "reference_grid_bearing_deg",
    "reference_magnetic_bearing_deg",
    "orientation_deg",
    "orientation_u_deg",
    "n",
    "compass",
    "declination_deg",
    "declination_u_deg",
    "convergence_deg",
    "compass_correction_deg",
    "compass_correction_u_deg",
    "board_azimuth_deg",
    "board_azimuth_u_deg",
    "combined_azimuth_deg",
    "combined_azimuth_u_deg",
    "methods",
    "budget",
    "flags",
)
#: A sight that is good with less than this probability is named.
DOUBTFUL = 0.5
#: So many times wider than its best explanation is a circle whose sights contradict each other.
_CONTRADICTION = 1.5
#: Directions worse than this, one standard uncertainty, are none.
WIDEST_U_DEG = 30.0


@dataclass(frozen=True)
class CircleResult:
    """One circle as it stood, reduced.

    `rows` have the keys of `KEYS`, one a reference line, or one with none; None where a value
    could not be had. `adjusted` is None for a circle without a sight toward the sky; `by_time`
    and `by_altitude` are the same circle reduced by one of them alone, where altitudes were
    read. `place` is the row of `site.describe`.
    """

    rows: tuple[dict[str, Any], ...]
    sights: pd.DataFrame
    left_out: pd.DataFrame
    place: pd.Series
    adjusted: Adjusted | None
    by_time: Adjusted | None
    by_altitude: Adjusted | None
    laplace_deg: float

    @property
    def name(self) -> str:
        """The circle's name."""
        return str(self.rows[0]["circle"])


def reduce_sights(campaign: Campaign, boards: Sequence[SetupResult] = ()) -> list[CircleResult]:
    """Reduce every circle of a campaign's sights.

    Args:
        campaign: with sites and sights.
        boards: its set-ups reduced, whose reference lines of the same name are compared and
            joined with those of the sights.

    Returns:
        The circles in the order of the table.
    """
    if campaign.sights.empty:
        return []
    sights = with_compared_watches(campaign.sights, campaign)
    groups = standings(sights, campaign.sites)
    rows = [sights.iloc[list(places)] for places in groups]
    names = [str(each["site"].iloc[0]) for each in rows]
    dates = np.array([each["date"].iloc[0] for each in rows], dtype="datetime64[D]")
    described = site_table.describe(campaign.sites.loc[names], dates)
    results = [
        _reduced(each, cast("pd.Series[Any]", campaign.sites.loc[name]), place)
        for each, name, (_, place) in zip(rows, names, described.iterrows(), strict=True)
    ]
    return _joined(results, boards)


def _reduced(rows: pd.DataFrame, where: pd.Series, place: pd.Series) -> CircleResult:
    used = rows[rows["use"].to_numpy(bool)]
    left_out = rows[~rows["use"].to_numpy(bool)]
    if not (used["kind"] != LINE).any():
        rows_out = _rows(rows, used, place, None, None, None, 0.0)
        return CircleResult(rows_out, used, left_out, place, None, None, None, 0.0)
    circle = circle_of(
        used,
        where,
        *plumb_place(where),
        used["watch_error_s"].to_numpy(float),
        used["watch_sd_s"].to_numpy(float),
        (float(place["declination_deg"]), float(place["declination_u_deg"])),
    )
    adjusted, by_time, by_altitude = adjust(circle), None, None
    aloft = circle.aloft
    if np.isfinite(circle.altitude_deg[aloft]).any():
        if (used["watch"][aloft] != "none").any():
            by_time = adjust(circle, by="time")
        by_altitude = adjust(circle, by="altitude")
    laplace = _laplace_deg(where)
    rows_out = _rows(rows, used, place, adjusted, by_time, by_altitude, laplace)
    return CircleResult(rows_out, used, left_out, place, adjusted, by_time, by_altitude, laplace)


def _laplace_deg(where: pd.Series) -> float:
    """What to take off an azimuth read by the plumb line to make it geodetic."""
    if not has_deflection(where):
        return 0.0
    return float(
        grid.laplace_correction_deg(where["latitude_deg"], where["xi_arcsec"], where["eta_arcsec"])
    )


def _rows(
    rows: pd.DataFrame,
    used: pd.DataFrame,
    place: pd.Series,
    adjusted: Adjusted | None,
    by_time: Adjusted | None,
    by_altitude: Adjusted | None,
    laplace: float,
) -> tuple[dict[str, Any], ...]:
    """One row a line of the circle; one without a line where it has none."""
    compasses = rows["compass"][rows["compass"] != ""]
    row: dict[str, Any] = dict.fromkeys(KEYS)
    row |= {
        "circle": str(rows["circle"].iloc[0]),
        "site": str(rows["site"].iloc[0]),
        "date": place["date"],
        "n": int((used["kind"] != LINE).sum()),
        "compass": str(compasses.iloc[0]) if len(compasses) else None,
        "declination_deg": float(place["declination_deg"]),
        "declination_u_deg": float(place["declination_u_deg"]),
        "convergence_deg": float(place["convergence_deg"]),
        "flags": [flag for flag in place["flags"] if not flag.startswith("sun-")],
    }
    names = list(dict.fromkeys(used["target"][used["kind"] == LINE]))
    if adjusted is None:
        return tuple(row | {"reference_name": name} for name in names or [None])
    row |= _orientation(row, adjusted, laplace)
    row["flags"] = _flags(adjusted, row) + row["flags"]
    if not names:
        return (row | _methods(adjusted, by_time, by_altitude, None, laplace),)
    return tuple(
        row
        | {"reference_name": name}
        | _line(adjusted.lines[number], place, laplace)
        | _methods(adjusted, by_time, by_altitude, number, laplace)
        for number, name in enumerate(names)
    )


def _orientation(row: dict[str, Any], adjusted: Adjusted, laplace: float) -> dict[str, Any]:
    found = adjusted.orientation
    if found.u_deg > WIDEST_U_DEG:
        return {}
    orientation = float(wrap_360(found.azimuth_deg - laplace))
    values = {"orientation_deg": orientation, "orientation_u_deg": found.u_deg}
    if row["compass"] is not None:
        values |= {
            "compass_correction_deg": float(wrap_180(orientation - row["declination_deg"])),
            "compass_correction_u_deg": float(np.hypot(found.u_deg, row["declination_u_deg"])),
        }
    return values


def _line(found: Direction, place: pd.Series, laplace: float) -> dict[str, Any]:
    values: dict[str, Any] = {"budget": found.terms}
    if found.u_deg > WIDEST_U_DEG:
        return values
    azimuth = float(wrap_360(found.azimuth_deg - laplace))
    on_datum = azimuth + float(place["datum_turn_deg"])
    bearing = grid.grid_bearing(on_datum, place["convergence_deg"], 0.0)
    return values | {
        "reference_azimuth_deg": azimuth,
        "reference_azimuth_u_deg": found.u_deg,
        "reference_grid_bearing_deg": float(bearing) if np.isfinite(bearing) else None,
        "reference_magnetic_bearing_deg": float(wrap_360(azimuth - place["declination_deg"])),
    }


def _methods(
    adjusted: Adjusted,
    by_time: Adjusted | None,
    by_altitude: Adjusted | None,
    line: int | None,
    laplace: float,
) -> dict[str, Any]:
    """The same direction by time alone and by altitude alone, where both can be had."""
    methods: dict[str, Any] = {}
    for name, result in (("time", by_time), ("altitude", by_altitude)):
        found = None if result is None else _direction_of(result, line)
        usable = found is not None and found.u_deg <= WIDEST_U_DEG
        methods[name] = (
            {
                "azimuth_deg": float(wrap_360(found.azimuth_deg - laplace)),
                "azimuth_u_deg": found.u_deg,
            }
            if found is not None and usable
            else None
        )
    return {"methods": methods, "budget": _direction_of(adjusted, line).terms}


def _direction_of(adjusted: Adjusted, line: int | None) -> Direction:
    return adjusted.orientation if line is None else adjusted.lines[line]


def _flags(adjusted: Adjusted, row: dict[str, Any]) -> list[str]:
    aloft = adjusted.circle.aloft
    doubtful = (adjusted.good < DOUBTFUL) | (adjusted.altitude_good < DOUBTFUL)
    flags: list[str] = []
    if doubtful.any():
        flags.append(Flag.SIGHT_MISFIT)
    if (aloft & ~doubtful).sum() < 2:
        flags.append(Flag.SIGHTS_UNCHECKED)
    slipped = adjusted.meant.words and not adjusted.meant.of_watch
    if adjusted.undecided > _CONTRADICTION or adjusted.scale > 1.0 or slipped:
        flags.append(Flag.SIGHTS_CONTRADICT)
    if adjusted.meant.of_watch:
        flags.append(Flag.WATCH_DOUBTFUL)
    correction = row["compass_correction_deg"]
    if correction is not None and abs(correction) > COVERAGE_95 * row["compass_correction_u_deg"]:
        flags.append(Flag.COMPASS_DIFFERS)
    return flags


# --- with boards and with each other -----------------------------------------------------------


def _joined(results: list[CircleResult], boards: Sequence[SetupResult]) -> list[CircleResult]:
    """Every line that circles or a board know more than once, joined and compared."""
    known: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for place, result in enumerate(results):
        for number, row in enumerate(result.rows):
            if row["reference_azimuth_deg"] is not None:
                key = (row["site"], row["reference_name"])
                known.setdefault(key, []).append((place, number))
    rows = [list(result.rows) for result in results]
    for key, members in known.items():
        board = _of_boards(key, boards)
        parts = [_part(rows[place][number], "reference") for place, number in members]
        if board is not None:
            parts.append(board)
        together, agree = joined(parts) if len(parts) > 1 else (None, True)
        for place, number in members:
            row = rows[place][number]
            if board is not None:
                row |= {
                    "board_azimuth_deg": board.azimuth_deg,
                    "board_azimuth_u_deg": board.u_deg,
                }
            if together is not None:
                row |= {
                    "combined_azimuth_deg": together.azimuth_deg,
                    "combined_azimuth_u_deg": together.u_deg,
                }
                if not agree:
                    row["flags"] = [*row["flags"], Flag.LINES_DISAGREE]
    return [replace(result, rows=tuple(own)) for result, own in zip(results, rows, strict=True)]


def _of_boards(key: tuple[str, str], boards: Sequence[SetupResult]) -> Known | None:
    """What the boards of a line say, all of them together."""
    for board in boards:
        row = board.row
        if (row["site"], row["reference_name"]) != key or row["reference_azimuth_deg"] is None:
            continue
        which = "combined" if row["combined_azimuth_deg"] is not None else "reference"
        return _part(row, which)
    return None


def _part(row: dict[str, Any], which: str) -> Known:
    return Known(row[f"{which}_azimuth_deg"], row[f"{which}_azimuth_u_deg"])


# --- compasses ---------------------------------------------------------------------------------


def compass_rows(results: Sequence[CircleResult], sites: pd.DataFrame) -> pd.DataFrame:
    """The sights of compasses as readings toward known azimuths, for `check_compasses`.

    Args:
        results: of `reduce_sights`.
        sites: the finished sites table.

    Returns:
        One row a sight toward the sky that fits: the columns of `compass.COLUMNS`, `setup`
        (the circle and date, whose watch error the rows share), `reading` (the sight),
        `stand`, `latitude_deg` and `longitude_deg`.
    """
    rows: list[dict[str, Any]] = []
    for result in results:
        if result.adjusted is not None and result.rows[0]["compass"]:
            rows += _readings_of(result, result.adjusted, sites)
    columns = [*COLUMNS, "setup", "reading", "stand", "latitude_deg", "longitude_deg"]
    return pd.DataFrame(rows, columns=columns)


def every_reading(campaign: Campaign, rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Compass readings toward lines, and those toward the sky under them.

    Args:
        campaign: with its readings and sights, if it has any.
        rows: of its set-ups, reduced, as for `compass.compass_readings`.
    """
    readings = compass_readings(campaign, rows)
    toward_sky = compass_rows(reduce_sights(campaign), campaign.sites)
    if toward_sky.empty:
        return readings
    texts = {"of_setup": "", "observer": "", "target": ""}
    added = toward_sky.assign(**{name: "" for name in texts if name in readings})
    return added if readings.empty else pd.concat([readings, added], ignore_index=True)


def _readings_of(
    result: CircleResult, adjusted: Adjusted, sites: pd.DataFrame
) -> list[dict[str, Any]]:
    row, circle, terms = result.rows[0], adjusted.circle, adjusted.orientation.terms
    meant = adjusted.meant.circle
    toward = meant.reading_deg + adjusted.orientation.azimuth_deg - adjusted.residual_deg
    shared = {
        "site": row["site"],
        "compass": row["compass"],
        "declination_deg": row["declination_deg"],
        "declination_u_deg": row["declination_u_deg"],
        "true_azimuth_u_deg": float(np.hypot(terms["watch"], terms["doubt"])),
        "setup": f"{row['circle']} {row['date']}",
        "stand": "",
        "latitude_deg": float(cast(float, sites.loc[row["site"], "latitude_deg"])),
        "longitude_deg": float(cast(float, sites.loc[row["site"], "longitude_deg"])),
    }
    fits = np.flatnonzero(circle.aloft & (adjusted.good >= DOUBTFUL) & ~meant.turned)
    return [
        shared
        | {
            "reading": str(result.sights["sight"].iloc[number]),
            "true_azimuth_deg": float(wrap_360(toward[number] - result.laplace_deg)),
            "reading_deg": float(circle.reading_deg[number]),
            "reading_u_deg": float(circle.reading_sd_deg[number]),
        }
        for number in fits
    ]
