"""A crew's days: the choice against counting out every plan, and the command as a user meets it.

The counting out shares no code with the choice: orders of sites are tried one by one, and a
clock is carried along each.
"""

import csv
import io
import json
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from itertools import combinations, pairwise, permutations, product

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from geographiclib.geodesic import Geodesic

from orient import simulate
from orient.cli import orient
from orient.errors import InputError
from orient.flags import CAUTIONS
from orient.numbers import sun
from orient.observation import adjustment
from orient.observation.board import Board
from orient.planning.crew.cloud import repeats
from orient.planning.crew.rounds import Plan, Problem, reachable, worth
from orient.planning.crew.travel import by_distance, by_table, read_travel
from orient.planning.crew.visits import Opening, Work, site_plan
from orient.planning.hours import Limits
from orient.planning.rig import Rig

DAY_MIN = 720
WORK = Work("UTC", setup_min=20, packing_min=10)


# --- the choice ----------------------------------------------------------------------------------


def drawn(generator, sites, days, roam, crews=1):
    """A small problem, tight enough that not everything fits."""
    openings = []
    for site, day in product(range(sites), range(days)):
        if generator.random() < 0.7:
            first = int(generator.integers(60, 160))
            starts = range(first, first + int(generator.integers(1, 120)))
            total = 720 + int(generator.integers(-40, 40))
            openings.append(Opening(site, day, "pair", starts, 0.1, sum_min=total))
        for _ in range(int(generator.integers(0, 3))):
            first = int(generator.integers(3, 60)) * 10
            starts = range(first, first + 10 * int(generator.integers(1, 8)), 10)
            run = int(generator.integers(4, 9)) * 10
            openings.append(Opening(site, day, "timed", starts, 0.2, run_min=run))
    x, y = generator.uniform(0, 150, (2, sites + 1))
    ways = np.hypot(x[:, None] - x, y[:, None] - y) + generator.uniform(0, 20, (sites + 1,) * 2)
    np.fill_diagonal(ways, 0)
    return Problem(openings, ways.astype(np.int64), [DAY_MIN] * days, WORK, roam, crews)


def leaving(problem, site, day, at):
    """The earliest minute of a day that a site can be left, come to at minute `at`; or None."""
    ends = []
    for opening in problem.openings:
        if (opening.site, opening.day) == (site, day):
            for start in opening.starts:
                last = (
                    opening.sum_min - start if opening.kind == "pair" else start + opening.run_min
                )
                if start - 20 >= at and last + 10 <= DAY_MIN:
                    ends.append(last + 10)
    return min(ends, default=None)


def best_by_counting(problem):
    """The most sites and then the least travel, by trying every order of every choice."""
    sites = range(len(problem.travel_min) - 1)
    days = range(len(problem.day_min))
    orders = [order for n in range(len(sites) + 1) for order in permutations(sites, n)]
    by_round = []
    for day in [None] if problem.roam else days:
        found = [
            (
                order,
                roamed(problem, order, days)
                if problem.roam
                else there_and_back(problem, order, day),
            )
            for order in orders
        ]
        by_round.append([(order, travel) for order, travel in found if travel is not None])
    best = (0, 0)
    for plan in product(*by_round * problem.crews):
        visited = [site for order, _ in plan for site in order]
        if len(set(visited)) == len(visited):
            best = max(best, (len(visited), -sum(travel for _, travel in plan)))
    return best


def there_and_back(problem, order, day):
    here, now, travel = -1, 0, 0
    for site in order:
        way = int(problem.travel_min[here, site])
        now = leaving(problem, site, day, now + way)
        if now is None:
            return None
        here, travel = site, travel + way
    back = int(problem.travel_min[here, -1]) if order else 0
    return travel + back if now + back <= DAY_MIN else None


def roamed(problem, order, days):
    """Travel of a way that goes on from day to day, nights taking no time."""
    here, now, travel = -1, 0, 0
    for site in order:
        way = int(problem.travel_min[here, site])
        at = now + way
        lefts = [
            DAY_MIN * day + left
            for day in days
            if (left := leaving(problem, site, day, at - DAY_MIN * day)) is not None
        ]
        if not lefts:
            return None
        here, now, travel = site, min(lefts), travel + way
    return travel


