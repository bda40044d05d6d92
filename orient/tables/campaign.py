"""A campaign: one folder of plain tables, read and checked whole."""

from __future__ import annotations

import html
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers.sun import standard_pressure_hpa
from orient.numbers.tolerances import UNCHECKED_LEVEL_DEG
from orient.tables import clock
from orient.tables.cells import (
    Cells,
    Faults,
    cell_text,
    check_plain_file,
    check_titles,
    csv_text,
    shown,
)
from orient.tables.columns import (
    EACH_ITS_COLUMN,
    MARKS,
    OPTIONAL_TABLES,
    READINGS,
    SETUPS,
    SIGHTS,
    SITES,
    TABLES,
    WATCHES,
    Table,
    no_rows,
    read_table,
)
from orient.tables.coordinates import SWAPPED, Axis, NotACoordinate, parse_degrees
from orient.tables.reader import Reader, ReadTable, as_read
from orient.tables.readings import check_readings, finish_readings
from orient.tables.reference_line import as_drawn, called, check_lines, with_lines
from orient.tables.sights import check_sights, finish_sights
from orient.text import clock_text, closest, folder_name

#: The kinds of file each table may come in; the first is the one that is written.
ENDINGS: dict[str, tuple[str, ...]] = {
    "sites": (".csv", ".xlsx", ".ods", ".geojson", ".gpkg", ".gpx", ".kml"),
    "setups": (".csv", ".xlsx", ".ods"),
    "marks": (".csv", ".xlsx", ".ods"),
    "readings": (".csv", ".xlsx", ".ods"),
    "watches": (".csv", ".xlsx", ".ods"),
    "sights": (".csv", ".xlsx", ".ods"),
}


def table_file_names() -> frozenset[str]:
    """Every name, in small letters, that a file with a campaign's table may have."""
    return frozenset(table + ending for table, endings in ENDINGS.items() for ending in endings)


#: A mark every fifteen seconds from morning to evening.
MOST_MARKS = 2000

#: Columns that bear another name once they are read, their values being of another kind.
_RENAMED = {"time": "time_s", "horizon_deg": "horizon"}


def _no_sights() -> pd.DataFrame:
    return finish_sights(no_rows(SIGHTS), pd.DataFrame({"timezone": []}))


@dataclass(frozen=True)
class Campaign:
    """A campaign as read: complete tables, defaults filled in, every cross-reference good.

    Attributes:
        folder: where it was read from.
        name: the folder's own name.
        sites: indexed by `site`: the columns of the sites table, `latitude_deg` and
            `longitude_deg` always filled (WGS 84, −180…180; NaN where the place is not known and
            need not be), `horizon` the text of `horizon_deg`, and `row`, the row of the file.
        setups: indexed by `setup`: the columns of the setups table, `date` as
            datetime64[s], `turned` as bool, lines as directions (`reference_line.with_lines`),
            and `row`.
        marks: in the order of the file: `setup`, `mark`, `time_s` (watch seconds since
            local midnight, NaN when blank), `x_mm`, `y_mm`, `ring`, `half`, `use` (bool),
            `note`, `row`, and `by_angle`: whether recorded as length and angle.
        readings: compass readings, indexed by `reading`, in the order of the file: the
            columns of the readings table, `date` as datetime64[s], `time_s`, and `row`.
        watches: comparisons of watches with a time signal: `timepiece`, `date`, `time_s`
            (NaN when blank), `error_s`, `sd_s`, `row`; no rows where there is no such table.
        sights: directions read against the sky, in the order of the file, as
            `tables.sights.finish_sights` has them.

    Texts are str, "" when blank; numbers are float64, NaN when blank. A table that was not
    asked for, or that the campaign has not, has its columns and no rows.
    """

    folder: Path
    name: str
    sites: pd.DataFrame
    setups: pd.DataFrame
    marks: pd.DataFrame
    readings: pd.DataFrame = field(default_factory=lambda: finish_readings(no_rows(READINGS)))
    watches: pd.DataFrame = field(default_factory=lambda: _finish_watches(no_rows(WATCHES)))
    sights: pd.DataFrame = field(default_factory=_no_sights)

    def _repr_html_(self) -> str:
        counts = ", ".join(f"{len(getattr(self, name))} {name}" for name in _SHOWN)
        return f"<p><b>{html.escape(self.name)}</b>: {counts}</p>{self.sites.to_html()}"


#: The tables that a campaign counts in a notebook.
_SHOWN = ("sites", "setups", "marks", "readings")


