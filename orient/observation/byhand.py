"""The methods a person can do by hand: equal-altitude pairs, the shortest shadow, timed marks.

Each gives the board azimuth as a mean of single-mark azimuths, weighted by how well each is
marked and robust against a blunder, with the uncertainty that the tolerances propagate to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers import propagation
from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.shadow import UNKNOWNS, BoardState, tip_partials
from orient.numbers.tolerances import COVERAGE_95, SHARED_TERMS
from orient.observation import adjustment
from orient.observation.board import Board
from orient.observation.solver import WATCH
from orient.tables.columns import ANGLE_SD_DEG
from orient.text import signed

Array = NDArray[np.float64]

#: Marks nearer to noon than this have no use in a pair: their length hardly changes.
NOON_GAP_S = 300.0
#: Neighbours between which a curve of marks is interpolated: lengths in no greater ratio.
WIDEST_GAP = 2.0
_HUBER = 1.5
# The shared errors that part a shadow's length from the sun's altitude.
_OF_LENGTH = ("level", "foot", "height", "edge")


@dataclass(frozen=True)
class MethodResult:
    """What one method makes of a board.

    `azimuth_rad` is the board azimuth, `azimuth_u_rad` its standard uncertainty, `n` the
    number of pairs or marks behind it, `terms` the parts of the uncertainty (rad, their
    squares add up), `weight` what each mark of the board counts for. `fit` is the
    adjustment behind it, where there is one.
    """

    method: str
    azimuth_rad: float
    azimuth_u_rad: float
    n: int
    terms: dict[str, float]
    weight: Array
    fit: adjustment.Fit | None = None


@dataclass(frozen=True)
class NoonShadow:
    """The shadow at local noon, read off the track fitted around it, and what it tells.

    `zenith_distance_deg` is the sun's, by shadow over height, refraction not taken off;
    `latitude_deg` follows from it with the sun's declination. `u_deg` is the standard
    uncertainty of both.
    """

    length_mm: float
    zenith_distance_deg: float
    latitude_deg: float
    u_deg: float


def noon_shadow(board: Board, fit: adjustment.Fit) -> NoonShadow:
    """What the noon shadow says of the sun's zenith distance and of the latitude.

    Args:
        board: the stated height is trusted here, as far as its tolerance goes.
        fit: of `shortest`, in which the height was free, so that lengths are as marked.
    """
    tip, partials = board.tips_and_partials(np.array([board.noon_utc_s]), fit.state)
    length = float(np.hypot(*tip[0]))
    outward = tip[0] / length @ partials[0]
    # The length as marked is known by the fit; what it means, by the tolerances.
    by_marks = float(outward @ fit.covariance @ outward)
    prior_sd = board.tolerances.prior_sd()
    shared = [UNKNOWNS.index(name) for term in _OF_LENGTH for name in SHARED_TERMS[term]]
    by_tolerances = float(np.sum((outward[shared] * prior_sd[shared]) ** 2))
    height = board.height_mm
    zenith = float(np.arctan2(length, height))
    u_rad = np.sqrt(by_marks + by_tolerances) * height / (height**2 + length**2)
    light = board.light(board.noon_utc_s)
    expected = float(np.arctan2(np.hypot(light[0], light[1]), light[2]))
    # The sun south of the zenith stands lower the farther north the place is.
    toward_pole = 1.0 if light[1] < 0 else -1.0
    latitude = board.latitude_deg + toward_pole * float(np.degrees(zenith - expected))
    return NoonShadow(length, float(np.degrees(zenith)), latitude, float(np.degrees(u_rad)))


def pairs(board: Board, half: NDArray[Any]) -> MethodResult | None:
    """Board azimuth by equal-altitude pairs, or None where the board has no pair.

    Every mark alone has a board azimuth by its own length: the sun's azimuth at the instant
    when, that morning or afternoon, the shadow had that length, less the mark's direction.
    An error of the height, of refraction or of the edge shifts it one way in the morning
    and the other way in the afternoon: the half-sum of two marks of equal length is free of
    it, and of the sun's change in declination, which is in the two azimuths. Marks with the
    same ring label are paired as they are; for the others the azimuths of the far side are
    interpolated, in the length, between the neighbours on either side of the same length.

    Args:
        board: the marks; no time is used.
        half: (n,) −1 in the morning, +1 in the afternoon, 0 to leave a mark out.
    """
    found = _pairs(board, half)
    if found is None:
        return None
    weight, mean, excess = _robust_mean(found.share @ found.single_rad, found.variance)
    return _result(
        "pairs", board, mean, weight @ found.share, found.sensitivity, found.partials, excess,
        len(found.share), False,
    )  # fmt: skip


class BestPair(NamedTuple):
    """The pair that finds north best: a mark and, on the other side of noon, two between which a
    shadow of its length fell, `part` of the way in length; the same mark twice on a ring."""

    mark: int
    others: tuple[int, int]
    part: float
    azimuth_u_rad: float


def best_pair(board: Board, half: NDArray[Any]) -> BestPair | None:
    """The one pair to work by hand, or None without any; arguments as of `pairs`."""
    found = _pairs(board, half)
    if found is None:
        return None
    share = found.share[int(np.argmin(found.variance))]
    sides = [np.flatnonzero((share > 0) & (half == side)) for side in (-1, 1)]
    if min(len(side) for side in sides) > 1:
        # A ring crossed several times: its first crossings.
        sides = [side[:1] for side in sides]
        share = np.zeros(board.count)
        share[np.concatenate(sides)] = 0.5
    one, other = sorted(sides, key=len)
    other = other[np.argsort(board.length_mm[other], kind="stable")]
    part = float(share[other[-1]] / share[other].sum()) if len(other) > 1 else 0.0
    of_it = _result("pair", board, 0.0, share, found.sensitivity, found.partials, 1.0, 1, False)
    return BestPair(int(one[0]), (int(other[0]), int(other[-1])), part, of_it.azimuth_u_rad)


class _Pairs(NamedTuple):
    """All pairs of a board: what share each mark has in each, (p, n), and their variances, (p,);
    each mark's own azimuth and how it and the shared errors move it."""

    share: Array
    variance: Array
    single_rad: Array
    sensitivity: Array
    partials: Array


