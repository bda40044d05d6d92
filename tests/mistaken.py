"""Boards with a mistake made in them, by the simulator and by changing what was recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from simulated import Simulated, simulated

from orient import simulate
from orient.numbers.tolerances import UNCHECKED_LEVEL_DEG

Generator = np.random.Generator
Make = Callable[[Generator, str], Simulated]


def sound(g: Generator, watch: str, count: int = 0, **options) -> Simulated:
    """A day's board anywhere within 60° of the equator; `count` marks of it, where given."""
    while True:
        made = simulated(
            g,
            float(g.uniform(-60, 60)),
            float(g.uniform(-170, 170)),
            int(g.integers(0, 365)),
            watch=watch,
            lowest_deg=15.0,
            step_s=float(g.choice([900.0, 1200.0, 1800.0])),
            **options,
        )
        if made.board.count >= 8:
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


def leaning(g: Generator, watch: str) -> Simulated:
    """The rod leans by 1° and its base is taken for the foot."""
    way, off_mm = g.uniform(0, 2 * np.pi), 300.0 * np.tan(np.radians(1.0))
    return faulty(g, watch, foot_x_mm=off_mm * np.cos(way), foot_y_mm=off_mm * np.sin(way))


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


def coarse(g: Generator, watch: str) -> Simulated:
    return sound(g, watch, noise_mm=1.5)


def too_tall(g: Generator, watch: str) -> Simulated:
    return recorded(sound(g, watch), height_mm=315.0)


MISTAKEN: dict[str, Make] = {
    "sound": sound,
    "sound, few marks": lambda g, watch: sound(g, watch, int(g.integers(3, 7))),
    "slope of 1°": slope(1.0),
    "east–west slope of 1°": slope_east(1.0),
    "rod leaning by 1°": leaning,
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
}

#: What the marks can tell with a watch that is trusted only.
TOLD_BY_TRUSTED = (
    "slope of 1°",
    "east–west slope of 1°",
    "east–west slope of 0.5°, watch to 2 s",
)
#: What hides in the tolerances that were stated: what the mistakes page says cannot be told.
UNTOLD = (
    "slope of 0.5°",
    "east–west slope of 0.5°",
    "watch 2 min out",
    "times cut to 5 min",
    "three marks, one off by 10 mm",
)
#: What the marks can tell, or what is stated covers, with any watch or none.
TOLD_BY_ANY_WATCH = tuple(
    name
    for name in MISTAKEN
    if not name.startswith("sound") and name not in TOLD_BY_TRUSTED + UNTOLD
)