def read_campaign(
    folder: Path | str,
    tables: Sequence[str] = ("sites", "setups", "marks"),
    instead: Mapping[str, bytes] | None = None,
    may_lack: Sequence[str] = (),
    unplaced: bool = False,
) -> Campaign:
    """Read and check the tables of a campaign's folder.

    Args:
        folder: holds `sites` (.csv, .xlsx, .ods, .geojson, .gpkg with a layer `sites`, .gpx
            with waypoints or .kml with placemarks), `setups` and `marks` (.csv, .xlsx or
            .ods), and may hold `readings`, `watches` and `sights` (the same).
        tables: which of the three are wanted; the others are not looked at. Those that a
            campaign may lack are read with `setups`.
        instead: bytes of a table that are read as if its CSV file held them.
        may_lack: which of them need not be there.
        unplaced: whether a site may be without coordinates: for a reduction to find them, or
            where the other sites are looked at.

    Returns:
        The campaign.

    Raises:
        InputError: with every fault of every table; none of the files is changed.
    """
    return read_again(Reader(), folder, tables, instead, may_lack, unplaced)


def read_again(
    reader: Reader,
    folder: Path | str,
    tables: Sequence[str],
    instead: Mapping[str, bytes] | None = None,
    may_lack: Sequence[str] = (),
    unplaced: bool = False,
) -> Campaign:
    """`read_campaign` by a reader that knows what it has read before."""
    folder = Path(folder)
    faults = Faults()
    given = instead or {}
    wanted = [name for name in tables if name not in given]
    files = _find_files(folder, wanted, may_lack, faults)
    files |= {name: folder / f"{name}.csv" for name in given}
    sites, setups, marks, readings, watches, sights = (
        _read_one(table, files.get(table.name), faults, given.get(table.name), reader)
        for table in (SITES, SETUPS, MARKS, READINGS, WATCHES, SIGHTS)
    )
    _check_ids(sites, "site", faults)
    _check_ids(setups, "setup", faults)
    places = _check_places(sites, faults, unplaced, clocks="setups" in tables)
    _check_setups(setups, faults)
    marked = _check_marks(marks, faults)
    _check_known(setups, "site", sites, faults)
    _check_known(marks, "setup", setups, faults)
    _check_halves(marks, setups, faults)
    _check_days(setups, sites.frame["site"], places, faults)
    _check_known(readings, "site", sites, faults)
    taken = check_readings(
        readings.cells, readings.frame, sites.frame, setups.frame, sights.frame, faults
    )
    _check_sights(sights, sites, places, setups, faults)
    for table in (readings, sights):
        _check_placed(table, sites, faults)
    faults.stop_if_any([path.name for path in files.values()])
    finished = _finish_sites(places)
    return Campaign(
        folder,
        folder_name(folder),
        finished,
        _finish_setups(setups.frame),
        _finish_marks(marked),
        finish_readings(taken),
        _finish_watches(watches.frame),
        finish_sights(sights.frame, finished),
    )


# --- finding and reading the files -------------------------------------------------------------


def _find_files(
    folder: Path, tables: Iterable[str], may_lack: Sequence[str], faults: Faults
) -> dict[str, Path]:
    names: dict[str, list[Path]] = {}
    try:
        for path in sorted(folder.iterdir()):
            names.setdefault(path.name.lower(), []).append(path)
    except NotADirectoryError:
        _whole(faults, str(folder), "a file", "a campaign's folder")
    except FileNotFoundError:
        _whole(faults, str(folder), "no such folder", "a campaign's folder")
    except (OSError, ValueError) as fault:
        said = getattr(fault, "strerror", None) or str(fault)
        _whole(faults, str(folder), said.lower(), "a folder that can be read")
    faults.stop_if_any()
    files = {}
    more = list(OPTIONAL_TABLES) if "setups" in tables else []
    for table in (*tables, *more):
        known = [table + ending for ending in ENDINGS[table]]
        found = [path for name in known for path in names.get(name, [])]
        if not found and table in (*more, *may_lack):
            continue
        if not found:
            _whole(faults, known[0], "no such file", _one_of(known))
        elif len(found) > 1:
            _whole(faults, table, " and ".join(path.name for path in found), "one of them")
        else:
            files[table] = found[0]
    return files


def _whole(faults: Faults, file: str, found: str, wanted: str) -> None:
    faults.add(file, None, None, found, wanted)


def _one_of(names: Sequence[str]) -> str:
    return f"the table as {', '.join(names[:-1])} or {names[-1]}"


def _read_one(
    table: Table, path: Path | None, faults: Faults, data: bytes | None, reader: Reader
) -> ReadTable:
    if path is None:
        return as_read(None, table, faults)
    if path.suffix.lower() in _LAYERS:
        return as_read(_layer_cells(path, faults), table, faults)
    return reader.read(table, path, faults, data)


