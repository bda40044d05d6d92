"""Which hours of which days suit observing, for any number of sites and days.

A morning and an afternoon mark of equal altitude make a pair. The *half-interval* is the
time from the morning mark to local apparent noon. Along it, at every `step_min`, the pair's
expected uncertainty, the tips on the board and the horizon are looked at; the widest run
that suits is the day's window, one before noon and its mirror after, and its ends are then
narrowed down to a few seconds. A run shorter than a step may be passed over.

A day is the 24 hours about the upper transit nearest to 12:00 local civil time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.defaults import MAX_ALTITUDE_DEG, MIN_ALTITUDE_DEG, TARGET_U_DEG
from orient.errors import check_figures
from orient.flags import Flag
from orient.numbers import budget, sun
from orient.numbers.budget import PlannedMarks
from orient.numbers.daypath import DayPaths
from orient.numbers.horizon import Horizon, horizon_altitude_deg, parse_horizon
from orient.numbers.light import (
    HALF_DAY_S,
    Light,
    Places,
    light_altitude_deg,
    refracted,
)
from orient.numbers.shadow import UNKNOWNS, raise_light
from orient.planning.rig import Rig
from orient.tables import clock

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: Above this the tolerances are no longer small and the expected figure means nothing.
LARGEST_U_DEG = 10.0
#: Marks of the day's adjustment are this far apart.
MARK_INTERVAL_MIN = 20
WINDOW_COLUMNS = (
    "morning_from_utc_s",
    "morning_to_utc_s",
    "afternoon_from_utc_s",
    "afternoon_to_utc_s",
)
DAY_FLAGS = (Flag.SUN_TOO_HIGH, Flag.SUN_TOO_LOW, Flag.NO_WINDOW, Flag.OFF_BOARD)

# The widest gap between the two halves of a pair that the sun's own motion can make.
_LARGEST_SHIFT_S = 1800.0
# Fewer, and each step costs more a row; many more, and their memory is asked from the system anew.
_SITE_DAYS_A_CHUNK = 2000
_NARROWINGS = 4


@dataclass(frozen=True)
class Limits:
    """What a pair must meet: standard uncertainty and altitudes of the sun, degrees."""

    target_deg: float = TARGET_U_DEG
    min_altitude_deg: float = MIN_ALTITUDE_DEG
    max_altitude_deg: float = MAX_ALTITUDE_DEG

    def __post_init__(self) -> None:
        check_figures(
            ("target_deg", self.target_deg, 0.0 < self.target_deg <= 180.0, "degrees above 0"),
            (
                "min_altitude_deg",
                self.min_altitude_deg,
                0.0 <= self.min_altitude_deg < self.max_altitude_deg,
                f"0 or more, and less than max_altitude_deg, {self.max_altitude_deg:g}",
            ),
            (
                "max_altitude_deg",
                self.max_altitude_deg,
                self.max_altitude_deg <= 90.0,
                "90 at most",
            ),
        )


class SiteDays(NamedTuple):
    """Site-days side by side, arrays of shape (n,); `horizons` maps an index to its hills."""

    places: Places
    paths: DayPaths  # about local noon
    noon_utc_s: Array
    noon_altitude_deg: Array
    noon_cotangent: Array  # noon shadow of a rod of 1, + where it points north
    horizons: list[tuple[Index, Horizon]]

    @classmethod
    def of(cls, sites: pd.DataFrame, site: Index, dates: Any) -> SiteDays:
        """The site-days of row numbers of a sites table and the local dates beside them."""
        each = Places.of(sites)
        places = each.take(site)
        timezone = sites["timezone"].to_numpy()[site]
        noon = sun.transit(clock.utc_s(dates, HALF_DAY_S, timezone), places.longitude_deg)
        paths = DayPaths.about(noon, *places[:3])
        light = refracted(paths.motion(np.zeros(noon.size))[0], places)
        horizons = []
        if "horizon" in sites:
            for number, text in enumerate(sites["horizon"]):
                horizon = parse_horizon(text)
                if horizon is not None:
                    horizons.append((np.flatnonzero(site == number), horizon))
        with np.errstate(divide="ignore"):
            cotangent = -light[1] / light[2]
        return cls(places, paths, noon, light_altitude_deg(light), cotangent, horizons)


class Pairs(NamedTuple):
    """Equal-altitude pairs: arrays of shape (n,), one a pair, and (2, n), morning and afternoon."""

    day: Index  # whose each is
    half_s: Array
    afternoon_s: Array  # from noon to the afternoon mark
    altitude_deg: Array
    marks: PlannedMarks  # (2, n)
    terms: budget.Terms
    u_deg: Array
    room_mm: Array  # (2, n): how far inside the board the tip is
    clear_deg: Array  # (2, n): how far the sun stands above the skyline

    @property
    def shadow_mm(self) -> Array:
        """Of the morning marks."""
        return self.marks.shadow_mm[0]

    def margin(self, limits: Limits) -> Array:
        """How well each pair suits, above 0 where it does: smooth along the half-interval."""
        return np.minimum(self.usable_margin(), np.log(limits.target_deg / self._bounded_u_deg()))

    def usable_margin(self) -> Array:
        """The same, whatever the target: on the board and in the sun."""
        return self.side_margin().min(axis=0)

    def side_margin(self) -> Array:
        """The same for the morning and the afternoon mark apart, (2, n)."""
        return np.minimum(np.minimum(self.room_mm / 100.0, self.clear_deg / 10.0), 1.0)

    def _bounded_u_deg(self) -> Array:
        return np.clip(self.u_deg, 1e-9, 1e3)


def pairs_at(days: SiteDays, day: Index, half_s: Array, rig: Rig) -> Pairs:
    """The pairs that half-intervals make, each with its budget.

    Args:
        days: the site-days.
        day: which of them each pair belongs to, shape (n,).
        half_s: from the morning mark to noon, seconds, shape (n,).
        rig: rod, board, tolerances.
    """
    light, rate = days.paths.take(day).motion(np.stack([-half_s, half_s]))
    # The sun's declination changes meanwhile: equal altitude comes a little off the mirror.
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.nan_to_num((light[2][0] - light[2][1]) / rate[2][1], nan=0.0)
    lawful = np.abs(shift) < _LARGEST_SHIFT_S
    shift = np.clip(shift, -_LARGEST_SHIFT_S, _LARGEST_SHIFT_S)
    _move_afternoon(light, rate, shift)
    altitude = light_altitude_deg(light)
    air = days.places.pressure_hpa, days.places.temperature_c
    lift = sun.refraction_deg(altitude, *(np.asarray(part)[day] for part in air))
    marks = PlannedMarks.under(raise_light(*light, np.radians(lift)), rate, rig.rod_mm)
    altitude += lift
    terms = budget.pair_terms(marks, rig.tolerances)
    noon_y = days.noon_cotangent[day] * rig.rod_mm
    return Pairs(
        day,
        half_s,
        half_s + shift,
        altitude[0],
        marks,
        terms,
        np.where(lawful & (half_s + shift >= 0), budget.expected_u_deg(terms), np.inf),
        rig.room_mm(marks.x_mm, marks.y_mm, noon_y),
        clearance_deg(days, day, light, altitude),
    )


def _move_afternoon(light: Light, rate: Light, shift_s: Array) -> None:
    """Let the afternoon's light, the second row, go on for some seconds."""
    moved = [part[1] + change[1] * shift_s for part, change in zip(light, rate, strict=True)]
    shrink = 1.0 / np.sqrt(sum(part * part for part in moved))
    for part, new in zip(light, moved, strict=True):
        part[1] = new * shrink


