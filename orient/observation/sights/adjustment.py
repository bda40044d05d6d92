"""The sights of one circle adjusted: its orientation and the true azimuth of every line on it.

Unknowns: the orientation (the true azimuth of the circle's zero); the azimuth of each line; the
error of each watch beyond what is stated; two leanings of the plane of the sights; the
collimation of an instrument that was read on a told face; the index error of the altitudes; the
site's own place and the deflection of the plumb line. Each but the first two has its stated
tolerance as a prior. A reading is

    r = A(t − δ) − orientation + tan h · leaning ± collimation / cos h + error,

and an altitude h(t − δ) + index + error: azimuth by time where the time is good, by altitude
where it is not, by both where both are (the standard forms of field astronomy).

Every reading is good, or loose by ten times its stated figure, or wild; every watch is as
stated, or off by hours, or mis-set by minutes; the stated figures hold, or all of them are too
small. What the sights themselves do not decide stays alive: the result is a mixture, and the
uncertainty covers all of it (`orient.numbers.mixture`).

Accuracy: the 95 % figures hold in 93–97 % of simulated circles, with one blunder in twenty
(`tests/test_sights_coverage.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.grid import sun_deflection_u_deg
from orient.numbers.mixture import Mixture, Normals, observed, one_of
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.sights.circle import Circle, Sky, sky_of
from orient.observation.sights.record import (
    Meant,
    as_stated,
    compass_log_density,
    other_records,
    other_watches,
    points_oddly,
)
from orient.tables.sights import ROUGH_SD_S

Array = NDArray[np.float64]

#: One sight in twenty is loose or wild (*common practice, no source*), half of them each.
BLUNDERS = 0.05
_LOOSE = 10.0
#: By how much all stated figures may be too small, and how likely that is beforehand.
SCALES = {1.0: 0.90, 2.0: 0.08, 4.0: 0.02}
#: So many times better must another reading of the record fit before it is entertained.
_SCALE_SPEAKS, _RECORD_SPEAKS, _DOUBTED_SPEAKS = 3.0, 30.0, 3.0
#: What is entertained and is likelier than this part of the likeliest, the figure reaches.
_ALIVE = 0.01
#: The circle may lie anyhow: the standard deviation of any direction at all.
_ANYHOW_DEG = 360.0 / np.sqrt(12.0)
#: Priors, one standard uncertainty each (*common practice, no source*): the index error of an
#: altitude, the collimation of a small instrument; how far a circle that was touched turns.
_INDEX_DEG, _COLLIMATION_DEG, _TURN_DEG = 0.1, 0.02, 10.0
_M_PER_DEG = 111_000.0
#: Refraction is not known better than to a tenth of itself.
_REFRACTION_PART = 0.1
#: Within so many seconds the sky turns evenly to 0.0001°.
_STEPS, _STILL_S, _LONGEST_STEP_S = 12, 15.0, 1500.0
#: Explanations kept at a time; the chance with which a sound record is looked into further, and
#: that with which what contradicts it is looked for in the whole record.
_MOST, _LOOKED_INTO, _DOUBTED = 40, 0.1, 0.01
#: Explanations kept at a first glance, and by how much the evidence then may be too small.
_FEW, _SLACK = 6, 3.0

#: Where one observation in so many does not fit, the whole record is looked into.
_SEVERAL = 6
#: Where more than one sight, and more than one in so many, does not fit, nothing is explained.
_TOO_MANY = 3

#: The terms of a budget, in the order in which they are told.
TERMS = ("reading", "altitude", "watch", "plumb", "place", "instrument", "doubt")


@dataclass(frozen=True)
class Direction:
    """An azimuth, degrees, and its standard uncertainty: the 95 % figure is 1.96 of these.

    `terms` are the parts of it, by `TERMS`, each one standard uncertainty.
    """

    azimuth_deg: float
    u_deg: float
    terms: dict[str, float]


@dataclass(frozen=True)
class Adjusted:
    """A circle reduced.

    `lines` has one direction a line of the circle; `good` the probability that each sight's
    reading is good, `altitude_good` the same of its altitude (NaN without one);
    `residual_deg` and `altitude_residual_deg` what the best solution leaves. `watch_off_s`
    is, by timepiece, what the sights say of its error beyond the stated one, with its
    standard uncertainty. `meant` and `scale` tell which other reading of the record
    fits best, its words "" and 1 where the stated one does. `undecided` is how many times wider the
    result is than its best explanation alone.
    """

    circle: Circle
    orientation: Direction
    lines: tuple[Direction, ...]
    good: Array
    altitude_good: Array
    residual_deg: Array
    altitude_residual_deg: Array
    watch_off_s: Array
    watch_off_u_s: Array
    meant: Meant
    scale: float
    undecided: float


@dataclass(frozen=True)
class _Layout:
    """Which column of the unknowns is which."""

    lines: int
    watches: int

    @property
    def size(self) -> int:
        return 1 + self.lines + self.watches + 9

    @property
    def watch(self) -> NDArray[np.intp]:
        return 1 + self.lines + np.arange(self.watches)

    @property
    def leaning(self) -> NDArray[np.intp]:
        return 1 + self.lines + self.watches + np.arange(2)

    @property
    def turn(self) -> int:
        return self.size - 7

    @property
    def collimation(self) -> int:
        return self.size - 6

    @property
    def index(self) -> int:
        return self.size - 5

    @property
    def site(self) -> NDArray[np.intp]:
        return self.size - 4 + np.arange(2)

    @property
    def deflection(self) -> NDArray[np.intp]:
        return self.size - 2 + np.arange(2)


@dataclass(frozen=True)
class _Linear:
    """The observations about a point: readings first, altitudes after them.

    `row` is the sight of each; `span` the width in degrees over which a wild one may lie.
    """

    layout: _Layout
    design: Array
    misfit: Array
    sd: Array
    span: Array
    row: NDArray[np.intp]
    is_altitude: NDArray[np.bool_]
    start: Array  # the orientation and the lines' azimuths there
    offset_s: Array


@dataclass(frozen=True)
class _Run:
    """One reading of the record worked through."""

    meant: Meant
    scale: float
    linear: _Linear
    mixture: Mixture
    log_evidence: float  # of the sights alone, before it is weighed how likely it was


def adjust(circle: Circle, by: str = "both") -> Adjusted | None:
    """Reduce one circle.

    Args:
        circle: its sights.
        by: `time` leaves the altitudes out, `altitude` frees the times to half an hour.

    Returns:
        The result; None where no sight toward the sky is left.
    """
    if not circle.aloft.any():
        return None
    if by == "time":
        circle = replace(circle, altitude_deg=np.full_like(circle.altitude_deg, np.nan))
    if by == "altitude":
        circle = replace(circle, watch_sd_s=np.full_like(circle.watch_sd_s, ROUGH_SD_S))
    runs = _alive(circle)
    circle.skies.clear()
    weight = np.array([run.log_evidence + np.log(_beforehand(run)) for run in runs])
    weight = np.exp(weight - weight.max())
    best = runs[int(np.argmax(weight))]
    count = 1 + len(circle.line_names)
    found = [_direction(runs, weight / weight.sum(), best, number) for number in range(count)]
    good, residual = _judged(best)
    n = len(circle.reading_deg)
    altitude = best.linear.is_altitude
    altitude_good, altitude_residual = np.full(n, np.nan), np.full(n, np.nan)
    altitude_good[best.linear.row[altitude]] = good[altitude]
    altitude_residual[best.linear.row[altitude]] = residual[altitude]
    off = [_watch_off(best, number) for number in range(best.linear.layout.watches)]
    return Adjusted(
        circle,
        found[0][0],
        tuple(each[0] for each in found[1:]),
        good[~altitude],
        altitude_good,
        residual[~altitude],
        altitude_residual,
        np.array([each[0] for each in off]),
        np.array([each[1] for each in off]),
        best.meant,
        best.scale,
        max(each[1] for each in found),
    )


def _beforehand(run: _Run) -> float:
    return run.meant.probability * SCALES[run.scale]


def _alive(circle: Circle) -> list[_Run]:
    """The stated reading of the record, and the others that the sights speak for."""
    stated = _run(as_stated(circle), 1.0)
    runs = [stated]
    odd = points_oddly(circle, stated.linear.start[0] + _best(stated.mixture)[0])
    if _fits(stated) and not odd:
        return runs
    others, speaks = other_watches(circle), _RECORD_SPEAKS
    if odd or _contradicts(stated):
        others, speaks = others + other_records(circle, odd), _DOUBTED_SPEAKS
    enough = stated.log_evidence + np.log(speaks)
    glanced = [_run(meant, 1.0, _FEW) for meant in others]
    found = [_run(r.meant, 1.0) for r in glanced if r.log_evidence > enough - _SLACK]
    runs += [run for run in found if run.log_evidence > enough]
    weight = np.array([run.log_evidence + np.log(_beforehand(run)) for run in runs])
    likely = [runs[n] for n in np.flatnonzero(weight > weight.max() + np.log(_ALIVE))]
    for run in [stated, *(run for run in likely if run is not stated)]:
        wider = [_run(run.meant, scale) for scale in SCALES if scale > 1.0]
        runs += [r for r in wider if r.log_evidence > run.log_evidence + np.log(_SCALE_SPEAKS)]
    return runs


def _fits(run: _Run) -> bool:
    """Whether the stated reading of the record leaves nothing to explain."""
    good, _ = _judged(run)
    return bool((good > 1 - BLUNDERS).all()) and _chance(run, good > -1.0) > _LOOKED_INTO


def _contradicts(run: _Run) -> bool:
    """Whether the sights, one of them left out, contradict the stated reading of the record."""
    good, _ = _judged(run)
    doubtful = good < 0.5
    several = _SEVERAL * int(doubtful.sum()) >= len(doubtful)
    return several or _chance(run, ~doubtful) < _DOUBTED


def _chance(run: _Run, counted: NDArray[np.bool_]) -> float:
    """With what chance a sound record is as bad as this one, by the observations counted."""
    from scipy.special import chdtrc

    _, residual = _judged(run)
    linear, solution = run.linear, _best(run.mixture)
    mean, sd = _beliefs(linear, run.meant)
    misfit = float(np.sum((residual[counted] / linear.sd[counted]) ** 2))
    misfit += float(np.sum(((solution - mean) / sd) ** 2))
    freedom = max(int(counted.sum()) - 1 - linear.layout.lines, 1)
    return float(chdtrc(freedom, misfit))


def _run(meant: Meant, scale: float, most: int = _MOST) -> _Run:
    """Work a reading of the record through, about the point that it leads to."""
    circle, offset = meant.circle, meant.offset_s
    for step in range(_STEPS):
        linear = _linear(offset, meant, scale)
        mixture = _mixture(linear, meant, most)
        moved = _best(mixture)[linear.layout.watch]
        if step == _STEPS - 1 or np.abs(moved).max(initial=0.0) < _STILL_S:
            break
        # Far from the point the sky turns otherwise than it does there.
        offset = offset + np.clip(moved, -_LONGEST_STEP_S, _LONGEST_STEP_S)
    mixture = _as_a_compass(circle, linear, mixture)
    evidence = mixture.log_evidence()
    top = evidence.max()
    return _Run(meant, scale, linear, mixture, float(top + np.log(np.exp(evidence - top).sum())))


def _as_a_compass(circle: Circle, linear: _Linear, mixture: Mixture) -> Mixture:
    """Of a compass's alternatives those likelier that leave it a usual compass.

    It weighs them and moves none: what the compass is off by is asked for.
    """
    if not circle.compass or not np.isfinite(circle.declination_deg):
        return mixture
    mean = np.linalg.solve(mixture.precision, mixture.shift[..., None])[:, 0, 0]
    likely = compass_log_density(circle, linear.start[0] + mean)
    return Mixture(mixture.precision, mixture.shift, mixture.log_weight + likely)


def _best(mixture: Mixture) -> Array:
    at = int(np.argmax(mixture.log_evidence()))
    return np.asarray(np.linalg.solve(mixture.precision[at], mixture.shift[at]))


# --- the observations about a point ------------------------------------------------------------


def _linear(offset_s: Array, meant: Meant, scale: float) -> _Linear:
    circle = meant.circle
    sky = _sky(circle, offset_s)
    layout = _Layout(len(circle.line_names), len(circle.watch_sd_s))
    sd = _reading_sd(circle, sky) * scale
    start = _start(circle, sky, sd, meant)
    with_altitude = np.flatnonzero(circle.aloft & np.isfinite(circle.altitude_deg))
    n, many = len(circle.reading_deg), len(with_altitude)
    design = np.zeros((n + many, layout.size))
    _design_readings(design[:n], meant, sky, layout)
    _design_altitudes(design[n:], meant, sky, layout, with_altitude)
    expected = np.where(circle.aloft, sky.azimuth_deg, np.append(start[1:], 0.0)[circle.line])
    misfit = wrap_180(circle.reading_deg - (expected - start[0]))
    lift = _REFRACTION_PART / 60.0 / np.tan(np.radians(np.maximum(sky.altitude_deg, 1.0)))
    altitude_sd = np.hypot(circle.altitude_sd_deg * scale, lift)[with_altitude]
    return _Linear(
        layout,
        design,
        np.concatenate([misfit, (circle.altitude_deg - sky.altitude_deg)[with_altitude]]),
        np.concatenate([sd, altitude_sd]),
        np.concatenate([np.full(n, 360.0), np.full(many, 90.0)]),
        np.concatenate([np.arange(n), with_altitude]),
        np.arange(n + many) >= n,
        start,
        offset_s,
    )


def _sky(circle: Circle, offset_s: Array) -> Sky:
    """The sky of a circle, kept: many readings of a record have the same."""
    place = (circle.latitude_deg, circle.longitude_deg)
    key = (*place, circle.utc_s.tobytes(), offset_s.tobytes())
    if key not in circle.skies:
        circle.skies[key] = sky_of(circle, offset_s)
    return circle.skies[key]


def _reading_sd(circle: Circle, sky: Sky) -> Array:
    return np.hypot(circle.reading_sd_deg, np.where(circle.aloft, sky.body_u_deg, 0.0))


def _steepness(sky: Sky) -> Array:
    """tan h of each sight, 0 toward a line."""
    steep = np.tan(np.radians(np.clip(sky.altitude_deg, -5.0, 88.0)))
    return np.nan_to_num(steep)


def _design_readings(design: Array, meant: Meant, sky: Sky, layout: _Layout) -> None:
    circle = meant.circle
    aloft, row = circle.aloft, np.arange(len(design))
    design[:, 0] = -1.0
    design[row[~aloft], 1 + circle.line[~aloft]] = 1.0
    up = row[aloft]
    design[up, layout.watch[circle.timepiece[aloft]]] = -sky.azimuth_rate[aloft]
    steep, azimuth = _steepness(sky)[aloft], np.radians(sky.azimuth_deg[aloft])
    for columns, size in (
        (layout.leaning, circle.plumb_sd_deg[aloft]),
        (layout.deflection, float(sun_deflection_u_deg(45.0))),
    ):
        design[np.ix_(up, columns)] = (
            np.column_stack([-np.sin(azimuth), np.cos(azimuth)]) * (steep * size)[:, None]
        )
    design[np.ix_(up, layout.site)] = sky.by_place[:, aloft, 0].T * meant.site_m / _M_PER_DEG
    design[:, layout.turn] = circle.turned * _TURN_DEG
    design[:, layout.collimation] = circle.face * np.hypot(1.0, _steepness(sky)) * _COLLIMATION_DEG


def _design_altitudes(
    design: Array, meant: Meant, sky: Sky, layout: _Layout, rows: NDArray[np.intp]
) -> None:
    circle = meant.circle
    each = np.arange(len(rows))
    design[each, layout.watch[circle.timepiece[rows]]] = -sky.altitude_rate[rows]
    design[:, layout.index] = _INDEX_DEG
    design[:, layout.site] = sky.by_place[:, rows, 1].T * meant.site_m / _M_PER_DEG


def _start(circle: Circle, sky: Sky, sd: Array, meant: Meant) -> Array:
    """An orientation that most of the sights agree on, and the lines' azimuths by it."""
    aloft = circle.aloft
    implied = (sky.azimuth_deg - circle.reading_deg)[aloft]
    wide = np.hypot(sd[aloft], sky.azimuth_rate[aloft] * meant.sd_s[circle.timepiece[aloft]])
    wide = np.hypot(wide, circle.plumb_sd_deg[aloft] * _steepness(sky)[aloft])
    apart = wrap_180(implied[:, None] - implied)
    likely = (1 - BLUNDERS) * np.exp(-0.5 * (apart / wide) ** 2) / wide + BLUNDERS / 360.0
    orientation = implied[int(np.argmax(np.log(likely).sum(axis=1)))]
    by_line = [
        orientation + circle.reading_deg[circle.line == number][0]
        for number in range(len(circle.line_names))
    ]
    return np.array([orientation, *by_line])


