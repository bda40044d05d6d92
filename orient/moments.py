"""Times and dates as people and libraries hand them over: one converter for each use.

Taken are datetime64 of any unit, `datetime`, ISO text, and pandas objects with or without a
zone, one or many. A time without a zone is UTC. What could mean two things is refused: a number
where no year is meant, a date where an instant is needed.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.errors import Fault, InputError

Moments = NDArray[np.datetime64]

_A_TIME = "a time: datetime64, datetime, pandas or ISO text, UTC where it has no zone"
_A_DATE = "a date: ISO text such as 2026-06-21, date, datetime64 or pandas"
_YEARS = (1900.0, 2040.0)
_DAYS = ("D", "W", "M", "Y")


def utc_seconds(times: Any, name: str = "when") -> Any:
    """Instants as POSIX seconds of UTC.

    Args:
        times: one or many, as this module takes them; each an instant, not a date alone.
        name: of the argument, for the message.

    Returns:
        float64 of the same shape, NaN for a missing time.

    Raises:
        InputError: a number, a date alone, or a text that is no time.

    >>> float(utc_seconds("1970-01-01T01:00+01:00"))
    0.0
    """
    moments, by_day = _read(times, name, _A_TIME)
    if by_day.any():
        found = f"{np.datetime_as_string(moments[by_day].flat[0], 'D')}, a date alone"
        raise InputError(Fault(f"the argument {name}", None, None, found, _A_TIME))
    seconds = moments.astype(np.int64) / 1e6
    return np.where(np.isnat(moments), np.nan, seconds)[()]


def decimal_years(dates: Any, name: str = "date") -> Any:
    """Dates as decimal years: 2 July 2025, noon, is 2025.5.

    Args:
        dates: one or many; a number is a decimal year itself, 1900 to 2040.
        name: of the argument, for the message.

    Returns:
        float64 of the same shape, NaN for a missing date.

    Raises:
        InputError: a number that is no such year, or a text that is no date.

    >>> float(decimal_years("2026-01-01"))
    2026.0
    """
    numbers = _numbers(dates)
    if numbers is not None:
        outside = numbers[~((numbers >= _YEARS[0]) & (numbers <= _YEARS[1])) & ~np.isnan(numbers)]
        if outside.size:
            wanted = f"a decimal year, {_YEARS[0]:.0f} to {_YEARS[1]:.0f}, or {_A_DATE[2:]}"
            raise InputError(
                Fault(f"the argument {name}", None, None, f"{outside.flat[0]:g}", wanted)
            )
        return numbers[()]
    moments, _ = _read(dates, name, _A_DATE)
    years = moments.astype("datetime64[Y]")
    starts, ends = years.astype("datetime64[us]"), (years + 1).astype("datetime64[us]")
    decimal = years.astype(np.int64) + 1970 + (moments - starts) / (ends - starts)
    return np.where(np.isnat(moments), np.nan, decimal)[()]


def local_days(dates: Any, name: str = "date") -> Any:
    """Local dates as datetime64[D]; of a time with a zone, the date there.

    Args:
        dates: one or many.
        name: of the argument, for the message.

    Returns:
        datetime64[D] of the same shape.

    Raises:
        InputError: a number, or a text that is no date.

    >>> str(local_days("2026-06-21"))
    '2026-06-21'
    """
    moments, _ = _read(dates, name, _A_DATE, local=True)
    return moments.astype("datetime64[D]")[()]


def _numbers(values: Any) -> Any:
    """Numbers as float64, or None where they are something else."""
    kind = getattr(values, "dtype", None)
    array = np.asarray(values) if kind is None or isinstance(kind, np.dtype) else None
    if array is None or array.dtype.kind not in "iuf":
        return None
    return array.astype(float)


def _read(times: Any, name: str, wanted: str, local: bool = False) -> tuple[Moments, Any]:
    """Moments as datetime64[us], of UTC or as the clock showed, and which are dates alone."""
    times = _without_zone(times, local)
    array = np.asarray(times)
    if array.dtype.kind == "M":
        coarse = np.datetime_data(array.dtype)[0] in _DAYS
        return array.astype("datetime64[us]"), np.full(array.shape, coarse)
    if array.dtype.kind not in "OU":
        found = f"{array.flat[0]}, a number" if array.size else "no time"
        raise InputError(Fault(f"the argument {name}", None, None, found, wanted))
    read = [_one(each, name, wanted, local) for each in array.ravel()]
    moments = np.array([moment for moment, _ in read], dtype="datetime64[us]")
    by_day = np.array([day for _, day in read], dtype=bool)
    return moments.reshape(array.shape), by_day.reshape(array.shape)


def _without_zone(times: Any, local: bool) -> Any:
    """Pandas times with a zone as times without one."""
    series = getattr(times, "dt", times)
    if getattr(series, "tz", None) is None or not hasattr(series, "tz_convert"):
        return times
    if isinstance(times, dt.datetime):
        return times
    if not local:
        series = series.tz_convert("UTC")
        series = getattr(series, "dt", series)
    return series.tz_localize(None)


def _one(value: Any, name: str, wanted: str, local: bool) -> tuple[np.datetime64, bool]:
    """One moment, and whether it is a date alone."""
    found = value
    if isinstance(value, str):
        text = value.strip()
        try:
            value = dt.date.fromisoformat(text) if len(text) <= 10 else _time_of(text)
        except ValueError:
            value = text
    if value is None or value != value:
        return np.datetime64("NaT", "us"), False
    if isinstance(value, np.datetime64):
        return value.astype("datetime64[us]"), np.datetime_data(value.dtype)[0] in _DAYS
    if isinstance(value, dt.datetime):
        if value.tzinfo is not None:
            value = (value if local else value.astimezone(dt.UTC)).replace(tzinfo=None)
        return np.datetime64(value, "us"), False
    if isinstance(value, dt.date):
        return np.datetime64(value, "us"), True
    raise InputError(Fault(f"the argument {name}", None, None, repr(found), wanted))


def _time_of(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)