def _layer_cells(path: Path, faults: Faults) -> Cells | None:
    """The features of a layer of points as cells, so that they are checked like any table."""
    if not check_plain_file(path, faults):
        return None
    layer = _layer(path, faults)
    if layer is None:
        return None
    points = layer.geometry
    rows = list(range(1, len(layer) + 1))
    for row, kind in zip(rows, points.geom_type, strict=True):
        if kind != "Point":
            said = f"a {kind}" if kind else "no geometry"
            faults.add(path.name, row, "geometry", said, "a point")
    attributes = layer.drop(columns=points.name)
    names = [str(name).strip().lower() for name in attributes]
    check_titles(path.name, None, names, faults)
    columns = {
        name: [cell_text(value).strip() for value in attributes.iloc[:, place].tolist()]
        for place, name in enumerate(names)
    }
    if path.suffix.lower() in (".gpx", ".kml"):
        columns = _marked_places(columns)
    is_point = (points.geom_type == "Point").to_numpy()
    points = points.where(is_point)
    _check_told_twice(Cells(path.name, 1, columns, rows), points.y, points.x, faults)
    # The geometry is the place; columns that tell it a second time may only round it.
    for name in ("easting_m", "northing_m", "crs"):
        columns.pop(name, None)
    columns["latitude_deg"] = [cell_text(value) for value in points.y.tolist()]
    columns["longitude_deg"] = [cell_text(value) for value in points.x.tolist()]
    heights = [cell_text(value) for value in points.z.tolist()]
    told = columns.get("elevation_m") or heights
    columns["elevation_m"] = [each or z for each, z in zip(told, heights, strict=True)]
    return Cells(path.name, 1, columns, rows)


#: Of each kind of layer: how its file begins, the layer in it, and what it is.
_LAYERS: dict[str, tuple[bytes, str | None, str]] = {
    ".gpkg": (b"SQLite format 3\0", "sites", "a GeoPackage with a layer `sites`"),
    ".geojson": (b"{", None, "a GeoJSON feature collection"),
    ".gpx": (b"<", "waypoints", "a GPX file with waypoints"),
    ".kml": (b"<", None, "a KML file with placemarks"),
}


def _marked_places(columns: dict[str, list[str]]) -> dict[str, list[str]]:
    """What a waypoint or placemark says that the table of sites has; its name is the site's."""
    renamed = {{"name": "site", "ele": "elevation_m"}.get(name, name): texts
               for name, texts in columns.items()}  # fmt: skip
    return {name: texts for name, texts in renamed.items() if name in SITES.names}


#: Columns beside a point may round it, by so much.
_ROUNDED_DEG, _ROUNDED_M = 0.006, 600.0


def _check_told_twice(cells: Cells, latitude: Any, longitude: Any, faults: Faults) -> None:
    """Ask about a point whose own columns say that it lies elsewhere."""
    told = read_table(cells, SITES, Faults())
    for name, here in zip(_DEGREES, (latitude.to_numpy(), longitude.to_numpy()), strict=True):
        apart = np.abs((told[name].to_numpy(float) - here + 180.0) % 360.0 - 180.0)
        _tell_elsewhere(cells, name, apart > _ROUNDED_DEG, here, faults)
    on_grid = (
        told[["easting_m", "northing_m"]].notna().all(axis=1) & (told["crs"] != "")
    ).to_numpy()
    if on_grid.any():
        from orient.numbers.grid import to_geographic

        given = told[on_grid]
        there, across, _ = to_geographic(
            given["easting_m"].to_numpy(),
            given["northing_m"].to_numpy(),
            given["crs"].to_numpy(str),
        )
        north = (there - latitude.to_numpy()[on_grid]) * 111_000.0
        east = (across - longitude.to_numpy()[on_grid]) * 111_000.0 * np.cos(np.radians(there))
        far = np.zeros(len(told), dtype=bool)
        far[on_grid] = np.hypot(north, east) > _ROUNDED_M
        _tell_elsewhere(cells, "easting_m", far, None, faults)


def _tell_elsewhere(cells: Cells, name: str, far: Any, here: Any, faults: Faults) -> None:
    def wanted(place: int) -> str:
        point = (
            "where its point lies" if here is None else f"as its point has it, {here[place]:.6g}"
        )
        return f"blank, or {point}"

    faults.add_cells(cells, name, np.flatnonzero(far), wanted)


