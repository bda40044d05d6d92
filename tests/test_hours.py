"""The hours that suit, against boards simulated and reduced one by one."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import CubicSpline

from orient import simulate
from orient.numbers.tolerances import Tolerances
from orient.planning import hours
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.tables import clock

SETTLED = {"elevation_m": 0.0, "pressure_hpa": 1013.25, "temperature_c": 10.0, "horizon": ""}


def sites_table(*rows, **more):
    """A sites table of rows (latitude, longitude, zone), named s0, s1, ..."""
    table = pd.DataFrame(rows, columns=["latitude_deg", "longitude_deg", "timezone"])
    table.index = pd.Index([f"s{n}" for n in range(len(rows))], name="site")
    return table.assign(**{**SETTLED, **more})


def day(*dates):
    return np.array(dates, dtype="datetime64[D]")


@dataclass(frozen=True)
class Awkward:
    latitude: float
    longitude: float
    zone: str
    date: str
    horizon: str = ""
    rig: Rig = Rig()  # noqa: RUF009
    limits: Limits = Limits()  # noqa: RUF009


SHORT, WIDE = Rig(rod_mm=120.0), Rig(reach_mm=1500.0)
AWKWARD = [
    Awkward(0.0, -78.0, "America/Guayaquil", "2026-03-20"),  # equator at equinox: overhead
    Awkward(0.0, 102.0, "Asia/Jakarta", "2026-09-23", rig=WIDE),
    Awkward(10.0, 0.0, "Africa/Accra", "2026-04-16"),  # overhead
    Awkward(10.0, 40.0, "Africa/Addis_Ababa", "2026-06-21", rig=SHORT),  # noon sun to the north
    Awkward(23.44, 90.0, "Asia/Dhaka", "2026-06-21"),  # overhead on the tropic
    Awkward(-15.0, -55.0, "America/Cuiaba", "2026-02-08", rig=WIDE),
    Awkward(-23.44, 133.0, "Australia/Darwin", "2026-12-21", rig=SHORT),
    Awkward(66.0, 25.0, "Europe/Helsinki", "2026-06-21", rig=WIDE),
    Awkward(66.0, 25.0, "Europe/Helsinki", "2026-12-21", rig=WIDE),
    Awkward(66.0, -50.0, "America/Nuuk", "2026-06-21", rig=SHORT),
    Awkward(-66.0, 140.0, "Antarctica/DumontDUrville", "2026-12-21", rig=WIDE),
    Awkward(-66.0, 140.0, "Antarctica/DumontDUrville", "2026-06-21"),
    Awkward(78.0, 16.0, "Arctic/Longyearbyen", "2026-06-21", rig=WIDE, limits=Limits(0.6)),
    Awkward(-17.0, 180.0, "Pacific/Fiji", "2026-10-10", rig=SHORT),
    Awkward(-17.0, -179.9, "Pacific/Fiji", "2026-05-10", rig=WIDE),
    Awkward(2.0, -157.4, "Pacific/Kiritimati", "2026-01-05"),
    Awkward(39.5, 76.0, "Asia/Shanghai", "2026-03-20"),  # noon three hours late by the clock
    Awkward(52.0, 13.0, "Europe/Berlin", "2026-03-29", rig=SHORT),  # clocks go forward
    Awkward(45.0, 7.0, "Europe/Rome", "2026-08-01", "60:25 110:10 240:28 300:15"),
    Awkward(30.0, 80.0, "Asia/Kolkata", "2026-11-15", "20", WIDE, Limits(0.12, 15.0, 50.0)),
]
BOARDS = 2000
SLACK = 0.09  # of the target: over three times the scatter of a figure from so many boards


class Simulated:
    """A site-day at even half-intervals: what limits it, and how simulated pairs scatter."""

    def __init__(self, case, noon):
        self.case = case
        half = np.arange(60.0, 43200.0, 120.0)
        seconds = np.arange(-43200.0, 43260.0, 120.0)
        azimuth, altitude, _ = simulate.sun_seen(
            noon + seconds, case.latitude, case.longitude, 0.0, 1013.25, 10.0
        )
        fine = np.arange(-43200.0, 43201.0, 10.0)
        turn = CubicSpline(seconds, np.unwrap(np.radians(azimuth)))(fine)
        height = CubicSpline(seconds, np.radians(altitude))(fine)
        self.branches = []
        for branch in (fine <= 0, fine >= 0):
            order = np.argsort(height[branch])
            self.branches.append((height[branch][order], turn[branch][order], fine[branch][order]))
        # Where the sun's height does not simply rise and fall there are no such pairs.
        self.half = half[np.interp(-half, fine, height) > np.radians(1.0)]
        self.altitude = np.interp(-self.half, fine, height)
        self.azimuth = [np.interp(self.altitude, rise, turned) for rise, turned, _ in self.branches]
        self.later = np.interp(self.altitude, self.branches[1][0], self.branches[1][2])
        self.noon = np.interp(0.0, fine, height), np.interp(0.0, fine, turn)

    def room(self):
        """By how much each half-interval keeps its limits, the target apart: degrees or cm."""
        limits, rig = self.case.limits, self.case.rig
        altitude = np.degrees(self.altitude)
        room = np.minimum(altitude - limits.min_altitude_deg, limits.max_altitude_deg - altitude)
        hills = self.case.horizon
        for azimuth in self.azimuth:
            if ":" in hills:
                at, up = np.array([p.split(":") for p in hills.split()], dtype=float).T
                skyline = np.interp(np.degrees(azimuth) % 360.0, at, up, period=360.0)
                room = np.minimum(room, altitude - skyline)
            elif hills:
                room = np.minimum(room, altitude - float(hills))
            length = rig.rod_mm / np.tan(self.altitude)
            if rig.reach_mm is not None:
                inside = rig.reach_mm - length
            else:
                x, y = -length * np.sin(azimuth), -length * np.cos(azimuth)
                ahead = y if np.cos(self.noon[1]) < 0 else -y
                # The foot 40 mm in, or mid-board under a high sun; 10 mm of edge left free.
                foot = 235.0 if rig.rod_mm / np.tan(self.noon[0]) < 470.0 / 4 else 40.0
                inside = np.min(
                    [315.0 - np.abs(x), 460.0 - foot - ahead, foot - 10 + ahead], axis=0
                )
            room = np.minimum(room, inside / 10.0)
        return room

    def scatter_deg(self):
        """Standard deviation of the azimuths that simulated pairs give, each half-interval."""
        rod = self.case.rig.rod_mm
        generator = np.random.default_rng(11)
        known = np.concatenate(self.azimuth), np.concatenate([self.altitude] * 2)
        total = np.zeros((2, self.half.size))
        for _ in range(BOARDS):
            board = simulate.random_board(generator, height_mm=rod)
            tips = simulate.shadow_tips(np.degrees(known[0]), np.degrees(known[1]), board)
            tips = tips + generator.normal(0.0, Tolerances().mark_sd_mm, tips.shape)
            x, y = tips.T.reshape(2, 2, -1)
            errors = [
                np.interp(np.arctan2(rod, np.hypot(x[n], y[n])), *self.branches[n][:2])
                + np.pi
                - np.arctan2(x[n], y[n])
                - np.radians(board.board_azimuth_deg)
                for n in (0, 1)
            ]
            error = np.mean([np.mod(e + np.pi, 2 * np.pi) - np.pi for e in errors], axis=0)
            total += error, error**2
        mean, square = total / BOARDS
        return np.degrees(np.sqrt(square - mean**2))


def runs(good):
    """First and last place of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    return list(zip(edges[::2], edges[1::2] - 1, strict=True))


