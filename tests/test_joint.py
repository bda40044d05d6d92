"""Set-ups adjusted as one, by files and command, against truth and the best that can be had."""

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from crew_on_file import Crew, add_board, best_possible_deg, crew

from orient.cli import orient
from orient.observation.setups import reduce_campaign
from orient.tables.campaign import read_campaign

WITHIN = 1.959964


@pytest.fixture
def generator():
    return np.random.default_rng(20260611)


def column(rows, key):
    return np.array([np.nan if row[key] is None else row[key] for row in rows])


# --- what is gained, and no more ---------------------------------------------------------------


def test_a_shared_watch_rod_and_eye_make_every_board_better(generator, tmp_path):
    made = crew(generator, watch="running")
    rows = made.reduce(tmp_path / "c")
    together, alone = column(rows, "board_azimuth_u_deg"), column(rows, "alone_azimuth_u_deg")
    assert (together < 0.75 * alone).all()
    assert together == pytest.approx(best_possible_deg(made), rel=0.06)
    assert (np.abs(made.errors_deg(rows)) < 3.29 * together).all()


def test_alone_is_what_each_board_has_by_itself(generator, tmp_path):
    made = crew(generator, boards=3)
    rows = made.reduce(tmp_path / "c")
    alone = made.reduce(tmp_path / "c", "--alone")
    for key in ("timepiece", "rod", "observer"):
        for row in made.setups:
            row.pop(key)
    unshared = made.reduce(tmp_path / "c")
    assert unshared == alone
    assert column(alone, "board_azimuth_deg") == pytest.approx(column(rows, "alone_azimuth_deg"))
    assert all(row["alone_azimuth_deg"] is None for row in alone)
    assert (column(rows, "board_azimuth_deg") != column(alone, "board_azimuth_deg")).all()


def test_one_line_by_many_boards_is_one_azimuth(generator, tmp_path):
    made = crew(generator, one_line=True, boards=5)
    rows = made.reduce(tmp_path / "c")
    line = column(rows, "combined_azimuth_deg")
    assert (line == line[0]).all()
    assert (column(rows, "combined_setups") == 5).all()
    u = rows[0]["combined_azimuth_u_deg"]
    assert u < 0.6 * np.hypot(column(rows, "alone_azimuth_u_deg"), 0.1).min()
    assert abs((line[0] - made.line_deg["A"] + 180) % 360 - 180) < 3.29 * u


def test_a_level_s_bias_shows_when_boards_stand_at_other_azimuths(generator, tmp_path):
    made = crew(generator, level=True, one_line=True, boards=6, watch="running")
    with_level = column(made.reduce(tmp_path / "c"), "board_azimuth_u_deg")
    for row in made.setups:
        row.pop("level")
    without = column(made.reduce(tmp_path / "c"), "board_azimuth_u_deg")
    assert (with_level < without).all()


# --- a watch and its comparisons ---------------------------------------------------------------


def test_comparisons_with_a_time_signal_make_a_running_watch_a_good_one(generator, tmp_path):
    made = crew(generator, boards=4, watch="running")
    before = column(made.reduce(tmp_path / "c"), "board_azimuth_u_deg")
    # The watch gains 8 s a day, as no quartz watch does.
    gained = [8.0 * number - made.truth[number].watch_fast_s + 90.0 for number in range(4)]
    again = Crew()
    for number, truth in enumerate(made.truth):
        row = {key: made.setups[number][key] for key in ("timepiece", "rod", "observer", "watch")}
        truth = replace(truth, watch_fast_s=truth.watch_fast_s + gained[number])
        site = made.setups[number]["site"]
        add_board(again, generator, truth, site, made.sites[site], 100 + number, row, 0.7)
    again.tables["watches.csv"] = (
        "timepiece,date,time,error_s,sd_s\nw0,2026-04-10,12:00,82,1\nw0,2026-04-15,12:00,122,1\n"
    )
    for options in ((), ("--alone",)):
        rows = again.reduce(tmp_path / "d", *options)
        u = column(rows, "board_azimuth_u_deg")
        assert (u < 0.8 * before).all()
        assert (np.abs(again.errors_deg(rows)) < 3.29 * u).all()


