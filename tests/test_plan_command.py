"""`orient plan` and `orient bring` as a user meets them."""

import csv
import io
import json
import re
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from orient.cli import orient
from orient.numbers.tolerances import COVERAGE_95
from orient.planning.hours import DAY_FLAGS
from orient.planning.rows import season, sentence

SITES = """site,latitude_deg,longitude_deg,elevation_m,timezone,horizon_deg
ridge,50.0,10.0,400,Europe/Berlin,
shore,7.5,-10.0,0,Africa/Monrovia,
fell,66.0,25.0,200,Europe/Helsinki,120:8 200:3
plateau,-20.0,-68.0,3700,America/La_Paz,
ice,80.0,20.0,0,UTC,
=cell,-35.0,150.0,10,Australia/Sydney,
"""


@pytest.fixture
def campaign(tmp_path):
    (tmp_path / "sites.csv").write_text(SITES, encoding="utf-8")
    return str(tmp_path)


def run(*arguments):
    return CliRunner().invoke(orient, [str(a) for a in arguments])


def json_of(*arguments):
    result = run(*arguments, "--format", "json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_json_rows_have_the_agreed_keys(campaign):
    rows = json_of("plan", campaign, "--from", "2026-05-04", "--to", "2026-05-05")
    assert len(rows) == 12
    assert [row["site"] for row in rows[:4]] == ["ridge", "ridge", "shore", "shore"]
    agreed = ["site", "date", "noon_local", "noon_altitude_deg"]
    agreed += ["morning", "afternoon", "best", "flags"]
    for row in rows:
        assert list(row)[:8] == agreed
        assert row["noon_local"].startswith(row["date"])
        if row["morning"] is None:
            assert row["afternoon"] is None
            assert "no-window" in row["flags"]
            continue
        times = [row["morning"]["from"], row["morning"]["to"], row["noon_local"],
                 row["afternoon"]["from"], row["afternoon"]["to"]]  # fmt: skip
        moments = [datetime.fromisoformat(time) for time in times]
        assert moments == sorted(moments)
        assert set(row["best"]) == {
            "morning", "afternoon", "altitude_deg", "shadow_mm", "expected_u_deg"
        }  # fmt: skip
        assert row["best"]["expected_u_deg"] <= 0.25


def test_csv_has_the_same_rows_flat(campaign):
    arguments = ("plan", campaign, "--from", "2026-05-04", "--to", "2026-05-05")
    result = run(*arguments, "--format", "csv")
    assert result.exit_code == 0
    table = list(csv.DictReader(io.StringIO(result.stdout)))
    rows = json_of(*arguments)
    assert len(table) == len(rows)
    for flat, row in zip(table, rows, strict=True):
        assert flat["noon_local"] == row["noon_local"]
        assert flat["morning_from"] == (row["morning"] or {"from": ""})["from"]
        assert flat["flags"] == " ".join(row["flags"])
        if row["best"]:
            assert float(flat["best_shadow_mm"]) == row["best"]["shadow_mm"]
    assert table[-1]["site"] == "'=cell"  # no spreadsheet runs it


@pytest.mark.parametrize(
    "arguments",
    [
        ("--site", "ridge", "--from", "2026-05-04", "--to", "2026-06-02"),
        ("--from", "2026-05-04"),
        ("--from", "2026-05-04", "--to", "2026-06-02"),
        ("--from", "2026-05-04", "--site", "shore", "--budget"),
    ],
)
def test_tables_fit_80_columns_and_say_what_they_show(campaign, arguments):
    result = run("plan", campaign, *arguments)
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "95 %" in result.stdout
    assert "nan" not in result.stdout.lower()


def test_a_table_of_one_day_tells_each_flagged_site_what_to_do(campaign):
    text = " ".join(run("plan", campaign, "--from", "2026-05-04").stdout.split())
    rows = {row["site"]: row for row in json_of("plan", campaign, "--from", "2026-05-04")}
    assert rows["shore"]["flags"] == ["sun-too-high"]
    assert "shore: noon sun 81° up: no marks between" in text
    for name, row in rows.items():
        assert (f"{name}: {sentence(row)}." in text) == bool(row["flags"])


def test_a_season_sums_up_what_the_rows_say(campaign):
    arguments = ("plan", campaign, "--from", "2026-03-01", "--to", "2026-04-14")
    rows = [row for row in json_of(*arguments) if row["site"] == "ridge"]
    good = sum(row["morning"] is not None for row in rows)
    line = next(x for x in run(*arguments).stdout.splitlines() if x.startswith(" ridge"))
    assert 0 < good < 45
    assert line.split()[1:3] == ["45", str(good)]
    best = [row["best"]["expected_u_deg"] for row in rows if row["morning"] is not None]
    assert line.split()[3:5] == [
        f"{COVERAGE_95 * figure:.2f}°" for figure in (np.median(best), min(best))
    ]
    assert "–" not in line.split()[3:5]
    short = [*arguments, "--rod", "100"]
    line = next(x for x in run(*short).stdout.splitlines() if x.startswith(" ridge"))
    assert line.split()[1:3] == ["45", "45"]


def test_a_season_counts_good_days_only():
    """By hand: of five days one has a pair but no window, and one nothing at all."""
    nan = float("nan")
    plan = pd.DataFrame(
        {
            "site": ["fell"] * 5,
            "best_u_deg": [0.1, 0.9, 0.2, 0.24, nan],
            "day_u_deg": [0.05, 0.06, 0.1, nan, nan],
            **{flag: [False] * 5 for flag in DAY_FLAGS},
            "no-window": [False, True, False, False, True],
        }
    )
    (row,) = season(plan).to_dict("records")
    assert (row["days"], row["good_days"], row["no-window"], row["off-board"]) == (5, 3, 2, 0)
    assert row["median_u_deg"] == 0.2
    assert row["least_u_deg"] == 0.1
    assert row["median_day_u_deg"] == 0.06


def test_a_taller_rod_and_better_care_serve_better(campaign):
    base = ("plan", campaign, "--from", "2026-05-04", "--site", "shore", "--reach", "900")
    plain, tall, careful = (
        json_of(*base, *more)[0]["best"]["expected_u_deg"]
        for more in ((), ("--rod", "400"), ("--mark-sd", "0.3", "--plumb-sd", "0.3"))
    )
    assert careful < plain
    assert tall != plain


def test_the_budget_s_terms_add_up(campaign):
    rows = json_of("plan", campaign, "--from", "2026-05-04", "--site", "ridge", "--budget")
    methods = ["pair", "timed", "day", "compared", "shared", "one-line"]
    assert list(dict.fromkeys(row["method"] for row in rows)) == methods
    # Of two boards only the whole is told.
    assert all(row["marking_u_deg"] is None for row in rows[-2:])
    rows = rows[:-2]
    terms = [key for key in rows[0] if key.endswith("_u_deg") and key != "expected_u_deg"]
    assert [t.removesuffix("_u_deg") for t in terms] == [
        "marking", "level", "foot", "height", "watch", "edge"
    ]  # fmt: skip
    for row in rows:
        total = sum(row[term] ** 2 for term in terms) ** 0.5
        assert total == pytest.approx(row["expected_u_deg"], abs=1e-7)
        assert (row["watch_u_deg"] == 0) == (row["method"] == "pair")


def test_the_budget_of_a_whole_season_is_refused(campaign):
    result = run("plan", campaign, "--from", "2026-01-01", "--to", "2026-03-01", "--budget")
    assert result.exit_code == 2
    assert "at most 100" in " ".join(result.stderr.split())


def test_rows_do_not_depend_on_the_number_of_workers(campaign):
    arguments = ("plan", campaign, "--from", "2026-01-01", "--to", "2027-03-01", "--format", "csv")
    one, two = (run(*arguments, "--workers", n).stdout for n in (1, 2))
    assert one == two
    assert one.count("\n") == 6 * 425 + 1


@pytest.mark.parametrize("command", ["plan", "bring"])
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--from", "2026-05-04", "--to", "2026-05-01"), "2026-05-01 lies before --from"),
        (("--from", "2060-01-01"), "is known from 1900"),
        (("--from", "1850-01-01"), "is known from 1900"),
        (("--from", "2026-05-04", "--target", "0"), "'0' is no number above 0"),
        (("--from", "2026-05-04", "--target", "-0.2"), "'-0.2' is no number above 0"),
        (("--from", "2026-05-04", "--target", "nan"), "'nan' is no number above 0"),
        (("--from", "2026-05-04", "--site", "rigde"), "Did you mean ridge?"),
        (("--from", "2026-05-04", "--site", "xyz"), "There are: ridge, shore"),
        (("--from", "04.05.2026"), "YYYY-MM-DD"),
        (("--from", "2026-05-04", "--min-altitude", "70"), "less than --max-altitude"),
        (("--from", "2026-05-04", "--min-altitude", "nan"), "nan is no number"),
        (("--from", "2026-05-04", "--rod", "0"), "a rod is 20 to 5000 mm tall, found 0"),
        (("--from", "2026-05-04", "--rod", "5"), "a rod is 20 to 5000 mm tall, found 5"),
        ((), "--from"),
    ],
)
def test_bad_input_gets_one_clear_message(campaign, command, arguments, said):
    result = run(command, campaign, *arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert result.stdout == ""
    assert "Traceback" not in result.output


def test_an_option_for_the_cluster_without_dask_says_what_to_install(campaign, monkeypatch):
    import sys

    from orient.planning.cluster import NoDask

    monkeypatch.setitem(sys.modules, "distributed", None)
    result = run("plan", campaign, "--from", "2026-05-04", "--cluster", "local")
    assert isinstance(result.exception, NoDask)
    assert "orient[cluster]" in str(result.exception)


@pytest.mark.long
def test_bring_names_a_rig_and_its_rings(campaign):
    arguments = ("bring", campaign, "--from", "2026-05-04", "--to", "2026-05-06", "--site", "ridge")
    rigs = json_of(*arguments, "--show", "rig")
    rings = json_of(*arguments)
    assert rings[0]["rod_mm"] == rigs[0]["rod_mm"]
    assert {row["date"] for row in rings} == {"2026-05-04", "2026-05-06"}
    result = run(*arguments)
    assert result.exit_code == 0
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert f"rod of {rigs[0]['rod_mm']:g} mm" in result.stdout
    kept = json_of(*arguments, "--rod", "150", "--board", "650", "470")
    assert {row["rod_mm"] for row in kept} == {150.0}


def test_bring_shows_a_track_for_one_site_and_day_only(campaign):
    one = ("bring", campaign, "--from", "2026-05-04", "--site", "ridge", "--rod", "250")
    track = json_of(*one, "--board", "650", "470", "--show", "track")
    assert sum(row["noon"] for row in track) == 1
    assert {"x_mm", "y_mm", "shadow_mm", "local"} <= set(track[0])
    result = run("bring", campaign, "--from", "2026-05-04", "--show", "track")
    assert result.exit_code == 2
    assert "one day and one site" in " ".join(result.stderr.split())


BEST = {
    "morning": "2026-05-04T09:05:20+02:00",
    "afternoon": "2026-05-04T15:02:40+02:00",
    "altitude_deg": 40.0,
    "shadow_mm": 357.4,
    "expected_u_deg": 0.2,
}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            {
                "noon_altitude_deg": 84.2,
                "flags": ["sun-too-high"],
                "morning": {"from": "2026-05-04T08:10:00+02:00", "to": "2026-05-04T10:49:40+02:00"},
                "afternoon": {
                    "from": "2026-05-04T13:20:10+02:00",
                    "to": "2026-05-04T16:00:00+02:00",
                },
            },
            "noon sun 84° up: no marks between 10:50 and 13:20; begin at 08:10",
        ),
        (
            {
                "noon_altitude_deg": 51.0,
                "flags": [],
                "morning": {"from": "2026-05-04T08:10:00+02:00", "to": "2026-05-04T10:50:00+02:00"},
                "afternoon": {
                    "from": "2026-05-04T13:20:00+02:00",
                    "to": "2026-05-04T16:00:00+02:00",
                },
            },
            "noon sun 51° up: mark 08:10–10:50 and 13:20–16:00; best pair 09:05 and 15:03, "
            "ring of 357 mm",
        ),
        (
            {"noon_altitude_deg": 40.0, "flags": ["no-window"], "morning": None},
            "noon sun 40° up: no pair meets the target; best pair ±0.39° (95 %); "
            "all marks with a good watch ±0.20° (95 %)",
        ),
        (
            {"noon_altitude_deg": -3.0, "flags": ["sun-too-low", "no-window"], "best": None},
            "the sun does not rise to noon: no marks this day",
        ),
        (
            {"noon_altitude_deg": 9.0, "flags": ["sun-too-low", "no-window"], "best": None},
            "noon sun 9° up: below the lowest sun to mark by, 12°, all day",
        ),
        (
            {"noon_altitude_deg": 31.0, "flags": ["sun-too-low", "no-window"], "best": None},
            "noon sun 31° up: behind the skyline whenever it is above the lowest sun to mark by, "
            "12°",
        ),
    ],
)
def test_sentences_say_what_to_do(row, said):
    whole = {"morning": None, "afternoon": None, "best": BEST, "day_expected_u_deg": 0.1, **row}
    assert sentence(whole) == said