# --- what they say together --------------------------------------------------------------------


def _mixture(linear: _Linear, meant: Meant, most: int) -> Mixture:
    mean, sd = _beliefs(linear, meant)
    found = observed(np.eye(linear.layout.size), mean, sd**2)
    # The sharpest first: what is loose is then told from them.
    for number in np.argsort(linear.sd, kind="stable"):
        found = (found * _sight(linear, int(number))).pruned(most)
    return found


def _beliefs(linear: _Linear, meant: Meant) -> tuple[Array, Array]:
    """What is held of each unknown before any sight, about the point: mean and deviation."""
    layout = linear.layout
    mean, sd = np.zeros(layout.size), np.ones(layout.size)
    sd[: 1 + layout.lines] = _ANYHOW_DEG
    mean[layout.watch] = meant.offset_s - linear.offset_s
    sd[layout.watch] = meant.sd_s
    return mean, sd


def _sight(linear: _Linear, number: int) -> Mixture:
    """One observation: good, loose or wild."""
    design, misfit, sd = linear.design[number], linear.misfit[number], linear.sd[number]
    good, loose = (
        observed(design[None], [misfit], [(factor * sd) ** 2]) for factor in (1.0, _LOOSE)
    )
    size = linear.layout.size
    nothing = Mixture(
        np.zeros((1, size, size)),
        np.zeros((1, size)),
        np.array([0.5 * np.log(2 * np.pi) - np.log(linear.span[number])]),
    )
    return one_of([good, loose, nothing], [1 - BLUNDERS, BLUNDERS / 2, BLUNDERS / 2])


