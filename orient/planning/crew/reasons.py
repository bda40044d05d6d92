"""Why a site cannot be reached: each thing that may bind is lifted by itself and tried."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.planning.bring import COMMON_BOARDS_MM
from orient.planning.crew.rounds import Problem, first_and_last, reachable
from orient.planning.crew.visits import Work, site_plan
from orient.planning.hours import Limits
from orient.planning.remedies import HIGH_SUNS_DEG, LOW_SUNS_DEG, RODS_MM
from orient.planning.rig import Rig
from orient.text import within_95

#: Targets tried are so many times the one that was asked for.
_LOOSER = (1.25, 1.5, 2.0, 3.0, 4.0)
_WHOLE_DAY_S = 86400.0
#: Hours are told to this, seconds.
_ROUND_S = 900.0


class Reason(NamedTuple):
    """Why a site is not reached, a key of `choice.WHY`, and what each by itself would do."""

    why: str
    would_do: str


@dataclass(frozen=True)
class Crew:
    """What a plan is made with: of all of it one thing is lifted at a time.

    `travel_min` is between all sites, the start last; `numbers` are the row numbers of the
    sites that are asked about.
    """

    sites: pd.DataFrame
    dates: Any
    travel_min: Any
    work: Work
    rig: Rig
    limits: Limits
    roam: bool
    step_min: float
    numbers: tuple[int, ...]

    def problem(self) -> Problem:
        """Of the sites in question alone, one crew that has nothing else to do."""
        days = self.work.days(self.dates)
        some = self.sites.iloc[list(self.numbers)]
        openings = site_plan(some, days, self.work, self.rig, self.limits, self.step_min).openings
        places = [*self.numbers, len(self.sites)]
        travel_min = self.travel_min[np.ix_(places, places)]
        return Problem(openings, travel_min, days.minutes, self.work, self.roam)

    def reached(self) -> set[int]:
        """The row numbers of those sites in question that can be reached."""
        return {self.numbers[site] for site in reachable(self.problem())}

    def about(self, numbers: Sequence[int]) -> Crew:
        """The same of other sites."""
        return replace(self, numbers=tuple(numbers))


def reasons(crew: Crew, has_hours: set[int]) -> dict[int, Reason]:
    """Why each of some sites cannot be reached even by a crew with nothing else to do.

    Args:
        crew: with those sites' numbers.
        has_hours: the sites that have good hours within the crew's day, too far away as they
            are.

    Returns:
        By row number the reason, and in words everything that was tried by itself and makes
        the site reachable; `no-window` where nothing alone does.
    """
    found: dict[int, list[tuple[str, str]]] = {number: [] for number in crew.numbers}
    for kind, changes in _lifts(crew):
        left = list(crew.numbers)
        for words, changed in changes:
            done = changed.about(left).reached() if left else set()
            for number in done:
                found[number].append((kind, words))
            left = [number for number in left if number not in done]
    for number in crew.numbers:
        hours = _hours(crew.about([number]))
        if hours:
            # Before what is carried: no more is needed than to set out sooner or be back later.
            kind = "too-far" if number in has_hours else "hours"
            found[number].insert(0, (kind, hours))
    return {number: _reason(ways, number in has_hours) for number, ways in found.items()}


def _reason(ways: list[tuple[str, str]], has_hours: bool) -> Reason:
    otherwise = "too-far" if has_hours else "no-window"
    named = next((kind for kind, _ in ways if kind in _NAMED), otherwise)
    return Reason(otherwise if has_hours else named, "; ".join(words for _, words in ways))


#: Reasons, what binds first before what would help as well.
_NAMED = ("hours", "skyline", "rod", "target", "sun", "watch")

Lift = Iterator[tuple[str, Crew]]


def _lifts(crew: Crew) -> Iterator[tuple[str, Lift]]:
    yield "skyline", iter([("an open skyline", _without_skyline(crew))])
    yield "rod", _other_rigs(crew)
    yield (
        "target",
        (
            (f"a target of {within_95(target)}", replace(crew, limits=limits))
            for target, limits in _targets(crew.limits)
        ),
    )
    yield "sun", _other_suns(crew)
    if not crew.work.watch_trusted:
        trusted = replace(crew.work, watch_trusted=True)
        yield "watch", iter([("a trusted watch", replace(crew, work=trusted))])
    if not crew.roam:
        yield "roam", iter([("sleeping out (--roam)", replace(crew, roam=True))])


def _without_skyline(crew: Crew) -> Crew:
    return replace(crew, sites=crew.sites.assign(horizon=""))


def _targets(limits: Limits) -> Iterator[tuple[float, Limits]]:
    for factor in _LOOSER:
        target = limits.target_deg * factor
        yield target, replace(limits, target_deg=target)


def _other_rigs(crew: Crew) -> Lift:
    """Other rods, the nearest in size first, then larger boards."""
    rods = [rod for rod in RODS_MM if rod != crew.rig.rod_mm]
    for rod in sorted(rods, key=lambda rod: abs(np.log(rod / crew.rig.rod_mm))):
        yield f"a rod of {rod:g} mm", replace(crew, rig=replace(crew.rig, rod_mm=rod))
    for width, depth in COMMON_BOARDS_MM if crew.rig.reach_mm is None else ():
        if width > crew.rig.board_width_mm and depth > crew.rig.board_depth_mm:
            rig = replace(crew.rig, board_width_mm=width, board_depth_mm=depth)
            yield f"a board of {width:g} × {depth:g} mm", replace(crew, rig=rig)


def _other_suns(crew: Crew) -> Lift:
    for name, altitudes, words in (
        ("min_altitude_deg", LOW_SUNS_DEG, "down"),
        ("max_altitude_deg", HIGH_SUNS_DEG, "up"),
    ):
        now = getattr(crew.limits, name)
        for altitude in altitudes:
            if (altitude < now) if words == "down" else (altitude > now):
                limits = replace(crew.limits, **{name: altitude})
                yield f"a sun {words} to {altitude:g}°", replace(crew, limits=limits)


def _hours(crew: Crew) -> str:
    """The crew's hours that would do, the least beyond its own; "" where none do."""
    work = crew.work
    whole = replace(crew, work=replace(work, day_start_s=0.0, day_end_s=_WHOLE_DAY_S))
    problem = replace(whole.problem(), roam=crew.roam)
    spans = sorted(
        first_and_last(problem),
        key=lambda span: (
            max(work.day_start_s - 60.0 * span[0], 0.0) + max(60.0 * span[1] - work.day_end_s, 0.0)
        ),
    )
    for first_min, last_min in spans[:1]:
        start_s = min(work.day_start_s, np.floor(60.0 * first_min / _ROUND_S) * _ROUND_S)
        end_s = max(work.day_end_s, np.ceil(60.0 * last_min / _ROUND_S) * _ROUND_S)
        # Runs begin at every tenth minute of the crew's day: of another day at other instants.
        for more_s in (0.0, _ROUND_S, 2 * _ROUND_S):
            hours = max(0.0, start_s - more_s), min(_WHOLE_DAY_S, end_s + more_s)
            longer = replace(work, day_start_s=hours[0], day_end_s=hours[1])
            if replace(crew, work=longer).reached():
                return f"a day from {_clock(hours[0])} to {_clock(hours[1])}"
    return ""


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}"
