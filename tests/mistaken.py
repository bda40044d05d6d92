"""Boards with a mistake made in them, by the simulator and by changing what was recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from simulated import Simulated, simulated

from orient import simulate
from orient.numbers.tolerances import UNCHECKED_LEVEL_DEG

Generator = np.random.Generator
Array = np.ndarray
Make = Callable[[Generator, str], Simulated]


def sound(g: Generator, watch: str, count: int = 0, **options) -> Simulated:
    """A day's board anywhere within 60° of the equator; `count` marks of it, where given.

    One in three has lost marks here and there, down to eight.
    """
    while True:
        made = simulated(
            g,
            float(g.uniform(-60, 60)),
            float(g.uniform(-170, 170)),
            int(g.integers(0, 365)),
            watch=watch,
            lowest_deg=15.0,
            edge_scatter=0.08,
            step_s=float(g.choice([900.0, 1200.0, 1800.0])),
            **options,
        )
        if made.board.count >= 8:
            if not count and g.uniform() < 1 / 3:
                count = int(g.integers(8, made.board.count + 1))
            return _some(g, made, count) if count else made


def _some(g: Generator, made: Simulated, count: int) -> Simulated:
    chosen = np.sort(g.choice(made.board.count, min(count, made.board.count), replace=False))
    return replace(made, board=made.board.of(chosen), true_utc_s=made.true_utc_s[chosen])


def recorded(made: Simulated, **other) -> Simulated:
    """The same board, its record changed."""
    return replace(made, board=replace(made.board, **other))


def halves_told(made: Simulated) -> Simulated:
    return recorded(
        made, half=np.where(made.true_utc_s < made.board.noon_utc_s, -1, 1).astype(np.int8)
    )


def faulty(g: Generator, watch: str, **faults: float) -> Simulated:
    return sound(g, watch, truth=replace(simulate.random_board(g), **faults))


def slope(size_deg: float) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        way = g.uniform(0, 2 * np.pi)
        return faulty(
            g, watch, tilt_x_deg=size_deg * np.cos(way), tilt_y_deg=size_deg * np.sin(way)
        )

    return make


def cared(make: Make, **tolerances: float) -> Make:
    """The same, other tolerances being stated, and kept where the mistake does not lie in them."""

    def made(g: Generator, watch: str) -> Simulated:
        board = make(g, watch)
        stated = replace(board.board.tolerances, **tolerances)
        if "watch_sd_s" in tolerances:
            steady = board.true_utc_s + g.normal(0.0, tolerances["watch_sd_s"])
            board = recorded(board, watch_utc_s=steady)
        return recorded(board, tolerances=stated)

    return made


def slope_east(size_deg: float) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        azimuth = g.uniform(0, 2 * np.pi)
        return faulty(
            g,
            watch,
            board_azimuth_deg=float(np.degrees(azimuth)),
            tilt_x_deg=-size_deg * np.sin(azimuth),
            tilt_y_deg=size_deg * np.cos(azimuth),
        )

    return make


def leaning_by(degrees: float) -> Make:
    """The rod leans and its base is taken for the foot."""

    def make(g: Generator, watch: str) -> Simulated:
        way, off_mm = g.uniform(0, 2 * np.pi), 300.0 * np.tan(np.radians(degrees))
        return faulty(g, watch, foot_x_mm=off_mm * np.cos(way), foot_y_mm=off_mm * np.sin(way))

    return make


def turned(degrees: float) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        count = made.board.count
        after = int(g.integers(count // 3, 2 * count // 3 + 1))
        marks = made.board.x_mm + 1j * made.board.y_mm
        marks[after:] *= np.exp(1j * np.radians(degrees) * g.choice([-1, 1]))
        return recorded(made, x_mm=marks.real, y_mm=marks.imag)

    return make


def origin_off(distance_mm: float) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        made, way = sound(g, watch), g.uniform(0, 2 * np.pi)
        return recorded(
            made,
            x_mm=made.board.x_mm + distance_mm * np.cos(way),
            y_mm=made.board.y_mm + distance_mm * np.sin(way),
        )

    return make


def days_off(days: int) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        made, off_s = sound(g, watch), 86400.0 * days * g.choice([-1, 1])
        return recorded(
            made,
            noon_utc_s=made.board.noon_utc_s + off_s,
            watch_utc_s=made.board.watch_utc_s + off_s,
        )

    return make


def latitude_off(g: Generator, watch: str) -> Simulated:
    made = sound(g, watch)
    return recorded(made, latitude_deg=made.board.latitude_deg + g.choice([-1.0, 1.0]))


def other_hemisphere(g: Generator, watch: str) -> Simulated:
    made = halves_told(sound(g, watch))
    return recorded(made, latitude_deg=-made.board.latitude_deg)


def mirrored(g: Generator, watch: str) -> Simulated:
    made = halves_told(sound(g, watch))
    return recorded(made, x_mm=-made.board.x_mm)


def watch_off(seconds: float) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        return recorded(made, watch_utc_s=made.board.watch_utc_s + seconds * g.choice([-1, 1]))

    return make


def wild(count: int, wrong: int) -> Make:
    """Few marks, some of them anywhere on the board."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch, count)
        x, y = made.board.x_mm.copy(), made.board.y_mm.copy()
        for number in g.choice(count, wrong, replace=False):
            x[number], y[number] = g.uniform(-600.0, 600.0, 2)
        return recorded(made, x_mm=x, y_mm=y)

    return make


