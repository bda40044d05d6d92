"""A class through its own door: prepared, practised, compared, handed back."""

import csv
import json

import numpy as np
import pytest
from click.testing import CliRunner
from pdf_text import texts

from orient.cli import orient
from orient.errors import InputError
from orient.practice.classes import middle_of

#: Mistakes given, and a word of the sentence that must name each.
GIVEN = {
    "summer-time": "summer time",
    "swapped": "swapped",
    "ground": "height",
    "turned": "turned",
    "line-misread": "anticlockwise",
    "bad-mark": "does not fit",
}


@pytest.fixture
def camp(tmp_path):
    folder = tmp_path / "camp"
    folder.mkdir()
    (folder / "sites.csv").write_text("site,latitude_deg,longitude_deg\nmeadow,47.5,11.2\n")
    return folder


def roster_of(tmp_path, count):
    path = tmp_path / "roster.csv"
    path.write_text("student\n" + "".join(f"Pupil {n:02d}\n" for n in range(1, count + 1)))
    return path


def run(*arguments):
    return CliRunner().invoke(orient, list(map(str, arguments)))


def practised(camp, seed, students, mistakes):
    folder = camp.parent / f"class-{seed}"
    given = [option for name in mistakes for option in ("--mistake", name)]
    where = ("--site", "meadow", "--date", "2026-06-10", "--every", 30, "--line", 210)
    done = run(
        "simulate", camp, *where, "--students", students, "--seed", seed, *given, "-o", folder
    )
    assert done.exit_code == 0, done.output
    key = (camp.parent / f"class-{seed}-key.csv").read_text().splitlines()
    return folder, {row["setup"]: row["mistake"] for row in csv.DictReader(key)}


def test_twenty_students_with_six_mistakes_among_them(camp, tmp_path):
    folder, key = practised(camp, 3, 20, GIVEN)
    roster = roster_of(tmp_path, 20)
    done = run("class", folder, roster, "--format", "json", "-o", tmp_path / "back")
    assert done.exit_code == 0, done.output
    rows = json.loads(done.stdout[: done.stdout.rindex("]") + 1])
    named = 0
    for row in rows:
        mistake = key[row["setup"]]
        if mistake:
            named += GIVEN[mistake] in row["likeliest_mistake"]
        else:
            assert row["likeliest_mistake"] == "", row
            assert abs(row["error_deg"]) < 4 * row["reference_azimuth_95_deg"] / 1.96
    assert named >= 5
    back = list(csv.DictReader((tmp_path / "back" / "class.csv").read_text().splitlines()))
    assert [row["student"] for row in back] == [row["student"] for row in rows]
    page = (tmp_path / "back" / "class.html").read_text()
    assert "Pupil 07" in page
    assert "the middle of" in page


@pytest.mark.slow
def test_no_clean_student_of_fifty_classes_is_accused_and_nine_mistakes_in_ten_are_named(
    camp, tmp_path
):
    """Fifty classes of twenty, eight of them with six mistakes among their students."""
    roster, named, accused = roster_of(tmp_path, 20), [], []
    for seed in range(50):
        folder, key = practised(camp, 100 + seed, 20, GIVEN if seed < 8 else ())
        rows = json.loads(run("class", folder, roster, "--format", "json").stdout)
        for row in rows:
            mistake = key[row["setup"]]
            if mistake:
                named.append(GIVEN[mistake] in row["likeliest_mistake"])
            elif row["likeliest_mistake"]:
                accused.append((seed, row))
    assert len(named) == 48
    assert np.mean(named) >= 0.9
    assert accused == []


