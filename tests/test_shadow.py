"""The shadow of a tip against ray tracing written apart, and handbook figures."""

import numpy as np
import pytest

from orient.numbers import shadow
from orient.numbers.shadow import BoardState


def light_at(azimuth_deg, altitude_deg):
    azimuth, altitude = np.radians(azimuth_deg), np.radians(altitude_deg)
    return (
        np.cos(altitude) * np.sin(azimuth),
        np.cos(altitude) * np.cos(azimuth),
        np.sin(altitude),
    )


def ray_traced(azimuth_deg, altitude_deg, beta_deg, slope_x, slope_y, height_mm):
    """A ray from the tip meets the board: solved as a 3 × 3 linear system in the board's axes."""
    sun = np.array(light_at(azimuth_deg, altitude_deg))
    beta = np.radians(beta_deg)
    level_x = np.array([np.cos(beta), -np.sin(beta), 0.0])
    level_y = np.array([np.sin(beta), np.cos(beta), 0.0])
    normal = -slope_x * level_x - slope_y * level_y + np.array([0.0, 0.0, 1.0])
    y_axis = level_y + slope_y * np.array([0.0, 0.0, 1.0])
    y_axis /= np.linalg.norm(y_axis)
    x_axis = np.cross(y_axis, normal / np.linalg.norm(normal))
    tip = np.array([0.0, 0.0, height_mm])
    x, y, _ = np.linalg.solve(np.stack([x_axis, y_axis, sun], axis=1), tip)
    return x, y


def test_a_tilted_board_agrees_with_ray_tracing():
    generator = np.random.default_rng(3)
    for _ in range(50):
        azimuth, beta = generator.uniform(0, 360, 2)
        altitude = generator.uniform(12, 88)
        slope_x, slope_y = generator.normal(0, 0.02, 2)
        state = BoardState(np.radians(beta), 0, 0, slope_x, slope_y, 300.0)
        ours = shadow.tip(*light_at(azimuth, altitude), state)
        assert ours == pytest.approx(
            ray_traced(azimuth, altitude, beta, slope_x, slope_y, 300.0), abs=1e-9
        )


def test_partials_are_the_differences_of_the_tip():
    generator = np.random.default_rng(4)
    base = np.array([0.7, 0.4, -0.3, 0.001, -0.002, 300.0, 0.0, 0.0, 0.0])
    steps = np.array([1e-5, 1e-3, 1e-3, 1e-6, 1e-6, 1e-3, 1e-2, 1e-6, 1e-6])
    azimuth, altitude = generator.uniform(0, 360, 30), generator.uniform(15, 80, 30)
    turning, climbing = 0.004, 0.002  # degrees a second

    def at(values):
        azimuth_then = azimuth - turning * values[6]
        light = light_at(azimuth_then, altitude - climbing * values[6])
        light = shadow.raise_light(*shadow.shift_latitude(*light, values[8]), values[7])
        return np.stack(shadow.tip(*light, BoardState(*values)), axis=-1)

    light = light_at(azimuth, altitude)
    half = 0.01
    after = light_at(azimuth + turning * half, altitude + climbing * half)
    before = light_at(azimuth - turning * half, altitude - climbing * half)
    rate = tuple((a - b) / (2 * half) for a, b in zip(after, before, strict=True))
    partials = shadow.tip_partials(light, rate, BoardState(*base))
    for number, step in enumerate(steps):
        up, down = base.copy(), base.copy()
        up[number] += step
        down[number] -= step
        numeric = (at(up) - at(down)) / (2 * step)
        bound = (0.002 if number in (3, 4) else 2e-5) * np.abs(numeric).max()
        assert np.abs(partials[..., number] - numeric).max() < bound, shadow.UNKNOWNS[number]


def test_light_from_below_the_board_casts_no_shadow():
    assert np.isnan(shadow.tip(*light_at(90.0, -1.0), BoardState(height_mm=300.0))).all()


def test_raise_light_keeps_azimuth():
    lifted = shadow.raise_light(*light_at(200.0, 30.0), np.radians(0.25))
    assert lifted == pytest.approx(light_at(200.0, 30.25), abs=1e-12)


def test_shadow_over_height_is_the_tangent_of_the_zenith_distance():
    """*Common practice, no source*: a rod of 19.7 with a shortest shadow of 9.8 puts the sun
    26° from the zenith, 64° up, to the degree."""
    altitude = np.degrees(np.arctan2(19.7, 9.8))
    x, y = shadow.tip(*light_at(180.0, altitude), BoardState(height_mm=19.7))
    assert np.hypot(x, y) == pytest.approx(9.8)
    assert round(altitude) == 64
    assert round(90 - altitude) == 26
    assert x == pytest.approx(0, abs=1e-12)
    assert y > 0  # sun in the south: the shadow points north
