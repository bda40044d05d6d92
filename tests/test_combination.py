"""Set-ups of one reference joined: shared errors are not counted twice."""

import numpy as np
import pytest

from orient.observation.combination import Contribution, combine


def part(azimuth_deg=100.0, u_deg=0.1, level_deg=0.0, edge_deg=0.0, level="", turned=False):
    return Contribution(azimuth_deg, u_deg, level_deg, edge_deg, level, turned)


def test_independent_set_ups_average():
    joined = combine([part(99.9), part(100.1)])
    assert joined.azimuth_deg == pytest.approx(100.0)
    assert joined.azimuth_u_deg == pytest.approx(0.1 / np.sqrt(2))
    assert joined.consistent


def test_the_level_they_share_does_not_average_out():
    shared = combine([part(level_deg=0.08), part(level_deg=0.08)])
    independent = 0.1**2 - 0.08**2
    assert shared.azimuth_u_deg == pytest.approx(np.sqrt(0.08**2 + independent / 2))
    assert "turn the board" in shared.sentence


def test_turning_the_board_or_another_level_makes_them_independent():
    for other in ({"turned": True}, {"level": "second"}):
        joined = combine([part(level_deg=0.08), part(level_deg=0.08, **other)])
        assert joined.azimuth_u_deg == pytest.approx(0.1 / np.sqrt(2))


def test_set_ups_that_disagree_are_said_and_widened():
    joined = combine([part(100.0), part(101.0)])
    assert not joined.consistent
    assert joined.azimuth_u_deg > 0.4
    assert "disagree" in joined.sentence


def test_the_mean_goes_round_the_circle():
    assert combine([part(359.95), part(0.05)]).azimuth_deg == pytest.approx(0.0, abs=1e-9)


def test_coverage_with_a_shared_level():
    """Boards made of a shared and an own error: the interval covers, alarms are rare."""
    generator = np.random.default_rng(3)
    inside = alarms = 0
    for _ in range(2000):
        shared = generator.normal(0, 0.08)
        parts = [part(100 + shared + generator.normal(0, 0.06), level_deg=0.08) for _ in range(3)]
        joined = combine(parts)
        inside += abs(joined.azimuth_deg - 100) < 1.96 * joined.azimuth_u_deg
        alarms += not joined.consistent
    assert 0.93 < inside / 2000 < 0.97
    assert alarms < 20
