"""A plan found in a moment, round by round, always to the visit that looks best next.

The search sets out from it, so that its plan is never worse.
"""

from __future__ import annotations

from collections.abc import Iterator

from orient.planning.crew.rounds import Plan, Problem, Stop, starts_to_choose, worth

#: How much a minute of way counts beside a minute of waiting and work, tried one by one.
_WEIGHTS = (0.0, 0.5, 1.0, 2.0, 4.0)


def greedy(problem: Problem) -> Plan:
    """The best of a few plans, each made by going to the next visit that is soon done and near.

    Days in hand are the last ones.
    """
    plans = [_plan(problem, weight) for weight in _WEIGHTS]
    return max(plans, key=lambda plan: worth(plan, problem))


def _plan(problem: Problem, weight: float) -> Plan:
    limits = problem.rounds()
    rounds: list[list[Stop]] = [[] for _ in limits]
    left = {opening.site for opening in problem.openings}
    each = problem.rounds_each
    # Day by day, the crews in turn.
    free = [
        number
        for number in range(len(limits))
        if problem.roam or number % each not in problem.last_days
    ]
    for number in sorted(free, key=lambda number: (number % each, number)):
        while True:
            found = min(
                _next_visits(problem, number, rounds[number], left, limits[number], weight),
                key=lambda visit: visit[0],
                default=None,
            )
            if found is None:
                break
            rounds[number].append(found[1])
            left.discard(found[1].opening.site)
    return Plan(rounds, problem.last_days)


def _next_visits(
    problem: Problem,
    number: int,
    stops: list[Stop],
    left: set[int],
    limits: tuple[int, int],
    weight: float,
) -> Iterator[tuple[tuple[float, int, int], Stop]]:
    """Every visit that can come next and still get home, with what it costs."""
    here = stops[-1].opening.site if stops else -1
    now = problem.departure(*stops[-1]) if stops else limits[0]
    for place, opening in enumerate(problem.openings):
        if opening.site not in left or not problem.holds(number, opening):
            continue
        way = int(problem.travel_min[here, opening.site])
        for start in starts_to_choose(opening):
            if problem.arrival(opening, start) < now + way:
                continue
            done = problem.departure(opening, start)
            if done + problem.back_min(opening.site) <= limits[1]:
                yield (done - now + weight * way, way, place), Stop(opening, start)
            break
