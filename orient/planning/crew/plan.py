"""One crew's days planned: what the sites allow, the choice, and the visits as a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import pandas as pd

from orient.planning.crew.accuracy import Marks, spend
from orient.planning.crew.choice import (
    Choice,
    Outcome,
    choose,
    itinerary,
    pair_day_u_deg,
    solver,
)
from orient.planning.crew.reasons import Crew, reasons
from orient.planning.crew.rounds import Plan, Problem, reachable, worth
from orient.planning.crew.travel import Minutes
from orient.planning.crew.visits import CrewDays, SitePlan, Work, site_plan
from orient.planning.hours import Limits
from orient.planning.rig import Rig


@dataclass(frozen=True)
class CrewPlan:
    """The days of a crew.

    Attributes:
        visits: the rows of `choice.itinerary`: the visits in their order, then the sites that
            are not reached, with why.
        most: the number of sites that no plan can pass.
        proved: whether no plan reaches as many with less travel.
        travel_min: of the visits that reach the sites, without those of second boards.
        in_hand: the days kept free for what cloud takes, ISO text.
    """

    visits: pd.DataFrame
    most: int
    proved: bool
    travel_min: int = 0
    in_hand: tuple[str, ...] = ()

    def _repr_html_(self) -> str:
        return str(self.visits.to_html())


def crew_plan(
    sites: pd.DataFrame,
    dates: Any,
    travel_min: Minutes,
    work: Work,
    rig: Rig,
    limits: Limits,
    *,
    roam: bool = True,
    crews: int = 1,
    reserve: int = 0,
    use_spare: bool = False,
    effort: float = 1.0,
    step_min: float = 10.0,
    advance: Callable[[int], None] = lambda _: None,
    told: Callable[[int, int], None] = lambda sites, travel_min: None,
) -> CrewPlan:
    """Choose the visits of a crew and lay them out.

    Args:
        sites: the sites table, n rows.
        dates: local dates of the crew's clock, datetime64[D].
        travel_min: minutes between all sites, and the start last, (n + 1, n + 1).
        work: the crew's hours.
        rig, limits: what is carried, and what a visit must meet.
        roam: the crew goes on from where it is; else every evening back at the start.
        crews: how many there are, all alike, from one start.
        reserve: days kept free for what cloud takes, chosen so that the fewest sites could be
            lost; of a crew that roams the last ones.
        use_spare: spend the time left over on longer runs and second boards.
        effort: how long to search, 1 being about a minute at most.
        step_min: as for `hours.plan_chunk`.
        advance: told how many site-days are looked at.
        told: called with sites and minutes of travel whenever something better is found.

    Raises:
        NoSolver: the extra `crew` is not installed.
    """
    solver()  # before the work that would be lost without it
    from orient.planning.crew.cloud import repeats

    days = work.days(dates)
    plan = site_plan(sites, days, work, rig, limits, step_min, advance)
    problem = Problem(plan.openings, travel_min, days.minutes, work, roam, crews, reserve)
    choice = choose(problem, effort, told)
    visits = Plan(choice.rounds, choice.in_hand)
    again, travel = repeats(visits, problem), -worth(visits, problem)[2]
    lines: dict[int, tuple[float, float]] = {}
    if use_spare:
        choice, lines = _better(choice, problem, plan, sites, days, rig, limits)
    open_at = {opening.site for opening in plan.openings}
    shut = sorted({*range(len(sites))} - reachable(problem))
    crew = Crew(sites, dates, travel_min, work, rig, limits, roam, step_min, tuple(shut))
    outcome = Outcome(choice, again, lines, reasons(crew, open_at) if shut else {})
    table = itinerary(outcome, problem, plan, sites, days, rig)
    in_hand = tuple(str(days.date[day]) for day in choice.in_hand)
    return CrewPlan(table, choice.most, choice.proved, travel, in_hand)


def _better(
    choice: Choice,
    problem: Problem,
    plan: SitePlan,
    sites: pd.DataFrame,
    days: CrewDays,
    rig: Rig,
    limits: Limits,
) -> tuple[Choice, dict[int, tuple[float, float]]]:
    """The choice with the time left over spent, and the lines' uncertainties, before and after."""
    visits = Plan(choice.rounds, choice.in_hand)
    numbers = sorted({stop.opening.site for stop in visits.stops})
    marks = None
    if problem.work.watch_trusted and numbers:
        marks = Marks.of(sites, numbers, days, problem.work, rig, limits)
    pair = partial(pair_day_u_deg, plan=plan, sites=sites, days=days, rig=rig)
    better = spend(visits, problem, marks, lru_cache(maxsize=None)(pair), rig.tolerances)
    after = better.after_u_deg
    lines = {site: (before, after[site]) for site, before in better.before_u_deg.items()}
    return replace(choice, rounds=better.plan.rounds), lines
