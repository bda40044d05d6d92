"""A crew's days as a page: to print, to hand out, to keep on the telephone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from orient.flags import CAUTIONS
from orient.pages import page_template, sealed, shared_style
from orient.planning.crew.plan import CrewPlan
from orient.planning.crew.visits import Work
from orient.planning.crew.words import (
    broken_by_night,
    cloud_in_words,
    day_name,
    home_in_words,
    marked,
    missed,
    site_of,
    spare_in_words,
    there_since,
    zone_of,
)
from orient.text import at_95, minute_text

#: The stamp of the page.
KIND = "orient crew"


def crew_page(title: str, lead: str, plan: CrewPlan, start: str, work: Work) -> str:
    """The itinerary as one page of HTML.

    Args:
        title: of the page.
        lead: what was reached, in a sentence or two.
        plan: of `crew_plan`.
        start: what the start is called.
        work: the crew's clock and hours.
    """
    rows: list[dict[Any, Any]] = plan.visits.to_dict("records")
    visits = [row for row in rows if not row["why"]]
    page = page_template("planpage", "crew.html.j2").render(
        title=title,
        lead=lead,
        days=_days(visits, start, work),
        in_hand=plan.in_hand,
        said=[*spare_in_words(visits), *cloud_in_words(visits, plan.in_hand), *missed(rows)],
        cautions=CAUTIONS,
        style=shared_style(),
    )
    return sealed(page, KIND)


def _days(visits: Sequence[Mapping[Any, Any]], start: str, work: Work) -> list[dict[str, Any]]:
    several = len({row["crew"] for row in visits}) > 1
    days = []
    for (day, crew), group in groupby(visits, key=lambda row: (row["date"], row["crew"])):
        of_day = list(group)
        whose = f", crew {crew}" if several else ""
        days.append(
            {
                "name": f"{date.fromisoformat(day):%a %d %b %Y}{whose}",
                "visits": [_visit(row, work) for row in of_day],
                "home": home_in_words(of_day[-1], start, work.timezone),
            }
        )
    return days


def _visit(row: Mapping[Any, Any], work: Work) -> dict[str, str]:
    return {
        "name": f"{row['order']}. {site_of(row)}{zone_of(row, work)}",
        "way": f"{row['travel_min']} min" + ", over night" * broken_by_night(row, work),
        "there": there_since(row, work),
        "marks": " and ".join(marked(row)),
        "leave": minute_text(row["leave_local"]),
        "board": f"±{at_95(row['expected_u_deg'])}",
        "line": f"±{at_95(row['line_u_deg'])}",
        "again": day_name(row["repeat_date"]) if row["repeat_date"] else "–",
    }
