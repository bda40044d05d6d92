"""A board as its crew recorded it: the marks, the rod, the watch, the tolerances, the place."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers import shadow, sun
from orient.numbers.angles import wrap_180
from orient.numbers.light import Light, light_altitude_deg
from orient.numbers.shadow import BoardState
from orient.numbers.tolerances import Tolerances

Array = NDArray[np.float64]


# Steps in which times are written down; the minute is the shortest that is told from chance.
_STEPS_S = (1800.0, 900.0, 600.0, 300.0, 60.0)
_FEWEST_TIMES = 4


def written_step_s(watch_s: Array) -> float:
    """The step, a minute or more, of which every time is a multiple; 0 where there is none.

    Args:
        watch_s: seconds, NaN without a time.
    """
    times = watch_s[np.isfinite(watch_s)]
    if times.size < _FEWEST_TIMES:
        return 0.0
    for step_s in _STEPS_S:
        if np.all(np.abs(times / step_s - np.round(times / step_s)) * step_s < 0.01):
            return step_s
    return 0.0


def rounded_to_s(watch_s: Array) -> float:
    """The step to which times were rounded or cut, seconds; 0 where seconds were written.

    Marks made at even intervals were made on the tick, to the minute: only times that are
    multiples of a longer step without being even were rounded to it.
    """
    step_s = written_step_s(watch_s)
    between = np.diff(watch_s[np.isfinite(watch_s)])
    if step_s > 60.0 and np.mean(between == np.median(between)) >= 0.5:
        return 60.0
    return step_s


@dataclass(frozen=True)
class Board:
    """One set-up, ready to be reduced.

    Marks are arrays of shape (n,), millimetres from the foot. `watch_utc_s` is the instant
    the watch named (its stated error not yet taken off), NaN without a time. `half` is −1
    before noon, +1 after, 0 where not told. `noon_utc_s` is local apparent noon of the day.
    The place is the astronomic one: deflection of the vertical, where known, is in it.
    `closing_turn_rad` is how far clockwise on the board the reference line lay when it was
    drawn again at the end, NaN where it was not: so far the board has turned the other way.
    """

    latitude_deg: float
    longitude_deg: float
    noon_utc_s: float
    height_mm: float
    x_mm: Array
    y_mm: Array
    watch_utc_s: Array
    half: NDArray[np.int8]
    ring: NDArray[np.str_]
    elevation_m: float = 0.0
    pressure_hpa: float = 1013.25
    temperature_c: float = 10.0
    watch: str = "trusted"
    watch_error_s: float = 0.0
    edge: str = "middle"
    closing_turn_rad: float = np.nan
    closing_sd_rad: float = np.nan
    tolerances: Tolerances = field(default_factory=Tolerances)

    @property
    def count(self) -> int:
        return self.x_mm.size

    @property
    def length_mm(self) -> Array:
        return np.hypot(self.x_mm, self.y_mm)

    @property
    def direction_rad(self) -> Array:
        """Board direction of each mark, clockwise from +y."""
        return np.arctan2(self.x_mm, self.y_mm)

    @property
    def edge_rad(self) -> float:
        """How much higher than the sun's centre the marked edge's light comes from."""
        if self.edge == "middle":
            return 0.0
        distance = sun.place(self.noon_utc_s, self.latitude_deg, self.longitude_deg).distance_au
        return float(np.radians(sun.semidiameter_deg(distance)))

    @property
    def noon_light_deg(self) -> float:
        """Apparent altitude of the light at local noon."""
        return float(light_altitude_deg(self.light(self.noon_utc_s)))

    def nominal(self) -> BoardState:
        """The board as stated: level, plumb, at azimuth 0."""
        return BoardState(
            height_mm=self.height_mm, watch_error_s=self.watch_error_s, edge_rad=self.edge_rad
        )

    def of(self, chosen: NDArray[Any]) -> Board:
        """The same board with only some of its marks."""
        parts = ("x_mm", "y_mm", "watch_utc_s", "half", "ring")
        return replace(self, **{name: getattr(self, name)[chosen] for name in parts})

    def moved(self, north_deg: float, east_deg: float) -> Board:
        """The same board farther north and east, its noon with it."""
        return replace(
            self,
            latitude_deg=self.latitude_deg + north_deg,
            longitude_deg=float(wrap_180(self.longitude_deg + east_deg)),
            noon_utc_s=self.noon_utc_s - east_deg / sun.SUN_RATE_DEG_PER_S,
        )

    def light(self, utc_s: ArrayLike, state: BoardState | None = None) -> Light:
        """Where the light of the marked edge comes from, refracted; any shape of instants."""
        toward = sun.direction(utc_s, self.latitude_deg, self.longitude_deg, self.elevation_m)
        return self._reaching(toward[:3], state or self.nominal())

    def light_and_rate(
        self, utc_s: ArrayLike, state: BoardState | None = None
    ) -> tuple[Light, Light]:
        """`light`, and the change of the sun's direction per second of time."""
        toward, rate = sun.motion(utc_s, self.latitude_deg, self.longitude_deg, self.elevation_m)
        return self._reaching(toward, state or self.nominal()), rate

    def _reaching(self, toward: Light, state: BoardState) -> Light:
        east, north, up = shadow.shift_latitude(*toward, state.latitude_rad)
        altitude = light_altitude_deg((east, north, up))
        lift = sun.refraction_deg(altitude, self.pressure_hpa, self.temperature_c)
        return shadow.raise_light(east, north, up, np.radians(lift) + state.edge_rad)

    def tips(self, utc_s: ArrayLike, state: BoardState) -> tuple[Any, Any]:
        """Where the tip's shadow should fall at true instants, mm."""
        return shadow.tip(*self.light(utc_s, state), state)

    def tips_and_partials(self, utc_s: ArrayLike, state: BoardState) -> tuple[Array, Array]:
        """The tips, shape (n, 2), and their partials, (n, 2, 9)."""
        light, rate = self.light_and_rate(utc_s, state)
        tips = np.stack(shadow.tip(*light, state), axis=-1)
        return tips, shadow.tip_partials(light, rate, state)

    def times_of_lengths(self, length_mm: ArrayLike, afternoon: ArrayLike) -> Any:
        """When the shadow has these lengths, before or after noon; NaN where it never has."""
        apparent = np.degrees(np.arctan2(self.height_mm, length_mm) - self.edge_rad)
        true = apparent
        for _ in range(4):
            true = apparent - sun.refraction_deg(true, self.pressure_hpa, self.temperature_c)
        return sun.time_of_altitude(
            true,
            self.noon_utc_s,
            afternoon,
            self.latitude_deg,
            self.longitude_deg,
            self.elevation_m,
        )

    def shadow_azimuth_rad(self, utc_s: ArrayLike) -> Any:
        """True azimuth toward which a shadow points at true instants."""
        east, north, _ = self.light(utc_s)
        return np.arctan2(-east, -north)
