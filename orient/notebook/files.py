"""Notebooks read and written: CSV, workbooks, layers of points."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from orient.files import scratch
from orient.notebook.correct import Corrected
from orient.tables.campaign import read_layer
from orient.tables.cells import (
    Cells,
    Faults,
    cell_text,
    check_plain_file,
    check_titles,
    csv_text,
    read_cells,
)

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
    if not check_plain_file(path, faults):
        return None
    try:
        layer = read_layer(path)
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
    attributes = layer.drop(columns=layer.geometry.name)
    check_titles(file, None, [str(name).strip().lower() for name in attributes], faults)
    if faults.listed:
        return None
    columns = _texts(attributes)
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
    new = {str(name).lower() for name in added}
    clash = [name for name in table if str(name).lower() in new]
    return pd.concat([table.drop(columns=clash), added], axis=1)


def written_notebook(notebook: Notebook, corrected: Corrected, ending: str) -> str | bytes:
    """The notebook with its new columns, as the content of a file.

    Args:
        ending: one of `ENDINGS`. A layer's points are the rows' own places.
    """
    whole = with_columns(notebook.table.reset_index(drop=True), corrected)
    if ending in LAYERS:
        return _as_layer(_without_points(whole, notebook), corrected, ending)
    if _point_column(notebook.table):
        whole = _without_points(whole, notebook).assign(
            latitude_deg=corrected.latitude_deg, longitude_deg=corrected.longitude_deg
        )
    return _workbook(whole) if ending == ".xlsx" else csv_text(whole)


def _point_column(table: Any) -> list[str]:
    """The column that holds a layer's points; a table may call a column so that holds texts."""
    import geopandas

    return [table.geometry.name] if isinstance(table, geopandas.GeoDataFrame) else []


def _without_points(whole: Any, notebook: Notebook) -> pd.DataFrame:
    return pd.DataFrame(whole.drop(columns=_point_column(notebook.table)))


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


#: What is the same number when it is written again: no 007, no number longer than a float holds.
_SAME_NUMBER = re.compile(r"-?(?=[0-9.]{1,16}$)(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")


def _with_numbers(whole: pd.DataFrame) -> pd.DataFrame:
    """Columns whose every text is a number, and all bearings, as numbers, blanks left blank."""
    out = whole.copy()
    for name in out.select_dtypes(["object", "string"]):
        texts = out[name].fillna("").astype(str)
        number = pd.to_numeric(texts.replace("", None), errors="coerce")
        bearing = f"{name}_applied_deg" in whole and number.notna().sum() == (texts != "").sum()
        if bearing or all(_SAME_NUMBER.fullmatch(text) for text in set(texts) - {""}):
            out[name] = number
    return out


def _as_layer(whole: pd.DataFrame, corrected: Corrected, ending: str) -> str | bytes:
    import geopandas

    points = geopandas.points_from_xy(corrected.longitude_deg, corrected.latitude_deg)
    at = _free_name("geometry", whole)
    frame = geopandas.GeoDataFrame(_with_numbers(whole).assign(**{at: points}), geometry=at)
    more = {}
    if ending == ".gpkg":
        # Its own columns stand beside the notebook's, whatever those are called.
        more = {"FID": _free_name("fid", whole), "GEOMETRY_NAME": _free_name("geom", whole)}
    with scratch(f"{LAYER}{ending}") as path:
        driver = "GPKG" if ending == ".gpkg" else "GeoJSON"
        frame.set_crs("EPSG:4326").to_file(
            path, driver=driver, engine="pyogrio", layer=LAYER, **more
        )
        return path.read_bytes()


def _free_name(name: str, table: pd.DataFrame) -> str:
    taken = {str(each).lower() for each in table}
    while name in taken:
        name += "_"
    return name
