"""Every bearing of a notebook by its own date, place and compass.

    true = read + the compass's correction + declination + local anomaly − what the dial had set
    grid = true − convergence

each plus to the east. What was added in all stands beside each result, so that it can be undone:
read = result − applied, to the last printed digit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.notebook import bearings as written
from orient.notebook.columns import Layout, layout, may_be_either_end
from orient.numbers import grid, magnetic
from orient.numbers.angles import wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.compass import CompassCheck
from orient.observation.compass.model import INDEX_SD_DEG
from orient.observation.compass.words import deviation_deg
from orient.tables.campaign import Campaign
from orient.tables.cells import Cells, Faults
from orient.tables.columns import Table, read_table

Array = NDArray[np.float64]

#: How well a bearing is read in the field by hand, degrees (1 σ): *common practice, no source*.
READING_SD_DEG = 1.0
#: Decimals of what is written: far below what anybody reads, so that undoing loses nothing.
DECIMALS = 4
#: Decimals of a bearing kept of what was read.
_READ_DECIMALS = 9


@dataclass(frozen=True)
class Options:
    """What the notebook does not say itself.

    `date` and `place` (latitude, longitude) stand for rows without their own; `crs` is the grid
    of its coordinates where no column says so; `grid` that of the results, the place's UTM zone
    if blank; `compass` and `dial_deg` those of rows without; `strike`: "full", "half" or "" to
    tell from the strikes; `full_circle`: bearings under 90° are no quadrants'.
    """

    bearings: tuple[str, ...] = ()
    to: Literal["true", "grid"] = "true"
    grid: str = ""
    crs: str = ""
    date: np.datetime64 | None = None
    place: tuple[float, float] | None = None
    compass: str = ""
    dial_deg: float = 0.0
    strike: str = ""
    full_circle: bool = False
    reading_sd_deg: float = READING_SD_DEG


@dataclass(frozen=True)
class Corrected:
    """The columns to add to the notebook, in order, one value a row; its places; what was noticed.

    For each bearing column C: `C_true_deg` (or `C_grid_deg`), `C_u_deg` (1 σ) and
    `C_applied_deg`. Then what was applied to the whole row: `applied_declination_deg`,
    `applied_anomaly_deg`, `applied_compass_deg`, `applied_dial_deg`, and for a grid
    `applied_convergence_deg` and `applied_grid`; plus is what was added.
    """

    columns: pd.DataFrame
    latitude_deg: Array
    longitude_deg: Array
    remarks: list[str] = field(default_factory=list)


def correct(
    cells: Cells,
    options: Options,
    campaign: Campaign | None = None,
    check: CompassCheck | None = None,
) -> Corrected:
    """Turn the bearings of a notebook to true or grid bearings.

    Args:
        cells: the notebook, as `tables.cells.read_cells` gives it.
        options: what it does not say itself.
        campaign: whose sites its `site` column names.
        check: of that campaign's compass readings: its compasses' corrections, and its places'
            anomalies where they are pulled.

    Returns:
        A `Corrected`, of as many rows as the notebook.

    Raises:
        InputError: every fault of the notebook.

    Accuracy: declination and convergence are those of `numbers.magnetic.field` and
    `numbers.grid.grid_figures`; `C_u_deg` holds reading, declination, compass (2° where it was
    never checked) and anomaly.
    """
    faults = Faults()
    columns = layout(cells, options.bearings, faults)
    faults.stop_if_any()
    rows = _Rows(cells, columns, options, campaign, faults)
    values = {name: written.read_bearings(cells, name, faults) for name in columns.bearings}
    if not options.full_circle:
        for name, each in values.items():
            written.check_quadrants(cells, name, each, faults)
    faults.stop_if_any()
    applied = _applied(rows, options, check)
    out, remarks = _columns(cells, values, applied, options, check, rows.compass, faults)
    faults.stop_if_any()
    return Corrected(
        out,
        rows.latitude,
        rows.longitude,
        [*written.habits(columns.bearings, values), *remarks, *applied.remarks],
    )


# ---------------------------------------------------------------- rows


class _Rows:
    """Place, date, compass and dial of every row."""

    def __init__(
        self,
        cells: Cells,
        columns: Layout,
        options: Options,
        campaign: Campaign | None,
        faults: Faults,
    ) -> None:
        self.cells, self.columns, self.options, self.faults = cells, columns, options, faults
        table = Table("notebook", tuple(columns.column(what) for what in columns.headed))
        frame = read_table(cells, table, faults)
        self.frame = frame.rename(columns={head: what for what, head in columns.headed.items()})
        self.size = len(cells.rows)
        self.site = self._text("site")
        self.latitude, self.longitude, self.elevation = self._places(campaign)
        self.year = self._years()
        self.compass = self._text("compass")
        self.compass[self.compass == ""] = options.compass
        self.dial = self._dials()

    def _text(self, what: str) -> NDArray[np.object_]:
        if what in self.frame:
            return self.frame[what].to_numpy(dtype=object).copy()
        return np.full(self.size, "", dtype=object)

    def _number(self, what: str) -> Array:
        if what in self.frame:
            return self.frame[what].to_numpy(dtype=float).copy()
        return np.full(self.size, np.nan)

    def _places(self, campaign: Campaign | None) -> tuple[Array, Array, Array]:
        latitude, longitude = self._number("latitude_deg"), self._number("longitude_deg")
        elevation = np.nan_to_num(self._number("elevation_m"))
        self._from_grid(latitude, longitude)
        if campaign is not None:
            self._from_sites(campaign, latitude, longitude, elevation)
        if self.options.place is not None:
            bare = np.isnan(latitude) | np.isnan(longitude)
            latitude[bare], longitude[bare] = self.options.place
        self._ask_for_places(latitude, longitude)
        return latitude, longitude, elevation

    def _from_grid(self, latitude: Array, longitude: Array) -> None:
        easting, northing = self._number("easting_m"), self._number("northing_m")
        crs = self._text("crs")
        crs[crs == ""] = self.options.crs
        here = np.isnan(latitude) & np.isfinite(easting) & np.isfinite(northing)
        unknown = here & (crs == "")
        if unknown.any():
            self.faults.add_cells(
                self.cells, self.columns.headed["easting_m"], np.flatnonzero(unknown),
                "the grid it is of: a column crs, or --crs EPSG:…",
            )  # fmt: skip
        here &= ~unknown
        if here.any():
            found = grid.to_geographic(easting[here], northing[here], crs[here].astype(str))
            latitude[here], longitude[here] = found[0], found[1]

    def _from_sites(
        self, campaign: Campaign, latitude: Array, longitude: Array, elevation: Array
    ) -> None:
        place = campaign.sites.index.get_indexer(pd.Index(self.site))
        unknown = (place < 0) & (self.site != "") & np.isnan(latitude)
        if unknown.any():
            self.faults.add_cells(
                self.cells, self.columns.headed["site"], np.flatnonzero(unknown),
                "a site of the campaign, or the row's own coordinates",
            )  # fmt: skip
        use = (place >= 0) & np.isnan(latitude)
        filled = {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": elevation}
        for name, values in filled.items():
            values[use] = campaign.sites[name].to_numpy(float)[place[use]]

    def _ask_for_places(self, latitude: Array, longitude: Array) -> None:
        nowhere = np.flatnonzero(np.isnan(latitude) | np.isnan(longitude))
        if not nowhere.size or self.faults.listed:
            return
        wanted = (
            "latitude and longitude, easting and northing with crs, a site with --campaign, or "
            '--place "LAT, LON" for all'
        )
        head = self.columns.headed
        named = next(
            (head[what] for what in ("latitude_deg", "easting_m", "site") if what in head), None
        )
        if named is None:
            self.faults.add(self.cells.file, self.cells.header_row, None, "no place", wanted)
        else:
            self.faults.add_cells(self.cells, named, nowhere, wanted)

    def _years(self) -> Array:
        days = (
            self.frame["date"].to_numpy(dtype="datetime64[D]")
            if "date" in self.frame
            else np.full(self.size, np.datetime64("NaT"), dtype="datetime64[D]")
        )
        if self.options.date is not None:
            days = np.where(np.isnat(days), self.options.date, days)
        undated = np.flatnonzero(np.isnat(days))
        if undated.size and not self.faults.listed:
            wanted = "the day of the reading, or --date for all rows without"
            if "date" in self.frame:
                self.faults.add_cells(self.cells, self.columns.headed["date"], undated, wanted)
            else:
                self.faults.add(self.cells.file, self.cells.header_row, None, "no dates", wanted)
        return np.asarray(magnetic.decimal_year(days), dtype=float)

    def _dials(self) -> Array:
        if "dial_deg" not in self.frame:
            return np.full(self.size, self.options.dial_deg)
        own = self.frame["dial_deg"].to_numpy(float)
        blank = ~self.cells.given(self.columns.headed["dial_deg"])
        return np.where(blank, self.options.dial_deg, own)


# ---------------------------------------------------------------- what is applied


@dataclass(frozen=True)
class _Applied:
    """What is added to every bearing of a row, by parts, and its standard uncertainty."""

    declination: Array
    anomaly: Array
    compass: Array
    dial: Array
    convergence: Array | None
    crs: NDArray[np.str_] | None
    u: Array
    remarks: list[str]

    def total(self) -> Array:
        whole = self.declination + self.anomaly + self.compass + self.dial
        return whole if self.convergence is None else whole + self.convergence


def _applied(rows: _Rows, options: Options, check: CompassCheck | None) -> _Applied:
    place = rows.latitude, rows.longitude, rows.elevation
    try:
        found = magnetic.field(*place, rows.year)
    except magnetic.OutsideModels as fault:
        raise ValueError(str(fault)) from None
    compass, compass_u, remarks = _of_compasses(rows.compass, check)
    anomaly, ground_u = _of_ground(rows.site, np.asarray(found.declination_u_deg), check)
    convergence = crs = None
    if options.to == "grid":
        crs = np.full(rows.size, options.grid or options.crs, dtype=object)
        if not (options.grid or options.crs):
            crs = np.asarray(grid.default_grid(*place[:2]), dtype=object).reshape(-1)
        convergence = -np.asarray(
            grid.grid_figures(*place[:2], crs.astype(str), place[2]).convergence_deg
        ).reshape(-1)
    u = np.sqrt(options.reading_sd_deg**2 + ground_u**2 + compass_u**2)
    return _Applied(
        np.asarray(found.declination_deg),
        anomaly,
        compass,
        -rows.dial,
        convergence,
        crs,
        u,
        remarks,
    )


def _of_compasses(
    names: NDArray[np.object_], check: CompassCheck | None
) -> tuple[Array, Array, list[str]]:
    """Each row's correction of its compass, and how well that is known."""
    correction, u = np.zeros(len(names)), np.full(len(names), INDEX_SD_DEG)
    unchecked = []
    for name in dict.fromkeys(names.tolist()):
        mine = names == name
        if check is None or name not in check.compasses.index:
            unchecked.append(f"compass {name}" if name else "a compass without a name")
            continue
        found = check.compasses.loc[name]
        # One that is not shown is not applied, and is counted in what is uncertain.
        shown = found["verdict"] == "shown"
        correction[mine] = found["correction_deg"] if shown else 0.0
        u[mine] = (
            found["correction_u_deg"]
            if shown
            else np.hypot(found["correction_u_deg"], found["correction_deg"])
        )
    remarks = (
        [
            f"Never checked: {', '.join(unchecked[:6])}. A usual compass is off by 2° (1 σ), "
            "which the uncertainty counts; readings along a line of known azimuth would tell."
        ]
        if unchecked
        else []
    )
    return correction, u, remarks


