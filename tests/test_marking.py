"""The questions asked of a mark: none of good ones, and the right one of each slip.

The boards are simulated by code that shares nothing with the checks.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from simulated import random_day, simulated

from orient import simulate
from orient.observation import marking
from orient.observation.board import Board
from orient.observation.marking import doubts

LATITUDE, LONGITUDE, DAY = 46.0, 9.0, 120


def times(board: Board) -> np.ndarray:
    """Watch times as they would be written, for a watch that shows UTC."""
    return np.mod(board.watch_utc_s, 86400.0)


def board_until(last: int, **options) -> Board:
    """A day's careful board up to one mark, marks every 20 minutes."""
    truth = simulate.TrueBoard(30.0, 300.0)
    made = simulated(
        np.random.default_rng(4), LATITUDE, LONGITUDE, DAY, truth=truth, noise_mm=0.4, **options
    )
    return made.board.of(np.arange(made.board.count) <= last)


def last(board: Board, **changes) -> Board:
    """The same board with something about its last mark changed."""
    arrays = {name: getattr(board, name).copy() for name in changes}
    for name, value in changes.items():
        arrays[name][-1] = value
    return replace(board, **arrays)


def asked(board: Board, time_s=None, **options) -> dict[str, str]:
    time_s = times(board) if time_s is None else time_s
    return {doubt.code: str(doubt) for doubt in doubts(board, time_s, **options)}


@pytest.mark.long
@pytest.mark.parametrize("boards", [12, pytest.param(25, marks=pytest.mark.slow)])
@pytest.mark.parametrize("watch", ["trusted", "none"])
def test_good_marks_are_seldom_asked_about(watch, boards):
    generator = np.random.default_rng(11)
    marks = questions = 0
    for _ in range(boards):
        board = random_day(generator, watch=watch).board
        for place in range(board.count):
            upto = board.of(np.arange(board.count) <= place)
            time_s = np.arange(place + 1.0) if watch == "none" else np.arange(place + 1) * 1200.0
            questions += bool(doubts(upto, time_s))
            marks += 1
    assert marks > 20 * boards
    # 4.5 standard uncertainties in two dimensions: one in 25,000, and the sharing of errors
    # between marks takes its part.
    assert questions <= marks / 200


def test_blunders_are_asked_about_as_they_are_made():
    generator = np.random.default_rng(12)
    blunders = found = 0
    for _ in range(25):
        made = random_day(generator, blunder_rate=0.06)
        board, time_s = made.board, np.arange(made.board.count) * 1200.0
        for place in np.flatnonzero(made.blunder):
            upto = board.of(np.arange(board.count) <= place)
            found += bool(doubts(upto, time_s[: place + 1]))
            blunders += 1
    assert blunders > 30
    # 8 to 25 mm any way; some lie along what a 30 s watch or a first mark leaves open.
    assert found > 0.7 * blunders


@pytest.mark.parametrize("watch", ["trusted", "none"])
def test_a_mark_far_off_the_track_jumps(watch):
    board = board_until(9, watch=watch)
    assert asked(board) == {}
    x, y = board.x_mm[-1], board.y_mm[-1]
    moved = last(board, x_mm=x * 1.4, y_mm=y * 0.9)
    said = asked(moved)["tip-jumps"]
    expected = f"x {x:.0f}".replace("-", "−")
    if watch == "trusted":
        assert said.startswith(f"the tip is {np.hypot(0.4 * x, 0.1 * y):.0f} mm from")
        assert expected in said


@pytest.mark.parametrize(
    ("unit", "factor"), [("centimetres", 10.0), ("metres", 1000.0), ("inches", 25.4)]
)
@pytest.mark.parametrize("place", [0, 9])
def test_another_unit_is_named(unit, factor, place):
    board = board_until(place)
    small = last(board, x_mm=board.x_mm[-1] / factor, y_mm=board.y_mm[-1] / factor)
    said = asked(small)["tip-jumps"]
    assert f"Is it in {unit}?" in said
    assert f"length {np.hypot(board.x_mm[-1], board.y_mm[-1]):.5g}" in said


