"""Pairs, shortest shadow and timed marks, on boards of the simulator."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from simulated import PRESSURE_HPA, TEMPERATURE_C, Simulated, noon_of, random_day, simulated

from orient import simulate
from orient.observation import byhand

LATITUDES = range(-65, 66, 13)
DAYS = (15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349)  # mid-month


def halves(made: Simulated) -> np.ndarray:
    return np.where(made.true_utc_s < made.board.noon_utc_s, -1, 1).astype(np.int8)


def exact_truth(generator):
    return simulate.TrueBoard(float(generator.uniform(0, 360)), 300.0)


@cache
def exact_boards():
    """Noise-free boards of latitudes −65…65 and all months: latitude, day and board of each."""
    generator = np.random.default_rng(3)
    found = []
    for latitude in LATITUDES:
        for day in DAYS:
            truth = exact_truth(generator)
            made = simulated(generator, latitude, -30.0, day, truth=truth, noise_mm=0)
            if made.board.count >= 5:
                found.append((latitude, day, made))
    assert len(found) > 100
    return found


@pytest.fixture(scope="module")
def exact_days():
    return exact_boards()


def crossing_times(latitude, longitude, noon_s, altitudes_deg):
    """When the refracted sun stands at each altitude before and after noon, by bisection."""
    wanted = np.repeat(altitudes_deg, 2)
    high = np.full(wanted.size, noon_s)
    low = noon_s + np.tile([-43000.0, 43000.0], len(altitudes_deg))
    for _ in range(27):  # to a millisecond
        middle = (high + low) / 2
        _, altitude, _ = simulate.sun_seen(
            middle, latitude, longitude, 0.0, PRESSURE_HPA, TEMPERATURE_C
        )
        high, low = np.where(altitude > wanted, [middle, low], [high, middle])
    return high


@pytest.mark.long
def test_ring_pairs_return_the_azimuth_of_noise_free_boards():
    """Within 0.001°, latitudes −65…65, all months: the sun north of the east–west line, the
    southern hemisphere and the tropics among them."""
    generator = np.random.default_rng(2)
    tried = 0
    for latitude in range(-65, 66, 26):
        for day in DAYS[::2]:
            noon = noon_of(40.0, day)
            _, noon_altitude, _ = simulate.sun_seen(
                noon, latitude, 40.0, 0.0, PRESSURE_HPA, TEMPERATURE_C
            )
            if noon_altitude[0] < 16.0:
                continue
            altitudes = np.linspace(12.0, min(60.0, noon_altitude[0] - 3.0), 3)
            times = crossing_times(latitude, 40.0, noon, altitudes)
            rings = np.repeat(["R0", "R1", "R2"], 2)
            order = np.argsort(times)
            made = simulated(
                generator,
                latitude,
                40.0,
                day,
                truth=exact_truth(generator),
                utc_s=times[order],
                noise_mm=0,
                lowest_deg=5.0,
                longest_mm=3000.0,
            )
            board = replace(made.board, ring=rings[order])
            result = byhand.pairs(board, halves(made))
            assert result.n == 3
            assert abs(made.error_deg(result.azimuth_rad)) < 0.001, (latitude, day)
            tried += 1
    assert tried > 25


def test_pairs_interpolated_from_20_minute_marks(exact_days):
    """Noise-free, within 0.001°, latitudes −65…65, all months."""
    for latitude, day, made in exact_days:
        result = byhand.pairs(made.board, halves(made))
        assert result is not None
        assert abs(made.error_deg(result.azimuth_rad)) < 0.001, (latitude, day)


def test_timed_marks_return_the_azimuth_of_noise_free_boards(exact_days):
    for latitude, day, made in exact_days:
        result = byhand.timed(made.board)
        assert abs(made.error_deg(result.azimuth_rad)) < 0.001, (latitude, day)


def test_the_shortest_shadow_lies_in_the_meridian(exact_days):
    """*Common practice, no source*; as a fit, 0.002° from noise-free 20-minute marks."""
    for latitude, day, made in exact_days:
        result = byhand.shortest(made.board)
        assert abs(made.error_deg(result.azimuth_rad)) < 0.002, (latitude, day)


@pytest.fixture(scope="module")
def random_days():
    generator = np.random.default_rng(23)
    return [random_day(generator) for _ in range(120)]


@pytest.mark.long
@pytest.mark.parametrize("method", ["pairs", "timed", "shortest"])
def test_uncertainties_by_hand_are_honest(method, random_days):
    pull = []
    for made in random_days:
        if method == "pairs":
            result = byhand.pairs(made.board, halves(made))
        else:
            result = getattr(byhand, method)(made.board)
        if result is not None:
            pull.append(made.error_deg(result.azimuth_rad) / np.degrees(result.azimuth_u_rad))
    assert len(pull) > 110
    # Of 120 boards 95 % ± 3 × 2 % may lie inside; the rms pull is known to 3 × 6.5 %.
    assert np.mean(np.abs(pull) < 1.96) > 0.89
    assert 0.8 < np.sqrt(np.mean(np.square(pull))) < 1.2


@pytest.mark.parametrize("latitude", [0, 10, 30, 50])
@pytest.mark.parametrize("hours", [0.5, 1, 2, 3, 4])
def test_a_millimetre_on_one_side_of_a_pair_at_the_equinox(latitude, hours):
    """Half of what the azimuth turns, by the simulator's sun, while the shadow grows 1 mm."""
    noon = noon_of(0.0, 78)
    times = np.array([noon - hours * 3600, noon + hours * 3600])
    made = simulated(
        np.random.default_rng(1),
        latitude,
        0.0,
        78,
        truth=simulate.TrueBoard(0.0, 300.0),
        utc_s=times,
        noise_mm=0,
        lowest_deg=5.0,
        longest_mm=3000.0,
    )
    board = replace(made.board, ring=np.array(["A", "A"]))
    half = np.array([-1, 1], dtype=np.int8)
    before = byhand.pairs(board, half).azimuth_rad
    out = 1.0 + 0.01 / board.length_mm[1]
    moved = replace(board, x_mm=board.x_mm * [1, out], y_mm=board.y_mm * [1, out])
    after = byhand.pairs(moved, half).azimuth_rad
    shift = abs(np.degrees(np.angle(np.exp(1j * (after - before))))) * 60 * 100
    azimuth, altitude, _ = simulate.sun_seen(times[1] + np.array([-5.0, 5.0]), latitude, 0.0)
    length = np.hypot(*simulate.shadow_tips(azimuth, altitude, simulate.TrueBoard(0.0, 300.0)).T)
    turned = np.ptp(np.unwrap(np.radians(azimuth)))
    assert shift == pytest.approx(np.degrees(turned) * 60 / np.ptp(length) / 2, rel=0.02)


