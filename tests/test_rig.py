"""What to bring: the tip's track, the room on a board, rods, boards and rings."""

import numpy as np
import pandas as pd
import pytest

from orient import simulate
from orient.planning import bring, hours
from orient.planning.hours import Limits
from orient.planning.rig import Rig, tip_track
from orient.simulate import TrueBoard


def berlin(date, **more):
    return tip_track(52.0, 13.0, 40.0, date, "Europe/Berlin", 300.0, 1008.0, 10.0, **more)


def test_the_track_is_that_of_a_simulated_board():
    track = berlin("2026-05-10")
    azimuth, altitude, _ = simulate.sun_seen(
        track["utc_s"].to_numpy(), 52.0, 13.0, 40.0, 1008.0, 10.0
    )
    tips = simulate.shadow_tips(azimuth, altitude, TrueBoard(0.0, 300.0))
    # The refraction is good to 0.1′: so much of the tip's place, and no more, may differ.
    bound_mm = 300.0 * np.radians(0.1 / 60.0) / np.sin(np.radians(altitude)) ** 2
    apart = np.hypot(*(track[["x_mm", "y_mm"]].to_numpy() - tips).T)
    assert (apart < bound_mm).all()
    assert track["shadow_mm"].to_numpy() == pytest.approx(np.hypot(track["x_mm"], track["y_mm"]))
    assert track["altitude_deg"].min() >= 5.0


def test_the_track_keeps_round_clock_times_and_marks_noon():
    track = berlin("2026-05-10", step_min=20)
    noon = track[track["noon"]]
    assert len(noon) == 1
    assert noon["shadow_mm"].iloc[0] == track["shadow_mm"].min()
    assert noon["x_mm"].iloc[0] == pytest.approx(0.0, abs=0.01)
    rest = track[~track["noon"]]["local"].str[14:19]
    assert set(rest) == {"00:00", "20:00", "40:00"}
    assert track["utc_s"].is_monotonic_increasing


@pytest.mark.parametrize(("date", "hours_long"), [("2026-03-29", 23), ("2026-10-25", 25)])
def test_a_day_of_changed_clocks_is_whole(date, hours_long):
    track = tip_track(
        89.0, 13.0, 0.0, date, "Europe/Berlin", 300.0, 1013.0, 0.0, 60, min_altitude_deg=-30.0
    )
    gaps = np.diff(track[~track["noon"]]["utc_s"])
    assert (gaps == 3600.0).all()
    assert len(track) == hours_long + 1


def test_no_track_in_the_polar_night():
    track = tip_track(80.0, 13.0, 0.0, "2026-12-21", "UTC", 300.0, 1013.0, 0.0)
    assert track.empty
    assert list(track.columns) == [
        "utc_s", "local", "azimuth_deg", "altitude_deg", "x_mm", "y_mm", "shadow_mm", "noon",
    ]  # fmt: skip


def test_room_on_a_board_is_measured_to_its_nearest_usable_edge():
    rig = Rig(board_width_mm=600.0, board_depth_mm=400.0)
    # Foot 40 mm in, 10 mm of edge left free, the noon shadow 200 mm long.
    assert rig.room_mm(0.0, 0.0, 200.0) == pytest.approx(30.0)
    assert rig.room_mm(0.0, 350.0, 200.0) == pytest.approx(0.0)
    assert rig.room_mm(290.0, 200.0, 200.0) == pytest.approx(0.0)
    assert rig.room_mm(-295.0, 200.0, 200.0) == pytest.approx(-5.0)
    # South of the sun the board lies the other way about.
    assert rig.room_mm(0.0, -350.0, -200.0) == pytest.approx(0.0)
    assert rig.room_mm(0.0, 31.0, -200.0) == pytest.approx(-1.0)
    # Under a high sun the foot stands in the middle.
    assert rig.room_mm(0.0, -190.0, 20.0) == pytest.approx(0.0)
    assert Rig(reach_mm=500.0).room_mm(300.0, -400.0, 20.0) == pytest.approx(0.0)


def sites_table(*rows):
    table = pd.DataFrame(rows, columns=["latitude_deg", "longitude_deg", "timezone"])
    table.index = pd.Index([f"s{n}" for n in range(len(rows))], name="site")
    return table.assign(elevation_m=0.0, pressure_hpa=1013.25, temperature_c=10.0, horizon="")


