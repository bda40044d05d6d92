"""Civil time at a place and the instants it names, for arrays over many zones at once.

Instants are `utc_s`, POSIX seconds of UTC; civil time is a local date and the seconds since
its midnight, in an IANA time zone. Every zone's changes of offset are found once a year of
use and then looked up, so that a million conversions cost about as much as one search.

Where clocks are put back an hour is shown twice: the first showing is meant. Where they are
put forward an hour is never shown: a time within it is counted on from before the change,
as a watch not yet put forward shows it. (The rule of PEP 495 with fold 0.)

Accuracy: exact, as the zone data of the machine (or of tzdata) have it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.text import closest

FIRST_YEAR, LAST_YEAR = 1899, 2051
DAY_S = 86400

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# A civil year starts up to 15 h before or after the same year of UTC.
_MARGIN_S = 2 * DAY_S
# Wider than any year with its margins: parts one (zone, year) from the next in one search.
_STRIDE_S = 400 * DAY_S

Seconds = NDArray[np.int64]


@lru_cache(maxsize=1)
def _zone_names() -> dict[str, str]:
    # These depend on the machine, or stand for no place.
    placeless = {"localtime", "posixrules", "Factory"}
    return {name.lower(): name for name in available_timezones() - placeless}


def zone_name(text: str) -> str | None:
    """The IANA zone that a text names, in its own capitals, or None where there is none."""
    return _zone_names().get(text.strip().lower())


def close_zone(text: str) -> str | None:
    """The IANA zone that a mistyped text comes closest to, or None."""
    place = text.strip().lower().replace(" ", "_")
    names = _zone_names()
    ends = [key for key in names if key.rsplit("/", 1)[-1] == place and place]
    close = ends[0] if ends else closest(place, names, cutoff=0.75)
    return names[close] if close else None


def offset_s(utc_s: ArrayLike, timezone: ArrayLike) -> Any:
    """How far the civil time of a zone is ahead of UTC at an instant.

    Args:
        utc_s: POSIX seconds, any shape; NaN gives NaN.
        timezone: IANA names, one or an array that broadcasts with `utc_s`.

    Returns:
        Seconds, east plus, of the broadcast shape.

    Raises:
        ValueError: an unknown zone, or an instant outside 1899–2051.
    """
    return _lookup(np.asarray(utc_s, dtype=float), timezone, civil=False)


def utc_s(dates: ArrayLike, times_s: ArrayLike, timezone: ArrayLike) -> Any:
    """The instants that a local date and clock time name in a time zone.

    A watch's error is no part of this: take it from the result, not from the argument, for
    near a change of offset the two differ.

    Args:
        dates: local dates: datetime64 of any unit, pandas datetimes or ISO texts.
        times_s: seconds since local midnight, broadcasting with `dates`; NaN gives NaN.
            Beyond 86,400 they run into the next day.
        timezone: IANA names, one or an array that broadcasts with the others.

    Returns:
        POSIX seconds, float64, of the broadcast shape. Repeated and skipped hours as the
        head of this module says.

    Raises:
        ValueError: an unknown zone, or a date outside 1899–2051.
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    midnight_s = np.where(np.isnat(days), np.nan, days.astype(np.int64) * float(DAY_S))
    civil_s = midnight_s + np.asarray(times_s, dtype=float)
    return civil_s - _lookup(civil_s, timezone, civil=True)


def local_date(utc_s: ArrayLike, timezone: ArrayLike) -> Any:
    """The local date (datetime64[D]) of instants in a time zone; shapes as `offset_s`."""
    return _civil_moments(utc_s, timezone, 1.0)[0].astype("datetime64[D]")


#: Days that some place west of the date line left out as it came over to its other side.
DAYS_LEFT_OUT = np.array(
    ["1993-08-21", "1994-12-31", "1995-01-01", "2011-12-30"], dtype="datetime64[D]"
)