@pytest.mark.parametrize("roam", [False, True], ids=["camp", "roam"])
@pytest.mark.parametrize("seed", range(12))
def test_the_choice_is_the_best_there_is(seed, roam):
    choose = needed()
    problem = drawn(np.random.default_rng(seed), 3 + seed % 3, 1 + seed % 2, roam)
    choice = choose(problem)
    stops = [stop for stops in choice.rounds for stop in stops]
    assert choice.proved
    assert (len(stops), -travel_of(problem, choice)) == best_by_counting(problem)
    assert choice.most == len(stops)
    check(problem, choice)


@pytest.mark.parametrize("roam", [False, True], ids=["camp", "roam"])
@pytest.mark.parametrize("seed", range(6))
def test_the_choice_of_two_crews_is_the_best_there_is(seed, roam):
    choose = needed()
    problem = drawn(np.random.default_rng(100 + seed), 4, 1 + seed % 2 if roam else 1, roam, 2)
    choice = choose(problem)
    assert choose(problem) == choice
    stops = [stop for stops in choice.rounds for stop in stops]
    assert choice.proved
    assert (len(stops), -travel_of(problem, choice)) == best_by_counting(problem)
    check(problem, choice)


def best_with_days_in_hand(problem):
    """Sites, fewer that no day in hand repeats, less travel: every set of days, every plan."""
    sites, days = range(len(problem.travel_min) - 1), range(len(problem.day_min))
    orders = [order for n in range(len(sites) + 1) for order in permutations(sites, n)]
    travel = {
        (order, day): minutes
        for order, day in product(orders, days)
        if (minutes := there_and_back(problem, order, day)) is not None
    }
    found = []
    for in_hand in combinations(days, problem.reserve):
        free = [day for day in days if day not in in_hand] * problem.crews
        of_round = [[order for order in orders if (order, day) in travel] for day in free]
        for plan in product(*of_round):
            visits = [(site, day) for order, day in zip(plan, free, strict=True) for site in order]
            if len({site for site, _ in visits}) < len(visits):
                continue
            once = sum(
                not any(other > day and ((site,), other) in travel for other in in_hand)
                for site, day in visits
            )
            way = sum(travel[order, day] for order, day in zip(plan, free, strict=True))
            found.append((len(visits), -once, -way))
    return max(found)


@pytest.mark.parametrize("crews", [1, 2])
@pytest.mark.parametrize("seed", range(8))
def test_days_in_hand_are_those_that_lose_least(seed, crews):
    choose = needed()
    problem = drawn(np.random.default_rng(300 + seed), 3, 3 + seed % 2, False, crews)
    problem = replace(problem, reserve=1 + seed % 2)
    choice = choose(problem)
    check(problem, choice)
    plan = Plan(choice.rounds, choice.in_hand)
    assert choice.proved
    assert worth(plan, problem)[:3] == best_with_days_in_hand(problem)
    # What one day of cloud costs: the most of its sites that the days in hand after it can hold.
    again = repeats(plan, problem)
    for day in {stop.opening.day for stop in plan.stops}:
        sites = {stop.opening.site for stop in plan.stops if stop.opening.day == day}
        later = [other for other in choice.in_hand if other > day]
        openings = [o for o in problem.openings if o.site in sites and o.day in later]
        most, _ = best_by_counting(replace(problem, openings=openings, reserve=0))
        assert most == len(sites & {*again})
        assert {again[site] for site in sites & {*again}} <= {*later}