def test_a_watch_set_anew_unnoticed_is_taken_for_two(generator, tmp_path):
    made = crew(generator, boards=6, watch="running")
    _set_anew(made, generator, 3, 420.0)
    rows = made.reduce(tmp_path / "c")
    assert [("not-shared" in row["flags"]) for row in rows] == [False] * 3 + [True] * 3
    assert (np.abs(made.errors_deg(rows)) < 3.29 * column(rows, "board_azimuth_u_deg")).all()


def _set_anew(made, generator, first, seconds):
    """The boards from one on again, their watch faster than it was."""
    again = Crew()
    for number, row in enumerate(made.setups):
        truth = made.truth[number]
        if number >= first:
            truth = replace(truth, watch_fast_s=truth.watch_fast_s + seconds)
        keys = {key: value for key, value in row.items() if key not in ("setup", "site", "date")}
        add_board(
            again, generator, truth, row["site"], made.sites[row["site"]], 100 + number, keys, 0.7
        )
    made.truth, made.setups, made.marks, made.utc_s = (
        again.truth, again.setups, again.marks, again.utc_s,
    )  # fmt: skip


@pytest.mark.parametrize("error_s", [60.0, -600.0])
def test_of_three_comparisons_one_that_is_misread_leaves_no_narrow_line(
    error_s, generator, tmp_path
):
    made = crew(generator, boards=6, watch="running")
    lines = ["timepiece,date,time,error_s,sd_s"]
    for number, day in enumerate((9, 13, 17)):
        error = made.truth[0].watch_fast_s + error_s * (number == 1)
        lines.append(f"W0,2026-04-{day:02d},12:00,{error:.0f},1")
    made.tables["watches.csv"] = "\n".join(lines) + "\n"
    rows = made.reduce(tmp_path / "c")
    for key in ("board_azimuth", "alone_azimuth"):
        off = np.abs(made.errors_deg(rows, f"{key}_deg"))
        assert (off[np.isfinite(off)] < 3.0 * column(rows, f"{key}_u_deg")[np.isfinite(off)]).all()


def test_a_shared_watch_that_the_marks_contradict_is_told(generator, tmp_path):
    """Compared once, and the minute misread by four: the boards together show it, none alone."""
    made = crew(generator, boards=8, watch="running")
    error = made.truth[0].watch_fast_s + 240.0
    made.tables["watches.csv"] = f"timepiece,date,error_s,sd_s\nW0,2026-04-14,{error:.0f},1\n"
    rows = made.reduce(tmp_path / "c")
    assert sum("watch-doubtful" in row["flags"] for row in rows) >= 6
    u = column(rows, "board_azimuth_u_deg")
    assert (np.abs(made.errors_deg(rows)) < 3.0 * u).all()


def test_a_watch_that_most_contradict_is_not_believed_by_the_rest(generator, tmp_path):
    """The second of two comparisons is wrong: the first day alone shows nothing of it."""
    made = crew(generator, boards=6, watch="running")
    right = made.truth[0].watch_fast_s
    lines = ["timepiece,date,error_s,sd_s"]
    lines += [f"W0,2026-04-{day},{right + off:.0f},1" for day, off in ((10, 0.0), (17, 840.0))]
    made.tables["watches.csv"] = "\n".join(lines) + "\n"
    rows = made.reduce(tmp_path / "c")
    assert all("watch-doubtful" in row["flags"] for row in rows)
    assert "record-doubtful" not in rows[0]["flags"]
    u = column(rows, "board_azimuth_u_deg")
    assert (np.abs(made.errors_deg(rows)) < 3.0 * u).all()
    assert u[0] > 3.0 * column(rows, "alone_azimuth_u_deg")[0]


def test_the_latitude_of_a_doubtful_record_reaches_the_site_s(generator, tmp_path):
    """A date a week out: the marks put the board 3° from where it stood."""
    made = crew(generator, boards=3, one_line=True)
    made.setups[1]["date"] = str(np.datetime64(made.setups[1]["date"]) + 7)
    row = made.reduce(tmp_path / "c")[1]
    assert "record-doubtful" in row["flags"]
    if row["latitude_deg"] is not None:
        assert abs(row["latitude_deg"] - made.sites["A"][0]) < 2.0 * row["latitude_u_deg"]


