"""The mistakes crews really make, tried one by one on a board whose marks do not fit.

A hypothesis reads the record in another way: the watch an hour off, the angles counted the
other way round, the marks in centimetres. The board is adjusted anew under each, and the one
whose sum of squares is clearly the least is said. Nothing is adopted: a person puts the table
right. Until then the azimuth is as uncertain as the two readings are apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.observation.adjustment import WATCH, Fit, adjust, nearest_on_track
from orient.observation.board import Board

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: An explanation must lower the sum of squares by this, its own price paid.
CLEAR_GAIN = 30.0
#: Explanations whose sums of squares differ by less cannot be told apart.
ALIKE = 12.0
#: What a reading costs: a slip that leaves nothing open, one that could be many, and one for
#: each unknown that it frees.
SLIP, COMMON_SLIP, FREED = 10.0, 20.0, 30.0

_HALF_HOUR_S, _HALF_DAY_S = 1800.0, 43200.0
# A mark may be this many times its tolerances from a record that is right.
_REACH = 5.0
_FEWEST_IN_REACH = 0.6
# Fewer marks than this fit almost any reading.
_FEWEST_MARKS = 4
_MOST_SAID = 3


@dataclass(frozen=True)
class Other:
    """Another set-up of the campaign, to which this one's marks might belong.

    `board` has these marks on the other's site, date and rod; `fit` is the other's own, None
    where its marks do not fit either. `same_day` tells that site and date are the same.
    """

    name: str
    board: Board
    fit: Fit | None
    same_day: bool


@dataclass(frozen=True)
class Record:
    """A board, and what else of its record can be read in another way.

    `labels` are the marks' serials, `by_angle` tells that they were recorded as length and
    angle, `utc_ahead_s` how far the site's clock is ahead of UTC. `date`, with the place, is
    what `rebuilt` makes the board from anew.
    """

    board: Board
    labels: tuple[str, ...] = ()
    by_angle: bool = False
    utc_ahead_s: float = np.nan
    date: str = ""
    latitude_deg: float = np.nan
    longitude_deg: float = np.nan
    rebuilt: Callable[[str, float, float], Board] | None = None
    others: tuple[Other, ...] = ()

    def label(self, number: int | np.integer[Any]) -> str:
        """The serial of a mark, as the crew wrote it."""
        return self.labels[number] if self.labels else str(number + 1)


@dataclass(frozen=True)
class Meant:
    """What a record may have meant: the mistake in words, and the board without it.

    `price` is what the reading must gain. `scale` is the size of the marks against those of
    the record: residuals of larger marks are more telling. `extra_cost` is the sum of squares
    of marks that are not on `board`. `open_rad` is how far it leaves open where north lies.
    """

    words: str
    board: Board
    price: float = SLIP
    scale: float = 1.0
    extra_cost: float = 0.0
    open_rad: float = 0.0
    fit: Fit | None = None


@dataclass(frozen=True)
class Explanation:
    """The mistakes that would explain a board's marks, likeliest first.

    `words` says each; `cost_before` and `cost_after` are the sums of squares, of marks and
    tolerances, as recorded and as the first would have them, and `misfit_before_mm` and
    `misfit_after_mm` the marks' root mean square misfits; `dark` counts the marks that stood
    at night as recorded. `azimuths_rad` are the board azimuths under each, `open_rad` how far
    each leaves it open.
    """

    words: tuple[str, ...]
    cost_before: float
    cost_after: float
    misfit_before_mm: float
    misfit_after_mm: float
    dark: int = 0
    azimuths_rad: tuple[float, ...] = ()
    open_rad: tuple[float, ...] = ()

    @property
    def sentence(self) -> str:
        """One sentence for people."""
        misfit = f"from {self.misfit_before_mm:.1f} mm to {self.misfit_after_mm:.1f} mm"
        if not np.isfinite(self.misfit_before_mm):
            misfit = f"to {self.misfit_after_mm:.1f} mm"
        gain = (
            f"The marks' rms misfit goes {misfit}, the sum of squares of all that was stated "
            f"from {self.cost_before:.0f} to {self.cost_after:.0f}"
        )
        if self.dark:
            gain += f", and {self.dark} of the marks no longer fall at night"
        said = "; or: ".join(self.words)
        return f"This would explain it: {said}. {gain}. The tables were not changed."

    def apart_rad(self, azimuth_rad: float) -> float:
        """The farthest that an explanation may turn the board from an azimuth, at most π."""
        apart = np.abs(np.angle(np.exp(1j * (np.array(self.azimuths_rad) - azimuth_rad))))
        return float(min(np.pi, np.max(apart + np.array(self.open_rad))))


def explain(record: Record, readings: Mapping[str, Fit] | None = None) -> Explanation | None:
    """The mistakes that would explain a board whose marks do not fit, None where none does.

    Args:
        record: of a board with at least four marks; with fewer anything fits.
        readings: fits already had, by the names of `reduction.Reading`.

    Returns:
        What lowers the sum of squares by `CLEAR_GAIN` beyond its price to one that the
        tolerances allow, and whatever does so nearly as well. In 400 boards without a
        mistake, some with 6 % blunders, none was accused (see the tests).
    """
    board, known = record.board, dict(readings or {})
    if board.count < _FEWEST_MARKS:
        return None
    before = known.get("as stated") or adjust(board)
    slips = [meant for meant in _slips(record) if _possible(meant.board)]
    tried = _believable(slips + list(_by_watch(record, known)))
    if not tried:
        tried = _believable(_freed(record, known))
    scores = [_score(meant, fit) for meant, fit in tried]
    if not scores or min(scores) > before.cost - CLEAR_GAIN:
        return None
    order = np.argsort(scores, kind="stable")
    likely: dict[str, tuple[Meant, Fit]] = {}
    for place in order:
        if scores[place] < min(scores) + ALIKE:
            likely.setdefault(tried[place][0].words, tried[place])
    return _explanation(before, list(likely.values())[:_MOST_SAID])


def _believable(readings: list[Meant]) -> list[tuple[Meant, Fit]]:
    """The readings under which the marks lie as the tolerances allow, with their fits."""
    fits = [(meant, meant.fit or adjust(meant.board)) for meant in readings]
    return [(meant, fit) for meant, fit in fits if _settled(meant.board, fit)]


def _settled(board: Board, fit: Fit) -> bool:
    few_rejected = np.count_nonzero(~fit.kept) <= max(1, board.count // 5)
    unforced = np.abs(fit.prior_misfit).max() < 4.0
    # Marks that all lie at one point fit anything.
    told_apart = np.hypot(np.ptp(board.x_mm), np.ptp(board.y_mm)) > board.tolerances.mark_sd_mm
    settled = fit.converged and fit.spread == 1.0 and few_rejected and unforced
    return bool(settled and told_apart)


def _score(meant: Meant, fit: Fit) -> float:
    # The density of the marks as recorded: each of their two coordinates grows by the scale.
    return fit.cost + meant.extra_cost + meant.price - 4 * meant.board.count * np.log(meant.scale)


def _explanation(before: Fit, likely: list[tuple[Meant, Fit]]) -> Explanation:
    meant, fit = likely[0]
    same = fit.kept.size == before.kept.size
    chosen = fit.kept if same else np.ones(before.kept.size, dtype=bool)
    lit = np.isfinite(before.residual_mm).all(axis=1)
    return Explanation(
        words=tuple(each.words for each, _ in likely),
        cost_before=before.cost,
        cost_after=fit.cost + meant.extra_cost,
        misfit_before_mm=_rms(before.residual_mm[chosen & lit]),
        misfit_after_mm=_rms(fit.residual_mm[fit.kept]),
        dark=int(np.count_nonzero(chosen & ~lit)),
        azimuths_rad=tuple(float(each.state.board_azimuth_rad) for _, each in likely),
        open_rad=tuple(each.open_rad for each, _ in likely),
    )


def _rms(residual_mm: Array) -> float:
    if not residual_mm.size:
        return np.nan
    return float(np.sqrt(np.mean(np.sum(residual_mm**2, axis=1))))


# What can be ruled out at a glance ------------------------------------------------------------


def _possible(board: Board) -> bool:
    """Whether most marks lie near enough to where the board as stated would have them.

    A full adjustment of a board that cannot fit is slow, and most readings are such.
    """
    timed = _timed(board)
    if not timed.any():
        return _on_track(board)
    part = board.of(timed)
    if board.watch == "running":
        return _on_track_at_some_time(part)
    predicted, turn = _laid_over(part)
    miss = np.abs(part.x_mm + 1j * part.y_mm - predicted * np.exp(1j * turn))
    return _enough(miss, _nominal_sd_mm(part))


def _enough(miss_mm: Array, sd_mm: Array) -> bool:
    """Whether in any of many tries, along the first axis, enough marks are in reach."""
    near = np.nan_to_num(miss_mm, nan=np.inf) < _REACH * sd_mm
    return bool(np.mean(near, axis=-1).max() >= _FEWEST_IN_REACH)


def _on_track(board: Board) -> bool:
    """The same without times: the day's track laid over the marks, turned by degrees."""
    miss, _ = nearest_on_track(board, np.radians(np.arange(0.0, 360.0, 3.0)))
    return _enough(miss - np.radians(1.5) * board.length_mm, _nominal_sd_mm(board))


