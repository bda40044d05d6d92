"""A campaign's folder reduced: rows, signs, bearings, deflection, combination."""

import numpy as np
import pandas as pd
import pytest
from pygeomag import GeoMag
from pyproj import Proj
from simulated import simulated

from orient import simulate
from orient.numbers import grid
from orient.observation.setups import KEYS, reduce_campaign
from orient.tables import clock
from orient.tables.campaign import read_campaign

BETA = 40.0
REFERENCE = 200.0  # true azimuth


def write(folder, setups, sites="A,47.0,8.0,Europe/Zurich", header="", generator_seed=1, **options):
    """A campaign of one site on 20 April 2026, each set-up a simulated board."""
    folder.mkdir(exist_ok=True)
    head = "site,latitude_deg,longitude_deg,timezone" + header
    (folder / "sites.csv").write_text(f"{head}\n{sites}\n", "utf-8")
    latitude, longitude = (float(part) for part in sites.split(",")[1:3])
    generator = np.random.default_rng(generator_seed)
    rows, marks = [], []
    for number, extra in enumerate(setups):
        truth = simulate.TrueBoard(BETA, 300.0, watch_fast_s=extra.pop("fast_s", 0.0))
        made = simulated(generator, latitude, longitude, 109, truth=truth, **options)
        rows.append(
            {
                "setup": f"S{number + 1}",
                "site": "A",
                "date": "2026-04-20",
                "gnomon_height_mm": 300,
                "reference_name": "cairn",
                "reference_angle_deg": REFERENCE - BETA,
                **extra,
            }
        )
        zone = sites.split(",")[3]
        for instant, x, y in zip(
            made.board.watch_utc_s, made.board.x_mm, made.board.y_mm, strict=True
        ):
            watch = str(clock.local_iso(instant, zone))[11:19]
            marks.append({"setup": f"S{number + 1}", "time": watch, "x_mm": x, "y_mm": y})
    pd.DataFrame(rows).to_csv(folder / "setups.csv", index=False)
    pd.DataFrame(marks).to_csv(folder / "marks.csv", index=False)
    return reduce_campaign(read_campaign(folder))


def test_a_row_has_the_keys_and_the_signs(tmp_path):
    result = write(tmp_path, [{"fast_s": 20.0, "compass_reading_deg": 197.0}], noise_mm=0)[0]
    row = result.row
    assert tuple(row) == KEYS
    assert row["method"] == "adjustment"
    # The watch's 20 s are within its tolerance and pull the azimuth by a little only.
    assert row["board_azimuth_deg"] == pytest.approx(BETA, abs=0.05)
    assert row["north_on_board_deg"] == pytest.approx(360 - row["board_azimuth_deg"])
    assert row["reference_azimuth_deg"] == pytest.approx(row["board_azimuth_deg"] + 160.0)
    assert row["reference_grid_bearing_deg"] == pytest.approx(
        row["reference_azimuth_deg"] - row["convergence_deg"]
    )
    assert row["reference_magnetic_bearing_deg"] == pytest.approx(
        row["reference_azimuth_deg"] - row["declination_deg"]
    )
    assert row["compass_difference_deg"] == pytest.approx(
        197.0 - row["reference_magnetic_bearing_deg"]
    )
    assert row["noon_watch"][:4] == "13:2"  # 8° E in a zone two hours ahead
    assert row["latitude_deg"] == pytest.approx(47.0, abs=0.3)
    assert set(row["methods"]["pairs"]) == {"board_azimuth_deg", "board_azimuth_u_deg", "n"}


def test_the_reference_adds_its_own_uncertainty(tmp_path):
    result = write(tmp_path, [{"reference_sd_deg": 0.3}])[0].row
    assert result["reference_azimuth_u_deg"] == pytest.approx(
        np.hypot(result["board_azimuth_u_deg"], 0.3)
    )


@pytest.mark.parametrize(
    ("reading", "differs", "words"),
    [(197.0, False, "within"), (205.0, True, "off by more"), (200.0, None, "already corrected")],
)
def test_the_compass_is_judged(tmp_path, reading, differs, words):
    site = "A,47.0,22.0,Europe/Bucharest"  # declination about 6° east
    row = write(
        tmp_path,
        [{"compass_reading_deg": reading - 3.0 * (words != "already corrected")}],
        sites=site,
    )[0]
    if differs is not None:  # six degrees are at the edge of what a usual compass is off by
        assert ("compass-differs" in row.row["flags"]) is differs
    assert any(words in remark for remark in row.remarks)


