"""A crew's time left over, spent where its lines gain most: longer runs, and second boards.

The visits stay as they were chosen. The time between them, on days that are not in hand for
cloud, goes where the expected uncertainty of a site's line falls most for each minute: to marks
begun earlier or gone on with, or to another set-up of the board at the site, on that day or on
another, which draws the same line. A crew has one watch and one rod: their errors are common to
all its boards of a site, so that a second board brings less than it would by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.budget import board_information, joint_u_deg
from orient.numbers.tolerances import Tolerances
from orient.planning.crew.rounds import Plan, Problem, Stop
from orient.planning.crew.visits import (
    LONGEST_RUN_MIN,
    RUN_INTERVAL_MIN,
    CrewDays,
    Opening,
    Work,
    mark_grid,
)
from orient.planning.hours import Limits
from orient.planning.rig import Rig

Array = NDArray[np.float64]
Minutes = NDArray[np.int64]

#: More marks are worth it where ten minutes of them lower the uncertainty by this part, and
#: another board where it does by that (both *common practice, no source*).
WORTH_TEN_MINUTES, WORTH_A_BOARD = 0.01, 0.1


class Better(NamedTuple):
    """A plan with what was added, and the expected uncertainty of each site's line.

    Standard uncertainties in degrees, by site, before and after.
    """

    plan: Plan
    before_u_deg: dict[int, float]
    after_u_deg: dict[int, float]


class Runs(NamedTuple):
    """Visits side by side: first minute, minutes they last, what they tell (n, 4, 4).

    Of timed runs `pair` is None; else it is the opening that they are of.
    """

    start_min: Minutes
    run_min: Minutes
    told: Array
    pair: Opening | None = None

    def take(self, which: NDArray[np.bool_]) -> Runs:
        """Some of them."""
        return Runs(self.start_min[which], self.run_min[which], self.told[which], self.pair)


@dataclass(frozen=True)
class Marks:
    """What marks every ten minutes tell, summed up along each day of each site.

    `total` of shape (sites, days, k + 1, 9, 9), `count` of where a mark can be made (sites,
    days, k + 1); `rows` maps a site's number to its row.
    """

    rows: dict[int, int]
    minutes: Minutes
    total: Array
    count: Minutes
    tolerances: Tolerances
    kept: dict[tuple[int, int], Runs] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        sites: pd.DataFrame,
        numbers: Sequence[int],
        days: CrewDays,
        work: Work,
        rig: Rig,
        limits: Limits,
    ) -> Marks:
        """Of the sites of these row numbers, on all the crew's days."""
        minutes, information, marked = mark_grid(sites.iloc[list(numbers)], days, work, rig, limits)
        before = ((0, 0), (0, 0), (1, 0))
        return cls(
            {site: row for row, site in enumerate(numbers)},
            minutes,
            np.cumsum(np.pad(information, (*before, (0, 0), (0, 0))), axis=2),
            np.cumsum(np.pad(marked, before), axis=2),
            rig.tolerances,
        )

    def runs(self, site: int, day: int, room: tuple[int, int], least: int, most: int) -> Runs:
        """Every run between two minutes of a day that lasts so long."""
        place = self.rows[site], day
        fits = np.flatnonzero((self.minutes >= room[0]) & (self.minutes <= room[1]))
        first, last = (part.ravel() for part in np.meshgrid(fits, fits))
        length = (last - first) * RUN_INTERVAL_MIN
        right = (length >= least) & (length <= most)
        first, last = first[right], last[right]
        whole = self.count[place][last + 1] - self.count[place][first] == last + 1 - first
        first, last = first[whole], last[whole]
        told = self.total[place][last + 1] - self.total[place][first]
        return Runs(
            self.minutes[first],
            (last - first) * RUN_INTERVAL_MIN,
            board_information(told, self.tolerances),
        )

    def short_runs(self, site: int, day: int, room: tuple[int, int], least: int) -> Runs:
        """The runs of a second board, no longer than a visit's."""
        if (site, day) not in self.kept:
            whole_day = (0, int(self.minutes[-1]))
            self.kept[site, day] = self.runs(site, day, whole_day, least, LONGEST_RUN_MIN)
        runs = self.kept[site, day]
        end_min = runs.start_min + runs.run_min
        return runs.take((runs.start_min >= room[0]) & (end_min <= room[1]))


class _Move(NamedTuple):
    """A change of a round: the stop at `place` replaced, or a new one put before it."""

    rate: float
    number: int
    place: int
    new: bool
    stop: Stop