def _pairs(board: Board, half: NDArray[Any]) -> _Pairs | None:
    state = board.nominal()
    instants = board.times_of_lengths(board.length_mm, half > 0)
    usable = np.isfinite(instants) & (half != 0) & (board.length_mm > 0)
    usable &= np.abs(np.nan_to_num(instants) - board.noon_utc_s) > NOON_GAP_S
    instants = np.where(usable, instants, board.noon_utc_s)
    light, rate = board.light_and_rate(instants)
    single = np.arctan2(-light[0], -light[1]) - board.direction_rad
    combinations = _ring_pairs(board, half, usable) + _interpolated_pairs(board, half, usable)
    if not combinations:
        return None
    share = np.array(combinations)
    single, middle = _unwrap(single, usable)
    partials = _partials(board, state, light, rate, middle)
    sensitivity = propagation.altitude_sensitivity(board.x_mm, board.y_mm, partials)
    sensitivity = np.where(usable[:, None], sensitivity, 0.0)
    own = board.tolerances.mark_sd_mm**2 * np.sum(sensitivity**2, axis=-1)
    variance = share**2 @ own
    return _Pairs(share, variance, single, sensitivity, partials)


def timed(board: Board) -> MethodResult | None:
    """Board azimuth by the watch: sun's azimuth less board direction, averaged robustly.

    None where the watch is not trusted or no mark has a time.
    """
    instants = board.watch_utc_s - board.watch_error_s
    usable = np.isfinite(instants) & (board.length_mm > 0)
    if board.watch != "trusted" or not usable.any():
        return None
    part = board.of(usable)
    instants = instants[usable]
    light, rate = part.light_and_rate(instants)
    lit = light[2] > 0
    if not lit.all():
        usable[np.flatnonzero(usable)[~lit]] = False
        return timed(board.of(usable)) if usable.any() else None
    single, middle = _unwrap(np.arctan2(-light[0], -light[1]) - part.direction_rad, lit)
    partials = _partials(part, part.nominal(), light, rate, middle)
    sensitivity = propagation.timed_sensitivity(part.x_mm, part.y_mm)
    own = part.tolerances.mark_sd_mm**2 * np.sum(sensitivity**2, axis=-1)
    turn = np.einsum("ni,ni->n", sensitivity, partials[..., WATCH])
    by_watch = (turn * part.tolerances.watch_sd_s) ** 2
    weight, mean, excess = _robust_mean(single, own, by_watch)
    return _result("timed", part, mean, weight, sensitivity, partials, excess, part.count, True)


