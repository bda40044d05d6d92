"""All that is known of a place before going there: the three norths and local noon."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from orient.defaults import MAX_ALTITUDE_DEG, MIN_ALTITUDE_DEG
from orient.flags import Flag
from orient.magnetism import field_flags
from orient.numbers import grid, magnetic, sun
from orient.tables import clock
from orient.text import signed

#: Columns of `describe`, in order.
COLUMNS = (
    "site",
    "latitude_deg",
    "longitude_deg",
    "elevation_m",
    "timezone",
    "date",
    "declination_deg",
    "declination_u_deg",
    "declination_rate_deg_per_year",
    "horizontal_intensity_nt",
    "magnetic_model",
    "grid",
    "convergence_deg",
    "scale_factor",
    "grid_to_magnetic_deg",
    "noon_local",
    "noon_altitude_deg",
    "flags",
)


def local_noon(dates: ArrayLike, timezone: ArrayLike, longitude_deg: ArrayLike) -> Any:
    """Local apparent noon of a local date: the transit nearest to 12:00 of civil time.

    Args:
        dates: local dates, datetime64 or ISO text.
        timezone: IANA names.
        longitude_deg: east plus; all of shapes that broadcast.

    Returns:
        POSIX seconds. Holds at the date line too, whatever side the clocks are kept for.
    """
    midday_s = clock.utc_s(dates, 43200.0, timezone)
    return sun.transit(midday_s, longitude_deg)


def describe(
    sites: pd.DataFrame,
    dates: ArrayLike,
    min_altitude_deg: float = MIN_ALTITUDE_DEG,
    max_altitude_deg: float = MAX_ALTITUDE_DEG,
) -> pd.DataFrame:
    """Declination, convergence, local noon and flags of sites, each on its date.

    Args:
        sites: as `Campaign.sites`, n rows; a site may stand there more than once.
        dates: local dates, one for all or one a row.
        min_altitude_deg, max_altitude_deg: the noon sun outside them is flagged.

    Returns:
        n rows of `COLUMNS` in the order of `sites`, indexed 0…n−1, and beside them
        `easting_m`, `northing_m`, `combined_factor`, `datum_turn_deg`, `neighbour_grid`,
        `neighbour_convergence_deg`, `transformation`, `transformation_accuracy_m`,
        `transformation_ballpark`, `conformal` and `noon_utc_s`. `noon_altitude_deg` is
        refracted, as the shadow shows it.
    """
    latitude, longitude, elevation = (
        sites[name].to_numpy(float) for name in ("latitude_deg", "longitude_deg", "elevation_m")
    )
    zones, grids = sites["timezone"].to_numpy(object), sites["grid"].to_numpy(object)
    days = np.broadcast_to(np.asarray(dates, dtype="datetime64[D]"), latitude.shape)
    noon_s = np.asarray(local_noon(days, zones, longitude))
    altitude = sun.place(
        noon_s, latitude, longitude, elevation, sites["pressure_hpa"], sites["temperature_c"]
    ).altitude_deg
    north = magnetic.field_or_none(latitude, longitude, elevation, magnetic.decimal_year(days))
    figures = grid.grid_figures(latitude, longitude, grids, elevation)
    table = pd.DataFrame(
        {
            "site": sites.index.to_numpy(),
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "elevation_m": elevation,
            "timezone": zones,
            "date": np.datetime_as_string(days, unit="D"),
            "declination_deg": north.declination_deg,
            "declination_u_deg": north.declination_u_deg,
            "declination_rate_deg_per_year": north.declination_rate_deg_per_year,
            "horizontal_intensity_nt": north.horizontal_nt,
            "magnetic_model": north.model,
            "grid": grids,
            "convergence_deg": figures.convergence_deg,
            "scale_factor": figures.scale_factor,
            "grid_to_magnetic_deg": grid.grid_to_magnetic_deg(
                north.declination_deg, figures.convergence_deg
            ),
            "noon_local": clock.local_iso(noon_s, zones),
            "noon_altitude_deg": np.asarray(altitude),
        }
    )
    table["flags"] = [
        [Flag.SUN_TOO_HIGH] * bool(noon_altitude > max_altitude_deg)
        + [Flag.SUN_TOO_LOW] * bool(noon_altitude < min_altitude_deg)
        + [Flag.GRID_EDGE] * bool(near_edge)
        + field_flags(float(horizontal), bool(expired))
        for noon_altitude, near_edge, horizontal, expired in zip(
            np.asarray(altitude), figures.near_edge, north.horizontal_nt, north.expired, strict=True
        )
    ]
    return table.assign(
        easting_m=figures.easting_m,
        northing_m=figures.northing_m,
        combined_factor=figures.combined_factor,
        datum_turn_deg=figures.datum_turn_deg,
        neighbour_grid=figures.neighbour_grid,
        neighbour_convergence_deg=figures.neighbour_convergence_deg,
        transformation=figures.shift.transformation,
        transformation_accuracy_m=figures.shift.accuracy_m,
        transformation_ballpark=figures.shift.ballpark,
        conformal=figures.conformal,
        noon_utc_s=noon_s,
    )


def grid_words(place: Any) -> list[str]:
    """What a person should know of a site's grid beyond its convergence, in sentences.

    Args:
        place: a row of `describe`.
    """
    name, crs = place["site"], grid.short_name(place["grid"])
    words = []
    if place["neighbour_grid"]:
        here, there = (
            signed(place[key], 2) + "°" for key in ("convergence_deg", "neighbour_convergence_deg")
        )
        words.append(
            f"{name} lies at the edge of {crs}: in {place['neighbour_grid']} its convergence is "
            f"{there}, here {here}."
        )
    if place["transformation_ballpark"]:
        words.append(
            f"No transformation to the datum of {crs} is at hand for {name}: its grid "
            "coordinates may be hundreds of metres off; its convergence hardly suffers."
        )
    elif place["transformation_accuracy_m"] > 0:
        words.append(
            f"{name}: {crs} is reached by {place['transformation']}, good to "
            f"{place['transformation_accuracy_m']:g} m."
        )
    if not place["conformal"]:
        words.append(
            f"{crs} does not keep angles: the grid bearing of {name} holds for the meridian alone."
        )
    return words