SPAN = np.arange("2026-05-04", "2026-05-11", dtype="datetime64[D]")


def test_the_rig_ranked_first_is_the_best_of_those_tried():
    sites = sites_table((52.0, 13.0, "Europe/Berlin"), (8.0, 0.0, "Africa/Accra"))
    rods, boards = [100.0, 200.0, 400.0], [(470.0, 370.0), (920.0, 650.0)]
    steps = []
    table = bring.compare_rigs(sites, SPAN, Limits(), Rig(), rods, boards, steps.append)
    assert sum(steps) == 6
    assert len(table) == 2
    tried = []
    for board in boards:
        for rod in rods:
            plan = hours.plan_table(sites, SPAN, Rig(rod, *board))
            good = ~plan["no-window"]
            tried.append((-good.mean(), plan["day_u_deg"][good].median(), rod, *board))
    best = min(tried)
    assert (table["rod_mm"][0], table["board_width_mm"][0]) == best[2:4]
    assert table["median_day_u_deg"][0] == pytest.approx(best[1])


def test_a_larger_board_never_serves_worse():
    sites = sites_table((52.0, 13.0, "Europe/Berlin"))
    boards = bring.boards_within((1300.0, 1000.0))
    table = bring.compare_rigs(sites, SPAN, Limits(), Rig(), [100.0, 200.0, 300.0], boards)
    assert table["board_width_mm"].tolist() == sorted(table["board_width_mm"], reverse=True)


def test_boards_and_rods_keep_within_the_limits():
    assert bring.boards_within((700.0, 500.0)) == [(470.0, 370.0), (650.0, 470.0)]
    assert bring.boards_within((300.0, 200.0)) == [(300.0, 200.0)]
    assert bring.rods_within(120.0) == [50.0, 75.0, 100.0]
    assert bring.rods_within(30.0) == [30.0]


def test_rings_are_crossed_when_they_say():
    sites = sites_table((52.0, 13.0, "Europe/Berlin"), (78.0, 16.0, "Arctic/Longyearbyen"))
    rig = Rig(rod_mm=200.0)
    table = bring.rings(sites, SPAN, rig, Limits())
    assert set(table["site"]) == {"s0"}
    assert set(table["date"]) == {"2026-05-04", "2026-05-10"}
    assert len(table) >= 6
    assert (table["ring_mm"] % 5 == 0).all()
    for half in ("morning", "afternoon"):
        utc_s = pd.to_datetime(table[half], utc=True).dt.as_unit("s").astype("int64").to_numpy()
        azimuth, altitude, _ = simulate.sun_seen(utc_s, 52.0, 13.0, 0.0, 1013.25, 10.0)
        tips = simulate.shadow_tips(azimuth, altitude, TrueBoard(0.0, 200.0))
        # Ten seconds of time move this shadow by a third of a millimetre.
        assert np.hypot(*tips.T) == pytest.approx(table["ring_mm"].to_numpy(), abs=0.3)
    middle = hours.plan_table(sites.iloc[[0]], SPAN[[3]], rig).iloc[0]
    assert table["ring_mm"].max() == pytest.approx(middle["best_shadow_mm"], abs=5.0)
    assert (table["expected_u_deg"] < 0.4).all()


def test_a_ring_shorter_than_the_noon_shadow_is_never_crossed():
    sites = sites_table((-34.0, 150.0, "Australia/Sydney"))
    autumn = np.arange("2026-04-01", "2026-05-20", dtype="datetime64[D]")
    table = bring.rings(sites, autumn, Rig(rod_mm=200.0), Limits())
    last = table[table["date"] == "2026-05-19"]
    assert (last["morning"] == "").any()
    assert ((last["morning"] == "") == last["expected_u_deg"].isna()).all()
    assert ((last["morning"] == "") == (last["afternoon"] == "")).all()


def test_a_span_is_sampled_evenly_with_both_ends():
    year = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
    some = bring.sampled(year, 12)
    assert some[0] == year[0]
    assert some[-1] == year[-1]
    assert len(some) == 20
    assert np.ptp(np.diff(some).astype(int)) <= 1
    assert len(bring.sampled(SPAN, 1)) == 7
