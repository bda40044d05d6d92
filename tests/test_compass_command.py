"""`orient compass`: a campaign's readings judged, rock and needle told apart."""

import csv
import json

import pytest
from click.testing import CliRunner

from orient.commands.compass import compass
from orient.demo.campaign import make_demo
from orient.demo.story import COMPASS_INDEX_DEG
from orient.files import write_whole


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("compass") / "aldermoor"
    write_whole(path, make_demo().files)
    return path


def run(folder, *args):
    ran = CliRunner().invoke(compass, [str(folder), *args])
    assert ran.exit_code == 0, ran.output
    return ran.stdout


@pytest.fixture(scope="module")
def rows(folder):
    return {row["setup"]: row for row in json.loads(run(folder, "--format", "json"))}


def test_one_row_for_each_reading(rows):
    assert len(rows) == 13
    assert "thorn-2" not in rows
    for row in rows.values():
        expected = (row["true_azimuth_deg"] - row["declination_deg"]) % 360.0
        assert row["expected_deg"] == pytest.approx(expected, abs=1e-6)


def test_needle_is_found_as_it_was_made(rows):
    """Against the story's own figures, at the 99.9 % level."""
    for row in rows.values():
        correction = -COMPASS_INDEX_DEG[row["compass"]]
        off = abs(row["correction_deg"] - correction)
        assert off < 3.29 * row["correction_u_deg"], row["setup"]
        assert row["separated"]


def test_readings_over_the_ironstone_stand_out(rows):
    for name in ("iron-1", "iron-2"):
        assert rows[name]["differs"]
        assert rows[name]["difference_deg"] < -4.0
    assert not rows["alder-1"]["differs"]


def test_table_and_sentences_fit_eighty_columns(folder):
    text = run(folder)
    assert max(map(len, text.splitlines())) <= 80
    said = " ".join(text.split())
    assert "ironknoll: the compass reads 5.9° less than the model expects" in said
    assert "Compass old: subtract 2." in said
    assert "Compass brass: no correction" in said


def test_csv_reads_back(folder, rows):
    found = {
        row["setup"]: row for row in csv.DictReader(run(folder, "--format", "csv").splitlines())
    }
    assert found.keys() == rows.keys()
    assert float(found["iron-1"]["difference_deg"]) == pytest.approx(
        rows["iron-1"]["difference_deg"], abs=1e-6
    )
    assert found["alder-1"]["separated"] == "yes"


def test_campaign_without_a_reading(folder, tmp_path):
    tables = dict(make_demo().files)
    header, *lines = tables["setups.csv"].splitlines()
    names = header.split(",")
    kept = []
    for line in lines:
        cells = line.split(",")
        for name in ("compass_reading_deg", "compass_sd_deg", "compass"):
            cells[names.index(name)] = ""
        kept.append(",".join(cells))
    tables["setups.csv"] = "\n".join([header, *kept]) + "\n"
    write_whole(tmp_path / "none", tables)
    assert "No compass readings." in run(tmp_path / "none")
    assert json.loads(run(tmp_path / "none", "--format", "json")) == []
