"""The mistakes that crews make, each as the boards that a record may have meant.

`slips` leave nothing open; `by_watch` and `freed` solve for what was wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from orient.observation.adjustment import WATCH, Fit, adjust
from orient.observation.board import Board
from orient.observation.mistakes.record import (
    COMMON_SLIP,
    FEWEST_MARKS,
    FREED,
    SLIP,
    Array,
    Meant,
    Other,
    Record,
    laid_over,
    listed,
    misfit_on,
    timed_marks,
)
from orient.text import signed

_HALF_HOUR_S, _HALF_DAY_S = 1800.0, 43200.0


# Slips of record ------------------------------------------------------------------------------


def slips(record: Record) -> Iterator[Meant]:
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
    if not timed_marks(board).any():
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
    timed = np.flatnonzero(timed_marks(board))
    if timed.size < FEWEST_MARKS:
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
    board, away = record.board, misfit_on(other.board, fit)
    theirs = away < 4.0
    count = int(np.count_nonzero(theirs))
    if not 2 <= count <= board.count - FEWEST_MARKS:
        return
    names = listed([record.label(number) for number in np.flatnonzero(theirs)])
    words = f"marks {names} belong to set-up {other.name}, whose line they fit"
    yield Meant(
        words,
        board.of(~theirs),
        price=COMMON_SLIP + 2.0 * count,
        extra_cost=float(np.sum(away[theirs] ** 2)),
    )


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


def by_watch(record: Record, known: Mapping[str, Fit]) -> Iterator[Meant]:
    """The watch wrong by as much as fits best, and by the whole half hours next to that."""
    board = record.board
    if board.watch != "trusted" or not timed_marks(board).any():
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


def freed(record: Record, known: Mapping[str, Fit]) -> list[Meant]:
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
            f"x {signed(-fit.state.foot_x_mm, 0)}, y {signed(-fit.state.foot_y_mm, 0)} mm from "
            "it, or the rod leaned by as much"
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
    timed = timed_marks(board)
    if board.watch != "trusted" or not timed.all() or board.count < 2 * FEWEST_MARKS:
        return
    predicted, turn = laid_over(board)
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
