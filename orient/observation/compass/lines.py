"""A campaign's compass readings, each with the true azimuth of the line it was taken along.

An azimuth comes from the first of these that there is: `known_azimuth_deg` of the reading; the
two ends' coordinates, where the compass did not stand at the board; the board's, from its
reference line; the two ends' coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.numbers import grid, magnetic
from orient.numbers.angles import wrap_360
from orient.observation.compass.prepare import COLUMNS
from orient.tables.campaign import Campaign

#: What is read of where, beside `COLUMNS`.
MORE = (
    "reading",
    "of_setup",
    "setup",
    "date",
    "target",
    "stand",
    "latitude_deg",
    "longitude_deg",
)


class Line(NamedTuple):
    """A line of known azimuth: its standard uncertainty, and whose error it shares."""

    azimuth_deg: float
    u_deg: float
    orientation: str


class _Point(NamedTuple):
    latitude_deg: float
    longitude_deg: float


def compass_readings(campaign: Campaign, rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Every compass reading of a campaign whose line's azimuth is known.

    Args:
        campaign: with its readings, if it has any.
        rows: of its set-ups, reduced: `reduce_campaign(campaign)[…].row`, with the true
            azimuths of their reference lines.

    Returns:
        One row a reading, as `check_compasses` takes them, with `MORE`: the readings of the
        set-ups first, then those of the readings table; not those at a place that the marks
        contradict, where no declination is known. `setup` names the orientation that
        the azimuth came from. A reading of the set-ups table has the id of its set-up in
        `of_setup`, one of the readings table its own id in `reading`; the other is blank.
    """
    lines = _board_lines(rows)
    lines = _sighted_lines(campaign, lines) | lines
    found = [*_of_setups(campaign, lines), *_of_table(campaign, lines)]
    setups, places = misplaced(rows)
    found = [
        each for each in found if each["of_setup"] not in setups and each["site"] not in places
    ]
    table = pd.DataFrame(found, columns=[*MORE, *COLUMNS])
    if table.empty:
        return table
    sites = campaign.sites.loc[table["site"]]
    years = magnetic.decimal_year(table["date"].to_numpy(dtype="datetime64[D]"))
    field = magnetic.field_or_none(
        table["latitude_deg"].fillna(pd.Series(sites["latitude_deg"].to_numpy())),
        table["longitude_deg"].fillna(pd.Series(sites["longitude_deg"].to_numpy())),
        sites["elevation_m"].to_numpy(float),
        years,
    )
    expected = table.assign(
        declination_deg=field.declination_deg, declination_u_deg=field.declination_u_deg
    )
    return expected[expected["declination_deg"].notna()].reset_index(drop=True)


def left_out_words(campaign: Campaign, readings: pd.DataFrame) -> list[str]:
    """Which compass readings of a campaign are not among those of `compass_readings`, and why."""
    read = campaign.setups.index[campaign.setups["compass_reading_deg"].notna()]
    of_setups = [
        f"set-up {name}" for name in read.difference(pd.Index(readings["of_setup"]), sort=False)
    ]
    names = campaign.readings.index.difference(pd.Index(readings["reading"]), sort=False)
    of_table = [f"reading {name}" for name in names]
    left = [*of_setups, *of_table]
    if not left:
        return []
    listed = ", ".join(left[:6]) + (f" and {len(left) - 6} more" if len(left) > 6 else "")
    return [
        f"Left out: {listed}. No azimuth of the line that was read is known there (by a board's "
        "marks, sights, known_azimuth_deg or coordinates), or its site has no coordinates or other "
        "ones than the marks say, or the date lies outside the magnetic models."
    ]


def misplaced(rows: Sequence[Mapping[str, Any]]) -> tuple[set[str], set[str]]:
    """The set-ups whose marks put their site elsewhere, and the sites where no other disagrees.

    A line of theirs has an azimuth, but no magnetic bearing.
    """
    known = [
        row
        for row in rows
        if row["reference_azimuth_deg"] is not None and row["declination_deg"] is not None
    ]
    doubted = [row for row in known if row["reference_magnetic_bearing_deg"] is None]
    believed = {row["site"] for row in known if row not in doubted}
    return {row["setup"] for row in doubted}, {row["site"] for row in doubted} - believed


def _board_lines(rows: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], Line]:
    """By site and name, and by site and set-up's id, the lines that boards gave."""
    lines: dict[tuple[str, str], Line] = {}
    for row in rows:
        if row["reference_azimuth_deg"] is None:
            continue
        own = Line(row["reference_azimuth_deg"], row["reference_azimuth_u_deg"], row["setup"])
        lines["set-up", row["setup"]] = own
        together = row.get("combined_azimuth_deg")
        best = (
            own if together is None else Line(together, row["combined_azimuth_u_deg"], row["setup"])
        )
        if row["reference_name"]:
            key = (row["site"], row["reference_name"])
            if key not in lines or best.u_deg < lines[key].u_deg:
                lines[key] = best
    return lines


def _sighted_lines(
    campaign: Campaign, known: Mapping[tuple[str, str], Line]
) -> dict[tuple[str, str], Line]:
    """By site and name, the lines that sights gave, where a reading asks for one no board gave."""
    asked = {
        (str(site), str(name))
        for table, column in ((campaign.readings, "target"), (campaign.setups, "reference_name"))
        for site, name in zip(table["site"], table[column], strict=True)
        if name
    } - set(known)
    if campaign.sights.empty or not asked & set(
        zip(campaign.sights["site"].astype(str), campaign.sights["target"].astype(str), strict=True)
    ):
        return {}
    from orient.observation.sights.campaign import reduce_sights

    lines: dict[tuple[str, str], Line] = {}
    for circle in reduce_sights(campaign):
        for row in circle.rows:
            if row["reference_azimuth_deg"] is None:
                continue
            which = "reference" if row["combined_azimuth_deg"] is None else "combined"
            line = Line(
                row[f"{which}_azimuth_deg"], row[f"{which}_azimuth_u_deg"],
                f"{row['circle']} {row['date']}",
            )  # fmt: skip
            key = (row["site"], row["reference_name"])
            if key not in lines or line.u_deg < lines[key].u_deg:
                lines[key] = line
    return lines


