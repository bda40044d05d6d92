"""The skyline of a site from a terrain model, or from altitudes read by clinometer."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.terrain import fewest_pairs, skyline_deg
from orient.tables.cells import Faults
from orient.tables.columns import Column, Table, read_file

Array = NDArray[np.float64]

#: The eye at the board, above the ground.
EYE_M = 1.2
#: Azimuths looked at, degrees apart; the skyline is written to this, degrees.
STEP_DEG, WITHIN_DEG = 1.0, 0.15
#: Ground nearer than this part of a cell is the site's own.
_NEAREST_CELLS = 1.5


class NoTerrain(ValueError):
    """A terrain model cannot be read, or does not reach the site."""


@dataclass(frozen=True)
class Skyline:
    """A site's skyline by azimuth.

    `azimuth_deg`, `altitude_deg` of shape (n,), azimuths rising from 0; `pairs` are the few that
    are written into the table; `ground_m` is the model's own height at the site, `known_m` the
    least distance to the model's edge.
    """

    azimuth_deg: Array
    altitude_deg: Array
    pairs: NDArray[np.intp]
    ground_m: float
    known_m: float

    @property
    def text(self) -> str:
        """The skyline as a cell of `horizon_deg` holds it."""
        return " ".join(
            f"{self.azimuth_deg[number]:g}:{round(float(self.altitude_deg[number]), 1):g}"
            for number in self.pairs
        )


class Terrain:
    """A terrain model in a file, read where it is looked at. Use as a context."""

    def __init__(self, path: Path | str) -> None:
        try:
            import rasterio
        except ImportError:
            raise NoTerrain(
                "reading a terrain model needs rasterio: pip install 'orient[raster]'"
            ) from None
        try:
            self._file = rasterio.open(path)
        except rasterio.errors.RasterioError as fault:
            raise NoTerrain(f"{path}: no terrain model that can be read ({fault})") from None
        if self._file.crs is None:
            raise NoTerrain(f"{path}: the terrain model does not say in what grid it is (no CRS)")

    def __enter__(self) -> Terrain:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def skyline(
        self, latitude_deg: float, longitude_deg: float, reach_m: float, eye_m: float = EYE_M
    ) -> Skyline:
        """The skyline seen from a place.

        Args:
            latitude_deg, longitude_deg: WGS 84.
            reach_m: how far ground is looked for.
            eye_m: of the eye above the ground.

        Raises:
            NoTerrain: the place lies outside the model, or on a cell without a height.
        """
        here = float(self._heights(np.array([latitude_deg]), np.array([longitude_deg]))[0])
        if not np.isfinite(here):
            raise NoTerrain(
                f"{latitude_deg:.4f}, {longitude_deg:.4f} lies outside the terrain model"
            )
        cell = self._cell_m(latitude_deg, longitude_deg)
        distance = np.arange(_NEAREST_CELLS * cell, max(reach_m, 3.0 * cell), 0.5 * cell)
        azimuth = np.arange(0.0, 360.0, STEP_DEG)
        latitude, longitude = _places(latitude_deg, longitude_deg, azimuth, distance)
        height = self._heights(latitude, longitude)
        seen = skyline_deg(height, distance, here + eye_m)
        # Where the model ends at once, the open horizon is all that is known.
        seen = np.where(np.isfinite(seen), seen, 0.0)
        seen = np.clip(seen, 0.0, 89.0)
        round_trip = np.append(seen, seen[0])
        pairs = fewest_pairs(np.append(azimuth, 360.0), round_trip, WITHIN_DEG)
        known = np.where(np.isfinite(height), distance, 0.0).max(axis=1)
        return Skyline(azimuth, seen, pairs[:-1], here, float(known.min()))

    def _cell_m(self, latitude_deg: float, longitude_deg: float) -> float:
        """About the size of a cell, from two of them beside each other."""
        from pyproj import Geod

        column, row = self._cell(*self._to_file(latitude_deg, longitude_deg))
        ends = [self._file.xy(row + step, column + step) for step in (0.0, 1.0)]
        back = self._transformer("EPSG:4326", inverse=True)
        (lon_0, lat_0), (lon_1, lat_1) = (back.transform(*end) for end in ends)
        diagonal = Geod(ellps="WGS84").inv(lon_0, lat_0, lon_1, lat_1)[2]
        return float(diagonal) / float(np.sqrt(2.0))

    def _transformer(self, other: str, inverse: bool = False) -> Any:
        from pyproj import Transformer

        crs = self._file.crs.to_wkt()
        start, end = (crs, other) if inverse else (other, crs)
        return Transformer.from_crs(start, end, always_xy=True)

    def _to_file(self, latitude_deg: Any, longitude_deg: Any) -> Any:
        return self._transformer("EPSG:4326").transform(longitude_deg, latitude_deg)

    def _cell(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Column and row, with their parts, of places in the file's grid."""
        inverse = ~self._file.transform
        return (
            inverse.a * np.asarray(x) + inverse.b * np.asarray(y) + inverse.c,
            inverse.d * np.asarray(x) + inverse.e * np.asarray(y) + inverse.f,
        )

    def _heights(self, latitude_deg: Array, longitude_deg: Array) -> Array:
        """Heights at places, bilinear between the middles of cells; NaN where there are none."""
        x, y = self._to_file(latitude_deg, longitude_deg)
        column, row = (np.asarray(each) - 0.5 for each in self._cell(x, y))
        window, values = self._window(column, row)
        return _bilinear(values, row - window[0], column - window[1])

    def _window(self, column: Array, row: Array) -> tuple[tuple[int, int], Array]:
        """The part of the file that these cells lie in, with a cell more on every side."""
        from rasterio.windows import Window

        def span(values: Array, most: int) -> tuple[int, int]:
            known = values[np.isfinite(values)]
            if not known.size:
                return 0, 1
            low = int(np.clip(np.floor(known.min()) - 1, 0, most - 1))
            return low, int(np.clip(np.ceil(known.max()) + 2, low + 1, most))

        top, bottom = span(row, self._file.height)
        left, right = span(column, self._file.width)
        read = self._file.read(1, window=Window(left, top, right - left, bottom - top), masked=True)
        values: Array = np.ma.filled(np.ma.asarray(read, dtype=float), np.nan)
        return (top, left), np.asarray(values)


