"""The tables of a campaign: what their columns hold, and what their cells mean.

`SITES`, `SETUPS` and `MARKS` are the one home of the columns: reading, the empty tables of a
new campaign and the documentation all come from them.

Whatever cannot be read becomes a fault and reading goes on, so that all faults are listed at
once. Columns are read whole; only cells out of the ordinary are looked at one by one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.sun import FIRST_DATE, LAST_DATE
from orient.numbers.tolerances import UNCHECKED_LEVEL_DEG, Tolerances
from orient.tables.cells import (
    DECIMAL_COMMA_WANTED,
    UNSEEN,
    Cells,
    Faults,
    cell_text,
    read_cells,
    shown,
    unguarded,
    yes_no,
)
from orient.tables.clock import close_zone, zone_name
from orient.tables.coordinates import Axis, NotACoordinate, parse_degrees
from orient.text import clock_text, closest

Kind = Literal[
    "id", "text", "number", "latitude", "longitude", "date", "time", "yes-no", "choice", "zone",
    "grid", "horizon",
]  # fmt: skip


@dataclass(frozen=True)
class Slip:
    """A wrong unit that people really use: the wanted number is factor · (found + offset)."""

    unit: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True)
class Column:
    """One column of a table.

    `default` is what a blank cell becomes, None where it stays blank; `filled` says in words
    what a blank means where that depends on the row. `low` and `high` are the limits of a
    number, both allowed; `slips` are tried on a number outside them, for the hint.
    """

    name: str
    meaning: str
    kind: Kind = "text"
    unit: str = ""
    needed: bool = False
    default: Any = None
    filled: str = ""
    low: float = -np.inf
    high: float = np.inf
    choices: tuple[str, ...] = ()
    slips: tuple[Slip, ...] = ()
    longest: int = 250


@dataclass(frozen=True)
class Table:
    """A table of a campaign: its name, which is its file's too, and its columns in order."""

    name: str
    columns: tuple[Column, ...]

    def __getitem__(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """The column names in order."""
        return tuple(column.name for column in self.columns)

    @property
    def numbers(self) -> frozenset[str]:
        """The names of the columns that hold numbers, in whatever decimal sign the file has."""
        kinds = ("number", "latitude", "longitude")
        return frozenset(column.name for column in self.columns if column.kind in kinds)


def _number(name: str, unit: str, low: float, high: float, meaning: str, **more: Any) -> Column:
    return Column(name, meaning, "number", unit, low=low, high=high, **more)


#: Finer than this nobody works with a board, a level or a watch; what is written finer is in
#: another unit, or claims that something is known without any error (*common practice, no
#: source*).
_FINEST = {"mm": 0.01, "m": 1e-4, "°": 0.002, "s": 0.001}


def _sd(name: str, unit: str, high: float, default: float, meaning: str) -> Column:
    slips = {"mm": _LENGTHS, "°": _FINE_ANGLES, "s": _TIMES}.get(unit, ())
    return _number(name, unit, _FINEST[unit], high, meaning, default=default, slips=slips)


def _sd_blank(name: str, unit: str, high: float, meaning: str, filled: str) -> Column:
    return _number(name, unit, 1e-6, high, meaning, filled=filled)


def _choice(name: str, choices: tuple[str, ...], meaning: str, **more: Any) -> Column:
    return Column(name, meaning, "choice", choices=choices, **more)


_FEET = Slip("feet", 0.3048)
_LENGTHS = (Slip("metres", 1000.0), Slip("centimetres", 10.0), Slip("inches", 25.4))
_ANGLES = (Slip("gon", 0.9), Slip("mils", 0.05625))
_FINE_ANGLES = (Slip("radians", 57.2957795), Slip("minutes", 1 / 60))
_TIMES = (Slip("days", 86400.0), Slip("hours", 3600.0))
_PRESSURES = (Slip("inches of mercury", 33.8639), Slip("kilopascals", 10.0), Slip("pascals", 0.01))
_TEMPERATURES = (Slip("degrees Fahrenheit", 5 / 9, -32.0), Slip("kelvins", 1.0, -273.15))

#: An angle read with a protractor, to a quarter of a degree (*common practice, no source*).
ANGLE_SD_DEG = 0.25

SITES = Table(
    "sites",
    (
        Column("site", "unique id, used in the other tables", "id", needed=True),
        Column(
            "latitude_deg",
            "decimal degrees, or degrees, minutes and seconds with N or S; or easting_m, "
            "northing_m and crs instead; all blank, with timezone given, where orient reduce is to "
            "find the place from the site's boards",
            "latitude",
            "°",
        ),
        Column("longitude_deg", "the same with E or W; west is minus", "longitude", "°"),
        _number("easting_m", "m", -1e8, 1e8, "with northing_m and crs, instead of the two above"),
        _number("northing_m", "m", -1e8, 1e8, "north on the grid"),
        Column("crs", "the grid of easting_m and northing_m, such as EPSG:32645", "grid"),
        _number(
            "elevation_m",
            "m",
            -500,
            9000,
            "height above the ellipsoid",
            default=0.0,
            slips=(_FEET,),
        ),
        Column(
            "timezone",
            "IANA name; needed where the coordinates are blank, Etc/UTC for a watch that keeps UTC",
            "zone",
            filled="looked up from the coordinates",
        ),
        Column(
            "grid", "CRS whose grid north is compared", "grid", filled="the site's UTM or UPS zone"
        ),
        _sd_blank(
            "position_sd_m",
            "m",
            1e7,
            "how well the position is known, each axis",
            "100, a map read by eye: too little to show in any figure",
        ),
        _number("xi_arcsec", "″", -200, 200, "deflection of the vertical, north plus"),
        _number("eta_arcsec", "″", -200, 200, "deflection of the vertical, east plus"),
        _number(
            "pressure_hpa",
            "hPa",
            300,
            1100,
            "air pressure at the site, not reduced to sea level",
            filled="the standard atmosphere at the elevation",
            slips=_PRESSURES,
        ),
        _number(
            "temperature_c", "°C", -80, 60, "air temperature", default=10.0, slips=_TEMPERATURES
        ),
        Column(
            "horizon_deg",
            "how high the skyline stands: one number, or azimuth:altitude pairs such as "
            "60:4 90:12 130:5",
            "horizon",
            "°",
            filled="a level skyline",
        ),
    ),
)

SETUPS = Table(
    "setups",
    (
        Column("setup", "unique id, one for each setting up of a board", "id", needed=True),
        Column("site", "a site id", "id", needed=True),
        Column("date", "local date, YYYY-MM-DD", "date", needed=True),
        _number(
            "gnomon_height_mm",
            "mm",
            20,
            5000,
            "the tip above the board",
            needed=True,
            slips=_LENGTHS,
        ),
        _sd("height_sd_mm", "mm", 500, Tolerances.height_sd_mm, "how well that height is known"),
        _sd("mark_sd_mm", "mm", 100, Tolerances.mark_sd_mm, "marking one tip, each axis"),
        _sd("level_sd_deg", "°", 20, Tolerances.level_sd_deg, "how level the board, each axis"),
        Column(
            "level_checked",
            f"no where no level was used: level_sd_deg is then {UNCHECKED_LEVEL_DEG:g} at least",
            "yes-no",
            default=True,
        ),
        _sd("plumb_sd_mm", "mm", 100, Tolerances.plumb_sd_mm, "finding the foot, each axis"),
        _number(
            "watch_error_s", "s", -86400, 86400, "watch minus true, plus when fast", default=0.0
        ),
        _sd("watch_sd_s", "s", 86400, Tolerances.watch_sd_s, "how well that error is known"),
        _number(
            "time_sd_s",
            "s",
            0,
            3600,
            "how closely each mark's time was written",
            filled="0; where all the times are whole minutes, or whole fives and more at uneven "
            "intervals, that step / √12, and the watch's setting by as much, or half a longer step",
        ),
        _choice(
            "watch",
            ("trusted", "running", "none"),
            "trusted, running (its rate is good, its setting unknown) or none (times ignored)",
            default="trusted",
        ),
        _choice(
            "edge",
            ("middle", "dark"),
            "what of the soft shadow edge was marked: its middle, or dark, the end of full shadow",
            default="middle",
        ),
        Column(
            "reference_name",
            "the far point or pegged line that the azimuth is wanted for; set-ups of a site that "
            "name the same have one line",
            filled="reference of and the set-up's id, where there is a line",
        ),
        _number(
            "reference_angle_deg",
            "°",
            -360,
            360,
            "its board direction, clockwise from the +y axis",
            slips=_ANGLES,
        ),
        _number(
            "reference_x_mm",
            "mm",
            -20000,
            20000,
            "or, by ruler from the foot, a point far out on the line: right of the foot",
        ),
        _number("reference_y_mm", "mm", -20000, 20000, "and up the sheet"),
        _number(
            "reference_sd_deg",
            "°",
            _FINEST["°"],
            45,
            "how well that direction was got",
            slips=_FINE_ANGLES,
            filled=f"{ANGLE_SD_DEG:g}, a protractor's, for an angle; for a point, what mark_sd_mm "
            "and plumb_sd_mm come to at its distance (0.19 at 300 mm)",
        ),
        _number(
            "reference_close_deg",
            "°",
            -360,
            360,
            "the same line sighted and drawn again at the end: it tells whether the board moved",
            slips=_ANGLES,
        ),
        _number(
            "reference_close_x_mm",
            "mm",
            -20000,
            20000,
            "or a point on that second line: right of the foot",
        ),
        _number("reference_close_y_mm", "mm", -20000, 20000, "and up the sheet"),
        _number(
            "compass_reading_deg", "°", -360, 360, "what a compass read toward it, uncorrected"
        ),
        _sd("compass_sd_deg", "°", 45, 0.5, "how well the compass was read"),
        _number(
            "hand_azimuth_deg",
            "°",
            -360,
            360,
            "its true azimuth as found by hand on the sheet: compared with the computed one, "
            "never used",
        ),
        _number(
            "reference_easting_m",
            "m",
            -1e8,
            1e8,
            "the reference in the site's grid, for long lines",
        ),
        _number("reference_northing_m", "m", -1e8, 1e8, "the same, north"),
        Column("compass", "id of the compass used", "id"),
        Column("level", "id of the spirit level used", "id"),
        Column("timepiece", "id of the watch or telephone used", "id"),
        Column("rod", "id of the rod used", "id"),
        Column("observer", "id of who made the marks", "id"),
        Column(
            "turned",
            "yes where the board stood end for end against the first set-up of this reference: for "
            "your own record, the azimuths themselves are what counts",
            "yes-no",
            default=False,
        ),
    ),
)

MARKS = Table(
    "marks",
    (
        Column("setup", "a set-up id", "id", needed=True),
        Column("mark", "serial on the board", "id", filled="numbered in order"),
        Column("time", "watch time, HH:MM or HH:MM:SS, 24 hours", "time"),
        _number(
            "x_mm", "mm", -20000, 20000, "tip right of the foot; or length_mm and angle_deg instead"
        ),
        _number("y_mm", "mm", -20000, 20000, "tip up the sheet from the foot"),
        _number("length_mm", "mm", 0, 20000, "tip's distance from the foot"),
        _number(
            "angle_deg",
            "°",
            -360,
            360,
            "tip's board direction, clockwise from the +y axis",
            slips=_ANGLES,
        ),
        Column("ring", "marks with the same label lie on one circle about the foot", "id"),
        _choice(
            "half", ("am", "pm"), "am or pm", filled="from the time, or the order of the marks"
        ),
        Column("use", "no leaves the mark out of the reduction", "yes-no", default=True),
        Column("note", "free text", longest=2000),
    ),
)

READINGS = Table(
    "readings",
    (
        Column("reading", "unique id of the reading", "id", filled="numbered in order"),
        Column("site", "a site id", "id", needed=True),
        Column("date", "local date, YYYY-MM-DD", "date", needed=True),
        Column("time", "watch time, HH:MM", "time"),
        Column("compass", "id of the compass", "id"),
        Column("observer", "id of who read it", "id"),
        Column(
            "target",
            "what it was read toward: the reference line of a set-up or of sights at this site, or "
            "another site's id",
            "id",
        ),
        _number(
            "reading_deg",
            "°",
            -360,
            360,
            "what the compass showed, uncorrected",
            needed=True,
            slips=_ANGLES,
        ),
        _sd("reading_sd_deg", "°", 45, 0.5, "how well it was read"),
        Column("stand", "id of the spot where the compass stood", "id", filled="at the board"),
        _number(
            "easting_m",
            "m",
            -1e8,
            1e8,
            "that spot in the site's grid",
            filled="the site's own place",
        ),
        _number("northing_m", "m", -1e8, 1e8, "the same, north"),
        _sd(
            "position_sd_m",
            "m",
            1000,
            3.0,
            "how well the two ends are known where their coordinates give the line, each axis",
        ),
        _number(
            "known_azimuth_deg",
            "°",
            -360,
            360,
            "the line's true azimuth, where it is known from elsewhere; target may be blank then",
            slips=_ANGLES,
        ),
        _sd("known_azimuth_sd_deg", "°", 45, 0.1, "how well that is known"),
        Column("note", "free text", longest=2000),
    ),
)

WATCHES = Table(
    "watches",
    (
        Column("timepiece", "id of the watch, as in setups.csv", "id", needed=True),
        Column("date", "local date of the comparison, YYYY-MM-DD", "date", needed=True),
        Column("time", "its time of day, HH:MM, 24 hours", "time", filled="noon"),
        _number(
            "error_s", "s", -86400, 86400, "watch minus true time, plus when fast", needed=True
        ),
        _sd("sd_s", "s", 3600, 1.0, "how well they were compared"),
    ),
)

SIGHTS = Table(
    "sights",
    (
        Column("sight", "unique id of one direction read", "id", filled="numbered in order"),
        Column("site", "a site id", "id", needed=True),
        Column("date", "local date of the sight, YYYY-MM-DD", "date", needed=True),
        Column("time", "watch time, HH:MM:SS, 24 hours; not needed toward a line", "time"),
        Column("timepiece", "id of the watch or telephone used", "id"),
        _number(
            "watch_error_s", "s", -86400, 86400, "watch minus true, plus when fast", default=0.0
        ),
        _sd("watch_sd_s", "s", 86400, Tolerances.watch_sd_s, "how well that error is known"),
        _choice(
            "watch",
            ("trusted", "running", "none"),
            "trusted, running (its rate is good, its setting good to half an hour) or none (each "
            "time good to half an hour only: read altitudes)",
            default="trusted",
        ),
        Column(
            "circle",
            "the graduated circle as it stood: its rows of one day, or of one night, share one "
            "orientation",
            "id",
            filled="the compass",
        ),
        Column("compass", "id of the compass, where the circle is one", "id"),
        Column(
            "target",
            "shadow (of a plumb line: the direction away from the sun), sun, moon, a star "
            "(Polaris, α UMi or HIP 11767), or a reference line by its name",
            needed=True,
        ),
        _number(
            "reading_deg",
            "°",
            -360,
            360,
            "what the circle read, clockwise",
            needed=True,
            slips=_ANGLES,
        ),
        _number(
            "reading_sd_deg",
            "°",
            1e-6,
            45,
            "how well one direction was taken, aim and reading together",
            filled="0.5 by compass, 0.1 otherwise",
        ),
        _choice(
            "aid",
            ("plumb", "sights", "projection", "telescope"),
            "what aimed: plumb lines, open sights, the sun's image projected on a card (the only "
            "one allowed for the sun itself), or a telescope (never for the sun)",
            filled="plumb for a shadow, sights otherwise",
        ),
        _number(
            "plumb_sd_deg",
            "°",
            1e-6,
            20,
            "how plumb the line, or the plane of the sights, stood",
            filled="0.02 with plumb lines, 0.1 otherwise",
        ),
        _number("altitude_deg", "°", 0, 90, "altitude read with it, above the level"),
        _sd("altitude_sd_deg", "°", 45, 0.1, "how well the altitude was read"),
        _choice(
            "limb",
            ("left", "right", "centre"),
            "which edge of sun or moon was sighted, or its centre",
            default="centre",
        ),
        _choice("face", ("left", "right"), "on which face an instrument was read"),
        Column("use", "no leaves the sight out of the reduction", "yes-no", default=True),
        Column("note", "free text", longest=2000),
    ),
)

TABLES: dict[str, Table] = {table.name: table for table in (SITES, SETUPS, MARKS)}
#: Tables that a campaign may have beside those.
OPTIONAL_TABLES: dict[str, Table] = {table.name: table for table in (READINGS, WATCHES, SIGHTS)}


def column_meanings(table: Table) -> list[tuple[str, str, str, str]]:
    """What a table's columns hold, in words for people.

    Args:
        table: one of the campaign's tables.

    Returns:
        For each column its name, its unit, "yes" or "no" as it is needed or not, and its
        meaning, with what a blank cell stands for.
    """
    return [
        (
            column.name,
            column.unit,
            yes_no(column.needed),
            "; ".join(filter(None, (column.meaning, _when_blank(column)))),
        )
        for column in table.columns
    ]


def _when_blank(column: Column) -> str:
    stands_for = column.filled or cell_text(column.default)
    return f"{stands_for} when blank" if stands_for else ""


# --- cells to values ---------------------------------------------------------------------------


class _NotWanted(ValueError):
    """A cell cannot be read; the message says what is wanted."""


def read_table(cells: Cells, table: Table, faults: Faults) -> pd.DataFrame:
    """Read a table's cells into values.

    Args:
        cells: the text of the table.
        table: which columns are looked for; others are passed over, unless their name looks
            like a typing mistake.
        faults: takes what is wrong with the header or with any cell.

    Returns:
        Every column of the table, in its order, and `row`, the spreadsheet's row number.
        Numbers are float64 (NaN for blank), a date is datetime64[s] (NaT), a time is seconds
        since midnight (NaN), yes or no is bool, all else is str (""); defaults are filled in.
        A cell at fault counts as blank.
    """
    _check_header(cells, table, faults)
    if cells.decimal_comma:
        ask_about_thousands(cells, table, faults)
    else:
        _tell_decimal_commas(cells, table, faults)
    values = {column.name: _read_column(cells, column, faults) for column in table.columns}
    return pd.DataFrame(values | {"row": np.array(cells.rows, dtype=np.int64)})


def read_file(path: Path | str, table: Table, faults: Faults) -> tuple[Cells, pd.DataFrame]:
    """Read a file of one table, CSV or workbook, into its text and its values.

    Raises:
        InputError: it cannot be read at all.
    """
    cells = read_cells(Path(path), faults)
    if cells is None:
        faults.stop_if_any()
        raise AssertionError("a table that cannot be read has a fault")
    return cells, read_table(cells, table, faults)


def no_rows(table: Table) -> pd.DataFrame:
    """A table as `read_table` gives it, without a row."""
    empty = Cells(table.name, 1, {name: [] for name in table.names}, [])
    return read_table(empty, table, Faults())


def _tell_decimal_commas(cells: Cells, table: Table, faults: Faults) -> None:
    """Note, once for a file with commas between its cells, that numbers have them inside too."""
    numbers = [column.name for column in table.columns if column.kind == "number"]
    found = [
        (row, name, text)
        for name in numbers
        if name in cells.columns
        for row, text in zip(cells.rows, cells.column(name), strict=True)
        if "," in text and _has_decimal_comma(text)
    ]
    if found:
        row, name, text = min(found)
        count = "a decimal comma" if len(found) == 1 else f"{len(found)} decimal commas"
        faults.add(cells.file, row, name, f"{count}, as in {shown(text)}", DECIMAL_COMMA_WANTED)


#: Three digits behind a sign may as well be thousands.
_THOUSANDS = re.compile(r"[+\-−]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_DECIMALS = re.compile(r"[+\-−]?[0-9]*([.,])[0-9]+")


def ask_about_thousands(cells: Cells, table: Table, faults: Faults) -> None:
    """Ask what a point or a comma before three digits is, where other numbers have the other one.

    A table that may have decimal commas shows by its other numbers which sign its decimals have.
    """
    texts = {name: cells.column(name) for name in table.numbers if name in cells.columns}
    if not all(any(sign in text for text in chain(*texts.values())) for sign in ",."):
        return
    shown_by = {
        match[1]
        for text in set(chain(*texts.values()))
        if (match := _DECIMALS.fullmatch(text)) and not _THOUSANDS.fullmatch(text)
    }
    for name, column in texts.items():
        matches = [_THOUSANDS.fullmatch(text) for text in column]
        asked = [place for place, each in enumerate(matches) if each and {each[1]} != shown_by]

        def wanted(place: int, column: list[str] = column) -> str:
            bare = re.sub("[.,]", "", column[place])
            decimal = column[place].replace(",", ".")
            return f"{bare} or {decimal}, as it is meant: the table has both points and commas"

        faults.add_cells(cells, name, asked, wanted)


def _has_decimal_comma(text: str) -> bool:
    if (match := _THOUSANDS.fullmatch(text)) and match[1] == ",":
        return False
    return "," in text and _unusual_number(text, decimal_comma=True) is not None


def _check_header(cells: Cells, table: Table, faults: Faults) -> None:
    missing = [name for name in table.names if name not in cells.columns]
    meant = set()
    for name in cells.columns:
        if name not in table.names and (close := _close_name(name, missing)):
            meant.add(close)
            faults.add(
                cells.file, cells.header_row, name, "no column of this table", f"{close}, perhaps"
            )
    for name in missing:
        if table[name].needed and name not in meant:
            wanted = f"it: {table[name].meaning}"
            faults.add(cells.file, cells.header_row, name, "no such column", wanted)


def _close_name(name: str, missing: Sequence[str]) -> str | None:
    starts = [known for known in missing if known.startswith(name + "_")]
    return starts[0] if starts else closest(name, missing, cutoff=0.8)


def _read_column(cells: Cells, column: Column, faults: Faults) -> Any:
    if column.needed and column.name in cells.columns:
        blank = np.flatnonzero(~cells.given(column.name))
        faults.add_cells(cells, column.name, blank, column.meaning)
    if column.kind == "number":
        return _numbers(cells, column, faults)
    if column.kind in ("latitude", "longitude"):
        return _coordinates(cells, column, faults)
    read, blank, dtype = _READERS[column.kind]
    texts = cells.column(column.name)
    # A text in plain letters needs no looking at one by one.
    if read is _read_text and _all_plain(texts, column.longest):
        return np.array(texts, dtype=object)
    default = blank if column.default is None else column.default
    read_already: dict[str, Any] = {"": default}
    wrong: dict[int, str] = {}
    for place, text in enumerate(texts):
        if text not in read_already:
            try:
                read_already[text] = read(text, column)
            except _NotWanted as fault:
                read_already[text] = fault
        if isinstance(read_already[text], _NotWanted):
            wrong[place] = str(read_already[text])
    faults.add_cells(cells, column.name, list(wrong), wrong.__getitem__)
    values = [default if place in wrong else read_already[text] for place, text in enumerate(texts)]
    return np.array(values, dtype=dtype)


# Numbers


_PLAIN_NUMBERS = re.compile(r"[0-9.+\-\n]*")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def _plain_numbers(texts: list[str]) -> tuple[NDArray[np.float64], list[int]]:
    """Numbers in digits, point and sign, NaN for all else; and which are neither nor blank."""
    if _PLAIN_NUMBERS.fullmatch("\n".join(texts)):
        try:
            return np.array([float(text) if text else np.nan for text in texts]), []
        except ValueError:
            pass
    values = np.full(len(texts), np.nan)
    others = []
    for place, text in enumerate(texts):
        if _NUMBER.fullmatch(text):
            values[place] = float(text)
        elif text:
            others.append(place)
    return values, others


def _numbers(cells: Cells, column: Column, faults: Faults) -> NDArray[np.float64]:
    texts = cells.column(column.name)
    values, others = _plain_numbers(texts)
    wrong = []
    for place in others:
        number = _unusual_number(texts[place], cells.decimal_comma)
        if number is None:
            # Decimal commas of a file that may not have them are told of once.
            if not _has_decimal_comma(texts[place]):
                wrong.append(place)
        else:
            values[place] = number
    faults.add_cells(cells, column.name, wrong, f"{_span(column)}, in digits with a decimal point")
    outside = np.flatnonzero((values < column.low) | (values > column.high))
    faults.add_cells(
        cells, column.name, outside, lambda place: _span(column) + _slip(values[place], column)
    )
    values[outside] = np.nan
    if column.default is not None:
        values[np.isnan(values)] = column.default
    return values


def _unusual_number(text: str, decimal_comma: bool) -> float | None:
    """A number with a printed minus or, where the table allows it, a decimal comma."""
    plain = unguarded(text).replace("−", "-").replace("\u00a0", "")
    if decimal_comma and "." not in plain:
        plain = plain.replace(",", ".", 1)
    return float(plain) if _NUMBER.fullmatch(plain) else None


def _span(column: Column) -> str:
    unit = column.unit if column.unit in ("°", "″", "") else f" {column.unit}"
    return f"a number from {column.low:.10g} to {column.high:.10g}{unit}"


def _slip(found: float, column: Column) -> str:
    for slip in column.slips:
        wanted = slip.factor * (float(found) + slip.offset)
        if column.low <= wanted <= column.high:
            return f"; is it in {slip.unit}? Then write {wanted:.5g}"
    return ""


def _coordinates(cells: Cells, column: Column, faults: Faults) -> NDArray[np.float64]:
    texts = cells.column(column.name)
    axis: Axis = "latitude" if column.kind == "latitude" else "longitude"
    values, others = _plain_numbers(texts)
    limit = 90.0 if axis == "latitude" else 180.0
    wrong: dict[int, str] = {}
    for place in sorted({*others, *np.flatnonzero(np.abs(values) > limit).tolist()}):
        try:
            values[place] = parse_degrees(texts[place], axis)
        except NotACoordinate as fault:
            wrong[place], values[place] = _both_in_one(texts[place]) or str(fault), np.nan
    faults.add_cells(cells, column.name, list(wrong), wrong.__getitem__)
    return values


EACH_ITS_COLUMN = "each in its own column"


def _both_in_one(text: str) -> str:
    """What to say of a cell with latitude and longitude, as they are pasted from a map."""
    parts = re.split(r"\s*[,;]\s+|\s*;\s*", text.strip())
    try:
        latitude, longitude = parts
        parse_degrees(latitude, "latitude")
        parse_degrees(longitude, "longitude")
    except (ValueError, NotACoordinate):
        return ""
    return f"{EACH_ITS_COLUMN}: latitude_deg {latitude} and longitude_deg {longitude}"


# Texts


def _all_plain(texts: list[str], longest: int) -> bool:
    joined = "".join(texts)
    short = max(map(len, texts), default=0) <= longest
    as_read = joined.isascii() and joined.isprintable()
    return short and as_read and "'" not in joined and "  " not in joined


def _read_text(text: str, column: Column) -> str:
    text = unicodedata.normalize("NFC", unguarded(text))
    bad = {
        character
        for character in text
        if character in UNSEEN
        or (unicodedata.category(character) in ("Cc", "Cs") and character not in "\t\r\n")
    }
    if bad:
        names = " ".join(sorted(f"U+{ord(character):04X}" for character in bad)[:5])
        raise _NotWanted(f"text without control characters (here {names})")
    if len(text) > column.longest:
        raise _NotWanted(f"at most {column.longest} letters")
    return " ".join(text.split())


def _read_yes_no(text: str, column: Column) -> bool:
    for value, words in ((True, ("yes", "y", "true", "1")), (False, ("no", "n", "false", "0"))):
        if text.lower() in words:
            return value
    raise _NotWanted("yes or no")


def _read_choice(text: str, column: Column) -> str:
    if text.lower() in column.choices:
        return text.lower()
    raise _NotWanted(" or ".join(column.choices))


def _read_zone(text: str, column: Column) -> str:
    name = zone_name(text)
    if name is None:
        close = close_zone(text)
        hint = f"{close}, perhaps" if close else "such as Asia/Kathmandu"
        raise _NotWanted(f"an IANA time zone, {hint}; blank has it looked up")
    return name


def _read_grid(text: str, column: Column) -> str:
    from orient.numbers.grid import check_grid

    wanted = check_grid(text) if text.isprintable() else "a grid such as EPSG:32633"
    if wanted is not None:
        raise _NotWanted(wanted)
    return text


def _read_horizon(text: str, column: Column) -> str:
    """The skyline's text, checked for `orient.numbers.horizon`, parted by single blanks."""
    text = " ".join(text.replace("°", "").replace(";", " ").split())
    pairs = [pair.split(":") for pair in text.split()]
    numbers = all(_NUMBER.fullmatch(part) for pair in pairs for part in pair)
    alone = len(pairs) == 1 and len(pairs[0]) == 1
    if not numbers or not (alone or all(len(pair) == 2 for pair in pairs)):
        raise _NotWanted("one altitude, or azimuth:altitude pairs such as 60:4 90:12 130:5")
    if not all(-10.0 <= float(pair[-1]) < 90.0 for pair in pairs):
        raise _NotWanted("altitudes from -10 to under 90°")
    azimuths = [] if alone else [float(pair[0]) for pair in pairs]
    if not all(0.0 <= azimuth <= 360.0 for azimuth in azimuths):
        raise _NotWanted("azimuths from 0 to 360°")
    if len({azimuth % 360.0 for azimuth in azimuths}) < len(azimuths):
        raise _NotWanted("each azimuth once")
    return text


# Dates and times

_DAY_FIRST = re.compile(r"([0-9]{1,2})[./ -]([0-9]{1,2})[./ -]([0-9]{4})")
_YEAR_FIRST = re.compile(r"([0-9]{4})[./-]([0-9]{1,2})[./-]([0-9]{1,2})")
_SLASHED = re.compile(r"([0-9]{4})/([0-9]{1,2})/([0-9]{1,2})")
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]{1,9})?))?")
_HALF_DAY_CLOCK = re.compile(
    r"([0-9]{1,2})(?:[:.]([0-9]{2}))?(?:[:.]([0-9]{2}))?\s*([ap])\.?\s*m\.?", re.IGNORECASE
)
_OTHER_CLOCK = re.compile(r"([0-9]{1,2})(?:[.hH]\s*|(?=[0-9]{2}$))([0-9]{2})")


