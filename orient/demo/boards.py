"""The days of the demo put through the simulator: what each board showed, and the truth of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from orient import simulate
from orient.demo.story import PLACES, SEED, WATCHES, ClockMarks, Day, Place, RingMarks
from orient.tables.coordinates import parse_degrees

Array = NDArray[np.float64]
Cells = dict[str, Any]

#: Scatter of a mark, each axis; with the rounding to half a millimetre it comes to 0.7 mm.
_MARKING_SD_MM = 0.68
_ROUNDED_TO_MM = 0.5
_HABIT_SD_DEG = 4.0 / 60.0
#: The line is drawn and a point far out on it measured by ruler; or, beside rings, its
#: direction is read on the same large protractor as the marks'.
_LINE_POINT_MM, _LINE_END_SD_MM = 440.0, 0.7
_LINE_SD_DEG, _LINE_ROUNDED_TO_DEG = 0.1, 0.1
#: The sun's radius in angle at one astronomical unit.
_SUN_RADIUS_DEG = 959.63 / 3600.0
#: What is below this the crew does not mark, nor what falls beyond its board.
_LOWEST_DEG, _LONGEST_MM = 5.0, 1000.0


@dataclass(frozen=True)
class Spot:
    """A place in numbers, beside the map's latitude and longitude those of the plumb line.

    `laplace_deg` is what an azimuth against the plumb line's meridian has over the map's:
    η tan φ.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    pressure_hpa: float
    temperature_c: float
    plumb_latitude_deg: float
    plumb_longitude_deg: float
    laplace_deg: float


@dataclass(frozen=True)
class ShadowDay:
    """What a day at the board gave: its marks as table cells, and the truth behind them.

    `truth` stands against the plumb line's meridian, `board_azimuth_deg` against the map's.
    """

    marks: list[Cells]
    line: Cells
    truth: simulate.TrueBoard
    board_azimuth_deg: float


def spot(place: Place) -> Spot:
    """The numbers of a place from the cells its crew wrote."""
    cells = place.cells
    if "crs" in cells:
        from pyproj import Transformer

        to_map = Transformer.from_crs(cells["crs"], "EPSG:4326", always_xy=True)
        longitude, latitude = to_map.transform(cells["easting_m"], cells["northing_m"])
    else:
        latitude = parse_degrees(str(cells["latitude_deg"]), "latitude")
        longitude = parse_degrees(str(cells["longitude_deg"]), "longitude")
    xi, eta = (float(cells.get(key, 0.0)) / 3600.0 for key in ("xi_arcsec", "eta_arcsec"))
    elevation_m = float(cells["elevation_m"])
    return Spot(
        latitude,
        longitude,
        elevation_m,
        # An isothermal air of the day's temperature: close enough for the refraction.
        pressure_hpa=1013.0 * float(np.exp(-elevation_m / (29.27 * (place.temperature_c + 273.0)))),
        temperature_c=place.temperature_c,
        plumb_latitude_deg=latitude + xi,
        plumb_longitude_deg=longitude + eta / float(np.cos(np.radians(latitude))),
        laplace_deg=eta * float(np.tan(np.radians(latitude))),
    )


def shadow_day(number: int, day: Day, earlier: dict[str, ShadowDay]) -> ShadowDay:
    """Simulate one day of the story.

    Args:
        number: the day's place in the story, which its random numbers hang on.
        day: what was done.
        earlier: the days already simulated, by set-up.
    """
    place = next(place for place in PLACES if place.site == day.site)
    where = spot(place)
    generator = np.random.default_rng([SEED, number])
    truth = _true_board(generator, day, earlier)
    light = _Light(day, place, where, truth)
    if isinstance(day.marking, RingMarks):
        marks = _ring_marks(generator, day.marking, light)
    else:
        marks = _clock_marks(generator, day, day.marking, light)
    marks = [
        {"setup": day.setup, "mark": str(serial)} | cells
        for serial, cells in enumerate(marks, start=1)
    ]
    board_azimuth = (truth.board_azimuth_deg - where.laplace_deg) % 360.0
    line = _line(generator, day, day.line.true_azimuth_deg - board_azimuth)
    return ShadowDay(marks, line, truth, board_azimuth)


