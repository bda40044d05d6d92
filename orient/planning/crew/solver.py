"""The choice of a crew's days as OR-Tools' constraint solver is told of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from ortools.sat.python import cp_model
from scipy.sparse.csgraph import shortest_path

from orient.planning.crew.rounds import Problem, Stop, starts_to_choose
from orient.planning.crew.visits import Opening

Told = Callable[[int, int], None]

_PROOF_OF_MOST_UNITS = 1.0
#: Ways between places, 40 sites on 14 days having about so many.
_WAYS = 20_000


class NoPlan(ValueError):
    """The search ended before anything was found."""


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
        way = problem.travel_min.astype(float)
        # As a graph an entry of 0 would be no way at all.
        self._nearest = shortest_path(np.where(way > 0, way, 1e-6))
        for number, limits in enumerate(problem.rounds()):
            self._add_round(number, limits)
        for site in sorted({site for site, _ in self.visit}):
            self.model.add_at_most_one(
                visit for (other, _), visit in self.visit.items() if other == site
            )
        self.most = self._most_sites()
        self.model.add(sum(self.visit.values()) <= self.most)
        # No day saved is worth a minute of travel, no travel saved is worth a site.
        stops = len({site for site, _ in self.visit})
        self.minute = 1 + stops * len(problem.day_min)
        longest = 2 * stops * int(problem.travel_min.max(initial=0))
        self.worth = self.minute * (1 + longest)
        self.model.maximize(
            self.worth * sum(self.visit.values())
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
            way_out, way_back = int(problem.travel_min[-1, site]), problem.back_min(site)
            model.add(self.begin[site, number] >= limits[0] + way_out).only_enforce_if(out)
            model.add(self.end[site, number] <= limits[1] - way_back).only_enforce_if(back)
            arcs += [(0, site + 1, out), (site + 1, 0, back)]
            self.travel += [(out, way_out), (back, way_back)]
        for one, other in self._possible_ways(sites, number):
            way = int(problem.travel_min[one, other])
            arc = model.new_bool_var("")
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

    def hint(self, value: Callable[[Any], int]) -> None:
        """Let the search set out from a plan: the value of each variable in it."""
        self.model.clear_hints()
        for number in range(len(self.model.proto.variables)):
            variable = self.model.get_int_var_from_proto_index(number)
            self.model.add_hint(variable, value(variable))

    def hint_idleness(self) -> None:
        """Let the search set out from the plan to go nowhere, so that it always has one."""
        idle = {one.index for one in self.idle}
        self.hint(lambda one: 1 if one.index in idle else int(one.proto.domain[0]))

    def _late(self) -> Iterator[Any]:
        """The number of the day of each visit."""
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
            if not problem.roam and opening.day != number:
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

    def stops(self, solver: cp_model.CpSolver) -> list[list[Stop]]:
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
        return rounds


class _Telling(cp_model.CpSolverSolutionCallback):
    def __init__(self, model: _Model, told: Told) -> None:
        super().__init__()
        self._worth, self._minute, self._told = model.worth, model.minute, told

    def on_solution_callback(self) -> None:
        sites = -int(-self.objective_value // self._worth)
        self._told(sites, round(sites * self._worth - self.objective_value) // self._minute)


def solve(
    problem: Problem, units: tuple[float, float], told: Told
) -> tuple[list[list[Stop]], int, bool]:
    """Let the solver choose; the parts of a `crew.Choice`, marks as late as it happens.

    Args:
        problem: what is to be chosen from.
        units: of deterministic search, for a proof and then for something better; more are
            given to a problem of more ways than `_WAYS`.
        told: as for `crew.choose`.

    Raises:
        NoPlan: nothing was found in so many units.
    """
    whole = _Model(problem)
    if not whole.visit:
        return [[] for _ in problem.rounds()], 0, True
    whole.hint_idleness()
    size = max(1.0, len(whole.travel) / _WAYS)
    telling = _Telling(whole, told)
    solver = _solver(units[0] * size)
    status = solver.solve(whole.model, telling)
    if status == cp_model.OPTIMAL:
        rounds = whole.stops(solver)
        return rounds, sum(map(len, rounds)), True
    if status == cp_model.FEASIBLE:
        whole.hint(solver.value)
    better = _solver(units[1] * size)
    # One worker that takes the searches about a solution in turn: the same on every machine.
    better.parameters.interleave_search = True
    better.parameters.use_lns_only = True
    if better.solve(whole.model, telling) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return whole.stops(better), whole.most, False
    if status == cp_model.FEASIBLE:
        return whole.stops(solver), whole.most, False
    raise NoPlan(
        "no plan was found in the time of the search: raise --effort, or take fewer sites or days"
    )


def _solver(units: float) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = units
    return solver
