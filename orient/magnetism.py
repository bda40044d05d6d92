"""The declination at one place in a person's words, and what a map's age does to bearings.

A magnetic bearing is the true azimuth less the declination. A year alone stands for its middle.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any

from orient.errors import Fault, InputError
from orient.flags import FLAGS, Flag
from orient.numbers import magnetic
from orient.numbers.angles import wrap_360
from orient.numbers.magnetic import DeclinationChange
from orient.numbers.tolerances import COVERAGE_95

#: Whether feet were meant is asked above this: no ground stands higher.
HIGHEST_GROUND_M = 9000.0
#: The heights that the models hold for (WMM2025 technical report, *from memory*).
LOWEST_M, HIGHEST_M = -1000.0, 850_000.0


def read_when(text: str) -> dt.date | int:
    """Read what a person writes for a date: a year such as 1987, or a day such as 1987-06-15.

    Raises:
        ValueError: the text is neither.
    """
    text = text.strip()
    if re.fullmatch(r"[0-9]{4}", text):
        return int(text)
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"found {text!r}, wanted a year such as 1987 or a date such as 1987-06-15")


def _decimal(when: dt.date | int) -> float:
    # A map says its year alone: the middle of it is at most half a year off.
    return when + 0.5 if isinstance(when, int) else float(magnetic.decimal_year(when))


def change_in_words(
    change: DeclinationChange, since: dt.date | int, now: dt.date | int | None = None
) -> list[str]:
    """What one place's change of declination asks of a person with an old map or notebook.

    A magnetic bearing is the true azimuth less the declination. So a bearing written with the
    older declination is *lessened* by the change to be followed with a compass now; a bearing
    read now and turned to true with the older declination is *increased* by it.

    Args:
        change: of a single place.
        since, now: the two dates, each a day or a year; None is called today.

    Returns:
        Sentences, the first the finding, each of the others one kind of bearing.
    """
    moved = float(change.change_deg)
    limit = COVERAGE_95 * float(change.change_u_deg)
    models = str(change.from_model)
    if change.to_model != change.from_model:
        models += f" and {change.to_model}"
    from_text, to_text = _east_west(change.from_deg), _east_west(change.to_deg)
    then = _in_or_on(since)
    finding = (
        f"Declination here: {from_text} {then}, "
        f"{to_text} {'today' if now is None else _in_or_on(now)} "
        f"({models}; the change is good to ±{limit:.2f}° at 95 %: that is the models' error at "
        "both dates, and the forecast since 2025. What the rock adds is in both and cancels)."
    )
    if abs(moved) < 0.05:
        return [finding, f"That is no change worth applying to bearings of {since}."]
    size = f"{abs(moved):.1f}°"
    old_to_new, old_to_true = ("subtract", "add") if moved > 0 else ("add", "subtract")
    return [
        finding,
        f"Magnetic bearings written {then}, on a map or in notes: {old_to_new} {size} "
        "to follow them by compass now.",
        f"Bearings read by compass now and turned to true with the declination printed "
        f"{then}: {old_to_true} {size}, or use {to_text} in place of the printed figure.",
        "True bearings and grid bearings stay as they are.",
    ]


def field_flags(horizontal_nt: float, expired: bool) -> list[str]:
    """The flags that the field at one place and date carries, as codes of `orient.flags`."""
    flags: list[str] = []
    if expired:
        flags.append(Flag.MODEL_EXPIRED)
    if horizontal_nt < magnetic.CAUTION_HORIZONTAL_NT:
        flags.append(Flag.WEAK_HORIZONTAL_FIELD)
    return flags


def declination_report(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    date: dt.date | int,
    since: dt.date | int | None = None,
    grid: str | None = None,
) -> dict[str, Any]:
    """All that is said of the declination at one place, as a row for JSON.

    Args:
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus.
        elevation_m: metres above the ellipsoid.
        date: the day, or a year, of which the middle is taken.
        since: an earlier (or later) day or year to compare with, if any.
        grid: a CRS for the angle between grid and magnetic north, if that is asked for.

    Returns:
        The keys of a sites row that concern magnetism, with inclination and total intensity;
        `since` is None, or the date, declination, model, change, its standard uncertainty and
        the sentences of `change_in_words`. With a grid also `grid`, `convergence_deg` and
        `grid_to_magnetic_deg`, that of then under `since` too; else these are None.

    Raises:
        InputError: every value out of its range, the dates among them.
    """
    _check_place_and_dates(latitude_deg, longitude_deg, elevation_m, date, since)
    now = magnetic.field(latitude_deg, longitude_deg, elevation_m, _decimal(date))
    report: dict[str, Any] = {
        "latitude_deg": float(latitude_deg),
        "longitude_deg": float(longitude_deg),
        "elevation_m": float(elevation_m),
        "date": str(date),
        "declination_deg": float(now.declination_deg),
        "declination_u_deg": float(now.declination_u_deg),
        "declination_rate_deg_per_year": float(now.declination_rate_deg_per_year),
        "inclination_deg": float(now.inclination_deg),
        "horizontal_intensity_nt": float(now.horizontal_nt),
        "total_intensity_nt": float(now.total_nt),
        "magnetic_model": str(now.model),
        "flags": field_flags(float(now.horizontal_nt), bool(now.expired)),
        "grid": grid,
        "convergence_deg": None,
        "grid_to_magnetic_deg": None,
        "since": None,
    }
    if grid is not None:
        report |= _grid_angles(report, grid)
    if since is not None:
        change = magnetic.declination_change(
            latitude_deg, longitude_deg, elevation_m, _decimal(since), _decimal(date)
        )
        report["since"] = {
            "date": str(since),
            "declination_deg": float(change.from_deg),
            "magnetic_model": str(change.from_model),
            "change_deg": float(change.change_deg),
            "change_u_deg": float(change.change_u_deg),
            "grid_to_magnetic_deg": None
            if grid is None
            else float(change.from_deg) - report["convergence_deg"],
            "words": change_in_words(change, since, date),
        }
    return report


def _grid_angles(report: dict[str, Any], crs: str) -> dict[str, float]:
    """Convergence, and the angle from grid north to magnetic north, at the place of a report."""
    from orient.numbers import grid

    place = report["latitude_deg"], report["longitude_deg"]
    convergence = float(grid.grid_figures(*place, crs, report["elevation_m"]).convergence_deg)
    if not math.isfinite(convergence):
        raise InputError(
            Fault("the command line", None, "grid", crs, "a grid that reaches this place")
        )
    angle = float(grid.grid_to_magnetic_deg(report["declination_deg"], convergence))
    return {"convergence_deg": convergence, "grid_to_magnetic_deg": angle}


def declination_lines(report: dict[str, Any]) -> list[str]:
    """The lines of a `declination_report` for people, one thought each, not yet wrapped."""
    declination = report["declination_deg"]
    rate = report["declination_rate_deg_per_year"]
    limit = COVERAGE_95 * report["declination_u_deg"]
    side = "east" if rate > 0 else "west"
    example_deg = 100.0
    expected_deg = wrap_360(example_deg - declination)
    lines = [
        f"Declination {_east_west(declination)}, ±{limit:.1f}° at 95 %, "
        f"moving {abs(rate):.2f}° {side} a year ({report['magnetic_model']}, {report['date']}).",
        f"Magnetic bearing = true azimuth {_signed(-declination)}; "
        f"true azimuth = magnetic bearing {_signed(declination)}. "
        f"Toward true {example_deg:.0f}° a good compass reads {expected_deg:.1f}°.",
        f"The needle dips {abs(report['inclination_deg']):.0f}° "
        f"{'down' if report['inclination_deg'] >= 0 else 'up'} at its north end; "
        f"horizontal field {report['horizontal_intensity_nt']:.0f} nT.",
        "Iron and rock close by are in no model: check the compass on a line of known azimuth.",
    ]
    lines += _grid_lines(report)
    if report["elevation_m"] > HIGHEST_GROUND_M:
        metres = 0.3048 * report["elevation_m"]
        lines.append(
            f"{report['elevation_m']:.0f} m is above all ground. Are these feet? Then give "
            f"--elevation {metres:.0f}, or {report['elevation_m']:.0f}ft."
        )
    lines += [FLAGS[flag] for flag in report["flags"]]
    if report["horizontal_intensity_nt"] < magnetic.UNRELIABLE_HORIZONTAL_NT:
        lines.append(f"Below {magnetic.UNRELIABLE_HORIZONTAL_NT:.0f} nT, as here, it is useless.")
    if report["since"] is not None:
        lines += report["since"]["words"]
    return lines


def _grid_lines(report: dict[str, Any]) -> list[str]:
    if report["grid"] is None:
        return []
    from orient.numbers.grid import short_name

    angle, since = report["grid_to_magnetic_deg"], report["since"]
    limit = COVERAGE_95 * report["declination_u_deg"]
    lines = [
        f"Grid {short_name(report['grid'])}: convergence "
        f"{_east_west(report['convergence_deg'], 2)}; from grid north to the needle "
        f"{_east_west(angle, 2)}, ±{limit:.1f}° at 95 %. "
        f"Magnetic bearing = grid bearing {_signed(-angle)}."
    ]
    if since is not None:
        then = since["grid_to_magnetic_deg"]
        lines.append(
            f"From grid north to the needle {_in_or_on(read_when(since['date']))}: "
            f"{_east_west(then, 2)}."
        )
    return lines


def _in_or_on(when: dt.date | int) -> str:
    return f"in {when}" if isinstance(when, int) else f"on {when}"


def _east_west(declination_deg: float, places: int = 1) -> str:
    size = f"{abs(declination_deg):.{places}f}°"
    if float(size[:-1]) == 0.0:
        return size
    return f"{size} {'E' if declination_deg > 0 else 'W'}"


def _signed(angle_deg: float) -> str:
    return f"{'−' if angle_deg < 0 else '+'} {abs(angle_deg):.1f}°"


def _check_place_and_dates(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    date: dt.date | int,
    since: dt.date | int | None,
) -> None:
    first = magnetic.MODEL_YEARS[magnetic.IGRF][0]
    last = magnetic.MODEL_YEARS[magnetic.WMM][1] + magnetic.EXTRAPOLATION_YEARS
    ends = f"{first:.0f} to the end of {last - 1:.0f}"
    years = f"a date that a model of the magnetic field covers, {ends}"
    checks = [
        ("latitude", latitude_deg, abs(latitude_deg) <= 90.0, "a latitude of −90° to 90°"),
        (
            "longitude",
            longitude_deg,
            -180.0 <= longitude_deg <= 360.0,
            "a longitude of −180° to 360°",
        ),
        (
            "elevation",
            elevation_m,
            LOWEST_M <= elevation_m <= HIGHEST_M,
            f"metres from {LOWEST_M:.0f} to {HIGHEST_M:.0f}, as far as the model holds",
        ),
        ("date", date, first <= _decimal(date) <= last, years),
        ("since", since, since is None or first <= _decimal(since) <= last, years),
    ]
    faults = [
        Fault("the command line", None, name, str(found), wanted)
        for name, found, good, wanted in checks
        if not good
    ]
    if faults:
        raise InputError(faults)