def test_a_deflection_of_the_vertical_is_taken_off(tmp_path):
    plain = write(tmp_path / "plain", [{}], noise_mm=0)[0].row
    bent = write(
        tmp_path / "bent",
        [{}],
        sites="A,47.0,8.0,Europe/Zurich,10,30",
        header=",xi_arcsec,eta_arcsec",
        noise_mm=0,
    )[0]
    assert bent.laplace_deg == pytest.approx(30 / 3600 * np.tan(np.radians(47.0)))
    # A board levelled to a plumb line that is off tilts by it: what was marked on a board
    # level with the ellipsoid is another azimuth by the sun's term, near ξ sin A tan h.
    moved = bent.row["board_azimuth_deg"] - plain["board_azimuth_deg"]
    assert abs(moved) * 3600 < 30 * 1.5


def test_a_board_at_a_bent_plumb_line_gives_the_geodetic_azimuth(tmp_path):
    """The whole chain: boards truly level with a plumb line off by ξ, η, their axes known
    geodetically, made by turning the frame; board and joint line are geodetic within 2″."""
    xi, eta = -25.0, 40.0
    latitude, longitude = 47.0, 8.0
    folder = tmp_path / "c"
    site = f"A,{latitude},{longitude},Europe/Zurich,{xi},{eta}"
    # The sun as the bent plumb line sees it is the sun of the astronomic place.
    astronomic = grid.astronomic_coordinates(latitude, longitude, xi, eta)
    results = write(folder, [{}, {}], sites=site, header=",xi_arcsec,eta_arcsec", noise_mm=0)
    marks = pd.read_csv(folder / "marks.csv")
    instants = clock.utc_s(
        "2026-04-20", pd.to_timedelta(marks["time"]).dt.total_seconds(), "Europe/Zurich"
    )
    azimuth, altitude, _ = simulate.sun_seen(
        instants, float(astronomic[0]), float(astronomic[1]), 0.0, 1013.25, 10.0
    )
    # β = 40° geodetic is 40° + Laplace's term astronomic.
    turned = BETA + float(grid.laplace_correction_deg(latitude, xi, eta))
    tips = simulate.shadow_tips(azimuth, altitude, simulate.TrueBoard(turned, 300.0))
    marks["x_mm"], marks["y_mm"] = tips.T
    marks.to_csv(folder / "marks.csv", index=False)
    row = reduce_campaign(read_campaign(folder))[0].row
    assert row["board_azimuth_deg"] == pytest.approx(BETA, abs=2 / 3600)
    assert row["combined_setups"] == 2
    line = row["combined_azimuth_deg"]
    assert line == pytest.approx(REFERENCE, abs=2 / 3600)
    assert line == row["reference_azimuth_deg"]
    # Bearings of the joint line count from it, by convergence and field of other hands.
    convergence = Proj("EPSG:32632").get_factors(longitude, latitude).meridian_convergence
    assert row["reference_grid_bearing_deg"] == pytest.approx(line - convergence, abs=1e-6)
    declination = GeoMag().calculate(latitude, longitude, 0.0, 2026 + 109.5 / 365).d
    assert row["reference_magnetic_bearing_deg"] == pytest.approx(line - declination, abs=0.02)
    assert results[0].laplace_deg * 3600 == pytest.approx(40 * np.tan(np.radians(47.0)))


def test_a_long_line_by_coordinates(tmp_path):
    figures = grid.grid_figures(47.0, 8.0, "EPSG:32632")
    bearing = np.radians(REFERENCE - float(figures.convergence_deg))
    east = float(figures.easting_m) + 8000 * np.sin(bearing)
    north = float(figures.northing_m) + 8000 * np.cos(bearing)
    result = write(
        tmp_path, [{"reference_easting_m": east, "reference_northing_m": north}], noise_mm=0
    )[0]
    bend = (
        result.row["reference_azimuth_deg"]
        - result.row["convergence_deg"]
        - result.row["reference_grid_bearing_deg"]
    )
    line = grid.line_between(figures.easting_m, figures.northing_m, east, north, "EPSG:32632")
    assert bend == pytest.approx(float(line.arc_to_chord_deg), abs=1e-9)
    assert any("By the coordinates" in remark for remark in result.remarks)


def test_set_ups_of_one_reference_are_joined(tmp_path):
    results = write(tmp_path, [{}, {"turned": "yes"}])
    rows = [result.row for result in results]
    assert rows[0]["combined_azimuth_deg"] == rows[1]["combined_azimuth_deg"]
    assert rows[0]["combined_setups"] == 2
    assert rows[0]["reference_azimuth_u_deg"] == rows[0]["combined_azimuth_u_deg"]
    alone = np.hypot(rows[0]["alone_azimuth_u_deg"], 0.25)
    assert rows[0]["combined_azimuth_u_deg"] < 0.8 * alone