# ---------------------------------------------------------------- readings of the set-ups


def _of_setups(campaign: Campaign, lines: Mapping[tuple[str, str], Line]) -> list[dict[str, Any]]:
    found = []
    read = campaign.setups[campaign.setups["compass_reading_deg"].notna()]
    for name, setup in read.iterrows():
        site = str(setup["site"])
        line = lines.get(("set-up", str(name))) or lines.get((site, setup["reference_name"]))
        if line is None:
            continue
        here = campaign.sites.loc[[site]]
        found.append(
            {
                "reading": "",
                "of_setup": str(name),
                "setup": line.orientation,
                "date": str(setup["date"])[:10],
                "target": setup["reference_name"],
                "stand": "",
                "latitude_deg": float(here["latitude_deg"].iloc[0]),
                "longitude_deg": float(here["longitude_deg"].iloc[0]),
                "site": site,
                "compass": setup["compass"],
                "true_azimuth_deg": line.azimuth_deg,
                "true_azimuth_u_deg": line.u_deg,
                "reading_deg": float(setup["compass_reading_deg"]),
                "reading_u_deg": float(setup["compass_sd_deg"]),
            }
        )
    return found


# ---------------------------------------------------------------- the readings table


def _of_table(campaign: Campaign, lines: Mapping[tuple[str, str], Line]) -> list[dict[str, Any]]:
    targets = _target_points(campaign)
    stands = _stands(campaign)
    found = []
    for (name, reading), stand in zip(campaign.readings.iterrows(), stands, strict=True):
        line = _line(campaign, reading, stand, targets, lines)
        if line is None:
            continue
        found.append(
            {
                "reading": str(name),
                "of_setup": "",
                "setup": line.orientation,
                "date": str(reading["date"])[:10],
                "target": reading["target"],
                "stand": reading["stand"],
                "latitude_deg": stand.latitude_deg,
                "longitude_deg": stand.longitude_deg,
                "site": reading["site"],
                "compass": reading["compass"],
                "true_azimuth_deg": line.azimuth_deg,
                "true_azimuth_u_deg": line.u_deg,
                "reading_deg": float(reading["reading_deg"]),
                "reading_u_deg": float(reading["reading_sd_deg"]),
            }
        )
    return found


def _stands(campaign: Campaign) -> list[_Point]:
    """Where each reading was taken: by its own coordinates, else at its site."""
    readings = campaign.readings
    sites = campaign.sites.loc[readings["site"]]
    latitude, longitude, _ = (
        grid.to_geographic(
            readings["easting_m"].to_numpy(float),
            readings["northing_m"].to_numpy(float),
            sites["grid"].to_numpy(str),
        )
        if len(readings)
        else (np.empty(0), np.empty(0), None)
    )
    here = readings["easting_m"].notna().to_numpy()
    return [
        _Point(float(a), float(b))
        for a, b in zip(
            np.where(here, latitude, sites["latitude_deg"]),
            np.where(here, longitude, sites["longitude_deg"]),
            strict=True,
        )
    ]


def _target_points(campaign: Campaign) -> dict[tuple[str, str], _Point]:
    """By site and name, the places of reference points; by "" and name, those of sites."""
    points = {
        ("", str(name)): _Point(float(row["latitude_deg"]), float(row["longitude_deg"]))
        for name, row in campaign.sites.iterrows()
    }
    setups = campaign.setups
    mapped = setups[setups[["reference_easting_m", "reference_northing_m"]].notna().all(axis=1)]
    for _, row in mapped.iterrows():
        latitude, longitude, _ = grid.to_geographic(
            row["reference_easting_m"],
            row["reference_northing_m"],
            campaign.sites.loc[row["site"], "grid"],
        )
        points[row["site"], row["reference_name"]] = _Point(float(latitude), float(longitude))
    return points


def _line(
    campaign: Campaign,
    reading: pd.Series,
    stand: _Point,
    targets: Mapping[tuple[str, str], _Point],
    lines: Mapping[tuple[str, str], Line],
) -> Line | None:
    site, target = str(reading["site"]), str(reading["target"])
    if np.isfinite(reading["known_azimuth_deg"]):
        return Line(
            float(wrap_360(reading["known_azimuth_deg"])),
            float(reading["known_azimuth_sd_deg"]),
            f"known {target or reading['known_azimuth_deg']}",
        )
    point = targets.get((site, target)) or targets.get(("", target))
    by_board = lines.get((site, target))
    moved = np.isfinite(reading["easting_m"])
    if by_board is not None and not (moved and point):
        return by_board
    return (
        None if point is None else _between(stand, point, float(reading["position_sd_m"]), target)
    )


def _between(start: _Point, end: _Point, sd_m: float, target: str) -> Line | None:
    """The geodesic's azimuth; each end is known to `sd_m` on each axis."""
    from pyproj import Geod

    azimuth, _, distance = Geod(ellps="WGS84").inv(
        start.longitude_deg, start.latitude_deg, end.longitude_deg, end.latitude_deg
    )
    if not np.isfinite(distance) or distance < 10.0 * sd_m:
        return None
    u_deg = float(np.degrees(np.hypot(sd_m, sd_m) / distance))
    return Line(float(wrap_360(azimuth)), u_deg, f"coordinates of {target}")
