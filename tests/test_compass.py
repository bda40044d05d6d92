"""Compass and ground told apart, on campaigns made by other code than the analysis."""

import re

import numpy as np
import pandas as pd
import pytest

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
    deviation=lambda heading_rad: 0.0,
    declination_deg=DECLINATION_DEG,
):
    """Every compass at every place, toward `lines` lines there; one orientation a place.

    `index_errors_deg` and `anomalies_deg` are what was put in; `deviation` is of every compass.
    """
    rows = []
    for place, anomaly in enumerate(anomalies_deg):
        orientation_error = random.normal(0, azimuth_u_deg) * noise
        for name, index_error in enumerate(index_errors_deg):
            for _ in range(lines):
                azimuth = random.uniform(0, 360)
                needle = azimuth - (declination_deg + anomaly) + index_error
                needle += deviation(np.radians(needle))
                rows.append(
                    {
                        "site": f"place-{place}",
                        "compass": f"c{name}",
                        "true_azimuth_deg": (azimuth + orientation_error) % 360,
                        "true_azimuth_u_deg": azimuth_u_deg,
                        "declination_deg": declination_deg,
                        "declination_u_deg": model_u_deg,
                        "reading_deg": (needle + random.normal(0, reading_u_deg) * noise) % 360,
                        "reading_u_deg": reading_u_deg,
                    }
                )
    return pd.DataFrame(rows)


def random(seed=5):
    return np.random.default_rng(seed)


def said(check):
    return " ".join(check.sentences)


def test_difference_is_reading_less_expected():
    """A line of true azimuth 100°, declination 10° east, should read 90°."""
    assert compass.difference_deg(92.0, 100.0, 10.0) == pytest.approx(2.0)
    assert compass.difference_deg(359.0, 5.0, 5.0) == pytest.approx(-1.0)
    found = compass.difference_deg([1.0, 359.0], 180.0, [179.0, -179.0])
    assert found == pytest.approx([0.0, 0.0])
    assert compass.combined_u_deg(0.3, [0.4, 0.0]) == pytest.approx([0.5, 0.3])


def test_one_compass_at_one_place_is_not_told_apart():
    """With nothing supposed of the place, its pull is known as well as a usual compass is: 2°."""
    check = compass.check_compasses(campaign([3.0], [0.0], random(), noise=False))
    place, one = check.places.loc["place-0"], check.compasses.loc["c0"]
    assert place.n == 4
    assert place.anomaly_low_deg < -6.5
    assert place.anomaly_high_deg > 0.0
    assert (place.anomaly_high_deg - place.anomaly_low_deg) / 2 == pytest.approx(
        1.96 * 2.1, abs=0.4
    )
    assert one.correction_low_deg < -3.0
    assert one.correction_high_deg > 0.0
    assert place.verdict == one.verdict == "open"
    assert "cannot be told apart yet" in said(check)
    assert "at another place" in check.advice


def test_far_off_at_one_place_is_said_without_blaming_either():
    check = compass.check_compasses(
        campaign([0.0], [11.0], random(), noise=False, declination_deg=0.5)
    )
    assert check.places.verdict["place-0"] in ("off", "pulled")
    assert check.compasses.verdict["c0"] != "shown"


def test_two_places_pulled_alike_do_not_outvote_the_clean_one():
    """Three places, two of them pulled by 4° the same way, two good compasses.

    No one can tell that from two compasses off by 4° and the third place pulled; no interval
    may be narrow, and nothing is accused.
    """
    anomalies, inside = np.array([4.0, 4.0, 0.0]), []
    for seed in range(8):
        errors = random(seed).normal(0, 0.7, 2)
        check = compass.check_compasses(
            campaign(errors, anomalies, random(seed), lines=1), advise=False
        )
        assert check.places.verdict["place-2"] != "pulled"
        assert (check.compasses.verdict != "shown").all()
        low, high = check.places.anomaly_low_deg, check.places.anomaly_high_deg
        inside += list((low < anomalies) & (anomalies < high))
        one = check.compasses
        inside += list((one.correction_low_deg < -errors) & (-errors < one.correction_high_deg))
    assert np.mean(inside) > 0.92


def test_places_that_agree_give_the_compass_its_correction():
    check = compass.check_compasses(campaign([2.0], np.zeros(6), random(), noise=False))
    assert check.compasses.correction_deg["c0"] == pytest.approx(-2.0, abs=0.1)
    assert (check.places.verdict == "none").all()
    assert check.compasses.verdict["c0"] == "shown"
    assert "Compass c0: subtract " in said(check)
    assert check.advice == ""