def clearance_deg(days: SiteDays, day: Index, light: Light, altitude_deg: Array) -> Array:
    """How far the sun stands above the skyline, degrees; 90 where the skyline is level.

    Args:
        days: the site-days.
        day: which of them each light belongs to, shape (n,).
        light: toward the sun, refracted or not, shape (…, n).
        altitude_deg: its refracted altitude, shape (…, n).
    """
    clear = np.full(altitude_deg.shape, 90.0)
    for of_site, horizon in days.horizons:
        here = np.isin(day, of_site)
        azimuth = np.degrees(np.arctan2(light[0][..., here], light[1][..., here]))
        clear[..., here] = altitude_deg[..., here] - horizon_altitude_deg(horizon, azimuth)
    return clear


def half_interval_s(days: SiteDays, altitude_deg: ArrayLike) -> Array:
    """Seconds from the morning instant of apparent altitudes, one or (…, n), to noon, (…, n).

    0 where the sun never climbs to it, 12 hours where it never sinks to it.
    """
    latitude = np.radians(days.places.latitude_deg)
    declination = np.radians(sun.declination_deg(days.noon_utc_s))
    altitude_deg = np.asarray(altitude_deg, dtype=float)
    wanted = np.sin(np.radians(altitude_deg))
    lift = sun.refraction_deg(altitude_deg, days.places.pressure_hpa, days.places.temperature_c)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = (
            np.sin(np.radians(altitude_deg - lift)) - np.sin(latitude) * np.sin(declination)
        ) / (np.cos(latitude) * np.cos(declination))
    hour_angle_deg = np.degrees(np.arccos(np.clip(np.nan_to_num(cosine), -1.0, 1.0)))
    half_s = hour_angle_deg / sun.SUN_RATE_DEG_PER_S
    for _ in range(3):
        light, rate = days.paths.motion(-half_s)
        up = refracted(light, days.places)[2]
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.nan_to_num((up - wanted) / rate[2])
        half_s = np.clip(half_s + np.clip(step, -600.0, 600.0), 0.0, HALF_DAY_S)
    return np.where(days.noon_altitude_deg > altitude_deg, half_s, 0.0)