def _layer(path: Path, faults: Faults) -> Any:
    """The layer of sites as a GeoDataFrame in WGS 84, or None."""
    import geopandas

    begins, name, wanted = _LAYERS[path.suffix.lower()]
    try:
        with path.open("rb") as stream:
            start = stream.read(1024).lstrip(b"\xef\xbb\xbf \t\r\n")
        # The reading library goes by content, and some of its formats call for other files.
        if not start.startswith(begins):
            _whole(faults, path.name, "another kind of file", wanted)
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            layer = read_layer(path, **({"layer": name} if name else {}))
        if not isinstance(layer, geopandas.GeoDataFrame):
            _whole(faults, path.name, "no geometry", "a point a site")
            return None
        if layer.crs is None:
            _whole(faults, path.name, "no coordinate system", "a layer that names its own")
            return None
        return layer.to_crs("EPSG:4326")
    except Exception:
        # The library meets broken files with errors of every kind.
        _whole(faults, path.name, "a file that cannot be read", wanted)
        return None


def read_layer(path: Path, **more: Any) -> Any:
    """A layer as a GeoDataFrame; what looks like a date in GeoJSON stays the text that it is.

    The reading library takes 05/06/26 for a day of June 2005.
    """
    import geopandas

    if path.suffix.lower() == ".geojson":
        more["DATE_AS_STRING"] = "YES"
    return geopandas.read_file(path.resolve(), **more)


# --- ids ---------------------------------------------------------------------------------------


def _check_ids(table: ReadTable, column: str, faults: Faults) -> None:
    """Every id once, and none that differs from another by capitals or spaces alone."""
    ids = table.frame[column]
    alike = pd.Series([_folded(text) for text in ids], dtype=object)
    again = alike.duplicated() & (alike != "")
    first = {key: place for place, key in reversed(list(enumerate(alike)))} if again.any() else {}

    def wanted(place: int) -> str:
        earlier = first[alike[place]]
        row, text = table.cells.rows[earlier], ids[earlier]
        if text == ids[place]:
            return f"another id: row {row} has it"
        return f"an id that differs from {shown(text)} in row {row} by more than capitals or spaces"

    faults.add_cells(table.cells, column, np.flatnonzero(again), wanted)


def _folded(text: str) -> str:
    return "".join(text.split()).casefold()


def _check_known(table: ReadTable, column: str, ids: ReadTable, faults: Faults) -> None:
    """Every id that a table refers to is one of the other table."""
    if not (table.present and ids.present and column in ids.cells.columns):
        return
    known = ids.frame[column]
    used = table.frame[column]
    # An id whose own row could not be read is no second fault.
    unknown = np.flatnonzero(~used.isin({"", *known, *ids.cells.set_aside}))
    close = {text: _close_id(text, known) for text in used[unknown].unique()[:200]}

    def wanted(place: int) -> str:
        suggestion = close.get(used[place])
        hint = f", perhaps {shown(suggestion)}" if suggestion else ""
        return f"a {column} of {ids.cells.file}{hint}"

    faults.add_cells(table.cells, column, unknown, wanted)


def _close_id(text: str, known: pd.Series[Any]) -> str | None:
    by_folded = {_folded(each): each for each in known[known != ""]}
    close = closest(_folded(text), by_folded, cutoff=0.7)
    return by_folded[close] if close else None


# --- sites -------------------------------------------------------------------------------------

_DEGREES = ("latitude_deg", "longitude_deg")
_GRID = ("easting_m", "northing_m", "crs")


#: What a site without coordinates needs, and what else does without.
_ITS_ZONE = "the zone that the watch and the date keep, as the coordinates are blank: Etc/UTC, say"
_FOUND_BY_REDUCING = "; `orient reduce` does without, and prints the place that the boards give"


def _check_places(sites: ReadTable, faults: Faults, unplaced: bool, clocks: bool) -> pd.DataFrame:
    """The sites with latitude and longitude filled from the grid, as far as they are given.

    Args:
        unplaced: whether one may be without; `clocks` tells that its time zone is needed then.
    """
    frame, cells = sites.frame.copy(), sites.cells
    told = any(fault.file == cells.file for fault in faults.listed)
    if sites.present and frame.empty and not told:
        _whole(faults, cells.file, "no site", "at least one row under the column names")
    if unplaced and clocks:
        without_zone = np.flatnonzero(_no_position(cells) & ~cells.given("timezone"))
        faults.add_cells(cells, "timezone", without_zone, _ITS_ZONE)
    _check_forms(cells, (_DEGREES, _GRID), faults, not unplaced, _FOUND_BY_REDUCING)
    _ask_if_swapped(cells, frame, faults)
    on_grid = np.all([cells.given(name) for name in _GRID], axis=0) & (frame["crs"] != "")
    on_grid &= frame[["easting_m", "northing_m"]].notna().all(axis=1)
    if on_grid.any():
        from orient.numbers.grid import to_geographic

        grid = frame[on_grid]
        latitude, longitude, _ = to_geographic(
            grid["easting_m"].to_numpy(), grid["northing_m"].to_numpy(), grid["crs"].to_numpy(str)
        )
        frame.loc[on_grid, "latitude_deg"] = latitude
        frame.loc[on_grid, "longitude_deg"] = longitude
        nowhere = np.flatnonzero(on_grid & frame["latitude_deg"].isna())
        faults.add_cells(cells, "easting_m", nowhere, "a place that its crs reaches")
    _check_zones(cells, frame, faults)
    return frame


