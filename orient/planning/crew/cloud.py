"""What one day of cloud would take from a crew's plan, and which day in hand gives it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from orient.planning.crew.rounds import Plan, Problem, Stop
from orient.planning.crew.visits import Opening

#: Search in the solver's units for the days in hand after each day: few sites, few days.
_UNITS = (0.5, 0.5)


def repeats(plan: Plan, problem: Problem) -> dict[int, int]:
    """On which day in hand each site is worked, were cloud to take the day of its visit.

    Cloud takes one whole day from every crew; the sites of that day are then planned again,
    all together, on the days in hand after it. A crew that roams sets out for them from its
    last site, each crew for its own.

    Args:
        plan: the choice, with its days in hand.
        problem: what it was chosen from.

    Returns:
        By site the day; a site that would be lost is not among them.
    """
    found: dict[int, int] = {}
    for stops in plan.rounds if problem.roam else [plan.stops]:
        for day in sorted({stop.opening.day for stop in stops}):
            sites = {stop.opening.site for stop in stops if stop.opening.day == day}
            later = [other for other in plan.in_hand if other > day]
            openings = [o for o in problem.openings if o.site in sites and o.day in later]
            found |= _worked(_problem_again(problem, openings, later, stops))
    return found


def _problem_again(
    problem: Problem, openings: Sequence[Opening], later: Sequence[int], stops: Sequence[Stop]
) -> Problem:
    """The problem of the days in hand alone; other days stand in it, but have no hours."""
    day_min = [minutes if day in later else 0 for day, minutes in enumerate(problem.day_min)]
    if not problem.roam:
        return replace(problem, openings=openings, day_min=day_min, reserve=0)
    travel_min = problem.travel_min.copy()
    last = stops[-1].opening.site
    travel_min[-1, :-1], travel_min[:-1, -1] = travel_min[last, :-1], travel_min[:-1, last]
    return Problem(openings, np.asarray(travel_min), day_min, problem.work, roam=True)


def _worked(problem: Problem) -> dict[int, int]:
    from orient.planning.crew.solver import solve

    plan, _, _ = solve(problem, _UNITS, lambda sites, travel_min: None)
    return {stop.opening.site: stop.opening.day for stop in plan.stops}