def _judged(run: _Run) -> tuple[Array, Array]:
    """How probable it is that each observation is good, and what the best solution leaves."""
    linear = run.linear
    solution = _best(run.mixture)
    residual = linear.misfit - linear.design @ solution
    weight = run.mixture.weights()
    means = np.linalg.solve(run.mixture.precision, run.mixture.shift[..., None])[..., 0]
    left = linear.misfit - means @ linear.design.T
    state = np.array(
        [
            (1 - BLUNDERS) * np.exp(-0.5 * (left / linear.sd) ** 2) / linear.sd,
            BLUNDERS / 2 * np.exp(-0.5 * (left / linear.sd / _LOOSE) ** 2) / (_LOOSE * linear.sd),
            BLUNDERS / 2 * np.sqrt(2 * np.pi) / linear.span * np.ones_like(left),
        ]
    )
    good = weight @ (state[0] / state.sum(axis=0))
    return good, residual


def _watch_off(run: _Run, number: int) -> tuple[float, float]:
    """What the sights say of a watch beyond its stated error, seconds."""
    layout = run.linear.layout
    row = np.zeros(layout.size)
    row[layout.watch[number]] = 1.0
    along = run.mixture.along(row)
    return along.centre + float(run.linear.offset_s[number]), along.spread


def _direction(
    runs: Sequence[_Run], weight: Array, best: _Run, number: int
) -> tuple[Direction, float]:
    """An unknown direction over all readings of the record, and how undecided it is."""
    row = np.zeros(best.linear.layout.size)
    row[number] = 1.0
    turn = best.linear.start[number]
    parts = []
    for run, share in zip(runs, weight.tolist(), strict=True):
        along = run.mixture.along(row)
        shift = float(wrap_180(run.linear.start[number] - turn))
        parts.append((along.mean + shift, along.sd, along.weight * share))
    mean, sd, share = (np.concatenate(each) for each in zip(*parts, strict=True))
    centre, reach = central(Normals(mean, sd, share / share.sum()))
    alive = [n for n in range(len(runs)) if weight[n] > _ALIVE * weight.max()]
    ends = [_likeliest(*parts[n]) for n in alive]
    farthest = max(abs(mean - centre) + COVERAGE_95 * sd for mean, sd in ends)
    u = max(reach, farthest if len(alive) > 1 else 0.0, _unexplained_deg(best)) / COVERAGE_95
    terms = _terms(best, row)
    alone = float(np.sqrt(sum(part**2 for part in terms.values())))
    # Other explanations nearly always add to it; where they take away, every part is the less.
    terms = {name: part * min(1.0, u / alone) for name, part in terms.items()}
    terms["doubt"] = float(np.sqrt(max(u**2 - alone**2, 0.0)))
    return Direction(float(wrap_360(turn + centre)), u, terms), u / alone


