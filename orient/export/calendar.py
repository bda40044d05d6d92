"""A plan as a calendar: its good hours as events, with rod, rings, cautions and an alarm.

The text is an iCalendar object (RFC 5545). Each time zone stands in it with the changes of the
clock that its events may meet, so that a calendar needs no table of zones.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from orient import __version__
from orient.flags import CAUTIONS
from orient.planning.boardday import board_day
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.text import minute_text, within_95

#: Setting up takes so long (*common practice, no source*).
ALARM_MIN = 30
_LONGEST_OCTETS = 75
_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)


def plan_calendar(
    rows: Sequence[dict[str, Any]],
    sites: pd.DataFrame,
    rig: Rig,
    limits: Limits,
    advance: Callable[[int], None] = lambda _: None,
) -> str:
    """The good hours of a plan as a calendar.

    Args:
        rows: of `planning.rows.plan_rows`; those without good hours have no event.
        sites: the sites table that they are of.
        rig, limits: of the plan.
        advance: told after each row.

    Returns:
        The calendar, its lines ended by CR and LF; the same plan gives the same text.
    """
    dates = [datetime.fromisoformat(row["date"]) for row in rows]
    used = [row["site"] for row in rows if row["morning"]] or [rows[0]["site"]]
    events: list[str] = []
    for row in rows:
        if row["morning"]:
            events += _halves(row, sites.loc[row["site"]], rig, limits)
        advance(1)
    return _calendar(sites.loc[used, "timezone"], dates, events)


def crew_calendar(rows: Sequence[Mapping[str, Any]], sites: pd.DataFrame) -> str:
    """A crew's visits as a calendar: each from the crew's coming to its leaving.

    Args:
        rows: of `planning.crew.choice.itinerary`; sites not reached have no event.
        sites: the sites table that they are of.

    Returns:
        As for `plan_calendar`.
    """
    visits = [row for row in rows if not row["why"]]
    dates = [datetime.fromisoformat(row["date"]) for row in visits]
    events = [line for row in visits for line in _visit(row, sites.loc[row["site"]])]
    return _calendar(sites.loc[[row["site"] for row in visits], "timezone"], dates, events)


def _visit(row: Mapping[str, Any], site: Any) -> Iterator[str]:
    from orient.planning.crew.words import day_name, marked, site_of

    start, stop = (datetime.fromisoformat(row[end]) for end in ("arrive_local", "leave_local"))
    spare = f"If cloud takes the day: {day_name(row['repeat_date'])}." if row["repeat_date"] else ""
    parts = [
        f"Crew {row['crew']}, visit {row['order']} of its day. Way there {row['travel_min']} min.",
        f"Marks {' and '.join(marked(row))}; {within_95(row['expected_u_deg'])}, the line of the "
        f"site {within_95(row['line_u_deg'])}.",
        spare,
        *CAUTIONS,
    ]
    words = f"{site_of(row)}: shadow marks, crew {row['crew']}"
    named = f"{row['site']}|{row['date']}|{row['board']}|{row['crew']}|{start.isoformat()}"
    yield from _event(named, row["date"], (start, stop), site, words, parts)


def _calendar(timezones: Any, dates: Sequence[datetime], events: Iterable[str]) -> str:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//orient//orient {__version__}//EN"]
    for name in dict.fromkeys(timezones.astype(str)):
        lines += _timezone(name, min(dates) - 2 * _DAY, max(dates) + 2 * _DAY)
    return "".join(f"{_folded(line)}\r\n" for line in [*lines, *events, "END:VCALENDAR"])


def _halves(row: dict[str, Any], site: Any, rig: Rig, limits: Limits) -> Iterator[str]:
    rings = board_day(site, row["date"], rig, limits).rings
    zone = ZoneInfo(str(site["timezone"]))
    for half in ("morning", "afternoon"):
        start, stop = (datetime.fromisoformat(row[half][end]) for end in ("from", "to"))
        crossed = [
            f"{radius:.0f} mm at {datetime.fromtimestamp(round(at / 60) * 60, zone):%H:%M}"
            for radius, at in zip(rings["ring_mm"], rings[f"{half}_utc_s"], strict=True)
            if at == at
        ]
        named = f"{row['site']}|{row['date']}|{half}|{start.isoformat()}|{rig}"
        words = f"{row['site']}: shadow marks, {half}"
        parts = _description(row, crossed, rig, half)
        yield from _event(named, row["date"], (start, stop), site, words, parts)


def _event(
    named: str,
    day: str,
    times: tuple[datetime, datetime],
    site: Any,
    words: str,
    parts: Iterable[str],
) -> Iterator[str]:
    zone = ZoneInfo(str(site["timezone"]))
    yield "BEGIN:VEVENT"
    yield f"UID:{hashlib.sha256(named.encode()).hexdigest()[:32]}@orient"
    # The plan's day, not the clock: the same plan is the same file.
    yield f"DTSTAMP:{datetime.fromisoformat(day):%Y%m%d}T000000Z"
    yield _moment("DTSTART", times[0], zone)
    yield _moment("DTEND", times[1], zone)
    yield f"SUMMARY:{_escaped(words)}"
    yield f"LOCATION:{_escaped(str(site.name))}"
    yield f"GEO:{float(site['latitude_deg']):.6f};{float(site['longitude_deg']):.6f}"
    yield f"DESCRIPTION:{_escaped(chr(10).join(filter(None, parts)))}"
    yield from _alarm(str(site.name))
    yield "END:VEVENT"


def _description(row: dict[str, Any], crossed: Sequence[str], rig: Rig, half: str) -> list[str]:
    best = row["best"]
    board = (
        f"shadow up to {rig.reach_mm:g} mm"
        if rig.reach_mm is not None
        else f"board {rig.board_width_mm:g} × {rig.board_depth_mm:g} mm"
    )
    return [
        f"Rod {rig.rod_mm:g} mm, {board}.",
        f"Rings, {half}: {', '.join(crossed)}." if crossed else "",
        f"Best pair: {minute_text(best['morning'])} and {minute_text(best['afternoon'])}, ring "
        f"{best['shadow_mm']:.0f} mm, {within_95(best['expected_u_deg'])}.",
        f"Local noon {row['noon_local'][11:19]}, the sun {row['noon_altitude_deg']:.0f}° high.",
        *CAUTIONS,
    ]


def _alarm(site: str) -> list[str]:
    words = f"{site}: level the board, plumb the rod, set the watch. {CAUTIONS[0]}"
    return [
        "BEGIN:VALARM",
        "ACTION:DISPLAY",
        f"TRIGGER:-PT{ALARM_MIN}M",
        f"DESCRIPTION:{_escaped(words)}",
        "END:VALARM",
    ]


def _moment(name: str, moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    # A clock time that the zone shows twice would be read as the first of them.
    if local.fold:
        return f"{name}:{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    return f"{name};TZID={zone.key}:{local:%Y%m%dT%H%M%S}"


def _timezone(name: str, first: datetime, last: datetime) -> Iterator[str]:
    """A zone with what its clocks show between two days, each change of it an observance."""
    zone = ZoneInfo(name)
    moment, end = first.replace(tzinfo=UTC), last.replace(tzinfo=UTC)
    yield from ("BEGIN:VTIMEZONE", f"TZID:{name}")
    yield from _observance(moment, moment, zone)
    while moment < end:
        after = moment + _DAY
        if _offset(moment, zone) != _offset(after, zone):
            yield from _observance(*_change(moment, after, zone), zone)
        moment = after
    yield "END:VTIMEZONE"


def _change(before: datetime, after: datetime, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The last second before a change of the clock, and the first of it."""
    while after - before > _SECOND:
        middle = before + timedelta(seconds=int((after - before).total_seconds()) // 2)
        if _offset(middle, zone) == _offset(before, zone):
            before = middle
        else:
            after = middle
    return before, after


def _observance(before: datetime, start: datetime, zone: ZoneInfo) -> Iterator[str]:
    local = start.astimezone(zone)
    kind = "DAYLIGHT" if local.dst() else "STANDARD"
    # An observance begins by the clock as it was before.
    shown = start + _offset(before, zone)
    yield f"BEGIN:{kind}"
    yield f"DTSTART:{shown:%Y%m%dT%H%M%S}"
    yield f"TZOFFSETFROM:{_offset_text(_offset(before, zone))}"
    yield f"TZOFFSETTO:{_offset_text(_offset(start, zone))}"
    yield f"TZNAME:{local.tzname()}"
    yield f"END:{kind}"


def _offset(moment: datetime, zone: ZoneInfo) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta()


def _offset_text(offset: timedelta) -> str:
    seconds = int(offset.total_seconds())
    sign, seconds = "-" if seconds < 0 else "+", abs(seconds)
    rest = f"{seconds % 60:02d}" if seconds % 60 else ""
    return f"{sign}{seconds // 3600:02d}{seconds // 60 % 60:02d}{rest}"


def _escaped(text: str) -> str:
    for sign, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(sign, written)
    return text


def _folded(line: str) -> str:
    """A content line in pieces of at most 75 octets, no character cut."""
    pieces: list[bytes] = []
    piece = b""
    for sign in line:
        octets = sign.encode("utf-8")
        # Every piece but the first begins with a blank.
        if len(piece) + len(octets) > _LONGEST_OCTETS - bool(pieces):
            pieces.append(piece)
            piece = b""
        piece += octets
    return b"\r\n ".join([*pieces, piece]).decode("utf-8")
