"""The choice of a crew's days as OR-Tools' constraint solver is told of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model
from scipy.sparse.csgraph import shortest_path

from orient.planning.crew.greedy import greedy
from orient.planning.crew.rounds import (
    Plan,
    Problem,
    Stop,
    days_to_repeat,
    once_only,
    starts_to_choose,
    worth,
)
from orient.planning.crew.visits import Opening

Told = Callable[[int, int], None]

_PROOF_OF_MOST_UNITS = 1.0
#: Ways between places, 40 sites on 14 days having about so many.
_WAYS = 20_000


class _Model:
    """Variables of the solver's model.

    A round is a circuit through the start, node 0, and those sites that it visits; a site
    it does not visit stands in a loop of its own.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        self.visit: dict[tuple[int, int], Any] = {}  # site, round
        self.begin: dict[tuple[int, int], Any] = {}
        self.end: dict[tuple[int, int], Any] = {}
        self.openings: dict[tuple[int, int], list[tuple[Opening, list[int]]]] = {}
        self.taken: dict[tuple[int, int], list[Any]] = {}
        self.travel: list[tuple[Any, int]] = []
        self.together: list[list[Any]] = []
        self.idle: list[Any] = []
        self.ways: dict[tuple[int, int, int], Any] = {}  # round, from, to; the start is -1
        self.in_hand: list[Any] = []  # of each day, where some are to be kept
        self.once_only: dict[int, Any] = {}  # of each site
        way = problem.travel_min.astype(float)
        # As a graph an entry of 0 would be no way at all.
        self._nearest = shortest_path(np.where(way > 0, way, 1e-6))
        for number, limits in enumerate(problem.rounds()):
            self._add_round(number, limits)
        for site in sorted({site for site, _ in self.visit}):
            self.model.add_at_most_one(
                visit for (other, _), visit in self.visit.items() if other == site
            )
        self._part_crews()
        if problem.reserve and not problem.roam:
            self._keep_days()
        self.most = self._most_sites()
        self.model.add(sum(self.visit.values()) <= self.most)
        # No day saved is worth a minute of travel, no travel saved is worth a visit that a day
        # in hand can repeat, none of these is worth a site.
        stops = len({site for site, _ in self.visit})
        self.minute = 1 + (stops + problem.reserve) * len(problem.day_min)
        longest = 2 * stops * int(problem.travel_min.max(initial=0))
        self.repeat = self.minute * (1 + longest)
        self.worth = self.repeat * (1 + len(self.once_only))
        self.model.maximize(
            self.worth * sum(self.visit.values())
            - self.repeat * sum(self.once_only.values())
            - self.minute * sum(minutes * arc for arc, minutes in self.travel)
            - sum(self._late())
        )

    def _add_round(self, number: int, limits: tuple[int, int]) -> None:
        problem, model = self.problem, self.model
        sites = self._sites_of_round(number, limits)
        idle = model.new_bool_var("")
        self.idle.append(idle)
        arcs = [(0, 0, idle)]
        for site in sites:
            self._add_visit(site, number)
            visit = self.visit[site, number]
            model.add_implication(visit, idle.negated())
            arcs.append((site + 1, site + 1, visit.negated()))
            out, back = model.new_bool_var(""), model.new_bool_var("")
            self.ways[number, -1, site], self.ways[number, site, -1] = out, back
            way_out, way_back = int(problem.travel_min[-1, site]), problem.back_min(site)
            model.add(self.begin[site, number] >= limits[0] + way_out).only_enforce_if(out)
            model.add(self.end[site, number] <= limits[1] - way_back).only_enforce_if(back)
            arcs += [(0, site + 1, out), (site + 1, 0, back)]
            self.travel += [(out, way_out), (back, way_back)]
        for one, other in self._possible_ways(sites, number):
            way = int(problem.travel_min[one, other])
            arc = self.ways[number, one, other] = model.new_bool_var("")
            model.add(self.begin[other, number] >= self.end[one, number] + way).only_enforce_if(arc)
            arcs.append((one + 1, other + 1, arc))
            self.travel.append((arc, way))
        model.add_circuit(arcs)
        model.add_no_overlap(
            model.new_optional_interval_var(
                self.begin[site, number],
                model.new_int_var(0, limits[1] - limits[0], ""),
                self.end[site, number],
                self.visit[site, number],
                "",
            )
            for site in sites
        )
        for together in self._sets_at_once(sites, number):
            model.add_at_most_one(together)
            self.together.append(together)

    def _part_crews(self) -> None:
        """Crews are alike: of two with the same hours the first has no fewer visits."""
        each = self.problem.rounds_each
        for number in range(len(self.idle) - each):
            one, other = (
                sum(visit for (_, of), visit in self.visit.items() if of == place)
                for place in (number, number + each)
            )
            self.model.add(one >= other)

    def _keep_days(self) -> None:
        """So many days have no visit; a site has to be told that none of them could repeat."""
        problem, model = self.problem, self.model
        self.in_hand = [model.new_bool_var("") for _ in problem.day_min]
        model.add(sum(self.in_hand) == problem.reserve)
        for number, idle in enumerate(self.idle):
            model.add_implication(self.in_hand[number % problem.rounds_each], idle)
        again = days_to_repeat(problem)
        for (site, number), visit in self.visit.items():
            if site not in self.once_only:
                self.once_only[site] = model.new_bool_var("")
            day = number % problem.rounds_each
            later = sum(self.in_hand[other] for other in again[site] if other > day)
            model.add(self.once_only[site] + later >= visit)

    def _most_sites(self) -> int:
        """How many sites can be visited at most, even if it took no time to go anywhere."""
        easier = cp_model.CpModel()
        free = {one.index: easier.new_bool_var("") for of in self.taken.values() for one in of}
        for site in {site for site, _ in self.taken}:
            easier.add_at_most_one(
                free[one.index] for key, of in self.taken.items() if key[0] == site for one in of
            )
        for together in self.together:
            easier.add_at_most_one(free[one.index] for one in together)
        easier.maximize(sum(free.values()))
        solver = _solver(_PROOF_OF_MOST_UNITS)
        solver.parameters.linearization_level = 2
        solver.solve(easier)
        return min(len({site for site, _ in self.taken}), int(solver.best_objective_bound + 1e-6))

    def hint_values(self, values: Mapping[int, int]) -> None:
        """Let the search set out from the value of each variable in a plan."""
        self.model.clear_hints()
        for number, value in values.items():
            self.model.add_hint(self.model.get_int_var_from_proto_index(number), value)

    def hint_plan(self, plan: Plan) -> None:
        """Let the search set out from a plan, so that it always has one."""
        told: dict[int, int] = {}
        if self.in_hand:
            told |= {self.in_hand[day].index: 1 for day in plan.in_hand}
            told |= {self.once_only[site].index: 1 for site in once_only(plan, self.problem)}
        for number, stops in enumerate(_parted(plan.rounds, self.problem.rounds_each)):
            told[self.idle[number].index] = int(not stops)
            places = [-1, *(stop.opening.site for stop in stops), -1]
            for way in pairwise(places) if stops else ():
                told[self.ways[number, *way].index] = 1
            for stop in stops:
                self._tell_stop(told, number, stop)
        variables = (
            self.model.get_int_var_from_proto_index(place)
            for place in range(len(self.model.proto.variables))
        )
        self.hint_values(
            {one.index: told.get(one.index, int(one.proto.domain[0])) for one in variables}
        )

    def _tell_stop(self, told: dict[int, int], number: int, stop: Stop) -> None:
        key = (stop.opening.site, number)
        told[self.visit[key].index] = 1
        told[self.begin[key].index] = self.problem.arrival(*stop)
        told[self.end[key].index] = self.problem.departure(*stop)
        for (opening, _), taken in zip(self.openings[key], self.taken[key], strict=True):
            told[taken.index] = int(opening is stop.opening)

    def _late(self) -> Iterator[Any]:
        """The number of the day of each visit, and of each day in hand."""
        yield from (day * kept for day, kept in enumerate(self.in_hand))
        for key, taken in self.taken.items():
            for (opening, _), one in zip(self.openings[key], taken, strict=True):
                yield opening.day * one

    def _sets_at_once(self, sites: list[int], number: int) -> Iterator[list[Any]]:
        """Visits that all last over the same minute, whenever each of them is begun.

        The solver would find that out one by one; told at once, it knows how many sites a
        day can hold at most.
        """
        kept = []
        for site in sites:
            key = (site, number)
            for (opening, starts), one in zip(self.openings[key], self.taken[key], strict=True):
                arrivals = [self.problem.arrival(opening, start) for start in starts]
                departures = [self.problem.departure(opening, start) for start in starts]
                if max(arrivals) < min(departures):
                    kept.append((max(arrivals), min(departures), one))
        told: set[tuple[int, ...]] = set()
        for minute in sorted({latest for latest, _, _ in kept}):
            together = [one for latest, soonest, one in kept if latest <= minute < soonest]
            names = tuple(one.index for one in together)
            if len(together) > 1 and names not in told:
                told.add(names)
                yield together

    def _sites_of_round(self, number: int, limits: tuple[int, int]) -> list[int]:
        """The sites with openings in reach; what is out of reach is left out at once."""
        problem = self.problem
        for opening in problem.openings:
            if not problem.holds(number, opening):
                continue
            soonest = limits[0] + int(self._nearest[-1, opening.site])
            back = 0 if problem.roam else int(self._nearest[opening.site, -1])
            starts = [
                start
                for start in starts_to_choose(opening)
                if problem.arrival(opening, start) >= soonest
                and problem.departure(opening, start) <= limits[1] - back
            ]
            if starts:
                self.openings.setdefault((opening.site, number), []).append((opening, starts))
        return sorted(site for site, of in self.openings if of == number)

    def _add_visit(self, site: int, number: int) -> None:
        problem, model, key = self.problem, self.model, (site, number)
        each = self.openings[key]
        arrivals = [[problem.arrival(opening, s) for s in starts] for opening, starts in each]
        last = max(problem.departure(opening, s) for opening, starts in each for s in starts)
        begin = model.new_int_var_from_domain(
            cp_model.Domain.from_values(sorted({a for some in arrivals for a in some})), ""
        )
        end = model.new_int_var(0, last, "")
        visit = model.new_bool_var("")
        taken = [model.new_bool_var("") for _ in each]
        for (opening, starts), arrival, one in zip(each, arrivals, taken, strict=True):
            domain = cp_model.Domain.from_values(arrival)
            model.add_linear_expression_in_domain(begin, domain).only_enforce_if(one)
            stay = problem.departure(opening, starts[0]) - arrival[0]
            model.add(end == begin + stay).only_enforce_if(one)
        model.add_exactly_one([*taken, visit.negated()])
        self.begin[key], self.end[key], self.visit[key], self.taken[key] = begin, end, visit, taken

    def _possible_ways(self, sites: list[int], number: int) -> Iterator[tuple[int, int]]:
        """From which site to which the time of a round allows to go at all."""
        problem = self.problem
        first, last = {}, {}
        for site in sites:
            visits = [(o, s) for o, starts in self.openings[site, number] for s in starts]
            first[site] = min(problem.departure(*each) for each in visits)
            last[site] = max(problem.arrival(*each) for each in visits)
        for one in sites:
            for other in sites:
                way = int(problem.travel_min[one, other])
                if one != other and first[one] + way <= last[other]:
                    yield one, other

    def plan(self, solver: cp_model.CpSolver) -> Plan:
        """The solver's choice, each round in the order of its visits."""
        rounds: list[list[Stop]] = [[] for _ in self.problem.rounds()]
        for (site, number), visit in self.visit.items():
            if not solver.boolean_value(visit):
                continue
            taken = self.taken[site, number]
            which = next(k for k, one in enumerate(taken) if solver.boolean_value(one))
            opening, _ = self.openings[site, number][which]
            arrival = solver.value(self.begin[site, number])
            start = arrival - self.problem.arrival(opening, 0)
            rounds[number].append(Stop(opening, start))
        for stops in rounds:
            stops.sort(key=lambda stop: self.problem.arrival(*stop))
        if not self.in_hand:
            return Plan(rounds, self.problem.last_days)
        in_hand = (day for day, kept in enumerate(self.in_hand) if solver.boolean_value(kept))
        return Plan(rounds, tuple(in_hand))


