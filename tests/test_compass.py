"""Compass and ground told apart, on campaigns made by other code than the adjustment."""

import numpy as np
import pandas as pd
import pytest

from orient.flags import FLAGS
from orient.observation import compass

DECLINATION_DEG = -7.0


def campaign(
    index_errors_deg,
    anomalies_deg,
    random,
    lines=4,
    reading_u_deg=0.5,
    azimuth_u_deg=0.1,
    model_u_deg=0.4,
    noise=True,
):
    """Every compass at every place, toward `lines` lines there; one orientation a place."""
    rows = []
    for place, anomaly in enumerate(anomalies_deg):
        orientation_error = random.normal(0, azimuth_u_deg) * noise
        for name, index_error in enumerate(index_errors_deg):
            for _ in range(lines):
                azimuth = random.uniform(0, 360)
                needle = azimuth - (DECLINATION_DEG + anomaly) + index_error
                rows.append(
                    {
                        "site": f"place-{place}",
                        "compass": f"c{name}",
                        "true_azimuth_deg": (azimuth + orientation_error) % 360,
                        "true_azimuth_u_deg": azimuth_u_deg,
                        "declination_deg": DECLINATION_DEG,
                        "declination_u_deg": model_u_deg,
                        "reading_deg": (needle + random.normal(0, reading_u_deg) * noise) % 360,
                        "reading_u_deg": reading_u_deg,
                    }
                )
    return pd.DataFrame(rows)


def random():
    return np.random.default_rng(5)


def said(check):
    return " ".join(check.sentences)


def test_difference_is_reading_less_expected():
    """A line of true azimuth 100°, declination 10° east, should read 90°."""
    assert compass.difference_deg(92.0, 100.0, 10.0) == pytest.approx(2.0)
    assert compass.difference_deg(359.0, 5.0, 5.0) == pytest.approx(-1.0)
    found = compass.difference_deg([1.0, 359.0], 180.0, [179.0, -179.0])
    assert found == pytest.approx([0.0, 0.0])
    assert compass.combined_u_deg(0.3, [0.4, 0.0]) == pytest.approx([0.5, 0.3])
    assert list(compass.differs([0.9, -1.0], 0.5)) == [False, True]


def test_one_compass_at_one_place_is_not_told_apart():
    check = compass.check_compasses(campaign([3.0], [0.0], random()))
    place, one = check.places.loc["place-0"], check.compasses.loc["c0"]
    assert place.n == 4
    assert place.difference_deg == pytest.approx(3.0, abs=3 * place.difference_u_deg)
    # Four readings of 0.5° in the mean, and the orientation's 0.1° that they share.
    assert place.difference_u_deg == pytest.approx(np.hypot(0.25, 0.1))
    assert place.combined_u_deg == pytest.approx(np.sqrt(0.25**2 + 0.1**2 + 0.4**2))
    assert place.differs
    assert not place.separated
    assert not one.separated
    # All of it may be the ground's, or all the compass's.
    assert place.anomaly_u_deg > abs(place.difference_deg)
    assert one.correction_u_deg > abs(one.correction_deg)
    assert "cannot be told apart" in said(check)
    assert FLAGS["compass-differs"] in said(check)


def test_two_compasses_at_one_place_are_not_told_apart_from_it_either():
    check = compass.check_compasses(campaign([2.0, -1.0], [0.0], random(), noise=False))
    assert not check.places.separated.any()
    assert not check.compasses.separated.any()
    # But what parts them is known.
    parted = np.diff(check.compasses.correction_deg)
    assert parted == pytest.approx([3.0], abs=1e-6)


def test_places_that_agree_give_the_compass_its_correction():
    check = compass.check_compasses(campaign([2.0], [0.0, 0.0, 0.0], random(), noise=False))
    assert check.compasses.correction_deg["c0"] == pytest.approx(-2.0, abs=1e-6)
    assert check.places.anomaly_deg.to_numpy() == pytest.approx(np.zeros(3), abs=1e-6)
    assert check.places.separated.all()
    assert not check.places.differs.any()
    assert "Compass c0: subtract 2.0° from its readings" in said(check)
    # However many places: what all of them share of the model's error stays in the figure.
    many = compass.check_compasses(campaign([2.0], np.zeros(30), random(), noise=False))
    shared = 0.4 * np.sqrt(compass.SHARED_VARIANCE)
    assert shared < many.compasses.correction_u_deg["c0"] < 1.1 * shared


def test_one_ironstone_hill_is_not_laid_to_the_compass():
    check = compass.check_compasses(campaign([1.5], [0.0, 0.0, 8.0], random(), noise=False))
    assert check.compasses.correction_deg["c0"] == pytest.approx(-1.5, abs=1e-3)
    assert check.places.anomaly_deg["place-2"] == pytest.approx(8.0, abs=1e-3)
    assert list(check.places.differs) == [False, False, True]
    assert "the needle points 8.0° east of the model there" in said(check)


