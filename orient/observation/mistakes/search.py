"""The slips that crews make, each as the boards that a record may have meant."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from orient.numbers import sun
from orient.observation.adjustment import Asked, Fit
from orient.observation.board import Board
from orient.observation.mistakes.catalogue import possible
from orient.observation.mistakes.record import (
    COMMON_SLIP,
    FEWEST_MARKS,
    PLACE,
    SLIP,
    Array,
    Meant,
    Other,
    Record,
    listed,
    misfit_on,
    timed_marks,
)
from orient.observation.mistakes.trials import Trial, as_read, one_by_one
from orient.observation.solver import WATCH

_HALF_HOUR_S, _HALF_DAY_S, _DAY_S = 1800.0, 43200.0, 86400.0


# Slips of record ------------------------------------------------------------------------------


def slips(record: Record) -> list[Trial]:
    """Each slip put right, of those that are not ruled out at a glance."""
    meants = [meant for hypothesis in HYPOTHESES for meant in hypothesis(record)]
    trials = [as_read(meant) for meant in meants if possible(meant.board)]
    return [*trials, _other_watch(record)]


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


def _other_edge(record: Record) -> Iterator[Meant]:
    board = record.board
    if board.edge == "middle":
        words = "the end of full shadow was marked, not the middle of its soft edge"
        yield Meant(words, replace(board, edge="dark"))
    else:
        words = "the middle of the shadow's soft edge was marked, not the end of full shadow"
        yield Meant(words, replace(board, edge="middle"))


def _other_day(record: Record) -> Iterator[Meant]:
    """The date out by a day, a week, ten days or a month, to either side."""
    board = record.board
    for days, price in ((1, SLIP), (2, COMMON_SLIP), (7, COMMON_SLIP), (10, COMMON_SLIP),
                        (30, COMMON_SLIP), (31, COMMON_SLIP)):  # fmt: skip
        for sign in (-1, 1):
            shift_s = sign * days * 86400.0
            noon_s = float(sun.transit(board.noon_utc_s + shift_s, board.longitude_deg))
            late = "later" if sign > 0 else "earlier"
            yield Meant(
                f"the date is {days} day{'s' * (days > 1)} {late} than was written",
                replace(board, noon_utc_s=noon_s, watch_utc_s=board.watch_utc_s + shift_s),
                price=price,
            )


def _other_place(record: Record) -> Iterator[Meant]:
    board = record.board
    latitude, longitude = record.latitude_deg, record.longitude_deg
    if record.rebuilt is None:
        latitude, longitude = board.latitude_deg, board.longitude_deg
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
        if record.rebuilt is None:
            meant = _elsewhere(board, new_latitude, new_longitude)
        else:
            meant = record.rebuilt(record.date, new_latitude, new_longitude)
        yield Meant(words, meant, price, kind=PLACE)


def _elsewhere(board: Board, latitude_deg: float, longitude_deg: float) -> Board:
    """The board at another place, the watch's zone known."""
    east_s = (longitude_deg - board.longitude_deg) * 240.0
    noon_s = float(sun.transit(board.noon_utc_s - east_s, longitude_deg))
    return replace(board, latitude_deg=latitude_deg, longitude_deg=longitude_deg, noon_utc_s=noon_s)


def _minutes_meant(degrees: float) -> float | None:
    """52.30 read as 52°30′; None where what stands behind the point cannot be minutes."""
    whole, hundredths = divmod(round(abs(degrees) * 1e6) / 1e4, 100.0)
    if hundredths >= 60.0 or abs(hundredths - round(hundredths)) > 1e-6:
        return None
    return float(np.copysign(whole + hundredths / 60.0, degrees))


def _another_setup(record: Record) -> Iterator[Meant]:
    """All the marks, or some of them, are another set-up's."""
    alike: dict[tuple[float, ...], list[Other]] = {}
    for other in record.others:
        if not other.same_day:
            there = other.board
            place = there.latitude_deg, there.longitude_deg
            alike.setdefault((*place, there.noon_utc_s, there.height_mm), []).append(other)
    for others in alike.values():
        more = f" or of {len(others) - 1} more of that day" if others[1:] else ""
        words = f"the marks fit the site, date and rod of set-up {others[0].name}{more}"
        yield Meant(f"{words}: its id, perhaps", others[0].board)
    for other in record.others:
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


# The watch ------------------------------------------------------------------------------------


def _other_watch(record: Record) -> Trial:
    """The watch wrong by a whole number of half hours, or its stated error misread."""
    board = record.board
    if board.watch != "trusted" or not timed_marks(board).any():
        return []
    fit = yield Asked(board, free_watch=True)
    meants = _watch_slips(record, fit)
    return (yield from one_by_one(meant for meant in meants if possible(meant.board)))


def _watch_slips(record: Record, fit: Fit) -> Iterator[Meant]:
    board = record.board
    off_s = float(fit.state.watch_error_s) - board.watch_error_s
    u_s = float(np.sqrt(fit.covariance[WATCH, WATCH]))
    yield from _stated_error(board, off_s, max(60.0, 3.0 * u_s))
    half_hours = round(off_s / _HALF_HOUR_S)
    if half_hours and abs(off_s - half_hours * _HALF_HOUR_S) < max(240.0, 4.0 * u_s):
        shift_s = half_hours * _HALF_HOUR_S
        yield Meant(
            _watch_words(shift_s, record.utc_ahead_s),
            replace(board, watch_utc_s=_that_day(board, board.watch_utc_s - shift_s)),
            sets_aside=("watch",),
        )


def _that_day(board: Board, watch_utc_s: Array) -> Array:
    """Instants on the board's own day: a watch of another zone may be past midnight by then."""
    return watch_utc_s - _DAY_S * np.round((watch_utc_s - board.noon_utc_s) / _DAY_S)


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
    shift_s -= _DAY_S * np.trunc(shift_s / (_HALF_DAY_S + 1.0))
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
    _other_edge,
    _other_day,
)