def _of_ground(
    sites: NDArray[np.object_], model_u: Array, check: CompassCheck | None
) -> tuple[Array, Array]:
    """Each row's anomaly where its site is pulled, and what the ground leaves uncertain."""
    anomaly, u = np.zeros(len(sites)), np.broadcast_to(model_u, len(sites)).astype(float)
    if check is None:
        return anomaly, u
    # A site with several stands, one of them pulled, is no place with one anomaly.
    places_of = check.readings.groupby("site")["place"].unique()
    for name, place in check.places.iterrows():
        touched = [str(site) for site, names in places_of.items() if name in names]
        here = np.isin(sites.astype(str), touched)
        if place["verdict"] == "pulled":
            here &= np.isin(sites.astype(str), [t for t in touched if len(places_of[t]) == 1])
            anomaly[here], u[here] = place["anomaly_deg"], place["anomaly_u_deg"]
        elif place["verdict"] in ("off", "perhaps"):
            # Nothing tells what is off: nothing is applied, and all of it is counted.
            farthest = max(abs(place["anomaly_low_deg"]), abs(place["anomaly_high_deg"]))
            u[here] = np.maximum(u[here], farthest / COVERAGE_95)
    return anomaly, u


# ---------------------------------------------------------------- what is written


def _columns(
    cells: Cells,
    values: dict[str, Array],
    applied: _Applied,
    options: Options,
    check: CompassCheck | None,
    compass: NDArray[np.object_],
    faults: Faults,
) -> tuple[pd.DataFrame, list[str]]:
    out: dict[str, Any] = {}
    remarks, total = [], applied.total()
    for name, read in values.items():
        added = np.round(total - _deviation(read, compass, check), DECIMALS)
        result = wrap_360(np.round(read + added, _READ_DECIMALS))
        if _from_either_end(cells, name, read, result, options, faults):
            added, result = _from_northern_end(added, result)
            remarks.append(f"{name}: written from 0 to 180, and so is the result.")
        blank = np.isnan(read)
        # Once more: brought round the circle, 361.0533 is 1.0532999999999788.
        out[f"{name}_{options.to}_deg"] = np.round(result, _READ_DECIMALS)
        out[f"{name}_u_deg"] = np.where(blank, np.nan, np.round(applied.u, 3))
        out[f"{name}_applied_deg"] = np.where(blank, np.nan, added)
    for part in ("declination", "anomaly", "compass", "dial"):
        out[f"applied_{part}_deg"] = np.round(getattr(applied, part), DECIMALS) + 0.0
    if applied.convergence is not None:
        out["applied_convergence_deg"] = np.round(applied.convergence, DECIMALS) + 0.0
        out["applied_grid"] = applied.crs
    return pd.DataFrame(out), remarks


def _from_either_end(
    cells: Cells, name: str, read: Array, result: Array, options: Options, faults: Faults
) -> bool:
    return may_be_either_end(name) and (
        written.ends_of(cells, name, read, result, options.strike, faults) == "half"
    )


def _from_northern_end(added: Array, result: Array) -> tuple[Array, Array]:
    turned = np.where(result >= 180.0, 180.0, 0.0)
    return added - turned, np.round(result - turned, _READ_DECIMALS)


def _deviation(read: Array, compass: NDArray[np.object_], check: CompassCheck | None) -> Array:
    """What each reading is too much by at its heading, where a compass has such a deviation."""
    off = np.zeros(len(read))
    if check is None:
        return off
    shown = check.compasses[check.compasses["deviation"] == "shown"]
    for name, row in shown.iterrows():
        mine = compass == name
        off[mine] = np.nan_to_num(deviation_deg(row, read[mine]))
    return off
