"""Sensitivities and variances of a direction, by finite differences and by scatter."""

from dataclasses import replace

import numpy as np
import pytest
from simulated import random_day, simulated

from orient import simulate
from orient.numbers import propagation
from orient.numbers.shadow import UNKNOWNS
from orient.numbers.tolerances import SHARED_TERMS, Tolerances
from orient.observation import byhand


def exact_board():
    truth = simulate.TrueBoard(130.0, 300.0)
    return simulated(np.random.default_rng(1), 44.0, 3.0, 110, truth=truth, noise_mm=0)


def single_azimuths(board, made, by_length):
    if by_length:
        instants = board.times_of_lengths(board.length_mm, made.true_utc_s > board.noon_utc_s)
    else:
        instants = made.true_utc_s
    return board.shadow_azimuth_rad(instants) - board.direction_rad


@pytest.mark.parametrize("by_length", [False, True])
def test_sensitivity_is_the_change_of_a_single_azimuth(by_length):
    made = exact_board()
    board = made.board
    far = np.abs(made.true_utc_s - board.noon_utc_s) > 3600
    state = byhand.BoardState(np.radians(130.0), height_mm=300.0)
    _, partials = board.tips_and_partials(made.true_utc_s, state)
    if by_length:
        ours = propagation.altitude_sensitivity(board.x_mm, board.y_mm, partials)
    else:
        ours = propagation.timed_sensitivity(board.x_mm, board.y_mm)
    for column, name in enumerate(("x_mm", "y_mm")):
        step = 1e-3
        up = replace(board, **{name: getattr(board, name) + step})
        down = replace(board, **{name: getattr(board, name) - step})
        change = single_azimuths(up, made, by_length) - single_azimuths(down, made, by_length)
        numeric = np.angle(np.exp(1j * change)) / (2 * step)
        assert ours[far, column] == pytest.approx(numeric[far], rel=2e-3, abs=1e-8)


def test_variance_terms_are_the_scatter_of_linear_errors():
    """Every term against a plain Monte Carlo of the displacements it stands for."""
    generator = np.random.default_rng(2)
    made = exact_board()
    board = made.board
    state = byhand.BoardState(np.radians(130.0), height_mm=300.0)
    _, partials = board.tips_and_partials(made.true_utc_s, state)
    sensitivity = propagation.timed_sensitivity(board.x_mm, board.y_mm)
    weights = np.full(board.count, 1 / board.count)
    tolerances = Tolerances()
    terms = propagation.variance_terms(weights, sensitivity, partials, tolerances, True)
    sd = tolerances.prior_sd()
    for term, names in SHARED_TERMS.items():
        columns = [UNKNOWNS.index(name) for name in names]
        draws = generator.normal(size=(20000, len(columns))) * sd[columns]
        moved = np.einsum("nik,sk->sni", partials[..., columns], draws)
        azimuths = np.einsum("n,ni,sni->s", weights, sensitivity, moved)
        assert np.sqrt(terms[term]) == pytest.approx(azimuths.std(), rel=0.03, abs=1e-12)
    moved = generator.normal(size=(20000, board.count, 2)) * tolerances.mark_sd_mm
    azimuths = np.einsum("n,ni,sni->s", weights, sensitivity, moved)
    assert np.sqrt(terms["marking"]) == pytest.approx(azimuths.std(), rel=0.03)


def test_a_wrong_height_cancels_in_interpolated_pairs():
    """Morning and afternoon shift opposite ways: only right neighbours' shares cancel it."""
    made = exact_board()
    half = np.where(made.true_utc_s < made.board.noon_utc_s, -1, 1).astype(np.int8)
    wrong = replace(made.board, height_mm=303.0)
    single = single_azimuths(wrong, made, True) - single_azimuths(made.board, made, True)
    far = np.abs(made.true_utc_s - made.board.noon_utc_s) > 3600
    assert np.degrees(np.abs(single[far])).min() > 0.15
    assert abs(made.error_deg(byhand.pairs(wrong, half).azimuth_rad)) < 0.01


def test_pairs_are_weighted_by_their_own_variances():
    """Two ring pairs: weights in inverse proportion to the squares of their sensitivities."""
    made = random_day(np.random.default_rng(6))
    half = np.where(made.true_utc_s < made.board.noon_utc_s, -1, 1).astype(np.int8)
    morning = np.flatnonzero(half < 0)
    chosen = []
    for mark in (morning[0], morning[len(morning) // 2]):
        apart = np.abs(made.board.length_mm - made.board.length_mm[mark]) + 1e6 * (half < 0)
        chosen += [mark, int(np.argmin(apart))]
    # The first ring was crossed twice in the morning: its mean there is the better for it.
    chosen.insert(0, chosen[0])
    rings = np.array(["A", "A", "A", "B", "B"])
    board = replace(made.board.of(np.array(chosen)), ring=rings)
    both = byhand.pairs(board, half[chosen])
    alone = [byhand.pairs(board.of(rings == label), half[chosen][rings == label]) for label in "AB"]
    variances = [result.terms["marking"] ** 2 for result in alone]
    shares = [both.weight[rings == label].sum() for label in "AB"]
    assert shares[0] / shares[1] == pytest.approx(variances[1] / variances[0], rel=1e-3)
