"""A crew's time left over, and why sites are not reached.

What a second board brings is held against `orient reduce` of simulated boards that share a
watch, a rod and a line; sun and shadow are the simulator's own.
"""

import contextlib
import json
import os
import sys
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from forked import Forked
from test_crew import SITES, check, places

from orient import simulate
from orient.cli import orient
from orient.numbers.budget import board_information, day_terms, expected_u_deg, joint_u_deg
from orient.planning.crew.accuracy import Marks, spend
from orient.planning.crew.greedy import greedy
from orient.planning.crew.rounds import Plan, Problem, stretched
from orient.planning.crew.travel import by_distance
from orient.planning.crew.visits import Work, site_plan
from orient.planning.hours import Limits
from orient.planning.rig import Rig

RIG, LIMITS = Rig(), Limits()
PLACE = (47.0, 9.0)


def run(*arguments):
    return CliRunner().invoke(orient, [str(each) for each in arguments])


def json_of(*arguments):
    pytest.importorskip("ortools")
    result = run(*arguments, "--format", "json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.fixture
def hills(tmp_path):
    folder = tmp_path / "hills"
    folder.mkdir()
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def week():
    """Four sites, six days with one in hand, and what marks there tell."""
    generator = np.random.default_rng(1)
    table = places(
        45 + generator.uniform(-0.1, 0.1, 4), 10 + generator.uniform(-0.1, 0.1, 4), "Europe/Rome"
    )
    dates = np.arange("2026-05-04", "2026-05-10", dtype="datetime64[D]")
    work = Work("Europe/Rome", setup_min=20, packing_min=10, watch_trusted=True, marking_min=40)
    work = replace(work, day_start_s=7 * 3600.0, day_end_s=19 * 3600.0)
    days = work.days(dates)
    ways = by_distance(
        np.append(table["latitude_deg"], 45.0), np.append(table["longitude_deg"], 10.0), 30.0, 1.3
    )
    openings = site_plan(table, days, work, RIG, LIMITS).openings
    return table, days, Problem(openings, ways, days.minutes, work, reserve=1)


def spent(week, problem=None):
    table, days, whole = week
    problem = problem or whole
    plan = greedy(problem)
    plan = Plan([stretched(stops, problem) for stops in plan.rounds], plan.in_hand)
    numbers = sorted({stop.opening.site for stop in plan.stops})
    marks = Marks.of(table, numbers, days, problem.work, RIG, LIMITS)
    return plan, marks, spend(plan, problem, marks, lambda stop: stop.opening.u_deg, RIG.tolerances)


@pytest.mark.parametrize(("roam", "crews"), [(False, 1), (False, 2), (True, 1), (True, 2)])
def test_what_is_added_can_be_kept_and_no_line_is_less_good(week, roam, crews):
    problem = replace(week[2], roam=roam, crews=crews)
    plan, _, better = spent(week, problem)
    visited = {stop.opening.site for stop in plan.stops}
    assert {stop.opening.site for stop in better.plan.stops} == visited
    assert len(better.plan.stops) > len(plan.stops)
    assert better.plan.in_hand == plan.in_hand
    check(problem, better.plan, again=True)
    for site in visited:
        assert better.after_u_deg[site] <= better.before_u_deg[site] + 1e-12
        crews_there = {
            number // problem.rounds_each
            for number, stops in enumerate(better.plan.rounds)
            for stop in stops
            if stop.opening.site == site
        }
        assert len(crews_there) == 1
    assert sum(better.after_u_deg.values()) < 0.8 * sum(better.before_u_deg.values())


def test_of_one_day_the_change_that_gains_most_for_its_time_is_the_first(week):
    """Every longer run and every second board of a day with one visit, tried one by one."""
    table, days, whole = week
    problem = replace(whole, openings=[o for o in whole.openings if (o.site, o.day) == (0, 0)])
    opening = next(o for o in problem.openings if o.kind == "timed")
    problem = replace(problem, day_min=problem.day_min[:1], reserve=0)
    from orient.planning.crew.rounds import Stop

    plan = Plan([[Stop(opening, opening.starts[-1])]])
    marks = Marks.of(table, [0], days, problem.work, RIG, LIMITS)
    steps = []
    after = spend(
        plan, problem, marks, lambda stop: 0.0, RIG.tolerances, lambda: steps.append(1)
    ).after_u_deg[0]
    best = counted(plan.rounds[0][0], problem, marks)
    assert len(steps) >= 1
    assert after <= best + 1e-12


def counted(stop, problem, marks):
    """What the line comes to after the one change that gains most for its time."""
    way, work = int(problem.travel_min[-1, 0]), problem.work
    low, high = way + work.setup_min, problem.day_min[0] - way - work.packing_min
    told = marks.total[0, 0], marks.count[0, 0]

    def worth(first, last):
        if told[1][last + 1] - told[1][first] != last + 1 - first:
            return None
        return board_information(told[0][last + 1] - told[0][first], RIG.tolerances)

    at = {int(minute): place for place, minute in enumerate(marks.minutes)}
    now = worth(at[stop.start_min], at[stop.end_min])
    start_u = float(joint_u_deg(now, RIG.tolerances))
    best = (0.0, start_u)
    minutes = [minute for minute in at if low <= minute <= high]
    for first in minutes:
        for last in (each for each in minutes if each >= first + 40):
            found = worth(at[first], at[last])
            if found is None:
                continue
            tries = []
            if last - first >= stop.opening.run_min:
                more = max(last - first - stop.opening.run_min, 10)
                tries.append((found, more, 0.01 * more / 10))
            before = last + 10 + 20 <= stop.start_min
            behind = first >= stop.end_min + 10 + 20
            if (before or behind) and last - first <= 120:
                tries.append((now + found, last - first + 30, 0.1))
            for information, minutes_spent, least in tries:
                u_deg = float(joint_u_deg(information, RIG.tolerances))
                if start_u - u_deg >= least * start_u:
                    best = max(best, ((start_u - u_deg) / minutes_spent, u_deg))
    return best[1]


def test_one_board_s_line_is_as_the_day_s_budget_has_it(week):
    table, days, problem = week
    marks = Marks.of(table, [0, 1, 2, 3], days, problem.work, RIG, LIMITS)
    for length in (60, 120):
        runs = marks.runs(1, 2, (0, 720), length, length)
        first = int(np.flatnonzero(marks.minutes == runs.start_min[0])[0])
        total = marks.total[1, 2, first + length // 10 + 1] - marks.total[1, 2, first]
        budget = float(expected_u_deg(day_terms(total, RIG.tolerances)))
        assert float(joint_u_deg(runs.told[0], RIG.tolerances)) == pytest.approx(budget, rel=1e-6)


def boards_on_file(folder, runs, generator):
    """Two boards of one day, of one watch, rod and observer, drawing one line; as tables."""
    midnight = float(np.datetime64("2026-05-04T00:00:00").astype("datetime64[s]").astype(float))
    shared = simulate.random_board(generator)
    setups, marks = [], []
    for number, (first_min, last_min) in enumerate(runs):
        own = simulate.random_board(generator)
        true = replace(
            own, height_mm=shared.height_mm, watch_fast_s=shared.watch_fast_s,
            edge_lift_deg=shared.edge_lift_deg,
        )  # fmt: skip
        watch_s = np.arange(first_min, last_min + 1, 10) * 60.0
        azimuth, altitude, _ = simulate.sun_seen(
            midnight + watch_s - true.watch_fast_s, *PLACE, 0.0, 1013.25, 10.0
        )
        tips = simulate.shadow_tips(azimuth, altitude, true)
        tips += generator.normal(0.0, RIG.tolerances.mark_sd_mm, tips.shape)
        line = {"reference_name": "mast", "reference_sd_deg": 0.005}
        line["reference_angle_deg"] = (77.0 - true.board_azimuth_deg) % 360.0
        tools = {"timepiece": "W", "rod": "R", "observer": "ada", "watch": "trusted"}
        name = f"b{number}"
        setups.append(
            {"setup": name, "site": "A", "date": "2026-05-04", "gnomon_height_mm": 300,
             "time_sd_s": 0} | tools | line
        )  # fmt: skip
        clock = [str(np.timedelta64(int(s), "s").astype("datetime64[s]"))[11:] for s in watch_s]
        marks.append(
            pd.DataFrame({"setup": name, "time": clock, "x_mm": tips[:, 0], "y_mm": tips[:, 1]})
        )
    folder.mkdir()
    site = {"site": "A", "latitude_deg": PLACE[0], "longitude_deg": PLACE[1], "timezone": "UTC"}
    pd.DataFrame([site]).to_csv(folder / "sites.csv", index=False)
    pd.DataFrame(setups).to_csv(folder / "setups.csv", index=False)
    pd.concat(marks).to_csv(folder / "marks.csv", index=False)
    return folder


def test_two_boards_are_expected_to_be_as_good_as_reducing_them_says(tmp_path):
    """A morning and an afternoon board by one watch."""
    table = places([PLACE[0]], [PLACE[1]], "UTC")
    work = Work("UTC", day_start_s=0.0, day_end_s=24 * 3600.0, setup_min=0, watch_trusted=True)
    days = work.days(np.array(["2026-05-04"], dtype="datetime64[D]"))
    marks = Marks.of(table, [0], days, work, RIG, LIMITS)
    runs = [(8 * 60 + 20, 9 * 60 + 20), (13 * 60 + 20, 14 * 60 + 20)]
    told = [marks.runs(0, 0, each, 60, 60).told[0] for each in runs]
    alone = [float(joint_u_deg(each, RIG.tolerances)) for each in told]
    both = float(joint_u_deg(sum(told), RIG.tolerances))
    # Not by a root of two: the watch's error is in both.
    assert 0.72 * min(alone) < both < 0.8 * min(alone)
    found, errors = [], []
    for seed in range(6):
        folder = boards_on_file(tmp_path / str(seed), runs, np.random.default_rng(seed))
        rows = json.loads(run("reduce", folder, "--format", "json").stdout)
        found.append(rows[0]["reference_azimuth_u_deg"])
        errors.append(rows[0]["reference_azimuth_deg"] - 77.0)
    assert np.median(found) == pytest.approx(both, rel=0.15)
    assert np.sqrt(np.mean(np.square(errors))) < 2.0 * both


def test_time_left_over_is_in_the_rows_the_words_the_calendar_and_the_page(hills, tmp_path):
    span = ("--from", "2026-05-04", "--to", "2026-05-07", "--start", "ridge", "--watch", "trusted")
    span += ("--site", "ridge", "--site", "quarry", "--use-spare", "--reserve", "1")
    rows = json_of("crew", hills, *span)
    visits = [row for row in rows if row["why"] is None]
    assert {row["site"] for row in visits} == {"ridge", "quarry"}
    assert max(row["board"] for row in visits) > 1
    for row in visits:
        assert row["line_u_deg"] <= row["line_before_u_deg"]
        assert row["line_u_deg"] <= row["expected_u_deg"] + 1e-6
        assert (row["repeat_date"] is not None) == (row["board"] == 1)
    (in_hand,) = {row["repeat_date"] for row in visits} - {None}
    assert in_hand not in {row["date"] for row in visits}
    said = " ".join(run("crew", hills, *span).stdout.split())
    assert "board 2" in said
    assert "Time left over is spent on the lines of" in said
    assert "If cloud takes one day:" in said
    events = read_events(run("crew", hills, *span, "--format", "ics").stdout)
    assert len(events) == len(visits)
    for row, event in zip(visits, events, strict=True):
        assert event["DTSTART"].dt.isoformat() == row["arrive_local"]
        assert event["DTEND"].dt.isoformat() == row["leave_local"]
    page = tmp_path / "crew.html"
    made = run("crew", hills, *span, "--page", page)
    assert made.exit_code == 0, made.output
    text = page.read_text(encoding="utf-8")
    assert text.count('<td data-label="marks">') == len(visits)
    assert "if cloudy" in text
    refused = run("crew", hills, *span, "--page", hills / "sites.csv")
    assert refused.exit_code == 2


def read_events(text):
    """The events of a calendar as a library reads them."""
    icalendar = pytest.importorskip("icalendar")
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


HARD = """site,latitude_deg,longitude_deg,timezone,horizon_deg
open,50.00,10.00,Europe/Berlin,
walled,50.00,10.01,Europe/Berlin,60:40 120:50 180:60 240:50
away,50.12,10.12,Europe/Berlin,
"""


def reached(folder, *options):
    rows = json_of("crew", folder, *options)
    return {row["site"] for row in rows if row["why"] is None}, {row["site"]: row for row in rows}


@pytest.mark.parametrize(
    ("site", "options", "why", "change"),
    [
        ("open", ("--rod", "1000"), "rod", lambda said: ("--rod", words(said, "a rod of ", 0))),
        ("open", ("--target", "0.1"), "target",
         lambda said: ("--target", words(said, "a target of ±", 0).removesuffix("°"))),
        ("open", ("--day-start", "11:30"), "hours",
         lambda said: ("--day-start", words(said, "a day from ", 0),
                       "--day-end", words(said, "a day from ", 2))),
        ("away", ("--day-start", "09:00", "--day-end", "17:30"), "too-far",
         lambda said: ("--day-start", words(said, "a day from ", 0),
                       "--day-end", words(said, "a day from ", 2))),
    ],
)  # fmt: skip
def test_what_binds_is_named_and_what_is_said_to_do_does(tmp_path, site, options, why, change):
    (tmp_path / "sites.csv").write_text(HARD, encoding="utf-8")
    always = ("--from", "2026-05-04", "--start", "open", "--site", site)
    none, rows = reached(tmp_path, *always, *options)
    assert not none
    assert rows[site]["why"] == why
    then, _ = reached(tmp_path, *always, *options, *change(rows[site]["would_do"]))
    assert then == {site}


def words(said, lead, place):
    """A figure of what would do: the word at a place after a lead."""
    return said.split(lead)[1].split()[place].rstrip(";,")


def test_a_skyline_is_named_where_an_open_one_would_do(tmp_path):
    (tmp_path / "sites.csv").write_text(HARD, encoding="utf-8")
    always = ("--from", "2026-05-04", "--start", "open", "--site", "walled")
    none, rows = reached(tmp_path, *always)
    assert not none
    assert rows["walled"]["why"] == "skyline"
    assert "an open skyline" in rows["walled"]["would_do"]
    (tmp_path / "sites.csv").write_text(HARD.replace("60:40 120:50 180:60 240:50", ""), "utf-8")
    assert reached(tmp_path, *always)[0] == {"walled"}


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_a_terminal_shows_what_is_best_so_far_and_a_file_does_not(hills):
    pytest.importorskip("ortools")
    import pty

    span = ["--from", "2026-05-04", "--start", "ridge", "--site", "ridge", "--watch", "trusted"]
    ours, theirs = pty.openpty()
    child = Forked(["crew", str(hills), *span], stderr=theirs)
    os.close(theirs)
    shown = b""
    with contextlib.suppress(OSError):
        while part := os.read(ours, 65536):
            shown += part
    os.close(ours)
    assert child.wait() == 0
    assert b"Looking at hours" in shown
    assert b"Best so far: 1 site, 0 min of travel" in shown
    assert run("crew", hills, *span[:-2]).stderr == ""