def _on_track_at_some_time(board: Board) -> bool:
    """The same with a watch whose setting is unknown: every ten minutes of the day."""
    offset = np.arange(-54000.0, 54000.0, 600.0)
    x, y = board.tips(board.watch_utc_s - offset[:, None], board.nominal())
    predicted = np.nan_to_num(x + 1j * y, nan=np.inf)
    lit = np.isfinite(predicted)
    marked = board.x_mm + 1j * board.y_mm
    turn = np.angle(np.sum(marked * np.conj(np.where(lit, predicted, 0.0)), axis=1))
    turned = np.where(lit, predicted, 1e9) * np.exp(1j * turn)[:, None]
    wide = replace(board.tolerances, watch_sd_s=max(150.0, board.tolerances.watch_sd_s))
    return _enough(np.abs(marked - turned), _nominal_sd_mm(replace(board, tolerances=wide)))


def _timed(board: Board) -> Mask:
    return np.asarray(np.isfinite(board.watch_utc_s) & (board.watch != "none"))


def _laid_over(board: Board) -> tuple[NDArray[np.complex128], float]:
    """Where the tips fall on a board set to north, x + iy, and how it is turned to the marks."""
    x, y = board.tips(board.watch_utc_s - board.watch_error_s, board.nominal())
    predicted = x + 1j * y
    lit = np.isfinite(predicted)
    if not lit.any():
        return predicted, 0.0
    # A board direction is turned back by β: in the complex plane, marked = predicted · e^{iβ}.
    each = np.angle((board.x_mm + 1j * board.y_mm)[lit] * np.conj(predicted[lit]))
    middle = np.angle(np.mean(np.exp(1j * each)))
    turn = middle + np.median(np.angle(np.exp(1j * (each - middle))))
    return predicted, float(turn)


