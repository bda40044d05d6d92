"""`orient declination`: which way a good compass points at one place."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import Column, Row, console, emit, format_option, number

if TYPE_CHECKING:
    from orient.errors import Fault

_AXES = ("latitude", "longitude")


class _Signed(click.Command):
    """A command whose arguments may begin with a minus, as a southern latitude does."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # No option of this command begins with a digit, so such a word is a number. The
        # printed minus means the same to whoever reads it, and is no option's mark.
        return super().parse_args(ctx, [re.sub(r"^-(?=[0-9.])", "−", arg) for arg in args])


def _metres(ctx: click.Context, param: click.Parameter, value: str) -> float:
    text = value.replace("−", "-").strip().lower()
    found = re.fullmatch(r"([+-]?[0-9]*\.?[0-9]+) *(m|ft|feet|km)?", text)
    if found is None:
        raise click.BadParameter(f"{value!r} is no number of metres, or feet as 5000ft")
    return float(found[1]) * {"ft": 0.3048, "feet": 0.3048, "km": 1000.0}.get(found[2] or "m", 1.0)


def _when(ctx: click.Context, param: click.Parameter, value: str | None) -> dt.date | int | None:
    from orient.magnetism import read_when

    if value is None:
        return None
    try:
        return read_when(value)
    except ValueError as fault:
        raise click.BadParameter(str(fault)) from None


@click.command(cls=_Signed)
@click.argument("place", metavar="LAT LON", nargs=-1, required=True)
@click.option("--date", metavar="WHEN", callback=_when, help="A day or a year; today if left out.")
@click.option(
    "--since", metavar="WHEN", callback=_when, help="An old map's year or day to compare with."
)
@click.option(
    "--grid",
    metavar="CRS",
    help="A grid such as EPSG:32645: the angle from its north to the needle, too. The place may "
    "then be its easting and northing.",
)
@click.option(
    "--elevation",
    metavar="METRES",
    default="0",
    show_default=True,
    callback=_metres,
    help="Height above the ellipsoid; feet as 5000ft.",
)
@format_option
def declination(
    place: tuple[str, ...],
    date: dt.date | int | None,
    since: dt.date | int | None,
    grid: str | None,
    elevation: float,
    style: str,
) -> None:
    """Magnetic declination at LAT LON, in any usual writing.

    -41.25 174.9, 41°15′S 174°54′E, or pasted "44.0, 105.0". With --grid also EASTING NORTHING.

    With --since, also what the change since an old map's date asks of its bearings.
    """
    from orient.magnetism import declination_lines, declination_report

    where = _place(place, grid)
    report = declination_report(*where, elevation, date or dt.date.today(), since, grid)
    if style == "table":
        _tell(report, declination_lines(report))
    else:
        emit([_flat(report) if style == "csv" else report], style, _NO_COLUMNS)


def _place(texts: tuple[str, ...], grid: str | None) -> tuple[float, float]:
    """Latitude and longitude, or every fault of them and of the grid at once."""
    from orient.errors import Fault, InputError
    from orient.tables.coordinates import NotACoordinate, parse_place

    wanted = None if grid is None else _grid_wanted(grid)
    faults = [] if wanted is None else [Fault(_HERE, None, "grid", str(grid), wanted)]
    found = None
    if grid is not None and wanted is None:
        found = _on_grid(texts, grid)
    if found is None and len(texts) == 2 and not texts[0].endswith((",", ";")):
        found, more = _two(texts)
        faults += more
    elif found is None:
        try:
            found = parse_place(" ".join(texts))
        except NotACoordinate as fault:
            faults.append(Fault(_HERE, None, "LAT LON", repr(" ".join(texts)), str(fault)))
    if faults or found is None:
        raise InputError(faults)
    return found


_HERE = "the command line"


def _two(texts: tuple[str, ...]) -> tuple[tuple[float, float] | None, list[Fault]]:
    from orient.errors import Fault
    from orient.tables.coordinates import NotACoordinate, parse_degrees

    values, faults = [], []
    for axis, text in zip(_AXES, texts, strict=True):
        try:
            values.append(parse_degrees(text, axis))  # type: ignore[arg-type]
        except NotACoordinate as fault:
            faults.append(Fault(_HERE, None, axis, text or "nothing", str(fault)))
    return (None if faults else (values[0], values[1])), faults


def _grid_wanted(grid: str) -> str | None:
    from orient.numbers.grid import check_grid

    return check_grid(grid)


def _on_grid(texts: tuple[str, ...], grid: str) -> tuple[float, float] | None:
    """The place of an easting and a northing: two numbers that are no degrees."""
    from orient.errors import Fault, InputError
    from orient.numbers.grid import to_geographic

    numbers = " ".join(texts).replace("−", "-").replace(";", " ").replace(",", " ").split()
    try:
        easting, northing = map(float, numbers)
    except ValueError:
        return None
    if abs(easting) <= 90.0 and abs(northing) <= 360.0:
        return None
    latitude, longitude, _ = to_geographic(easting, northing, grid)
    if not math.isfinite(latitude + longitude):
        raise InputError(
            Fault(_HERE, None, "LAT LON", " ".join(texts), f"an easting and northing of {grid}")
        )
    return float(latitude), float(longitude)


def _tell(report: dict[str, Any], lines: list[str]) -> None:
    from orient.tables.coordinates import format_dms

    where = " ".join(format_dms(report[f"{axis}_deg"], axis, 0) for axis in _AXES)  # type: ignore[arg-type]
    out = console()
    out.print(f"{where}, {number(report['elevation_m'], 0, ' m')}")
    for line in lines:
        out.print(line)


def _flat(report: dict[str, Any]) -> Row:
    """The row for a spreadsheet: the comparison in columns of its own, its sentences left out."""
    since = report["since"] or {}
    keys = (
        "date",
        "declination_deg",
        "magnetic_model",
        "change_deg",
        "change_u_deg",
        "grid_to_magnetic_deg",
    )
    row = {key: value for key, value in report.items() if key != "since"}
    return row | {f"since_{key}": since.get(key) for key in keys}


_NO_COLUMNS: list[Column] = []