def left_out(dates: ArrayLike, timezone: ArrayLike) -> Any:
    """Whether a zone's calendar never had a local date, as its clocks went over the date line.

    Args:
        dates: local dates, as of `utc_s`.
        timezone: IANA names, one or an array that broadcasts with `dates`.

    Returns:
        bool, of the broadcast shape.
    """
    days, zones = np.broadcast_arrays(
        np.asarray(dates, dtype="datetime64[D]"), np.asarray(timezone, dtype=object)
    )
    never = np.isin(days, DAYS_LEFT_OUT)
    noon_s = utc_s(days[never], DAY_S / 2, zones[never])
    never[never] = local_date(noon_s, zones[never]) != days[never]
    return never


def local_iso(utc_s: ArrayLike, timezone: ArrayLike) -> Any:
    """Instants as local ISO 8601 text, YYYY-MM-DDTHH:MM:SS±HH:MM, to the nearest second.

    Args:
        utc_s: POSIX seconds, any shape.
        timezone: IANA names, one or an array that broadcasts with `utc_s`.

    Returns:
        Text of the broadcast shape, "" for NaN. An offset with odd seconds, as local mean
        time had, is written to the nearest minute and the time with it, so that the text
        still names the same instant.
    """
    moments, offset = _civil_moments(utc_s, timezone, 1.0, whole_minutes=True)
    blank = np.isnat(moments)
    if blank.all():
        return np.full(moments.shape, "")[()]
    # Days and seconds of the day are few: written once each, then looked up.
    days = moments.astype("datetime64[D]")
    first = days[~blank].min()
    written_days = np.arange(first, days[~blank].max() + 1).astype(f"U{_DATE}")
    day = np.where(blank, 0, (days - first).astype(np.int64))
    second = np.where(blank, 0, (moments - days).astype(np.int64))
    offsets, which = np.unique(np.nan_to_num(offset), return_inverse=True)
    written_offsets = np.array([_written_offset(int(ahead_s)) for ahead_s in offsets])
    # Text of one width is an array of letters: parts are set in place, not added as texts.
    letters = np.empty((*moments.shape, _ISO), dtype=np.uint32)
    letters[..., :_DATE] = _letters(written_days)[day]
    letters[..., _DATE:_TIME] = _letters(_seconds_of_day())[second]
    letters[..., _TIME:] = _letters(written_offsets)[which.reshape(moments.shape)]
    letters[blank] = 0
    return letters.view(f"U{_ISO}")[..., 0][()]


#: Where the date, the time and the whole end in a local ISO text.
_DATE, _TIME, _ISO = 10, 19, 25


def _letters(texts: NDArray[np.str_]) -> NDArray[np.uint32]:
    """The letters of texts of one width, one a column."""
    return np.ascontiguousarray(texts).view(np.uint32).reshape(*texts.shape, -1)


@lru_cache(maxsize=1)
def _seconds_of_day() -> NDArray[np.str_]:
    day = np.arange("1970-01-01", "1970-01-02", dtype="datetime64[s]")
    return np.array([text[_DATE:] for text in np.datetime_as_string(day).tolist()])


def _written_offset(ahead_s: int) -> str:
    minutes = abs(ahead_s) // 60
    return f"{'-' if ahead_s < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def local_clock(utc_s: ArrayLike, timezone: ArrayLike) -> Any:
    """Instants as local clock text, HH:MM, to the nearest minute; shapes as `local_iso`."""
    moments, _ = _civil_moments(utc_s, timezone, 60.0)
    minute = (moments - moments.astype("datetime64[D]")).astype("timedelta64[m]")
    index = np.where(np.isnat(moments), 1440, minute.astype(np.int64))
    return _CLOCK_FACE[index]


_CLOCK_FACE = np.array([f"{m // 60:02d}:{m % 60:02d}" for m in range(1440)] + [""], dtype="U5")


def _civil_moments(
    utc_s: ArrayLike, timezone: ArrayLike, nearest_s: float, whole_minutes: bool = False
) -> tuple[Any, Any]:
    """Civil time rounded to `nearest_s` as datetime64[s], and the offset it was made with."""
    instants = np.asarray(utc_s, dtype=float)
    offset = np.asarray(offset_s(instants, timezone))
    if whole_minutes:
        offset = np.rint(offset / 60.0) * 60.0
    civil = np.floor((instants + offset) / nearest_s + 0.5) * nearest_s
    blank = np.isnan(civil)
    moments = np.where(blank, 0.0, civil).astype(np.int64).astype("datetime64[s]")
    return np.where(blank, np.datetime64("NaT", "s"), moments), offset