def test_one_ironstone_hill_is_not_laid_to_the_compass():
    table = campaign([1.5], [0.0, 0.0, 0.0, 8.0], random(), noise=False, declination_deg=-3.0)
    check = compass.check_compasses(table)
    assert check.places.anomaly_deg["place-3"] == pytest.approx(8.0, abs=0.3)
    assert list(check.places.verdict) == ["none", "none", "none", "pulled"]
    assert "the needle points 7.9°" in said(check)
    assert "east of the model" in said(check)
    assert set(check.readings.finding[check.readings.place == "place-3"]) == {"ground"}


@pytest.mark.parametrize("declination_deg", [-7.0, 11.0])
@pytest.mark.parametrize("times", [1.0, -1.0])
def test_a_declination_applied_at_one_place_is_not_laid_to_the_ground(declination_deg, times):
    table = campaign([0.5], [0.0] * 4, random(), declination_deg=declination_deg)
    here = table.site == "place-2"
    table.loc[here, "reading_deg"] = (table.reading_deg[here] + times * declination_deg) % 360.0
    place = compass.check_compasses(table).places.loc["place-2"]
    assert place.anomaly_low_deg < 0.0 < place.anomaly_high_deg
    assert place.verdict == "off"


@pytest.mark.parametrize("off_deg", [5.0, -10.0, 90.0, -100.0])
@pytest.mark.parametrize("compasses", [1, 2])
def test_one_reading_or_one_line_that_nothing_checks_accuses_no_ground(off_deg, compasses):
    """One reading at each place, or each compass along one line there; one is wrong."""
    table = campaign([0.5, -1.0][:compasses], [0.0] * 6, random(), lines=1)
    azimuth = table.groupby("site")["true_azimuth_deg"].transform("first")
    needle = table["reading_deg"] - table["true_azimuth_deg"] + azimuth
    table = table.assign(true_azimuth_deg=azimuth, reading_deg=needle % 360.0)
    here = table.site == "place-4"
    table.loc[here, "reading_deg"] = (table.reading_deg[here] + off_deg) % 360.0
    check = compass.check_compasses(table)
    place = check.places.loc["place-4"]
    assert place.anomaly_low_deg < 0.0 < place.anomaly_high_deg
    assert place.verdict == "off"
    assert "a reading or a line that nothing here checks" in said(check)
    # A second line there shows which it is.
    again = table[here].assign(true_azimuth_deg=(azimuth + 70.0) % 360.0)
    again["reading_deg"] = (needle[here] + 70.0) % 360.0
    if compasses == 2:
        place = compass.check_compasses(pd.concat([table, again])).places.loc["place-4"]
        assert place.anomaly_low_deg < 0.0 < place.anomaly_high_deg


def test_one_reading_of_six_lines_that_is_wrong_is_no_deviation():
    table = campaign([0.5], [0.0], random(), lines=6)
    table["true_azimuth_deg"] = 20.0 + 60.0 * np.arange(6)
    table["reading_deg"] = table["true_azimuth_deg"] - DECLINATION_DEG + 0.5
    table.loc[4, "reading_deg"] += 90.0
    check = compass.check_compasses(table)
    assert list(np.flatnonzero(check.readings.slip == "alone")) == [4]
    assert check.places.anomaly_low_deg["place-0"] < 0.0 < check.places.anomaly_high_deg["place-0"]


def test_where_all_compasses_are_off_alike_it_may_be_the_ground():
    check = compass.check_compasses(campaign([3.0, 3.1, 2.9, 3.2], np.zeros(4), random(), lines=1))
    assert check.all_alike
    assert "it may be the ground of the whole area" in said(check)
    # Either is inside what is stated: the compasses' 3°, or none of theirs.
    assert (check.compasses.correction_low_deg < -3.0).all()
    assert (check.compasses.correction_high_deg > -1.0).all()
    assert not compass.check_compasses(campaign([3.0, 0.1], np.zeros(4), random())).all_alike
    pair = compass.check_compasses(campaign([3.0, 3.1], np.zeros(4), random(), lines=1))
    assert re.search(r"Both compasses read too much, by about (2\.9|3\.[01])°", said(pair))


def test_a_mean_never_mixes_a_good_and_a_bent_compass():
    check = compass.check_compasses(
        campaign([0.0, 9.0], [0.0] * 5 + [6.0], random(), lines=2, noise=False)
    )
    # 0 and 9 less themselves, not 4.5 give or take 4.5.
    assert check.places.mean_deg["place-0"] == pytest.approx(0.0, abs=0.3)
    assert (check.places.spread_deg < 0.1).all()
    assert check.places.mean_deg["place-5"] == pytest.approx(-6.0, abs=0.3)
    assert check.compasses.correction_deg["c1"] == pytest.approx(-9.0, abs=0.4)


