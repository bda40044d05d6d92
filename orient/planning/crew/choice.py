"""A crew's days: which sites on which days in which order.

As many sites as can be are reached, then with the least travel, then as early as can be. The
choice is OR-Tools' (the optional extra `crew`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.planning import hours
from orient.planning.crew.reasons import Reason
from orient.planning.crew.rounds import Problem, Stop, stretched
from orient.planning.crew.visits import CrewDays, SitePlan
from orient.planning.hours import SiteDays
from orient.planning.rig import Rig
from orient.tables import clock

#: Search in OR-Tools' deterministic units, so that every run gives the same plan: first for
#: a proof, then, without one, for the best that can be found.
_PROOF_UNITS, _BETTERING_UNITS = 3.0, 7.0
#: The best pair of a pair day is looked for at half-intervals this far apart, minutes.
_PAIR_STEP_MIN = 5.0


class NoSolver(ValueError):
    """The optional extra `crew` is not installed."""


@dataclass(frozen=True)
class Choice:
    """What was chosen: the stops of each round in their order, and the days in hand.

    `most` is the number of sites that no plan can exceed, as far as is proved; `proved`
    whether there is neither a plan with more sites nor one with as many and less travel.
    """

    rounds: list[list[Stop]]
    most: int
    proved: bool
    in_hand: tuple[int, ...] = ()


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
    plan, most, proved = solve(problem, (_PROOF_UNITS * effort, _BETTERING_UNITS * effort), told)
    rounds = [stretched(stops, problem) for stops in plan.rounds]
    return Choice(rounds, most, proved, plan.in_hand)


class Outcome(NamedTuple):
    """What became of a choice: what the rows of an itinerary are made of.

    `repeat_day` is the day in hand on which a site is worked if cloud takes the day of its
    visit, `line_u_deg` what each site's line is expected to be, before and after the time
    left over was spent, and `reasons` why sites are not reached; all by row number.
    """

    choice: Choice
    repeat_day: Mapping[int, int] = {}
    line_u_deg: Mapping[int, tuple[float, float]] = {}
    reasons: Mapping[int, Reason] = {}


def itinerary(
    outcome: Outcome,
    problem: Problem,
    plan: SitePlan,
    sites: pd.DataFrame,
    days: CrewDays,
    rig: Rig,
) -> pd.DataFrame:
    """The crew's days as rows: the visits in their order, then the sites not reached.

    Args:
        outcome: the choice and what belongs to it.
        problem: what it was chosen from.
        plan: of `visits.site_plan`, whose openings the problem has.
        sites: the sites table.
        days: the crew's days.
        rig: what is carried.

    Returns:
        `date` (of the crew's clock), `crew` (from 1), `order` (from 1 on each date of a crew),
        `site`, `board` (from 1 at each site), `arrive_local`, `marks_from`, `break_from` and
        `break_to` (a pair day's pause about noon), `marks_to`, `leave_local` (local ISO text
        of the site; "" where there is none), `travel_min` (from the place before),
        `return_min` (home, after the last of a day; missing without a way home), `kind`,
        `expected_u_deg` (standard: of a pair day its best single pair, of a run all its marks
        together), `line_before_u_deg` and `line_u_deg` (standard: the site's line before
        the time left over was spent, and with all of the site's boards), `repeat_date` (the
        day in hand on which a first board is worked if cloud takes its day; "" where none),
        `why`, a key of `words.WHY` for a site not reached and "" for the others, and `would_do`,
        each thing that by itself would bring it in reach.
    """
    rows: list[dict[str, Any]] = []
    for place, stops in enumerate(outcome.choice.rounds):
        crew = 1 + place // problem.rounds_each
        for number, stop in enumerate(stops):
            visit = _visit(stops, number, problem, plan, sites, days, rig)
            line = outcome.line_u_deg.get(stop.opening.site, (visit["expected_u_deg"],) * 2)
            lines = dict(zip(("line_before_u_deg", "line_u_deg"), np.round(line, 6), strict=True))
            rows.append(visit | lines | {"crew": crew})
            last = number == len(stops) - 1
            if last and not problem.roam:
                rows[-1]["return_min"] = problem.back_min(stop.opening.site)
    rows.sort(key=lambda row: (row["date"], row["crew"]))
    for _, of_day in groupby(rows, key=lambda row: (row["date"], row["crew"])):
        for order, row in enumerate(of_day, start=1):
            row["order"] = order
    _number_boards(rows, outcome, sites, days)
    rows += _not_reached(outcome.reasons, sites, {row["site"] for row in rows})
    table = pd.DataFrame(rows, columns=list(_COLUMNS))
    return table.astype(
        {
            "crew": "Int64",
            "order": "Int64",
            "board": "Int64",
            "travel_min": "Int64",
            "return_min": "Int64",
        }
    )


_COLUMNS = (
    "date", "crew", "order", "site", "board", "arrive_local", "marks_from", "break_from",
    "break_to", "marks_to", "leave_local", "travel_min", "return_min", "kind", "expected_u_deg",
    "line_before_u_deg", "line_u_deg", "repeat_date", "why", "would_do",
)  # fmt: skip


def _number_boards(
    rows: list[dict[str, Any]], outcome: Outcome, sites: pd.DataFrame, days: CrewDays
) -> None:
    """Count the boards of each site in their order; the first of them can be repeated."""
    boards: dict[str, int] = {}
    repeated = {sites.index[site]: str(days.date[day]) for site, day in outcome.repeat_day.items()}
    for row in rows:
        name = row["site"]
        row["board"] = boards[name] = boards.get(name, 0) + 1
        row["repeat_date"] = repeated.get(name, "") if row["board"] == 1 else ""


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
    u_deg = opening.u_deg_from(stop.start_min)
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
        "would_do": "",
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


def pair_day_u_deg(
    stop: Stop, plan: SitePlan, sites: pd.DataFrame, days: CrewDays, rig: Rig
) -> float:
    """What the best pair of a pair day is worth as long as it lasts, standard, degrees."""
    return _pair_day(stop, plan, sites, days, rig)[1]


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
    reasons: Mapping[int, Reason], sites: pd.DataFrame, reached: set[str]
) -> Iterator[dict[str, Any]]:
    blank = dict.fromkeys(
        ("date", "arrive_local", "marks_from", "break_from", "break_to", "marks_to",
         "leave_local", "kind", "repeat_date"), "",
    )  # fmt: skip
    for number, name in enumerate(sites.index):
        if name not in reached:
            reason = reasons.get(number, Reason("out-of-days", ""))
            yield {**blank, "site": name, **reason._asdict()}
