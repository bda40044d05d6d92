"""Mistakes to practise on: each really made, in how the board stands or in what is written down.

`MISTAKES` is their list. A *physical* mistake changes the board before it is marked; a *written*
one changes the cells afterwards.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from orient import simulate
from orient.practice.boards import (
    PracticeBoard,
    Sky,
    Work,
    drawn,
    practice_board,
    to_ruler,
)

Generator = np.random.Generator
Physical = Callable[[simulate.TrueBoard, Generator], simulate.TrueBoard]
Written = Callable[[PracticeBoard, Sky, Generator], None]


@dataclass(frozen=True)
class Mistake:
    """A mistake that can be asked for by name.

    `words` tell it for the answer key, as the page of mistakes does. One of `physical` and
    `written` is given. `by_time` tells that it needs marks with a time, `ruler` that it is made
    when the sheet is measured, so that it cannot be made on a sheet beforehand.
    """

    name: str
    words: str
    physical: Physical | None = None
    written: Written | None = None
    by_time: bool = False
    ruler: bool = False


def board_with(
    mistake: Mistake | None,
    name: str,
    sky: Sky,
    work: Work,
    generator: Generator,
    line_azimuth_deg: float,
) -> PracticeBoard:
    """A board with one mistake, or a sound one where that is None; arguments as `practice_board`.

    Raises:
        ValueError: fewer than three marks can be made, the mistake needs a watch, or it is made
            at the ruler and the board is a sheet still to be measured.
    """
    if mistake and mistake.by_time and work.watch == "none":
        raise ValueError(f"{mistake.name} is a mistake of the times: it needs a watch")
    if mistake and mistake.ruler and work.sheet:
        raise ValueError(f"{mistake.name} is made at the ruler: a printed sheet cannot have it")
    truth = drawn(generator, work)
    if mistake and mistake.physical:
        truth = mistake.physical(truth, generator)
    board = practice_board(name, sky, work, generator, line_azimuth_deg, truth)
    if mistake:
        board.mistake = mistake.words
    if mistake and mistake.written:
        mistake.written(board, sky, generator)
    if work.sheet is not None:
        board.keep(work.sheet.holds(board.pencil_mm))
    return board


# How the board stands -----------------------------------------------------------------------


def _turned_away(generator: Generator, size: float) -> tuple[float, float]:
    angle = generator.uniform(0.0, 2.0 * np.pi)
    return size * float(np.cos(angle)), size * float(np.sin(angle))


def _out_of_level(truth: simulate.TrueBoard, generator: Generator) -> simulate.TrueBoard:
    tilt_x, tilt_y = _turned_away(generator, generator.uniform(1.0, 2.0))
    return replace(truth, tilt_x_deg=tilt_x, tilt_y_deg=tilt_y)


def _leaning_rod(truth: simulate.TrueBoard, generator: Generator) -> simulate.TrueBoard:
    lean = np.radians(generator.uniform(1.5, 3.0))
    foot_x, foot_y = _turned_away(generator, truth.height_mm * float(np.tan(lean)))
    return replace(truth, foot_x_mm=foot_x, foot_y_mm=foot_y)


def _watch_slow(truth: simulate.TrueBoard, generator: Generator) -> simulate.TrueBoard:
    minutes = generator.uniform(6.0, 20.0) * generator.choice([-1.0, 1.0])
    return replace(truth, watch_fast_s=truth.watch_fast_s + 60.0 * float(minutes))


# What is written down -----------------------------------------------------------------------


def _each_time(change_s: float) -> Written:
    def write(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
        for mark, instant in zip(board.marks, board.true_utc_s, strict=True):
            mark["time"] = sky.watch_time(instant + board.truth.watch_fast_s + change_s)

    return write


def _utc(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    from datetime import datetime

    offset = datetime.fromtimestamp(float(board.true_utc_s[0]), sky.zone).utcoffset()
    _each_time(-offset.total_seconds() if offset else 0.0)(board, sky, generator)


def _half_day_clock(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    for mark in board.marks:
        hour, rest = int(mark["time"][:2]), mark["time"][2:]
        mark["time"] = f"{hour - 12 if hour > 12 else hour:02d}{rest}"


def _swapped(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    for mark in board.marks:
        mark["x_mm"], mark["y_mm"] = mark["y_mm"], mark["x_mm"]


def _x_to_the_left(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    for mark in board.marks:
        mark["x_mm"] = to_ruler(-float(mark["x_mm"]))


def _centimetres(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    for mark in board.marks:
        mark["x_mm"] = f"{float(mark['x_mm']) / 10:.2f}"
        mark["y_mm"] = f"{float(mark['y_mm']) / 10:.2f}"


def _from_the_corner(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    x, y = (float(generator.uniform(200.0, 350.0)) for _ in range(2))
    for mark in board.marks:
        mark["x_mm"] = to_ruler(float(mark["x_mm"]) + x)
        mark["y_mm"] = to_ruler(float(mark["y_mm"]) + y)


def _from_the_ground(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    height = float(board.setup["gnomon_height_mm"]) + float(generator.uniform(60.0, 120.0))
    board.setup["gnomon_height_mm"] = f"{height:.0f}"


def _board_turned(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    """From the middle mark on, the board stands turned; the line was drawn before."""
    turn = np.radians(generator.uniform(1.5, 4.0) * generator.choice([-1.0, 1.0]))
    cosine, sine = float(np.cos(turn)), float(np.sin(turn))
    for number in range(len(board.marks) // 2, len(board.marks)):
        mark, (x, y) = board.marks[number], board.pencil_mm[number]
        mark["x_mm"], mark["y_mm"] = (
            to_ruler(x * cosine + y * sine),
            to_ruler(y * cosine - x * sine),
        )
        board.pencil_mm[number] = float(mark["x_mm"]), float(mark["y_mm"])


def _one_bad_mark(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    mark = board.marks[int(generator.integers(len(board.marks)))]
    mark["y_mm"] = to_ruler(float(mark["y_mm"]) + 100.0 * float(generator.choice([-1.0, 1.0])))


def _times_a_row_late(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    times = [mark["time"] for mark in board.marks]
    for mark, time in zip(board.marks[1:], times, strict=False):
        mark["time"] = time
    board.keep(np.arange(len(board.marks)) > 0)


def _day_and_month(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    year, month, day = sky.date.split("-")
    if int(day) > 12 or day == month:
        raise ValueError(f"date-swapped: day and month of {sky.date} cannot be swapped")
    board.setup["date"] = f"{year}-{day}-{month}"


def _line_misread(board: PracticeBoard, sky: Sky, generator: Generator) -> None:
    board.setup["reference_x_mm"] = to_ruler(-float(board.setup["reference_x_mm"]))


MISTAKES: dict[str, Mistake] = {
    each.name: each
    for each in (
        Mistake("summer-time", "summer time forgotten", None, _each_time(-3600.0), True),
        Mistake("watch-utc", "a watch that shows UTC", None, _utc, True),
        Mistake("watch-unset", "a watch never set", _watch_slow, None, True),
        Mistake("twelve-hour", "12-hour times after noon", None, _half_day_clock, True),
        Mistake("row-late", "times one row out", None, _times_a_row_late, True),
        Mistake("swapped", "x and y swapped", None, _swapped, ruler=True),
        Mistake("x-left", "x counted to the left", None, _x_to_the_left, ruler=True),
        Mistake("centimetres", "marks in centimetres", None, _centimetres, ruler=True),
        Mistake(
            "corner", "marks measured from the sheet's corner", None, _from_the_corner, ruler=True
        ),
        Mistake("bad-mark", "a hundred misread on the ruler", None, _one_bad_mark, ruler=True),
        Mistake("ground", "the rod's height measured from the ground", None, _from_the_ground),
        Mistake("leaning", "the foot marked in the wrong place, or a rod that leans", _leaning_rod),
        Mistake("unlevel", "a board far out of level", _out_of_level),
        Mistake("turned", "a board moved during the day", None, _board_turned),
        Mistake("date-swapped", "day and month swapped in a date", None, _day_and_month),
        Mistake(
            "line-misread",
            "the reference line's x counted to the left",
            None,
            _line_misread,
            ruler=True,
        ),
    )
}
