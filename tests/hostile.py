"""Campaigns spoilt in every way, and a run of the command line watched for bad endings."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import math
import signal
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from orient import cli, simulate
from orient.tables import clock

Rows = list[list[str]]

SITES: Rows = [
    ["site", "latitude_deg", "longitude_deg", "elevation_m", "timezone", "temperature_c"],
    ["Ridge", "46.5", "8.25", "1200", "Europe/Zurich", "5"],
    ["Moor", "-33.2", "-70.1", "500", "", ""],
]
SETUPS: Rows = [
    [
        "setup", "site", "date", "gnomon_height_mm", "watch", "watch_error_s", "level_sd_deg",
        "reference_name", "reference_angle_deg", "compass_reading_deg",
    ],
    ["R1", "Ridge", "2026-04-12", "300", "trusted", "12", "0.1", "cairn", "40", "61.5"],
    ["M1", "Moor", "2026-08-13", "300", "running", "", "", "", "", ""],
]  # fmt: skip
MARKS_HEAD = ["setup", "mark", "time", "x_mm", "y_mm", "ring", "half", "use", "note"]

#: What people, spreadsheets and ill will put into a cell.
STRANGE = (
    "", " ", "nan", "NaN", "inf", "-inf", "Infinity", "1e400", "-1e400", "1e-400", "1e308", "-0",
    "0", "00", "1,5", "1.5.2", "--5", "1e", "0x1F", "१२", "½", "12:61", "24:00", "25:00", "-1:00",
    "2026-02-30", "0000-00-00", "9999-12-31", "2026-4-12", "12/04/2026", "#REF!", "#N/A",
    "=1+1", "=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "'", '"', '""', "a\"b", "\x00", "\x07",
    "\x1b[31m", "\u202e", "\u200b", "\ufeff", "\ud7ff", "\uffff", "🧭", "ﷺ", "a" * 300, "9" * 400,
    "-" * 50, "../../etc/passwd", "<script>alert(1)</script>", "EPSG:4326", "EPSG:999999",
    "+init=epsg:32633", "+proj=merc", "Etc/GMT+12", "Mars/Olympus", "yes", "no", "maybe", "am",
    "pm", "90", "-90", "180", "-180", "89.999999", "90.0000001", "360", "720", "1e5", "20000",
    "-20000", "1e-6", "5000", "19", "1899-12-31", "1900-01-01", "2050-12-31", "2051-01-01",
    "none", "running", "dark", "None", "null", "45 30 N", "45°30′15″N", "8h", "1;2",
    "1\t2", "a\nb", "a\r\nb",
)  # fmt: skip


def board_rows(
    name: str, place: tuple[float, float, str], date: str, generator: np.random.Generator
) -> Rows:
    """Ten marks of a simulated board."""
    latitude, longitude, zone = place
    time_s = np.array([8.75, 9.5, 10.25, 11.0, 12.0, 13.5, 14.5, 15.25, 16.0, 16.75]) * 3600
    utc_s = clock.utc_s(date, time_s, zone)
    azimuth, altitude, _ = simulate.sun_seen(utc_s, latitude, longitude, 0.0, 900.0, 10.0)
    tips = simulate.shadow_tips(azimuth, altitude, simulate.TrueBoard(25.0, 300.0))
    tips += generator.normal(0.0, 0.7, tips.shape)
    return [
        [name, str(n), _clock(s), f"{x:.1f}", f"{y:.1f}", "", "", "", ""]
        for n, (s, (x, y)) in enumerate(zip(time_s, tips, strict=True), start=1)
    ]


def _clock(time_s: float) -> str:
    return f"{int(time_s // 3600):02d}:{int(time_s // 60 % 60):02d}"


def good_tables() -> dict[str, Rows]:
    """A small campaign without fault, its rows the caller's own."""
    return {name: [list(row) for row in rows] for name, rows in _made_tables().items()}


@cache
def _made_tables() -> dict[str, Rows]:
    generator = np.random.default_rng(7)
    marks = [
        MARKS_HEAD,
        *board_rows("R1", (46.5, 8.25, "Europe/Zurich"), "2026-04-12", generator),
        *board_rows("M1", (-33.2, -70.1, "America/Santiago"), "2026-08-13", generator),
    ]
    return {"sites": SITES, "setups": SETUPS, "marks": marks}