def _nominal_sd_mm(board: Board) -> Array:
    """About how far a mark may lie from its nominal place by all the tolerances."""
    tolerances, height = board.tolerances, board.height_mm
    length = board.length_mm
    # Along the shadow, a small angle moves the tip by the light's path squared over the height.
    reach = (length**2 + height**2) / height
    angle = np.radians(np.hypot(tolerances.level_sd_deg, tolerances.edge_sd_deg))
    angle = np.hypot(angle, np.radians(tolerances.watch_sd_s / 240.0))
    return np.sqrt(
        tolerances.mark_sd_mm**2
        + tolerances.plumb_sd_mm**2
        + (reach * angle) ** 2
        + (tolerances.height_sd_mm * length / height) ** 2
    )


# Slips of record ------------------------------------------------------------------------------


def _slips(record: Record) -> Iterator[Meant]:
    for hypothesis in HYPOTHESES:
        yield from hypothesis(record)


def _mirrored(record: Record) -> Iterator[Meant]:
    board = record.board
    if record.by_angle:
        yield Meant("the angles were counted anticlockwise", replace(board, x_mm=-board.x_mm))
        return
    # Each turns the sheet's north another way, and the marks cannot tell them apart.
    words = "x and y are swapped, or all x, or all y, have the wrong sign (the sheet is mirrored)"
    yield Meant(words, replace(board, x_mm=-board.x_mm), open_rad=np.pi)