# --- one that contradicts the others -----------------------------------------------------------


def test_a_board_wrong_on_its_reference_is_named_and_spoils_nobody(generator, tmp_path):
    made = crew(generator, boards=8, one_line=True)
    made.setups[4]["reference_angle_deg"] += 2.0
    rows = made.reduce(tmp_path / "c")
    assert [row["setup"] for row in rows if "set-apart" in row["flags"]] == ["b5"]
    assert not any("setups-disagree" in row["flags"] for row in rows)
    assert rows[4]["combined_azimuth_deg"] is None
    assert rows[0]["combined_setups"] == 7
    off = (rows[0]["combined_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 3.29 * rows[0]["combined_azimuth_u_deg"]
    # What it says of the line is wide enough for what the others say.
    off = (rows[4]["reference_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 1.96 * rows[4]["reference_azimuth_u_deg"]


@pytest.mark.parametrize("off_deg", [(180.0,), (90.0, 180.0), (-60.0, 45.0)])
def test_a_line_quite_elsewhere_puts_no_site_in_doubt(off_deg, generator, tmp_path):
    made = crew(generator, boards=6, one_line=True)
    for number, off in enumerate(off_deg, start=1):
        made.setups[number]["reference_angle_deg"] += off
    rows = made.reduce(tmp_path / "c")
    wrong = [f"b{number + 1}" for number in range(1, 1 + len(off_deg))]
    assert [row["setup"] for row in rows if "set-apart" in row["flags"]] == wrong
    assert not any("place-doubtful" in row["flags"] for row in rows)
    line = rows[0]["combined_azimuth_deg"] - made.line_deg["A"]
    assert abs((line + 180) % 360 - 180) < 3.29 * rows[0]["combined_azimuth_u_deg"]
    assert rows[0]["combined_setups"] == 6 - len(off_deg)


def test_one_left_out_of_the_adjustment_is_held_against_the_line(generator, tmp_path):
    """Its marks strain its record, so that it bears on nobody; its line lies elsewhere."""
    made = crew(generator, boards=4, one_line=True)
    made.marks[2].loc[6:, "x_mm"] += 4.0
    rows = made.reduce(tmp_path / "c")
    assert rows[2]["combined_azimuth_deg"] is None
    assert "set-apart" not in rows[2]["flags"]
    made.setups[2]["reference_angle_deg"] += 10.0
    rows = made.reduce(tmp_path / "c")
    assert [row["setup"] for row in rows if "set-apart" in row["flags"]] == ["b3"]
    off = (rows[2]["reference_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 1.96 * rows[2]["reference_azimuth_u_deg"]
    # By two set-ups alone it is told as well.
    made.setups, made.marks = made.setups[1:3], made.marks[1:3]
    assert "set-apart" in made.reduce(tmp_path / "d")[1]["flags"]


def test_a_copied_board_with_a_line_of_its_own_states_no_narrow_line(generator, tmp_path):
    made = crew(generator, boards=4, one_line=True)
    # The marks of the first again, beside the line of the second's sheet.
    made.setups.append(made.setups[1] | {"setup": "b5", "date": made.setups[0]["date"]})
    made.marks.append(made.marks[0].assign(setup="b5"))
    row = made.reduce(tmp_path / "c")[4]
    assert {"copied-marks", "set-apart"} <= set(row["flags"])
    if row["reference_azimuth_deg"] is not None:
        off = (row["reference_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
        assert abs(off) < 1.96 * row["reference_azimuth_u_deg"]


def test_lines_without_a_name_are_not_one(generator, tmp_path):
    made = crew(generator, boards=2, one_line=True)
    made.setups[1]["reference_angle_deg"] += 40.0
    for row in made.setups:
        row.pop("reference_name")
    rows = made.reduce(tmp_path / "c")
    assert [row["flags"] for row in rows] == [[], []]
    assert [row["reference_name"] for row in rows] == ["reference of b1", "reference of b2"]
    apart = rows[1]["reference_azimuth_deg"] - rows[0]["reference_azimuth_deg"]
    assert apart % 360 == pytest.approx(40.0, abs=1.0)


def test_a_report_is_made_of_boards_that_give_no_direction(generator, tmp_path):
    made = crew(generator, boards=4, one_line=True)
    made.setups[1]["reference_angle_deg"] += 180.0
    (row,) = [row for row in made.reduce(tmp_path / "c") if "set-apart" in row["flags"]]
    assert row["board_azimuth_deg"] is None
    ran = CliRunner().invoke(orient, ["report", str(tmp_path / "c"), "-o", str(tmp_path / "back")])
    assert ran.exit_code == 0, ran.output
    page = (tmp_path / "back" / "index.html").read_text("utf-8")
    assert "b2 has the line to mast 180." in page.replace("179.", "180.")
    assert "the others contradict its line" in page
    assert "The other set-ups contradict this line: no north is drawn." in page


def test_lines_quite_elsewhere_of_which_none_has_a_majority_give_no_line(generator, tmp_path):
    made = crew(generator, boards=4, one_line=True)
    for number in (1, 2):
        made.setups[number]["reference_angle_deg"] += 90.0
    rows = made.reduce(tmp_path / "c")
    assert all("setups-disagree" in row["flags"] for row in rows)
    assert not any("place-doubtful" in row["flags"] for row in rows)
    assert all(row["reference_azimuth_deg"] is None for row in rows)
    assert (np.abs(made.errors_deg(rows)) < 3.29 * column(rows, "board_azimuth_u_deg")).all()


@pytest.mark.parametrize("off_deg", [0.8, 3.0])
def test_a_line_that_stands_on_a_minority_is_undecided(off_deg, generator, tmp_path):
    """Two of four with the same mistake: neither pair is set apart for the other."""
    made = crew(generator, boards=4, one_line=True)
    for number in (0, 1):
        made.setups[number]["reference_angle_deg"] += off_deg
    rows = made.reduce(tmp_path / "c")
    assert any("setups-disagree" in row["flags"] for row in rows)
    assert not any("set-apart" in row["flags"] for row in rows)
    off = (rows[0]["combined_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 1.96 * rows[0]["combined_azimuth_u_deg"]
    assert (np.abs(made.errors_deg(rows)) < 3.29 * column(rows, "board_azimuth_u_deg")).all()


@pytest.mark.parametrize("off_deg", [1.5, 4.0])
def test_most_of_five_set_two_apart(off_deg, generator, tmp_path):
    made = crew(generator, boards=5, one_line=True)
    for number in (0, 1):
        made.setups[number]["reference_angle_deg"] += off_deg
    rows = made.reduce(tmp_path / "c")
    apart = [row["setup"] for row in rows if "set-apart" in row["flags"]]
    assert apart == ["b1", "b2"] or all("setups-disagree" in row["flags"] for row in rows)
    off = (rows[4]["combined_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 3.29 * rows[4]["combined_azimuth_u_deg"]


def test_two_that_contradict_each_other_are_both_wide(generator, tmp_path):
    made = crew(generator, boards=2, one_line=True)
    made.setups[1]["reference_angle_deg"] += 2.0
    rows = made.reduce(tmp_path / "c")
    assert all("setups-disagree" in row["flags"] for row in rows)
    off = (rows[0]["combined_azimuth_deg"] - made.line_deg["A"] + 180) % 360 - 180
    assert abs(off) < 1.96 * rows[0]["combined_azimuth_u_deg"]
    assert (np.abs(made.errors_deg(rows)) < 1.96 * column(rows, "board_azimuth_u_deg")).all()


def test_marks_copied_under_a_second_id_count_once(generator, tmp_path):
    made = crew(generator, boards=3)
    before = made.reduce(tmp_path / "c")
    made.setups.append({**made.setups[0], "setup": "b1 again"})
    made.marks.append(made.marks[0].assign(setup="b1 again"))
    made.truth.append(made.truth[0])
    rows = made.reduce(tmp_path / "c")
    assert rows[:3] == before
    assert "copied-marks" in rows[3]["flags"]


def test_a_place_is_a_statement_too(generator, tmp_path):
    """Half a degree out of latitude on a map of the world; the crew says so: 60 km."""
    made = crew(generator, boards=2, one_line=True)
    sharp = column(made.reduce(tmp_path / "c"), "board_azimuth_u_deg")
    latitude, longitude = made.sites["A"]
    made.sites["A"] = (latitude + 0.5, longitude)
    made.position_sd_m = 60_000
    rows = made.reduce(tmp_path / "c")
    u = column(rows, "board_azimuth_u_deg")
    assert (u > 1.05 * sharp).all()
    assert (np.abs(made.errors_deg(rows)) < 3.29 * u).all()


@pytest.mark.parametrize(("north", "east"), [(0.0, 0.4), (0.0, -0.6), (0.25, 0.0), (0.0, 0.0)])
def test_a_site_with_wrong_coordinates_is_named(generator, tmp_path, north, east):
    """Its boards contradict them with the crew's watch; the others are not told of.

    Where the marks cannot decide (0.4°, 96 s of time), the lines are as wide as the doubt; where
    they do, no grid or compass bearing is given.
    """
    made = crew(generator, boards=12, at_a_site=4)
    latitude, longitude = made.sites["S1"]
    made.sites["S1"] = (latitude + north, longitude + east)
    rows = made.reduce(tmp_path / "c")
    told = [n for n, row in enumerate(rows) if "place-doubtful" in row["flags"]]
    assert told == ([4, 5, 6, 7] if north or east < -0.5 else [])
    assert not any(OF_OTHERS & set(row["flags"]) for row in rows)
    assert all(rows[n]["reference_grid_bearing_deg"] is None for n in told)
    # Those whose own marks contradict the wrong place are looked into by themselves.
    error = np.abs(made.errors_deg(rows)) / column(rows, "board_azimuth_u_deg")
    assert (error[np.isfinite(column(rows, "alone_azimuth_deg"))] < 3.29).all()


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("watch", {"watch": "running"}),
        ("level_sd_deg", {"level": True, "one_line": True}),
        ("reference_sd_deg", {"one_line": True}),
    ],
)
def test_what_would_help_does_what_is_told_of_it(generator, tmp_path, name, kinds):
    """The crew does it: the lines are then as good as was said before, to a tenth."""
    made = crew(generator, **kinds)
    before = reduce_campaign(read_campaign(made.write(tmp_path / "c")))
    together = before[0].joined.together
    key = "reference" if name == "reference_sd_deg" else name
    told = [result.joined.together.better[key][n] for n, result in enumerate(before)]
    assert any("What would help most" in remark for remark in before[0].remarks)
    if name == "watch":
        day = made.setups[2]["date"]
        error = made.truth[2].watch_fast_s
        made.tables["watches.csv"] = f"timepiece,date,error_s,sd_s\nW0,{day},{error},1\n"
    else:
        for row, truth in zip(made.setups, made.truth, strict=True):
            row[name] = {"level_sd_deg": 0.05, "reference_sd_deg": 0.05}[name]
            if name == "reference_sd_deg":
                drawn = made.line_deg["A"] - truth.board_azimuth_deg
                off = (row["reference_angle_deg"] - drawn + 180.0) % 360.0 - 180.0
                row["reference_angle_deg"] = (drawn + off / 2.0) % 360.0
    after = reduce_campaign(read_campaign(made.write(tmp_path / "c")))
    figure = "reference_azimuth_u_deg" if "one_line" in kinds else "board_azimuth_u_deg"
    ratio = [b.row[figure] / a.row[figure] for a, b in zip(before, after, strict=True)]
    assert ratio == pytest.approx(told, rel=0.1)
    assert set(together.better) >= {"watch", "mark_sd_mm", "height_sd_mm"}


# --- many campaigns ----------------------------------------------------------------------------

CAMPAIGNS = [
    {"boards": 6},
    {"boards": 6, "watch": "running"},
    {"boards": 9, "latitude_deg": -40.0, "watches": 2, "rate_s": 1.0},
    {"boards": 12, "latitude_deg": 58.0, "watches": 3, "rate_s": 1.0, "watch": "running"},
    {"boards": 8, "one_line": True, "level": True},
    {"boards": 60, "watches": 3, "rate_s": 1.0, "latitude_deg": -20.0},
]


@pytest.mark.slow
def test_as_good_as_can_be_and_as_good_as_is_said(tmp_path):
    """Errors against the least standard uncertainty possible: within 10 %; 93 to 97 % inside."""
    scaled, inside = [], []
    for number, kinds in enumerate(CAMPAIGNS):
        for turn in range(max(1, 150 // kinds["boards"])):
            made = crew(np.random.default_rng([5, number, turn]), **kinds)
            rows = made.reduce(tmp_path / "c")
            error = made.errors_deg(rows)
            scaled.append(error / best_possible_deg(made, rate_s=kinds.get("rate_s", 0.0)))
            inside.append(np.abs(error) < WITHIN * column(rows, "board_azimuth_u_deg"))
    assert np.sqrt(np.mean(np.concatenate(scaled) ** 2)) < 1.10
    assert 0.93 <= np.mean(np.concatenate(inside)) <= 0.97


def _wrong_line(made, generator):
    made.setups[3]["reference_angle_deg"] += 2.0
    return [3]


def _swapped_axes(made, generator):
    made.marks[3] = made.marks[3].rename(columns={"x_mm": "y_mm", "y_mm": "x_mm"})
    return [3]


def _nudged(made, generator):
    """Turned about the foot by a degree and a half, in the middle of its day."""
    table = made.marks[3].copy()
    late = np.arange(len(table)) >= len(table) // 2
    turned = (table["x_mm"] + 1j * table["y_mm"]) * np.exp(1j * np.radians(1.5))
    table["x_mm"] = np.where(late, turned.to_numpy().real, table["x_mm"])
    table["y_mm"] = np.where(late, turned.to_numpy().imag, table["y_mm"])
    made.marks[3] = table
    return [3]


def _watch_reset(made, generator):
    _set_anew(made, generator, 4, 300.0)
    return [4, 5, 6]


#: Each mistake and how many campaigns it is tried on: boards that contradict their own record
#: are looked into one by one, so that those take longer.
MISTAKES = ((_wrong_line, 24), (_watch_reset, 24), (_swapped_axes, 5), (_nudged, 5))
OF_OTHERS = {"set-apart", "not-shared", "setups-disagree"}
HARMLESS = {"grid-edge", "few-pairs", "one-sided", "near-noon", "blunder"}


@pytest.mark.slow
def test_a_culprit_is_named_and_the_others_keep_their_truth(tmp_path):
    """The culprit in 9 of 10; of the others 91 to 98 % inside, and none named for it.

    A sound board is in doubt by its own marks once in a hundred, in a campaign too.
    """
    named, inside, doubted = [], [], []
    for kind, (wrong, campaigns) in enumerate(MISTAKES):
        for turn in range(campaigns):
            generator = np.random.default_rng([17, kind, turn])
            kinds = {"watch": "running"} if wrong is _watch_reset else {"one_line": True}
            made = crew(generator, boards=7, **kinds)
            culprits = wrong(made, generator)
            rows = made.reduce(tmp_path / "c")
            flags = [set(row["flags"]) - HARMLESS for row in rows]
            named.append(all(flags[culprit] for culprit in culprits))
            good = [n for n in range(7) if n not in culprits]
            error = made.errors_deg(rows)[good]
            u = column(rows, "board_azimuth_u_deg")[good]
            inside.append(np.abs(error) < WITHIN * u)
            assert (np.abs(error) < 4.0 * u).all()
            assert not any(flags[n] & OF_OTHERS for n in good), (wrong.__name__, turn)
            doubted += [bool(flags[n]) for n in good]
    assert np.mean(named) >= 0.9
    assert 0.91 <= np.mean(np.concatenate(inside)) <= 0.98
    assert np.mean(doubted) <= 0.015


@pytest.mark.slow
def test_marks_twice_as_rough_as_stated(tmp_path):
    """The figure follows the marks: 90 % and more inside, and as good as rough marks can be."""
    inside, stated = [], []
    for turn in range(5):
        made = crew(np.random.default_rng([9, turn]), boards=6, rough=2.0)
        rows = made.reduce(tmp_path / "c")
        u = column(rows, "board_azimuth_u_deg")
        inside.append(np.abs(made.errors_deg(rows)) < WITHIN * u)
        stated.append(u / best_possible_deg(made, rough=2.0))
    assert np.mean(np.concatenate(inside)) >= 0.90
    assert 0.85 < np.mean(np.concatenate(stated)) < 1.2
