"""Practice boards through their own door: files out, reduced again, held to the answer key."""

import csv
import json

import numpy as np
import pytest
from click.testing import CliRunner

from orient.cli import orient
from orient.practice.mistakes import MISTAKES


@pytest.fixture
def camp(tmp_path):
    folder = tmp_path / "camp"
    folder.mkdir()
    (folder / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,horizon_deg\nmeadow,47.5,11.2,\ngorge,-38,145,0:20 90:50\n"
    )
    return folder


def made(camp, *options):
    out = camp.parent / "practice"
    where = ["--site", "meadow", "--date", "2026-06-10", "-o", str(out)]
    run = CliRunner().invoke(orient, ["simulate", str(camp), *where, *map(str, options)])
    return run, out


def rows_of(folder):
    return json.loads(
        CliRunner().invoke(orient, ["reduce", str(folder), "--alone", "--format", "json"]).stdout
    )


def key_of(folder):
    text = (folder.parent / f"{folder.name}-key.csv").read_text()
    return {row["setup"]: row for row in csv.DictReader(text.splitlines())}


def off_deg(row, key):
    away = row["reference_azimuth_deg"] - float(key[row["setup"]]["reference_azimuth_deg"])
    return (away + 180) % 360 - 180


def test_sound_boards_come_out_within_their_figure(camp):
    run, folder = made(camp, "--students", 40, "--line", 123.4, "--every", 30)
    assert run.exit_code == 0, run.output
    rows, key = rows_of(folder), key_of(folder)
    assert len(rows) == 40
    assert {row["reference_azimuth_deg"] for row in key.values()} == {"123.4"}
    pulls = [off_deg(row, key) / row["reference_azimuth_u_deg"] for row in rows]
    # Of 40 normal values the mean square lies within 0.5 and 1.7 but once in 300 times.
    assert 0.5 < np.mean(np.square(pulls)) < 1.7


def test_the_same_seed_gives_the_same_boards_and_another_others(camp):
    _, first = made(camp, "--seed", 3)
    texts = {path.name: path.read_text() for path in first.iterdir()}
    second = camp.parent / "again"
    common = ["simulate", str(camp), "--site", "meadow", "--date", "2026-06-10"]
    CliRunner().invoke(orient, [*common, "--seed", "3", "-o", str(second)])
    assert {path.name: path.read_text() for path in second.iterdir()} == texts
    third = camp.parent / "other"
    CliRunner().invoke(orient, [*common, "--seed", "4", "-o", str(third)])
    assert (third / "marks.csv").read_text() != texts["marks.csv"]


@pytest.mark.parametrize("mistake", sorted(set(MISTAKES) - {"line-misread", "date-swapped"}))
def test_every_mistake_is_really_made_and_does_not_stay_narrow_and_wrong(camp, mistake):
    run, folder = made(camp, "--mistake", mistake, "--seed", 5)
    assert run.exit_code == 0, run.output
    row, key = rows_of(folder)[0], key_of(folder)
    assert key["s01"]["mistake"] == mistake
    if MISTAKES[mistake].written:
        assert row["flags"], "the marks contradict the record, and nothing is said"
    if row["reference_azimuth_deg"] is not None:
        assert abs(off_deg(row, key)) < 3.5 * row["reference_azimuth_u_deg"]


def test_mistakes_go_to_students_whom_the_seed_chooses(camp):
    run, folder = made(camp, "--students", 6, "--mistake", "summer-time", "--mistake", "bad-mark")
    assert run.exit_code == 0
    given = [row["mistake"] for row in key_of(folder).values()]
    assert sorted(given) == ["", "", "", "", "bad-mark", "summer-time"]


def test_the_skyline_hides_marks(camp):
    out = camp.parent / "gorge"
    CliRunner().invoke(
        orient,
        ["simulate", str(camp), "--site", "gorge", "--date", "2026-02-01", "-o", str(out)],
    )
    times = [row["time"] for row in csv.DictReader((out / "marks.csv").read_text().splitlines())]
    low = camp.parent / "open"
    (camp / "sites.csv").write_text("site,latitude_deg,longitude_deg\ngorge,-38,145\n")
    CliRunner().invoke(
        orient,
        ["simulate", str(camp), "--site", "gorge", "--date", "2026-02-01", "-o", str(low)],
    )
    more = [row["time"] for row in csv.DictReader((low / "marks.csv").read_text().splitlines())]
    assert set(times) < set(more)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--mistake", "sumer-time"), "Did you mean summer-time?"),
        (("--mistake", "bad-mark", "--mistake", "swapped"), "Add --students"),
        (("--mistake", "summer-time", "--watch", "none"), "it needs a watch"),
        (("--min-altitude", "60", "--reach", "50"), "fewer than three marks"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_written(camp, options, said):
    run, folder = made(camp, *options)
    assert run.exit_code == 2
    assert said in run.output
    assert not folder.exists()


def test_nothing_is_overwritten(camp):
    assert made(camp)[0].exit_code == 0
    run, _ = made(camp)
    assert run.exit_code == 2
    assert "is not empty" in run.output