def noon_track(board: Board) -> adjustment.Asked | None:
    """The adjustment behind `shortest`; None where fewer than three marks lie around noon."""
    near = _around_noon(board)
    if near.sum() < 3:
        return None
    return adjustment.Asked(board.of(near), free_height=True, by_time=False)


def _around_noon(board: Board) -> NDArray[np.bool_]:
    """The marks near the shortest one."""
    length = board.length_mm
    fifth = float(np.sort(length)[min(4, board.count - 1)])
    return np.asarray(length <= max(1.25 * length.min(), fifth))


def shortest(board: Board, track: adjustment.Fit | None = None) -> MethodResult | None:
    """Board azimuth by the shortest shadow: the day's track fitted to the marks around noon.

    The track that the tip draws on that day at that latitude is laid over the marks near
    the shortest one, free to turn and, the height being left open, to grow or shrink; no
    time is used. None where fewer than three marks lie there, or none on one side of noon.

    Args:
        board: the marks.
        track: the adjustment of `noon_track`, where it was made already.
    """
    asked = noon_track(board)
    if asked is None:
        return None
    near = _around_noon(board)
    fit = track or adjustment.adjust_all([asked])[0]
    from_noon = fit.utc_s[fit.kept] - board.noon_utc_s
    if not from_noon.size or from_noon.min() > 0 or from_noon.max() < 0:
        return None
    weight = near.astype(float)
    weight[near] = fit.kept
    return MethodResult(
        "shortest",
        fit.state.board_azimuth_rad,
        fit.azimuth_u_rad,
        int(fit.kept.sum()),
        fit.terms,
        weight / weight.sum(),
        fit,
    )


def _ring_pairs(board: Board, half: NDArray[Any], usable: NDArray[np.bool_]) -> list[Array]:
    """A row of shares for each ring crossed on both sides; several crossings are averaged."""
    rows = []
    for label in dict.fromkeys(board.ring[board.ring != ""].tolist()):
        of_ring = usable & (board.ring == label)
        morning, afternoon = of_ring & (half < 0), of_ring & (half > 0)
        if morning.any() and afternoon.any():
            rows.append(0.5 * morning / morning.sum() + 0.5 * afternoon / afternoon.sum())
    return rows


def _interpolated_pairs(board: Board, half: NDArray[Any], usable: NDArray[np.bool_]) -> list[Array]:
    """A row of shares for each unringed mark that the other half-day can be interpolated to."""
    rows = []
    free = usable & (board.ring == "")
    length = board.length_mm
    for side in (-1, 1):
        there = np.flatnonzero(free & (half == -side))
        if there.size < 2:
            continue
        there = there[np.argsort(length[there], kind="stable")]
        for mark in np.flatnonzero(free & (half == side)):
            after = int(np.searchsorted(length[there], length[mark]))
            if not 0 < after < there.size:
                continue
            low, high = there[after - 1], there[after]
            if length[high] > WIDEST_GAP * length[low]:
                continue
            part = (length[mark] - length[low]) / max(length[high] - length[low], 1e-9)
            row = np.zeros(board.count)
            row[mark], row[low], row[high] = 0.5, 0.5 * (1 - part), 0.5 * part
            rows.append(row)
    return rows


def _unwrap(angle_rad: Array, usable: NDArray[np.bool_]) -> tuple[Array, float]:
    """Bring angles near to their own middle, that they may be averaged as numbers."""
    middle = float(np.angle(np.mean(np.exp(1j * angle_rad[usable]))))
    near = middle + np.angle(np.exp(1j * (angle_rad - middle)))
    middle = float(np.median(near[usable]))
    return middle + np.angle(np.exp(1j * (angle_rad - middle))), middle