def _check_placed(table: ReadTable, sites: ReadTable, faults: Faults) -> None:
    """Refuse readings and sights at a site whose coordinates are blank: they need its place."""
    blank = set(sites.frame["site"][_no_position(sites.cells)]) - {""}
    there = np.flatnonzero(table.frame["site"].isin(blank).to_numpy())
    faults.add_cells(table.cells, "site", there, "a site with coordinates")


def _no_position(cells: Cells) -> Any:
    return ~np.any([cells.given(name) for name in (*_DEGREES, *_GRID)], axis=0)


def _check_forms(
    cells: Cells,
    forms: tuple[tuple[str, ...], ...],
    faults: Faults,
    needed: bool = True,
    else_: str = "",
) -> None:
    """Each row has the whole of one form of position, and nothing of the other.

    Args:
        needed: whether it must have one at all; `else_` ends the message where it has not.
    """
    if not any(name in cells.columns for form in forms for name in form):
        if cells.rows and needed:
            first, other = (" and ".join(form) for form in forms)
            wanted = f"{first}, or {other}{else_}"
            faults.add(cells.file, cells.header_row, None, "no columns of a position", wanted)
        return
    given = [np.array([cells.given(name) for name in form]) for form in forms]
    begun = [part.any(axis=0) for part in given]
    first, other = (", ".join(form) for form in forms)
    faults.add_cells(
        cells, forms[1][0], np.flatnonzero(begun[0] & begun[1]), f"blank, as {first} are given"
    )
    if needed:
        neither = np.flatnonzero(~begun[0] & ~begun[1])
        faults.add_cells(cells, forms[0][0], neither, f"{first}; or else {other}{else_}")
    # A pair in one cell leaves the other blank: that is told with the cell.
    pasted = {each.row for each in faults.listed if each.wanted.startswith(EACH_ITS_COLUMN)}
    alone = np.array([row not in pasted for row in cells.rows], dtype=bool)
    for form, part, started, alternative in zip(forms, given, begun, begun[::-1], strict=True):
        for name, cell_given in zip(form, part, strict=True):
            missing = np.flatnonzero(started & ~alternative & ~cell_given & alone)
            faults.add_cells(cells, name, missing, f"it, as the rest of {', '.join(form)} is given")


def _ask_if_swapped(cells: Cells, frame: pd.DataFrame, faults: Faults) -> None:
    """Ask about a latitude beyond 90° beside a longitude that could be one."""
    place_of = {row: place for place, row in enumerate(cells.rows)}
    longitude = frame["longitude_deg"].to_numpy()
    for number, fault in enumerate(faults.listed):
        if fault.file != cells.file or fault.column != "latitude_deg":
            continue
        place = place_of.get(fault.row or 0)
        if place is None or SWAPPED in fault.wanted or not abs(longitude[place]) <= 90.0:
            continue
        if _is_degrees(cells.column("latitude_deg")[place], "longitude"):
            faults.listed[number] = replace(fault, wanted=f"{fault.wanted}; {SWAPPED}")


def _is_degrees(text: str, axis: Axis) -> bool:
    try:
        parse_degrees(text, axis)
    except NotACoordinate:
        return False
    return True


def _check_zones(cells: Cells, frame: pd.DataFrame, faults: Faults) -> None:
    """Ask about a place that its time zone contradicts, where a typing mistake explains it."""
    latitude, longitude = (frame[name].to_numpy() for name in _DEGREES)
    zones = frame["timezone"].tolist()
    # A watch kept on UTC, or at a fixed offset from it, says nothing of where it is.
    local = (
        frame["timezone"].str.contains("/") & ~frame["timezone"].str.startswith("Etc/")
    ).to_numpy()
    told = cells.given("timezone") & local & ~np.isnan(latitude + longitude)
    places = np.flatnonzero(told)
    if not places.size:
        return
    hours = _hours_from_sun(frame["timezone"].to_numpy()[places], longitude[places])
    questions = {
        int(place): _slip_of_place(latitude[place], longitude[place], zones[place])
        for place in places[hours > 2.0]
    }
    asked = {place: question for place, question in questions.items() if question}
    faults.add_cells(
        cells,
        "longitude_deg",
        list(asked),
        lambda place: (
            f"a longitude that suits the timezone: {asked[place]} If the place is right, leave "
            "timezone blank"
        ),
        lambda place: f"{longitude[place]:.6g}° with the timezone {zones[place]}",
    )


