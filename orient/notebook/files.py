"""Notebooks read and written: CSV, workbooks, layers of points."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from orient.files import scratch
from orient.notebook.correct import Corrected
from orient.tables.cells import Cells, Faults, cell_text, check_plain_file, csv_text, read_cells

LAYERS = (".gpkg", ".geojson")
ENDINGS = (".csv", ".xlsx", *LAYERS)
LAYER = "bearings"


@dataclass(frozen=True)
class Notebook:
    """A notebook as read: `cells` for reading, `table` with every column as it stood.

    `table` is a GeoDataFrame where the notebook is a layer of points.
    """

    cells: Cells
    table: Any


def read_notebook(path: Path, faults: Faults) -> Notebook | None:
    """Read a notebook; what is wrong with its file goes to `faults`."""
    if path.suffix.lower() in LAYERS:
        return _read_layer(path, faults)
    cells = read_cells(path, faults)
    if cells is None:
        return None
    if not cells.rows:
        faults.add(path.name, None, None, "no row", "at least one under the column names")
        return None
    table = pd.DataFrame(
        {cells.titles[name]: texts for name, texts in cells.columns.items()}, dtype=object
    )
    return Notebook(cells, table)


def _read_layer(path: Path, faults: Faults) -> Notebook | None:
    import geopandas

    if not check_plain_file(path, faults):
        return None
    try:
        layer = geopandas.read_file(path.resolve())
        points = layer.to_crs("EPSG:4326").geometry
    except Exception:
        # The library meets broken files with errors of every kind.
        faults.add(path.name, None, None, "a file that cannot be read", "a layer of points")
        return None
    return _of_points(path.name, layer, points, faults)


def notebook_of(table: pd.DataFrame, faults: Faults) -> Notebook | None:
    """A notebook that stands in memory; rows are numbered from 1.

    Args:
        table: with columns as a file's; a GeoDataFrame has its places as points.
    """
    import geopandas

    if not len(table):
        faults.add("the table", None, None, "no row", "at least one")
        return None
    if not isinstance(table, geopandas.GeoDataFrame):
        return Notebook(Cells("the table", 0, _texts(table), _numbered(table)), table)
    if table.crs is None:
        faults.add("the table", None, "geometry", "no CRS", "the CRS of its points")
        return None
    return _of_points("the table", table, table.to_crs("EPSG:4326").geometry, faults)


def _of_points(file: str, layer: Any, points: Any, faults: Faults) -> Notebook | None:
    rows = _numbered(layer)
    for row, kind in zip(rows, points.geom_type, strict=True):
        if kind != "Point":
            faults.add(file, row, "geometry", str(kind or "none"), "a point")
    if faults.listed:
        return None
    columns = _texts(layer.drop(columns=layer.geometry.name))
    for name in ("easting_m", "northing_m", "crs", "lat", "lon", "latitude", "longitude"):
        columns.pop(name, None)
    columns["latitude_deg"] = [cell_text(value) for value in points.y.tolist()]
    columns["longitude_deg"] = [cell_text(value) for value in points.x.tolist()]
    return Notebook(Cells(file, 1, columns, rows), layer)


def _numbered(table: pd.DataFrame) -> list[int]:
    return list(range(1, len(table) + 1))


def _texts(table: pd.DataFrame) -> dict[str, list[str]]:
    return {
        str(name).strip().lower(): [_text(value) for value in table[name].tolist()]
        for name in table.columns
    }


def _text(value: Any) -> str:
    # A day that the layer holds as a date is written with a clock at midnight.
    return cell_text(value).strip().removesuffix(" 00:00:00").removesuffix("T00:00:00")


def with_columns(table: Any, corrected: Corrected) -> Any:
    """The table, its index kept, with the new columns in place of any of their names."""
    added = corrected.columns.rename(columns=_as_titled(table)).set_axis(table.index)
    clash = [name for name in added if name in table]
    return pd.concat([table.drop(columns=clash), added], axis=1)


def written_notebook(notebook: Notebook, corrected: Corrected, ending: str) -> str | bytes:
    """The notebook with its new columns, as the content of a file.

    Args:
        ending: one of `ENDINGS`. A layer's points are the rows' own places.
    """
    whole = with_columns(notebook.table.reset_index(drop=True), corrected)
    if ending in LAYERS:
        return _as_layer(whole, corrected, ending)
    if "geometry" in whole:
        whole = pd.DataFrame(whole.drop(columns="geometry")).assign(
            latitude_deg=corrected.latitude_deg, longitude_deg=corrected.longitude_deg
        )
    return _workbook(whole) if ending == ".xlsx" else csv_text(whole)


def _as_titled(table: Any) -> dict[str, str]:
    """New columns under the bearings' own titles, capitals and all."""
    renamed = {}
    for title in map(str, table.columns):
        for ending in ("true_deg", "grid_deg", "u_deg", "applied_deg"):
            renamed[f"{title.strip().lower()}_{ending}"] = f"{title}_{ending}"
    return renamed


def _workbook(whole: pd.DataFrame) -> bytes:
    stream = io.BytesIO()
    with pd.ExcelWriter(stream, engine="openpyxl") as writer:
        _with_numbers(whole).to_excel(writer, index=False, sheet_name=LAYER)
        # A text that begins with "=" stays a text: no workbook of ours runs anything.
        for row in writer.sheets[LAYER].iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    cell.data_type = "s"
    return stream.getvalue()


def _with_numbers(whole: pd.DataFrame) -> pd.DataFrame:
    """Columns whose every text is a number as numbers, blanks left blank."""
    out = whole.copy()
    for name in out.select_dtypes(["object", "string"]):
        number = pd.to_numeric(out[name].replace("", None), errors="coerce")
        if number.notna().sum() == (out[name].astype(str) != "").sum():
            out[name] = number
    return out


def _as_layer(whole: Any, corrected: Corrected, ending: str) -> str | bytes:
    import geopandas

    points = geopandas.points_from_xy(corrected.longitude_deg, corrected.latitude_deg)
    attributes = _with_numbers(pd.DataFrame(whole.drop(columns="geometry", errors="ignore")))
    frame = geopandas.GeoDataFrame(attributes, geometry=points, crs="EPSG:4326")
    with scratch(f"{LAYER}{ending}") as path:
        driver = "GPKG" if ending == ".gpkg" else "GeoJSON"
        frame.to_file(path, driver=driver, engine="pyogrio", layer=LAYER)
        return path.read_bytes()