_LENGTH_UNITS = (("centimetres", 10.0), ("inches", 25.4), ("metres", 1000.0))


def _scaled(record: Record) -> Iterator[Meant]:
    board = record.board
    for unit, factor in _LENGTH_UNITS:
        in_mm = replace(board, x_mm=board.x_mm * factor, y_mm=board.y_mm * factor)
        yield Meant(f"the marks were measured in {unit}, not in millimetres", in_mm, scale=factor)
    for unit, factor in _LENGTH_UNITS[:2]:
        meant_mm = board.height_mm * factor
        words = f"the rod's height is in {unit}: {meant_mm:.0f} mm, not {board.height_mm:g} mm"
        yield Meant(words, replace(board, height_mm=meant_mm))
    tenth = board.height_mm / 10.0
    words = f"the rod's height is ten times too large: {tenth:g} mm, not {board.height_mm:g} mm"
    yield Meant(words, replace(board, height_mm=tenth))


def _other_angles(record: Record) -> Iterator[Meant]:
    """Angles in other units, and lengths from another end: only where they were recorded."""
    if not record.by_angle:
        return
    board = record.board
    length = board.length_mm
    full = np.mod(np.degrees(board.direction_rad), 360.0)
    half = np.degrees(board.direction_rad)
    whole, part = np.divmod(full, 1.0)
    readings = [
        ("the angles are in gon (400 to the circle), not in degrees", full * 0.9),
        ("the angles are in gon (400 to the circle), not in degrees", half * 0.9),
        ("the angles are in radians, not in degrees", np.degrees(full)),
        ("the angles are in radians, not in degrees", np.degrees(half)),
    ]
    # 59 minutes at most: a part of 0.6 and over cannot be minutes. Rounding takes off what
    # the way from angle to x and y and back has left.
    if (np.round(part, 6) < 0.6).all():
        readings.append(
            ("the angles are degrees and minutes typed as decimals", whole + part / 0.6)
        )
    for words, degrees in readings:
        yield Meant(words, _placed(board, length, degrees))
    if (length > board.height_mm).all():
        along = np.sqrt(length**2 - board.height_mm**2)
        words = "the lengths were measured from the rod's tip, not from its foot"
        yield Meant(words, _placed(board, along, full))


def _placed(board: Board, length_mm: Array, angle_deg: Array) -> Board:
    angle = np.radians(angle_deg)
    return replace(board, x_mm=length_mm * np.sin(angle), y_mm=length_mm * np.cos(angle))


def _twelve_hours(record: Record) -> Iterator[Meant]:
    """Some times off by half a day: at night, or earlier than the marks before them."""
    board = record.board
    if not _timed(board).any():
        return
    times = board.watch_utc_s
    seconds = np.where(np.isfinite(times), times, board.noon_utc_s)
    at_night = np.isfinite(times) & ~(board.light(seconds - board.watch_error_s)[2] > 0)
    early = times < board.noon_utc_s
    last = np.maximum.accumulate(np.where(np.isfinite(times), times, -np.inf))
    back = times < last - _HALF_DAY_S / 2
    typed = "the times after noon are of a 12-hour clock, typed without adding 12"
    for chosen in (at_night & early, back):
        if chosen.any() and not chosen.all():
            shifted = np.where(chosen, times + _HALF_DAY_S, times)
            yield Meant(typed, replace(board, watch_utc_s=shifted))
    late = at_night & ~early
    if late.any() and not late.all():
        shifted = np.where(late, times - _HALF_DAY_S, times)
        words = "the times before noon are typed as if they were after it, 12 hours too much"
        yield Meant(words, replace(board, watch_utc_s=shifted))