def test_the_other_end_of_the_needle_is_a_slip_and_no_iron():
    table = campaign([0.5], np.zeros(5), random(), lines=1)
    upright = compass.check_compasses(table)
    table.loc[2, "reading_deg"] = (table.loc[2, "reading_deg"] + 180.0) % 360.0
    check = compass.check_compasses(table)
    assert list(check.readings.slip) == ["", "", "turned", "", ""]
    assert list(check.readings.finding) == ["", "", "turned", "", ""]
    assert (check.places.verdict == "none").all()
    assert "the needle's other end was read" in said(check).lower()
    assert check.compasses.correction_deg["c0"] == pytest.approx(
        upright.compasses.correction_deg["c0"]
    )


@pytest.mark.parametrize("declination_deg", [-14.0, 9.0])
def test_a_dial_with_its_declination_set_is_recognised(declination_deg):
    """The dial gives the true azimuth: the reading is the expected one plus the declination."""
    table = campaign([0.4, -0.8], np.zeros(5), random(), declination_deg=declination_deg)
    mine = table.compass == "c0"
    table.loc[mine, "reading_deg"] = (table.reading_deg[mine] + declination_deg) % 360.0
    check = compass.check_compasses(table)
    assert check.compasses.dial_set_probability["c0"] > 0.9
    assert check.compasses.dial_set_probability["c1"] < 0.05
    assert "its dial has the declination set already" in said(check)
    assert (check.places.verdict == "none").all()
    assert check.compasses.correction_deg["c0"] == pytest.approx(-0.4 - declination_deg, abs=0.8)
    assert set(check.readings.finding[mine]) == {"dial"}


def test_deviation_by_heading_is_found_where_the_headings_are_spread():
    swung = campaign(
        [1.0],
        np.zeros(3),
        random(),
        lines=16,
        deviation=lambda h: 3.0 * np.sin(h) - 2.0 * np.cos(2 * h),
    )
    check = compass.check_compasses(swung)
    row = check.compasses.loc["c0"]
    assert row.deviation == "shown"
    assert row.sine_deg == pytest.approx(3.0, abs=0.6)
    assert row.cosine_2_deg == pytest.approx(-2.0, abs=0.6)
    assert row.cosine_deg == pytest.approx(0.0, abs=0.6)
    assert "it is off by more at some headings than at others" in said(check)
    steady = compass.check_compasses(campaign([1.0], np.zeros(3), random(), lines=16))
    assert steady.compasses.deviation["c0"] == "none"
    few = compass.check_compasses(campaign([1.0], np.zeros(3), random(), lines=1))
    assert few.compasses.deviation["c0"] == "not borne"


def test_one_line_taken_for_another_is_left_out():
    table = campaign([0.0], [0.0, 0.0, 0.0], random())
    assert (compass.check_compasses(table).readings.slip == "").all()
    table.loc[2, "reading_deg"] += 9.0
    check = compass.check_compasses(table)
    assert list(np.flatnonzero(check.readings.slip == "alone")) == [2]
    assert "place-0: 1 of 4 readings is contradicted by the others and left out" in said(check)
    assert check.places.n["place-0"] == 3


def test_two_that_disagree_are_both_doubted():
    """Of two readings of one compass along one line nothing says which is the slip."""
    table = campaign([0.0], [0.0, 0.0, 0.0], random(), lines=1)
    again = table.iloc[[0]].assign(reading_deg=(table.reading_deg[0] + 12.0) % 360.0)
    check = compass.check_compasses(pd.concat([table, again], ignore_index=True))
    assert not (check.readings.slip == "alone").any()
    row = check.places.loc["place-0"]
    # Either may be right: the place may be clean, or 12° off.
    assert row.anomaly_low_deg < -12.0
    assert row.anomaly_high_deg > 0.0


def test_stands_a_few_metres_apart_are_one_place():
    table = campaign([1.0], [0.0, 0.0, 0.0], random(), lines=1)
    north_m = np.array([0.0, 12.0, 500.0])
    table["latitude_deg"], table["longitude_deg"] = 44.0 + north_m / 111_100.0, 103.0
    assert list(compass.check_compasses(table).places.index) == ["place-0 and place-1", "place-2"]
    table["site"], table["stand"] = "hill", ["", "peg", "far stone"]
    assert list(compass.check_compasses(table).places.index) == ["hill, far stone", "hill, peg"]
    table["longitude_deg"] = [180.0, -180.0, 103.0]
    assert len(compass.check_compasses(table).places) == 2