def lattice(days: SiteDays, limits: Limits, step_min: float) -> tuple[Array, NDArray[np.bool_]]:
    """Half-intervals to look at: both altitude limits and every step between them.

    Returns:
        Seconds, shape (n, k), rising along each row, and which of them count; none where
        the sun stays under the lower limit.
    """
    step_s = step_min * 60.0
    altitudes = np.array([[limits.max_altitude_deg], [limits.min_altitude_deg]])
    nearest, farthest = half_interval_s(days, altitudes)
    first = np.floor(nearest / step_s)
    number = np.arange(int(np.ceil(HALF_DAY_S / step_s)) + 2)
    half_s = np.clip((first[:, None] + number) * step_s, nearest[:, None], farthest[:, None])
    counts = np.diff(half_s, axis=1, prepend=-1.0) > 0
    high_enough = (days.noon_altitude_deg >= limits.min_altitude_deg) & (nearest <= farthest)
    counts &= high_enough[:, None]
    width = int(counts.sum(axis=1).max(initial=1))
    return half_s[:, :width], counts[:, :width]


def widest_run(good: NDArray[np.bool_], half_s: Array) -> tuple[Index, Index]:
    """First and last column of each row's widest run of good ones; (0, −1) without any."""
    rows = np.arange(good.shape[0])
    start = np.zeros(rows.size, dtype=np.intp)
    best_first, best_last = start.copy(), start - 1
    best_width = np.full(rows.size, -1.0)
    for column in range(good.shape[1]):
        if column > 0:
            start = np.where(good[:, column - 1], start, column)
        width = half_s[:, column] - half_s[rows, start]
        wider = good[:, column] & (width > best_width)
        best_width = np.where(wider, width, best_width)
        best_first = np.where(wider, start, best_first)
        best_last = np.where(wider, column, best_last)
    return best_first, best_last


