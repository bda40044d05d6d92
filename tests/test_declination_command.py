"""`orient declination`: one place, in any usual writing, then and now."""

import csv
import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from pyproj import Proj

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
    """Source: NOAA/NCEI, WMM2025 test values, those at 74 km among them."""
    with WMM_TEST_VALUES.open(encoding="utf-8") as stream:
        published = list(csv.DictReader(stream))
    assert max(float(line["height_km"]) for line in published) == 74.0
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
    assert faults("49", "4", "--date", "2026", "--elevation", "900km") == [
        ("elevation", "900000.0")
    ]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ([], "LAT LON"),
        (["-41.2", "3", "--bogus"], "--bogus"),
        (["-41.2", "3", "--date", "16.5.2026"], "16.5.2026"),
        (["-41.2", "3", "--elevation", "high"], "high"),
    ],
)
def test_command_line_at_fault(args, said):
    ran = CliRunner().invoke(declination, args)
    assert ran.exit_code == 2
    assert said in ran.stderr


def test_a_place_as_it_is_pasted():
    whole = row("44.0", "105.0", "--date", "2026")
    pasted = [
        *("44.0, 105.0", "44.0,105.0", "44,0; 105,0", "(44.0, 105.0)", "44 105"),
        *("44°00′N 105°00′E", "N44 E105", "44 0 0 N, 105 0 0 E"),
    ]
    for words in [["44.0,", "105.0"], *([text] for text in pasted)]:
        assert row(*words, "--date", "2026") == whole
    assert faults("44.0, 205W", "--date", "2026")[0][0] == "LAT LON"
    assert faults("-41.2", "--date", "2026")[0][0] == "LAT LON"
    assert faults("1", "2", "3", "4", "--date", "2026")[0][0] == "LAT LON"


def test_the_grid_now_and_then():
    """Source of convergence: pyproj's own factors. Grid-magnetic angle = D − γ."""
    found = row("44.0", "103.1", "--date", "2026", "--since", "1987", "--grid", "EPSG:32648")
    factors = Proj("EPSG:32648").get_factors(103.1, 44.0)
    assert found["convergence_deg"] == pytest.approx(factors.meridian_convergence, abs=1e-6)
    assert found["grid_to_magnetic_deg"] == pytest.approx(
        found["declination_deg"] - factors.meridian_convergence, abs=1e-6
    )
    then = found["since"]
    assert then["grid_to_magnetic_deg"] == pytest.approx(
        then["declination_deg"] - factors.meridian_convergence, abs=1e-6
    )
    easting, northing = Proj("EPSG:32648")(103.1, 44.0)
    on_grid = row(f"{easting:.4f}", f"{northing:.4f}", "--date", "2026", "--grid", "EPSG:32648")
    assert on_grid["latitude_deg"] == pytest.approx(44.0, abs=1e-8)
    assert on_grid["longitude_deg"] == pytest.approx(103.1, abs=1e-8)
    text = run("44", "103.1", "--date", "2026", "--since", "1987", "--grid", "EPSG:32648")
    assert "from grid north to the needle" in " ".join(text.split())
    assert "From grid north to the needle in 1987" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    assert row("44", "103.1", "--date", "2026")["grid"] is None
    assert faults("44", "103.1", "--date", "2026", "--grid", "EPSG:4326")[0][0] == "grid"


def test_feet_are_asked_about_and_read():
    text = " ".join(run("44", "105", "--date", "2026", "--elevation", "12000").split())
    assert "Are these feet? Then give --elevation 3658, or 12000ft." in text
    assert row("44", "105", "--date", "2026", "--elevation", "5000ft")["elevation_m"] == 1524.0
    assert "feet" not in run("44", "105", "--date", "2026", "--elevation", "8000")


def test_the_change_has_its_own_figure():
    found = row("44", "105", "--date", "2026", "--since", "1987")
    assert found["since"]["change_u_deg"] < 0.15
    assert found["declination_u_deg"] > 0.3
    same = row("44", "105", "--date", "2026-05-16", "--since", "2026-05-16")
    assert (same["since"]["change_deg"], same["since"]["change_u_deg"]) == (0.0, 0.0)
    text = " ".join(run("44", "105", "--date", "2026", "--since", "1987").split())
    assert "What the rock adds is in both and cancels" in text