def test_days_in_hand_of_a_crew_that_roams_are_its_last_and_cloud_is_made_good_from_there():
    choose = needed()
    starts = {0: [0], 1: [1, 2], 2: [2]}  # which days each site can be worked
    openings = [
        Opening(site, day, "pair", range(100, 200), 0.1, sum_min=720)
        for site, days in starts.items()
        for day in days
    ]
    ways = np.array([[0, 40, 400, 10], [40, 0, 30, 40], [400, 30, 0, 400], [10, 40, 400, 0]])
    problem = Problem(openings, ways, [DAY_MIN] * 3, WORK, roam=True, reserve=1)
    choice = choose(problem)
    assert choice.in_hand == (2,)
    assert [[stop.opening.site for stop in stops] for stops in choice.rounds] == [[0, 1]]
    # Site 0 has no hours on the last day.
    assert repeats(Plan(choice.rounds, choice.in_hand), problem) == {1: 2}


@pytest.mark.parametrize("crews", [1, 2])
@pytest.mark.parametrize("roam", [False, True], ids=["camp", "roam"])
def test_a_plan_of_the_moment_can_be_kept_and_the_search_sets_out_from_it(roam, crews):
    needed()
    from orient.planning.crew.greedy import greedy
    from orient.planning.crew.solver import solve

    for seed in range(8):
        problem = drawn(np.random.default_rng(200 + seed), 6, 2, roam, crews)
        problem = replace(problem, reserve=seed % 2)
        soon = greedy(problem)
        check(problem, soon)
        told = []
        found, most, _ = solve(problem, (1e-9, 1e-9), partial(_append, told))
        assert told[0] == (len(soon.stops), travel_of(problem, soon))
        check(problem, found)
        assert worth(found, problem) >= worth(soon, problem)
        assert most >= len(found.stops)


def _append(told, *best):
    told.append(best)


def needed():
    """The choice, where there is a solver for it."""
    pytest.importorskip("ortools")
    from orient.planning.crew.choice import choose

    return choose


def travel_of(problem, choice):
    total = 0
    for stops in choice.rounds:
        places = [-1, *(stop.opening.site for stop in stops)]
        total += sum(int(problem.travel_min[a, b]) for a, b in pairwise(places))
        if stops and not problem.roam:
            total += int(problem.travel_min[places[-1], -1])
    return total


def check(problem, choice, again=False):
    """The stops as they are timed can be kept; no site is worked twice but `again`."""
    visited = [stop.opening.site for stops in choice.rounds for stop in stops]
    assert again or len(set(visited)) == len(visited)
    assert len(choice.in_hand) == problem.reserve
    assert not {stop.opening.day for stops in choice.rounds for stop in stops} & {*choice.in_hand}
    for number, stops in enumerate(choice.rounds):
        number = number % len(problem.day_min)
        here, now = -1, 0 if problem.roam else DAY_MIN * number
        for stop in stops:
            assert stop.start_min in stop.opening.starts
            begin = DAY_MIN * stop.opening.day
            now += int(problem.travel_min[here, stop.opening.site])
            assert begin + stop.start_min - 20 >= now
            now, here = begin + stop.end_min + 10, stop.opening.site
            assert now <= begin + DAY_MIN
        if stops and not problem.roam:
            assert now + int(problem.travel_min[here, -1]) <= DAY_MIN * (number + 1)


def test_a_pair_day_alone_uses_the_longest_halves_that_the_way_allows():
    choose = needed()
    opening = Opening(0, 0, "pair", range(100, 200), 0.1, sum_min=720)
    ways = np.array([[0, 110], [110, 0]])
    choice = choose(Problem([opening], ways, [DAY_MIN], WORK))
    assert choice.rounds[0][0].start_min == 130  # 110 min of way and 20 of setting up
    assert choice.rounds[0][0].end_min == 590


def test_as_many_sites_and_as_little_travel_are_done_on_the_first_days():
    choose = needed()
    openings = [
        Opening(site, day, "pair", range(100, 200), 0.1, sum_min=720)
        for site, day in product(range(2), range(6))
    ]
    ways = np.array([[0, 40, 30], [40, 0, 50], [30, 50, 0]])
    for roam in (False, True):
        choice = choose(Problem(openings, ways, [DAY_MIN] * 6, WORK, roam))
        assert sorted(s.opening.day for stops in choice.rounds for s in stops) == [0, 1]


