"""Cards for a compass's lid or a notebook: what to add to a reading at a site, and until when."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Date
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers.angles import wrap_360
from orient.numbers.grid import short_name
from orient.numbers.magnetic import MODEL_YEARS, WMM
from orient.numbers.tolerances import COVERAGE_95
from orient.sheet.paper import (
    Heading,
    Page,
    Paper,
    as_pdf,
    drawing_rules,
    fitted,
    line_height_mm,
    shortened,
    width_mm,
    window_of,
)
from orient.text import counted

#: A bank card's size, millimetres (ISO/IEC 7810 ID-1, *from memory*).
WIDTH_MM, HEIGHT_MM = 85.6, 54.0
_GAP_MM, _INSIDE_MM = 3.0, 2.6
#: A card is out of date when the declination has moved so far, degrees.
MOVED_DEG = 0.25
#: The bearing that is worked through.
EXAMPLE_DEG = 100.0


def cards(
    described: pd.DataFrame,
    campaign: str,
    compasses: Sequence[tuple[str, str]],
    pulled: dict[str, str],
    paper: Paper,
    made: datetime,
) -> bytes:
    """A PDF with a card a site, at true scale, to be cut along the thin lines.

    Args:
        described: rows of `site.describe`, all of one date.
        campaign: its name.
        compasses: each compass, and its own correction in words, the most wanted first.
        pulled: a line for each site where the ground pulls the needle, or that is doubtful.
        paper: to print on.
        made: the date of the document.
    """
    heading = Heading(
        "Compass cards", campaign, "True scale: print at 100 %. Cut along the thin lines."
    )
    with drawing_rules():
        room = window_of(paper, heading)
        across = max(1, int((room.width_mm + _GAP_MM) // (WIDTH_MM + _GAP_MM)))
        down = max(1, int((room.height_mm + _GAP_MM) // (HEIGHT_MM + _GAP_MM)))
        pages: list[Page] = []
        for number, (_, row) in enumerate(described.iterrows()):
            place = number % (across * down)
            if place == 0:
                pages.append(Page(paper, heading))
            left = room.left_mm + (place % across) * (WIDTH_MM + _GAP_MM)
            top = room.top_mm - (place // across) * (HEIGHT_MM + _GAP_MM)
            _card(pages[-1], row, campaign, compasses, pulled.get(str(row["site"])), left, top)
        return as_pdf(pages, f"{campaign}: compass cards", made)


def valid_until(day: Date, rate_deg_per_year: float) -> Date:
    """The day on which a declination has moved by a quarter degree, or its model ends."""
    last = Date(int(MODEL_YEARS[WMM][1]) - 1, 12, 31)
    years = MOVED_DEG / abs(rate_deg_per_year) if rate_deg_per_year else np.inf
    if years > 100.0:
        return max(last, day)
    return max(min(last, Date.fromordinal(day.toordinal() + int(365.25 * years))), day)


def _card(
    page: Page,
    row: pd.Series[Any],
    campaign: str,
    compasses: Sequence[tuple[str, str]],
    pulled: str | None,
    left: float,
    top: float,
) -> None:
    right, bottom = left + WIDTH_MM, top - HEIGHT_MM
    page.line([left, right, right, left, left], [top, top, bottom, bottom, top], 0.3, "#888888")
    x, y, room = left + _INSIDE_MM, top - _INSIDE_MM, WIDTH_MM - 2 * _INSIDE_MM
    *above, caution = _lines(row, pulled)
    used = sum(line_height_mm(size) for _, size, _ in [_HEADED, *above, caution])
    for text, size, bold in [
        (_heading(str(row["site"]), campaign, room), *_HEADED[1:]),
        *above,
        *((text, _SMALL, False) for text in _fitting(compasses, y - bottom - 1.0 - used, room)),
        caution,
    ]:
        y = _line(page, text, x, y, room, size, bold)


def _line(page: Page, text: str, x: float, y: float, room: float, size: float, bold: bool) -> float:
    step = line_height_mm(size)
    page.text(x, y - 0.76 * step, fitted(text, room, size, bold), size, bold)
    return y - step


#: The line on top: no text yet, its size in points, bold.
_HEADED = ("", 10.5, True)
_SMALL = 7.5


def _heading(site: str, campaign: str, room_mm: float) -> str:
    """Site and campaign; where there is no room for both, the site, told from its like."""
    both = f"{site} · {campaign}"
    return (
        both if width_mm(both, *_HEADED[1:]) <= room_mm else shortened(site, room_mm, *_HEADED[1:])
    )


def _fitting(compasses: Sequence[tuple[str, str]], height_mm: float, room_mm: float) -> list[str]:
    """As many compasses as a card has room for, and how many more there are; no figure is cut."""
    fit = int(height_mm // line_height_mm(_SMALL))
    kept = compasses if len(compasses) <= fit else compasses[: max(0, fit - 1)]
    lines = [
        shortened(name, room_mm - width_mm(words, _SMALL), _SMALL) + words for name, words in kept
    ]
    more = len(compasses) - len(kept)
    return (
        [*lines, f"{counted(more, 'compass', 'compasses')} more: see the report."]
        if more
        else lines
    )


def _lines(row: pd.Series[Any], pulled: str | None) -> list[tuple[str, float, bool]]:
    """The lines of a card below its heading: text, size in points, bold or not."""
    day = Date.fromisoformat(str(row["date"]))
    declination, rate = float(row["declination_deg"]), float(row["declination_rate_deg_per_year"])
    to_grid = float(row["grid_to_magnetic_deg"])
    limit = COVERAGE_95 * float(row["declination_u_deg"])
    until = valid_until(day, rate)
    true, on_grid = wrap_360(EXAMPLE_DEG + declination), wrap_360(EXAMPLE_DEG + to_grid)
    lines = [
        (
            f"{day.isoformat()}, valid until {until.isoformat()} ({row['magnetic_model']})",
            7.5,
            False,
        ),
        (f"Declination {_side(declination)} ±{limit:.1f}° (95 %)", 8.0, True),
        (f"It moves {_side(rate, 2)} a year.", 7.5, False),
        (f"Grid north to needle {_side(to_grid)} ({short_name(row['grid'])})", 8.0, True),
        (f"True bearing = needle {_added(declination)}", 10.0, True),
        (f"Grid bearing = needle {_added(to_grid)}", 10.0, True),
        (f"To follow a map: needle = grid bearing {_added(-to_grid)}", 8.0, False),
        (f"Needle {EXAMPLE_DEG:.0f}° is true {true:.1f}°, grid {on_grid:.1f}°.", 8.0, False),
    ]
    if float(row["horizontal_intensity_nt"]) < 6000.0:
        lines.append(("Weak field: a compass is doubtful or useless.", 8.0, True))
    if pulled:
        lines.append((pulled, 8.0, True))
    lines.append(("Iron and rock close by are in no model. No navigation aid.", 6.5, False))
    return lines


def _side(angle: float, places: int = 1) -> str:
    size = f"{abs(angle):.{places}f}°"
    return size if float(size[:-1]) == 0.0 else f"{size} {'E' if angle > 0 else 'W'}"


def _added(angle: float) -> str:
    return f"{'−' if angle < 0 else '+'} {abs(angle):.1f}°"