def plan_chunk(
    sites: pd.DataFrame, index: Index, dates: Any, rig: Rig, limits: Limits, step_min: float = 10.0
) -> pd.DataFrame:
    """Plan some site-days; the work of one process.

    Args:
        sites: the sites table, with the columns of `orient.site`.
        index: row numbers in it, shape (n,).
        dates: local dates beside them, datetime64[D].
        rig, limits: what is carried, and what a pair must meet.
        step_min: minutes between the half-intervals that are looked at.

    Returns:
        One row a site-day: `site`, `date`, `noon_utc_s`, `noon_altitude_deg` (refracted),
        `morning_from_utc_s`, `morning_to_utc_s`, `afternoon_from_utc_s`,
        `afternoon_to_utc_s`, `best_morning_utc_s`, `best_afternoon_utc_s`,
        `best_altitude_deg`, `best_shadow_mm`, `best_u_deg`, `day_u_deg` (marks with a trusted
        watch every 20 minutes, wherever the board and the sun allow them, whatever the
        target, adjusted together), NaN where there is none, and one column of
        True and False for each of `DAY_FLAGS`. Window ends lie within 5 s of the truth, noon
        within 0.1 s.
    """
    days = SiteDays.of(sites, index, dates)
    grid = _grid(days, rig, limits, step_min)
    pairs = grid.pairs
    out: dict[str, Any] = {
        "site": sites.index.to_numpy()[index],
        "date": np.asarray(dates, dtype="datetime64[s]"),
        "noon_utc_s": days.noon_utc_s,
        "noon_altitude_deg": days.noon_altitude_deg,
    }
    first, last = widest_run(grid.good, grid.half_s)
    has = last >= first
    ends = _narrowed(days, grid, (first, last), rig, limits)
    noon = days.noon_utc_s
    (inner_s, outer_s), afternoon_s = _by_end(ends.half_s), _by_end(ends.afternoon_s)
    from_noon = (-outer_s, -inner_s, *afternoon_s)
    for name, seconds in zip(WINDOW_COLUMNS, from_noon, strict=True):
        out[name] = np.where(has, noon + seconds, np.nan)
    best, known = _best(days, grid, (first, last), ends, rig)
    for name, values in (
        ("best_morning_utc_s", noon - best.half_s),
        ("best_afternoon_utc_s", noon + best.afternoon_s),
        ("best_altitude_deg", best.altitude_deg),
        ("best_shadow_mm", best.shadow_mm),
        ("best_u_deg", best.u_deg),
    ):
        out[name] = np.where(known, values, np.nan)
    day_u = budget.expected_u_deg(
        budget.day_terms(_day_information(grid, rig, step_min), rig.tolerances)
    )
    out["day_u_deg"] = np.where(day_u <= LARGEST_U_DEG, day_u, np.nan)
    sunlit = grid.some((pairs.clear_deg >= 0).any(axis=0))
    held = grid.some((pairs.room_mm >= 0).any(axis=0))
    would_do = grid.some((pairs.clear_deg >= 0).all(axis=0) & (pairs.u_deg <= limits.target_deg))
    out[Flag.SUN_TOO_HIGH] = days.noon_altitude_deg > limits.max_altitude_deg
    out[Flag.SUN_TOO_LOW] = ~sunlit
    out[Flag.NO_WINDOW] = ~has
    out[Flag.OFF_BOARD] = ~has & (would_do | (sunlit & ~held))
    return pd.DataFrame(out)


class _Grid:
    """Pairs laid out by site-day and step, with what each is worth."""

    def __init__(
        self,
        half_s: Array,
        counts: NDArray[np.bool_],
        day: Index,
        column: Index,
        pairs: Pairs,
        limits: Limits,
    ) -> None:
        self.half_s, self.counts, self.day, self.column = half_s, counts, day, column
        self.pairs, self.limits = pairs, limits
        self.margin = self.laid_out(pairs.margin(limits), -np.inf)
        self.good = self.margin >= 0
        usable = np.where(pairs.usable_margin() >= 0, pairs.u_deg, np.inf)
        self.usable_u_deg = self.laid_out(usable, np.inf)

    def laid_out(self, values: Any, elsewhere: Any) -> Any:
        """Values, one a pair, by site-day and step."""
        grid = np.full(self.counts.shape, elsewhere)
        grid[self.counts] = values
        return grid

    def some(self, holds: Any) -> NDArray[np.bool_]:
        """Which days have a pair that something holds for."""
        found = np.zeros(self.counts.shape[0], dtype=bool)
        found[self.day[holds]] = True
        return found