def sight_rows() -> Rows:
    """Shadow bearings and stars on one circle, without fault."""
    head = ["sight", "site", "date", "time", "circle", "target", "reading_deg"]
    site = SITES[1][SITES[0].index("site")]
    times = ["09:10", "09:20:30", "09:40"]
    shadows = [
        [site, "2026-04-12", time, "table", "shadow", f"{n}0.5"] for n, time in enumerate(times)
    ]
    return [head, *([f"s{n}", *row] for n, row in enumerate(shadows)),
            ["s9", site, "2026-04-12", "", "table", "pillar", "44.4"]]  # fmt: skip


def csv_bytes(rows: Rows, delimiter: str = ",") -> bytes:
    import csv

    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return out.getvalue().encode("utf-8", "surrogatepass")


def write_campaign(folder: Path, files: dict[str, bytes]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


# Spoiling --------------------------------------------------------------------------------


def spoilt(generator: np.random.Generator) -> dict[str, bytes]:
    """A campaign's files, one to four things about them changed at random."""
    tables = {name: [list(row) for row in rows] for name, rows in good_tables().items()}
    for _ in range(int(generator.integers(0, 4))):
        rows = tables[_pick(generator, list(tables))]
        _pick(generator, [_cell, _cell, _cell, _number, _row, _column, _header])(generator, rows)
    delimiter = _pick(generator, [",", ",", ",", ";", "\t"])
    files = {f"{name}.csv": csv_bytes(rows, delimiter) for name, rows in tables.items()}
    if generator.uniform() < 0.4:
        name = _pick(generator, list(files))
        files[name] = _pick(generator, [_bytes, _bytes, _bytes, _whole])(generator, files[name])
    if generator.uniform() < 0.03:
        files.pop(_pick(generator, list(files)))
    if generator.uniform() < 0.03:
        data = files.pop("sites.csv", b"")
        files[_pick(generator, ["sites.geojson", "sites.gpkg", "marks.xlsx"])] = data
    return files


def _pick(generator: np.random.Generator, choices: Any) -> Any:
    return choices[int(generator.integers(len(choices)))]


def _cell(generator: np.random.Generator, rows: Rows) -> None:
    if row := _pick(generator, rows[1:] or [[]]):
        row[int(generator.integers(len(row)))] = _pick(generator, STRANGE)


def _number(generator: np.random.Generator, rows: Rows) -> None:
    """A whole column of numbers scaled, shifted or turned."""
    place = int(generator.integers(len(rows[0])))
    change = _pick(
        generator,
        [
            lambda value: value * 10.0, lambda value: value / 1000.0, lambda value: -value,
            lambda value: value + 90.0, lambda value: 0.0, lambda value: value * 1e12,
            lambda value: float(generator.normal(0, 300)),
        ],
    )  # fmt: skip
    for row in rows[1:]:
        with contextlib.suppress(ValueError, IndexError):
            row[place] = f"{change(float(row[place])):.6g}"


def _row(generator: np.random.Generator, rows: Rows) -> None:
    place = int(generator.integers(len(rows)))
    what = _pick(generator, ["drop", "twice", "blank", "short", "long", "only"])
    if what == "drop" and len(rows) > 1:
        rows.pop(place)
    elif what == "twice":
        rows.insert(place, list(rows[place]))
    elif what == "blank":
        rows.insert(place, [""] * len(rows[place]))
    elif what == "short":
        rows[place] = rows[place][:-1]
    elif what == "long":
        rows[place] = [*rows[place], _pick(generator, STRANGE)]
    elif what == "only":
        del rows[2:]


def _column(generator: np.random.Generator, rows: Rows) -> None:
    place = int(generator.integers(len(rows[0])))
    what = _pick(generator, ["drop", "twice", "blank", "shuffle", "strange"])
    other = int(generator.integers(len(rows[0])))
    text = _pick(generator, STRANGE)
    for number, row in enumerate(rows):
        if len(row) <= max(place, other):
            continue
        if what == "drop":
            row.pop(place)
        elif what == "twice":
            row.insert(place, row[place])
        elif what == "shuffle":
            row[place], row[other] = row[other], row[place]
        elif number:
            row[place] = "" if what == "blank" else text


def _header(generator: np.random.Generator, rows: Rows) -> None:
    if rows and rows[0]:
        place = int(generator.integers(len(rows[0])))
        name = rows[0][place]
        rows[0][place] = _pick(
            generator, [name.upper(), name[:-1], f" {name} ", "", "x", name[::-1]]
        )


def _bytes(generator: np.random.Generator, data: bytes) -> bytes:
    spoiled = bytearray(data)
    for _ in range(int(generator.integers(1, 6))):
        place = int(generator.integers(len(spoiled) + 1))
        what = _pick(generator, ["change", "drop", "put"])
        if what == "put" or place == len(spoiled):
            spoiled.insert(place, int(generator.integers(256)))
        elif what == "drop":
            del spoiled[place : place + int(generator.integers(1, 40))]
        else:
            spoiled[place] = int(generator.integers(256))
        if not spoiled:
            break
    return bytes(spoiled)


def _whole(generator: np.random.Generator, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    return _pick(
        generator,
        [
            b"", b"\n\n\n", b"\xef\xbb\xbf", b"\0" * 100, b"PK\x03\x04" + data, b"{}", b"[]",
            b'{"type":"FeatureCollection","features":[]}', b"SQLite format 3\0" + data,
            data[: len(data) // 2], data * 3, b"\xef\xbb\xbf" + data, data.replace(b"\n", b"\r"),
            text.encode("utf-16"), data.replace(b",", b""), generator.bytes(500),
            data.replace(b"\n", b"\r\n"), b'"' + data, b"," * 5000, b"a,b\n" * 3000,
        ],
    )  # fmt: skip


# Running ---------------------------------------------------------------------------------


@dataclass
class Ending:
    """How a run ended."""

    status: int
    out: str
    err: str
    warned: list[str] = field(default_factory=list)

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The JSON rows of standard output, refusing what JSON does not have."""

        def refuse(name: str) -> Any:
            raise AssertionError(f"{name} in the JSON")

        return json.loads(self.out, parse_constant=refuse)


class Hung(BaseException):
    """A run took too long."""


@contextlib.contextmanager
def limited(seconds: float) -> Iterator[None]:
    def ring(*_: Any) -> None:
        raise Hung(f"over {seconds} s")

    # Seconds of work, not of the clock: a busy machine is no hang.
    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def run(arguments: list[str], typed: str = "", seconds: float = 10.0) -> Ending:
    """Run a command in this process, as from a terminal that is a pipe."""
    out, err = io.StringIO(), io.StringIO()
    before, options = sys.stdin, sys.warnoptions
    # Warnings are let through, to be seen; the command line itself would hush them.
    sys.stdin, sys.warnoptions = io.StringIO(typed), ["always"]
    try:
        with (
            limited(seconds),
            warnings.catch_warnings(record=True) as caught,
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            warnings.simplefilter("always")
            status = cli.run(arguments)
    finally:
        sys.stdin, sys.warnoptions = before, options
    warned = [f"{each.filename}:{each.lineno}: {each.message}" for each in caught]
    return Ending(status, out.getvalue(), err.getvalue(), warned)


def digest(folder: Path) -> dict[str, str]:
    """Every file of a folder by its content."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def bad_numbers(value: Any) -> list[Any]:
    """Numbers that are not finite, at any depth."""
    if isinstance(value, dict):
        return [bad for each in value.values() for bad in bad_numbers(each)]
    if isinstance(value, list):
        return [bad for each in value for bad in bad_numbers(each)]
    return [value] if isinstance(value, float) and not math.isfinite(value) else []


def complaints(ending: Ending) -> list[str]:
    """What no run may show, whatever it was given."""
    found = []
    if ending.status not in (0, 1, 2):
        found.append(f"status {ending.status}")
    if "Traceback" in ending.err or "itself failed" in ending.err:
        found.append(ending.err[-600:])
    if ending.status and not ending.err.strip():
        found.append("no word why")
    if any(not (c.isprintable() or c == "\n") for c in ending.err):
        found.append(f"unprintable: {ending.err!r}")
    return found + [f"warned: {each}" for each in ending.warned]