def _lookup(seconds: NDArray[np.float64], timezone: ArrayLike, civil: bool) -> Any:
    """Offsets at instants or, with `civil`, at civil times counted as if they were UTC."""
    codes, names = pd.factorize(np.ravel(np.asarray(timezone, dtype=object)))
    codes, seconds = np.broadcast_arrays(codes.reshape(np.shape(timezone)), seconds)
    known = np.isfinite(seconds)
    out = np.full(seconds.shape, np.nan)
    if not known.any():
        return out[()]
    at = np.floor(seconds[known]).astype(np.int64)
    years = at.astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970
    if years.min() < FIRST_YEAR or years.max() > LAST_YEAR:
        raise ValueError(f"civil time is known for {FIRST_YEAR}–{LAST_YEAR}")
    pairs, pair = np.unique(codes[known] * 10_000 + years, return_inverse=True)
    keys, offsets = [], []
    for number, (code, year) in enumerate(zip(*divmod(pairs, 10_000), strict=True)):
        instant_s, local_s, ahead_s = _offset_steps(str(names[code]), int(year))
        keys.append((local_s if civil else instant_s) + number * _STRIDE_S)
        offsets.append(ahead_s)
    key = at - _year_start_s(years) + pair * _STRIDE_S
    step = np.searchsorted(np.concatenate(keys), key, side="right") - 1
    out[known] = np.concatenate(offsets)[step]
    return out[()]


def _year_start_s(years: Any) -> Any:
    return (
        (np.asarray(years) - 1970).astype("datetime64[Y]").astype("datetime64[s]").astype(np.int64)
    )


@lru_cache(maxsize=20_000)
def _offset_steps(name: str, year: int) -> tuple[Seconds, Seconds, Seconds]:
    """When a zone's offset changes about one year.

    Returns:
        The instants of change and the civil times of change, both in seconds from the start
        of the year and led by the start of the table, and the offset from each on.
    """
    zone = _zone(name)
    start_s = int(_year_start_s(year))
    days = range(-_MARGIN_S, _STRIDE_S - 2 * _MARGIN_S, DAY_S)
    offsets = [_offset(zone, start_s + day) for day in days]
    steps = [(days[0], offsets[0])]
    for day, before, after in zip(days, offsets, offsets[1:], strict=False):
        if before != after:
            steps += _changes(zone, start_s, (day, before), (day + DAY_S, after))
    instant_s = np.array([second for second, _ in steps], dtype=np.int64)
    ahead_s = np.array([offset for _, offset in steps], dtype=np.int64)
    # By the rule of fold 0 the old offset holds to the later of its two ends on the clock.
    local_s = instant_s + np.maximum(ahead_s, np.concatenate([ahead_s[:1], ahead_s[:-1]]))
    local_s[0] = -_MARGIN_S
    return instant_s, local_s, ahead_s


def _changes(
    zone: ZoneInfo, start_s: int, left: tuple[int, int], right: tuple[int, int]
) -> list[tuple[int, int]]:
    """Every change between two moments of differing offset, halving down to the second."""
    if right[0] - left[0] == 1:
        return [right]
    middle_s = (left[0] + right[0]) // 2
    middle = (middle_s, _offset(zone, start_s + middle_s))
    found = []
    for first, last in ((left, middle), (middle, right)):
        if first[1] != last[1]:
            found += _changes(zone, start_s, first, last)
    return found


def _offset(zone: ZoneInfo, instant_s: int) -> int:
    # Not datetime.fromtimestamp, which fails before 1970 on some systems.
    ahead = (_EPOCH + timedelta(seconds=instant_s)).astimezone(zone).utcoffset()
    assert ahead is not None
    return round(ahead.total_seconds())


@lru_cache(maxsize=1000)
def _zone(name: str) -> ZoneInfo:
    known = zone_name(name)
    if known is None:
        raise ValueError(f"{name!r} is no IANA time zone")
    return ZoneInfo(known)