@pytest.mark.parametrize(
    "case",
    [
        pytest.param(case, marks=[pytest.mark.slow] * (number % 2))
        for number, case in enumerate(AWKWARD)
    ],
    ids=lambda c: f"{c.latitude}_{c.longitude}_{c.date}",
)
def test_windows_agree_with_simulated_boards(case):
    sites = sites_table((case.latitude, case.longitude, case.zone), horizon=case.horizon)
    row = hours.plan_table(sites, day(case.date), case.rig, case.limits).iloc[0]
    brute = Simulated(case, row.noon_utc_s)
    room, scatter = brute.room(), brute.scatter_deg() / case.limits.target_deg
    surely_good = (room > 0.0) & (scatter < 1 - SLACK)
    surely_bad = (room < 0.0) | (scatter > 1 + SLACK)
    widest = max(runs(surely_good), key=lambda run: run[1] - run[0], default=None)
    if row["no-window"]:
        assert widest is None or brute.half[widest[1]] - brute.half[widest[0]] < 600.0
        assert np.isnan(row.morning_from_utc_s)
        assert np.isnan(row.afternoon_to_utc_s)
        return
    inner, outer = row.noon_utc_s - row.morning_to_utc_s, row.noon_utc_s - row.morning_from_utc_s
    inside = (brute.half > inner + 20.0) & (brute.half < outer - 20.0)
    assert inside.any()
    assert not (surely_bad & inside).any()
    if widest is not None:
        # Another run may be the widest only where the two are nearly alike.
        first, last = brute.half[widest[0]], brute.half[widest[1]]
        inside_it = inner - 20.0 < first and last < outer + 20.0
        assert inside_it or last - first < outer - inner + 600.0
    for at, half in ((row.afternoon_from_utc_s, inner), (row.afternoon_to_utc_s, outer)):
        assert at - row.noon_utc_s == pytest.approx(
            np.interp(half, brute.half, brute.later), abs=5.0
        )
    best = row.noon_utc_s - row.best_morning_utc_s
    assert inner - 1.0 <= best <= outer + 1.0
    ours = row.best_u_deg / case.limits.target_deg
    assert np.interp(best, brute.half, scatter) == pytest.approx(ours, rel=SLACK)
    assert ours <= np.min(scatter[inside]) * (1 + SLACK)