def _places(
    latitude_deg: float, longitude_deg: float, azimuth_deg: Array, distance_m: Array
) -> tuple[Array, Array]:
    """Places along lines of sight, each of shape (azimuths, distances)."""
    from pyproj import Geod

    shape = (azimuth_deg.size, distance_m.size)
    azimuth = np.repeat(azimuth_deg, distance_m.size)
    distance = np.tile(distance_m, azimuth_deg.size)
    start = np.ones(azimuth.size)
    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        longitude_deg * start, latitude_deg * start, azimuth, distance
    )
    return np.reshape(latitude, shape), np.reshape(longitude, shape)


def _bilinear(values: Array, row: Array, column: Array) -> Array:
    """Values between cells, by whole and part of row and column; NaN outside."""
    height, width = values.shape
    inside = (row >= 0) & (row <= height - 1) & (column >= 0) & (column <= width - 1)
    row, column = np.where(inside, row, 0.0), np.where(inside, column, 0.0)
    top = np.clip(np.floor(row).astype(int), 0, max(height - 2, 0))
    left = np.clip(np.floor(column).astype(int), 0, max(width - 2, 0))
    down, right = np.minimum(top + 1, height - 1), np.minimum(left + 1, width - 1)
    part_row, part_column = row - top, column - left
    upper = values[top, left] * (1 - part_column) + values[top, right] * part_column
    lower = values[down, left] * (1 - part_column) + values[down, right] * part_column
    return np.where(inside, upper * (1 - part_row) + lower * part_row, np.nan)


def measured(readings: pd.DataFrame) -> Skyline:
    """A skyline from altitudes read by clinometer.

    Args:
        readings: `azimuth_deg` (true) and `altitude_deg`, at least one row.

    Returns:
        The skyline, straight lines between the readings round the whole circle.
    """
    ordered = readings.sort_values("azimuth_deg")
    azimuth = ordered["azimuth_deg"].to_numpy(float) % 360.0
    altitude = np.round(ordered["altitude_deg"].to_numpy(float), 1)
    order = np.argsort(azimuth)
    every = np.arange(azimuth.size)
    return Skyline(azimuth[order], altitude[order], every, np.nan, np.nan)


READINGS = Table(
    "readings of the skyline",
    (
        Column("site", "a site id", "id", needed=True),
        Column("azimuth_deg", "true azimuth", "number", "°", True, low=0.0, high=360.0),
        Column("altitude_deg", "of the skyline", "number", "°", True, low=-10.0, high=89.9),
    ),
)


def read_readings(path: Path | str, sites: list[str]) -> pd.DataFrame:
    """Read and check altitudes of the skyline, CSV or workbook.

    Args:
        path: a table with the columns of `READINGS`.
        sites: ids of the sites.

    Returns:
        `site`, `azimuth_deg`, `altitude_deg`.

    Raises:
        InputError: with every fault of the table.
    """
    faults = Faults()
    cells, table = read_file(path, READINGS, faults)
    unknown = np.flatnonzero(~table["site"].isin(["", *sites]))
    known = ", ".join(sites[:6]) + (" …" if len(sites) > 6 else "")
    faults.add_cells(cells, "site", unknown, f"a site of the campaign: {known}")
    turned = table["azimuth_deg"] % 360.0
    again = np.flatnonzero(turned.notna() & pd.DataFrame([table["site"], turned]).T.duplicated())
    faults.add_cells(cells, "azimuth_deg", again, "each azimuth of a site once")
    faults.stop_if_any()
    return table[["site", "azimuth_deg", "altitude_deg"]]