def test_a_set_up_without_marks_and_marks_left_out(tmp_path):
    write(tmp_path, [{}, {}])
    marks = pd.read_csv(tmp_path / "marks.csv")
    marks = marks[marks["setup"] == "S1"].assign(use="yes")
    marks.iloc[2, marks.columns.get_loc("use")] = "no"
    marks.to_csv(tmp_path / "marks.csv", index=False)
    first, second = reduce_campaign(read_campaign(tmp_path))
    assert len(first.marks) == len(marks) - 1
    assert "use = no" in " ".join(first.remarks)
    assert second.row["board_azimuth_deg"] is None
    assert second.row["methods"] == dict.fromkeys(("pairs", "shortest", "timed", "adjustment"))


def test_a_zone_whose_midnight_falls_in_the_working_day(tmp_path):
    """A watch kept on UTC at 175° east: the day's marks straddle its midnight."""
    row = write(tmp_path, [{}], sites="A,-40.0,175.0,UTC", noise_mm=0)[0].row
    assert row["board_azimuth_deg"] == pytest.approx(BETA, abs=0.01)
    assert "blunder" not in row["flags"]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda true, _: true + 0.1, "within what ruler and protractor leave open (±{allowed}°"),
        (lambda true, _: true + 3.0, "more than ruler and protractor leave open (±{allowed}°"),
        (lambda true, _: true - 180.0, "if it was counted from south in place of north."),
        (lambda true, _: -true, "if it was counted anticlockwise."),
        (lambda true, east: true - east, "a compass bearing in place of a true one."),
    ],
)
def test_an_azimuth_found_by_hand_is_compared_and_never_used(tmp_path, wrong, said):
    plain = write(tmp_path / "plain", [{}])[0].row
    true, east = plain["reference_azimuth_deg"], plain["declination_deg"]
    by_hand = round(wrong(true, east), 2)
    result = write(tmp_path / "hand", [{"hand_azimuth_deg": by_hand}])[0]
    assert result.row["hand_azimuth_deg"] == by_hand
    apart = (by_hand - true + 180.0) % 360.0 - 180.0
    assert result.row["hand_difference_deg"] == pytest.approx(apart, abs=1e-9)
    told = [remark for remark in result.remarks if remark.startswith("By hand ")]
    assert len(told) == 1
    assert f"{apart:+.2f}°".replace("-", "−") in told[0]
    pairs_u = plain["methods"]["pairs"]["board_azimuth_u_deg"]
    allowed = f"{1.959964 * np.hypot(pairs_u, 0.25):.2f}"
    assert said.format(allowed=allowed) in told[0]
    # All else is as it was without it.
    names = ("hand_azimuth_deg", "hand_difference_deg")
    assert {key: value for key, value in result.row.items() if key not in names} == {
        key: value for key, value in plain.items() if key not in names
    }
    assert plain["hand_difference_deg"] is None


def test_an_azimuth_found_by_hand_of_a_line_without_direction_is_kept_and_said(tmp_path):
    stated = {"hand_azimuth_deg": 31.5, "reference_angle_deg": ""}
    result = write(tmp_path / "hand", [stated])[0]
    assert (result.row["hand_azimuth_deg"], result.row["hand_difference_deg"]) == (31.5, None)
    told = "By hand the line came to 31.50°; no azimuth of it was computed to compare it with."
    assert told in result.remarks


def test_marks_left_out_are_named_even_those_of_the_night(tmp_path):
    """12 hours missing in one time: no place on the board can be said of a mark by night."""
    folder = tmp_path / "night"
    write(folder, [{}])
    marks = pd.read_csv(folder / "marks.csv")
    hours = marks["time"].str[:2].astype(int)
    late = marks.index[hours == 15][0]
    marks.loc[late, "time"] = "03" + marks.loc[late, "time"][2:]
    marks["use"] = ["no", "no", *[""] * (len(marks) - 2)]
    marks.to_csv(folder / "marks.csv", index=False)
    result = reduce_campaign(read_campaign(folder))[0]
    said = " ".join(result.remarks)
    assert f"mark {late + 1} ({marks.loc[late, 'time'][:5]}" in said
    assert "when the sun is down" in said
    assert "Left out as the table asks (use = no): marks 1, 2." in said
