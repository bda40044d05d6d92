"""The visits that a crew could make: when a site can be worked, and for how long.

A visit is of one of two kinds. On a *pair* day the board stands from the first mark of the
morning to the last of the afternoon: marks begun at some half-interval before noon end at
about the same after it. A *timed* run is marks at even spaces with a trusted watch, adjusted
together, and just as long as it takes to meet the target.

Minutes count from the start of the crew's day, which runs by one clock wherever it goes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers import budget, sun
from orient.numbers.budget import PlannedMarks
from orient.numbers.light import light_altitude_deg, light_at_board
from orient.numbers.shadow import UNKNOWNS
from orient.planning import hours
from orient.planning.hours import Limits, SiteDays
from orient.planning.rig import Rig
from orient.tables import clock

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Kind = Literal["pair", "timed"]

#: Marks of a timed run are this far apart, minutes ...
RUN_INTERVAL_MIN = 10
#: ... and the run no longer than this (*common practice, no source*).
LONGEST_RUN_MIN = 120
_SITE_DAYS_AT_ONCE = 200


@dataclass(frozen=True)
class Work:
    """How a crew works: the hours of its day, and its minutes at a board.

    `day_start_s` and `day_end_s` are seconds since midnight by the crew's clock;
    `marking_min` is the least time of marks in each half of a pair day and in a timed run.
    """

    timezone: str
    day_start_s: float = 6 * 3600.0
    day_end_s: float = 20 * 3600.0
    setup_min: int = 30
    packing_min: int = 10
    marking_min: int = 40
    watch_trusted: bool = False

    def days(self, dates: Any) -> CrewDays:
        """The crew's days of local dates by its own clock."""
        day = np.asarray(dates, dtype="datetime64[D]")
        ends = (clock.utc_s(day, s, self.timezone) for s in (self.day_start_s, self.day_end_s))
        return CrewDays(day, *ends)


class CrewDays(NamedTuple):
    """The crew's days side by side, arrays of shape (d,)."""

    date: NDArray[np.datetime64]
    start_utc_s: Array
    end_utc_s: Array

    @property
    def minutes(self) -> list[int]:
        """How long each day is, whole minutes."""
        return [int(m) for m in np.floor((self.end_utc_s - self.start_utc_s) / 60.0)]


@dataclass(frozen=True)
class Opening:
    """Starts of marking that a site allows on one day: whole minutes of the crew's day.

    `site` and `day` are row numbers. Marks begun at m end at `sum_min` − m on a pair day,
    and at m + `run_min` in a timed run; `u_deg` is what is expected, standard: of a run
    begun at the worst of the starts, of a pair day its best pair of the whole window;
    `each_u_deg` of a run begun at each start.
    """

    site: int
    day: int
    kind: Kind
    starts: range
    u_deg: float
    sum_min: int = 0
    run_min: int = 0
    each_u_deg: tuple[float, ...] = ()

    def u_deg_from(self, start_min: int) -> float:
        """What is expected of a visit whose first mark is at `start_min`."""
        if not self.each_u_deg:
            return self.u_deg
        return self.each_u_deg[self.starts.index(start_min)]

    def end_min(self, start_min: int) -> int:
        """The minute of the last mark of a visit whose first is at `start_min`."""
        return self.sum_min - start_min if self.kind == "pair" else start_min + self.run_min


class SitePlan(NamedTuple):
    """What the sites allow: every opening, and the sites' windows whatever the crew's hours.

    `windows` has one row a site and crew's day, sites in order, days within each: the
    columns of `hours.plan_chunk`.
    """

    openings: list[Opening]
    windows: pd.DataFrame


