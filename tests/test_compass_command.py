"""`orient compass`: a campaign's readings judged, rock and needle told apart."""

import csv
import json

import demo_tables
import pytest
from click.testing import CliRunner
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

import orient
from orient import cli
from orient.commands.compass import compass
from orient.demo.story import COMPASS_INDEX_DEG, PLACES
from orient.errors import InputError
from orient.files import write_whole
from orient.tables.campaign import read_campaign

#: The demo without its sights, which speak of a compass too (`tests/test_sights.py`).
FILES = {name: text for name, text in demo_tables.FILES.items() if name != "sights.csv"}
#: What tests of single readings need of it.
PART = demo_tables.part_of_demo("alder-1", "alder-2", "thorn-1")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("compass") / "aldermoor"
    write_whole(path, FILES)
    return path


def run(folder, *args):
    ran = CliRunner().invoke(compass, [str(folder), *args])
    assert ran.exit_code == 0, ran.output
    return ran.stdout


@pytest.fixture(scope="module")
def rows(folder):
    return {row["of_setup"]: row for row in json.loads(run(folder, "--format", "json"))}


def test_one_row_for_each_reading(rows):
    assert len(rows) == 13
    assert "thorn-2" not in rows
    for row in rows.values():
        expected = (row["true_azimuth_deg"] - row["declination_deg"]) % 360.0
        assert row["expected_deg"] == pytest.approx(expected, abs=1e-6)


def test_needle_is_found_as_it_was_made(rows):
    """Against the story's own figures."""
    for row in rows.values():
        correction = -COMPASS_INDEX_DEG[row["compass"]]
        assert row["correction_low_deg"] < correction < row["correction_high_deg"]
        assert row["compass_verdict"] == ("shown" if row["compass"] == "old" else "none")


def test_readings_over_the_ironstone_stand_out(rows):
    pulled = {name for name, row in rows.items() if row["place_verdict"] == "pulled"}
    assert pulled == {"iron-1", "iron-2"}
    (anomaly,) = (place.anomaly_deg for place in PLACES if place.site == "ironknoll")
    assert rows["iron-1"]["anomaly_low_deg"] < anomaly < rows["iron-1"]["anomaly_high_deg"]
    assert rows["iron-1"]["finding"] == "ground"
    assert rows["alder-1"]["finding"] == ""


def test_table_and_sentences_fit_eighty_columns(folder):
    text = run(folder)
    assert max(map(len, text.splitlines())) <= 80
    said = " ".join(text.split())
    assert "ironknoll: the needle points 7.3° east of the model" in said
    assert "Compass old: subtract 2." in said
    assert "Compass brass: no correction" in said


def test_csv_reads_back(folder, rows):
    found = {
        row["of_setup"]: row for row in csv.DictReader(run(folder, "--format", "csv").splitlines())
    }
    assert found.keys() == rows.keys()
    assert float(found["iron-1"]["difference_deg"]) == pytest.approx(
        rows["iron-1"]["difference_deg"], abs=1e-6
    )
    assert found["alder-1"]["place_verdict"] == "none"


def test_campaign_without_a_reading(folder, tmp_path):
    tables = dict(PART)
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


# ---------------------------------------------------------------- readings.csv


def with_readings(tmp_path, *lines, name="readings.csv"):
    write_whole(tmp_path / "more", {**PART, name: "\n".join(lines) + "\n"})
    return tmp_path / "more"


HEADER = "reading,site,date,compass,target,reading_deg,stand,easting_m,northing_m,known_azimuth_deg"


def test_readings_of_every_kind_of_line(tmp_path, rows):
    """A board's line, a second reading on it, a line known from elsewhere, two ends' grid places.

    Source of the last: geographiclib's geodesic on WGS 84, from the stand to the other site.
    """
    campaign = read_campaign(with_readings(tmp_path, "site,date,reading_deg"), ("sites",))
    place, other = campaign.sites.loc["alderflat"], campaign.sites.loc["thornmesa"]
    line = rows["alder-1"]
    projected = Transformer.from_crs("EPSG:4326", place["grid"], always_xy=True)
    # A stand some 400 m north of the site's own place.
    latitude = place["latitude_deg"] + 0.0036
    east, north = projected.transform(place["longitude_deg"], latitude)
    folder = with_readings(
        tmp_path,
        HEADER,
        f"r1,alderflat,2026-06-22,brass,{line['target']},33.9,,,,",
        f",alderflat,2026-06-22,brass,{line['target']},34.2,,,,",
        "r3,alderflat,2026-06-22,spare,,61,,,,44.5",
        f"r4,alderflat,2026-06-22,spare,thornmesa,100,knoll,{east:.3f},{north:.3f},",
    )
    found = {row["reading"]: row for row in json.loads(run(folder, "--format", "json"))}
    assert {"r1", "2", "r3", "r4"} <= set(found)
    assert found["r1"]["true_azimuth_deg"] == pytest.approx(line["true_azimuth_deg"], abs=0.5)
    assert found["r1"]["of_setup"] is None
    assert found["r3"]["true_azimuth_deg"] == 44.5
    geodesic = Geodesic.WGS84.Inverse(
        latitude, place["longitude_deg"], other["latitude_deg"], other["longitude_deg"]
    )
    assert found["r4"]["true_azimuth_deg"] == pytest.approx(geodesic["azi1"] % 360, abs=1e-5)
    u_deg = 57.29578 * 3.0 * 2**0.5 / geodesic["s12"]
    assert found["r4"]["true_azimuth_u_deg"] == pytest.approx(u_deg, rel=1e-5)
    assert found["r4"]["place"] == "alderflat, knoll"
    assert found["r1"]["place"] == "alderflat"