def _line(generator: np.random.Generator, day: Day, angle_deg: float) -> Cells:
    """The reference line as drawn on the board and measured."""
    if isinstance(day.marking, RingMarks):
        read = angle_deg + generator.normal(0.0, _LINE_SD_DEG)
        return {
            "reference_angle_deg": rounded(read % 360.0, _LINE_ROUNDED_TO_DEG),
            "reference_sd_deg": _LINE_SD_DEG,
        }
    across = generator.normal(0.0, np.hypot(_LINE_END_SD_MM, _LINE_END_SD_MM))
    drawn = np.radians(angle_deg) + across / _LINE_POINT_MM
    return {
        "reference_x_mm": rounded(_LINE_POINT_MM * float(np.sin(drawn)), _ROUNDED_TO_MM),
        "reference_y_mm": rounded(_LINE_POINT_MM * float(np.cos(drawn)), _ROUNDED_TO_MM),
    }


def _true_board(
    generator: np.random.Generator, day: Day, earlier: dict[str, ShadowDay]
) -> simulate.TrueBoard:
    cells = day.cells
    truth = simulate.random_board(
        generator,
        day.rod_mm,
        height_sd_mm=float(cells.get("height_sd_mm", 0.5)),
        watch_sd_s=float(cells.get("watch_sd_s", 30.0)),
    )
    fast = truth.watch_fast_s + float(cells.get("watch_error_s", 0.0)) + day.watch_misset_s
    truth = _with_shared(replace(truth, watch_fast_s=fast), day)
    if day.turned_against:
        # The spirit level's error stays with the board, and so is reversed on the ground.
        first = earlier[day.turned_against].truth
        truth = replace(
            truth,
            board_azimuth_deg=(first.board_azimuth_deg + 180.0 + generator.normal(0.0, 2.0)) % 360,
            tilt_x_deg=first.tilt_x_deg,
            tilt_y_deg=first.tilt_y_deg,
        )
    return truth


def _with_shared(truth: simulate.TrueBoard, day: Day) -> simulate.TrueBoard:
    """The board with the errors of the rod, the eye and the watch that it shares with others.

    A little of its own stays beside them: a rod stands to 0.1 mm, an eye has its days, a watch
    is read to a second.
    """
    cells = day.cells
    if "rod" in cells:
        own = truth.height_mm - day.rod_mm
        shared = _drawn(str(cells["rod"])) * float(cells.get("height_sd_mm", 0.5))
        truth = replace(truth, height_mm=day.rod_mm + shared + 0.2 * own)
    if "observer" in cells:
        habit = _drawn(str(cells["observer"])) * _HABIT_SD_DEG
        truth = replace(truth, edge_lift_deg=habit + 0.1 * truth.edge_lift_deg)
    if "timepiece" in cells:
        watch = WATCHES[str(cells["timepiece"])]
        days = np.datetime64(day.date) - np.datetime64(watch.date)
        truth = replace(truth, watch_fast_s=watch.fast_s + watch.gains_s * float(days.astype(int)))
    return truth


def _drawn(name: str) -> float:
    """A standard deviate that hangs on a name alone."""
    return float(np.random.default_rng([SEED, *name.encode()]).normal())


class _Light:
    """Where the tip of the shadow truly falls at a watch time of the day."""

    def __init__(self, day: Day, place: Place, where: Spot, truth: simulate.TrueBoard) -> None:
        self.edge = day.cells.get("edge", "middle")
        self.where, self.truth = where, truth
        midnight = datetime.fromisoformat(day.date).replace(tzinfo=ZoneInfo(place.timezone))
        self.midnight_utc_s = midnight.timestamp()

    def tips(self, watch_s: NDArray[np.floating[Any]]) -> Array:
        """Tips from the marked foot, mm, (n, 2); NaN where nothing can be marked."""
        where = self.where
        azimuth, altitude, distance = simulate.sun_seen(
            self.midnight_utc_s + watch_s - self.truth.watch_fast_s,
            where.plumb_latitude_deg,
            where.plumb_longitude_deg,
            where.elevation_m,
            where.pressure_hpa,
            where.temperature_c,
        )
        # The dark edge is where the last of the sun's disc, its upper limb, is hidden.
        lift = _SUN_RADIUS_DEG / float(distance.mean()) if self.edge == "dark" else 0.0
        tips = simulate.shadow_tips(azimuth, altitude + lift, self.truth)
        marked = (altitude > _LOWEST_DEG) & (np.hypot(*tips.T) < _LONGEST_MM)
        return np.where(marked[:, None], tips, np.nan)


