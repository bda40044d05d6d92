"""A region's lattice as CSV and GeoTIFF, its lines as GeoJSON and GeoPackage."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from orient.export.layers import steady_dates
from orient.files import scratch
from orient.numbers.angles import wrap_180
from orient.region.contours import Contour
from orient.region.lattice import Lattice


def csv_of(lattice: Lattice) -> str:
    """One row a point, from north to south and from west to east."""
    latitude, longitude = np.meshgrid(
        lattice.latitude_deg, wrap_180(lattice.longitude_deg), indexing="ij"
    )
    table = {"latitude_deg": latitude.ravel(), "longitude_deg": longitude.ravel()}
    table |= {name: np.round(values.ravel(), 5) for name, values in lattice.values.items()}
    return pd.DataFrame(table).to_csv(index=False, lineterminator="\n")


def geotiff_of(lattice: Lattice) -> bytes:
    """A band a quantity, named by its column; WGS 84, 32-bit numbers, a pixel about each point.

    Raises:
        ModuleNotFoundError: rasterio is not there.
    """
    import rasterio
    from rasterio.transform import from_origin

    step_x = float(np.diff(lattice.longitude_deg).mean())
    step_y = float(-np.diff(lattice.latitude_deg).mean())
    corner = lattice.longitude_deg[0] - step_x / 2, lattice.latitude_deg[0] + step_y / 2
    rows, columns = len(lattice.latitude_deg), len(lattice.longitude_deg)
    with scratch("region.tif") as path:
        with rasterio.open(
            path, "w", driver="GTiff", height=rows, width=columns, count=len(lattice.values),
            dtype="float32", crs="EPSG:4326", transform=from_origin(*corner, step_x, step_y),
            compress="deflate", nodata=float("nan"),
        ) as image:  # fmt: skip
            for band, (name, values) in enumerate(lattice.values.items(), start=1):
                image.write(values.astype("float32"), band)
                image.set_band_description(band, name)
            image.update_tags(decimal_year=f"{lattice.year:.4f}", model=lattice.model)
        return path.read_bytes()


def lines_frame(lines: Sequence[Contour], what: str) -> Any:
    """Contour lines as a GeoDataFrame: `quantity`, `value` and the line, cut at 180°."""
    import geopandas

    return geopandas.GeoDataFrame(
        {"quantity": [what] * len(lines), "value": [round(line.value, 9) for line in lines]},
        geometry=[_cut(line.points) for line in lines],
        crs="EPSG:4326",
    )


def _cut(points: Any) -> Any:
    """A line in longitudes of −180 to 180, in pieces where it crosses that meridian."""
    from shapely import LineString, MultiLineString, box, intersection, transform

    line = LineString(points)
    pieces = []
    for turn in (-1, 0, 1):
        part = intersection(line, box(-180 + 360 * turn, -90, 180 + 360 * turn, 90))
        moved = transform(part, lambda xy, by=360.0 * turn: xy - np.array([by, 0.0]))
        parts = getattr(moved, "geoms", [moved])
        pieces += [
            piece for piece in parts if piece.geom_type == "LineString" and not piece.is_empty
        ]
    return pieces[0] if len(pieces) == 1 else MultiLineString(pieces)


def geojson_of(frame: Any, about: str) -> str:
    """Lines as GeoJSON (RFC 7946), what they are in `description`."""
    whole = json.loads(frame.to_json(drop_id=True))
    whole.pop("crs", None)
    head = {"made_by": "orient region", "type": whole.pop("type"), "description": about}
    return json.dumps(head | whole, ensure_ascii=False) + "\n"


def geopackage_of(frame: Any, sites: Any, about: str) -> bytes:
    """Lines, and sites where there are any, as layers of a GeoPackage."""
    import pyogrio

    with scratch("region.gpkg") as path, steady_dates():
        pyogrio.write_dataframe(
            frame, path, layer="contours", driver="GPKG", geometry_type="MultiLineString",
            promote_to_multi=True, layer_options={"DESCRIPTION": about},
        )  # fmt: skip
        if sites is not None:
            pyogrio.write_dataframe(sites, path, layer="sites", driver="GPKG", append=True)
        return path.read_bytes()