def test_a_way_longer_than_a_morning_is_made_over_night_by_those_who_roam():
    choose = needed()
    opening = Opening(0, 1, "timed", range(100, 101, 10), 0.2, run_min=40)
    ways = np.array([[0, 790], [790, 0]])
    problem = Problem([opening], ways, [DAY_MIN] * 2, WORK)
    assert reachable(problem) == set()
    assert choose(problem).rounds == [[], []]
    roaming = Problem([opening], ways, [DAY_MIN] * 2, WORK, roam=True)
    assert reachable(roaming) == {0}
    assert [len(stops) for stops in choose(roaming).rounds] == [1]
    one_more = Problem([opening], ways + 11, [DAY_MIN] * 2, WORK, roam=True)
    assert choose(one_more).rounds == [[]]


@pytest.mark.slow
def test_forty_sites_and_fourteen_days_are_never_worse_than_the_plan_of_the_moment():
    choose = needed()
    generator = np.random.default_rng(1)
    table = places(
        45 + generator.uniform(-0.12, 0.12, 40),
        10 + generator.uniform(-0.17, 0.17, 40),
        "Europe/Rome",
    )
    dates = np.arange("2026-05-04", "2026-05-18", dtype="datetime64[D]")
    work = Work("Europe/Rome", watch_trusted=True)
    days = work.days(dates)
    plan = site_plan(table, days, work, Rig(), Limits())
    ways = by_distance(
        np.append(table["latitude_deg"], 45.0), np.append(table["longitude_deg"], 10.0), 30.0, 1.3
    )
    problem = Problem(plan.openings, ways, days.minutes, work)
    one = choose(problem)
    assert sum(map(len, one.rounds)) == one.most == 28
    from orient.planning.crew.greedy import greedy

    assert worth(Plan(one.rounds), problem) >= worth(greedy(problem), problem)
    two_in_hand = replace(problem, reserve=2)
    other = choose(two_in_hand, 0.1)
    kept = Plan(other.rounds, other.in_hand)
    assert worth(kept, two_in_hand) >= worth(greedy(two_in_hand), two_in_hand)
    assert len(kept.stops) <= other.most <= 24
    by_pairs = choose(
        Problem([o for o in plan.openings if o.kind == "pair"], ways, days.minutes, work)
    )
    assert by_pairs.proved
    assert sum(map(len, by_pairs.rounds)) == 14


# --- what a visit is worth -----------------------------------------------------------------------


def places(latitude, longitude, zone):
    table = pd.DataFrame({"latitude_deg": latitude, "longitude_deg": longitude, "timezone": zone})
    table.index = pd.Index([f"s{n}" for n in range(len(table))], name="site")
    return table.assign(elevation_m=0.0, pressure_hpa=1013.25, temperature_c=10.0, horizon="")


def test_a_timed_run_scatters_as_it_is_expected_to():
    """Simulated boards, sun and shadow from elsewhere, reduced as a crew's marks would be."""
    latitude, longitude = 47.0, 9.0
    table = places([latitude], [longitude], "Europe/Zurich")
    work = Work("Europe/Zurich", watch_trusted=True)
    days = work.days(np.array(["2026-05-04"], dtype="datetime64[D]"))
    openings = site_plan(table, days, work, Rig(), Limits()).openings
    run = next(o for o in openings if o.kind == "timed" and len(o.starts) == 1)
    minutes = np.arange(run.starts[0], run.end_min(run.starts[0]) + 1, 10)
    instants = days.start_utc_s[0] + 60.0 * minutes
    noon = float(sun.transit(days.start_utc_s[0] + 7 * 3600, longitude))
    azimuth, altitude, _ = simulate.sun_seen(instants, latitude, longitude, 0.0, 1013.25, 10.0)
    generator = np.random.default_rng(8)
    turned, asked = [], []
    for _ in range(300):
        true = simulate.random_board(generator)
        tips = simulate.shadow_tips(azimuth, altitude, true)
        tips += generator.normal(0.0, Rig().tolerances.mark_sd_mm, tips.shape)
        board = Board(
            latitude,
            longitude,
            noon,
            300.0,
            tips[:, 0],
            tips[:, 1],
            instants + true.watch_fast_s,
            np.where(instants < noon, -1, 1).astype(np.int8),
            np.full(instants.size, ""),
        )
        turned.append(true.board_azimuth_deg)
        asked.append(adjustment.Asked(board))
    found = [fit.state.board_azimuth_rad for fit in adjustment.adjust_all(asked)]
    errors = (np.degrees(found) - turned + 180) % 360 - 180
    # 300 draws tell a standard deviation to 4 %; three of those.
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(run.u_deg, rel=0.12)