def one_off(count: int, off_mm: float) -> Make:
    """Few marks, one of them off by so much any way."""

    def make(g: Generator, watch: str) -> Simulated:
        made, way = sound(g, watch, count), g.uniform(0, 2 * np.pi)
        x, y, number = made.board.x_mm.copy(), made.board.y_mm.copy(), g.integers(count)
        x[number] += off_mm * np.cos(way)
        y[number] += off_mm * np.sin(way)
        return recorded(made, x_mm=x, y_mm=y)

    return make


def longitude_off(g: Generator, watch: str) -> Simulated:
    """The site a degree east or west of where it is: noon four minutes off."""
    made, east_deg = sound(g, watch), g.choice([-1.0, 1.0])
    return recorded(
        made,
        longitude_deg=made.board.longitude_deg + east_deg,
        noon_utc_s=made.board.noon_utc_s - 240.0 * east_deg,
    )


def cut_to(step_s: float) -> Make:
    """Times written down to the step before, as hands read them."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        return recorded(made, watch_utc_s=np.floor(made.board.watch_utc_s / step_s) * step_s)

    return make


def cut_uneven(step_s: float) -> Make:
    """The same, the marks made at uneven intervals."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch, uneven_s=900.0)
        return recorded(made, watch_utc_s=np.floor(made.board.watch_utc_s / step_s) * step_s)

    return make


def few(make: Make, count: int) -> Make:
    """A mistake on a board of few marks."""

    def made(g: Generator, watch: str) -> Simulated:
        return _some(g, make(g, watch), count)

    return made


def digits_exchanged(g: Generator, watch: str) -> Simulated:
    """Five marks, two digits of the longest x or y exchanged."""
    made = sound(g, watch, 5)
    x, y = made.board.x_mm.copy(), made.board.y_mm.copy()
    of = x if np.abs(x).max() > np.abs(y).max() else y
    number = int(np.argmax(np.abs(of)))
    hundreds, rest = divmod(abs(of[number]), 100.0)
    tens, ones = divmod(rest, 10.0)
    of[number] = np.sign(of[number]) * (tens * 100.0 + hundreds * 10.0 + ones)
    return recorded(made, x_mm=x, y_mm=y)