class _Telling(cp_model.CpSolverSolutionCallback):
    def __init__(self, model: _Model, told: Told) -> None:
        super().__init__()
        self._of, self._told = model, told

    def on_solution_callback(self) -> None:
        sites = -int(-self.objective_value // self._of.worth)
        rest = round(sites * self._of.worth - self.objective_value) % self._of.repeat
        self._told(sites, rest // self._of.minute)


def solve(problem: Problem, units: tuple[float, float], told: Told) -> tuple[Plan, int, bool]:
    """Let the solver choose; the parts of a `crew.Choice`, marks as late as it happens.

    Args:
        problem: what is to be chosen from.
        units: of deterministic search, for a proof and then for something better; more are
            given to a problem of more ways than `_WAYS`.
        told: as for `crew.choose`.

    """
    whole = _Model(problem)
    if not whole.visit:
        return Plan([[] for _ in problem.rounds()], greedy(problem).in_hand), 0, True
    best = greedy(problem)
    told(*_said(best, problem))
    whole.hint_plan(best)
    size = max(1.0, len(whole.travel) / _WAYS)
    telling = _Telling(whole, told)
    solver = _solver(units[0] * size)
    status = solver.solve(whole.model, telling)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        best = _better(best, whole.plan(solver), problem)
    if status == cp_model.OPTIMAL:
        return best, len(best.stops), True
    whole.hint_plan(best)
    further = _solver(units[1] * size)
    # One worker that takes the searches about a solution in turn: the same on every machine.
    further.parameters.interleave_search = True
    if further.solve(whole.model, telling) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        best = _better(best, whole.plan(further), problem)
    return best, min(whole.most, _most_by_days(problem, units[0] * size)), False


def _better(one: Plan, other: Plan, problem: Problem) -> Plan:
    return max(one, other, key=lambda plan: worth(plan, problem))


def _said(plan: Plan, problem: Problem) -> tuple[int, int]:
    sites, _, travel, _ = worth(plan, problem)
    return sites, -travel


def _parted(rounds: list[list[Stop]], each: int) -> list[list[Stop]]:
    """The same plan with the rounds of the same hours in the order that `_part_crews` wants."""
    parted = list(rounds)
    for first in range(each):
        alike = sorted(rounds[first::each], key=len, reverse=True)
        parted[first::each] = alike
    return parted


def _most_by_days(problem: Problem, units: float) -> int:
    """No plan has more sites than its days could have one by one, each with the best of all.

    Of days in hand it is those that have least.
    """
    if problem.roam:
        return len({opening.site for opening in problem.openings})
    most = []
    for day in range(len(problem.day_min)):
        of_day = [opening for opening in problem.openings if opening.day == day]
        alone = replace(problem, openings=of_day, reserve=0)
        model = _Model(alone)
        if not model.visit:
            continue
        model.model.maximize(sum(model.visit.values()))
        solver = _solver(units / len(problem.day_min))
        known = solver.solve(model.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        bound = int(solver.best_objective_bound + 1e-6) if known else model.most
        most.append(min(model.most, bound))
    return sum(sorted(most, reverse=True)[: len(problem.day_min) - problem.reserve])


def _solver(units: float) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = units
    return solver