def _slip_of_place(latitude_deg: float, longitude_deg: float, zone: str) -> str | None:
    """The question to ask where a zone fits a place's mistaken writing and not the place itself.

    A writing fits when the clocks there keep the zone's time, or, where the place itself is
    over four hours from it, when its sun does within two and a half: clocks are nowhere so far
    from the sun (*common practice, no source*; western China is the widest, at three hours).
    """
    (own,) = zones_at([latitude_deg], [longitude_deg])
    if _same_time(own, zone):
        return None
    slips = {"is the sign of the longitude missing or wrong?": (latitude_deg, -longitude_deg)}
    if abs(longitude_deg) <= 90.0:
        slips[SWAPPED] = (longitude_deg, latitude_deg)
    far = _hours_from_sun(zone, longitude_deg) > 4.0
    misfit = {}
    for question, (latitude, longitude) in slips.items():
        (there,) = zones_at([latitude], [longitude])
        hours = 0.0 if _same_time(there, zone) else float(_hours_from_sun(zone, longitude))
        if hours == 0.0 or (far and hours < 2.5):
            misfit[question] = hours
    return min(misfit, key=misfit.__getitem__, default=None)


_SEASONS_UTC_S = np.array(["2026-01-15", "2026-07-15"], dtype="datetime64[s]").astype(float)


def _same_time(one: str, other: str) -> bool:
    """Whether two zones keep the same time in both seasons."""
    ahead_s = clock.offset_s(_SEASONS_UTC_S, np.array([[one], [other]], dtype=object))
    return bool((ahead_s[0] == ahead_s[1]).all())


def _hours_from_sun(zones: Any, longitude_deg: Any) -> Any:
    """How far a zone's standard time is from the mean sun at a longitude, in hours."""
    ahead_s = clock.offset_s(_SEASONS_UTC_S, np.asarray(zones, dtype=object)[..., None])
    away_h = ahead_s.min(axis=-1) / 3600.0 - np.asarray(longitude_deg) / 15.0
    return np.abs((away_h + 12.0) % 24.0 - 12.0)


def _finish_sites(frame: pd.DataFrame) -> pd.DataFrame:
    """The sites table with everything that a blank stands for."""
    from orient.numbers.grid import default_grid

    frame = frame.rename(columns=_RENAMED).set_index("site")
    latitude, longitude = (frame[name].to_numpy() for name in _DEGREES)
    placed = ~np.isnan(latitude + longitude)
    blank = (frame["timezone"] == "").to_numpy() & placed
    if blank.any():
        frame.loc[blank, "timezone"] = zones_at(latitude[blank].tolist(), longitude[blank].tolist())
    blank = (frame["grid"] == "").to_numpy() & placed
    if blank.any():
        frame.loc[blank, "grid"] = default_grid(latitude[blank], longitude[blank])
    standard = pd.Series(standard_pressure_hpa(frame["elevation_m"].to_numpy()), frame.index)
    frame["pressure_hpa"] = frame["pressure_hpa"].fillna(standard)
    return frame


def zones_at(latitude_deg: Iterable[float], longitude_deg: Iterable[float]) -> list[str]:
    finder = _zone_finder()
    return [
        finder.timezone_at(lng=longitude, lat=latitude) or "UTC"
        for latitude, longitude in zip(latitude_deg, longitude_deg, strict=True)
    ]


@lru_cache(maxsize=1)
def _zone_finder() -> Any:
    from timezonefinder import TimezoneFinder

    return TimezoneFinder(in_memory=False)


# --- setups ------------------------------------------------------------------------------------


def _check_setups(setups: ReadTable, faults: Faults) -> None:
    cells = setups.cells
    check_lines(cells, setups.frame, faults)
    ends = ("reference_easting_m", "reference_northing_m")
    for name, other in (ends, ends[::-1]):
        lone = np.flatnonzero(~cells.given(name) & cells.given(other))
        faults.add_cells(cells, name, lone, f"it, as {other} is given")