def _likeliest(mean: Array, sd: Array, share: Array) -> tuple[float, float]:
    at = int(np.argmax(share))
    return float(mean[at]), float(sd[at])


def _unexplained_deg(run: _Run) -> float:
    """How far the sights lie from the best explanation where too many do for it to be one."""
    good, residual = _judged(run)
    aloft = run.meant.circle.aloft
    toward_sky = np.flatnonzero(aloft)
    wrong = int((good[toward_sky] < 0.5).sum())
    if wrong < 2 or _TOO_MANY * wrong <= len(toward_sky):
        return 0.0
    return float(np.abs(wrap_180(residual[toward_sky])).max())


def central(number: Normals) -> tuple[float, float]:
    """The median of a number, and how far on either side 95 % of its probability reaches.

    The median and not the mean: a mistake far away that is one part in fifty probable does
    not pull it.
    """
    from scipy.optimize import brentq

    # What weighs nothing only costs.
    kept = number.weight > 1e-9
    number = Normals(
        number.mean[kept], number.sd[kept], number.weight[kept] / number.weight[kept].sum()
    )
    centre = number.quantile(0.5)
    far = 10.0 * number.sd.max() + np.abs(number.mean - centre).max()
    reach = brentq(
        lambda q: number.below(centre + q) - number.below(centre - q) - 0.95, 0.0, far, rtol=1e-9
    )
    return float(centre), float(reach)