def times(change: Callable[[Array, Simulated], Array]) -> Make:
    """Other times written."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        return recorded(made, watch_utc_s=change(made.board.watch_utc_s, made))

    return make


def one_row_late(written: Array, _: Simulated) -> Array:
    return np.concatenate([written[:1] - np.diff(written[:2]), written[:-1]])


def twelve_hours(written: Array, made: Simulated) -> Array:
    """Afternoon by the clock at noon typed without adding 12."""
    return np.where(written > made.board.noon_utc_s + 3600.0, written - 43200.0, written)


def marks_as(change: Callable[[Array], Array]) -> Make:
    """Every mark, x + iy, written in another way."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        marks = change(made.board.x_mm + 1j * made.board.y_mm)
        return recorded(made, x_mm=marks.real, y_mm=marks.imag)

    return make


def angles_as(change: Callable[[Array], Array]) -> Make:
    """Marks recorded as length and angle, the angles written in another way.

    None beyond a full circle: the tables ask about those.
    """

    def make(g: Generator, watch: str) -> Simulated:
        while True:
            made = sound(g, watch)
            board = made.board
            written = change(np.degrees(board.direction_rad) % 360.0)
            if (np.abs(written) <= 360.0).all():
                break
        angle = np.radians(written)
        length = board.length_mm
        made = recorded(made, x_mm=length * np.sin(angle), y_mm=length * np.cos(angle))
        return replace(made, by_angle=True)

    return make


def from_the_tip(g: Generator, watch: str) -> Simulated:
    made = sound(g, watch)
    board = made.board
    factor = np.hypot(board.length_mm, board.height_mm) / board.length_mm
    made = recorded(made, x_mm=board.x_mm * factor, y_mm=board.y_mm * factor)
    return replace(made, by_angle=True)


def swapped_place(g: Generator, watch: str) -> Simulated:
    """Latitude for longitude, where the tables cannot ask: both within 90°."""
    while True:
        made = elsewhere(lambda latitude, longitude: (longitude, latitude))(g, watch)
        if abs(made.board.latitude_deg) < 90.0:
            return made


def rod_as(change: Callable[[float], float]) -> Make:
    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        return recorded(made, height_mm=change(made.board.height_mm))

    return make


def elsewhere(change: Callable[[float, float], tuple[float, float]]) -> Make:
    """The site's place written in another way; the watch's zone is known."""

    def make(g: Generator, watch: str) -> Simulated:
        made = sound(g, watch)
        board = made.board
        latitude, longitude = change(board.latitude_deg, board.longitude_deg)
        east_deg = longitude - board.longitude_deg
        noon_s = board.noon_utc_s - 240.0 * east_deg
        # The date is the site's: noon stays on it.
        return recorded(
            made,
            latitude_deg=latitude,
            longitude_deg=longitude,
            noon_utc_s=noon_s,
        )

    return make


def coarse(g: Generator, watch: str) -> Simulated:
    return sound(g, watch, noise_mm=1.5)


def too_tall(g: Generator, watch: str) -> Simulated:
    return recorded(sound(g, watch), height_mm=315.0)


