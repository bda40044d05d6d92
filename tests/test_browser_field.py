"""The field page in a real browser with a false clock: a whole day, and what may go wrong."""

import csv
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from browser import open_page
from click.testing import CliRunner

from orient import simulate
from orient.cli import orient
from orient.fieldpage.page import field_page
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.tables.campaign import read_campaign

SITES = """site,latitude_deg,longitude_deg,elevation_m,timezone
ridge,46.5,9.8,1800,Europe/Zurich
ford,46.3,9.9,1200,Europe/Zurich
"""
PLACE = (46.5, 9.8, 1800.0, 815.0, 10.0)
DAYS = np.arange("2026-05-04", "2026-05-07", dtype="datetime64[D]")
#: The telephone is fast by this; the board stands so.
FAST_S = 3.2
TRUTH = simulate.TrueBoard(
    board_azimuth_deg=12.34, height_mm=300.2, tilt_x_deg=0.05, tilt_y_deg=-0.08, foot_x_mm=0.4
)
CAIRN = (250.0, 180.0)


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("camp") / "pass road"
    folder.mkdir()
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def page_file(campaign):
    sites = read_campaign(campaign, ("sites",)).sites
    path = campaign.parent / "field.html"
    path.write_text(field_page("pass road", sites, DAYS, Rig(), Limits()), encoding="utf-8")
    return path


def opened_at(page_file, text, **options):
    return open_page(page_file, 360, height=640, at=text, timezone="Europe/Zurich", **options)


def part(page, name):
    page.click(f"#tabs [data-part={name}]")


def start_setup(page, name="ridge board"):
    part(page, "setup")
    page.select_option("#f-site", "ridge")
    page.fill("#f-setup", name)
    page.fill("#f-height", "300.4")
    page.fill("#f-height-again", "300,0")
    page.fill("#f-reference-name", "cairn")
    page.fill("#f-reference-x", f"{CAIRN[0]}")
    page.fill("#f-reference-y", f"{CAIRN[1]}")
    page.click("#save-setup")


def tap_at(page, selector, true_utc_s):
    """A tap at a true instant, which the telephone shows `FAST_S` later."""
    page.clock.pause_at(datetime.fromtimestamp(true_utc_s + FAST_S, UTC))
    page.click(selector)


def tips(instants, seed=5):
    azimuth, altitude, _ = simulate.sun_seen(np.asarray(instants), *PLACE)
    exact = simulate.shadow_tips(azimuth, altitude, TRUTH)
    return exact + np.random.default_rng(seed).normal(0.0, 0.5, exact.shape)


def measure(page, mark, x, y):
    row = page.locator(f'#mark-rows tr[data-mark="{mark}"]')
    for column, value in (("x_mm", x), ("y_mm", y)):
        row.locator(f'[data-column="{column}"]').fill(f"{value:.1f}")
        row.locator(f'[data-column="{column}"]').press("Tab")


def saved(page, folder, name="log.json"):
    part(page, "send")
    with page.expect_download() as waiting:
        page.click("#download")
    path = Path(folder) / name
    waiting.value.save_as(path)
    return path


def invoked(*arguments):
    return CliRunner().invoke(orient, [str(each) for each in arguments])


