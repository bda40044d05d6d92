"""What the commands say of a day's work is true, and following it gives a right line."""

import csv
import json
import re
from datetime import datetime, timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from orient.cli import orient

LINE = 142.5
DAY = ["--site", "quarry", "--date", "2026-09-14"]


def run(*arguments):
    ran = CliRunner().invoke(orient, [str(each) for each in arguments])
    assert ran.exit_code == 0, ran.output
    return " ".join(ran.output.split()), ran.stdout


def rows_of(table):
    with table.open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def write(table, rows):
    with table.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def place(tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    sites = "site,latitude_deg,longitude_deg,elevation_m\nquarry,38°24′S,145°50′E,120\n"
    (folder / "sites.csv").write_text(sites, "utf-8")
    return folder


@pytest.fixture
def board(place, tmp_path):
    run("simulate", place, *DAY, "--seed", 4, "--line", LINE, "-o", tmp_path / "board")
    return tmp_path / "board"


def error_times(board):
    """A line's error in its stated standard uncertainties, and these in degrees."""
    (row,) = json.loads(run("reduce", board, "--format", "json")[1])
    u = row["reference_azimuth_u_deg"]
    return abs((row["reference_azimuth_deg"] - LINE + 180) % 360 - 180) / u, u


@pytest.mark.parametrize("drawn_again", [False, True])
def test_marks_made_after_a_turn_are_left_out_as_the_flag_says(board, drawn_again):
    marks = rows_of(board / "marks.csv")
    (setup,) = rows_of(board / "setups.csv")
    turn = np.exp(1j * np.radians(3.0))
    if drawn_again:
        end = (float(setup["reference_x_mm"]) + 1j * float(setup["reference_y_mm"])) * turn
        again = {
            "reference_close_x_mm": f"{end.real:.1f}",
            "reference_close_y_mm": f"{end.imag:.1f}",
        }
        write(board / "setups.csv", [setup | again])
    for mark in marks[7:]:
        tip = (float(mark["x_mm"]) + 1j * float(mark["y_mm"])) * turn
        mark["x_mm"], mark["y_mm"] = f"{tip.real:.1f}", f"{tip.imag:.1f}"
    write(board / "marks.csv", marks)
    said, _ = run("reduce", board, "--verbose")
    assert "the board was turned by" in said
    assert "between mark 7 and mark 8" in said
    assert "write no in `use` of the marks that were not made" in said
    assert "leave the line drawn again at the end blank" in said
    # Not to state marks coarser than they are, nor a latitude that the turn spoils.
    assert "scatter-large" not in said
    assert "which makes the latitude" not in said
    assert error_times(board)[0] < 1.96
    using = ["yes"] * 7 + ["no"] * len(marks[7:])
    write(board / "marks.csv", [m | {"use": use} for m, use in zip(marks, using, strict=True)])
    write(board / "setups.csv", [setup])
    times, u = error_times(board)
    assert times < 3.29
    assert u < 0.3


def test_a_watch_that_shows_utc_past_midnight_is_told_and_put_right_either_way(board):
    """At 145° east the morning's marks stand on the evening before by such a watch."""
    marks, (setup,) = rows_of(board / "marks.csv"), rows_of(board / "setups.csv")
    right = [mark["time"] for mark in marks]
    for mark in marks:
        mark["time"] = f"{(int(mark['time'][:2]) - 10) % 24:02d}{mark['time'][2:]}"
    write(board / "marks.csv", marks)
    said, _ = run("reduce", board, "--verbose")
    assert "the watch was 10 h behind the site's clock: it showed UTC" in said
    slow = float(re.search(r"The watch was (\S+) h slow", said)[1])
    assert slow == pytest.approx(10.0, abs=0.05)
    write(board / "setups.csv", [setup | {"watch_error_s": "-36000"}])
    by_error = error_times(board)
    write(board / "setups.csv", [setup])
    write(board / "marks.csv", [m | {"time": at} for m, at in zip(marks, right, strict=True)])
    by_times = error_times(board)
    assert by_error == pytest.approx(by_times, rel=1e-3)
    assert by_times[0] < 3.29
    assert by_times[1] < 0.25


def test_no_latitude_is_told_from_a_rod_that_is_in_doubt(board):
    said, _ = run("reduce", board, "--verbose")
    assert "which makes the latitude 38." in said
    assert "° S ± " in said
    (setup,) = rows_of(board / "setups.csv")
    write(board / "setups.csv", [setup | {"gnomon_height_mm": "330"}])
    said, _ = run("reduce", board, "--verbose")
    assert "height-doubtful" in said
    assert "which makes the latitude" not in said
    assert error_times(board)[0] < 3.29


def test_a_set_up_without_a_mark_says_so(board):
    (setup,) = rows_of(board / "setups.csv")
    write(board / "setups.csv", [setup, setup | {"setup": "empty"}])
    assert "empty: No usable mark: nothing to reduce." in run("reduce", board)[0]


def test_one_mark_without_a_watch_says_what_is_missing(board):
    (setup,) = rows_of(board / "setups.csv")
    write(board / "setups.csv", [setup | {"watch": "none"}])
    write(board / "marks.csv", [rows_of(board / "marks.csv")[0] | {"time": ""}])
    assert "s01: These marks do not fix a direction: more are needed" in run("reduce", board)[0]


def test_the_plan_tells_beforehand_what_the_line_will_be_good_to(place, board):
    said, _ = run("plan", place, "--from", DAY[3])
    expected = float(re.search(r"point 300 mm from the foot is then good to ±([0-9.]+)°", said)[1])
    (setup,) = rows_of(board / "setups.csv")
    end = np.array([float(setup["reference_x_mm"]), float(setup["reference_y_mm"])])
    end *= 300.0 / np.hypot(*end)
    point = {"reference_x_mm": f"{end[0]:.1f}", "reference_y_mm": f"{end[1]:.1f}"}
    write(board / "setups.csv", [setup | point])
    assert 1.96 * error_times(board)[1] == pytest.approx(expected, rel=0.1)


def test_a_crew_s_run_is_as_good_as_the_reduction_of_it_says(place, tmp_path):
    pytest.importorskip("ortools")
    watch = ("--watch", "trusted", "--watch-sd", 5)
    on = ("--from", DAY[3], "--start", "quarry", "--day-end", "11:00")
    (visit,) = json.loads(run("crew", place, *on, *watch, "--format", "json")[1])
    care = (*watch, "--every", 10, "--seed", 4)
    run("simulate", place, *DAY, *care, "-o", tmp_path / "run")
    marks = rows_of(tmp_path / "run" / "marks.csv")
    assert not all(mark["time"].endswith(":00") for mark in marks)
    # The mark nearest to the first of the visit, and those after it.
    begin = visit["marks_from"][11:16]
    first = next(n for n, mark in enumerate(marks) if mark["time"][:4] >= begin[:4])
    lasts = [datetime.fromisoformat(visit[name]) for name in ("marks_from", "marks_to")]
    count = 1 + (lasts[1] - lasts[0]) // timedelta(minutes=10)
    write(tmp_path / "run" / "marks.csv", marks[first : first + count])
    (setup,) = rows_of(tmp_path / "run" / "setups.csv")
    write(tmp_path / "run" / "setups.csv", [setup | {"watch_sd_s": "5"}])
    (row,) = json.loads(run("reduce", tmp_path / "run", "--format", "json")[1])
    assert row["board_azimuth_u_deg"] == pytest.approx(visit["expected_u_deg"], rel=0.15)


def test_the_mistakes_that_can_be_asked_for_are_listed_alone(place):
    assert "summer-time: " in run("simulate", place, "--mistake", "list")[0]
