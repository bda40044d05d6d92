"""One crew's days planned: what the sites allow, the choice, and the visits as a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from orient.planning.crew.choice import choose, itinerary, solver
from orient.planning.crew.rounds import Problem
from orient.planning.crew.travel import Minutes
from orient.planning.crew.visits import Work, site_plan
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
    """

    visits: pd.DataFrame
    most: int
    proved: bool

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
        effort: how long to search, 1 being about a minute at most.
        step_min: as for `hours.plan_chunk`.
        advance: told how many site-days are looked at.
        told: called with sites and minutes of travel whenever something better is found.

    Raises:
        NoSolver: the extra `crew` is not installed.
    """
    solver()  # before the work that would be lost without it
    days = work.days(dates)
    plan = site_plan(sites, days, work, rig, limits, step_min, advance)
    problem = Problem(plan.openings, travel_min, days.minutes, work, roam, crews)
    choice = choose(problem, effort, told)
    table = itinerary(choice, problem, plan, sites, days, rig)
    return CrewPlan(table, choice.most, choice.proved)
