"""Results for a GIS: each reference line a geometry, in GeoJSON and GeoPackage.

The GeoPackage has the sites and what compasses say of the ground as layers of points, too.

Coordinates are WGS 84, longitude first. A line runs from the station to its reference point
where the table gives that point's grid coordinates, else 1 km along its true azimuth: the
column `line_end` says which. A set-up without an azimuth, or at a site whose place is not known,
keeps its row and has no geometry.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from orient import site
from orient.files import scratch
from orient.numbers import grid
from orient.observation.setups import KEYS, SetupResult

if TYPE_CHECKING:
    from orient.observation.compass import CompassCheck

LAYER = "reference_lines"
SYMBOLIC_M = 1000.0
TO_REFERENCE, SYMBOLIC = "reference point", "symbolic, 1 km along the true azimuth"

#: What the columns mean, carried in the files themselves.
CONVENTIONS = (
    "Lines in WGS 84 from the station: to the reference point where line_end says so, else 1 km "
    "along the true azimuth. Angles in degrees. Azimuths and bearings count clockwise: azimuth "
    "from true north, grid_bearing from grid north, magnetic_bearing from magnetic north. "
    "declination and convergence: east plus; magnetic bearing = azimuth − declination, grid "
    "bearing = azimuth − convergence − arc-to-chord correction. Columns with _u_ are standard "
    "uncertainties (1 sigma; times 1.96 for 95 %). north_on_board: board direction of true "
    "north, clockwise from the board's +y. noon_watch: what the watch showed at local noon. "
    "methods, solved_place: JSON objects; flags: JSON array of codes."
)
#: Columns held as JSON text, which every format can carry.
_AS_TEXT = ("solved_place", "methods", "flags")


def results_frame(results: Sequence[SetupResult]) -> Any:
    """The rows of a reduction as a GeoDataFrame, one a set-up, with their lines.

    Args:
        results: of `reduce_campaign`.

    Returns:
        Columns `KEYS` and `line_end`; `solved_place`, `methods` and `flags` as JSON text;
        EPSG:4326. Ends at a reference point are as good as its grid's transformation; symbolic
        ends lie on the geodesic within a nanometre.
    """
    import geopandas as gpd
    import pandas as pd

    lines = [_line(result) for result in results]
    rows = [
        {
            key: json.dumps(result.row[key], ensure_ascii=False)
            if key in _AS_TEXT and result.row[key] is not None
            else result.row[key]
            for key in KEYS
        }
        for result in results
    ]
    frame = pd.DataFrame(rows, columns=list(KEYS))
    frame["line_end"] = pd.Series([end for _, end in lines], dtype=object)
    return gpd.GeoDataFrame(frame, geometry=[shape for shape, _ in lines], crs="EPSG:4326")


def geojson(frame: Any) -> str:
    """A frame of `results_frame` as GeoJSON (RFC 7946), conventions in `description`."""
    whole = json.loads(frame.to_json(drop_id=True, na="null"))
    whole.pop("crs", None)
    head = {"type": whole.pop("type"), "name": LAYER, "description": CONVENTIONS}
    return json.dumps(head | whole, ensure_ascii=False, allow_nan=False) + "\n"


def sites_frame(described: Any) -> Any:
    """The sites of `site.describe` as a GeoDataFrame of points, EPSG:4326, `flags` as JSON text."""
    import geopandas as gpd

    rows = described[list(site.COLUMNS)].reset_index(drop=True)
    rows["flags"] = [json.dumps(list(flags)) for flags in rows["flags"]]
    points = gpd.points_from_xy(rows["longitude_deg"], rows["latitude_deg"])
    return gpd.GeoDataFrame(rows, geometry=points, crs="EPSG:4326")


def anomalies_frame(check: CompassCheck) -> Any:
    """The places of a compass check as a GeoDataFrame of points, EPSG:4326.

    Each stands in the middle of the stands that it joins.
    """
    import geopandas as gpd

    where = ["longitude_deg", "latitude_deg"]
    middle = check.readings.reindex(columns=["place", *where]).groupby("place")[where].mean()
    at = middle.astype(float).reindex(check.places.index)
    points = gpd.points_from_xy(at["longitude_deg"], at["latitude_deg"])
    return gpd.GeoDataFrame(check.places.reset_index(), geometry=points, crs="EPSG:4326")


def geopackage(frame: Any, sites: Any = None, anomalies: Any = None) -> bytes:
    """The same as the bytes of a GeoPackage, conventions in the layer's description.

    Args:
        frame: of `results_frame`.
        sites: of `sites_frame`, for a layer of that name.
        anomalies: of `anomalies_frame`, for the layer `compass_anomalies`.
    """
    with scratch("results.gpkg") as path, steady_dates():
        _write_layer(path, frame, LAYER, "MultiLineString", "Reference lines", CONVENTIONS)
        if sites is not None:
            _write_layer(path, sites, "sites", "Point", "Sites", _OF_SITES)
        if anomalies is not None and len(anomalies):
            _write_layer(
                path, anomalies, "compass_anomalies", "Point", "Compass anomalies", _OF_ANOMALIES
            )
        return path.read_bytes()


_OF_SITES = (
    "Angles in degrees. declination and convergence: east plus; their sum as grid_to_magnetic. "
    "Columns with _u_ are standard uncertainties. flags: JSON array of codes."
)
_OF_ANOMALIES = (
    "By how many degrees a needle points east of the model's declination: anomaly, with its 95 % "
    "interval, low to high; _u_ is a standard uncertainty. pulled_probability: of a pull above 1°."
)


def _write_layer(
    path: Path, frame: Any, layer: str, geometry_type: str, name: str, description: str
) -> None:
    """Add a layer to a file; a column `date` of ISO texts becomes one of dates."""
    from pyogrio import raw
    from shapely import to_wkb

    if geometry_type.startswith("Multi"):
        frame = frame.assign(geometry=[_multiple(shape) for shape in frame.geometry])
    columns = [column for column in frame.columns if column != "geometry"]
    raw.write(
        path,
        to_wkb(frame.geometry.to_numpy()),
        [_field(column, frame[column]) for column in columns],
        columns,
        layer=layer,
        driver="GPKG",
        geometry_type=geometry_type,
        crs="EPSG:4326",
        layer_options={"IDENTIFIER": name, "DESCRIPTION": description},
    )


def _field(column: str, values: Any) -> Any:
    if column == "date":
        return values.astype(str).str[:10].to_numpy().astype("datetime64[D]")
    if values.dtype.kind in "biuf":
        return values.to_numpy()
    return values.astype(object).where(values.notna(), None).to_numpy(dtype=object)


def _multiple(shape: Any) -> Any:
    from shapely import LineString, MultiLineString

    return MultiLineString([shape]) if isinstance(shape, LineString) else shape


@contextmanager
def steady_dates() -> Iterator[None]:
    """Have the library date the file by no clock: the same results give the same bytes."""
    import pyogrio

    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2000-01-01T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def line_end(result: SetupResult) -> tuple[float, float] | None:
    """Latitude and longitude of the reference point, None where its grid place is not known."""
    setup = result.setup
    east, north = setup["reference_easting_m"], setup["reference_northing_m"]
    if not (np.isfinite(east) and np.isfinite(north) and result.place["grid"]):
        return None
    latitude, longitude, _ = grid.to_geographic(east, north, result.place["grid"])
    if not (np.isfinite(latitude) and np.isfinite(longitude)):
        return None
    return float(latitude), float(longitude)


def _line(result: SetupResult) -> tuple[Any, str | None]:
    azimuth = result.row["reference_azimuth_deg"]
    if azimuth is None or not np.isfinite(result.place["longitude_deg"]):
        return None, None
    start = float(result.place["latitude_deg"]), float(result.place["longitude_deg"])
    end = line_end(result)
    if end is not None:
        return _shape(start, end), TO_REFERENCE
    from pyproj import Geod

    longitude, latitude, _ = Geod(ellps="WGS84").fwd(start[1], start[0], azimuth, SYMBOLIC_M)
    return _shape(start, (latitude, longitude)), SYMBOLIC


def _shape(start: tuple[float, float], end: tuple[float, float]) -> Any:
    """A line, cut where it crosses the 180th meridian as RFC 7946 asks."""
    from shapely import LineString, MultiLineString

    (south, west), (north, east) = start, end
    if abs(east - west) <= 180.0:
        return LineString([(west, south), (east, north)])
    limit = 180.0 if west > 0 else -180.0
    unrolled = east + 2 * limit
    crossing = south + (north - south) * (limit - west) / (unrolled - west)
    return MultiLineString(
        [[(west, south), (limit, crossing)], [(-limit, crossing), (east, north)]]
    )
