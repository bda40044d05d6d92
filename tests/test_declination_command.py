"""`orient declination`: one place, in any usual writing, then and now."""

import csv
import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from orient import cli
from orient.commands.declination import declination
from orient.errors import InputError

WMM_TEST_VALUES = Path(__file__).parent / "published" / "wmm2025.csv"


def run(*args):
    ran = CliRunner().invoke(declination, list(args))
    assert ran.exit_code == 0, ran.output
    return ran.stdout


def faults(*args):
    with pytest.raises(InputError) as refused:
        cli.orient(["declination", *args], standalone_mode=False)
    return [(fault.column, fault.found) for fault in refused.value.faults]


def row(*args):
    (only,) = json.loads(run(*args, "--format", "json"))
    return only


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("-41.2", "174.9"),
        ("−41.2", "174.9"),
        ("41.2S", "174°54′E"),
        ("41°12′S", "174 54 00 E"),
        ("S 41 12", "174:54"),
    ],
)
def test_every_usual_writing_names_the_same_place(latitude, longitude):
    found = row(latitude, longitude, "--date", "2026-05-16")
    assert found["latitude_deg"] == pytest.approx(-41.2)
    assert found["longitude_deg"] == pytest.approx(174.9)


def test_minus_of_both_and_options_between():
    found = row("--date", "2026", "-48.3", "--elevation", "-30", "-69.9", "--since", "1987")
    assert (found["latitude_deg"], found["longitude_deg"]) == (-48.3, -69.9)
    assert found["elevation_m"] == -30.0
    assert found["since"]["date"] == "1987"


def test_published_values():
    """Source: NOAA/NCEI, WMM2025 test values: those of a height where people stand."""
    with WMM_TEST_VALUES.open(encoding="utf-8") as stream:
        published = [line for line in csv.DictReader(stream) if float(line["height_km"]) < 9.0]
    assert published
    for line in published:
        year = float(line["year"])
        day = dt.date(int(year), 1, 1) + dt.timedelta(days=round(365 * (year % 1)))
        metres = str(1000.0 * float(line["height_km"]))
        place = (line["latitude_deg"], line["longitude_deg"])
        found = row(*place, "--date", str(day), "--elevation", metres)
        # Half a unit of the last digit printed; the day is within half a one of the instant.
        assert found["declination_deg"] == pytest.approx(float(line["D_deg"]), abs=0.0051)
        assert found["horizontal_intensity_nt"] == pytest.approx(float(line["H_nt"]), abs=0.1)


def test_old_map_in_words_a_person_can_apply():
    text = run("49", "4", "--date", "2026-05-16", "--since", "1987")
    assert "2.8° W in 1987, 2.5° E on 2026-05-16" in text
    assert "in 1987, on a map or in notes: subtract 5.3°" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80


def test_csv_is_one_row_of_plain_cells():
    (found,) = csv.DictReader(
        run("49", "4", "--date", "2026", "--since", "1987-06-30", "--format", "csv").splitlines()
    )
    assert found["since_date"] == "1987-06-30"
    assert float(found["since_change_deg"]) == pytest.approx(
        float(found["declination_deg"]) - float(found["since_declination_deg"])
    )
    assert not any("{" in value for value in found.values())


def test_today_when_no_date_is_given():
    today = dt.date.today()
    assert row("49", "4")["date"] in (str(today), str(today + dt.timedelta(days=1)))


def test_weak_field_is_said():
    assert "compass is doubtful" in run("78.6", "-103.9", "--date", "2026")


def test_every_fault_at_once():
    assert faults("91", "200W") == [("latitude", "91"), ("longitude", "200W")]
    assert faults("", "x") == [("latitude", "nothing"), ("longitude", "x")]
    assert faults("49", "4", "--date", "2040", "--since", "1850") == [
        ("date", "2040"),
        ("since", "1850"),
    ]
    assert faults("49", "4", "--date", "2026", "--elevation", "9100") == [("elevation", "9100.0")]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["-41.2"], "LON"),
        (["-41.2", "3", "--bogus"], "--bogus"),
        (["-41.2", "3", "--date", "16.5.2026"], "16.5.2026"),
        (["-41.2", "3", "--elevation", "high"], "high"),
        (["-41.2", "3", "4"], "4"),
    ],
)
def test_command_line_at_fault(args, said):
    ran = CliRunner().invoke(declination, args)
    assert ran.exit_code == 2
    assert said in ran.stderr
