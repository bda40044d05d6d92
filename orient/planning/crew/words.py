"""A crew's itinerary in plain words: days, time left over, cloud, what is not reached."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

import pandas as pd

from orient.planning.crew.visits import Work
from orient.tables import clock
from orient.text import at_95, counted, minute_text, within_95

Row = Mapping[str, Any]

#: Why a site is not reached.
WHY = {
    "hours": "its good hours lie outside the crew's day",
    "skyline": "its skyline hides the sun in the hours that would do",
    "rod": "with this rod and board no marks meet the target there",
    "target": "no marks there are as good as the target",
    "sun": "the sun stands outside the altitudes that are allowed",
    "watch": "its good hours are too short or too few for pairs",
    "too-far": "the way there and the work do not fit the crew's day",
    "no-window": "no day of the span has hours there that meet the target and lie in the "
    "crew's day, and no one thing alone changes that",
    "out-of-days": "the others take all the time there is",
}


def day_in_words(visits: list[Row], start: str, work: Work) -> list[str]:
    """One day of the crew in plain words, a sentence or two a visit.

    Args:
        visits: rows of `itinerary` of one date, in order.
        start: what the start is called.
        work: the crew's clock and hours.
    """
    lines = []
    for row in visits:
        out = ""
        if broken_by_night(row, work):
            out = "on the way since the evening before, "
        elif row["order"] == 1 and row["travel_min"] and _same_day(row, work):
            leave = _arrival(row) - timedelta(minutes=row["travel_min"])
            out = f"set out {minute_text(leave.isoformat())}, "
        lines.append(
            f"{row['order']}. {site_of(row)}{zone_of(row, work)}: {out}there "
            f"{there_since(row, work)}; {_marks_in_words(row)}; "
            f"leave {minute_text(row['leave_local'])}. {within_95(row['expected_u_deg'])}"
        )
    home = home_in_words(visits[-1], start, work.timezone)
    return [*lines, home] if home else lines


def _arrival(row: Row) -> datetime:
    return datetime.fromisoformat(row["arrive_local"])


def _by_crew_clock(row: Row, work: Work) -> str:
    return str(clock.local_iso(_arrival(row).timestamp(), work.timezone))


def _same_day(row: Row, work: Work) -> bool:
    return _by_crew_clock(row, work)[:10] == str(row["date"])


def broken_by_night(row: Row, work: Work) -> bool:
    """Whether the way of that morning would begin before the crew's day: part was done before."""
    leave = _arrival(row).timestamp() - 60.0 * row["travel_min"]
    begins = float(work.days([row["date"]]).start_utc_s[0])
    return _same_day(row, work) and leave < begins - 1.0


def there_since(row: Row, work: Work) -> str:
    """When the crew comes to a site, by the site's clock; with the date if not that day."""
    minute = minute_text(row["arrive_local"])
    if _same_day(row, work):
        return minute
    return f"since {date.fromisoformat(_by_crew_clock(row, work)[:10]):%d %b}, {minute}"


def zone_of(row: Row, work: Work) -> str:
    """The offset of a site's times, where it is not the crew's; "" where it is."""
    offset = row["arrive_local"][19:]
    return "" if _by_crew_clock(row, work)[19:] == offset else f" (times of UTC{offset})"


def home_in_words(last: Row, start: str, timezone: str) -> str:
    """When the crew is back after the last visit of a day; "" where it sleeps out."""
    if pd.isna(last["return_min"]):
        return ""
    leave = datetime.fromisoformat(last["leave_local"])
    home = leave.timestamp() + 60.0 * last["return_min"]
    return f"Back at {start} {clock.local_clock(home, timezone)}."


def site_of(row: Row) -> str:
    """A visit's site, and which board of it this is where there are more."""
    return row["site"] + (f", board {row['board']}" if row["board"] > 1 else "")


def marked(row: Row) -> list[str]:
    """From when to when there are marks: one spell of a timed run, two of a pair day."""
    ends = (("marks_from", "break_from"), ("break_to", "marks_to"))
    spells = (("marks_from", "marks_to"),) if row["kind"] == "timed" else ends
    return [f"{minute_text(row[first])}–{minute_text(row[last])}" for first, last in spells]


def _marks_in_words(row: Row) -> str:
    if row["kind"] == "timed":
        return f"timed marks {marked(row)[0]}"
    return f"marks {' and '.join(marked(row))}, the board untouched between"


def spare_in_words(visits: Sequence[Row]) -> Iterator[str]:
    """What the time left over was spent on, the line that gains most first."""
    lines: dict[str, Row] = {}
    for row in visits:
        # The last board of a site tells how many there are.
        if row["line_u_deg"] < row["line_before_u_deg"]:
            lines[row["site"]] = row
    if lines:
        gains = sorted(lines.values(), key=lambda row: row["line_u_deg"] - row["line_before_u_deg"])
        said = "; ".join(
            f"{row['site']} ±{at_95(row['line_before_u_deg'])} → ±{at_95(row['line_u_deg'])}"
            + (f" by {row['board']} boards" if row["board"] > 1 else "")
            for row in gains
        )
        yield (
            f"Time left over is spent on the lines of {counted(len(lines), 'site')} (95 %): "
            f"{said}. Boards of one site draw the same line."
        )


def cloud_in_words(visits: Sequence[Row], in_hand: Sequence[str]) -> Iterator[str]:
    """Which days are in hand, and what becomes of each other day's sites if cloud takes it."""
    if not in_hand:
        return
    yield f"Reserve for cloud: {', '.join(map(day_name, in_hand))}. If cloud takes one day:"
    first = [row for row in visits if row["board"] == 1]
    for day, of_day in groupby(sorted(first, key=lambda row: row["date"]), lambda row: row["date"]):
        said = [
            f"{row['site']} "
            + (f"on {day_name(row['repeat_date'])}" if row["repeat_date"] else "lost")
            for row in of_day
        ]
        yield f"  {day_name(day)}: {', '.join(said)}."


def day_name(iso: str) -> str:
    """A date as the words have it: 05 May."""
    return f"{date.fromisoformat(iso):%d %b}"


def missed(rows: Sequence[Row]) -> Iterator[str]:
    """The sites not reached, by reason, with what would bring each in reach."""
    unreached = [row for row in rows if row["why"]]
    for (why, would_do), alike in groupby(
        sorted(unreached, key=lambda row: ([*WHY].index(row["why"]), row["would_do"])),
        key=lambda row: (row["why"], row["would_do"]),
    ):
        names = ", ".join(row["site"] for row in alike)
        alone = "Each of these" if ";" in would_do else "This"
        otherwise = f" {alone} alone brings it in reach: {would_do}." if would_do else ""
        yield f"Not reached: {names}: {WHY[why]}.{otherwise}"
