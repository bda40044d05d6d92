"""The plan as one page: for the instructor's wall, the crew's hands and the phone on site.

Everything stands in the one file: the maps of the hours as vectors, the tables, and for the
phone the sun of every site and day as `orient.pages.lookup` writes it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.flags import CAUTIONS, FLAGS
from orient.numbers import sun
from orient.numbers.tolerances import COVERAGE_95
from orient.pages import (
    lookup,
    onsite,
    page_template,
    page_text,
    panel_style,
    sealed,
    shared_style,
)
from orient.pages.onsite import (
    BOUNDS,
    HINDRANCES,
    SLOT_MIN,
    Class,
    Codes,
    hour_classes,
    letters_of,
)
from orient.pages.span import check_size, span_text
from orient.planning import bring, hours
from orient.planning.hourly import Hour, hourly_pairs
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.planning.rows import plan_rows, sentence, window_text
from orient.planpage.matrix import matrix
from orient.tables import clock
from orient.text import at_95, minute_text

#: More would make a file that a phone is slow to open.
MOST_SITE_DAYS = 2000

#: Altitude of the sun's middle at sunrise and sunset: half a degree of refraction and the sun's
#: radius, as almanacs have it (*common practice, no source*).
SUNRISE_DEG = -50.0 / 60.0

# The map of a site, in units of its drawing.
_WIDTH, _LEFT, _TOP, _ROW, _AXIS = 360.0, 56.0, 2.0, 13.0, 30.0

#: Planned together: many enough to be fast, few enough to show that something goes on.
_SITES_AT_ONCE = 50
#: What this page says that it is.
KIND = "orient plan"

Row = dict[str, Any]


def plan_page(
    name: str,
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig,
    limits: Limits,
    step_min: float = 10.0,
    advance: Callable[[int], None] = lambda _: None,
) -> str:
    """The plan of some sites and days as one HTML file.

    Args:
        name: of the campaign.
        sites: the sites table; its texts are escaped here.
        dates: local dates, datetime64[D], one after the other.
        rig, limits, step_min: as for `orient.planning.hours.plan_table`.
        advance: told after each site, for a progress bar.

    Returns:
        The page's text. It asks nothing of any network.

    Raises:
        orient.pages.span.TooLarge: more than `MOST_SITE_DAYS`, or days than a page has.
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    check_size(len(sites), days.size, MOST_SITE_DAYS)
    classes = hour_classes(limits)
    planned: list[_Planned] = []
    for start in range(0, len(sites), _SITES_AT_ONCE):
        some = sites.iloc[start : start + _SITES_AT_ONCE]
        planned += _planned(some, days, rig, limits, step_min, advance)
    axis = _HourAxis.over([each.letters for each in planned])
    shown_flags = {flag for each in planned for row in each.rows for flag in row["flags"]}
    page = str(
        page_template("planpage", "plan.html.j2").render(
            name_of_campaign=name,
            span=span_text(days),
            setting=setting_text(rig, limits),
            shortest_shadow=lookup.SHORTEST_SHADOW,
            rig=rig,
            target_95_deg=COVERAGE_95 * limits.target_deg,
            classes=classes,
            flags=FLAGS,
            shown_flags=shown_flags,
            regions=sorted({str(each.site["timezone"]) for each in planned}),
            cautions=CAUTIONS,
            sites=[_shown(each, axis, limits.min_altitude_deg) for each in planned],
            matrix=_matrix(planned, days, limits),
            table=_table(planned, days, rig, classes),
            style=_markup(shared_style() + panel_style() + page_text("planpage", "plan.css")),
            script=_markup(page_text("planpage", "onsite.js")),
        )
    )
    return sealed(page, KIND)


def setting_text(rig: Rig, limits: Limits) -> str:
    """The rod, the board and the sun that a plan is for."""
    board = (
        f"shadow up to {rig.reach_mm:g} mm"
        if rig.reach_mm is not None
        else f"board {rig.board_width_mm:g} × {rig.board_depth_mm:g} mm, its width east and west"
    )
    return (
        f"Rod {rig.rod_mm:g} mm, {board}; sun {limits.min_altitude_deg:g}° to "
        f"{limits.max_altitude_deg:g}° up."
    )