def _check_days(setups: ReadTable, names: Any, places: pd.DataFrame, faults: Faults) -> None:
    """Refuse a date that a site's calendar never had."""
    dates = setups.frame["date"].to_numpy("datetime64[D]")
    risky = np.flatnonzero(np.isin(dates, clock.DAYS_LEFT_OUT))
    by_site = places.set_axis(names.to_numpy(), axis=0)
    by_site = by_site[~by_site.index.duplicated()]
    never = []
    for place in risky:
        site = setups.frame["site"][place]
        if site not in by_site.index or by_site.loc[site, list(_DEGREES)].isna().any():
            continue
        latitude, longitude = by_site.loc[site, list(_DEGREES)].astype(float)
        zone = by_site.loc[site, "timezone"] or zones_at([latitude], [longitude])[0]
        if clock.left_out(dates[place], zone):
            never.append(int(place))
    wanted = "a day that the site had: the clocks there went over the date line and left it out"
    faults.add_cells(setups.cells, "date", never, wanted)


def _finish_setups(frame: pd.DataFrame) -> pd.DataFrame:
    frame = with_lines(frame)
    lines = frame["reference_angle_deg"].notna()
    frame["reference_name"] = called(frame).where(lines, frame["reference_name"])
    by_eye = ~frame["level_checked"].to_numpy(bool)
    frame.loc[by_eye, "level_sd_deg"] = frame["level_sd_deg"].clip(lower=UNCHECKED_LEVEL_DEG)
    return frame.set_index("setup")


