"""What setting out takes from the tape alone, the same for every line: as tables, as drawings."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from orient.numbers import settingout
from orient.numbers.settingout import Taping
from orient.numbers.tolerances import COVERAGE_95
from orient.pages import page_template
from orient.report.drawing import Drawing
from orient.text import figure

_WIDTH, _ROW, _LETTERS = 300.0, 14.5, 54
#: A line of a note.
_LINE = 12.5
_SQUARE_NOTE = (
    "3-4-5: a peg on the line; the wanted point lies square from the station and the swing from "
    "that peg. Equal chords: pegs on the line either way from the station; equal swings from both "
    "meet on the square."
)
_CLOSING_NOTE = "Careful work stays within all of them 95 times in 100. Beyond one: set out again."


def taping_html(taping: Taping | None = None) -> str:
    """The tables for all lines of a page, once, as a `<section>` that readers can copy from."""
    return page_template("report", "taping.html").render(parts=_parts(taping or Taping()))


@lru_cache(maxsize=4)
def taping_drawings(taping: Taping) -> list[Markup]:
    """The same tables drawn: on a page of many lines they stand once."""
    return [_drawn(part) for part in _parts(taping)]


def _parts(taping: Taping) -> list[dict[str, Any]]:
    """Two tables as texts: `title`, `heads`, `rows`, `ends` (of each column, units) and `note`."""
    squares, closing = settingout.right_angles(taping), _closing(taping)
    of_tape = (
        f"Taping, one standard deviation: {taping.reading_sd_mm:.0f} mm a length and 1 in "
        f"{1 / taping.proportion_sd:.0f}, lining in {taping.lining_sd_mm:.0f} mm (common "
        "practice, level ground)."
    )
    return [
        {
            "title": "A right angle with a tape",
            "heads": ["way", "on line, m", "square, m", "swing, m", "± 95 %"],
            "ends": [0.0, 120.0, 182.0, 240.0, 298.0],
            "rows": [
                [
                    row["method"],
                    *(figure(row[name], 0) for name in ("on_line_m", "across_m", "swing_m")),
                    figure(COVERAGE_95 * row["u_deg"], 2, "°"),
                ]
                for row in squares.to_dict("records")
            ],
            "notes": [_SQUARE_NOTE],
        },
        {
            "title": "Closing the four pegs",
            "heads": ["pegs at, m", "tape", "length, m", "off by at most, mm"],
            "ends": [0.0, 116.0, 182.0, 298.0],
            "rows": [
                [
                    figure(row["radius_m"], 0),
                    row["check"],
                    figure(row["length_m"], 3),
                    figure(row["accept_all_mm"], 0),
                ]
                for row in closing.to_dict("records")
            ],
            "notes": [_CLOSING_NOTE, of_tape],
        },
    ]


def _closing(taping: Taping) -> pd.DataFrame:
    """Sides and diagonals, the widest of each kind: eight limits a millimetre apart help nobody."""
    table = settingout.closing_check(taping)
    kind = np.where(table["check"].isin(["N–S", "E–W"]), "diagonal", "side")
    widest = table.groupby([table["radius_m"], kind], sort=False)[
        ["length_m", "accept_all_mm"]
    ].max()
    widest.index.names = ["radius_m", "check"]
    return widest.reset_index()


def _drawn(part: dict[str, Any]) -> Markup:
    notes = [line for note in part["notes"] for line in wrap(note, _LETTERS)]
    table = 20.0 + _ROW * (1 + len(part["rows"]))
    drawing = Drawing(
        f"{part['title']}: see the table under Taping", _WIDTH, table + _LINE * len(notes)
    )
    with drawing.same():
        drawing.text((0.0, 12.0), part["title"], "title")
        _row(drawing, part["ends"], part["heads"], 14.0 + _ROW, "tick")
        for number, row in enumerate(part["rows"], 2):
            y = 14.0 + _ROW * number
            drawing.line((0.0, y - 10.5), (_WIDTH, y - 10.5), "lattice")
            _row(drawing, part["ends"], row, y, "row")
        for number, line in enumerate(notes, 1):
            drawing.text((0.0, table + _LINE * number - 4.0), line, "note")
    return drawing.markup()


def _row(
    drawing: Drawing, ends: Sequence[float], texts: Sequence[str], y: float, style: str
) -> None:
    for number, (x, text) in enumerate(zip(ends, texts, strict=True)):
        drawing.text((x, y), text, style, "end" if number else "start")