def test_a_whole_day_from_the_first_tap_to_the_tables(page_file, campaign, tmp_path):
    instants = [utc("2026-05-05T07:00:00") + 1200.0 * n + 17.3 for n in range(20)]
    places = tips(instants)
    with opened_at(page_file, "2026-05-05T06:30:00") as opened:
        page = opened.page
        start_setup(page)
        compare_clock(page)
        part(page, "marks")
        for number, (instant, (x, y)) in enumerate(zip(instants, places, strict=True), start=1):
            tap_at(page, "#mark-button", instant)
            assert page.inner_text("#mark-says").startswith(f"Write {number} beside it.")
            # Mark 6 goes in with the sign of x wrong.
            measure(page, number, -x if number == 6 else x, y)
            if number == 10:
                find_the_mistake_and_mend_it(page, *places[5])
                page.reload()
                assert page.locator("#mark-rows tr").count() == 10
                part(page, "marks")
        close_the_sight(page)
        part(page, "north")
        shown = page.inner_text("#answer")
        assert not page.inner_text("#told").strip()
        log = saved(page, tmp_path)
        told = json.loads(log.read_text(encoding="utf-8"))
        assert told["unmeasured"] == []
        rows = {"setup": told["tables"]["setups"][0], "marks": told["tables"]["marks"]}
        rows["site"] = {"site": rows["setup"]["site"]}
        by_page = page.evaluate("(rows) => orient.reduce(rows)", rows)
        assert opened.errors == []
        assert [each for each in opened.requests if not each.startswith("blob:")] == [
            page_file.resolve().as_uri()
        ] * 2
        assert opened.overflow_px() <= 0
    taken_twice(campaign, log)
    done = invoked("reduce", campaign, "--format", "json")
    assert done.exit_code == 0, done.output
    (by_terminal,) = json.loads(done.stdout)
    assert set(by_page) == set(by_terminal)
    assert by_page["board_azimuth_deg"] == pytest.approx(by_terminal["board_azimuth_deg"], abs=1e-3)
    assert by_page["board_azimuth_u_deg"] == pytest.approx(
        by_terminal["board_azimuth_u_deg"], rel=0.02
    )
    for key in ("reference_azimuth_deg", "reference_grid_bearing_deg", "latitude_deg"):
        assert by_page[key] == pytest.approx(by_terminal[key], abs=1e-3)
    assert by_page["reference_magnetic_bearing_deg"] == pytest.approx(
        by_terminal["reference_magnetic_bearing_deg"], abs=1e-3
    )
    assert f"{by_terminal['reference_azimuth_deg']:.2f}°" in shown
    # And it is true: within the 95 % figure, which is minutes of arc with a compared watch.
    off = abs(by_terminal["board_azimuth_deg"] - TRUTH.board_azimuth_deg)
    assert off < 1.96 * by_terminal["board_azimuth_u_deg"] < 0.12


def compare_clock(page):
    """Five pips of 08:31:00 local and on, tapped 0.1 s late with some scatter."""
    part(page, "tools")
    page.fill("#pip-time", "08:31:00")
    for pip, late in zip((0, 1, 2, 4, 5), (0.08, 0.14, 0.1, 0.06, 0.12), strict=True):
        tap_at(page, "#pip", utc("2026-05-05T06:31:00") + pip + late)
    assert f"+{FAST_S:.1f} s against the signal" in page.inner_text("#pip-says")
    page.click("#pip-keep")


def find_the_mistake_and_mend_it(page, x, y):
    part(page, "north")
    told = page.inner_text("#told")
    assert "Mark 6 does not fit the others" in told
    assert "It would fit if its x were" in told
    part(page, "marks")
    measure(page, 6, x, y)
    part(page, "north")
    assert not page.inner_text("#told").strip()


def close_the_sight(page):
    part(page, "setup")
    page.fill("#f-close-x", f"{CAIRN[0] + 0.6}")
    page.fill("#f-close-y", f"{CAIRN[1] - 0.5}")
    page.click("#closing-form button")
    assert "It agrees with the first sight" in page.inner_text("#closing-says")


def taken_twice(campaign, log):
    done = invoked("take", campaign, log)
    assert done.exit_code == 0, done.output
    assert "setups.csv: 1 set-ups added" in done.stdout
    assert "marks.csv: 20 marks added" in done.stdout
    before = {path.name: path.read_bytes() for path in campaign.iterdir()}
    again = invoked("take", campaign, log)
    assert again.exit_code == 0, again.output
    assert "20 there already" in again.stdout
    assert {path.name: path.read_bytes() for path in campaign.iterdir()} == before
    with (campaign / "marks.csv").open(encoding="utf-8") as stream:
        first = next(csv.DictReader(stream))
    # 07:00:17.3 true is 09:00:20.5 by a telephone 3.2 s fast, in summer time.
    assert first["time"] == "09:00:20.5"