def _finish_watches(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.rename(columns=_RENAMED)


# --- marks -------------------------------------------------------------------------------------

_BOARD = ("x_mm", "y_mm")
_POLAR = ("length_mm", "angle_deg")


def _check_marks(marks: ReadTable, faults: Faults) -> pd.DataFrame:
    """The marks, numbered where they have no serial; the serials of a board are each one's own."""
    frame = marks.frame.copy()
    _check_forms(marks.cells, (_BOARD, _POLAR), faults)
    numbered = frame[frame["mark"] != ""]
    again = numbered.index[numbered.duplicated(["setup", "mark"]) & (numbered["setup"] != "")]
    wanted = "a serial that the set-up has once (blank numbers it); is it another set-up's mark?"
    faults.add_cells(marks.cells, "mark", again.to_numpy(), wanted)
    _check_crowd(marks.cells, frame, faults)
    frame["mark"] = serials(frame)
    return frame


def _check_crowd(cells: Cells, frame: pd.DataFrame, faults: Faults) -> None:
    """No board has thousands of marks: something else was pasted in."""
    counts = frame["setup"].value_counts()
    if counts.empty or counts.max() <= MOST_MARKS:
        return
    place_on_board = frame.groupby("setup").cumcount().to_numpy()
    beyond = np.flatnonzero((place_on_board == MOST_MARKS) & (frame["setup"] != "").to_numpy())
    faults.add_cells(
        cells,
        "setup",
        beyond,
        f"at most {MOST_MARKS:,} marks on a board",
        lambda place: f"{counts[frame['setup'][place]]:,} marks of {shown(frame['setup'][place])}",
    )


#: No site's noon is earlier or later than these by its own clock, in hours: the widest, in
#: western China, is about 15 (*common practice, no source*).
_EARLIEST_PM, _LATEST_AM = 9.0, 16.0


def _check_halves(marks: ReadTable, setups: ReadTable, faults: Faults) -> None:
    """Ask about a half of the day that its time contradicts, where the watch is trusted."""
    if not (marks.frame["half"] != "").any():
        return
    stated = setups.frame.drop_duplicates("setup").set_index("setup")
    own = stated.reindex(marks.frame["setup"])
    trusted = (own["watch"] == "trusted").to_numpy()
    half, time_s = marks.frame["half"].to_numpy(), marks.frame["time"].to_numpy(float)
    hour = np.mod(time_s - own["watch_error_s"].to_numpy(float), clock.DAY_S) / 3600.0
    early = trusted & (half == "pm") & (hour < _EARLIEST_PM)
    late = trusted & (half == "am") & (hour > _LATEST_AM)

    def wanted(place: int) -> str:
        if early[place] and time_s[place] < clock.DAY_S / 2:
            meant = clock_text(time_s[place] + clock.DAY_S / 2)
            return f"am, or the time of a 24-hour clock: {meant}, perhaps"
        return f"{'am' if early[place] else 'pm'}, or another time"

    faults.add_cells(
        marks.cells,
        "half",
        np.flatnonzero(early | late),
        wanted,
        lambda place: f"{half[place]} at {clock_text(time_s[place])}",
    )


def serials(frame: pd.DataFrame) -> pd.Series[Any]:
    """The marks' serials, a blank one being its place on the board or the next free number."""
    numbered = frame["mark"].copy()
    blank = numbered == ""
    if not blank.any():
        return numbered
    places = frame.groupby("setup").cumcount()[blank]
    numbered[blank] = [str(place + 1) for place in places.tolist()]
    mixed = frame.loc[~blank, "setup"].unique()
    for setup in set(mixed) & set(frame.loc[blank, "setup"]):
        board = frame.index[frame["setup"] == setup]
        taken = set(frame.loc[board, "mark"])
        free = (str(n) for n in range(1, 2 * len(board) + 1) if str(n) not in taken)
        for place in board[blank[board]]:
            numbered[place] = next(free)
    return numbered


def _finish_marks(frame: pd.DataFrame) -> pd.DataFrame:
    frame["by_angle"] = frame["x_mm"].isna()
    direction = np.radians(frame["angle_deg"])
    frame["x_mm"] = frame["x_mm"].fillna(frame["length_mm"] * np.sin(direction))
    frame["y_mm"] = frame["y_mm"].fillna(frame["length_mm"] * np.cos(direction))
    return frame.drop(columns=list(_POLAR)).rename(columns=_RENAMED)


# --- sights ------------------------------------------------------------------------------------


def _check_sights(
    sights: ReadTable, sites: ReadTable, places: pd.DataFrame, setups: ReadTable, faults: Faults
) -> None:
    if not sights.present:
        return
    _check_ids(sights, "sight", faults)
    _check_known(sights, "site", sites, faults)
    placed = places[list(_DEGREES)].notna().all(axis=1) & ~places["site"].duplicated(keep=False)
    used = placed & places["site"].isin(sights.frame["site"]) & (places["site"] != "")
    lines = {name for name in setups.frame["reference_name"] if name}
    check_sights(sights.cells, sights.frame, _finish_sites(places[used]), lines, faults)


# --- writing -----------------------------------------------------------------------------------


def campaign_files(
    sites: pd.DataFrame | None = None,
    setups: pd.DataFrame | None = None,
    marks: pd.DataFrame | None = None,
    watches: pd.DataFrame | None = None,
    sights: pd.DataFrame | None = None,
) -> dict[str, str]:
    """Write tables as the files of a campaign.

    Args:
        sites, setups, marks, watches, sights: as `read_campaign` gives them, or with the
            tables' own column names; other columns are left out, and so are the columns that
            are missing.

    Returns:
        File name to CSV text, for `orient.files.write_whole`. What is written reads back as
        the same values.
    """
    frames = {
        "sites": sites,
        "setups": setups,
        "marks": marks,
        "watches": watches,
        "sights": sights,
    }
    tables = TABLES | OPTIONAL_TABLES
    return {
        f"{name}.csv": csv_text(_as_written(frame, tables[name]))
        for name, frame in frames.items()
        if frame is not None
    }


def _as_written(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    if frame.index.name is not None:
        frame = frame.reset_index()
    frame = frame.rename(columns={after: before for before, after in _RENAMED.items()})
    if "by_angle" in frame:
        frame = _as_recorded(frame)
    frame = as_drawn(frame)
    frame = frame[[name for name in table.names if name in frame]]
    if "time" in frame and frame["time"].dtype.kind == "f":
        frame = frame.assign(time=[clock_text(time_s) for time_s in frame["time"]])
    if set(_DEGREES) & set(frame):
        # A place is told once: that it came from a grid is no matter once it is known.
        placed = frame[list(_DEGREES)].notna().all(axis=1)
        frame = frame.assign(**{name: frame[name].mask(placed) for name in _GRID if name in frame})
    return frame


def _as_recorded(frame: pd.DataFrame) -> pd.DataFrame:
    """Marks as length and angle again where they were recorded so."""
    by_angle = frame["by_angle"].to_numpy(bool)
    if not by_angle.any():
        return frame
    x, y = (frame[name].to_numpy(float) for name in _BOARD)
    # What the way to x and y and back has left behind the ninth place is no part of it.
    length, angle = np.hypot(x, y).round(9), np.degrees(np.arctan2(x, y)).round(9) % 360.0
    return frame.assign(
        x_mm=np.where(by_angle, np.nan, x),
        y_mm=np.where(by_angle, np.nan, y),
        length_mm=np.where(by_angle, length, np.nan),
        angle_deg=np.where(by_angle, angle, np.nan),
    )


def empty_table(name: str) -> bytes:
    """The bytes of a table's CSV file that has its column names and no rows."""
    table = (TABLES | OPTIONAL_TABLES)[name]
    return csv_text(pd.DataFrame(columns=list(table.names))).encode("utf-8")