def test_an_orientations_error_is_shared_by_its_readings():
    """Two boards at a place are independent, two lines from one board are not."""
    one = campaign([0.0], [0.0], random(), lines=2, azimuth_u_deg=1.5)
    one["setup"] = "board-1"
    two = one.assign(setup=["board-1", "board-2"])
    shared = compass.check_compasses(one).places.anomaly_u_deg["place-0"]
    apart = compass.check_compasses(two).places.anomaly_u_deg["place-0"]
    # Beside a usual compass's own 2° and some bent ones.
    assert shared > 1.08 * apart


def test_advice_is_what_helps():
    """The advised reading, taken, leaves the open question narrower than the others would."""
    errors, anomalies = [1.0, -1.0], [4.0, 4.0, 0.0]
    table = campaign(errors, anomalies, random(2), lines=1)
    before = compass.check_compasses(table)
    assert "The reading that would tell most: " in before.advice
    assert "at another place" in before.advice
    new = campaign(errors, [0.0], random(3), lines=1).iloc[[0]].assign(site="new")
    after = compass.check_compasses(pd.concat([table, new], ignore_index=True), advise=False)
    assert after.compasses.correction_u_deg["c0"] < before.compasses.correction_u_deg["c0"]


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


def test_a_class_of_compasses_and_hundreds_of_readings():
    errors = random(8).normal(0, 2, 12)
    table = campaign(errors, [*np.zeros(7), 9.0], random(8), lines=4)
    check = compass.check_compasses(table)
    assert len(table) == 384
    off = (
        check.compasses.correction_deg.to_numpy() + errors[np.argsort([f"c{i}" for i in range(12)])]
    )
    assert np.abs(off).max() < 1.0
    assert list(check.places.verdict) == ["none"] * 7 + ["pulled"]


# ---------------------------------------------------------------- coverage

SIZES_DEG = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0)


def drawn(size_deg, compasses, places, generator):
    """A campaign of the trade: small compass errors, a fifth of the places pulled by one size."""
    errors = generator.normal(0, 2.0, compasses)
    anomalies = generator.normal(0, 0.4 * np.sqrt(0.5), places) + generator.normal(0, 0.28)
    pulled = generator.random(places) < 0.2
    pulled[0] = True
    anomalies[pulled] += size_deg * generator.choice([-1, 1], pulled.sum())
    table = campaign(errors, anomalies, generator, lines=1)
    return errors, anomalies, pulled, compass.check_compasses(table, advise=False)


@pytest.mark.slow
def test_intervals_hold_for_every_size_of_anomaly():
    """Of the 95 % intervals of pulled places, for every size; of clean places and compasses."""
    generator = random(11)
    bent, clean, index = [], [], []
    for size in SIZES_DEG:
        held = []
        for number in range(24):
            compasses, places = ((1, 6), (2, 5), (3, 6))[number % 3]
            errors, truth, pulled, check = drawn(size, compasses, places, generator)
            row = check.places
            inside = (row.anomaly_low_deg.to_numpy() < truth) & (truth < row.anomaly_high_deg)
            held += list(inside[pulled])
            clean += list(inside[~pulled])
            one = check.compasses
            index += list((one.correction_low_deg < -errors) & (-errors < one.correction_high_deg))
        # Of some 45 at 95 % fewer than 38 happens once in 1,500.
        assert np.mean(held) > 0.83, size
        bent += held
    assert 0.93 <= np.mean(bent) <= 0.985
    assert 0.93 <= np.mean(clean) <= 0.985
    assert 0.93 <= np.mean(index) <= 0.985


@pytest.mark.slow
def test_clean_campaigns_are_not_accused():
    """Nothing is wrong but compasses' own small errors: no place pulled, none in doubt as such."""
    generator, accused = random(12), 0
    for number in range(100):
        compasses, places = ((1, 4), (2, 4), (3, 6))[number % 3]
        errors = generator.normal(0, 2.0, compasses)
        anomalies = generator.normal(0, 0.28, places) + generator.normal(0, 0.28)
        table = campaign(errors, anomalies, generator, lines=1)
        check = compass.check_compasses(table, advise=False)
        accused += bool(check.places.verdict.isin(["pulled", "off"]).any())
        accused += bool((check.readings.slip != "").any())
    assert accused <= 2