def test_a_run_is_no_longer_than_it_must_be_and_a_poor_watch_allows_none():
    table = places([47.0], [9.0], "Europe/Zurich")
    dates = np.array(["2026-05-04"], dtype="datetime64[D]")
    found = {}
    for target in (0.25, 0.3):
        work = Work("Europe/Zurich", watch_trusted=True)
        openings = site_plan(table, work.days(dates), work, Rig(), Limits(target)).openings
        runs = [o for o in openings if o.kind == "timed"]
        assert all(run.u_deg <= target for run in runs)
        assert all(40 <= run.run_min <= 120 for run in runs)
        found[target] = {start: run.run_min for run in runs for start in run.starts}
    assert all(found[0.3][start] <= length for start, length in found[0.25].items())
    assert max(found[0.25].values()) > 40
    work = Work("Europe/Zurich")
    assert {o.kind for o in site_plan(table, work.days(dates), work, Rig(), Limits()).openings} == {
        "pair"
    }


# --- travel --------------------------------------------------------------------------------------


def test_ways_are_geodesics_made_longer_by_the_detour():
    """Against the port of the library that the geodesic algorithm was published with."""
    latitude, longitude = [50.0, 50.03, -20.0], [10.0, 10.02, 179.9]
    found = by_distance(latitude, longitude, 4.0, 1.3)
    for a, b in permutations(range(3), 2):
        metres = Geodesic.WGS84.Inverse(latitude[a], longitude[a], latitude[b], longitude[b])["s12"]
        assert found[a, b] == np.ceil(metres * 1.3 / 4000.0 * 60.0)
    assert np.diag(found).tolist() == [0, 0, 0]
    assert by_distance([0.0, 0.0], [179.99, -179.99], 60.0, 1.0)[0, 1] == 3  # 2.2 km, not 40,000


def test_a_table_of_travel_goes_before_distance(tmp_path):
    path = tmp_path / "travel.csv"
    path.write_text("from,to,minutes\na,b,30\nb,a,45.2\nstart,a,10\nc,d,5\n", encoding="utf-8")
    table = read_travel(path, ["a", "b", "c", "d", "start"])
    estimated = np.array([[0, 7, 7, 7], [7, 0, 7, 7], [7, 7, 0, 7], [7, 7, 7, 0]])
    minutes, untold = by_table(estimated, table, ["a", "b", "c", "start"])
    assert minutes.tolist() == [[0, 30, 7, 10], [46, 0, 7, 7], [7, 7, 0, 7], [10, 7, 7, 0]]
    assert untold == 4  # a–c, b–c, b–start, c–start
    minutes, untold = by_table(estimated, table, ["a", "b", "c", "a"])  # the camp is at a
    assert minutes.tolist() == [[0, 30, 7, 0], [46, 0, 7, 46], [7, 7, 0, 7], [0, 30, 7, 0]]
    assert untold == 2