def site_plan(
    sites: pd.DataFrame,
    days: CrewDays,
    work: Work,
    rig: Rig,
    limits: Limits,
    step_min: float = 10.0,
    advance: Callable[[int], None] = lambda _: None,
) -> SitePlan:
    """Find the visits that each site allows on each of the crew's days.

    Args:
        sites: the sites table.
        days: of `work.days`.
        work: the crew's hours.
        rig, limits: what is carried, and what a visit must meet.
        step_min: as for `hours.plan_chunk`.
        advance: told how many site-days are done, for a progress bar.

    Returns:
        The openings, each start of which meets the target within the crew's hours.
    """
    site, day, dates = _site_days(sites, days)
    openings: list[Opening] = []
    windows = []
    for start in range(0, site.size, _SITE_DAYS_AT_ONCE):
        part = slice(start, start + _SITE_DAYS_AT_ONCE)
        plan = hours.plan_chunk(sites, site[part], dates[part], rig, limits, step_min)
        windows.append(plan)
        openings += _pair_openings(plan, site[part], day[part], days, work)
        if work.watch_trusted:
            site_days = SiteDays.of(sites, site[part], dates[part])
            openings += _run_openings(site_days, site[part], day[part], days, work, rig, limits)
        advance(len(plan))
    return SitePlan(openings, pd.concat(windows, ignore_index=True))


def _site_days(sites: pd.DataFrame, days: CrewDays) -> tuple[Index, Index, Any]:
    """Every site on every day: row numbers, and the site's own date."""
    site, day = (part.ravel() for part in np.indices((len(sites), len(days.date))))
    # At the middle of the crew's day: over a date line it is another.
    middle = ((days.start_utc_s + days.end_utc_s) / 2)[day]
    return site, day, clock.local_date(middle, sites["timezone"].to_numpy()[site])


def mark_grid(
    sites: pd.DataFrame, days: CrewDays, work: Work, rig: Rig, limits: Limits
) -> tuple[NDArray[np.int64], Array, NDArray[np.bool_]]:
    """What a mark tells at every tenth minute of each site's days.

    Args:
        sites: s rows of the sites table.
        days: d of them.
        work, rig, limits: as for `site_plan`.

    Returns:
        The k minutes of the crew's day; the information (s, d, k, 9, 9) of
        `budget.mark_information`; where a mark can be made, (s, d, k).
    """
    site, day, dates = _site_days(sites, days)
    parts = []
    for start in range(0, site.size, _SITE_DAYS_AT_ONCE):
        part = slice(start, start + _SITE_DAYS_AT_ONCE)
        site_days = SiteDays.of(sites, site[part], dates[part])
        parts.append(_day_marks(site_days, day[part], days, work, rig, limits))
    shape = (len(sites), len(days.date), -1)
    information = np.concatenate([each for _, each, _ in parts])
    marked = np.concatenate([each for _, _, each in parts])
    unknowns = information.shape[-2:]
    return parts[0][0], information.reshape(*shape, *unknowns), marked.reshape(shape)


def _pair_openings(
    plan: pd.DataFrame, site: Index, day: Index, days: CrewDays, work: Work
) -> Iterator[Opening]:
    begin_s = days.start_utc_s[day]
    names = ("morning_from", "morning_to", "afternoon_from", "afternoon_to")
    ends = np.array([(plan[f"{name}_utc_s"] - begin_s) / 60.0 for name in names])
    length = np.array(days.minutes)[day]
    for number in np.flatnonzero(~plan["no-window"].to_numpy()):
        morning_from, morning_to, afternoon_from, afternoon_to = ends[:, number]
        # Equal altitudes stand a little off the mirror about noon: the wider of the two ends.
        total = int(np.ceil(max(morning_from + afternoon_to, morning_to + afternoon_from)))
        latest_end = length[number] - work.packing_min
        first = max(np.ceil(morning_from), work.setup_min, total - latest_end)
        last = np.floor(min(morning_to, total - afternoon_from) - work.marking_min)
        if first <= last:
            u_deg = float(plan["best_u_deg"].iloc[number])
            starts = range(int(first), int(last) + 1)
            yield Opening(int(site[number]), int(day[number]), "pair", starts, u_deg, total)


def _run_openings(
    site_days: SiteDays,
    site: Index,
    day: Index,
    days: CrewDays,
    work: Work,
    rig: Rig,
    limits: Limits,
) -> Iterator[Opening]:
    minutes, information, marked = _day_marks(site_days, day, days, work, rig, limits)
    u_deg, run_min = shortest_runs(information, marked, rig, limits, work.marking_min)
    for number in range(site.size):
        for run, same in groupby(range(minutes.size), key=lambda k: int(run_min[number, k])):
            columns = list(same)
            if run > 0:
                yield Opening(
                    int(site[number]),
                    int(day[number]),
                    "timed",
                    range(
                        int(minutes[columns[0]]), int(minutes[columns[-1]]) + 1, RUN_INTERVAL_MIN
                    ),
                    float(u_deg[number, columns].max()),
                    run_min=run,
                    each_u_deg=tuple(u_deg[number, columns].tolist()),
                )


