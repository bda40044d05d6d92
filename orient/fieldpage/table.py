"""What the field page knows beforehand: the sun of its sites and days, and the tables' columns.

The page computes no sun of its own. It looks the sun up as `orient.pages.lookup` writes it, at
the place where the plumb line points, half a day before the first date and after the last, so
that a watch set to another zone is found out. For a record that may name another day or place
than it means there is an almanac, one line a day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from orient import site as trade_site
from orient.numbers import grid, sun
from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import UNCHECKED_LEVEL_DEG, Tolerances
from orient.observation.setups import KEYS
from orient.pages import lookup, onsite
from orient.planning.hourly import hourly_pairs
from orient.planning.hours import Limits, plan_table
from orient.planning.rig import Rig
from orient.tables import clock, columns

Row = dict[str, Any]

#: More would make a file that a telephone is slow to open.
MOST_SITE_DAYS = 1000
#: So much sun before the first midnight and after the last: a watch may be set to any zone.
_MARGIN_S = 16 * 3600
#: So many days of the almanac to either side: day and month swapped stay within a year.
_ALMANAC_DAYS = 340


def field_table(
    name: str,
    span: str,
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig,
    limits: Limits,
    advance: Callable[[int], None] = lambda _: None,
) -> Row:
    """Everything that the page's script reads.

    Args:
        name: of the campaign.
        span: the dates in words.
        sites: the sites table, some rows of it.
        dates: local dates, datetime64[D], one after the other.
        rig, limits: what the good hours are planned for.
        advance: told after each site.
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    rows = []
    for number in range(len(sites)):
        rows.append(_site(sites.iloc[[number]], days, rig, limits))
        advance(1)
    return {
        **onsite.panel_table(span, rig.rod_mm, onsite.hour_classes(limits), rows),
        "campaign": name,
        "almanac": _almanac(days),
        "keys": list(KEYS),
        "defaults": _defaults(),
        "tolerances": asdict(Tolerances()),
        "unchecked_level_deg": UNCHECKED_LEVEL_DEG,
        "angle_sd_deg": columns.ANGLE_SD_DEG,
        "deflection_rms_arcsec": grid.DEFLECTION_RMS_ARCSEC,
        "columns": {table.name: list(table.names) for table in columns.TABLES.values()},
        "limits": _limits(),
    }


def _almanac(days: Any) -> Row:
    """Declination and equation of time of each midnight UTC, from day `first` since 1970 on.

    The equation is in degrees of hour angle. A cubic through four days is good to 10⁻⁵ degrees,
    as the figures are rounded.
    """
    first, last = (int(day.astype("datetime64[D]").astype(int)) for day in (days[0], days[-1]))
    numbers = np.arange(first - _ALMANAC_DAYS, last + _ALMANAC_DAYS)
    years = numbers.astype("datetime64[D]").astype("datetime64[Y]").astype(int) + 1970
    numbers = numbers[(years >= sun.FIRST_YEAR) & (years <= sun.LAST_YEAR)]
    midnights = numbers * float(clock.DAY_S)
    equation = wrap_180(sun.hour_angle_deg(midnights, 0.0) - 180.0)
    return {
        "first": int(numbers[0]),
        "declination_deg": np.round(sun.declination_deg(midnights), 5).tolist(),
        "equation_deg": np.round(equation, 5).tolist(),
    }


def _defaults() -> Row:
    """What a blank cell of the set-ups table stands for, where it is one value for all rows."""
    return {
        column.name: column.default
        for column in columns.SETUPS.columns
        if column.default is not None
    }


def _limits() -> Row:
    """The least and the greatest number of each column that the page asks for."""
    return {
        column.name: [column.low, column.high]
        for table in (columns.SETUPS, columns.MARKS)
        for column in table.columns
        if column.kind == "number"
    }


def _site(one: pd.DataFrame, days: Any, rig: Rig, limits: Limits) -> Row:
    where = one.iloc[0]
    described = trade_site.describe(one.iloc[np.zeros(days.size, dtype=int)], days)
    planned = plan_table(one, days, rig, limits)
    letters = onsite.letters_of(hourly_pairs(one, days, rig, limits, onsite.SLOT_MIN), limits)[0]
    deflected = bool(np.isfinite(where["xi_arcsec"]) and np.isfinite(where["eta_arcsec"]))
    plumb = _plumb(where) if deflected else where
    table = lookup.site_table(plumb, days[0], days[-1], _MARGIN_S)
    by_date = onsite.day_tables(planned, letters)
    for (_, day), own in zip(described.iterrows(), by_date.values(), strict=True):
        own |= _day(day)
    place = described.iloc[0]
    return {
        "site": str(where.name),
        "latitude_deg": float(where["latitude_deg"]),
        "longitude_deg": float(where["longitude_deg"]),
        "plumb_latitude_deg": float(plumb["latitude_deg"]),
        "plumb_longitude_deg": float(plumb["longitude_deg"]),
        "timezone": where["timezone"],
        "grid": place["grid"],
        "convergence_deg": _or_none(place["convergence_deg"]),
        "datum_turn_deg": float(np.nan_to_num(place["datum_turn_deg"])),
        "laplace_deg": _laplace_deg(where) if deflected else None,
        **table,
        "days": by_date,
    }


def _plumb(where: pd.Series[Any]) -> pd.Series[Any]:
    """The site as its plumb line has it: the bubble levels the board to that."""
    latitude, longitude = grid.astronomic_coordinates(
        where["latitude_deg"], where["longitude_deg"], where["xi_arcsec"], where["eta_arcsec"]
    )
    plumb = where.copy()
    plumb["latitude_deg"], plumb["longitude_deg"] = float(latitude), float(longitude)
    return plumb


def _laplace_deg(where: pd.Series[Any]) -> float:
    return float(
        grid.laplace_correction_deg(where["latitude_deg"], where["xi_arcsec"], where["eta_arcsec"])
    )


def _day(day: pd.Series[Any]) -> Row:
    distance = sun.place(day["noon_utc_s"], day["latitude_deg"], day["longitude_deg"]).distance_au
    return {
        "noon": round(float(day["noon_utc_s"]), 2),
        "declination_deg": round(float(day["declination_deg"]), 6),
        "declination_u_deg": round(float(day["declination_u_deg"]), 6),
        "semidiameter_deg": round(float(sun.semidiameter_deg(distance)), 7),
        "flags": [flag for flag in day["flags"] if not flag.startswith("sun-")],
    }


def _or_none(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
