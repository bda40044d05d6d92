"""`orient take`: the field page's log into the tables, all or nothing."""

import json
import re

import pytest

from orient.cli import run as run_command
from orient.tables.campaign import read_campaign

SITES = "site,latitude_deg,longitude_deg\nridge,46.5,9.8\n"
SETUP = {
    "setup": "b1", "site": "ridge", "date": "2026-05-05", "gnomon_height_mm": 300.2,
    "watch_error_s": 3.1, "watch_sd_s": 0.1,
}  # fmt: skip
MARKS = [
    {"setup": "b1", "mark": "1", "time": "09:00:20.5", "x_mm": -533.8, "y_mm": -48.8},
    {"setup": "b1", "mark": "2", "time": "09:20:20.5", "length_mm": 480, "angle_deg": 271.2,
     "use": "no", "note": "=SUM(A1)"},
]  # fmt: skip


def log(folder, name="log.json", setups=(SETUP,), marks=MARKS, ids=("a",), **more):
    told = {
        "format": "orient field log",
        "version": 1,
        "campaign": "camp",
        "tables": {"setups": list(setups), "marks": list(marks)},
        "entries": [{"id": each} for each in ids],
        "unmeasured": [],
    } | more
    path = folder / name
    path.write_text(json.dumps(told), encoding="utf-8")
    return path


@pytest.fixture
def camp(tmp_path):
    folder = tmp_path / "camp"
    folder.mkdir()
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return folder