def _partials(board: Board, state: BoardState, light: Any, rate: Any, azimuth_rad: float) -> Array:
    partials = tip_partials(light, rate, replace(state, board_azimuth_rad=azimuth_rad))
    return np.nan_to_num(partials, nan=0.0, posinf=0.0, neginf=0.0)


def _robust_mean(
    values: Array, variance: Array, common: Array | float = 0.0
) -> tuple[Array, float, float]:
    """Weights that sum to one (inverse variance, Huber), the mean, and the excess scatter.

    `variance` is what scatters from value to value, `common` what the values share and so
    cannot be seen in their scatter. The excess is 1 unless the values scatter beyond what
    their variances allow once in 300.
    """
    base = 1.0 / (variance + common)
    weight = base
    mean = float(np.median(values))
    for _ in range(20):
        misfit = np.abs(values - mean) / np.sqrt(variance + common)
        weight = base * np.minimum(1.0, _HUBER / np.maximum(misfit, 1e-12))
        new = float(np.sum(weight * values) / np.sum(weight))
        if abs(new - mean) < 1e-12:
            break
        mean = new
    count = np.size(values)
    scatter = float(np.sum(weight / base * (values - mean) ** 2 / (variance + common)))
    excess = 1.0
    if count > 1 and scatter > _doubtful(count - 1):
        excess = float(np.sqrt(scatter / (count - 1)))
    return weight / np.sum(weight), mean, excess


@lru_cache(maxsize=256)
def _doubtful(freedom: int) -> float:
    from scipy.special import chdtri

    return float(chdtri(freedom, 1 / 300))


def _result(
    method: str,
    board: Board,
    mean: float,
    weight: Array,
    sensitivity: Array,
    partials: Array,
    excess: float,
    count: int,
    by_watch: bool,
) -> MethodResult:
    variance = propagation.variance_terms(weight, sensitivity, partials, board.tolerances, by_watch)
    terms = {name: float(np.sqrt(value)) for name, value in variance.items()}
    terms["marking"] *= excess
    total = float(np.sqrt(sum(value**2 for value in terms.values())))
    return MethodResult(method, float(np.mod(mean, 2 * np.pi)), total, count, terms, weight)


def compare_with_hand(setup: pd.Series, row: dict[str, Any]) -> list[str]:
    """Compare a line found by hand with what its own board gives: fills the row, and says it.

    Both come from the same marks and the same drawn line. Left between them are how well pairs of
    these marks can do, or the board where it has none, and an angle read by protractor.
    """
    by_hand = row["hand_azimuth_deg"]
    if by_hand is None:
        return []
    said = f"By hand the line came to {by_hand:.2f}°"
    alone = "alone" if row["alone_azimuth_deg"] is not None else "board"
    board, u_deg = row[f"{alone}_azimuth_deg"], row[f"{alone}_azimuth_u_deg"]
    if board is None or not np.isfinite(setup["reference_angle_deg"]):
        return [f"{said}; no azimuth of it was computed to compare it with."]
    computed = float(wrap_360(board + setup["reference_angle_deg"]))
    apart = float(wrap_180(by_hand - computed))
    row["hand_difference_deg"] = apart
    pairs = row["methods"]["pairs"]
    allowed = COVERAGE_95 * float(
        np.hypot(pairs["board_azimuth_u_deg"] if pairs else u_deg, ANGLE_SD_DEG)
    )
    said += f": {signed(apart, 2)}° from what the marks of this board alone give, {computed:.2f}°"
    if abs(apart) <= allowed:
        return [f"{said}, within what ruler and protractor leave open (±{allowed:.2f}°, 95 %)."]
    slips = [
        words
        for words, slip in (
            ("counted from south in place of north", 180.0),
            ("counted anticlockwise", -2.0 * computed),
            ("a compass bearing in place of a true one", -(row["declination_deg"] or 0.0)),
        )
        if abs(wrap_180(slip)) > allowed and abs(wrap_180(apart - slip)) <= allowed
    ]
    would = f" It would be right if it was {' or '.join(slips)}." if slips else ""
    return [
        f"{said}, more than ruler and protractor leave open (±{allowed:.2f}°, 95 %): work the "
        f"steps again.{would}"
    ]