def test_pairs_cope_with_gaps_and_one_sided_days():
    made = random_day(np.random.default_rng(6))
    half = halves(made)
    assert byhand.pairs(made.board.of(half < 0), half[half < 0]) is None
    assert byhand.shortest(made.board.of(half < 0)) is None
    keep = np.ones(made.board.count, dtype=bool)
    keep[3:6] = False  # cloud
    result = byhand.pairs(made.board.of(keep), half[keep])
    assert abs(made.error_deg(result.azimuth_rad)) < 4 * np.degrees(result.azimuth_u_rad)


def test_a_ring_crossed_twice_on_one_side_counts_once():
    made = random_day(np.random.default_rng(7))
    half = halves(made)
    first = 1
    near = np.argmin(np.abs(made.board.length_mm - made.board.length_mm[first]) + 1e6 * (half < 0))
    chosen = np.array([first, first, near])
    ring = replace(made.board.of(chosen), ring=np.array(["A", "A", "A"]))
    assert byhand.pairs(ring, half[chosen]).n == 1


def test_timed_needs_a_trusted_watch_and_light():
    made = random_day(np.random.default_rng(8))
    assert byhand.timed(replace(made.board, watch="running")) is None
    night = replace(
        made.board, watch_utc_s=np.full(made.board.count, made.board.noon_utc_s + 43200)
    )
    assert byhand.timed(night) is None


def test_a_blunder_does_not_steer_the_robust_mean():
    made = random_day(np.random.default_rng(9))
    x = made.board.x_mm.copy()
    x[2] += 20.0
    clean, dirty = byhand.timed(made.board), byhand.timed(replace(made.board, x_mm=x))
    apart = abs(np.degrees(clean.azimuth_rad - dirty.azimuth_rad))
    assert apart < np.degrees(clean.azimuth_u_rad)