def test_every_fault_of_a_table_of_travel_is_told(tmp_path):
    path = tmp_path / "travel.csv"
    path.write_text(
        "from,to,minutes\nridge,mil,30\nridge,mill,-3\nridge,ridge,5\nmill,ridge,\nmill,ridge,x\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        read_travel(path, ["ridge", "mill", "start"])
    said = [str(fault) for fault in caught.value.faults]
    assert len(said) == 6
    assert "row 2, column to: found 'mil'" in said[0]
    assert "perhaps 'mill'" in said[0]
    assert "row 3, column minutes: found '-3'" in said[1]
    assert "row 4" in said[2]
    assert {line.split(",")[1] for line in said[3:]} == {" row 5", " row 6"}
    with pytest.raises(InputError, match="no such file"):
        read_travel(tmp_path / "none.csv", ["ridge"])


# --- the command ---------------------------------------------------------------------------------

SITES = """site,latitude_deg,longitude_deg,elevation_m,timezone,horizon_deg
ridge,50.00,10.00,400,Europe/Berlin,
gorge,50.03,10.02,300,Europe/Berlin,60:40 120:50 180:60 240:50
mill,50.02,10.05,300,Europe/Berlin,
chapel,50.05,9.97,300,Europe/Berlin,
quarry,49.97,10.03,300,Europe/Berlin,
far hill,50.6,11.2,300,Europe/Berlin,
"""
SPAN = ("--from", "2026-05-04", "--to", "2026-05-06")
KEYS = [
    "date", "crew", "order", "site", "board", "arrive_local", "marks_from", "break_from",
    "break_to", "marks_to", "leave_local", "travel_min", "return_min", "kind", "expected_u_deg",
    "line_before_u_deg", "line_u_deg", "repeat_date", "why", "would_do",
]  # fmt: skip


@pytest.fixture
def campaign(tmp_path):
    (tmp_path / "sites.csv").write_text(SITES, encoding="utf-8")
    return str(tmp_path)


def run(*arguments):
    return CliRunner().invoke(orient, [str(a) for a in arguments])


def json_of(*arguments):
    needed()
    result = run(*arguments, "--format", "json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def moment(row, key):
    return datetime.fromisoformat(row[key])


def test_rows_are_kept_by_the_clock_and_lie_in_the_planned_windows(campaign):
    rows = json_of("crew", campaign, *SPAN, "--start", "ridge")
    windows = {(row["site"], row["date"]): row for row in json_of("plan", campaign, *SPAN)}
    assert all(list(row) == KEYS for row in rows)
    visits = [row for row in rows if row["why"] is None]
    assert [(row["date"], row["order"]) for row in visits] == [
        (f"2026-05-0{day}", 1) for day in (4, 5, 6)
    ]
    for row in visits:
        window = windows[row["site"], row["date"]]
        assert row["kind"] == "pair"
        assert row["break_from"] == window["morning"]["to"]
        assert row["break_to"] == window["afternoon"]["from"]
        assert row["marks_from"] >= window["morning"]["from"]
        assert row["marks_to"] <= window["afternoon"]["to"]
        assert moment(row, "break_from") - moment(row, "marks_from") >= timedelta(minutes=40)
        assert moment(row, "marks_from") - moment(row, "arrive_local") >= timedelta(minutes=30)
        packing = moment(row, "leave_local") - moment(row, "marks_to")
        # Whole minutes, and equal altitudes a little off the mirror.
        assert timedelta(minutes=10) <= packing < timedelta(minutes=14)
        assert window["best"]["expected_u_deg"] - 1e-4 <= row["expected_u_deg"] <= 0.25
        assert row["travel_min"] == row["return_min"]


def test_what_is_not_reached_is_told_with_the_reason(campaign):
    rows = json_of("crew", campaign, *SPAN, "--start", "ridge")
    why = {row["site"]: row["why"] for row in rows if row["why"]}
    assert why == {"gorge": "skyline", "far hill": "too-far", "chapel": "out-of-days"}
    result = run("crew", campaign, *SPAN, "--start", "ridge")
    text = " ".join(result.stdout.split())
    for name in why:
        assert f"Not reached: {name}:" in text
    assert "3 of 6 sites reached on 3 of 3 days" in text
    short = json_of("crew", campaign, *SPAN, "--start", "ridge", "--day-end", "09:00")
    # Of the gorge the skyline binds too, of the far hill the way: no one thing alone.
    assert {row["site"] for row in short if row["why"] == "no-window"} == {"gorge", "far hill"}
    assert {row["why"] for row in short} == {"no-window", "hours"}


def test_a_trusted_watch_reaches_more_in_fewer_days(campaign):
    arguments = ("crew", campaign, "--from", "2026-05-04", "--to", "2026-05-05", "--start", "ridge")
    pairs = json_of(*arguments)
    timed = json_of(*arguments, "--watch", "trusted")
    assert sum(row["why"] is None for row in pairs) == 2
    visits = [row for row in timed if row["why"] is None]
    assert len(visits) == 4
    for before, after in pairwise(visits):
        if before["date"] == after["date"]:
            way = timedelta(minutes=after["travel_min"])
            assert moment(after, "arrive_local") - moment(before, "leave_local") == way
            assert after["order"] == before["order"] + 1
            assert before["return_min"] is None


def test_a_table_of_travel_brings_the_far_site_near(campaign, tmp_path):
    path = tmp_path / "ways.csv"
    path.write_text("from,to,minutes\nridge,far hill,25\n", encoding="utf-8")
    arguments = ("crew", campaign, *SPAN, "--start", "ridge", "--travel", path)
    rows = {row["site"]: row for row in json_of(*arguments)}
    assert rows["far hill"]["travel_min"] == 25
    assert "14 ways are not in the table" in run(*arguments).stderr


def test_a_crew_s_day_over_the_date_line_has_each_site_s_own_time(tmp_path):
    """The camp on one side of the line, a site two kilometres over it, a day behind."""
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\n"
        "west side,-17.0,179.99,Pacific/Fiji\neast side,-17.0,-179.99,Pacific/Pago_Pago\n",
        encoding="utf-8",
    )
    span = ("--from", "2026-06-10", "--to", "2026-06-11")
    visits = json_of("crew", tmp_path, *span, "--start", "west side")
    assert {row["site"]: row["kind"] for row in visits} == {
        "west side": "pair", "east side": "pair"
    }  # fmt: skip
    for row in visits:
        east = row["site"] == "east side"
        assert row["marks_from"].endswith("-11:00" if east else "+12:00")
        day = moment(row, "marks_from").astimezone(
            datetime.fromisoformat("2026-06-10T00:00+12:00").tzinfo
        )
        assert day.date().isoformat() == row["date"]
        assert (row["marks_from"][:10] < row["date"]) == east
    text = run("crew", tmp_path, *span, "--start", "west side").stdout
    assert "(times of UTC-11:00)" in text


def test_those_who_roam_have_no_way_home(campaign):
    rows = json_of("crew", campaign, *SPAN, "--start", "50.0,10.0", "--roam")
    assert all(row["return_min"] is None for row in rows)
    home = json_of("crew", campaign, *SPAN, "--start", "50.0,10.0")
    travel = [sum((r["travel_min"] or 0) + (r["return_min"] or 0) for r in x) for x in (rows, home)]
    assert travel[0] < travel[1]


def test_a_way_over_night_is_told_without_a_start_before_the_crew_s_day(tmp_path):
    """Two sites, six hours on foot apart: nobody sets out at two in the morning."""
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\nport,-16.55,-69.0,America/Lima\n"
        "pass,-16.715,-69.0,America/La_Paz\n"
    )
    asked = ("--from", "2026-12-01", "--to", "2026-12-03", "--start", "port", "--roam")
    said = run("crew", str(tmp_path), *asked).output
    way = " ".join(said.split())
    assert "pass (times of UTC-04:00): on the way since the evening before, there " in way
    assert "set out" not in way
    page = tmp_path / "days.html"
    assert run("crew", str(tmp_path), *asked, "--page", str(page)).exit_code == 0
    text = page.read_text("utf-8")
    assert " min, over night" in text
    assert "pass (times of UTC-04:00)" in text


