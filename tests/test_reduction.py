"""What a set-up's reduction says beside its azimuth, on boards of the simulator."""

from dataclasses import replace

import numpy as np
import pytest
from simulated import noon_of, random_day, simulated

from orient import simulate
from orient.observation.reduction import reduce_board, reduce_boards


def error_in_u(made, reduced):
    return abs(made.error_deg(np.radians(reduced.board_azimuth_deg))) / reduced.board_azimuth_u_deg


def test_a_good_day_has_every_method_and_no_flag():
    made = random_day(np.random.default_rng(1))
    reduced = reduce_board(made.board)
    assert set(reduced.methods) == {"pairs", "shortest", "timed", "adjustment"}
    assert reduced.method == "adjustment"
    assert reduced.flags == []
    assert error_in_u(made, reduced) < 4
    for result in reduced.methods.values():
        assert result.azimuth_u_rad >= reduced.methods["adjustment"].azimuth_u_rad * 0.99


@pytest.mark.parametrize("hours", [-1.0, 1.0, 5.5])
def test_a_trusted_watch_hours_off_is_found_and_said(hours):
    made = simulated(np.random.default_rng(3), 41.0, 5.0, 200, watch_off_s=hours * 3600)
    reduced = reduce_board(made.board)
    assert "watch-doubtful" in reduced.flags
    assert error_in_u(made, reduced) < 4
    assert reduced.watch_error_s == pytest.approx(
        hours * 3600 + made.truth.watch_fast_s, abs=4 * reduced.watch_error_u_s
    )
    said = " ".join(reduced.remarks)
    assert ("fast" if hours > 0 else "slow") in said
    assert f"{abs(hours):g} h" in said


def test_a_wrong_height_is_found_and_said():
    made = simulated(np.random.default_rng(4), 41.0, 5.0, 200)
    reduced = reduce_board(replace(made.board, height_mm=315.0))
    assert "height-doubtful" in reduced.flags
    assert error_in_u(made, reduced) < 4
    assert reduced.fit.state.height_mm == pytest.approx(made.truth.height_mm, abs=3.0)


def test_a_blunder_is_listed_and_left_out():
    made = simulated(np.random.default_rng(5), 41.0, 5.0, 200)
    x = made.board.x_mm.copy()
    x[4] += 15.0
    reduced = reduce_board(replace(made.board, x_mm=x))
    assert reduced.flags == ["blunder"]
    assert (~reduced.fit.kept).nonzero()[0].tolist() == [4]
    assert reduced.fit.residual_mm[4, 0] == pytest.approx(15.0, abs=3.0)
    assert error_in_u(made, reduced) < 4


def test_a_beginners_board_near_noon_is_flagged_and_wide():
    noon = noon_of(5.0, 100)
    times = noon + np.arange(-1800.0, 1801.0, 600.0)
    made = simulated(np.random.default_rng(6), 41.0, 5.0, 100, utc_s=times, watch="none")
    reduced = reduce_board(made.board)
    assert "near-noon" in reduced.flags
    assert reduced.board_azimuth_u_deg > 0.25
    assert reduced.methods["shortest"].azimuth_u_rad > np.radians(0.25)
    assert error_in_u(made, reduced) < 4


def test_one_sided_and_few_pairs():
    made = simulated(np.random.default_rng(7), -35.0, 5.0, 100)
    morning = made.true_utc_s < made.board.noon_utc_s
    assert "one-sided" in reduce_board(made.board.of(morning)).flags
    ends = np.zeros(made.board.count, dtype=bool)
    ends[[1, 2, -3, -2]] = True
    assert "few-pairs" in reduce_board(made.board.of(ends)).flags