def take(capsys, *arguments):
    capsys.readouterr()
    status = run_command(["take", *(str(each) for each in arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


def tables(folder):
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


def test_tables_that_are_not_there_are_begun(camp, tmp_path, capsys):
    status, out, err = take(capsys, camp, log(tmp_path))
    assert (status, err) == (0, "")
    assert "setups.csv: 1 set-up added." in out
    campaign = read_campaign(camp)
    assert campaign.setups.loc["b1", "watch_sd_s"] == 0.1
    assert campaign.marks["time_s"].tolist() == [9 * 3600 + 20.5, 9 * 3600 + 20 * 60 + 20.5]
    assert campaign.marks["use"].tolist() == [True, False]
    # A note that a spreadsheet would run is kept from it.
    assert b"'=SUM(A1)" in (camp / "marks.csv").read_bytes()


def test_twice_is_once_and_later_marks_are_added(camp, tmp_path, capsys):
    take(capsys, camp, log(tmp_path, marks=MARKS[:1]))
    status, out, _ = take(capsys, camp, log(tmp_path))
    assert status == 0
    assert "1 mark added, 1 there already" in out
    before = tables(camp)
    assert take(capsys, camp, log(tmp_path))[0] == 0
    assert tables(camp) == before


def test_compass_readings_and_comparisons_have_tables_of_their_own(camp, tmp_path, capsys):
    told = {
        "setups": [SETUP | {"reference_name": "cairn", "reference_angle_deg": 20.0}],
        "marks": MARKS,
        "readings": [
            {"reading": f"ab-{n}", "site": "ridge", "date": "2026-05-05", "time": "09:30",
             "target": "cairn", "reading_deg": 17.5 + n}
            for n in range(2)
        ],
        "watches": [
            {"timepiece": "anna", "date": "2026-05-05", "time": "08:31:07", "error_s": 3.2,
             "sd_s": 0.11}
        ],
    }  # fmt: skip
    path = log(tmp_path, tables=told)
    status, out, err = take(capsys, camp, path)
    assert (status, err) == (0, "")
    assert "readings.csv: 2 compass readings added." in out
    assert "watches.csv: 1 comparison of a watch added." in out
    campaign = read_campaign(camp)
    assert campaign.readings["reading_deg"].tolist() == [17.5, 18.5]
    assert campaign.watches["error_s"].tolist() == [3.2]
    before = tables(camp)
    assert take(capsys, camp, path)[0] == 0
    assert tables(camp) == before


def test_what_stands_in_the_tables_stays_byte_for_byte(camp, tmp_path, capsys):
    (camp / "setups.csv").write_bytes(
        "\ufeffsetup;site;date;gnomon_height_mm;weather\r\n"
        "old;ridge;2026-05-01;299,5;thin cloud\r\n".encode()
    )
    (camp / "marks.csv").write_bytes(b"setup;time;x_mm;y_mm\r\nold;10:00;1,5;200\r\n")
    before = tables(camp)
    assert take(capsys, camp, log(tmp_path))[0] == 0
    after = tables(camp)
    assert b"old;ridge;2026-05-01;299,5;thin cloud" in after["setups.csv"]
    assert b"b1;ridge;2026-05-05;300,2" in after["setups.csv"]
    assert after["marks.csv"].splitlines()[1].startswith(before["marks.csv"].splitlines()[1])


def test_a_row_that_differs_is_shown_and_nothing_is_written(camp, tmp_path, capsys):
    take(capsys, camp, log(tmp_path, marks=MARKS[:1]))
    before = tables(camp)
    other = [MARKS[0] | {"x_mm": -533.0}, MARKS[1]]
    status, out, err = take(capsys, camp, log(tmp_path, marks=other))
    assert status == 1
    assert re.search(r"x_mm\s+-533\.8\s+-533\b", out)
    assert "Nothing was written" in err
    assert tables(camp) == before
    status, out, _ = take(capsys, camp, log(tmp_path, marks=other), "--keep-tables")
    assert status == 0
    assert "1 mark added" in out
    assert b"-533.8" in (camp / "marks.csv").read_bytes()


def test_logs_that_differ_are_told_apart_from_the_table(camp, tmp_path, capsys):
    """No table has the row: none can be kept, and neither log is taken for right."""
    take(capsys, camp, log(tmp_path, marks=MARKS[:1]))
    before = tables(camp)
    one = log(tmp_path, "one.json", ids=("b",))
    other = log(tmp_path, "other.json", marks=[MARKS[1] | {"angle_deg": 91.2}], ids=("c",))
    for more in ([], ["--keep-tables"]):
        status, out, err = take(capsys, camp, one, other, *more)
        assert status == 1
        assert "marks.csv, row" not in out
        assert re.search(r"marks: b1 2\s+angle_deg\s+271\.2\s+91\.2", out)
        assert "take the right one first" in err
        assert "Put the table right" not in err
        assert tables(camp) == before
    assert take(capsys, camp, other)[0] == 0
    assert take(capsys, camp, one, "--keep-tables")[0] == 0
    assert b",91.2" in (camp / "marks.csv").read_bytes()


def test_the_same_log_saved_again_later_counts_once(camp, tmp_path, capsys):
    early = log(tmp_path, "early.json", marks=MARKS[:1], ids=("a",))
    closed = SETUP | {"reference_angle_deg": 20.0, "reference_close_deg": 20.1}
    late = log(tmp_path, "late.json", setups=(closed,), ids=("a", "b"))
    status, out, _ = take(capsys, camp, early, late)
    assert status == 0, out
    assert read_campaign(camp).setups.loc["b1", "reference_close_deg"] == pytest.approx(20.1)


def test_marks_without_a_serial_are_known_by_that_which_reading_gives_them(camp, tmp_path, capsys):
    take(capsys, camp, log(tmp_path, marks=()))
    head = "setup,mark,time,x_mm,y_mm\n"
    table = f"{head}b1,2,09:20:20.5,-480,8\nb1,,09:00:20.5,-533.8,-48.8\n"
    (camp / "marks.csv").write_text(table)
    assert read_campaign(camp).marks["mark"].tolist() == ["2", "1"]
    marks = [MARKS[0], {"setup": "b1", "mark": 2, "time": "09:20:20.5", "x_mm": -480, "y_mm": 8}]
    status, out, err = take(capsys, camp, log(tmp_path, campaign=None, marks=marks))
    assert (status, err) == (0, "")
    assert "0 marks added, 2 there already" in out
    assert (camp / "marks.csv").read_text() == table


def test_texts_that_look_like_numbers_stay_as_the_page_has_them(camp, tmp_path, capsys):
    (camp / "setups.csv").write_text(
        "setup;site;date;gnomon_height_mm;height_sd_mm\na;ridge;2026-05-04;300,5;0,5\n"
    )
    path = log(tmp_path, setups=(SETUP | {"setup": "1.5", "rod": "2.5"},), marks=())
    assert take(capsys, camp, path)[0] == 0
    rows = read_campaign(camp, ("sites", "setups")).setups
    assert rows.loc["1.5", ["rod", "gnomon_height_mm"]].tolist() == ["2.5", 300.2]
    assert b"300,2" in (camp / "setups.csv").read_bytes()
    assert "1 there already" in take(capsys, camp, path)[1]


def test_marks_without_millimetres_are_named(camp, tmp_path, capsys):
    path = log(tmp_path, unmeasured=[{"setup": "b1", "mark": "3"}])
    assert "Not taken, as they have no millimetres yet: b1 3." in take(capsys, camp, path)[1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON text"),
        ("[]", "another kind of file"),
        ('{"format": "orient field log", "version": 9}', "version '9'"),
        ('{"format": "orient field log", "version": 1}', "tables: found none"),
        (
            '{"format": "orient field log", "version": 1, "tables": {"sites": [{}]}}',
            "a table 'sites'",
        ),
        (
            '{"format": "orient field log", "version": 1, "tables": {"marks": [7, {"x": [1]}]}}',
            "column mark: found nothing",
        ),
    ],
)
def test_what_is_no_log_is_named_and_nothing_is_written(camp, tmp_path, capsys, text, words):
    bad = tmp_path / "bad.json"
    bad.write_text(text, encoding="utf-8")
    status, _, err = take(capsys, camp, log(tmp_path), bad)
    assert status == 1
    assert "bad.json" in err
    assert words in err.replace("\n", " ")
    assert set(tables(camp)) == {"sites.csv"}


def test_rows_that_would_not_read_are_faults_and_change_nothing(camp, tmp_path, capsys):
    path = log(tmp_path, setups=(SETUP | {"site": "rigde"},))
    status, _, err = take(capsys, camp, path)
    assert status == 1
    assert "ridge" in err
    assert set(tables(camp)) == {"sites.csv"}
