"""Nights: darkness, Polaris, stars and pairs against astropy and pyerfa, through the command."""

import json
import shutil
import subprocess
from datetime import datetime
from pathlib import Path

import erfa
import numpy as np
import pytest
from browser import open_page
from click.testing import CliRunner
from simulated_sights import catalogue, stars_seen, sun_seen

from orient import cli
from orient.flags import CAUTIONS, NIGHT_CAUTIONS
from orient.numbers.angles import wrap_180

DEMO = Path(__file__).parent.parent / "sites" / "aldermoor"
LATITUDE, LONGITUDE = 48.55, -56.85


def run(*arguments):
    result = CliRunner().invoke(
        cli.orient, ["night", str(DEMO), *map(str, arguments)], standalone_mode=False
    )
    if result.exception:
        raise result.exception
    return result.output


def rows(*arguments):
    return json.loads(run(*arguments, "--format", "json"))


def utc(local):
    return datetime.fromisoformat(local).timestamp()


@pytest.fixture(scope="module")
def night():
    (row,) = rows("--from", "2026-05-16", "--site", "alderflat")
    return row


def sun_altitude(*local):
    at = np.array([utc(each) for each in local])
    return sun_seen(at, np.full(len(at), LATITUDE), np.full(len(at), LONGITUDE))[1]


@pytest.mark.long
def test_twilights_end_where_the_sun_is_so_low(night):
    """6, 12 and 18° (*the standard definitions*): by astropy's own sun, to a minute's 0.25°."""
    for name, limit in (("civil", -6.0), ("nautical", -12.0), ("astronomical", -18.0)):
        span = night["dark"][name]
        for altitude in sun_altitude(span["from"], span["to"]):
            assert limit - 0.25 < altitude < limit + 0.01


def star(name):
    from orient.numbers.bodies import find_star

    return catalogue()[1].index(f"HIP {find_star(name).hip}")


def seen(name, *local):
    at = np.array([utc(each) for each in local])
    where = np.full(len(at), LATITUDE), np.full(len(at), LONGITUDE)
    azimuth, altitude = stars_seen(at, *where, 270.0, 0.0)
    return azimuth[:, star(name)], altitude[:, star(name)]


def test_stars_stand_where_pyerfa_has_them(night):
    assert len(night["stars"]) >= 6
    for row in night["stars"]:
        azimuth, altitude = seen(row["star"], row["local"])
        assert abs(wrap_180(azimuth[0] - row["azimuth_deg"])) < 0.01
        assert altitude[0] == pytest.approx(row["altitude_deg"], abs=0.01)
        assert 15 < row["altitude_deg"] < 60
        assert sun_altitude(row["local"])[0] < -5.9
    turned = np.sort([row["azimuth_deg"] for row in night["stars"]])
    assert np.diff(np.append(turned, turned[0] + 360)).min() >= 29.9


def test_pairs_stand_plumb_above_each_other(night):
    assert night["pairs"]
    for row in night["pairs"]:
        above, below = (seen(row[name], row["local"]) for name in ("upper", "lower"))
        # To the second that the time is written to, and the moment between two steps.
        assert abs(wrap_180(above[0][0] - below[0][0])) < 0.02
        assert abs(wrap_180(above[0][0] - row["azimuth_deg"])) < 0.03
        assert above[1][0] - below[1][0] > 10


def test_polaris_at_its_elongation(night):
    """sin A = cos δ / cos φ (*standard spherical form*), δ of date by pyerfa's IAU 2006."""
    (ra, dec, pm_ra, pm_dec, parallax, radial), _ = catalogue()
    at = star("Polaris")
    moved = erfa.atci13(
        ra[at], dec[at], pm_ra[at], pm_dec[at], parallax[at], radial[at], 2461177.5, 0.0
    )
    latitude = np.radians(LATITUDE)
    expected = np.degrees(np.arcsin(np.cos(moved[1]) / np.cos(latitude)))
    events = {row["event"]: row for row in night["events"]}
    east, west = (events[f"greatest elongation {side}"]["azimuth_deg"] for side in ("east", "west"))
    assert east == pytest.approx(expected, abs=0.001)
    assert 360 - west == pytest.approx(expected, abs=0.001)
    for row in night["polaris"]:
        azimuth, _ = seen("Polaris", row["local"])
        assert abs(wrap_180(azimuth[0] - row["azimuth_deg"])) < 0.002