def _day_marks(
    site_days: SiteDays, day: Index, days: CrewDays, work: Work, rig: Rig, limits: Limits
) -> tuple[NDArray[np.int64], Array, NDArray[np.bool_]]:
    """Minutes of the crew's day, what a mark tells at each, and where one can be made."""
    length = np.array(days.minutes)
    minutes = np.arange(work.setup_min, length.max() - work.packing_min + 1, RUN_INTERVAL_MIN)
    information, marked = _information(site_days, days.start_utc_s[day], minutes, rig, limits)
    marked &= minutes <= length[day][:, None] - work.packing_min
    return minutes, information, marked


def _information(
    site_days: SiteDays, begin_utc_s: Array, minutes: Any, rig: Rig, limits: Limits
) -> tuple[Array, NDArray[np.bool_]]:
    """What a mark at each minute of each site-day tells, (n, k, 9, 9), and where one can be."""
    shape = (begin_utc_s.size, minutes.size)
    day = np.repeat(np.arange(begin_utc_s.size), minutes.size)
    instants = (begin_utc_s[:, None] + 60.0 * minutes).ravel()
    light = light_at_board(instants, site_days.places.take(day))
    altitude = light_altitude_deg(light)
    lit = (altitude >= limits.min_altitude_deg) & (altitude <= limits.max_altitude_deg)
    lit &= hours.clearance_deg(site_days, day, light, altitude) >= 0
    lit = np.flatnonzero(lit)
    places = site_days.places.take(day[lit])
    rate = sun.direction_rate(instants[lit], *places[:2])
    marks = PlannedMarks.under(tuple(part[lit] for part in light), rate, rig.rod_mm)
    noon_y = site_days.noon_cotangent[day[lit]] * rig.rod_mm
    held = rig.room_mm(marks.x_mm, marks.y_mm, noon_y) >= 0
    marked = np.zeros(instants.size, dtype=bool)
    marked[lit[held]] = True
    information = np.zeros((instants.size, len(UNKNOWNS), len(UNKNOWNS)))
    information[lit[held]] = budget.mark_information(
        marks.take(np.flatnonzero(held)), rig.tolerances
    )
    return information.reshape(*shape, *information.shape[1:]), marked.reshape(shape)


def shortest_runs(
    information: Array, marked: NDArray[np.bool_], rig: Rig, limits: Limits, least_min: int
) -> tuple[Array, NDArray[np.int64]]:
    """The shortest run of timed marks from each instant on that meets the target.

    Args:
        information: of a mark at each instant, `RUN_INTERVAL_MIN` apart, shape (n, k, 9, 9).
        marked: where a mark can be made, (n, k).
        rig, limits: the tolerances and the target.
        least_min: the run is no shorter than this.

    Returns:
        The expected standard uncertainty, degrees, NaN where no run does; and the length of
        the run, minutes, 0 where none does; both (n, k).
    """
    u_deg, run_min = np.full(marked.shape, np.nan), np.zeros(marked.shape, dtype=np.int64)
    total = np.cumsum(np.pad(information, ((0, 0), (1, 0), (0, 0), (0, 0))), axis=1)
    count: Index = np.cumsum(np.pad(marked, ((0, 0), (1, 0))), axis=1)
    steps = marked.shape[1]
    for intervals in range(
        -(-least_min // RUN_INTERVAL_MIN), LONGEST_RUN_MIN // RUN_INTERVAL_MIN + 1
    ):
        marks = intervals + 1
        whole: NDArray[np.bool_] = count[:, marks:] - count[:, : steps + 1 - marks] == marks
        n, k = np.nonzero(whole & (run_min[:, : steps + 1 - marks] == 0))
        if n.size == 0:
            continue
        told = total[n, k + marks] - total[n, k]
        found = budget.expected_u_deg(budget.day_terms(told, rig.tolerances))
        good = found <= limits.target_deg
        u_deg[n[good], k[good]] = found[good]
        run_min[n[good], k[good]] = intervals * RUN_INTERVAL_MIN
    return u_deg, run_min
