"""The sun against published worked examples and extreme values."""

import numpy as np
import pytest

from orient.numbers import sun


def test_nrel_worked_example():
    """Source: I. Reda, A. Andreas, NREL/TP-560-34302, table A5.1 and section A.5: ΔT 67 s."""
    # The report takes its time scale for UT1: 12:30:30 at UTC − 7 h.
    ut1_s = np.datetime64("2003-10-17T19:30:30", "s").astype(float)
    place = sun.place(
        ut1_s,
        39.742476,
        -105.1786,
        1830.14,
        pressure_hpa=820.0,
        temperature_c=11.0,
        delta_t_s=67.0,
    )
    assert 90.0 - place.altitude_deg == pytest.approx(50.11162, abs=0.001)
    assert place.azimuth_deg == pytest.approx(194.34024, abs=0.001)


def test_equation_of_time_extremes():
    """Source: the extreme values as almanacs print them (*from memory*): about −14 min 15 s
    near 11 February, +16 min 25 s near 3 November, to a few seconds by the year."""
    days = np.datetime64("2026-01-01T12:00", "s").astype(float) + 86400.0 * np.arange(365)
    # At 12 h UTC the mean sun's hour angle at Greenwich is 0: the true sun's is the difference.
    minutes = sun.hour_angle_deg(days, 0.0) * 4.0
    assert minutes.min() * 60 == pytest.approx(-(14 * 60 + 15), abs=5)
    assert abs(int(minutes.argmin()) - 41) <= 2  # 11 February is day 41 from 1 January
    assert minutes.max() * 60 == pytest.approx(16 * 60 + 25, abs=5)
    assert abs(int(minutes.argmax()) - 306) <= 2  # 3 November


def test_four_minutes_a_degree():
    """*Common practice, no source*: one degree of longitude is four minutes of time."""
    noon = sun.transit(1.79e9, np.array([10.0, 11.0]))
    assert noon[0] - noon[1] == pytest.approx(240.0, abs=0.2)


def test_noon_zenith_distance_at_the_equinox_is_the_latitude():
    """*Common practice, no source*: to the sun's motion in declination that day (0.4°)."""
    latitude = np.array([-60.0, -20.0, 0.0, 35.0, 60.0])
    noon = sun.transit(np.datetime64("2026-03-20T12:00", "s").astype(float), 0.0)
    altitude = sun.place(noon, latitude, 0.0).altitude_deg
    assert np.abs((90.0 - altitude) - np.abs(latitude)).max() < 0.2
