"""Pictures to find stars by: each with its neighbours, upright as the eye meets them."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.numbers import bodies
from orient.numbers.angles import wrap_180, wrap_360
from orient.planning.night import Night
from orient.sheet.paper import INK, SOFT, Page, Window, fitted, width_mm
from orient.tables import clock

#: How much sky a picture shows, degrees: as wide as two spread hands at arm's length.
WIDE_DEG, HIGH_DEG = 50.0, 40.0
#: Fainter stars than this are left out of a picture.
_FAINTEST = 3.3
_NAMED = 2.3
_COLUMNS, _ROWS = 2, 4
_CAPTION_MM, _SCALE_MM = 9.0, 5.0


class Sky(NamedTuple):
    """Azimuth and altitude of every star of the table at one instant."""

    azimuth_deg: Any
    altitude_deg: Any


def sky_at(site: pd.Series, utc_s: float) -> Sky:
    """Where every star of the table stands."""
    where = (float(site[name]) for name in ("latitude_deg", "longitude_deg", "elevation_m"))
    places = bodies.star_places(list(bodies.stars()), np.array([utc_s]), *where)
    return Sky(
        np.array([place.azimuth_deg[0] for place in places]),
        np.array([place.altitude_deg[0] for place in places]),
    )


def draw_finders(page: Page, site: pd.Series, night: Night) -> None:
    """Fill a page with one picture for each of the night's stars, in the order of their times."""
    window = page.window
    wide, high = window.width_mm / _COLUMNS, window.height_mm / _ROWS
    stars = night.stars.sort_values("utc_s").head(_COLUMNS * _ROWS)
    for number, row in enumerate(stars.itertuples(index=False)):
        across, down = number % _COLUMNS, number // _COLUMNS
        frame = Window(
            window.left_mm + across * wide + 6.0,
            window.top_mm - (down + 1) * high + _SCALE_MM + 1.0,
            wide - 10.0,
            high - _CAPTION_MM - _SCALE_MM - 2.0,
        )
        _draw_one(page, frame, site, night, row)


def _draw_one(page: Page, frame: Window, site: pd.Series, night: Night, row: Any) -> None:
    star: bodies.Star = row.star
    sky = sky_at(site, float(row.utc_s))
    view = _View.about(frame, float(row.azimuth_deg), float(row.altitude_deg))
    _frame(page, frame)
    _scales(page, view)
    x, _ = view.place(row.azimuth_deg, row.altitude_deg)
    # The plumb line that the star is brought onto.
    page.line([x, x], [frame.bottom_mm, frame.top_mm], 0.5, SOFT, (0, (4, 3)))
    _draw_stars(page, view, sky, star)
    _caption(page, frame, night, row)


def _caption(page: Page, frame: Window, night: Night, row: Any) -> None:
    star: bodies.Star = row.star
    at = str(clock.local_clock(row.utc_s, night.timezone))
    called = "" if star.name == star.designation else f" ({star.designation})"
    what = (
        f"azimuth {round(row.azimuth_deg, 1) % 360.0:.1f}°, altitude {row.altitude_deg:.0f}°, "
        f"magnitude {star.magnitude:.1f}".replace("-", "−")
    )
    for text, above, size, bold, colour in (
        (f"{star.name}{called}, {at}", 4.6, 8.5, True, INK),
        (what, 1.2, 7.5, False, SOFT),
    ):
        shown = fitted(text, frame.width_mm, size, bold)
        page.text(frame.left_mm, frame.top_mm + above, shown, size, bold, colour)


def _frame(page: Page, frame: Window) -> None:
    left, right, bottom, top = frame.left_mm, frame.right_mm, frame.bottom_mm, frame.top_mm
    page.line([left, right, right, left, left], [bottom, bottom, top, top, bottom], 0.6, SOFT)


class _View(NamedTuple):
    """A part of the sky on paper: its middle, and millimetres a degree."""

    frame: Window
    azimuth_deg: float
    low_deg: float
    scale: float

    @classmethod
    def about(cls, frame: Window, azimuth_deg: float, altitude_deg: float) -> _View:
        scale = min(frame.width_mm / WIDE_DEG, frame.height_mm / HIGH_DEG)
        high = frame.height_mm / scale
        # The horizon is the best help to the eye: it stays in the picture where it can.
        low = float(np.clip(altitude_deg - 0.62 * high, 0.0, 90.0 - high))
        return cls(frame, azimuth_deg, low, scale)

    def place(self, azimuth_deg: Any, altitude_deg: Any) -> tuple[Any, Any]:
        """Where a direction falls: azimuths drawn together as they are higher up."""
        turn = wrap_180(np.asarray(azimuth_deg) - self.azimuth_deg)
        across = turn * np.cos(np.radians(altitude_deg))
        middle = self.frame.left_mm + self.frame.width_mm / 2.0
        up = self.frame.bottom_mm + (np.asarray(altitude_deg) - self.low_deg) * self.scale
        return middle + across * self.scale, up

    def holds(self, x: Any, y: Any, margin_mm: float = 1.0) -> Any:
        frame = self.frame
        return (
            (x > frame.left_mm + margin_mm)
            & (x < frame.right_mm - margin_mm)
            & (y > frame.bottom_mm + margin_mm)
            & (y < frame.top_mm - margin_mm)
        )


