"""Rounds of a crew: visits one after the other, and whether there is time for them.

Each day is a round from the camp and back or, roaming, the whole span is one round that
ends at its last site. Time is counted in minutes of work: those of the crew's days set end
to end, so that a way can go on in the morning where the evening broke it off.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from orient.planning.crew.travel import Minutes
from orient.planning.crew.visits import Opening, Work


class Stop(NamedTuple):
    """A visit in the plan: which opening, and at which of its minutes marking starts."""

    opening: Opening
    start_min: int

    @property
    def end_min(self) -> int:
        """The minute of the last mark."""
        return self.opening.end_min(self.start_min)


@dataclass(frozen=True)
class Problem:
    """What is to be chosen from.

    `travel_min` is (n + 1, n + 1), the start being the last place; `day_min` is how long
    each day is. Roaming, a crew sleeps where it is and ends at its last site. All `crews` are
    alike: each has its own days, or roaming its own way, and no site is worked by two.
    `reserve` days are kept free for what cloud takes: which, is a part of the choice; to a
    crew that roams they are the last ones.
    """

    openings: Sequence[Opening]
    travel_min: Minutes
    day_min: Sequence[int]
    work: Work
    roam: bool = False
    crews: int = 1
    reserve: int = 0

    @property
    def offset_min(self) -> list[int]:
        """Minutes of work before each day, and before the end of all."""
        return [0, *(int(total) for total in np.cumsum(self.day_min))]

    def rounds(self) -> list[tuple[int, int]]:
        """First and last minute of work of each round: those of the first crew, then the next's."""
        ends = self.offset_min
        last = ends[len(self.day_min) - self.reserve]
        return ([(0, last)] if self.roam else list(pairwise(ends))) * self.crews

    @property
    def last_days(self) -> tuple[int, ...]:
        """As many days at the end as are to be in hand."""
        return tuple(range(len(self.day_min)))[len(self.day_min) - self.reserve :]

    @property
    def rounds_each(self) -> int:
        """How many rounds a crew has; those of another crew stand so many places on."""
        return 1 if self.roam else len(self.day_min)

    def holds(self, number: int, opening: Opening) -> bool:
        """Whether an opening lies in a round."""
        return self.roam or opening.day == number % self.rounds_each

    def back_min(self, site: int) -> int:
        """Minutes home from a site; none for a crew that does not go home."""
        return 0 if self.roam else int(self.travel_min[site, -1])

    def arrival(self, opening: Opening, start_min: int) -> int:
        """The latest minute of work to be at a site for marks from `start_min` on."""
        return self.offset_min[opening.day] + start_min - self.work.setup_min

    def departure(self, opening: Opening, start_min: int) -> int:
        """The minute of work when the board is packed up."""
        end = opening.end_min(start_min)
        return self.offset_min[opening.day] + end + self.work.packing_min


def starts_to_choose(opening: Opening) -> range:
    """The starts of an opening that the choice needs.

    Of a pair day only the latest: a shorter stay lies within every longer one, so whatever
    goes with a longer goes with it.
    """
    return opening.starts[-1:] if opening.kind == "pair" else opening.starts


class Plan(NamedTuple):
    """The stops of each round in their order, and the days in hand for cloud."""

    rounds: list[list[Stop]]
    in_hand: tuple[int, ...] = ()

    @property
    def stops(self) -> list[Stop]:
        """All of them, round by round."""
        return [stop for stops in self.rounds for stop in stops]


def worth(plan: Plan, problem: Problem) -> tuple[int, int, int, int]:
    """How good a plan is, the greater the better.

    Sites; then fewer of them that no day in hand can repeat, less travel, and fewer days waited.
    """
    return (
        len(plan.stops),
        -len(once_only(plan, problem)),
        -sum(travel_min(stops, problem) for stops in plan.rounds),
        -sum(stop.opening.day for stop in plan.stops) - sum(plan.in_hand),
    )


def once_only(plan: Plan, problem: Problem) -> set[int]:
    """Sites that no day in hand can repeat, were cloud to take their visit.

    Of a crew that roams none is counted: where it stands then is not known here.
    """
    if problem.roam or not problem.reserve:
        return set()
    again = days_to_repeat(problem)
    return {
        site
        for site, day in ((stop.opening.site, stop.opening.day) for stop in plan.stops)
        if not any(other > day for other in again[site].intersection(plan.in_hand))
    }