def spend(
    plan: Plan,
    problem: Problem,
    marks: Marks | None,
    pair_u_deg: Callable[[Stop], float],
    tolerances: Tolerances,
    advance: Callable[[], None] = lambda: None,
) -> Better:
    """Spend the time that a plan leaves over.

    Args:
        plan: the visits, timed as they would be kept.
        problem: what they were chosen from.
        marks: of the plan's sites; None for a crew without a trusted watch.
        pair_u_deg: what a pair day is worth, standard, degrees.
        tolerances: of the set-ups.
        advance: called after each thing that is added.

    Returns:
        The same visits at the same sites, with more marks and more boards; no line is less
        good than before.
    """
    spending = _Spending(plan, problem, marks, pair_u_deg, tolerances)
    before = spending.lines_u_deg()
    spending.run(advance)
    return Better(Plan(spending.rounds, plan.in_hand), before, spending.lines_u_deg())


class _Spending:
    """A plan while time is spent on it."""

    def __init__(
        self,
        plan: Plan,
        problem: Problem,
        marks: Marks | None,
        pair_u_deg: Callable[[Stop], float],
        tolerances: Tolerances,
    ) -> None:
        self.problem, self.marks, self.in_hand = problem, marks, plan.in_hand
        self._pair_u_deg, self._tolerances = pair_u_deg, tolerances
        self.rounds = [list(stops) for stops in plan.rounds]
        self._pairs = {(o.site, o.day): o for o in problem.openings if o.kind == "pair"}
        self._crew_of = {
            stop.opening.site: self._crew(number)
            for number, stops in enumerate(plan.rounds)
            for stop in stops
        }
        self._lines = {site: self._line(site) for site in self._crew_of}
        # The best changes of each round, by the site whose line gains.
        self._moves: dict[tuple[int, int], list[_Move]] = {}

    def _crew(self, number: int) -> int:
        return number // self.problem.rounds_each

    def lines_u_deg(self) -> dict[int, float]:
        """The expected uncertainty of each site's line as the plan now stands."""
        return {site: float(self._u_deg(told)) for site, told in self._lines.items()}

    def _u_deg(self, told: Array) -> Array:
        return joint_u_deg(told, self._tolerances)

    def _told(self, stop: Stop) -> Array:
        """What a stop tells of its site's line and of what its crew carries."""
        if stop.opening.kind == "pair" or self.marks is None:
            return _by_pair(self._pair_u_deg(stop))
        room, length = (stop.start_min, stop.end_min), stop.opening.run_min
        told = self.marks.runs(stop.opening.site, stop.opening.day, room, length, length).told
        return np.asarray(told[0])

    def _line(self, site: int) -> Array:
        stops = (stop for stops in self.rounds for stop in stops if stop.opening.site == site)
        return np.sum([self._told(stop) for stop in stops], axis=0)

    def run(self, advance: Callable[[], None]) -> None:
        """Take the best change again and again, until none is worth its time."""
        changed = {(number, site) for number in range(len(self.rounds)) for site in self._crew_of}
        while True:
            for number, site in changed:
                if self._crew_of[site] == self._crew(number):
                    self._moves[number, site] = [*self._changes(number, site)]
            best = max((m for some in self._moves.values() for m in some), default=None)
            if best is None:
                return
            stops = self.rounds[best.number]
            stops[best.place : best.place + (not best.new)] = [best.stop]
            site = best.stop.opening.site
            self._lines[site] = self._line(site)
            changed = {key for key in self._moves if key[0] == best.number or key[1] == site}
            advance()

    def _changes(self, number: int, site: int) -> Iterator[_Move]:
        """The best of each change of a round that the line of a site gains by."""
        stops = self.rounds[number]
        for place, stop in enumerate(stops):
            if stop.opening.site == site and stop.opening.kind == "timed":
                yield from self._longer(number, place, stop)
        for place in range(len(stops) + 1):
            for day in self._days(number, place):
                yield from self._second(number, place, site, day)

    def _longer(self, number: int, place: int, stop: Stop) -> Iterator[_Move]:
        assert self.marks is not None
        site, day, length = stop.opening.site, stop.opening.day, stop.opening.run_min
        room = self._room(number, place, place + 1, site, day)
        runs = self.marks.runs(site, day, room, length, 24 * 60)
        others = self._lines[site] - self._told(stop)
        spent = np.maximum(runs.run_min - length, RUN_INTERVAL_MIN)
        least_fall = WORTH_TEN_MINUTES * spent / RUN_INTERVAL_MIN
        yield from self._best((number, place, False), (site, day), others, runs, spent, least_fall)

    def _second(self, number: int, place: int, site: int, day: int) -> Iterator[_Move]:
        work = self.problem.work
        room = self._room(number, place, place, site, day)
        if room[1] - room[0] < work.marking_min:
            return
        if self.marks is None:
            runs = self._pair(site, day, room)
        else:
            runs = self.marks.short_runs(site, day, room, work.marking_min)
        way = self._way_to(number, place, place, site)
        spent = runs.run_min + work.setup_min + work.packing_min + way
        told = self._lines[site]
        yield from self._best((number, place, True), (site, day), told, runs, spent, WORTH_A_BOARD)

    def _best(
        self,
        where: tuple[int, int, bool],
        site_day: tuple[int, int],
        others: Array,
        runs: Runs,
        spent: Minutes,
        least_fall: float | Array,
    ) -> Iterator[_Move]:
        """The run that brings most for its time, of those that bring enough."""
        if runs.start_min.size == 0:
            return
        now = float(self._u_deg(self._lines[site_day[0]]))
        fall = now - self._u_deg(others + runs.told)
        rate = np.where(fall >= least_fall * now, fall / spent, 0.0)
        best = int(np.argmax(rate))
        if rate[best] > 0:
            yield _Move(float(rate[best]), *where, self._stop(site_day, runs, best))

    def _stop(self, site_day: tuple[int, int], runs: Runs, which: int) -> Stop:
        start, length = int(runs.start_min[which]), int(runs.run_min[which])
        if runs.pair:
            return Stop(runs.pair, start)
        u_deg = float(self._u_deg(runs.told[which]))
        starts = range(start, start + 1)
        return Stop(Opening(*site_day, "timed", starts, u_deg, run_min=length), start)

    def _pair(self, site: int, day: int, room: tuple[int, int]) -> Runs:
        """A pair day as long as there is room for it; none where there is not enough."""
        opening = self._pairs.get((site, day))
        start = max(room[0], opening.sum_min - room[1]) if opening else 0
        none: Minutes = np.zeros(0, dtype=np.int64)
        if opening is None or start > opening.starts[-1]:
            return Runs(none, none, np.zeros((0, 4, 4)))
        stop = Stop(opening, max(start, opening.starts[0]))
        length = np.array([stop.end_min - stop.start_min])
        told = _by_pair(self._pair_u_deg(stop))[None]
        return Runs(np.array([stop.start_min]), length, told, opening)

    def _days(self, number: int, place: int) -> Sequence[int]:
        """The days that the gap before a stop lies on."""
        if not self.problem.roam:
            day = number % self.problem.rounds_each
            return () if day in self.in_hand else (day,)
        stops = self.rounds[number]
        first = stops[place - 1].opening.day if place else 0
        free = len(self.problem.day_min) - self.problem.reserve
        last = stops[place].opening.day if place < len(stops) else free - 1
        return range(first, last + 1)

    def _room(self, number: int, place: int, after: int, site: int, day: int) -> tuple[int, int]:
        """Between which minutes of a day marks can be made after one stop and before another."""
        problem, stops = self.problem, self.rounds[number]
        limits = problem.rounds()[number]
        free = problem.departure(*stops[place - 1]) if place else limits[0]
        here = stops[place - 1].opening.site if place else -1
        due = limits[1] - problem.back_min(site)
        if after < len(stops):
            onward = int(problem.travel_min[site, stops[after].opening.site])
            due = problem.arrival(*stops[after]) - onward
        offset, work = problem.offset_min[day], problem.work
        ready = free + int(problem.travel_min[here, site]) - offset
        return (
            max(0, ready) + work.setup_min,
            min(due - offset, problem.day_min[day]) - work.packing_min,
        )

    def _way_to(self, number: int, place: int, after: int, site: int) -> int:
        """How many minutes more of travel a stop at a site between two others makes."""
        problem, stops = self.problem, self.rounds[number]
        here = stops[place - 1].opening.site if place else -1
        there = int(problem.travel_min[here, site])
        if after < len(stops):
            next_site = stops[after].opening.site
            onward = int(problem.travel_min[site, next_site])
            return there + onward - int(problem.travel_min[here, next_site])
        before = problem.back_min(here) if here >= 0 else 0
        return there + problem.back_min(site) - before


def _by_pair(u_deg: float) -> Array:
    """What a pair tells: of the line alone, for it needs neither watch nor height."""
    return np.diag([1.0 / np.radians(u_deg) ** 2, 0.0, 0.0, 0.0])