def test_what_is_expected_is_what_happens(night):
    """A thousand sights of each star with such lines and such a watch scatter as was said."""
    random = np.random.default_rng(9)
    for row in night["stars"][:5]:
        sight = np.degrees(np.hypot(*random.normal(0, 1.0, (2, 1000))) / 2000.0)
        sight *= random.choice([-1, 1], 1000)
        late = random.normal(0, 10.0, 1000)
        moments = utc(row["local"]) + np.array([-10.0, 10.0])
        azimuth, _ = stars_seen(moments, np.full(2, LATITUDE), np.full(2, LONGITUDE), 270.0, 0.0)
        rate = wrap_180(np.diff(azimuth[:, star(row["star"])]))[0] / 20.0
        leaning = random.normal(0, 0.02, 1000) * np.tan(np.radians(row["altitude_deg"]))
        scatter = np.std(sight + rate * late + leaning)
        assert scatter == pytest.approx(row["expected_u_deg"], rel=0.08)


def test_the_south_has_pairs_and_no_polaris():
    (row,) = rows("--from", "2026-05-16", "--site", "thornmesa")
    assert row["polaris"] == row["events"] == []
    assert len(row["pairs"]) >= 3


def test_a_polar_day_has_no_stars():
    (row,) = rows("--from", "2026-06-20", "--site", "gullbeach")
    assert row["dark"] == {"civil": None, "nautical": None, "astronomical": None}
    assert row["stars"] == []
    assert "use the sun's shadow" in run("--from", "2026-06-20", "--site", "gullbeach")


def test_every_site_and_night_in_one_table():
    said = run("--from", "2026-05-16", "--to", "2026-05-17")
    assert said.count("2026-05-17") == 8
    for caution in NIGHT_CAUTIONS:
        assert " ".join(caution.split()) in " ".join(said.split())


def test_a_better_watch_helps_a_fast_star(night):
    (better,) = rows("--from", "2026-05-16", "--site", "alderflat", "--watch", "1", "--base", "4")
    assert min(r["expected_u_deg"] for r in better["stars"]) < 0.7 * min(
        r["expected_u_deg"] for r in night["stars"]
    )


@pytest.mark.long
def test_the_page_and_the_sheet(tmp_path):
    page, sheet = tmp_path / "n.html", tmp_path / "n.pdf"
    run("--from", "2026-05-16", "--site", "thornmesa", "--page", page, "--sheet", sheet)
    text = page.read_text("utf-8")
    for caution in (*CAUTIONS, *NIGHT_CAUTIONS):
        assert caution.replace("'", "&#x27;") in text
    assert "data:image/svg+xml;base64," in text
    with open_page(page, 360) as opened:
        # Who holds a telephone sees how good each line is without moving the table.
        assert opened.page.evaluate(
            """() => [...document.querySelectorAll(".night td")]
              .filter(cell => cell.textContent.startsWith("±"))
              .every(cell => cell.getBoundingClientRect().right <= innerWidth)"""
        )
    assert sheet.read_bytes().startswith(b"%PDF")
    before = sheet.read_bytes()
    run("--from", "2026-05-16", "--site", "thornmesa", "--sheet", sheet)
    assert sheet.read_bytes() == before
    if shutil.which("pdftotext"):
        said = subprocess.run(["pdftotext", sheet, "-"], capture_output=True, check=True).stdout
        flat = " ".join(said.decode("utf-8").split())
        for caution in (*CAUTIONS, *NIGHT_CAUTIONS):
            assert caution in flat
        (row,) = rows("--from", "2026-05-16", "--site", "thornmesa")
        for each in row["stars"]:
            assert each["star"] in flat


def test_a_sheet_is_of_one_night(tmp_path):
    from click import UsageError

    with pytest.raises(UsageError, match="one site and night"):
        run("--from", "2026-05-16", "--sheet", tmp_path / "n.pdf")
    assert list(tmp_path.iterdir()) == []
