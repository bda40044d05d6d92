"""Marks from photographs into the marks table, with the times that were noted."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.errors import Fault, InputError
from orient.photo.reading import Mark
from orient.photo.track import tips, turned
from orient.tables import clock
from orient.tables.editing import Sitting

Array = NDArray[np.float64]
_TIME = re.compile(r"\b([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?\b")
#: A tip farther than this from where the sun puts it at the noted time is not that mark, mm.
FITS_MM = 12.0


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
        found = f"{len(times)} times for {len(marks)} marks"
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


def _tips(times: Sequence[str], site: pd.Series, setup: pd.Series) -> Array:
    seconds = [
        sum(int(part) * unit for part, unit in zip(time.split(":"), (3600, 60, 1), strict=False))
        for time in times
    ]
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


def save(folder: Path, setup: str, marks: Sequence[Mark], times: Sequence[str]) -> Path:
    """Add a set-up's marks to its campaign's table: all of them, or none.

    Raises:
        InputError: the set-up has marks already, or the tables cannot be read.
    """
    sitting = Sitting(folder)
    there = int((sitting.campaign.marks["setup"] == setup).sum())
    if there:
        raise InputError(
            Fault("marks.csv", None, None, f"{there} marks of set-up {setup} already",
                  "none: take them out first, or save under another set-up")
        )  # fmt: skip
    noted: Sequence[str] = times or [""] * len(marks)
    rows: list[dict[str, Any]] = [
        {
            "setup": setup,
            "mark": str(number),
            "time": time,
            "x_mm": f"{mark.x_mm:.2f}",
            "y_mm": f"{mark.y_mm:.2f}",
            "note": "" if mark.confidence >= 0.7 else "photograph: doubtful",
        }
        for number, (mark, time) in enumerate(zip(marks, noted, strict=True), 1)
    ]
    sitting.add_rows("marks", rows)
    return folder / "marks.csv"
