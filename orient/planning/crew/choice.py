"""A crew's days: which sites on which days in which order.

As many sites as can be are reached, then with the least travel, then as early as can be. The
choice is OR-Tools' (the optional extra `crew`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from orient.planning import hours
from orient.planning.crew.rounds import Problem, Stop, reachable, stretched
from orient.planning.crew.visits import CrewDays, SitePlan
from orient.planning.hours import SiteDays
from orient.planning.rig import Rig
from orient.tables import clock
from orient.text import minute_text, within_95

Row = Mapping[str, Any]

#: Search in OR-Tools' deterministic units, so that every run gives the same plan: first for
#: a proof, then, without one, for the best that can be found.
_PROOF_UNITS, _BETTERING_UNITS = 3.0, 7.0
#: The best pair of a pair day is looked for at half-intervals this far apart, minutes.
_PAIR_STEP_MIN = 5.0

#: Why a site is not reached.
WHY = {
    "no-window": "no day of the span has hours there that meet the target and lie in the "
    "crew's day",
    "too-far": "the way there and the work do not fit the crew's hours",
    "out-of-days": "the others take all the time there is",
}


class NoSolver(ValueError):
    """The optional extra `crew` is not installed."""


@dataclass(frozen=True)
class Choice:
    """What was chosen: the stops of each round in their order.

    `most` is the number of sites that no plan can exceed, as far as is proved; `proved`
    whether there is neither a plan with more sites nor one with as many and less travel.
    """

    rounds: list[list[Stop]]
    most: int
    proved: bool


def solver() -> Callable[..., Any]:
    """What solves a problem.

    Raises:
        NoSolver: the extra is not installed.
    """
    try:
        from orient.planning.crew.solver import solve
    except ImportError as fault:
        if not (fault.name or "").startswith("ortools"):
            raise
        raise NoSolver("a crew's days need OR-Tools: pip install 'orient[crew]'") from None
    return solve


def choose(
    problem: Problem,
    effort: float = 1.0,
    told: Callable[[int, int], None] = lambda sites, travel_min: None,
) -> Choice:
    """Choose the visits: as many sites as can be, the least travel, the earliest days.

    Args:
        problem: what is to be chosen from.
        effort: how long to search, 1 being about a minute at most for 40 sites and 14 days.
        told: called with sites and minutes of travel whenever something better is found.

    Returns:
        The choice, the same on every run; each visit's marks begin as early as the others
        allow.

    Raises:
        NoSolver: the extra is not installed.
    """
    solve = solver()
    rounds, most, proved = solve(problem, (_PROOF_UNITS * effort, _BETTERING_UNITS * effort), told)
    return Choice([stretched(stops, problem) for stops in rounds], most, proved)


def itinerary(
    choice: Choice,
    problem: Problem,
    plan: SitePlan,
    sites: pd.DataFrame,
    days: CrewDays,
    rig: Rig,
) -> pd.DataFrame:
    """The crew's days as rows: the visits in their order, then the sites not reached.

    Args:
        choice: of `choose`.
        problem: what it was chosen from.
        plan: of `visits.site_plan`, whose openings the problem has.
        sites: the sites table.
        days: the crew's days.
        rig: what is carried.

    Returns:
        `date` (of the crew's clock), `crew` (from 1), `order` (from 1 on each date of a crew),
        `site`,
        `arrive_local`, `marks_from`, `break_from` and `break_to` (a pair day's pause about
        noon), `marks_to`, `leave_local` (local ISO text of the site; "" where there is
        none), `travel_min` (from the place before), `return_min` (home, after the last of
        a day; missing without a way home), `kind`, `expected_u_deg` (standard: of a pair
        day its best single pair, of a run all its marks together) and `why`, a key of `WHY`
        for a site not reached and "" for the others.
    """
    rows: list[dict[str, Any]] = []
    for place, stops in enumerate(choice.rounds):
        crew = 1 + place // problem.rounds_each
        for number, stop in enumerate(stops):
            rows.append(_visit(stops, number, problem, plan, sites, days, rig) | {"crew": crew})
            last = number == len(stops) - 1
            if last and not problem.roam:
                rows[-1]["return_min"] = problem.back_min(stop.opening.site)
    rows.sort(key=lambda row: (row["date"], row["crew"]))
    for _, of_day in groupby(rows, key=lambda row: (row["date"], row["crew"])):
        for order, row in enumerate(of_day, start=1):
            row["order"] = order
    rows += _not_reached(problem, sites, {row["site"] for row in rows})
    table = pd.DataFrame(rows, columns=list(_COLUMNS))
    return table.astype(
        {"crew": "Int64", "order": "Int64", "travel_min": "Int64", "return_min": "Int64"}
    )


_COLUMNS = (
    "date", "crew", "order", "site", "arrive_local", "marks_from", "break_from", "break_to",
    "marks_to", "leave_local", "travel_min", "return_min", "kind", "expected_u_deg", "why",
)  # fmt: skip


def _visit(
    stops: list[Stop],
    number: int,
    problem: Problem,
    plan: SitePlan,
    sites: pd.DataFrame,
    days: CrewDays,
    rig: Rig,
) -> dict[str, Any]:
    stop = stops[number]
    opening = stop.opening
    timezone = str(sites["timezone"].iloc[opening.site])
    begin_s = days.start_utc_s[opening.day]
    marks = {
        "marks_from": begin_s + 60.0 * stop.start_min,
        "marks_to": begin_s + 60.0 * stop.end_min,
    }
    u_deg = opening.u_deg
    if opening.kind == "pair":
        marks, u_deg = _pair_day(stop, plan, sites, days, rig)
    instants = {
        "arrive_local": _instant(_arrival(stops, number, problem), problem, days),
        **marks,
        "leave_local": begin_s + 60.0 * (stop.end_min + problem.work.packing_min),
    }
    before = stops[number - 1].opening.site if number else -1
    return {
        "date": str(days.date[opening.day]),
        "site": sites.index[opening.site],
        "break_from": "",
        "break_to": "",
        **{name: str(clock.local_iso(instant, timezone)) for name, instant in instants.items()},
        "travel_min": int(problem.travel_min[before, opening.site]),
        "kind": opening.kind,
        "expected_u_deg": round(u_deg, 6),
        "why": "",
    }


def _pair_day(
    stop: Stop, plan: SitePlan, sites: pd.DataFrame, days: CrewDays, rig: Rig
) -> tuple[dict[str, float], float]:
    """When a pair day's marks begin, pause and end, and what its best pair is worth."""
    opening = stop.opening
    window = plan.windows.iloc[opening.site * len(days.date) + opening.day]
    noon, begin = window["noon_utc_s"], days.start_utc_s[opening.day] + 60.0 * stop.start_min
    nearest = noon - window["morning_to_utc_s"]
    number = 2 + int((noon - begin - nearest) / (60.0 * _PAIR_STEP_MIN))
    half_s = np.linspace(nearest, noon - begin, number)
    site_day = SiteDays.of(
        sites, np.array([opening.site]), np.array([window["date"]], dtype="datetime64[D]")
    )
    pairs = hours.pairs_at(site_day, np.zeros(number, dtype=np.intp), half_s, rig)
    marks = {
        "marks_from": begin,
        "break_from": window["morning_to_utc_s"],
        "break_to": window["afternoon_from_utc_s"],
        "marks_to": noon + pairs.afternoon_s[-1],
    }
    return marks, float(pairs.u_deg.min())


def _arrival(stops: list[Stop], number: int, problem: Problem) -> int:
    """The minute of work when the crew comes to a stop.

    It goes on at once, but not before it must where the way can be made that morning:
    then it sleeps where it worked.
    """
    stop = stops[number]
    day = stop.opening.day
    wanted = problem.arrival(*stop)
    way = int(
        problem.travel_min[stops[number - 1].opening.site if number else -1, stop.opening.site]
    )
    new_day = number == 0 or stops[number - 1].opening.day != day
    if new_day and wanted - way >= problem.offset_min[day]:
        return wanted
    free = problem.departure(*stops[number - 1]) if number else 0
    return free + way


def _instant(work_min: int, problem: Problem, days: CrewDays) -> float:
    """A minute of work as an instant; one that ends a day belongs to that day."""
    ends = problem.offset_min
    day = max(0, int(np.searchsorted(ends, work_min, side="left")) - 1)
    return float(days.start_utc_s[day] + 60.0 * (work_min - ends[day]))


def _not_reached(
    problem: Problem, sites: pd.DataFrame, reached: set[str]
) -> Iterator[dict[str, Any]]:
    open_at = {opening.site for opening in problem.openings}
    near = reachable(problem)
    for number, name in enumerate(sites.index):
        if name in reached:
            continue
        why = "out-of-days" if number in near else "too-far" if number in open_at else "no-window"
        blank = dict.fromkeys(
            ("date", "arrive_local", "marks_from", "break_from", "break_to", "marks_to",
             "leave_local", "kind"), "",
        )  # fmt: skip
        yield {**blank, "site": name, "expected_u_deg": np.nan, "why": why}


def day_in_words(visits: list[Row], start: str, timezone: str) -> list[str]:
    """One day of the crew in plain words, a sentence or two a visit.

    Args:
        visits: rows of `itinerary` of one date, in order.
        start: what the start is called.
        timezone: of the crew's clock; a site whose own differs has its offset beside the
            times, which are the site's.
    """
    lines = []
    for row in visits:
        arrive = datetime.fromisoformat(row["arrive_local"])
        out = ""
        crew_clock = str(clock.local_iso(arrive.timestamp(), timezone))
        if row["order"] == 1 and row["travel_min"] and crew_clock[:10] == row["date"]:
            leave = arrive - timedelta(minutes=row["travel_min"])
            out = f"set out {minute_text(leave.isoformat())}, "
        there = f"there {minute_text(row['arrive_local'])}"
        if crew_clock[:10] != row["date"]:
            there = f"there since {date.fromisoformat(crew_clock[:10]):%d %b}, {there[6:]}"
        offset = row["arrive_local"][19:]
        zone = "" if crew_clock[19:] == offset else f" (times of UTC{offset})"
        lines.append(
            f"{row['order']}. {row['site']}{zone}: {out}{there}; {_marks_in_words(row)}; "
            f"leave {minute_text(row['leave_local'])}. {within_95(row['expected_u_deg'])}"
        )
    last = visits[-1]
    if not pd.isna(last["return_min"]):
        leave = datetime.fromisoformat(last["leave_local"])
        home = leave.timestamp() + 60.0 * last["return_min"]
        lines.append(f"Back at {start} {clock.local_clock(home, timezone)}.")
    return lines


def _marks_in_words(row: Row) -> str:
    if row["kind"] == "timed":
        return f"timed marks {minute_text(row['marks_from'])}–{minute_text(row['marks_to'])}"
    morning = f"{minute_text(row['marks_from'])}–{minute_text(row['break_from'])}"
    afternoon = f"{minute_text(row['break_to'])}–{minute_text(row['marks_to'])}"
    return f"marks {morning} and {afternoon}, the board untouched between"