def _other_order(record: Record) -> Iterator[Meant]:
    board = record.board
    timed = np.flatnonzero(_timed(board))
    if timed.size < _FEWEST_MARKS:
        return
    times = board.watch_utc_s[timed]

    def given(new_times: Array) -> Board:
        everywhere = board.watch_utc_s.copy()
        everywhere[timed] = new_times
        return replace(board, watch_utc_s=everywhere)

    words = "the times were written in the opposite order to the marks"
    yield Meant(words, given(times[::-1]))
    if np.ptp(np.diff(times)) < 60.0:
        # At even intervals this is the same as a watch that is wrong by one of them.
        return
    for step, words in (
        (-1, "each time stands one mark too late in the list"),
        (1, "each time stands one mark too early in the list"),
    ):
        moved = np.roll(times, step)
        moved[-1 if step < 0 else 0] = np.nan
        yield Meant(words, given(moved), price=COMMON_SLIP)


def _other_date(record: Record) -> Iterator[Meant]:
    if record.rebuilt is None:
        return
    year, month, day = record.date.split("-")
    if int(day) <= 12 and day != month:
        meant = f"{year}-{day}-{month}"
        words = f"day and month of the date are swapped: {meant}, not {record.date}"
        board = record.rebuilt(meant, record.latitude_deg, record.longitude_deg)
        yield Meant(words, board)


def _other_place(record: Record) -> Iterator[Meant]:
    if record.rebuilt is None:
        return
    latitude, longitude = record.latitude_deg, record.longitude_deg
    readings = [
        ("the latitude has the wrong sign", -latitude, longitude, SLIP),
        ("the longitude has the wrong sign", latitude, -longitude, SLIP),
        ("latitude and longitude have both the wrong sign", -latitude, -longitude, COMMON_SLIP),
    ]
    if abs(longitude) <= 90.0:
        readings.append(("latitude and longitude are swapped", longitude, latitude, SLIP))
    north, east = _minutes_meant(latitude), _minutes_meant(longitude)
    if north is not None and east is not None:
        words = f"{latitude:g} and {longitude:g} are degrees and minutes typed as decimals"
        readings.append((words, north, east, COMMON_SLIP))
    for words, new_latitude, new_longitude, price in readings:
        yield Meant(words, record.rebuilt(record.date, new_latitude, new_longitude), price)


def _minutes_meant(degrees: float) -> float | None:
    """52.30 read as 52°30′; None where what stands behind the point cannot be minutes."""
    whole, hundredths = divmod(round(abs(degrees) * 1e6) / 1e4, 100.0)
    if hundredths >= 60.0 or abs(hundredths - round(hundredths)) > 1e-6:
        return None
    return float(np.copysign(whole + hundredths / 60.0, degrees))


def _another_setup(record: Record) -> Iterator[Meant]:
    """All the marks, or some of them, are another set-up's."""
    for other in record.others:
        if not other.same_day:
            words = f"the marks fit the site, date and rod of set-up {other.name}: its id, perhaps"
            yield Meant(words, other.board)
        if other.fit is not None:
            yield from _some_of_another(record, other, other.fit)


def _some_of_another(record: Record, other: Other, fit: Fit) -> Iterator[Meant]:
    board, away = record.board, _misfit_on(other.board, fit)
    theirs = away < 4.0
    count = int(np.count_nonzero(theirs))
    if not 2 <= count <= board.count - _FEWEST_MARKS:
        return
    names = _listed([record.label(number) for number in np.flatnonzero(theirs)])
    words = f"marks {names} belong to set-up {other.name}, whose line they fit"
    yield Meant(
        words,
        board.of(~theirs),
        price=COMMON_SLIP + 2.0 * count,
        extra_cost=float(np.sum(away[theirs] ** 2)),
    )


