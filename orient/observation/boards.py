"""From rows of the tables to boards: what a set-up's row, its site's and its marks come to."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pandas as pd

from orient import site
from orient.numbers import grid, sun
from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import Tolerances
from orient.observation.board import Board, rounded_to_s
from orient.tables import clock
from orient.tables.campaign import Campaign


def board_of(campaign: Campaign, setup: str) -> Board:
    """One set-up's board, with the marks of the table that are in use, in their order.

    Args:
        campaign: with all three tables.
        setup: an id of its set-ups.
    """
    row = cast(pd.Series, campaign.setups.loc[setup])
    of_site = campaign.sites.loc[[str(row["site"])]]
    place = cast(pd.Series, of_site.iloc[0])
    noon_s = site.local_noon(row["date"], place["timezone"], place["longitude_deg"])
    day = pd.Series({"date": row["date"], "noon_utc_s": float(noon_s)})
    marks = campaign.marks[(campaign.marks["setup"] == setup) & campaign.marks["use"].astype(bool)]
    return board_from_rows(row, place, day, marks)


def board_from_rows(
    setup: pd.Series, site_row: pd.Series, day: pd.Series, marks: pd.DataFrame
) -> Board:
    """The board of a set-up's row, its site's, its day's and its marks.

    Args:
        setup: row of the set-ups table.
        site_row: row of the sites table.
        day: row of `site.describe` for the site and date, or any with `date` and `noon_utc_s`.
        marks: rows of the marks table that are in use.
    """
    latitude, longitude = plumb_place(site_row)
    watch_noon_s = float(day["noon_utc_s"]) + float(setup["watch_error_s"])
    time_s, zone = marks["time_s"].to_numpy(float), site_row["timezone"]
    watch_utc_s = _instants(day["date"], watch_noon_s, time_s, zone)
    time_sd_s, watch_sd_s = watch_sds(setup, marks["time_s"].to_numpy(float))
    half = np.select([marks["half"] == "am", marks["half"] == "pm"], [-1, 1], 0).astype(np.int8)
    return Board(
        latitude_deg=latitude,
        longitude_deg=longitude,
        noon_utc_s=float(day["noon_utc_s"]),
        height_mm=float(setup["gnomon_height_mm"]),
        x_mm=marks["x_mm"].to_numpy(float),
        y_mm=marks["y_mm"].to_numpy(float),
        watch_utc_s=watch_utc_s,
        half=half,
        ring=marks["ring"].to_numpy(str),
        elevation_m=float(site_row["elevation_m"]),
        pressure_hpa=float(site_row["pressure_hpa"]),
        temperature_c=float(site_row["temperature_c"]),
        watch=str(setup["watch"]),
        watch_error_s=float(setup["watch_error_s"]),
        edge=str(setup["edge"]),
        closing_turn_rad=float(np.radians(closing_turn_deg(setup)[0])),
        closing_sd_rad=float(np.radians(closing_turn_deg(setup)[1])),
        tolerances=Tolerances(
            mark_sd_mm=float(setup["mark_sd_mm"]),
            level_sd_deg=float(setup["level_sd_deg"]),
            plumb_sd_mm=float(setup["plumb_sd_mm"]),
            height_sd_mm=float(setup["height_sd_mm"]),
            watch_sd_s=watch_sd_s,
            time_sd_s=time_sd_s,
        ),
    )


def closing_turn_deg(setup: pd.Series) -> tuple[float, float]:
    """How far clockwise the reference line drawn again lies from the first, and its standard
    uncertainty, degrees; NaN where it was not drawn again."""
    turn = float(wrap_180(setup["reference_close_deg"] - setup["reference_angle_deg"]))
    return turn, float(np.hypot(setup["reference_sd_deg"], setup["reference_close_sd_deg"]))


def watch_sds(setup: pd.Series | dict[str, float], time_s: Any) -> tuple[float, float]:
    """How far each time, and the watch's setting, may be off, seconds.

    Times written in whole steps carry half a step either way, and where they were cut rather
    than rounded all of them the same way: so the setting has it too. Steps longer than a
    minute are cut as a rule: the hands stood past the mark.
    """
    stated = float(setup["time_sd_s"])
    if np.isfinite(stated):
        return stated, float(setup["watch_sd_s"])
    step_s = rounded_to_s(time_s)
    written = step_s / np.sqrt(12.0)
    late = step_s / 2.0 if step_s > 60.0 else written
    return float(written), float(np.hypot(setup["watch_sd_s"], late))


def _instants(date: str, noon_s: float, time_s: Any, timezone: str) -> Any:
    """What the watch times name: the day about local noon as the watch shows it, past midnight
    where it must be.

    A zone far from the sun's own time can have its midnight within the working day. Then
    the times are cut where the watch rested longest, and the day laid about noon.
    """
    instants = np.asarray(clock.utc_s(date, time_s, timezone), dtype=float)
    day_s = sun.SOLAR_DAY_S
    known = instants[np.isfinite(instants)]
    if not known.size or np.abs(known - noon_s).max() <= day_s / 2:
        return instants
    ordered = np.sort(known)
    gaps = np.diff(ordered, append=ordered[0] + day_s)
    start = ordered[(int(np.argmax(gaps)) + 1) % ordered.size]
    instants = start + np.mod(instants - start, day_s)
    middle = np.nanmean(instants)
    return instants + day_s * np.round((noon_s - middle) / day_s)


def has_deflection(site_row: pd.Series) -> bool:
    return bool(np.isfinite(site_row["xi_arcsec"]) and np.isfinite(site_row["eta_arcsec"]))


def plumb_place(site_row: pd.Series) -> tuple[float, float]:
    """Where the plumb line points: the bubble levels the board to it, not to the ellipsoid."""
    latitude, longitude = float(site_row["latitude_deg"]), float(site_row["longitude_deg"])
    if not has_deflection(site_row):
        return latitude, longitude
    turned = grid.astronomic_coordinates(
        latitude, longitude, site_row["xi_arcsec"], site_row["eta_arcsec"]
    )
    return float(turned[0]), float(turned[1])