def plan(sites, dates, **more):
    return hours.plan_table(sites, day(*dates), **more)


WINDOW = list(hours.WINDOW_COLUMNS)


def test_rows_come_by_site_then_date_however_they_are_cut():
    sites = sites_table((50.0, 10.0, "Europe/Berlin"), (-30.0, 150.0, "Australia/Sydney"))
    dates = np.arange("2026-01-01", "2029-03-01", dtype="datetime64[D]")
    whole = hours.plan_table(sites, dates)
    assert len(whole) == 2 * len(dates) > 2000
    assert (whole["site"] == np.repeat(["s0", "s1"], len(dates))).all()
    assert (whole["date"].to_numpy().astype("datetime64[D]") == np.tile(dates, 2)).all()
    shared = hours.plan_table(sites, dates, workers=2)
    pd.testing.assert_frame_equal(whole, shared)
    one = plan(sites.iloc[[1]], [str(dates[700])]).iloc[0]
    pd.testing.assert_series_equal(
        one, whole.iloc[len(dates) + 700], check_names=False, check_index_type=False
    )


def test_the_step_moves_the_ends_by_seconds_only():
    sites = sites_table(
        (50.0, 10.0, "Europe/Berlin"), (10.0, 0.0, "Africa/Accra"), (-30.0, 150.0, "Etc/GMT-10")
    )
    dates = ["2026-03-20", "2026-06-21", "2026-09-01"]
    coarse, fine = (plan(sites, dates, step_min=step) for step in (10.0, 1.0))
    assert (coarse["no-window"] == fine["no-window"]).all()
    assert np.nanmax(np.abs(coarse[WINDOW] - fine[WINDOW])) < 5.0
    assert coarse["best_u_deg"].to_numpy() == pytest.approx(fine["best_u_deg"], rel=0.01)
    assert coarse["day_u_deg"].to_numpy() == pytest.approx(fine["day_u_deg"], rel=0.05)


