"""What a page looks up on site: the sun of its days, the good hours, what the hours are worth."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.tolerances import COVERAGE_95
from orient.pages import lookup
from orient.planning.hourly import Hour, HourlyPairs
from orient.planning.hours import Limits

#: Minutes for which one letter of the hours stands.
SLOT_MIN = 15
#: Bounds of the classes of uncertainty, in parts of the target.
BOUNDS = (0.5, 0.7, 1.0, 2.0)
#: What hinders marks in an hour: its letter, its style in drawings, its words.
HINDRANCES = {
    Hour.TOO_LOW: ("-", "low", "sun too low, or behind the skyline"),
    Hour.TOO_HIGH: ("^", "high", "sun too high"),
    Hour.OFF_BOARD: ("#", "off", "shadow runs off the board"),
}

Row = dict[str, Any]
Codes = NDArray[np.str_]


class Class(NamedTuple):
    """A class of hours: its letter in the table, its style, what the legend says of it."""

    letter: str
    style: str
    words: str


def hour_classes(limits: Limits) -> list[Class]:
    """The classes of hours, the best first, in 95 % figures of the pair of marks."""
    bounds = [f"{part * COVERAGE_95 * limits.target_deg:.2f}" for part in BOUNDS]
    words = [f"up to {bounds[0]}°"]
    words += [f"{low}–{high}°" for low, high in pairwise(bounds)]
    words[BOUNDS.index(1.0)] += " (the target)"
    words.append(f"over {bounds[-1]}°, or no partner")
    of_u = [Class(str(number), f"u{number}", text) for number, text in enumerate(words)]
    return of_u + [Class(*said) for said in HINDRANCES.values()]


def letters_of(pairs: HourlyPairs, limits: Limits) -> Codes:
    """The class of each slot by its letter, in the shape of the slots."""
    parts = np.nan_to_num(pairs.u_deg / limits.target_deg, nan=0.0)
    letters = np.digitize(parts, BOUNDS, right=True).astype("U1")
    for hour, (letter, _, _) in HINDRANCES.items():
        letters[pairs.hour == hour] = letter
    return letters


def panel_table(span: str, rod_mm: float, classes: Sequence[Class], sites: list[Row]) -> Row:
    """The table that the panel for use on site reads.

    Args:
        span: the dates in words.
        rod_mm: the rod it begins with.
        classes: of `hour_classes`.
        sites: for each site `timezone`, the keys of `lookup.site_table`, and `days` of
            `day_tables`.
    """
    return {
        "span": span,
        "step_s": lookup.STEP_S,
        "scale": lookup.SCALE,
        "shortest_shadow": lookup.SHORTEST_SHADOW,
        "slot_s": SLOT_MIN * 60,
        "rod_mm": rod_mm,
        "words": {each.letter: each.words for each in classes},
        "sites": sites,
    }


def day_tables(days: pd.DataFrame, letters: Codes) -> dict[str, Row]:
    """Noon, good hours and the class of each slot of one site's days, by date.

    Args:
        days: of `orient.planning.hours.plan_table`, for one site.
        letters: of `letters_of`, shape (days, slots).
    """
    columns = days.to_dict("list")
    return {
        str(date)[:10]: {
            "noon_utc_s": round(columns["noon_utc_s"][number]),
            "windows": _windows(columns, number),
            "slots": "".join(letters[number]),
        }
        for number, date in enumerate(columns["date"])
    }


def _windows(columns: dict[Any, Any], number: int) -> list[list[int]]:
    ends = [
        [columns[f"{side}_{end}_utc_s"][number] for end in ("from", "to")]
        for side in ("morning", "afternoon")
    ]
    return [[round(start), round(stop)] for start, stop in ends if np.isfinite(start)]