def test_sheets_swapped_between_two_and_one_typed_in_twice_are_told(camp, tmp_path):
    folder, _ = practised(camp, 11, 6, ())
    whose = {"s02": "s03", "s03": "s02", "s06": ""}
    rows = list(csv.DictReader((folder / "marks.csv").read_text().splitlines()))
    handed_in = [row | {"setup": whose.get(row["setup"], row["setup"])} for row in rows]
    handed_in += [row | {"setup": "s06"} for row in rows if row["setup"] == "s01"]
    handed_in = [row for row in handed_in if row["setup"] and row["setup"] != "s04"]
    with (folder / "marks.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(handed_in)
    told = json.loads(
        run("class", folder, roster_of(tmp_path, 7), "--truth", 210, "--format", "json").stdout
    )
    said = [row["likeliest_mistake"] for row in told]
    assert said[0] == said[4] == ""
    assert "With the line of Pupil 03" in said[1]
    assert "With the line of Pupil 02" in said[2]
    assert said[3] == "No mark was typed in."
    assert said[5] == "The marks are those of Pupil 01: one sheet was typed in twice."
    assert said[6] == "The campaign has no such set-up."


def test_of_many_set_ups_that_a_sheet_may_be_of_one_is_named(camp, tmp_path):
    folder, key = practised(camp, 12, 8, ("date-swapped",))
    rows = json.loads(run("class", folder, roster_of(tmp_path, 8), "--format", "json").stdout)
    (said,) = (row["likeliest_mistake"] for row in rows if key[row["setup"]])
    assert "Day and month of the date are swapped" in said
    assert said.count("the marks fit the site, date and rod of set-up") == 1
    assert "or of 6 more of that day: its id, perhaps" in said


def test_compared_with_a_known_azimuth_and_with_the_instructor(camp, tmp_path):
    folder, _ = practised(camp, 5, 4, ())
    roster = roster_of(tmp_path, 3)
    known = json.loads(run("class", folder, roster, "--truth", 210, "--format", "json").stdout)
    for row in known:
        assert row["error_deg"] == pytest.approx(row["reference_azimuth_deg"] - 210, abs=1e-6)
    own = json.loads(run("class", folder, roster, "--instructor", "s04", "--format", "json").stdout)
    lines = json.loads(run("reduce", folder, "--alone", "--format", "json").stdout)
    teacher = next(row for row in lines if row["setup"] == "s04")["reference_azimuth_deg"]
    for row in own:
        assert row["error_deg"] == pytest.approx(row["reference_azimuth_deg"] - teacher, abs=1e-6)


def test_the_list_of_the_class_is_never_written_over(camp, tmp_path):
    """Not even with --force, and by no other name that it has."""
    roster = tmp_path / "class.csv"
    roster.write_text("student\nAda\n")
    (tmp_path / "students.csv").hardlink_to(roster)
    for name in ("class.csv", "students.csv"):
        arguments = ["class", str(camp), str(tmp_path / name), "-o", str(tmp_path), "--force"]
        with pytest.raises(InputError, match="what this command reads"):
            orient([*arguments, "--truth", "10"], standalone_mode=False)
        assert roster.read_text() == "student\nAda\n"


def test_numbers_in_place_of_names(camp, tmp_path):
    folder, _ = practised(camp, 6, 3, ())
    done = run("class", folder, roster_of(tmp_path, 3), "--numbers", "-o", tmp_path / "back")
    assert done.exit_code == 0
    for text in (done.stdout, *(p.read_text() for p in (tmp_path / "back").iterdir())):
        assert "Pupil" not in text


def test_what_students_found_by_hand_stands_beside_what_was_computed(camp, tmp_path):
    folder, _ = practised(camp, 5, 4, ())
    roster = roster_of(tmp_path, 4)
    assert "by hand" not in run("class", folder, roster, "--truth", 210).stdout
    found = {"s01": "210.3", "s02": "", "s03": "29.9", "s04": "209.6"}
    changed(folder / "setups.csv", lambda row: row | {"hand_azimuth_deg": found[row["setup"]]})
    told = run("class", folder, roster, "--truth", 210, "--format", "json", "-o", tmp_path / "back")
    rows = json.loads(told.stdout[: told.stdout.rindex("]") + 1])
    for row in rows:
        if not found[row["setup"]]:
            assert row["hand_azimuth_deg"] is row["hand_difference_deg"] is None
            continue
        apart = float(found[row["setup"]]) - row["reference_azimuth_deg"]
        assert row["hand_difference_deg"] == pytest.approx((apart + 180) % 360 - 180, abs=1e-9)
    table = run("class", folder, roster, "--truth", 210).stdout
    page = (tmp_path / "back" / "class.html").read_text("utf-8")
    lines = {row["setup"]: row["hand_difference_deg"] for row in rows}
    for text in (table, page):
        assert "by hand" in text
        assert f"{lines['s01']:+.2f}°".replace("-", "−") in text
    done = run("report", folder, "-o", tmp_path / "report")
    assert done.exit_code == 0
    assert "the line by hand" in (tmp_path / "report" / "index.html").read_text("utf-8")
    # Held against the student's own sheet, though the lines of the class are joined.
    table = run("reduce", folder).stdout
    assert "By hand: the azimuth found by hand, less what that board alone gives." in table
    assert f"{lines['s04']:+.2f}°".replace("-", "−") in table


@pytest.mark.parametrize("date", ["2026-02-20", "2026-03-25", "2026-10-20"])
@pytest.mark.slow
def test_where_no_rod_meets_the_target_the_shadow_still_falls_on_the_sheet(camp, tmp_path, date):
    roster = roster_of(tmp_path, 1)
    done = run("class", camp, roster, "--site", "meadow", "--date", date, "-o", tmp_path / "new")
    assert done.exit_code == 0, done.output
    assert "does not fall on this sheet" not in done.output


def test_prepared_for_the_day(camp, tmp_path):
    roster = roster_of(tmp_path, 2)
    new = tmp_path / "meadow-class"
    done = run("class", camp, roster, "--site", "meadow", "--date", "2026-06-10", "-o", new)
    assert done.exit_code == 0, done.output
    setups = list(csv.DictReader((new / "setups.csv").read_text().splitlines()))
    assert [row["setup"] for row in setups] == [f"s{n:02d}" for n in range(1, 3)]
    assert {row["hand_azimuth_deg"] for row in setups} == {""}
    assert "No student has a line yet: type in the marks" in run("class", new, roster).output
    assert run("reduce", new).exit_code == 0
    pages = texts(new / "sheets.pdf")
    for number, row in enumerate(setups, start=1):
        own = [text for text in pages if f"Pupil {number:02d}" in text]
        assert len(own) == len(pages) / 2
        assert all(row["setup"] in text for text in own)
        assert f"Name, crew: Pupil {number:02d} Set-up: {row['setup']}" in own[0]
    for text in pages:
        assert "Never look at the sun" in text
    assert sum("Its true azimuth, found by hand: ________°" in text for text in pages) == 2
    again = run("class", camp, roster, "--site", "meadow", "--date", "2026-06-10", "-o", new)
    assert "files in it" in str(again.exception)


def test_faults_of_the_list_are_told_at_once(camp, tmp_path):
    folder, _ = practised(camp, 7, 3, ())
    roster = tmp_path / "roster.csv"
    roster.write_text("student,setup\nAnn,s01\nAnn,s02\n,s02\n")
    done = run("class", folder, roster)
    assert done.exit_code == 1
    for said in ("row 3", "row 4", "student", "setup"):
        assert said in str(done.exception)
    short = roster_of(tmp_path, 2)
    assert "give the truth" in run("class", folder, short).output


@pytest.mark.parametrize(
    ("roster", "options", "said"),
    [
        ("student\nAda\n", ["--reference", "mast\x1b[31m"], "column reference_name"),
        ("student\nAda\n", ["--reference", "m" * 300], "at most 250 letters"),
        ("student,setup\nAda,b1\nBo,B1\n", [], "differs from 'b1' in row 2 by more than capitals"),
    ],
)
def test_a_class_that_could_not_be_read_is_not_written(camp, tmp_path, roster, options, said):
    path, folder = tmp_path / "list.csv", tmp_path / "day"
    path.write_text(roster)
    prepare = ["--site", "meadow", "--date", "2026-06-10", "-o", folder]
    ran = run("class", camp, path, *prepare, *options)
    assert isinstance(ran.exception, InputError)
    assert said in str(ran.exception)
    assert not folder.exists()


def test_the_middle_is_where_most_lines_are():
    u = np.full(9, 0.1)
    lines = np.array([359.9, 0.1, 0.0, 359.95, 0.05, 40.0, 200.0, 180.0, 0.02])
    middle = middle_of(lines, u)
    assert abs((middle.azimuth_deg + 180) % 360 - 180) < 0.05
    assert middle_of(np.arange(9) * 40.0, u) is None
    assert middle_of([1.0, 2.0], [0.1, 0.1]) is None


def changed(path, change):
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    with path.open("w", encoding="utf-8", newline="") as table:
        writer = csv.DictWriter(table, list(rows[0]))
        writer.writeheader()
        writer.writerows(change(row) for row in rows)


def test_a_student_without_a_line_is_told_why_and_the_others_are_compared(camp, tmp_path):
    """Nonsense for marks, and a line whose direction was not typed in."""
    folder, _ = practised(camp, 7, 5, ())
    generator = np.random.default_rng(3)

    def nonsense(row):
        place = generator.uniform(-300, 300, 2).round(1)
        return (
            row | dict(zip(("x_mm", "y_mm"), place, strict=True)) if row["setup"] == "s02" else row
        )

    changed(folder / "marks.csv", nonsense)
    blank = {"reference_angle_deg": "", "reference_x_mm": "", "reference_y_mm": ""}
    changed(
        folder / "setups.csv",
        lambda row: (
            row | {key: "" for key in blank if key in row} if row["setup"] == "s03" else row
        ),
    )
    done = run("class", folder, roster_of(tmp_path, 5), "--format", "json", "-o", tmp_path / "back")
    assert done.exit_code == 0, done.output
    rows = json.loads(done.stdout[: done.stdout.rindex("]") + 1])
    said = {row["setup"]: row["likeliest_mistake"] for row in rows}
    assert "no single mistake explains it" in said["s02"]
    assert said["s03"] == "The line's direction was not typed in."
    assert [said[name] for name in ("s01", "s04", "s05")] == ["", "", ""]
    done = run("class", folder, roster_of(tmp_path, 5), "--instructor", "s02")
    assert done.exit_code in (1, 2)
    assert done.exception is None or not isinstance(done.exception, TypeError | KeyError)


def test_a_wide_line_is_followed_by_where_to_look(camp):
    """The line's point typed in centimetres: near the foot, so that the line is poor."""
    folder, _ = practised(camp, 8, 1, ())
    where = "What makes a figure wide, and what would help most: --verbose."
    assert where not in run("reduce", folder).stdout

    def centimetres(row):
        return row | {
            key: str(float(row[key]) / 10) for key in ("reference_x_mm", "reference_y_mm")
        }

    changed(folder / "setups.csv", centimetres)
    assert where in run("reduce", folder).stdout
    verbose = run("reduce", folder, "--verbose").stdout
    assert where not in verbose
    assert "What would help most: a reference line drawn twice as closely" in verbose