def _grid(days: SiteDays, rig: Rig, limits: Limits, step_min: float) -> _Grid:
    half_s, counts = lattice(days, limits, step_min)
    day, column = np.nonzero(counts)
    return _Grid(half_s, counts, day, column, pairs_at(days, day, half_s[counts], rig), limits)


def _narrowed(
    days: SiteDays, grid: _Grid, run: tuple[Index, Index], rig: Rig, limits: Limits
) -> Pairs:
    """The pairs at the ends of each day's run: all inner ends, then all outer ones (`_by_end`).

    An end lies between the run's last good step there and the next one outward, found by false
    position in its Illinois form; where there is no next step, the altitude limit is the end.
    """
    column = np.concatenate(run)
    rows, outward = np.tile(np.arange(run[0].size), 2), np.repeat([-1, 1], run[0].size)
    beyond = np.clip(column + outward, 0, grid.counts.shape[1] - 1)
    between = np.flatnonzero(
        grid.good[rows, column] & grid.counts[rows, beyond] & (beyond != column)
    )
    end = grid.half_s[rows, column].copy()
    day = rows[between]
    good, bad = end[between], grid.half_s[day, beyond[between]]
    good_margin = grid.margin[day, column[between]]
    bad_margin = grid.margin[day, beyond[between]]
    side = np.zeros(between.size)
    for _ in range(_NARROWINGS):
        point = _crossing(good, good_margin, bad, bad_margin)
        margin = pairs_at(days, day, point, rig).margin(limits)
        fits = margin >= 0
        # The end that stays twice running counts half, or it would never move.
        bad_margin = np.where(fits, np.where(side > 0, bad_margin / 2, bad_margin), margin)
        good_margin = np.where(fits, margin, np.where(side < 0, good_margin / 2, good_margin))
        good, bad = np.where(fits, point, good), np.where(fits, bad, point)
        side = np.where(fits, 1.0, -1.0)
    end[between] = _crossing(good, good_margin, bad, bad_margin)
    return pairs_at(days, rows, end, rig)


def _by_end(values: Array) -> Array:
    """Values of `_narrowed` pairs by end and day: (2, days), the inner ends first."""
    return values.reshape(2, -1)


def _crossing(good: Array, good_margin: Array, bad: Array, bad_margin: Array) -> Array:
    share = good_margin / np.maximum(good_margin - bad_margin, 1e-12)
    return good + np.clip(share, 0.0, 1.0) * (bad - good)


def _best(
    days: SiteDays, grid: _Grid, run: tuple[Index, Index], ends: Pairs, rig: Rig
) -> tuple[Pairs, NDArray[np.bool_]]:
    """The day's best pair: in its window or, without one, the best that the board holds.

    Returns:
        The pairs, one a day, and on which days there is one.
    """
    first, last = run
    rows = np.arange(first.size)
    has = last >= first
    columns = np.arange(grid.counts.shape[1])
    inside = (columns >= first[:, None]) & (columns <= last[:, None])
    u_deg = np.where(inside | ~has[:, None], grid.usable_u_deg, np.inf)
    column = np.argmin(u_deg, axis=1)
    half_s, least = grid.half_s[rows, column], u_deg[rows, column]
    for end_s, end_u_deg in zip(_by_end(ends.half_s), _by_end(ends.u_deg), strict=True):
        better = has & (end_u_deg < least)
        half_s, least = np.where(better, end_s, half_s), np.where(better, end_u_deg, least)
    return pairs_at(days, rows, half_s, rig), least <= LARGEST_U_DEG


def day_information(
    days: SiteDays, rig: Rig, limits: Limits, step_min: float = 10.0
) -> NDArray[np.float64]:
    """What each day's marks tell together, one about every 20 minutes.

    Marks are made with a trusted watch wherever the altitude limits, the board and the
    skyline allow; the target has no part in it. `budget.mark_information` summed: (n, 9, 9).
    """
    return _day_information(_grid(days, rig, limits, step_min), rig, step_min)