@pytest.mark.parametrize(
    ("turn", "question"),
    [
        (lambda x, y: (-x, y), "sign of x wrong, or the angle counted anticlockwise"),
        (lambda x, y: (x, -y), "sign of y wrong"),
        (lambda x, y: (-x, -y), "both signs wrong"),
        (lambda x, y: (y, x), "x and y the wrong way round"),
    ],
)
def test_a_sign_or_an_order_is_named(turn, question):
    board = board_until(7)
    x, y = turn(board.x_mm[-1], board.y_mm[-1])
    assert question in asked(last(board, x_mm=x, y_mm=y))["tip-jumps"]


def test_a_twelve_hour_clock_is_named():
    board = board_until(21)
    time_s = times(board)
    assert time_s[-1] > 13 * 3600
    time_s[-1] -= 43200.0
    early = last(board, watch_utc_s=board.watch_utc_s[-1] - 43200.0)
    said = asked(early, time_s)
    meant = f"Is it {marking.shown_time(time_s[-1] + 43200.0)}"
    assert meant in said["time-backwards"]
    assert meant in said["no-sun"]
    assert "tip-jumps" not in said


def test_a_watch_an_hour_off_is_named_from_the_first_mark_on():
    board = board_until(0)
    ahead = replace(board, watch_utc_s=board.watch_utc_s + 3600.0)
    said = asked(ahead)["tip-jumps"]
    assert "Is the watch an hour fast (summer time, or another zone)?" in said
    assert "watch_error_s is 3600" in said
    assert asked(replace(ahead, watch_error_s=3600.0), times(ahead)) == {}


def test_night_is_told_where_no_slip_explains_it():
    board = replace(board_until(0), noon_utc_s=0.0)
    midnight = board_until(0).noon_utc_s - 43200.0
    said = asked(last(board, watch_utc_s=midnight), np.array([43200.0 + 3600.0]))
    assert "time zone right" in said["no-sun"] or "Is it" in said["no-sun"]


def test_time_running_back_over_midnight_is_no_fault():
    board = board_until(2)
    assert "time-backwards" not in asked(board, np.array([85000.0, 86000.0, 600.0]))
    assert "time-backwards" in asked(board, np.array([35000.0, 36000.0, 35500.0]))


def test_a_mark_typed_twice_a_strange_ring_and_a_long_shadow():
    board = board_until(5)
    time_s = times(board)
    twice = last(board, x_mm=board.x_mm[-2], y_mm=board.y_mm[-2], watch_utc_s=board.watch_utc_s[-2])
    time_s[-1] = time_s[-2]
    assert "mark 5 is the same" in asked(twice, time_s)["typed-twice"]
    ring = np.array(["", "", "", "", "A", "A"])
    assert "ring A had" in asked(replace(board, ring=ring))["ring-differs"]
    same = replace(board, ring=np.array(["", "", "", "", "B", "A"]))
    assert asked(same) == {}
    assert "room for 100" in asked(board, longest_mm=100.0)["off-board"]


def test_marks_without_times_say_how_the_board_is_turned_once_there_are_enough():
    board = board_until(12, watch="none")
    turned = marking._turned(board)
    assert turned is not None
    assert np.degrees(turned.azimuth_rad) % 360.0 == pytest.approx(30.0, abs=0.5)
    # One mark alone is the morning's as well as the afternoon's.
    assert marking._turned(board.of(np.arange(board.count) == 0)) is None


def test_the_first_mark_is_held_against_its_length_alone():
    board = board_until(0)
    length, angle = board.length_mm[0], 1.0
    turned = last(board, x_mm=length * np.sin(angle), y_mm=length * np.cos(angle))
    assert asked(turned) == {}
    assert "the sun makes one of" in asked(last(board, x_mm=30.0, y_mm=900.0))["tip-jumps"]


def test_strange_marks_are_asked_about_and_nothing_fails():
    board = board_until(6)
    for x, y in [(0.0, 0.0), (2e4, -2e4), (1e-9, 0.0)]:
        assert "tip-jumps" in asked(last(board, x_mm=x, y_mm=y))
    for latitude in (-89.9, 0.0, 89.9):
        assert isinstance(asked(replace(board, latitude_deg=latitude)), dict)
    nothing = board.of(np.zeros(board.count, dtype=bool))
    assert doubts(nothing, np.empty(0)) == []