def _read_date(text: str, column: Column) -> np.datetime64:
    if match := _SLASHED.fullmatch(text):
        # As some spreadsheets save a date.
        text = f"{match[1]}-{match[2].zfill(2)}-{match[3].zfill(2)}"
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) and (day := _day(text)):
        if not FIRST_DATE <= day <= LAST_DATE:
            raise _NotWanted(f"a date of {FIRST_DATE} to {LAST_DATE}, as the ephemeris has them")
        return np.datetime64(day, "s")
    meant = ""
    if match := _DAY_FIRST.fullmatch(text):
        first, second, year = match[1].zfill(2), match[2].zfill(2), match[3]
        meant = " or ".join(
            dict.fromkeys(
                found
                for found in (f"{year}-{second}-{first}", f"{year}-{first}-{second}")
                if _day(found)
            )
        )
    elif match := _YEAR_FIRST.fullmatch(text):
        found = f"{match[1]}-{match[2].zfill(2)}-{match[3].zfill(2)}"
        meant = found if _day(found) else ""
    wanted = "a date in the order YYYY-MM-DD"
    raise _NotWanted(f"{wanted}: {meant}" if meant else f"{wanted} that the calendar has")


def _day(iso: str) -> date | None:
    try:
        return date.fromisoformat(iso)
    except ValueError:
        return None