def test_two_places_that_disagree_cannot_say_which_is_wrong():
    check = compass.check_compasses(campaign([1.0], [0.0, 6.0], random(), noise=False))
    assert not check.places.separated.any()
    truth = {"place-0": 0.0, "place-1": 6.0}
    for name, anomaly in truth.items():
        row = check.places.loc[name]
        assert abs(row.anomaly_deg - anomaly) < 1.96 * row.anomaly_u_deg
    one = check.compasses.loc["c0"]
    assert abs(one.correction_deg + 1.0) < 1.96 * one.correction_u_deg


def test_compasses_are_compared_only_where_they_are_linked():
    first = campaign([1.0], [0.0, 0.0], random(), noise=False)
    lonely = campaign([-4.0], [0.0], random(), noise=False).assign(site="far", compass="other")
    check = compass.check_compasses(pd.concat([first, lonely], ignore_index=True))
    assert list(check.compasses.separated) == [True, False]
    assert list(check.places.separated) == [False, True, True]


def test_readings_on_both_sides_of_north_and_the_other_end_of_the_needle():
    table = campaign([180.0], [0.0, 0.0], random(), reading_u_deg=0.5)
    assert table.shape[0] == 8
    check = compass.check_compasses(table)
    assert abs(abs(check.places.difference_deg) - 180.0).max() < 1.0
    assert "other end was read" in said(check)
    assert "turn them round" in said(check)


def test_scatter_beyond_what_is_stated_is_said():
    table = campaign([0.0], [0.0, 0.0], random())
    assert "scatter" not in said(compass.check_compasses(table))
    table.loc[2, "reading_deg"] += 9.0
    check = compass.check_compasses(table)
    assert "place-0: the readings scatter" in said(check)
    # One line in four taken for another hardly moves what the compass is found to be.
    assert abs(check.compasses.correction_deg["c0"]) < 0.8


def test_shared_orientation_is_not_averaged_away():
    """Two boards at a place are independent, two lines from one board are not."""
    one = campaign([0.0], [0.0], random(), lines=2, azimuth_u_deg=0.5)
    one["setup"] = "board-1"
    two = one.assign(setup=["board-1", "board-2"])
    shared = compass.check_compasses(one).places.difference_u_deg["place-0"]
    apart = compass.check_compasses(two).places.difference_u_deg["place-0"]
    assert shared == pytest.approx(np.hypot(0.5, 0.5 / np.sqrt(2)))
    assert apart == pytest.approx(np.hypot(0.5, 0.5) / np.sqrt(2))


def test_input_as_it_comes():
    table = campaign([1.0], [0.0, 0.0], random())
    table.loc[0, "reading_deg"] = np.nan
    table["compass"] = None
    before = table.copy()
    check = compass.check_compasses(table)
    pd.testing.assert_frame_equal(table, before)
    assert len(check.readings) == 7
    assert list(check.compasses.index) == [""]
    assert "without a compass name" in said(check)
    nothing = compass.check_compasses(table.iloc[:0])
    assert nothing.places.empty
    assert nothing.compasses.empty
    assert nothing.sentences == ("No compass readings.",)
    assert list(nothing.places.columns) == list(check.places.columns)
    assert list(nothing.compasses.columns) == list(check.compasses.columns)
    with pytest.raises(ValueError, match="reading_u_deg"):
        compass.check_compasses(table.drop(columns="reading_u_deg"))
    with pytest.raises(ValueError, match="above 0"):
        compass.check_compasses(table.assign(reading_u_deg=0.0))


@pytest.mark.slow
@pytest.mark.parametrize("hills", [0, 1])
def test_stated_figures_cover_the_truth(hills):
    """The 95 % figures of corrections and anomalies hold in 93–97 % of simulated campaigns.

    Three compasses at six places, the anomalies drawn as the model's uncertainty says, a part of
    them shared; with `hills`, one place in the six stands on ironstone, 5° and more.
    """
    generator = np.random.default_rng(11)
    found = {"correction": [], "anomaly": []}
    for _ in range(1000):
        own, shared = 0.4 * np.sqrt([1 - compass.SHARED_VARIANCE, compass.SHARED_VARIANCE])
        anomalies = generator.normal(0, own, 6) + generator.normal(0, shared)
        anomalies[:hills] += generator.choice([-1, 1]) * generator.uniform(5, 15)
        errors = generator.normal(0, 2, 3)
        check = compass.check_compasses(campaign(errors, anomalies, generator, lines=3))
        if not check.places.separated.all():
            continue
        row = check.compasses
        found["correction"] += list(abs(row.correction_deg + errors) < 1.96 * row.correction_u_deg)
        row = check.places
        found["anomaly"] += list(abs(row.anomaly_deg - anomalies) < 1.96 * row.anomaly_u_deg)
    assert len(found["correction"]) > 2700
    for part, covered in found.items():
        assert 0.93 <= np.mean(covered) <= 0.97, part