def _clock_marks(
    generator: np.random.Generator, day: Day, marking: ClockMarks, light: _Light
) -> list[Cells]:
    minutes = np.arange(_minutes(marking.first), _minutes(marking.last) + 1, marking.every_min)
    for start, end in marking.clouds:
        minutes = minutes[(minutes < _minutes(start)) | (minutes > _minutes(end))]
    tips = light.tips(minutes * 60.0)
    minutes, tips = minutes[np.isfinite(tips[:, 0])], tips[np.isfinite(tips[:, 0])]
    marks = []
    noise = generator.normal(0.0, _MARKING_SD_MM, tips.shape)
    for serial, (minute, tip) in enumerate(zip(minutes, tips + noise, strict=True), start=1):
        x_mm, y_mm = tip + day.moved_mm.get(serial, (0.0, 0.0))
        reason = day.left_out.get(serial, "")
        marks.append(
            {
                "time": f"{minute // 60:02d}:{minute % 60:02d}" if _has_times(day) else None,
                "x_mm": rounded(x_mm, _ROUNDED_TO_MM),
                "y_mm": rounded(y_mm, _ROUNDED_TO_MM),
                "use": "no" if reason else None,
                "note": reason or None,
            }
        )
    return marks


def _has_times(day: Day) -> bool:
    return day.cells.get("watch") != "none"


def _ring_marks(generator: np.random.Generator, marking: RingMarks, light: _Light) -> list[Cells]:
    """Crossings of the rings in the order of the day: inward in the morning, then outward."""
    watch_s = np.arange(0.0, 86400.0, 20.0)
    tips = light.tips(watch_s)
    length = np.hypot(*tips.T)
    noon = int(np.nanargmin(length))
    inward = [(radius, "am") for radius in sorted(marking.radii_mm, reverse=True)]
    outward = [(radius, "pm") for radius in sorted(marking.radii_mm)]
    marks = []
    for radius, half in inward + outward:
        # The eye takes the tip to be on the ring when it is not quite.
        judged = radius + generator.normal(0.0, _MARKING_SD_MM)
        aside_deg = np.degrees(generator.normal(0.0, _MARKING_SD_MM) / radius)
        if (radius, half) in marking.missed:
            continue
        side = slice(0, noon + 1) if half == "am" else slice(noon, None)
        crossing_s = _crossing(watch_s[side], length[side], judged)
        x_mm, y_mm = light.tips(np.array([crossing_s]))[0]
        direction = np.degrees(np.arctan2(x_mm, y_mm)) + aside_deg
        marks.append(
            {
                "time": _clock(crossing_s) if marking.timed else None,
                "length_mm": radius,
                "angle_deg": rounded(direction % 360.0, 0.1),
                "ring": f"{radius:.0f}",
                "half": None if marking.timed else half,
            }
        )
    return marks


def _crossing(watch_s: NDArray[np.floating[Any]], length_mm: Array, ring_mm: float) -> float:
    """When the length, which falls or rises steadily, is that of the ring."""
    seen = np.isfinite(length_mm)
    order = np.argsort(length_mm[seen])
    lengths = length_mm[seen][order]
    if not lengths[0] <= ring_mm <= lengths[-1]:
        raise ValueError(f"the shadow never crosses a ring of {ring_mm:.0f} mm")
    return float(np.interp(ring_mm, lengths, watch_s[seen][order]))


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return 60 * int(hours) + int(minutes)


def _clock(watch_s: float) -> str:
    """A watch read to the next five seconds."""
    seconds = 5 * round(watch_s / 5.0)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def rounded(value: float, step: float) -> float:
    return round(float(np.rint(value / step)) * step, 3)