def test_a_set_up_without_marks_lends_its_reading_to_the_line_of_another(tmp_path, rows):
    files = dict(PART)
    header, *lines = files["setups.csv"].splitlines()
    names = header.split(",")
    (first,) = (line for line in lines if line.startswith("alder-1,"))
    cells = first.split(",")
    cells[names.index("setup")] = "late"
    cells[names.index("compass_reading_deg")] = "36.0"
    files["setups.csv"] = "\n".join([header, *lines, ",".join(cells)]) + "\n"
    write_whole(tmp_path / "late", files)
    found = {row["of_setup"]: row for row in json.loads(run(tmp_path / "late", "--format", "json"))}
    assert found["late"]["reading_deg"] == 36.0
    assert found["late"]["true_azimuth_deg"] == pytest.approx(
        rows["alder-1"]["true_azimuth_deg"], abs=0.5
    )


def test_readings_at_a_place_that_the_marks_contradict_accuse_nothing(tmp_path):
    """The longitude's sign is wrong: the declination there is that of another country."""
    sites = PART["sites.csv"].replace("56°51′00″W", "56°51′00″E")
    assert sites != PART["sites.csv"]
    setups = PART["setups.csv"].replace("pocket", "").replace("R300", "").replace("L1", "")
    write_whole(tmp_path, PART | {"sites.csv": sites, "setups.csv": setups})
    rows = json.loads(run(tmp_path, "--format", "json"))
    assert {row["of_setup"] for row in rows} == {"thorn-1"}
    said = " ".join(run(tmp_path).split())
    assert "Left out: set-up alder-1, set-up alder-2." in said
    assert "dial" not in said
    reduced = CliRunner().invoke(cli.orient, ["reduce", str(tmp_path), "--format", "json"])
    found = {row["setup"]: row for row in json.loads(reduced.stdout)}
    assert found["alder-1"]["reference_magnetic_bearing_deg"] is None
    assert not any("compass-differs" in row["flags"] for row in found.values())


def test_every_fault_of_the_readings_at_once(tmp_path):
    folder = with_readings(
        tmp_path,
        HEADER,
        "a,alderflat,2026-06-22,brass,moon,34,,,,",
        "a,nowhere,2026-06-22,brass,,400,,5,,12",
        "b,alderflat,22.6.2026,brass,alderflat,,,,,",
    )
    with pytest.raises(InputError) as stop:
        cli.orient(["compass", str(folder)], standalone_mode=False)
    faults = [(fault.row, fault.column) for fault in stop.value.faults]
    assert sorted(faults) == sorted(
        [
            (2, "target"), (3, "site"), (3, "reading_deg"), (3, "reading"), (3, "northing_m"),
            (4, "date"), (4, "reading_deg"), (4, "target"),
        ]
    )  # fmt: skip
    assert {fault.file for fault in stop.value.faults} == {"readings.csv"}
    (target,) = (f.wanted for f in stop.value.faults if (f.row, f.column) == (2, "target"))
    assert "a reference line of a set-up at alderflat" in target


def test_the_public_check_counts_what_the_command_counts(tmp_path):
    """The demo's sights toward the sky are among them."""
    write_whole(tmp_path / "sky", PART | {"sights.csv": demo_tables.FILES["sights.csv"]})
    campaign = orient.read_campaign(tmp_path / "sky")
    rows = json.loads(run(tmp_path / "sky", "--format", "json"))
    check = orient.compass_check(campaign)
    assert [row["reading_deg"] for row in rows] == pytest.approx(check.readings["reading_deg"])
    assert set(campaign.sights["sight"]) & set(check.readings["reading"])
