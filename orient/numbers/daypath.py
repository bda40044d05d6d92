"""The sun over whole days at very many sites: its way across each sky as parabolas of time.

A plan looks at some seventy instants of each day of each site. Over the 24 hours about noon the
sun's hour angle, declination and distance run so evenly that three instants of `sun` give all
the others: within 0.005″ of `sun.direction`; on a day with a leap second, which POSIX seconds do
not count, within the 15″ that the sky turns in a second (`tests/test_daypath.py`).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers import sun
from orient.numbers.light import HALF_DAY_S, Light

Array = NDArray[np.float64]


class DayPaths(NamedTuple):
    """The sun's way about some instants, one a site-day: arrays of shape (3, n) and (n,).

    The arrays of three rows are the constant, the part for each second from the instant and
    for each second squared. `hour_angle` is local, in radians; `outward` and `polar` are the
    sun's distance from the earth's axis and from the equator's plane, astronomical units; so
    are those of the site.
    """

    hour_angle: Array
    outward: Array
    polar: Array
    sin_latitude: Array
    cos_latitude: Array
    site_outward: Array
    site_polar: Array
    speed_over_light: Array

    @classmethod
    def about(
        cls,
        middle_utc_s: Array,
        latitude_deg: ArrayLike,
        longitude_deg: ArrayLike,
        elevation_m: ArrayLike,
    ) -> DayPaths:
        """The paths from 12 hours before some instants to 12 hours after, all of shape (n,)."""
        offsets_s = np.array([[-HALF_DAY_S], [0.0], [HALF_DAY_S]])
        hour_angle, declination, distance = sun.geocentric(middle_utc_s + offsets_s)
        # Without its even turning the angle hardly moves: so a turn lost between years is seen.
        turned = np.radians(sun.SUN_RATE_DEG_PER_S) * offsets_s
        hour_angle = np.unwrap(hour_angle - turned, axis=0) + turned
        axes = sun.SiteAxes.at(latitude_deg, 0.0, elevation_m)
        return cls(
            _parabola(hour_angle + np.radians(longitude_deg)),
            _parabola(distance * np.cos(declination)),
            _parabola(distance * np.sin(declination)),
            axes.sin_latitude,
            axes.cos_latitude,
            axes.position_au[0],
            axes.position_au[2],
            axes.speed_over_light,
        )

    def take(self, index: Any) -> DayPaths:
        """Some of the site-days."""
        return DayPaths(*(np.take(field, index, axis=-1) for field in self))

    def motion(self, seconds: ArrayLike) -> tuple[Light, Light]:
        """The unit vector toward the sun, unrefracted, and its change per second of time.

        Args:
            seconds: from the middle instant, shape (…, n).

        Returns:
            ((east, north, up), (east, north, up)), each of shape (…, n), as `sun.motion`; the
            rate within a part in 5,000.
        """
        seconds = np.asarray(seconds, dtype=float)
        outward, of_outward = _along(self.outward, seconds)
        polar, of_polar = _along(self.polar, seconds)
        angle, turning = _along(self.hour_angle, seconds)
        sine, cosine = sun.sine_and_cosine(angle)
        x, y = outward * cosine, -outward * sine
        light = self._seen(x - self.site_outward, y, polar - self.site_polar)
        rate = self._level(
            of_outward * cosine + y * turning, -of_outward * sine - x * turning, of_polar
        )
        # Of no length known beforehand: the distance of the day.
        scale = 1.0 / np.sqrt(self.outward[0] ** 2 + self.polar[0] ** 2)
        return light, tuple(part * scale for part in rate)

    def _seen(self, x: Array, y: Array, z: Array) -> Light:
        """From the site, as a unit vector; the observer moves east with the turning earth."""
        east, north, up = self._level(x, y, z)
        east = east + self.speed_over_light * np.sqrt(x * x + y * y + z * z)
        shrink = 1.0 / np.sqrt(east * east + north * north + up * up)
        return east * shrink, north * shrink, up * shrink

    def _level(self, x: Array, y: Array, z: Array) -> Light:
        """Turn a vector from the axes of the site's meridian into east, north and up."""
        north = self.cos_latitude * z - self.sin_latitude * x
        return y, north, self.sin_latitude * z + self.cos_latitude * x


def _parabola(at: Array) -> Array:
    """Through values half a day before, at and half a day after the middle: (3, n), (3, n)."""
    before, middle, after = at
    return np.stack(
        [
            middle,
            (after - before) / (2.0 * HALF_DAY_S),
            (after + before - 2.0 * middle) / (2.0 * HALF_DAY_S**2),
        ]
    )


def _along(parabola: Array, seconds: Array) -> tuple[Array, Array]:
    """The value at some seconds, and its rate."""
    constant, rate, bend = parabola
    bent = bend * seconds
    return constant + (rate + bent) * seconds, rate + 2.0 * bent