def _misfit_on(board: Board, fit: Fit) -> Array:
    """How far marks lie from a board already adjusted, in their tolerance; ∞ without a time."""
    timed = _timed(board)
    misfit = np.full(board.count, np.inf)
    if timed.any():
        part = board.of(timed)
        x, y = part.tips(part.watch_utc_s - fit.state.watch_error_s, fit.state)
        length = np.hypot(part.x_mm - x, part.y_mm - y) / part.tolerances.mark_sd_mm
        misfit[timed] = np.where(np.isfinite(length), length, np.inf)
    return misfit


def _listed(names: list[str]) -> str:
    if len(names) > 6:
        names = [*names[:3], "…", names[-1]]
    return ", ".join(names)


#: Every slip of record that leaves nothing open; each gives the boards that it may have meant.
HYPOTHESES: tuple[Callable[[Record], Iterator[Meant]], ...] = (
    _mirrored,
    _scaled,
    _other_angles,
    _twelve_hours,
    _other_order,
    _other_date,
    _other_place,
    _another_setup,
)


# The watch ------------------------------------------------------------------------------------


def _by_watch(record: Record, known: Mapping[str, Fit]) -> Iterator[Meant]:
    """The watch wrong by as much as fits best, and by the whole half hours next to that."""
    board = record.board
    if board.watch != "trusted" or not _timed(board).any():
        return
    fit = known.get("watch wrong") or adjust(board, free_watch=True)
    off_s = float(fit.state.watch_error_s) - board.watch_error_s
    u_s = float(np.sqrt(fit.covariance[WATCH, WATCH]))
    fast = "fast" if off_s > 0 else "slow"
    yield Meant(f"the watch was {abs(off_s) / 60:.0f} min {fast}", board, FREED, fit=fit)
    yield from _stated_error(board, off_s, max(60.0, 3.0 * u_s))
    half_hours = round(off_s / _HALF_HOUR_S)
    if half_hours and abs(off_s - half_hours * _HALF_HOUR_S) < max(240.0, 4.0 * u_s):
        shift_s = half_hours * _HALF_HOUR_S
        yield Meant(
            _watch_words(shift_s, record.utc_ahead_s),
            replace(board, watch_utc_s=board.watch_utc_s - shift_s),
        )


def _stated_error(board: Board, off_s: float, near_s: float) -> Iterator[Meant]:
    """The watch's stated error with the wrong sign, or in minutes."""
    stated_s = board.watch_error_s
    for words, meant_s in (
        ("the watch's error has the wrong sign: it is plus when fast", -stated_s),
        ("the watch's error is in minutes, not in seconds", 60.0 * stated_s),
    ):
        if stated_s and abs(stated_s + off_s - meant_s) < near_s:
            yield Meant(words, replace(board, watch_error_s=meant_s))


def _watch_words(shift_s: float, utc_ahead_s: float) -> str:
    ahead = "ahead of" if shift_s > 0 else "behind"
    off = f"the watch was {abs(shift_s) / 3600:g} h {ahead} the site's clock"
    if abs(shift_s + utc_ahead_s) < 60.0:
        return f"{off}: it showed UTC"
    if abs(shift_s) == 3600.0:
        return f"{off}: summer time, or the zone next door"
    if shift_s == -_HALF_DAY_S:
        return "the times after noon are of a 12-hour clock, typed without adding 12"
    if shift_s == _HALF_DAY_S:
        return "the times before noon are typed as if they were after it, 12 hours too much"
    return f"{off}: it kept another zone's time"


# Unknowns set free ----------------------------------------------------------------------------

_WIDE_MM, _WIDE_DEG = 40.0, 5.0