MISTAKEN: dict[str, Make] = {
    "sound": sound,
    "sound, few marks": lambda g, watch: sound(g, watch, int(g.integers(3, 7))),
    "slope of 1°": slope(1.0),
    "east–west slope of 1°": slope_east(1.0),
    "rod leaning by 1°": leaning_by(1.0),
    "turned by 1°": turned(1.0),
    "turned by 2.5°": turned(2.5),
    "origin 10 mm off": origin_off(10.0),
    "origin 300 mm off": origin_off(300.0),
    "date a day out": days_off(1),
    "date a month out": days_off(30),
    "latitude 1° out": latitude_off,
    "other hemisphere, halves told": other_hemisphere,
    "mirrored, halves told": mirrored,
    "watch an hour out": watch_off(3600.0),
    "marks twice as coarse": coarse,
    "rod measured too tall": too_tall,
    "watch 2 min out": watch_off(120.0),
    "watch 5 min out": watch_off(300.0),
    "longitude 1° out": longitude_off,
    "times cut to 5 min": cut_to(300.0),
    "times cut to the minute": cut_to(60.0),
    "three marks, one off by 10 mm": one_off(3, 10.0),
    "four marks, one off by 10 mm": one_off(4, 10.0),
    "five marks, one off by 10 mm": one_off(5, 10.0),
    "slope of 0.5°": slope(0.5),
    "east–west slope of 0.5°": slope_east(0.5),
    "east–west slope of 0.5°, watch to 2 s": cared(slope_east(0.5), watch_sd_s=2.0),
    "east–west slope of 1°, level not checked": cared(
        slope_east(1.0), level_sd_deg=UNCHECKED_LEVEL_DEG
    ),
    "slope of 0.5°, level not checked": cared(slope(0.5), level_sd_deg=UNCHECKED_LEVEL_DEG),
    "four marks, one wild": wild(4, 1),
    "five marks, one wild": wild(5, 1),
    "six marks, two wild": wild(6, 2),
    "three marks, one wild": wild(3, 1),
    "six marks, three wild": wild(6, 3),
    "five marks, two digits exchanged": digits_exchanged,
    "six marks, turned by 2°": few(turned(2.0), 6),
    "four marks, date a month out": few(days_off(30), 4),
    "rod leaning by 0.5°": leaning_by(0.5),
    "turned by 0.5°": turned(0.5),
    "origin 30 mm off": origin_off(30.0),
    "origin 100 mm off": origin_off(100.0),
    "origin 200 mm off": origin_off(200.0),
    "date a week out": days_off(7),
    "watch 30 min out": watch_off(1800.0),
    "watch five hours out": watch_off(5 * 3600.0),
    "12-hour times": times(twelve_hours),
    "times in the opposite order": times(lambda written, _: written[::-1]),
    "times one row late": times(one_row_late),
    "times cut to 5 min, uneven": cut_uneven(300.0),
    "times cut to 15 min, uneven": cut_uneven(900.0),
    "times cut to the minute, uneven": cut_uneven(60.0),
    "x and y swapped": marks_as(lambda marks: marks.imag + 1j * marks.real),
    "x counted to the left": marks_as(lambda marks: -np.conj(marks)),
    "marks in centimetres": marks_as(lambda marks: marks / 10.0),
    "marks in metres": marks_as(lambda marks: marks / 1000.0),
    "marks in inches": marks_as(lambda marks: marks / 25.4),
    "angles anticlockwise": angles_as(lambda degrees: -degrees),
    "angles in gon": angles_as(lambda degrees: degrees / 0.9),
    "angles in radians": angles_as(np.radians),
    "lengths from the tip": from_the_tip,
    "rod in centimetres": rod_as(lambda height: height / 10.0),
    "rod ten times too tall": rod_as(lambda height: height * 10.0),
    "rod from the ground": rod_as(lambda height: height + 120.0),
    "latitude's sign": elsewhere(lambda latitude, longitude: (-latitude, longitude)),
    "longitude's sign": elsewhere(lambda latitude, longitude: (latitude, -longitude)),
    "latitude and longitude swapped": swapped_place,
}

WATCHES = ("trusted", "running", "none")
#: Boards without a mistake.
SOUND = ("sound", "sound, few marks")
#: What hides in the tolerances that were stated, and with which watch: what the mistakes page
#: says cannot be told.
UNTOLD: dict[str, tuple[str, ...]] = {
    "slope of 0.5°": WATCHES,
    "slope of 1°": ("running", "none"),
    "east–west slope of 0.5°": WATCHES,
    "east–west slope of 0.5°, watch to 2 s": ("running", "none"),
    "east–west slope of 1°": ("running", "none"),
    "origin 10 mm off": ("none",),
    "rod leaning by 0.5°": ("none",),
    "rod leaning by 1°": ("none",),
    "turned by 0.5°": ("none",),
    "watch 2 min out": ("trusted",),
    "times cut to 5 min": ("trusted",),
    "three marks, one off by 10 mm": WATCHES,
    "four marks, one off by 10 mm": ("none",),
}
