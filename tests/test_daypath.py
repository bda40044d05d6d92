"""The sun of whole days as parabolas: against `sun`, which is checked against skyfield itself."""

import numpy as np
import pytest

from orient.numbers import sun
from orient.numbers.daypath import DayPaths

COUNT = 4000


@pytest.fixture(scope="module")
def site_days():
    """Noons anywhere on earth, the days about New Year and with a leap second among them."""
    generator = np.random.default_rng(11)
    years = np.array(
        ["1901", "1936", "1972", "1973", "1980", "1991", "1999", "2009", "2017", "2026", "2049"],
        dtype="datetime64[Y]",
    )
    begun = years.astype("datetime64[s]").astype(float)
    near = generator.choice(begun, COUNT) + generator.uniform(86400.0, 364 * 86400.0, COUNT)
    near[:40] = generator.choice(begun[2:-1], 40) + generator.uniform(-4e4, 4e4, 40)
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