def _freed(record: Record, known: Mapping[str, Fit]) -> list[Meant]:
    """What no single slip explains: a foot, a level, a height far out, a board moved."""
    return [*_foot(record), *_level(record), *_height(record, known), *_moved(record)]


def _with_tolerance(board: Board, **wide: float) -> Board:
    return replace(board, tolerances=replace(board.tolerances, **wide))


def _foot(record: Record) -> Iterator[Meant]:
    wide = _with_tolerance(record.board, plumb_sd_mm=_WIDE_MM)
    fit = adjust(wide)
    off_mm = float(np.hypot(fit.state.foot_x_mm, fit.state.foot_y_mm))
    if off_mm > 4.0 * record.board.tolerances.plumb_sd_mm:
        words = (
            f"the foot was marked {off_mm:.0f} mm from the point plumb under the tip, at "
            f"x {-fit.state.foot_x_mm:+.0f}, y {-fit.state.foot_y_mm:+.0f} mm from it, or the "
            "rod leaned by as much"
        )
        yield Meant(words, wide, FREED + SLIP, fit=fit)


def _level(record: Record) -> Iterator[Meant]:
    wide = _with_tolerance(record.board, level_sd_deg=_WIDE_DEG)
    fit = adjust(wide)
    tilt_deg = float(np.degrees(np.hypot(fit.state.slope_x, fit.state.slope_y)))
    if tilt_deg > 4.0 * record.board.tolerances.level_sd_deg:
        words = f"the board was {tilt_deg:.1f}° out of level"
        yield Meant(words, wide, FREED + SLIP, fit=fit)


def _height(record: Record, known: Mapping[str, Fit]) -> Iterator[Meant]:
    board = record.board
    fit = known.get("height wrong") or adjust(board, free_height=True)
    excess_mm = board.height_mm - float(fit.state.height_mm)
    if not 0.02 < fit.state.height_mm / board.height_mm < 50.0:
        return
    if 10.0 < excess_mm < 900.0:
        words = (
            f"the rod's height was measured from the ground, or from {excess_mm:.0f} mm under "
            f"the board's face: it is {fit.state.height_mm:.0f} mm"
        )
    else:
        words = f"the rod's height is {fit.state.height_mm:.1f} mm, not {board.height_mm:g} mm"
    yield Meant(words, board, FREED, fit=fit)


def _moved(record: Record) -> Iterator[Meant]:
    """The board turned between two marks: later ones lie turned about the foot."""
    board = record.board
    timed = _timed(board)
    if board.watch != "trusted" or not timed.all() or board.count < 2 * _FEWEST_MARKS:
        return
    predicted, turn = _laid_over(board)
    if not np.isfinite(predicted).all():
        return
    order = np.argsort(board.watch_utc_s, kind="stable")
    marked = board.x_mm + 1j * board.y_mm
    azimuth = np.angle(marked * np.conj(predicted) * np.exp(-1j * turn))
    after, step = _break(azimuth[order], board.length_mm[order])
    later = order[after:]
    for _ in range(3):
        turned = _turned_back(board, later, step)
        fit = adjust(turned)
        step += _difference(turned, fit, later)
    turned = _turned_back(board, later, step)
    names = [record.label(int(order[place])) for place in (after - 1, after)]
    words = (
        f"the board was turned by {abs(np.degrees(step)):.1f}° between mark {names[0]} and mark "
        f"{names[1]}"
    )
    yield Meant(words, turned, FREED + SLIP, fit=adjust(turned), open_rad=abs(step))


def _break(angle_rad: Array, length_mm: Array) -> tuple[int, float]:
    """Where a row of angles steps, and by how much, by the least sum of absolute misses."""

    def missed(part: slice) -> float:
        return float(np.sum(np.abs(angle_rad[part] - np.median(angle_rad[part])) * length_mm[part]))

    places = range(2, angle_rad.size - 1)
    misses = [missed(slice(None, place)) + missed(slice(place, None)) for place in places]
    best = places[int(np.argmin(misses))]
    return best, float(np.median(angle_rad[best:]) - np.median(angle_rad[:best]))