def _day_information(grid: _Grid, rig: Rig, step_min: float) -> NDArray[np.float64]:
    stride = max(1, round(MARK_INTERVAL_MIN / step_min))
    due = np.flatnonzero(grid.column % stride == 0)
    marked = grid.pairs.side_margin()[:, due] >= 0
    marked[1] &= grid.pairs.half_s[due] > 0  # noon itself is one mark, not two
    day, start = np.unique(grid.day[due], return_index=True)
    information = np.zeros((len(grid.counts), len(UNKNOWNS), len(UNKNOWNS)))
    information[day] = budget.information_of_runs(
        grid.pairs.marks.take(due), marked, start, rig.tolerances
    )
    return information


def plan_chunks(
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig | None = None,
    limits: Limits | None = None,
    step_min: float = 10.0,
    workers: int = 1,
) -> Iterator[pd.DataFrame]:
    """Plan every site on every date, a piece at a time: sites in order, dates within each.

    Args:
        sites: the sites table.
        dates: local dates, datetime64[D], shape (d,).
        rig, limits, step_min: as for `plan_chunk`; the defaults where left out.
        workers: processes to share the work; 1 works in this one.

    Yields:
        Tables of `plan_chunk`, each of at most 2,000 rows.
    """
    work = planner(dates, rig, limits, step_min)
    if workers <= 1 or len(sites) * len(dates) <= _SITE_DAYS_A_CHUNK:
        yield from map(work, pieces(sites, len(dates)))
        return
    import signal
    from concurrent.futures import ProcessPoolExecutor

    # A stop from the keyboard reaches every process: this one alone answers it.
    pool = ProcessPoolExecutor(
        workers, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN)
    )
    try:
        shares = pieces(sites, len(dates))
        # What every process needs is loaded once, before they part from this one.
        yield work(next(shares))
        yield from pool.map(work, shares)
    finally:
        # A reader that goes away half-way leaves nothing running.
        pool.shutdown(cancel_futures=True)


def planner(
    dates: Any, rig: Rig | None, limits: Limits | None, step_min: float
) -> Callable[[Piece], pd.DataFrame]:
    """What plans a piece; it can be sent to another process."""
    return partial(
        _planned_piece,
        dates=np.asarray(dates, dtype="datetime64[D]"),
        rig=rig or Rig(),
        limits=limits or Limits(),
        step_min=step_min,
    )


class Piece(NamedTuple):
    """A run of site-days: some rows of the sites table, and which of their days."""

    sites: pd.DataFrame
    start: int  # of the first site-day, counted from the first of these sites
    stop: int


def pieces(sites: pd.DataFrame, dates: int) -> Iterator[Piece]:
    """Cut sites × dates into pieces, in order, each of at most 2,000 site-days."""
    total = len(sites) * dates
    for start in range(0, total, _SITE_DAYS_A_CHUNK):
        stop = min(start + _SITE_DAYS_A_CHUNK, total)
        first_site, last_site = start // dates, (stop - 1) // dates
        yield Piece(
            sites.iloc[first_site : last_site + 1],
            start - first_site * dates,
            stop - first_site * dates,
        )


def _planned_piece(
    piece: Piece, dates: Any, rig: Rig, limits: Limits, step_min: float
) -> pd.DataFrame:
    site, date = np.divmod(np.arange(piece.start, piece.stop), len(dates))
    return plan_chunk(piece.sites, site, dates[date], rig, limits, step_min)


def plan_table(
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig | None = None,
    limits: Limits | None = None,
    step_min: float = 10.0,
    workers: int = 1,
) -> pd.DataFrame:
    """All of `plan_chunks` as one table."""
    pieces = list(plan_chunks(sites, dates, rig, limits, step_min, workers))
    return pd.concat(pieces, ignore_index=True)
