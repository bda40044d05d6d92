"""The magnetic field on a lattice of latitudes and longitudes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.numbers import grid, magnetic
from orient.numbers.angles import wrap_180

Array = NDArray[np.float64]

#: What can be had over an area: the word that asks for it, its column, and its title with unit.
QUANTITIES: dict[str, tuple[str, str]] = {
    "declination": ("declination_deg", "Magnetic declination, degrees east"),
    "change": ("declination_rate_deg_per_year", "Change of declination, degrees east a year"),
    "grid-magnetic": ("grid_to_magnetic_deg", "From grid north to the needle, degrees east"),
    "inclination": ("inclination_deg", "Inclination, degrees down"),
    "horizontal": ("horizontal_intensity_nt", "Horizontal field, nT"),
}
#: Those that are directions, going round the circle.
CIRCULAR = ("declination", "grid-magnetic")
#: Points of an area at most.
MOST_POINTS = 5_000_000


@dataclass(frozen=True)
class Area:
    """An area in degrees; `east_deg` is greater than `west_deg`, beyond 180 over that meridian."""

    west_deg: float
    south_deg: float
    east_deg: float
    north_deg: float

    @property
    def middle_latitude_deg(self) -> float:
        return (self.south_deg + self.north_deg) / 2.0


@dataclass(frozen=True)
class Lattice:
    """The field on a lattice.

    `latitude_deg` (rows, from north to south), `longitude_deg` (columns, to the east, beyond 180
    where the area crosses that meridian); `values` by column name, each (rows, columns).
    `at` gives one quantity at any points, for contour lines. `crs` is "" where no grid was asked.
    """

    area: Area
    year: float
    crs: str
    latitude_deg: Array
    longitude_deg: Array
    values: dict[str, Array]
    model: str

    def at(self, what: str) -> Callable[[Array, Array], Array]:
        """A function of latitudes and longitudes that gives a quantity there, by the model."""
        column = QUANTITIES[what][0]
        return lambda latitude, longitude: _values(latitude, longitude, self.year, self.crs)[column]


def lattice(area: Area, step_deg: float, year: float, crs: str = "") -> Lattice:
    """The field over an area, at the ellipsoid.

    Args:
        area: which.
        step_deg: of both axes; drawn in a little, so that whole steps fill the area.
        year: decimal year.
        crs: a grid, for the angle from its north to the needle.

    Raises:
        ValueError: more points than `MOST_POINTS`.
    """
    rows = max(2, round((area.north_deg - area.south_deg) / step_deg) + 1)
    columns = max(2, round((area.east_deg - area.west_deg) / step_deg) + 1)
    if rows * columns > MOST_POINTS:
        raise ValueError(
            f"{rows * columns:,} points are too many: at most {MOST_POINTS:,}, by a wider step"
        )
    latitude = np.linspace(area.north_deg, area.south_deg, rows)
    longitude = np.linspace(area.west_deg, area.east_deg, columns)
    values = _values(latitude[:, None], longitude[None, :], year, crs)
    model = str(np.atleast_1d(magnetic.field(latitude[0], longitude[0], 0.0, year).model)[0])
    return Lattice(area, year, crs, latitude, longitude, values, model)


def _values(latitude: Array, longitude: Array, year: float, crs: str) -> dict[str, Array]:
    found = magnetic.field(latitude, wrap_180(longitude), 0.0, year)
    values = {
        "declination_deg": np.asarray(found.declination_deg),
        "declination_u_deg": np.asarray(found.declination_u_deg),
        "declination_rate_deg_per_year": np.asarray(found.declination_rate_deg_per_year),
        "inclination_deg": np.asarray(found.inclination_deg),
        "horizontal_intensity_nt": np.asarray(found.horizontal_nt),
    }
    if crs:
        lat, lon = np.broadcast_arrays(latitude, wrap_180(longitude))
        figures = grid.grid_figures(lat, lon, crs)
        values["grid_to_magnetic_deg"] = wrap_180(
            values["declination_deg"] - np.asarray(figures.convergence_deg)
        )
    return values
