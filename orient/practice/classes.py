"""A class compared: each student's line against the truth, and what most likely went wrong.

The truth is a known azimuth, the line of the instructor's own board, or the robust middle of the
class. A student is told a mistake only where the board's own marks, or the line's distance from
the truth, speak for it: see `FAR`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.angles import most_agreed, wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.joint.copies import copies
from orient.observation.setups import SetupResult

Array = NDArray[np.float64]

#: A line is called wrong beyond so many standard uncertainties: by chance 1 in 16,000.
FAR = 4.0
#: A mark that was left out is a mistake to tell from so many marking tolerances on.
_FAR_MARK = 10.0
#: Lines nearer to the middle than this, in standard uncertainties, are counted into it.
_NEAR_MIDDLE = 3.0

COLUMNS = (
    "student", "setup", "reference_azimuth_deg", "reference_azimuth_95_deg", "error_deg",
    "times_stated", "hand_azimuth_deg", "hand_difference_deg", "verdict", "likeliest_mistake",
)  # fmt: skip

GOOD, WIDE, WRONG, NONE = (
    "within the stated figure",
    "a little outside the stated figure",
    "outside the stated figure",
    "no line",
)


@dataclass(frozen=True)
class Truth:
    """What the lines are compared with: true azimuth and standard uncertainty, degrees."""

    azimuth_deg: float
    u_deg: float
    words: str


def middle_of(azimuth_deg: Any, u_deg: Any) -> Truth | None:
    """The robust middle of many lines: where most of them agree, the far ones without a say.

    Args:
        azimuth_deg, u_deg: true azimuths and their standard uncertainties, shape (n,).

    Returns:
        The weighted mean of the lines within three standard uncertainties of the place where
        the most lie; None with fewer than three lines, or where fewer than half agree.
    """
    azimuth, u = np.asarray(azimuth_deg, dtype=float), np.asarray(u_deg, dtype=float)
    if azimuth.size < 3:
        return None
    start = azimuth[most_agreed(azimuth, u, _NEAR_MIDDLE)]
    middle, near = float(start), np.ones(azimuth.size, dtype=bool)
    for _ in range(10):
        off = wrap_180(azimuth - middle)
        near = np.abs(off) <= _NEAR_MIDDLE * np.hypot(u, 1e-6)
        if not near.any():
            return None
        weight = near / u**2
        middle = float(wrap_360(middle + np.sum(weight * off) / weight.sum()))
    if 2 * np.count_nonzero(near) < azimuth.size:
        return None
    pulls = wrap_180(azimuth - middle)[near] / u[near]
    scatter = max(1.0, float(np.sqrt(np.mean(pulls**2))))
    own_u = scatter / float(np.sqrt(np.sum(1.0 / u[near] ** 2)))
    words = f"the middle of {np.count_nonzero(near)} of the {azimuth.size} lines"
    return Truth(middle, own_u, words)


def compared(
    students: pd.DataFrame, results: Mapping[str, SetupResult], truth: Truth, by_number: bool
) -> pd.DataFrame:
    """Each student's line against the truth.

    Args:
        students: of `read_roster`.
        results: the reduced set-ups by id; a student without one has no line.
        truth: what they are compared with.
        by_number: write numbers, in the order of the list, in place of names.

    Returns:
        `COLUMNS`: `error_deg` is the line less the truth, + clockwise; `times_stated` is its size
        over the standard uncertainty of both together; `likeliest_mistake` is "" where nothing
        speaks for one; `hand_difference_deg` is what a student found by hand, less the azimuth
        computed from the same sheet.
    """
    called = {
        name: str(number) if by_number else str(student)
        for number, (student, name) in enumerate(students.itertuples(index=False), start=1)
    }
    said = _others_sheets({name: results[name] for name in called if name in results}, truth)
    rows = []
    for name, student in called.items():
        row = {"student": student, "setup": name} | _line_against(results.get(name), truth)
        if name in said:
            words, other = said[name]
            row["likeliest_mistake"] = words.format(called[other])
        rows.append(row)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _line_against(result: SetupResult | None, truth: Truth) -> dict[str, Any]:
    row: dict[str, Any] = {
        "reference_azimuth_deg": np.nan,
        "reference_azimuth_95_deg": np.nan,
        "error_deg": np.nan,
        "times_stated": np.nan,
        "hand_azimuth_deg": np.nan,
        "hand_difference_deg": np.nan,
        "verdict": NONE,
        "likeliest_mistake": "",
    }
    if result is None:
        return row | {"likeliest_mistake": "The campaign has no such set-up."}
    azimuth, u = result.row["reference_azimuth_deg"], result.row["reference_azimuth_u_deg"]
    for name in ("hand_azimuth_deg", "hand_difference_deg"):
        row[name] = np.nan if result.row[name] is None else result.row[name]
    if azimuth is None:
        return row | {"likeliest_mistake": _mistake(result, truth, np.inf)}
    error = float(wrap_180(azimuth - truth.azimuth_deg))
    times = abs(error) / float(np.hypot(u, truth.u_deg))
    verdict = GOOD if times <= COVERAGE_95 else WIDE if times <= FAR else WRONG
    return row | {
        "reference_azimuth_deg": azimuth,
        "reference_azimuth_95_deg": COVERAGE_95 * u,
        "error_deg": error,
        "times_stated": times,
        "verdict": verdict,
        "likeliest_mistake": _mistake(result, truth, times),
    }


def _mistake(result: SetupResult, truth: Truth, times: float) -> str:
    """The likeliest mistake in one sentence, "" where nothing speaks for one."""
    reduced = result.reduced
    if reduced is None:
        return "No mark was typed in."
    if reduced.explanation is not None:
        return _sentence(reduced.explanation.words)
    far = _far_marks(result)
    if far:
        marks = ", ".join(far)
        return f"Mark {marks} does not fit the others: a misread ruler or a wrong number."
    if result.row["reference_azimuth_deg"] is None:
        missing = "The line's direction was not typed in."
        return missing if reduced.determined else reduced.doubt or "The marks give no direction."
    if times <= FAR:
        return ""
    if found := _line_mistake(result, truth):
        return _sentence([found])
    return "The marks fit each other, but the line is not there: it was drawn to another point."


_COPIED = "The marks are those of {}: one sheet was typed in twice."
_SWAPPED = "With the line of {} the marks are right: the two sheets were swapped."


def _others_sheets(results: Mapping[str, SetupResult], truth: Truth) -> dict[str, tuple[str, str]]:
    """Of whom another's marks were typed in: what to say, and whose they are."""
    names = list(results)
    copied = copies([results[name].marks for name in names])
    said = {names[n]: (_COPIED, names[of]) for n, of in copied.items()}
    wrong = [
        name
        for name in names
        if name not in said
        and results[name].row["reference_azimuth_deg"] is not None
        and not _near(results[name], results[name], truth)
    ]
    for one, other in combinations(wrong, 2):
        first, second = results[one], results[other]
        if _near(first, second, truth) and _near(second, first, truth):
            said |= {one: (_SWAPPED, other), other: (_SWAPPED, one)}
    return said


