"""The sun of whole days as parabolas: against `sun`, which is checked against skyfield itself."""

import numpy as np
import pytest

from orient.numbers import sun
from orient.numbers.daypath import DayPaths

COUNT = 4000


@pytest.fixture(scope="module")
def site_days():
    """Noons of 1901–2049 anywhere on earth, the days about New Year among them."""
    generator = np.random.default_rng(11)
    limits = np.array(["1901-01-01", "2049-12-31"], dtype="datetime64[s]").astype(float)
    near = generator.uniform(*limits, COUNT)
    year_ends = np.arange("1972", "2049", dtype="datetime64[Y]").astype("datetime64[s]")
    near[: year_ends.size] = year_ends.astype(float) + generator.uniform(-4e4, 4e4, year_ends.size)
    latitude, longitude = generator.uniform(-89, 89, COUNT), generator.uniform(-180, 180, COUNT)
    elevation = generator.uniform(-400, 6000, COUNT)
    return sun.transit(near, longitude), latitude, longitude, elevation


def test_the_direction_is_the_sun_s_within_five_milliseconds_of_arc(site_days):
    """A day with a leap second apart: there a clock that counts none is a second off, 15″."""
    seconds = np.random.default_rng(12).uniform(-43200.0, 43200.0, (6, COUNT))
    seconds[0], seconds[1] = -43200.0, 43200.0
    light, rate = DayPaths.about(*site_days).motion(seconds)
    noon, *place = site_days
    theirs, their_rate = sun.motion(noon + seconds, *place)
    apart = np.sqrt(sum((a - b) ** 2 for a, b in zip(light, theirs, strict=True)))
    leaps = np.asarray(sun.ephemeris()[0].leap_dates - 2440587.5) * 86400.0
    # Before 1972 UTC is taken for UT1: the day that joins them has a step too, of 0.05 s.
    leaps = np.append(leaps, float(np.datetime64("1972-01-01", "s").astype(int)))
    leaping = (np.abs(noon - leaps[:, None]) < 43200.0).any(axis=0)
    assert 5 < leaping.sum() < 40
    assert np.degrees(apart[:, ~leaping].max()) * 3600.0 < 0.005
    assert 1.0 < np.degrees(apart[:, leaping].max()) * 3600.0 < 15.1
    off = np.sqrt(sum((a - b) ** 2 for a, b in zip(rate, their_rate, strict=True)))
    assert off.max() < 2e-4 * np.radians(sun.SUN_RATE_DEG_PER_S)
    assert sum(part**2 for part in light) == pytest.approx(1.0, abs=1e-14)


def test_some_of_the_days_are_the_same_as_those_days_alone(site_days):
    whole, some = DayPaths.about(*site_days), np.array([5, 5, 700, 3999])
    ours, _ = whole.take(some).motion(np.array([[-3600.0], [7200.0]]) + np.zeros(4))
    alone, _ = DayPaths.about(*(part[some] for part in site_days)).motion(
        np.array([[-3600.0], [7200.0]]) + np.zeros(4)
    )
    assert np.array_equal(ours, alone)