def _turned_back(board: Board, later: NDArray[np.intp], step_rad: float) -> Board:
    marked = board.x_mm + 1j * board.y_mm
    marked[later] *= np.exp(-1j * step_rad)
    return replace(board, x_mm=marked.real, y_mm=marked.imag)


def _difference(board: Board, fit: Fit, later: NDArray[np.intp]) -> float:
    """How much the later marks are still turned against the others, from their residuals."""
    across = (board.x_mm * fit.residual_mm[:, 1] - board.y_mm * fit.residual_mm[:, 0]) * fit.kept
    weight = board.length_mm**2 * fit.kept
    is_later = np.isin(np.arange(board.count), later)
    if not (weight[is_later].any() and weight[~is_later].any()):
        return 0.0
    turns = [across[part].sum() / weight[part].sum() for part in (is_later, ~is_later)]
    return float(turns[0] - turns[1])


# One mark at a time ---------------------------------------------------------------------------


def reread(record: Record, fit: Fit) -> list[str]:
    """How marks that were left out would fit: a slip of the pen put right, or another set-up.

    Args:
        record: of the board.
        fit: the adjustment adopted, which left marks out.

    Returns:
        A sentence for each mark that just one slip of the pen explains, and for each set-up
        whose line some of them fit. Of blunders of 8 to 25 mm any way, about 4 in 100 lie by
        chance where one of the slips would have put them.
    """
    board = record.board
    timed = _timed(board)
    said = []
    for number in np.flatnonzero(~fit.kept & timed):
        place = (float(board.x_mm[number]), float(board.y_mm[number]))
        fitting = [
            words
            for words, (x, y), later_s in _slips_of_pen(*place, record.by_angle)
            if _fits(board, fit, int(number), x, y, later_s)
        ]
        if len(fitting) == 1:
            said.append(f"Mark {record.label(number)} would fit if {fitting[0]}.")
    for other in record.others:
        if other.fit is not None:
            theirs = ~fit.kept & (_misfit_on(other.board, other.fit) < 3.0)
            if theirs.any():
                names = _listed([record.label(number) for number in np.flatnonzero(theirs)])
                said.append(f"Left out: {names} would fit set-up {other.name}, if they are its.")
    return said


def _fits(board: Board, fit: Fit, number: int, x: float, y: float, later_s: float) -> bool:
    instant = board.watch_utc_s[[number]] - fit.state.watch_error_s + later_s
    there = np.concatenate(board.tips(instant, fit.state))
    off = np.hypot(there[0] - x, there[1] - y)
    return bool(off < 3.0 * board.tolerances.mark_sd_mm)


def _slips_of_pen(
    x: float, y: float, by_angle: bool
) -> Iterator[tuple[str, tuple[float, float], float]]:
    for minutes, words in ((60, "1 h"), (10, "10 min")):
        yield f"its time were {words} later", (x, y), minutes * 60.0
        yield f"its time were {words} earlier", (x, y), -minutes * 60.0
    if by_angle:
        length, angle = float(np.hypot(x, y)), float(np.degrees(np.arctan2(x, y)) % 360.0)
        for step in (-100, -10, 10, 100):
            for new_length, new_angle, words in (
                (length + step, angle, f"its length were {length + step:.1f} mm"),
                (length, angle + step, f"its angle were {(angle + step) % 360:.1f}°"),
            ):
                radians = np.radians(new_angle)
                yield words, (new_length * np.sin(radians), new_length * np.cos(radians)), 0.0
        return
    yield f"its x were {-x:+.1f} mm", (-x, y), 0.0
    yield f"its y were {-y:+.1f} mm", (x, -y), 0.0
    yield "its x and y were swapped", (y, x), 0.0
    for step in (-100, -10, 10, 100):
        yield f"its x were {x + step:+.1f} mm", (x + step, y), 0.0
        yield f"its y were {y + step:+.1f} mm", (x, y + step), 0.0