def _near(marks: SetupResult, line: SetupResult, truth: Truth) -> bool:
    """Whether the marks of one board and the line of another give the truth."""
    drawn = line.row["reference_azimuth_deg"] - line.row["board_azimuth_deg"]
    azimuth = marks.row["board_azimuth_deg"] + drawn
    allowed = FAR * float(np.hypot(marks.row["reference_azimuth_u_deg"], truth.u_deg))
    return bool(abs(float(wrap_180(azimuth - truth.azimuth_deg))) <= allowed)


def _sentence(words: Sequence[str]) -> str:
    said = " or ".join(words[:2])
    return f"{said[0].upper()}{said[1:]}."


def _far_marks(result: SetupResult) -> list[str]:
    assert result.reduced is not None
    fit, stated = result.reduced.fit, result.reduced.board.tolerances.mark_sd_mm
    away = np.hypot(*fit.residual_mm.T)
    far = ~fit.kept & ~(away < _FAR_MARK * stated)
    return [str(result.marks["mark"].iloc[number]) for number in np.flatnonzero(far)]


#: Mistakes of the line alone: what the angle was where the table has another, degrees.
_LINE_MISTAKES: tuple[tuple[str, Callable[[float], float]], ...] = (
    ("the reference line's angle was counted anticlockwise, or its x to the left", lambda a: -a),
    ("the reference line was read from its other end", lambda a: a + 180.0),
    ("the reference line's y has the wrong sign", lambda a: 180.0 - a),
    ("x and y of the reference line are swapped", lambda a: 90.0 - a),
    ("the reference line's angle was counted from the x axis", lambda a: a + 90.0),
    ("the reference line's angle was counted from the −x axis", lambda a: a - 90.0),
    ("the reference line's angle is 10° too small", lambda a: a + 10.0),
    ("the reference line's angle is 10° too large", lambda a: a - 10.0),
)


def _line_mistake(result: SetupResult, truth: Truth) -> str:
    """What would put the line right, the board itself being good; "" where nothing does."""
    row = result.row
    angle = float(wrap_180(row["reference_azimuth_deg"] - row["board_azimuth_deg"]))
    allowed = FAR * float(np.hypot(row["reference_azimuth_u_deg"], truth.u_deg))
    for words, meant in _LINE_MISTAKES:
        line = row["board_azimuth_deg"] + meant(angle)
        if abs(float(wrap_180(line - truth.azimuth_deg))) <= allowed:
            return words
    return ""