def test_a_level_skyline_at_20_is_a_lower_limit_of_20():
    place = (35.0, 139.0, "Asia/Tokyo")
    dates, rig = ["2026-04-01", "2026-12-21"], Rig(reach_mm=1500.0)
    hills = plan(sites_table(place, horizon="20"), dates, rig=rig)
    limit = plan(sites_table(place), dates, rig=rig, limits=Limits(min_altitude_deg=20.0))
    assert hills[WINDOW].to_numpy() == pytest.approx(limit[WINDOW].to_numpy(), abs=2.0)
    open_sky = plan(sites_table(place), dates, rig=rig)
    assert (open_sky["morning_from_utc_s"] < hills["morning_from_utc_s"] - 1200).all()


def test_hills_on_one_side_take_the_pairs_of_both():
    west = plan(
        sites_table((35.0, 139.0, "Asia/Tokyo"), horizon="0:0 180:0 200:45 340:45"),
        ["2026-04-01"],
        rig=Rig(reach_mm=1500.0),
    ).iloc[0]
    open_sky = plan(
        sites_table((35.0, 139.0, "Asia/Tokyo")), ["2026-04-01"], rig=Rig(reach_mm=1500.0)
    ).iloc[0]
    assert west["morning_from_utc_s"] > open_sky["morning_from_utc_s"] + 3600
    assert west["day_u_deg"] > open_sky["day_u_deg"]


def test_polar_night_polar_day_and_a_noon_below_the_limit():
    sites = sites_table(
        (78.0, 16.0, "Arctic/Longyearbyen"), (90.0, 0.0, "UTC"), (-90.0, 0.0, "UTC"),
        (68.0, 20.0, "Europe/Oslo"),
    )  # fmt: skip
    table = plan(sites, ["2026-01-05", "2026-06-21"], rig=Rig(reach_mm=3000.0))
    night = table[(table.site == "s0")].iloc[0]
    assert night["sun-too-low"]
    assert night["no-window"]
    assert night["noon_altitude_deg"] < 0
    bright = plan(sites.iloc[[0]], ["2026-06-21"], rig=Rig(reach_mm=3000.0), limits=Limits(0.5))
    assert bright["morning_from_utc_s"].iloc[0] < bright["noon_utc_s"].iloc[0] - 10 * 3600
    # At a pole the sun keeps its height all day: no two marks make a pair.
    poles = table[table.site.isin(["s1", "s2"])]
    assert poles["no-window"].all()
    assert poles["best_u_deg"].isna().all()
    low = table[table.site == "s3"].iloc[0]
    assert low["sun-too-low"]
    assert not low["sun-too-high"]


@pytest.mark.parametrize(
    ("longitude", "zone"),
    [
        (180.0, "Pacific/Fiji"), (-180.0, "Pacific/Fiji"), (-179.9, "Pacific/Fiji"),
        (-157.4, "Pacific/Kiritimati"), (-171.8, "Pacific/Apia"), (-170.7, "Pacific/Pago_Pago"),
        (176.0, "America/Adak"), (-176.6, "America/Adak"),
    ],
)  # fmt: skip
def test_noon_at_the_date_line_is_the_local_date_s(longitude, zone):
    table = plan(sites_table((-14.0, longitude, zone)), ["2026-07-01"])
    local = clock.local_iso(table["noon_utc_s"].iloc[0], zone)
    if zone != "America/Adak" or longitude < 0:
        assert local[:10] == "2026-07-01"
    midday = clock.utc_s("2026-07-01", 43200.0, zone)
    assert abs(table["noon_utc_s"].iloc[0] - midday) <= 12 * 3600


def test_summer_time_moves_the_clock_and_not_the_sun():
    sites = sites_table((52.0, 13.0, "Europe/Berlin"), (52.0, 13.0, "Etc/GMT-1"))
    table = plan(sites, ["2026-03-28", "2026-03-29", "2026-03-30"])
    times = ["noon_utc_s", *WINDOW]
    with_summer_time = table[table.site == "s0"][times].to_numpy()
    assert with_summer_time == pytest.approx(table[table.site == "s1"][times].to_numpy(), abs=0.01)
    clocks = clock.local_clock(table["noon_utc_s"].to_numpy()[:3], "Europe/Berlin")
    assert clocks.tolist() == ["12:13", "13:13", "13:12"]


