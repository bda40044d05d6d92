"""`orient declination`: which way a good compass points at one place."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import click

from orient.commands.common import Column, Row, console, emit, format_option, number

_AXES = ("latitude", "longitude")


class _Signed(click.Command):
    """A command whose arguments may begin with a minus, as a southern latitude does."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # No option of this command begins with a digit, so such a word is a number. The
        # printed minus means the same to whoever reads it, and is no option's mark.
        return super().parse_args(ctx, [re.sub(r"^-(?=[0-9.])", "−", arg) for arg in args])


def _metres(ctx: click.Context, param: click.Parameter, value: str) -> float:
    try:
        return float(value.replace("−", "-"))
    except ValueError:
        raise click.BadParameter(f"{value!r} is no number of metres") from None


def _when(ctx: click.Context, param: click.Parameter, value: str | None) -> dt.date | int | None:
    from orient.magnetism import read_when

    if value is None:
        return None
    try:
        return read_when(value)
    except ValueError as fault:
        raise click.BadParameter(str(fault)) from None


@click.command(cls=_Signed)
@click.argument("latitude", metavar="LAT")
@click.argument("longitude", metavar="LON")
@click.option("--date", metavar="WHEN", callback=_when, help="A day or a year; today if not given.")
@click.option(
    "--since", metavar="WHEN", callback=_when, help="An old map's year or day to compare with."
)
@click.option(
    "--elevation",
    metavar="METRES",
    default="0",
    show_default=True,
    callback=_metres,
    help="Height above the ellipsoid.",
)
@format_option
def declination(
    latitude: str,
    longitude: str,
    date: dt.date | int | None,
    since: dt.date | int | None,
    elevation: float,
    style: str,
) -> None:
    """Magnetic declination at LAT LON, in any usual writing: -41.25 174.9, 41°15′S 174°54′E.

    With --since, also what the change since an old map's date asks of its bearings.
    """
    from orient.magnetism import declination_lines, declination_report

    place = _place(latitude, longitude)
    report = declination_report(*place, elevation, date or dt.date.today(), since)
    if style == "table":
        _tell(report, declination_lines(report))
    else:
        emit([_flat(report) if style == "csv" else report], style, _NO_COLUMNS)


def _place(*texts: str) -> tuple[float, float]:
    """Latitude and longitude, or every fault of the two at once."""
    from orient.errors import Fault, InputError
    from orient.tables.coordinates import NotACoordinate, parse_degrees

    values, faults = [], []
    for axis, text in zip(_AXES, texts, strict=True):
        try:
            values.append(parse_degrees(text, axis))  # type: ignore[arg-type]
        except NotACoordinate as fault:
            faults.append(Fault("the command line", None, axis, text or "nothing", str(fault)))
    if faults:
        raise InputError(faults)
    return values[0], values[1]


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
    keys = ("date", "declination_deg", "magnetic_model", "change_deg", "change_u_deg")
    row = {key: value for key, value in report.items() if key != "since"}
    return row | {f"since_{key}": since.get(key) for key in keys}


_NO_COLUMNS: list[Column] = []