def _scales(page: Page, view: _View) -> None:
    """Ticks of altitude at the left, and of azimuth below."""
    frame = view.frame
    for altitude in range(0, 91, 10):
        y = frame.bottom_mm + (altitude - view.low_deg) * view.scale
        if frame.bottom_mm - 0.1 <= y <= frame.top_mm:
            page.line([frame.left_mm, frame.left_mm + 1.5], [y, y], 0.5, SOFT)
            page.text(
                frame.left_mm - 0.8, y - 0.8, f"{altitude}°", 6.0, colour=SOFT, across="right"
            )
    step = 10.0
    first = np.ceil((view.azimuth_deg - 90.0) / step) * step
    for azimuth in np.arange(first, first + 180.0, step):
        x, _ = view.place(azimuth, view.low_deg)
        if frame.left_mm + 3.0 < x < frame.right_mm - 3.0:
            page.line([x, x], [frame.bottom_mm, frame.bottom_mm + 1.5], 0.5, SOFT)
            text = f"{float(wrap_360(azimuth)):.0f}°"
            page.text(x, frame.bottom_mm - 2.9, text, 6.0, colour=SOFT, across="center")


def _draw_stars(page: Page, view: _View, sky: Sky, wanted: bodies.Star) -> None:
    x, y = view.place(sky.azimuth_deg, sky.altitude_deg)
    near = np.abs(wrap_180(sky.azimuth_deg - view.azimuth_deg)) < 90.0
    inside = view.holds(x, y) & near
    shown = [
        number
        for number, star in enumerate(bodies.stars())
        if star is wanted or (inside[number] and star.magnitude <= _FAINTEST)
    ]
    taken = [_around(x[n], y[n], 2.6 if bodies.stars()[n] is wanted else 1.0) for n in shown]
    # The wanted star first: its name must have its place.
    for number in sorted(shown, key=lambda n: bodies.stars()[n] is not wanted):
        star = bodies.stars()[number]
        _dot(page, x[number], y[number], radius_mm(star.magnitude))
        if star is wanted:
            _ring(page, x[number], y[number])
        if star is wanted or star.magnitude <= _NAMED:
            _name(page, view, x[number], y[number], star, star is wanted, taken)


def _around(x: float, y: float, radius: float) -> tuple[float, float, float, float]:
    return x - radius, y - radius, x + radius, y + radius


def radius_mm(magnitude: float) -> float:
    """The larger, the brighter."""
    return float(np.clip(1.25 - 0.27 * magnitude, 0.3, 1.6))


def _dot(page: Page, x: float, y: float, radius: float) -> None:
    turn = np.linspace(0.0, 2 * np.pi, 25)
    page.area(x + radius * np.cos(turn), y + radius * np.sin(turn), INK)


def _ring(page: Page, x: float, y: float) -> None:
    turn = np.linspace(0.0, 2 * np.pi, 41)
    page.line(x + 2.6 * np.cos(turn), y + 2.6 * np.sin(turn), 0.8)


def _name(
    page: Page,
    view: _View,
    x: float,
    y: float,
    star: bodies.Star,
    wanted: bool,
    taken: list[tuple[float, float, float, float]],
) -> None:
    """A star's name where it meets no other; left out where there is no room."""
    size = 7.5 if wanted else 6.0
    wide = width_mm(star.name, size, wanted)
    gap = 3.2 if wanted else 1.6
    for left, base in ((x + gap, y - 0.8), (x - gap - wide, y - 0.8), (x - wide / 2, y + gap)):
        box = (left, base - 0.5, left + wide, base + 2.2)
        fits = left > view.frame.left_mm + 0.5 and box[2] < view.frame.right_mm - 0.5
        fits = fits and view.frame.bottom_mm < box[1] and box[3] < view.frame.top_mm
        if fits and not any(_meet(box, other) for other in taken):
            page.text(left, base, star.name, size, wanted, INK if wanted else SOFT, halo=False)
            taken.append(box)
            return


def _meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return not (one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1])