def test_a_wider_target_never_shortens_the_day():
    sites = sites_table((50.0, 10.0, "Europe/Berlin"), (5.0, 30.0, "Africa/Kampala"))
    dates = ["2026-02-01", "2026-06-21"]
    rig = Rig(rod_mm=150.0)
    tight, wide = (plan(sites, dates, rig=rig, limits=Limits(t)) for t in (0.2, 0.4))
    assert tight["no-window"].sum() < 4
    longer = (wide["morning_to_utc_s"] - wide["morning_from_utc_s"]).fillna(0)
    shorter = (tight["morning_to_utc_s"] - tight["morning_from_utc_s"]).fillna(0)
    assert (longer > shorter - 10).all()


def test_off_board_only_where_a_larger_board_would_do():
    winter = sites_table((50.0, 10.0, "Europe/Berlin"))
    short, long = (plan(winter, ["2026-12-21"], rig=Rig(rod_mm=rod)).iloc[0] for rod in (100, 300))
    assert long["off-board"]
    assert long["no-window"]
    assert np.isnan(long["day_u_deg"])
    assert not short["off-board"]
    assert not short["no-window"]
    careless = Rig(reach_mm=2000.0, tolerances=Tolerances(level_sd_deg=2.0))
    hopeless = plan(winter, ["2026-12-21"], rig=careless).iloc[0]
    assert hopeless["no-window"]
    assert not hopeless["off-board"]
    assert hopeless["best_u_deg"] > 0.25


def test_a_sun_that_never_climbs_to_the_highest_is_looked_at_from_noon_on():
    """A noon 0.01° above the lowest sun is not below it, and noon itself is the first mark."""
    sites = sites_table((48.0, 11.0, "Europe/Berlin"), (-35.2, 149.1, "Australia/Sydney"))
    index = np.repeat([0, 1], 365)
    year = np.tile(np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]"), 2)
    days = hours.SiteDays.of(sites, index, year)
    below = days.noon_altitude_deg < 60.0
    assert 300 < below.sum() < 700
    half_s, counts = hours.lattice(days, Limits(), 10.0)
    assert (half_s[below, 0] == 0.0).all()
    assert counts[below, 0].all()
    assert (half_s[~below, 0] > 60.0).all()
    low = days.noon_altitude_deg.min() - 0.01
    least = int(np.argmin(days.noon_altitude_deg))
    table = plan(sites.iloc[index[[least]]], year[[least]], limits=Limits(min_altitude_deg=low))
    assert not table["sun-too-low"].iloc[0]


def test_widest_run_finds_what_a_plain_search_finds():
    generator = np.random.default_rng(2)
    good = generator.random((500, 12)) < 0.6
    half = np.cumsum(generator.random((500, 12)), axis=1)
    first, last = hours.widest_run(good, half)
    for row in range(500):
        spans = [(half[row, b] - half[row, a], -a) for a, b in runs(good[row])]
        if not spans:
            assert (first[row], last[row]) == (0, -1)
            continue
        assert (half[row, last[row]] - half[row, first[row]], -first[row]) == max(spans)


def test_dask_gives_identical_rows():
    pytest.importorskip("distributed")
    from orient.planning import cluster

    sites = sites_table((50.0, 10.0, "Europe/Berlin"), (-30.0, 150.0, "Australia/Sydney"))
    dates = np.arange("2026-01-01", "2029-03-01", dtype="datetime64[D]")
    from distributed import Client

    with Client(processes=False, n_workers=1, threads_per_worker=1, dashboard_address=None) as it:
        there = pd.concat(cluster.plan_chunks(it, sites, dates), ignore_index=True)
    pd.testing.assert_frame_equal(there, hours.plan_table(sites, dates))