def test_the_words_fit_80_columns_and_caution(campaign):
    needed()
    for more in ((), ("--roam",), ("--watch", "trusted")):
        result = run("crew", campaign, *SPAN, "--start", "50.01N,10.01E", *more)
        assert result.exit_code == 0, result.output
        assert max(map(len, result.stdout.splitlines())) <= 80
        assert CAUTIONS[0] in " ".join(result.stdout.split())
        assert "Mon 04 May 2026" in result.stdout
        assert "95 %" in result.stdout


def test_csv_has_the_same_rows(campaign):
    rows = json_of("crew", campaign, *SPAN, "--start", "ridge")
    text = run("crew", campaign, *SPAN, "--start", "ridge", "--format", "csv").stdout
    flat = list(csv.DictReader(io.StringIO(text)))
    assert [row["site"] for row in flat] == [row["site"] for row in rows]
    for one, other in zip(flat, rows, strict=True):
        assert list(one) == KEYS
        assert one["order"] == ("" if other["order"] is None else str(other["order"]))
        assert one["marks_from"] == (other["marks_from"] or "")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--start", "rigde"), "Did you mean ridge?"),
        (("--start", "95,10"), "wanted a latitude"),
        (("--start", "1,2,3"), "nor LATITUDE,LONGITUDE"),
        (("--start", "ridge", "--speed", "0"), "'0' is no number above 0"),
        (("--start", "ridge", "--day-start", "25:00"), "is no time written HH:MM"),
        (("--start", "ridge", "--day-start", "8"), "is no time written HH:MM"),
        (("--start", "ridge", "--day-end", "05:00"), "later than --day-start"),
        (("--start", "ridge", "--site", "mil"), "Did you mean mill?"),
        (("--start", "ridge", "--to", "2026-05-01"), "lies before --from"),
        ((), "--start"),
    ],
)
def test_bad_input_gets_one_clear_message(campaign, arguments, said):
    needed()
    result = run("crew", campaign, "--from", "2026-05-04", *arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert result.stdout == ""


def test_without_the_solver_one_line_says_what_to_install(campaign, monkeypatch):
    from orient.planning.crew.choice import NoSolver

    monkeypatch.delitem(sys.modules, "orient.planning.crew.solver", raising=False)
    for name in [name for name in sys.modules if name.split(".")[0] == "ortools"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "ortools", None)
    result = run("crew", campaign, *SPAN, "--start", "ridge")
    assert isinstance(result.exception, NoSolver)
    assert str(result.exception) == "a crew's days need OR-Tools: pip install 'orient[crew]'"


def test_two_crews_and_days_in_hand_through_the_command(campaign):
    needed()
    span = ["--from", "2026-05-04", "--to", "2026-05-06"]
    ways = ["--start", "ridge", "--watch", "trusted"]
    one = json_of("crew", campaign, *span, *ways, "--reserve", "2")
    assert {row["date"] for row in one if row["date"]} == {"2026-05-04"}
    alone = json_of("crew", campaign, "--from", "2026-05-04", *ways)
    # Sleeping out takes more days than one.
    for row, other in zip(one, alone, strict=True):
        assert row | {"repeat_date": None, "would_do": None} == other | {"would_do": None}
    assert {row["repeat_date"] for row in one if row["date"]} <= {"2026-05-05", "2026-05-06"}
    two = json_of("crew", campaign, *span, *ways, "--reserve", "2", "--crews", "2")
    reached = [[row["site"] for row in rows if not row["why"]] for rows in (one, two)]
    assert len(reached[1]) > len(reached[0])
    assert len(set(reached[1])) == len(reached[1])
    assert {row["crew"] for row in two if not row["why"]} == {1, 2}
    for crew in (1, 2):
        own = [row for row in two if row["crew"] == crew]
        assert [row["order"] for row in own] == list(range(1, len(own) + 1))
        for before, after in pairwise(own):
            way = timedelta(minutes=after["travel_min"])
            assert moment(after, "arrive_local") >= moment(before, "leave_local") + way
    words = run("crew", campaign, *span, *ways, "--reserve", "2", "--crews", "2").output
    assert "04 May 2026, crew 2" in words
    assert "Reserve for cloud: 05 May, 06 May." in words.replace("\n", " ")
    refused = run("crew", campaign, *span, *ways, "--reserve", "3")
    assert refused.exit_code == 2
    assert "leaves no day" in refused.output
