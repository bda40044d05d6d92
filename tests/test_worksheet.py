"""Boards worked by hand: the steps lead to the simulator's truth, and the page shows them."""

import html
import re

import numpy as np
import pytest
from boards_on_file import sound_campaign
from simulated import simulated
from test_byhand import exact_boards

from orient import simulate
from orient.observation.reduction import reduce_board
from orient.observation.worksheet import worksheet
from orient.report.page import write_report
from orient.tables.campaign import read_campaign


def away(one, other):
    return (one - other + 180.0) % 360.0 - 180.0


def test_the_steps_lead_to_true_north_and_the_latitude():
    """Boards without an error, sun and shadow by the simulator."""
    pairs = noons = 0
    for latitude, _, made in exact_boards()[::3]:
        reduced = reduce_board(made.board)
        work = worksheet(reduced)
        if work.pair:
            pairs += 1
            # Half the change of the declination, taken as even, is the formula's own limit.
            assert abs(away(work.pair.north_deg, -made.truth.board_azimuth_deg)) < 0.006
            own = np.hypot(made.board.x_mm, made.board.y_mm)[work.pair.mark]
            assert work.pair.length_mm == pytest.approx(own)
        if work.noon:
            noons += 1
            # The page has hundredths; parallax, 0.002°, is left out of the sum.
            assert work.noon.latitude_deg == pytest.approx(latitude, abs=0.006)
    assert pairs > 20
    assert noons > 20


def test_the_correction_is_of_the_size_that_surveying_texts_have():
    """At the equinox the sun's declination changes by 0.98′ an hour (almanacs; from memory)."""
    made = simulated(
        np.random.default_rng(1), 50.0, 0.0, 78, truth=simulate.TrueBoard(10.0, 300.0), noise_mm=0
    )
    pair = worksheet(reduce_board(made.board)).pair
    change = pair.declination_deg[1] - pair.declination_deg[0]
    assert change / pair.hours * 60.0 == pytest.approx(0.985, abs=0.02)
    half = np.radians(pair.hour_angle_deg)
    assert pair.correction_deg == pytest.approx(
        change / 2.0 / np.cos(np.radians(50.0)) / np.sin(half), rel=1e-9
    )
    assert pair.correction_deg > 0


@pytest.mark.slow
def test_the_shortest_mark_is_as_poor_a_guide_as_it_is_said_to_be():
    generator, off, turns = np.random.default_rng(5), [], []
    for _ in range(30):
        made = simulated(generator, 45.0, 10.0, 172, step_s=300.0)
        reduced = reduce_board(made.board)
        shortest = worksheet(reduced).shortest
        direction = np.degrees(np.arctan2(made.board.x_mm, made.board.y_mm))[shortest.mark]
        assert shortest.mark == int(np.argmin(np.hypot(made.board.x_mm, made.board.y_mm)))
        assert shortest.north_deg == pytest.approx(direction % 360.0)
        off.append(away(direction, -made.truth.board_azimuth_deg))
        turns.append(shortest.turns_deg)
        assert abs(away(shortest.off_deg, off[-1])) < 1.0
    # The shortest of many marks lies anywhere in the span that is named, seldom beyond it.
    assert np.mean(np.abs(off) < np.median(turns) / 2.0) > 0.8
    assert np.std(off) > np.median(turns) / 10.0


def test_the_page_shows_each_board_s_own_steps(tmp_path):
    from orient.observation.setups import reduce_campaign

    campaign = read_campaign(sound_campaign(tmp_path / "sound"))
    results = reduce_campaign(campaign)
    write_report(campaign, tmp_path / "out", results)
    page = (tmp_path / "out" / "index.html").read_text()
    parts = re.findall(r"<details class=handwork>.*?</details></details>", page, re.S)
    assert len(parts) == len(results)
    for part, result in zip(parts, results, strict=True):
        words = html.unescape(re.sub(r"<[^>]+>", " ", part))
        work = worksheet(result.reduced)
        for value in (work.pair.halving_deg, work.pair.north_deg, work.noon.latitude_deg):
            assert f"{value:.2f}°".replace("-", "−") in words
        assert f"{-result.reduced.board_azimuth_deg % 360.0:.2f}°" in words
        shown = re.search(
            r"atan \(([\d.]+) / ([\d.]+)\) = ([\d.]+)°; from the zenith ([\d.]+)° \+ ([\d.]+)° of "
            r"refraction = ([\d.]+)°.*latitude = (−?[\d.]+)° ([+−]) ([\d.]+)° = (−?[\d.]+)°",
            words,
        )
        rod, length, high, zenith, lift, total, declination, sign, again, latitude = (
            each if each in "+−" else float(each.replace("−", "-")) for each in shown.groups()
        )
        # Whoever works along with the figures of the page finds the same ones.
        assert high == round(float(np.degrees(np.arctan(rod / length))), 2)
        assert zenith == pytest.approx(90.0 - high)
        assert total == again == pytest.approx(zenith + lift)
        assert latitude == pytest.approx(declination + total * (1 if sign == "+" else -1))
        assert "poor guide" in words