def days_to_repeat(problem: Problem) -> dict[int, set[int]]:
    """On which days each site can be worked by a crew that has nothing else to do."""
    days: dict[int, set[int]] = {opening.site: set() for opening in problem.openings}
    for opening in _reachable_openings(problem):
        days[opening.site].add(opening.day)
    return days


def travel_min(stops: Sequence[Stop], problem: Problem) -> int:
    """Minutes of travel of a round, the way home with it."""
    if not stops:
        return 0
    places = [-1, *(stop.opening.site for stop in stops)]
    ways = sum(int(problem.travel_min[one, other]) for one, other in pairwise(places))
    return ways + problem.back_min(places[-1])


def reachable(problem: Problem) -> set[int]:
    """The sites that could be worked if the crew had nothing else to do."""
    return {opening.site for opening in _reachable_openings(problem)}


def _reachable_openings(problem: Problem) -> Iterator[Opening]:
    for opening in problem.openings:
        begin = 0 if problem.roam else problem.offset_min[opening.day]
        end = problem.offset_min[opening.day + 1]
        if any(begin <= first and last <= end for first, last in _alone(opening, problem)):
            yield opening


def _alone(opening: Opening, problem: Problem) -> Iterator[tuple[int, int]]:
    """From when to when a crew is out that has nothing else to do, minutes of work."""
    there = int(problem.travel_min[-1, opening.site])
    back = problem.back_min(opening.site)
    for start in starts_to_choose(opening):
        yield problem.arrival(opening, start) - there, problem.departure(opening, start) + back


def first_and_last(problem: Problem) -> Iterator[tuple[int, int]]:
    """Setting out and being back, minutes of its own day, of each visit that alone can be made."""
    for opening in _reachable_openings(problem):
        begin, end = problem.offset_min[opening.day : opening.day + 2]
        for first, last in _alone(opening, problem):
            if (problem.roam or first >= begin) and last <= end:
                yield max(0, first - begin), last - begin


def stretched(stops: list[Stop], problem: Problem) -> list[Stop]:
    """The same stops in the same order, the marks of each begun as early as can be.

    That gives a pair day its longest halves. A later stop is never pushed beyond the
    latest start that it allows.
    """
    limits = _latest_departures(stops, problem)
    out: list[Stop] = []
    for stop, leave_by in zip(stops, limits, strict=True):
        site = stop.opening.site
        if out:
            last = out[-1]
            at = problem.departure(*last) + int(problem.travel_min[last.opening.site, site])
        else:
            day = 0 if problem.roam else stop.opening.day
            at = problem.offset_min[day] + int(problem.travel_min[-1, site])
        out.append(
            next(
                Stop(opening, start)
                for opening, start in _same_visits(stop.opening, problem)
                if problem.arrival(opening, start) >= at
                and problem.departure(opening, start) <= leave_by
            )
        )
    return out


def _latest_departures(stops: list[Stop], problem: Problem) -> list[int]:
    """By when each stop must be left for those after it, minutes of work."""
    limits: list[int] = []
    for number in range(len(stops) - 1, -1, -1):
        opening = stops[number].opening
        day_end = problem.offset_min[opening.day + 1]
        if number == len(stops) - 1:
            limits.append(day_end - problem.back_min(opening.site))
            continue
        after = stops[number + 1].opening
        latest = max(
            problem.arrival(other, start)
            for other, start in _same_visits(after, problem)
            if problem.departure(other, start) <= limits[-1]
        )
        way = int(problem.travel_min[opening.site, after.site])
        limits.append(min(latest - way, day_end))
    return limits[::-1]


def _same_visits(opening: Opening, problem: Problem) -> list[tuple[Opening, int]]:
    """Every opening and start of the same kind of visit on the same day, the earliest first."""
    same = (opening.site, opening.day, opening.kind)
    return sorted(
        (
            (other, start)
            for other in problem.openings
            if (other.site, other.day, other.kind) == same
            for start in other.starts
        ),
        key=lambda each: each[1],
    )