def _terms(run: _Run, row: Array) -> dict[str, float]:
    """What each source gives to the uncertainty of the best explanation alone."""
    linear, layout = run.linear, run.linear.layout
    at = int(np.argmax(run.mixture.log_evidence()))
    precision = run.mixture.precision[at]
    gain = np.linalg.solve(precision, row)
    _, prior = _beliefs(linear, run.meant)
    share = (gain / prior) ** 2
    index = float(share[layout.index])
    total = float(row @ gain)
    shared = {
        "watch": float(share[layout.watch].sum()),
        "plumb": float(share[layout.leaning].sum()),
        "place": float(share[layout.site].sum() + share[layout.deflection].sum()),
        "instrument": float(share[layout.collimation]),
    }
    left = max(total - sum(shared.values()) - index, 0.0)
    of_altitudes = _share_of_altitudes(linear, gain, left)
    terms = {"reading": left - of_altitudes, "altitude": of_altitudes + index, **shared}
    return {name: float(np.sqrt(max(part, 0.0))) for name, part in terms.items()}


def _share_of_altitudes(linear: _Linear, gain: Array, of_observations: float) -> float:
    """The variance that altitudes give, the observations all counted as good."""
    each = (linear.design @ gain / linear.sd) ** 2
    total = float(each.sum())
    return of_observations * float(each[linear.is_altitude].sum()) / total if total > 0 else 0.0
