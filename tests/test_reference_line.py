"""The reference line of a set-up: an angle or a point, what each is good for, what is refused."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from test_campaign import only_fault, write

from orient.cli import orient
from orient.tables.campaign import campaign_files, read_campaign

HEAD = "setup,site,date,gnomon_height_mm,reference_name"
HILL = "h1,Hill,2026-05-01,300,cairn"


def setups(columns, values):
    blank = "," * (columns.count(",") + 1)
    return f"{HEAD},{columns}\n{HILL},{values}\nm1,Moor,2026-05-02,250,{blank}\n"


def line(folder, columns, values):
    return read_campaign(write(folder, setups=setups(columns, values))).setups.loc["h1"]


def test_a_point_is_a_direction_known_by_its_distance(tmp_path):
    row = line(tmp_path / "a", "reference_x_mm,reference_y_mm", "-300,400")
    assert row["reference_angle_deg"] == pytest.approx(360 - np.degrees(np.arctan2(300, 400)))
    assert row["reference_sd_deg"] == pytest.approx(np.degrees(np.hypot(0.7, 0.7) / 500))
    columns = "reference_x_mm,reference_y_mm,mark_sd_mm,plumb_sd_mm"
    finer = line(tmp_path / "b", columns, "-300,400,0.3,0.4")
    assert finer["reference_sd_deg"] == pytest.approx(np.degrees(0.5 / 500))


def test_an_angle_is_as_good_as_a_protractor_unless_told(tmp_path):
    assert line(tmp_path / "a", "reference_angle_deg", "40")["reference_sd_deg"] == 0.25
    told = line(tmp_path / "b", "reference_angle_deg,reference_sd_deg", "40,0.02")
    assert told["reference_sd_deg"] == 0.02


def test_a_line_drawn_twice(tmp_path):
    columns = "reference_angle_deg,reference_close_x_mm,reference_close_y_mm"
    row = line(tmp_path / "a", columns, "45,301,300")
    assert row["reference_close_deg"] == pytest.approx(np.degrees(np.arctan2(301, 300)))
    assert row["reference_close_sd_deg"] == pytest.approx(0.1335, abs=1e-3)
    row = line(tmp_path / "b", "reference_angle_deg,reference_close_deg", "45,44.9")
    assert (row["reference_close_deg"], row["reference_close_sd_deg"]) == (44.9, 0.25)
    assert np.isnan(line(tmp_path / "c", "reference_angle_deg", "45")["reference_close_deg"])


@pytest.mark.parametrize(
    ("columns", "values", "column", "wanted"),
    [
        ("reference_x_mm,reference_y_mm", "100,", "reference_y_mm", "reference_x_mm is given"),
        ("reference_x_mm,reference_y_mm", ",100", "reference_x_mm", "reference_y_mm is given"),
        ("reference_x_mm,reference_y_mm", "0,0", "reference_x_mm", "away from the foot"),
        (
            "reference_angle_deg,reference_x_mm,reference_y_mm",
            "317,300,300",
            "reference_angle_deg",
            "45.00°",
        ),
        ("reference_close_deg", "40", "reference_close_deg", "reference_angle_deg"),
        (
            "reference_angle_deg,reference_close_deg,reference_close_x_mm,reference_close_y_mm",
            "45,44,300,-300",
            "reference_close_deg",
            "135.00°",
        ),
        ("compass_reading_deg", "12", "reference_angle_deg", "reference_x_mm"),
    ],
)
def test_lines_that_contradict_or_say_half(tmp_path, columns, values, column, wanted):
    found = only_fault(tmp_path, setups=setups(columns, values))
    assert found[:3] == ("setups.csv", 2, column)
    assert wanted in found[3]


def test_an_angle_and_its_point_may_both_be_told(tmp_path):
    columns = "reference_angle_deg,reference_x_mm,reference_y_mm"
    row = line(tmp_path, columns, "45.2,300,300")
    assert row["reference_angle_deg"] == pytest.approx(45.0)


def test_what_is_written_reads_back(tmp_path):
    columns = "reference_x_mm,reference_y_mm,reference_close_deg,timepiece,rod,observer"
    first = read_campaign(write(tmp_path / "a", setups=setups(columns, "-300,400,322.5,W1,R1,Ada")))
    files = campaign_files(first.sites, first.setups, first.marks)
    again = read_campaign(
        write(tmp_path / "b", files["sites.csv"], files["setups.csv"], files["marks.csv"])
    )
    assert again.setups.loc["h1", "timepiece"] == "W1"
    names = ["reference_angle_deg", "reference_sd_deg", "reference_x_mm", "rod", "observer"]
    assert again.setups[names].equals(first.setups[names])


def test_a_reference_without_a_direction_has_no_azimuth(tmp_path):
    marks = "setup,time,x_mm,y_mm\n" + "".join(
        f"b1,{time},{x},{y}\n"
        for time, x, y in [
            ("09:00", 122, -370), ("10:00", 28, -266), ("11:00", -34.5, -184),
            ("15:00", -156.5, 121.5), ("16:00", -168.5, 226.5), ("17:00", -172.5, 373),
        ]
    )  # fmt: skip
    folder = write(
        tmp_path,
        "site,latitude_deg,longitude_deg,elevation_m\ncamp,44°12′N,105°36′E,1400\n",
        f"{HEAD}\nb1,camp,2026-06-06,300,lone tree\n",
        marks,
    )
    table = CliRunner().invoke(orient, ["reduce", str(folder)]).stdout
    shown = next(text for text in table.splitlines() if "lone tree" in text)
    assert shown.split()[1:] == ["lone", "tree", "–", "–", "–", "–", "–", "⚑"]
    assert "reference_x_mm and reference_y_mm" in " ".join(table.split())
    row = json.loads(
        CliRunner().invoke(orient, ["reduce", str(folder), "--format", "json"]).stdout
    )[0]
    assert row["reference_azimuth_deg"] is None
    assert row["board_azimuth_deg"] == pytest.approx(112.3, abs=0.3)
    assert row["flags"] == ["no-reference-angle"]