@pytest.mark.parametrize(("latitude", "date"), [("45", "2026-12-20"), ("-38", "2026-06-21")])
def test_what_would_do_does(tmp_path, latitude, date):
    """The rod that the plan names is planned with: the day then meets the target."""
    (tmp_path / "sites.csv").write_text(f"site,latitude_deg,longitude_deg\na,{latitude},20\n")
    run = CliRunner()
    plan = ["plan", str(tmp_path), "--from", date, "--rod", "500"]
    said = " ".join(run.invoke(orient, plan).stdout.split())
    rod = re.search(r"What would do: a rod of (\d+) mm: ±([0-9.]+)°", said)
    assert rod, said
    again = ["plan", str(tmp_path), "--from", date, "--rod", rod[1], "--format", "json"]
    row = json.loads(run.invoke(orient, again).stdout)[0]
    assert row["morning"]
    assert 1.959964 * row["best"]["expected_u_deg"] == pytest.approx(float(rod[2]), abs=0.005)


def test_a_low_winter_sun_names_the_sun_and_the_rod_that_work(tmp_path):
    (tmp_path / "sites.csv").write_text("site,latitude_deg,longitude_deg\na,64,20\n")
    run = CliRunner()
    plan = ["plan", str(tmp_path), "--from", "2026-02-10"]
    said = " ".join(run.invoke(orient, plan).stdout.split())
    found = re.search(r"sun down to (\d)° high and a rod of (\d+) mm(, all)?", said)
    assert found, said
    again = [*plan, "--min-altitude", found[1], "--rod", found[2], "--format", "json"]
    row = json.loads(run.invoke(orient, again).stdout)[0]
    u = row["day_expected_u_deg"] if found[3] else row["best"]["expected_u_deg"]
    assert u <= 0.25


def test_the_target_as_people_see_it(tmp_path):
    (tmp_path / "sites.csv").write_text("site,latitude_deg,longitude_deg\na,45,20\n")
    run = CliRunner()
    plan = ["plan", str(tmp_path), "--from", "2026-05-04", "--rod", "200"]
    as_seen, as_standard = (
        run.invoke(orient, [*plan, "--target", target, "--format", "json"]).stdout
        for target in ("±0.489991", "0.25")
    )
    assert json.loads(as_seen)[0]["morning"] == json.loads(as_standard)[0]["morning"]
    assert "meets ±0.49° (95 %)" in run.invoke(orient, plan).stdout
    assert run.invoke(orient, [*plan, "--target", "±"]).exit_code == 2