class _Planned(NamedTuple):
    """Everything of one site that the page shows."""

    site: pd.Series[Any]
    days: pd.DataFrame  # of `plan_table`
    rows: list[Row]  # of `plan_rows`
    letters: Codes  # (dates, slots)
    rings: pd.DataFrame
    sun: dict[str, Any]

    def slot(self, utc_s: Any) -> Any:
        """Instants of the days, one a day, as slots and parts since local midnight."""
        civil = utc_s + clock.offset_s(utc_s, self.site["timezone"])
        midnight = self.days["date"].to_numpy(dtype="datetime64[s]").astype(np.int64)
        return (civil - midnight) / (SLOT_MIN * 60.0)


def _planned(
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig,
    limits: Limits,
    step_min: float,
    advance: Callable[[int], None],
) -> Iterator[_Planned]:
    """The sites planned together, and what of each is its own after that."""
    plan = hours.plan_table(sites, dates, rig, limits, step_min)
    rows = list(plan_rows(plan, sites))
    letters = letters_of(hourly_pairs(sites, dates, rig, limits, SLOT_MIN), limits)
    for number in range(len(sites)):
        here = slice(number * len(dates), (number + 1) * len(dates))
        site, days = sites.iloc[[number]], plan.iloc[here]
        yield _Planned(
            site.iloc[0],
            days,
            rows[here],
            letters[number],
            bring.rings(site, dates, rig, limits, days.iloc[[len(dates) // 2]]),
            lookup.site_table(site.iloc[0], dates[0], dates[-1]),
        )
        advance(1)


# What people see ------------------------------------------------------------------------


def _shown(planned: _Planned, axis: _HourAxis, lowest_deg: float) -> Row:
    flags = dict.fromkeys(flag for row in planned.rows for flag in row["flags"])
    return {
        "name": planned.site.name,
        "timezone": planned.site["timezone"],
        "map": _hour_map(planned, axis),
        "days": [
            _day_shown(row, up, lowest_deg)
            for row, up in zip(planned.rows, _sun_up(planned), strict=True)
        ],
        "dates": [_day_text(day) for day in planned.rings["date"].unique()],
        "rings": list(_ring_lines(planned.rings)),
        "flags": list(flags),
    }


def _matrix(planned: Sequence[_Planned], days: Any, limits: Limits) -> Row:
    return matrix(
        [str(each.site.name) for each in planned],
        [each.rows for each in planned],
        [str(each.site["timezone"]) for each in planned],
        [f"{_weekday(day)} {_day_text(day)}" for day in days],
        limits,
    )


def _day_shown(row: Row, up: str, lowest_deg: float) -> Row:
    said = sentence(row, min_altitude_deg=lowest_deg)
    return {
        "date": f"{_weekday(row['date'])} {_day_text(row['date'])}",
        "noon": minute_text(row["noon_local"]),
        "up": up,
        "morning": window_text(row["morning"]),
        "afternoon": window_text(row["afternoon"]),
        "pair": at_95(row["best"] and row["best"]["expected_u_deg"]),
        "all": at_95(row["day_expected_u_deg"]),
        "sentence": f"{said[0].upper()}{said[1:]}.",
    }


def _sun_up(planned: _Planned) -> list[str]:
    """Sunrise and sunset of each day in words: the upper limb on a level horizon."""
    site, noon = planned.site, planned.days["noon_utc_s"].to_numpy()
    place = (float(site["latitude_deg"]), float(site["longitude_deg"]))
    rise, fall = (
        sun.time_of_altitude(SUNRISE_DEG, noon, afternoon, *place) for afternoon in (False, True)
    )
    zone = str(site["timezone"])
    above = sun.place(noon, *place).altitude_deg > SUNRISE_DEG
    return [
        f"sun {minute_text(up)}–{minute_text(down)}"
        if up and down
        else ("sun up all day" if high else "no sun")
        for up, down, high in zip(
            clock.local_iso(rise, zone), clock.local_iso(fall, zone), above, strict=True
        )
    ]


def _day_text(day: Any) -> str:
    date = np.datetime64(day, "D").item()
    return f"{date.day} {date:%b}"


def _weekday(day: Any) -> str:
    return f"{np.datetime64(day, 'D').item():%a}"


def _ring_lines(rings: pd.DataFrame) -> Iterator[Row]:
    for ring, dated in rings.groupby("ring_mm", sort=True):
        crossings = [
            f"{minute_text(morning)} {minute_text(afternoon)}" if morning else "–"
            for morning, afternoon in zip(dated["morning"], dated["afternoon"], strict=True)
        ]
        yield {"ring_mm": ring, "crossings": crossings}


# The map of the hours -------------------------------------------------------------------


class _HourAxis(NamedTuple):
    """The hours that all maps of a page show, so that they can be compared."""

    first: int
    last: int

    @classmethod
    def over(cls, letters: Sequence[Codes]) -> _HourAxis:
        """From the first hour at which the sun stands high enough anywhere to the last."""
        low = HINDRANCES[Hour.TOO_LOW][0]
        lit = np.flatnonzero(np.any([(each != low).any(axis=0) for each in letters], axis=0))
        per_hour = 60 // SLOT_MIN
        if lit.size == 0:
            return cls(6 * per_hour, 18 * per_hour)
        return cls(lit[0] // per_hour * per_hour, -(-(lit[-1] + 1) // per_hour) * per_hour)

    def x(self, slot: float) -> float:
        share = (slot - self.first) / (self.last - self.first)
        return _LEFT + (_WIDTH - 6.0 - _LEFT) * share

    def hours(self) -> list[int]:
        """The full hours to write under the axis, not too close."""
        first, last = (end * SLOT_MIN // 60 for end in self)
        every = 1 if last - first <= 9 else 2 if last - first <= 18 else 3
        return [hour for hour in range(first, last + 1) if hour % every == 0]


def _hour_map(planned: _Planned, axis: _HourAxis) -> Row:
    """What the template needs to draw a site's map: one path a class, labels and lines."""
    height = _ROW * len(planned.rows)
    return {
        "width": _WIDTH,
        "left": _LEFT,
        "right": axis.x(axis.last),
        "top": _TOP,
        "bottom": _TOP + height,
        "height": _TOP + height + _AXIS,
        "hours": [(round(axis.x(hour * 60 / SLOT_MIN), 1), hour) for hour in axis.hours()],
        "days": [
            (
                round(_TOP + _ROW * number + 10.0, 1),
                f"{_weekday(row['date'])} {_day_text(row['date']).split()[0]}",
            )
            for number, row in enumerate(planned.rows)
        ],
        "paths": _class_paths(planned.letters, axis),
        "noon": _noon_path(planned, axis),
        "best": _best_path(planned, axis),
    }


def _class_paths(letters: Codes, axis: _HourAxis) -> list[tuple[str, str]]:
    styles = {letter: style for letter, style, _ in HINDRANCES.values() if style != "low"}
    styles |= {str(number): f"u{number}" for number in range(len(BOUNDS) + 1)}
    parts: dict[str, list[str]] = {style: [] for style in styles.values()}
    for number, row in enumerate(letters[:, axis.first : axis.last]):
        top = _TOP + _ROW * number
        starts = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
        for start, stop in zip(starts, [*starts[1:], row.size], strict=True):
            style = styles.get(str(row[start]))
            left, right = (axis.x(axis.first + int(end)) for end in (start, stop))
            if style in ("high", "off"):
                parts[style].append(_line_through(left, right, top))
            elif style:
                parts[style].append(_box(left, right, top))
    return [(style, "".join(drawn)) for style, drawn in parts.items() if drawn]


def _box(left: float, right: float, top: float) -> str:
    return f"M{left:.1f} {top:.1f}H{right:.1f}v{_ROW - 1:g}H{left:.1f}z"


def _line_through(left: float, right: float, top: float) -> str:
    return f"M{left + 1:.1f} {top + _ROW / 2:.1f}H{right - 1:.1f}"


def _noon_path(planned: _Planned, axis: _HourAxis) -> str:
    noon = planned.slot(planned.days["noon_utc_s"].to_numpy())
    return "".join(
        f"M{axis.x(slot):.1f} {_TOP + _ROW * number:.1f}v{_ROW:g}"
        for number, slot in enumerate(noon)
        if axis.first <= slot <= axis.last
    )


def _best_path(planned: _Planned, axis: _HourAxis) -> str:
    """A dot for each mark of each day's best pair."""
    dots = ""
    for side in ("morning", "afternoon"):
        slots = planned.slot(planned.days[f"best_{side}_utc_s"].to_numpy())
        dots += "".join(
            f"M{axis.x(slot):.1f} {_TOP + _ROW * (number + 0.5) - 0.5:.1f}h0"
            for number, slot in enumerate(slots)
            if axis.first <= slot <= axis.last
        )
    return dots


# What the phone looks up ----------------------------------------------------------------


def _table(planned: Sequence[_Planned], days: Any, rig: Rig, classes: list[Class]) -> Row:
    return onsite.panel_table(
        span_text(days),
        rig.rod_mm,
        classes,
        [
            {
                "timezone": each.site["timezone"],
                **each.sun,
                "days": onsite.day_tables(each.days, each.letters),
            }
            for each in planned
        ],
    )


def _markup(text: str) -> Any:
    from markupsafe import Markup

    return Markup(text)
