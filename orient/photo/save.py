"""Marks from photographs into the marks table, with the times that were noted."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.errors import Fault, InputError
from orient.photo.reading import Mark
from orient.photo.track import tips, turned
from orient.tables import clock
from orient.tables.campaign import Campaign
from orient.tables.cells import Faults, plain, read_cells, with_changed_rows, with_row
from orient.tables.columns import MARKS
from orient.tables.editing import Sitting, table_path
from orient.text import counted

Array = NDArray[np.float64]
#: The whole of a time: no part of 12:30:75, of 2:30 pm or of a time in other digits.
_TIME = re.compile(
    r"(?<![\d:.])([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9](?:\.[0-9]{1,9})?))?"
    r"(?![\d:]|\.\d|\s*[ap]\.?\s*m\b)",
    re.IGNORECASE,
)
#: A tip farther than this from where the sun puts it at the noted time is not that mark, mm.
FITS_MM = 12.0
#: How well a mark lies where the sun puts it, at best, and how many may be left over.
MARK_MM, MOST_SPARE = 0.5, 2
_PLACE = ("x_mm", "y_mm", "length_mm", "angle_deg")


def noted_times(path: Path) -> list[str]:
    """The watch times of a text or table, one a line, in their order.

    Raises:
        InputError: the file cannot be read, or a line has no time.
    """
    try:
        lines = path.read_text("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        wanted = "a text with one watch time a line"
        raise InputError(Fault(path.name, None, None, str(fault), wanted)) from None
    found, faults = [], []
    for row, line in enumerate(lines, start=1):
        match = _TIME.search(line)
        if match:
            found.append(match[0])
        elif line.strip() and (row > 1 or any(sign.isdigit() for sign in line)):
            faults.append(Fault(path.name, row, None, repr(line[:40]), "a time as HH:MM:SS"))
    if faults:
        raise InputError(faults)
    return found


def check_times(
    marks: Sequence[Mark], times: Sequence[str], site: pd.Series, setup: pd.Series
) -> None:
    """Hold marks in order against their noted times: is the tip there at that time?

    The board may be turned any way: one turn for all is fitted.

    Raises:
        InputError: another number of times than marks, or marks where the tip was not.
    """
    if len(times) != len(marks):
        found = f"{counted(len(times), 'time')} for {counted(len(marks), 'mark')}"
        wanted = "a time for every mark: add or drop marks on the review page (-o), or times"
        raise InputError(Fault("--times", None, None, found, wanted))
    then = _tips(times, site, setup)
    at = np.array([[mark.x_mm, mark.y_mm] for mark in marks])
    apart = np.hypot(*(_turned(then, at) - at).T)
    allowed = np.maximum(FITS_MM, 0.05 * np.hypot(*then.T))
    faults = [
        Fault(
            "--times", number, None, f"{time} for mark {number}, {miss:.0f} mm from the tip then",
            "times in the order of the marks, by the watch of the set-up",
        )
        for number, (time, miss, most) in enumerate(zip(times, apart, allowed, strict=True), 1)
        if not miss <= most
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def _of_day_s(time: str) -> float:
    return sum(
        float(part) * unit for part, unit in zip(time.split(":"), (3600, 60, 1), strict=False)
    )


def _tips(times: Sequence[str], site: pd.Series, setup: pd.Series) -> Array:
    seconds = [_of_day_s(time) for time in times]
    day = np.datetime64(setup["date"], "D")
    error = setup["watch_error_s"]
    late = float(error) if np.isfinite(error) else 0.0
    instants = clock.utc_s([day] * len(times), np.array(seconds, float), str(site["timezone"]))
    return tips(np.asarray(instants) - late, site, float(setup["gnomon_height_mm"]))


def _turned(on_true_board: Array, at: Array) -> Array:
    """The tips turned about the foot as lies best on the marks; the median mark decides."""
    angle = np.arctan2(at[:, 0], at[:, 1]) - np.arctan2(on_true_board[:, 0], on_true_board[:, 1])
    middle = np.angle(np.exp(1j * (angle - angle[0])))
    return turned(on_true_board, float(angle[0] + np.median(middle)))


def logged_times(folder: Path, setup: str) -> list[str]:
    """The times of a set-up's marks that are in the table without their place, in their order.

    Raises:
        InputError: the table cannot be read, the set-up has marks with their place too, a row
            has no time that can be read, or two have the same.
    """
    path = table_path(folder, "marks")
    faults = Faults()
    cells = read_cells(path, faults) if path.is_file() else None
    faults.stop_if_any()
    if cells is None:
        return []
    own = np.array([plain(text) == setup for text in cells.column("setup")], dtype=bool)
    placed = np.any([cells.given(name) for name in _PLACE], axis=0)
    waiting = np.flatnonzero(own & ~placed)
    if len(waiting) and (own & placed).any():
        raise _marked_already(int((own & placed).sum()), setup)
    times = [cells.column("time")[row] for row in waiting]
    for row, time in zip(waiting, times, strict=True):
        if not _TIME.fullmatch(time) or times.count(time) > 1:
            faults.add(
                path.name, cells.rows[row], "time", repr(time), "a time of its own, HH:MM:SS"
            )
    faults.stop_if_any()
    return sorted(times, key=_of_day_s)


def matched_times(
    marks: Sequence[Mark], times: Sequence[str], site: pd.Series, setup: pd.Series
) -> list[str]:
    """The logged time of each mark, "" for a mark that has none, by where the tip was then.

    In order where there are as many; where one or two marks more were read, those that the sun
    leaves over, if it leaves no doubt which.

    Raises:
        InputError: times without a mark, marks that cannot be told apart, or a time at which
            the tip was not at its mark.
    """
    spare = len(marks) - len(times)
    if spare == 0:
        check_times(marks, times, site, setup)
        return list(times)
    left = _left_over(marks, times, site, setup)
    if spare < 0 or left is None:
        raise InputError(Fault("marks.csv", None, None, _uneven(marks, times, left), _EVEN))
    kept = [mark for place, mark in enumerate(marks) if place not in left]
    check_times(kept, times, site, setup)
    given = iter(times)
    return ["" if place in left else next(given) for place in range(len(marks))]


_EVEN = (
    "a mark for every time: add or drop marks on the review page (-o), or take the time's row out "
    "and give --times"
)


def _uneven(marks: Sequence[Mark], times: Sequence[str], left: tuple[int, ...] | None) -> str:
    found = f"{counted(len(times), 'time')} logged for {counted(len(marks), 'mark')}"
    if left is None:
        return f"{found}, and the sun does not tell which is left over"
    return f"{found}: none at {', '.join(times[place] for place in left)}"


def _left_over(
    marks: Sequence[Mark], times: Sequence[str], site: pd.Series, setup: pd.Series
) -> tuple[int, ...] | None:
    """Which of the longer row are left over; None where that is in doubt, or more than two are.

    Each choice is tried; the best must fit better than the next by more than three standard
    deviations of its own misfit.
    """
    at, then = np.array([[mark.x_mm, mark.y_mm] for mark in marks]), _tips(times, site, setup)
    spare = abs(len(at) - len(then))
    if spare > MOST_SPARE or min(len(at), len(then)) < 3:
        return None
    tried = []
    for left in combinations(range(max(len(at), len(then))), spare):
        some = np.delete(at, left, axis=0) if len(at) > len(then) else at
        tips_then = np.delete(then, left, axis=0) if len(then) > len(at) else then
        tried.append((float(np.sum((_turned(tips_then, some) - some) ** 2)), left))
    tried.sort()
    (best, left), (second, _) = tried[:2]
    sd2 = max(best / min(len(at), len(then)), MARK_MM**2)
    return left if second - best > 9.0 * sd2 else None


def save(
    folder: Path, setup: str, marks: Sequence[Mark], times: Sequence[str], logged: bool = False
) -> Path:
    """Put a set-up's marks into its campaign's table: all of them, or none.

    Args:
        folder: the campaign's.
        setup: whose marks they are.
        marks: in order.
        times: of each mark, "" where it has none; or of none.
        logged: the times have rows already, which get the marks' places.

    Raises:
        InputError: the set-up has marks already, or the tables cannot be read.
    """
    sitting = Sitting(folder, begun=("marks",) if logged else ())
    there = 0 if logged else int((sitting.campaign.marks["setup"] == setup).sum())
    if there:
        raise _marked_already(there, setup)
    noted: Sequence[str] = times or [""] * len(marks)
    rows = [
        _row(setup, number, *each) for number, each in enumerate(zip(marks, noted, strict=True), 1)
    ]
    if not logged:
        sitting.add_rows("marks", rows)
        return table_path(folder, "marks")
    timed = {row["time"]: row for row in rows if row["time"]}

    def placed(row: dict[str, str]) -> dict[str, str]:
        if row["setup"] != setup or row["time"] not in timed:
            return {}
        mine = timed[row["time"]]
        cells = {"x_mm": mine["x_mm"], "y_mm": mine["y_mm"]}
        note = " ".join(filter(None, (row.get("note", ""), mine["note"])))
        return cells | ({"note": note} if mine["note"] else {})

    def changed(data: bytes, _: Campaign) -> bytes:
        if logged_times(folder, setup) != sorted(timed, key=_of_day_s):
            # Someone else has saved or logged meanwhile.
            found = f"other times of set-up {setup} than were read"
            raise InputError(Fault("marks.csv", None, None, found, "the command run again"))
        data = with_changed_rows(data, placed, MARKS.numbers)
        for row in rows:
            if not row["time"]:
                # Its number is its place among the rows: the logged ones may be numbered already.
                data = with_row(data, row | {"mark": ""}, MARKS.numbers)
        return data

    sitting.change("marks", changed)
    return table_path(folder, "marks")


def _marked_already(there: int, setup: str) -> InputError:
    return InputError(
        Fault("marks.csv", None, None, f"{counted(there, 'mark')} of set-up {setup} already",
              "none: take them out first, or save under another set-up")
    )  # fmt: skip


def _row(setup: str, number: int, mark: Mark, time: str) -> dict[str, str]:
    return {
        "setup": setup,
        "mark": str(number),
        "time": time,
        "x_mm": f"{mark.x_mm:.2f}",
        "y_mm": f"{mark.y_mm:.2f}",
        "note": "" if mark.confidence >= 0.7 else "photograph: doubtful",
    }