@pytest.mark.slow
def test_the_board_knows_its_latitude():
    """By all its marks, and by the noon shadow alone; both with honest uncertainties."""
    generator = np.random.default_rng(8)
    pulls = []
    for _ in range(60):
        made = random_day(generator)
        reduced = reduce_board(made.board)
        noon = reduced.noon_shadow
        truth = made.board.latitude_deg
        assert max(reduced.latitude_u_deg, noon.u_deg) < 1.0
        pulls.append(
            [
                (reduced.latitude_deg - truth) / reduced.latitude_u_deg,
                (noon.latitude_deg - truth) / noon.u_deg,
            ]
        )
    rms = np.sqrt(np.mean(np.square(pulls), axis=0))
    # An rms of 60 pulls is known to 3 × 9 %.
    assert ((rms > 0.72) & (rms < 1.28)).all()


def test_the_noon_shadow_gives_the_zenith_distance():
    """*Common practice, no source*: its tangent is shadow over height."""
    truth = simulate.TrueBoard(10.0, 300.0)
    made = simulated(np.random.default_rng(2), 47.0, 0.0, 78, truth=truth, noise_mm=0)
    noon = reduce_board(made.board).noon_shadow
    assert np.tan(np.radians(noon.zenith_distance_deg)) == pytest.approx(noon.length_mm / 300.0)
    _, altitude, _ = simulate.sun_seen(made.board.noon_utc_s, 47.0, 0.0, 0.0, 1013.25, 10.0)
    assert noon.zenith_distance_deg == pytest.approx(90.0 - altitude[0], abs=0.001)
    assert noon.latitude_deg == pytest.approx(47.0, abs=0.001)


def test_times_that_make_no_sense_leave_a_wide_answer():
    made = simulated(np.random.default_rng(3), 41.0, 5.0, 200)
    shuffled = np.random.default_rng(4).permutation(made.board.watch_utc_s)
    reduced = reduce_board(replace(made.board, watch_utc_s=shuffled))
    assert "watch-doubtful" in reduced.flags
    assert error_in_u(made, reduced) < 4
    assert reduced.board_azimuth_u_deg > 1.0
    assert "watch = none" in " ".join(reduced.remarks)


def test_a_wrong_latitude_is_said():
    made = simulated(np.random.default_rng(9), 41.0, 5.0, 100)
    reduced = reduce_board(replace(made.board, latitude_deg=43.0))
    assert "record-doubtful" in reduced.flags
    assert any("the site's latitude is 4" in words for words in reduced.explanation.words)
    assert error_in_u(made, reduced) < 4


def test_a_watch_none_has_no_watch_error_and_no_timed():
    reduced = reduce_board(random_day(np.random.default_rng(10), watch="none").board)
    assert reduced.watch_error_s is None
    assert "timed" not in reduced.methods
    assert set(reduced.methods) == {"pairs", "shortest", "adjustment"}


def test_marks_that_fix_nothing_are_no_direction():
    made = simulated(np.random.default_rng(11), 41.0, 5.0, 100, watch="none")
    reduced = reduce_board(made.board.of(np.array([3])))
    assert not reduced.determined
    assert any("do not fix a direction" in remark for remark in reduced.remarks)


def test_the_dark_edge_is_the_upper_limb():
    """*Common practice, no source*: the end of full shadow answers to the upper limb, 16′ up."""
    truth = simulate.TrueBoard(75.0, 300.0, edge_lift_deg=16.0 / 60.0)
    made = simulated(np.random.default_rng(12), 50.0, 5.0, 100, truth=truth, noise_mm=0)
    for watch in ("trusted", "none"):
        reduced = reduce_board(replace(made.board, edge="dark", watch=watch))
        assert abs(made.error_deg(np.radians(reduced.board_azimuth_deg))) < 0.005
        assert reduced.fit.cost < 0.1


def test_many_boards_on_two_processes_are_the_same_as_on_one():
    generator = np.random.default_rng(13)
    boards = [random_day(generator).board for _ in range(4)] * 26
    done = []
    many = reduce_boards(boards, workers=2, advance=done.append)
    assert sum(done) == len(boards)
    one = reduce_boards(boards[:4])
    for number, reduced in enumerate(many):
        assert reduced.board_azimuth_deg == one[number % 4].board_azimuth_deg