def _read_time(text: str, column: Column) -> float:
    if match := _CLOCK.fullmatch(text):
        hour, minute = int(match[1]), int(match[2])
        second = float((match[3] or "0").replace(",", "."))
        if hour < 24 and minute < 60 and second < 60:
            return hour * 3600 + minute * 60 + second
    wanted = "a time of the 24-hour clock, HH:MM or HH:MM:SS"
    meant = _time_meant(text)
    raise _NotWanted(f"{wanted}: {meant}" if meant else f"{wanted}, 00:00 to 23:59:59")


def _time_meant(text: str) -> str:
    if match := _HALF_DAY_CLOCK.fullmatch(text):
        hour = int(match[1]) % 12 + (12 if match[4] in "pP" else 0)
        minute, second = match[2] or "00", match[3] or ""
        seconds = f":{second}" if second else ""
        in_range = int(match[1]) <= 12 and int(minute) < 60 and int(second or 0) < 60
        return f"{hour:02d}:{minute}{seconds}" if in_range else ""
    if match := _OTHER_CLOCK.fullmatch(text):
        hour, minute = int(match[1]), match[2]
        return f"{hour:02d}:{minute}" if hour < 24 and int(minute) < 60 else ""
    if re.fullmatch(r"0?\.[0-9]+", text):
        # A spreadsheet's time whose format was lost is a part of a day.
        return clock_text(float(text) * 86400)
    return ""


#: Kind of column: how a cell is read, what a blank one is, and the type of the values.
_READERS: dict[str, tuple[Callable[[str, Column], Any], Any, Any]] = {
    "id": (_read_text, "", object),
    "text": (_read_text, "", object),
    "date": (_read_date, np.datetime64("NaT", "s"), "datetime64[s]"),
    "time": (_read_time, np.nan, float),
    "yes-no": (_read_yes_no, False, bool),
    "choice": (_read_choice, "", object),
    "zone": (_read_zone, "", object),
    "grid": (_read_grid, "", object),
    "horizon": (_read_horizon, "", object),
}
