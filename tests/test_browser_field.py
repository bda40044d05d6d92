"""The field page in a real browser with a false clock: a whole day, and what may go wrong."""

import contextlib
import csv
import json
import os
import re
import signal
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from browser import open_again, open_page
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


def start_setup(page, name="ridge board", telephone=""):
    part(page, "setup")
    page.select_option("#f-site", "ridge")
    page.fill("#f-setup", name)
    page.fill("#f-height", "300.4")
    page.fill("#f-height-again", "300,0")
    page.fill("#f-reference-name", "cairn")
    page.fill("#f-reference-x", f"{CAIRN[0]}")
    page.fill("#f-reference-y", f"{CAIRN[1]}")
    page.locator("#f-timepiece").evaluate("(field, name) => { field.value = name; }", telephone)
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
        start_setup(page, telephone="anna")
        compare_clock(page)
        read_compass(page)
        part(page, "marks")
        for number, (instant, (x, y)) in enumerate(zip(instants, places, strict=True), start=1):
            tap_at(page, "#mark-button", instant)
            assert page.inner_text("#mark-says").startswith(f"Write {number} beside it.")
            # Mark 6 goes in with the sign of x wrong.
            measure(page, number, -x if number == 6 else x, y)
            if number == 10:
                find_the_mistake_and_mend_it(page, *places[5])
                page.reload()
                part(page, "marks")
                page.wait_for_selector('#mark-rows tr[data-mark="10"]')
                assert page.locator("#mark-rows tr").count() == 10
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


def read_compass(page):
    for shown in ("301.5", "302,0"):
        page.fill("#compass-reading", shown)
        page.click("#compass-keep")
    assert "2 readings toward the reference" in page.inner_text("#compass-says")


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
    assert "setups.csv: 1 set-up added" in done.stdout
    assert "marks.csv: 20 marks added" in done.stdout
    assert "readings.csv: 2 compass readings added" in done.stdout
    assert "watches.csv: 1 comparison of a watch added" in done.stdout
    before = {path.name: path.read_bytes() for path in campaign.iterdir()}
    again = invoked("take", campaign, log)
    assert again.exit_code == 0, again.output
    assert "20 there already" in again.stdout
    assert {path.name: path.read_bytes() for path in campaign.iterdir()} == before
    with (campaign / "marks.csv").open(encoding="utf-8") as stream:
        first = next(csv.DictReader(stream))
    # 07:00:17.3 true is 09:00:20.5 by a telephone 3.2 s fast, in summer time.
    assert first["time"] == "09:00:20.5"


# What may go wrong ------------------------------------------------------------------------

REFUSED = """
for (const name of ["localStorage", "indexedDB"]) Object.defineProperty(window, name, {
  get() { throw new DOMException("no", "SecurityError"); },
});
"""
LOCAL_FULL = """
Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
"""


def test_storage_refused_is_said_and_the_log_stays_to_copy(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00", before=REFUSED) as opened:
        page = opened.page
        start_setup(page)
        page.click("#mark-button")
        assert "NOT STORED" in page.inner_text("#alarm")
        part(page, "send")
        page.click("summary:has-text('to copy')")
        told = json.loads(page.input_value("#copy"))
        assert [each["kind"] for each in told["entries"]] == ["setup", "mark"]
        assert opened.errors == []


def test_with_one_of_two_stores_full_nothing_is_lost(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00", before=LOCAL_FULL) as opened:
        page = opened.page
        start_setup(page)
        page.click("#mark-button")
        page.wait_for_selector("#kept:has-text('in one of two places')")
        assert page.is_hidden("#alarm")
        page.reload()
        # The database is read after the page stands: its set-up is in hand without a word.
        page.wait_for_selector("#mark-button:has-text('MARK 2'):not([disabled])")
        page.wait_for_selector("#mark-rows tr")
        assert page.locator("#mark-rows tr").count() == 1


def test_what_comes_late_is_taken_in_hand_and_disturbs_no_form(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        first = opened.page
        idle, busy = (another_tab(first, page_file) for _ in range(2))
        part(busy, "setup")
        busy.fill("#f-height", "251")
        start_setup(first)
        idle.wait_for_selector("#mark-button:has-text('MARK 1'):not([disabled])")
        busy.wait_for_selector("#in-hand option:has-text('ridge board')", state="attached")
        assert busy.input_value("#f-height") == "251"
        assert busy.input_value("#in-hand") == ""


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="finds the browser's processes in /proc")
@pytest.mark.parametrize(
    "wait_s", [0.0, *(pytest.param(s, marks=pytest.mark.slow) for s in (0.02, 0.3, 2.0))]
)
def test_a_browser_killed_right_after_a_tap_loses_no_mark(page_file, tmp_path, wait_s):
    page = open_again(tmp_path / "profile", page_file)
    start_setup(page)
    for _ in range(5):
        page.click("#mark-button")
    time.sleep(wait_s)
    killed = [pid for pid, command in running() if str(tmp_path / "profile") in command]
    assert killed
    for pid in killed:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    with contextlib.suppress(Exception):
        page.context.close()
    page = open_again(tmp_path / "profile", page_file)
    page.wait_for_selector('#mark-rows tr[data-mark="5"]')
    assert page.locator("#mark-rows tr").count() == 5
    page.context.close()


def running():
    """The machine's processes: number and command line."""
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            yield int(folder.name), (folder / "cmdline").read_bytes().decode(errors="replace")


def another_tab(page, page_file):
    tab = page.context.new_page()
    tab.goto(page_file.resolve().as_uri())
    return tab


def test_a_crash_right_after_the_tap_and_a_second_tab_lose_nothing(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        first = opened.page
        start_setup(first)
        first.click("#mark-button")
        second = another_tab(first, page_file)
        part(second, "marks")
        second.click("#mark-button")
        assert "Write 2 beside it" in second.inner_text("#mark-says")
        first.wait_for_selector('#mark-rows tr[data-mark="2"]')
        first.click("#mark-button")
        # Closed with no time to write anything more.
        first.close()
        second.wait_for_selector('#mark-rows tr[data-mark="3"]')
        second.reload()
        second.wait_for_selector('#mark-rows tr[data-mark="3"]')
        assert second.locator("#mark-rows tr").count() == 3


def test_undoing_striking_out_and_both_forms_of_a_place(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        page = opened.page
        start_setup(page)
        page.click("#mark-button")
        page.click("#mark-button")
        page.click("#undo")
        assert "Undone: mark 2." in page.inner_text("#mark-says")
        assert page.locator("#mark-rows tr").count() == 1
        measure(page, 1, 30.0, 40.0)
        page.select_option("#form-of-marks", "polar")
        row = page.locator('#mark-rows tr[data-mark="1"]')
        assert row.locator('[data-column="length_mm"]').input_value() == "50"
        assert row.locator('[data-column="angle_deg"]').input_value() == "36.87"
        row.locator('[data-column="length_mm"]').fill("51,5")
        row.locator('[data-column="length_mm"]').press("Tab")
        page.click('[aria-label="Strike out mark 1"]')
        assert page.locator("#mark-rows tr.struck").count() == 1
        part(page, "send")
        (mark,) = json.loads(page.input_value("#copy"))["tables"]["marks"]
        assert (mark["length_mm"], mark["angle_deg"], mark["use"]) == (51.5, 36.87, "no")
        assert "x_mm" not in mark


def test_wrong_numbers_are_refused_where_they_are_typed(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        page = opened.page
        part(page, "setup")
        page.fill("#f-height", "3")
        page.fill("#f-reference-x", "ten")
        page.click("#save-setup")
        said = page.inner_text("#setup-faults")
        assert "Rod’s height: a number from 20 to 5000 mm" in said
        assert "x of a point" in said
        assert "both x and y" in said
        assert page.is_visible("#part-setup")
        start_setup(page)
        page.click("#mark-button")
        page.locator('[data-column="x_mm"]').fill("1O3")
        page.locator('[data-column="x_mm"]').press("Tab")
        assert page.locator('[data-column="x_mm"]').get_attribute("aria-invalid") == "true"
        assert "Mark 1, x_mm: a number" in page.inner_text("#mark-says")


PULL = """
for (const pull of %s) window.dispatchEvent(Object.assign(new Event("devicemotion"),
  { accelerationIncludingGravity: { x: pull[0], y: pull[1], z: pull[2] } }));
"""


def begin_reading(page, button):
    """The browser allows the sensor some time after the tap: only then does the page listen."""
    page.click(button)
    page.wait_for_selector("#level-says:has-text('Hold still')")


def feel(page, button, slope_x, slope_y):
    """A reading of a telephone that lies with these slopes, degrees, its own error in them."""
    begin_reading(page, button)
    pulls = [[9.8 * np.tan(np.radians(slope_x)), 9.8 * np.tan(np.radians(slope_y)), 9.8]] * 20
    page.evaluate(PULL % json.dumps(pulls))
    page.clock.run_for(3100)


def test_the_telephone_as_a_level_turned_end_for_end(page_file):
    """A board 0.3° up to the right and 0.2° down ahead, a sensor 0.8° and −0.5° off."""
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        page = opened.page
        start_setup(page)
        part(page, "tools")
        assert page.inner_text("#sensor-says") == ""
        page.clock.pause_at(datetime(2026, 5, 5, 9, 1, tzinfo=UTC))
        feel(page, "#level-first", 0.3 + 0.8, -0.2 - 0.5)
        page.wait_for_selector("#level-turned:not([disabled])")
        feel(page, "#level-turned", -0.3 + 0.8, 0.2 - 0.5)
        page.wait_for_selector("#level-keep:not([disabled])")
        said = page.inner_text("#level-says")
        assert "0.30° up toward +x" in said
        assert "0.20° up toward −y" in said
        page.click("#level-keep")
        part(page, "send")
        (setup,) = json.loads(page.input_value("#copy"))["tables"]["setups"]
        assert setup["level_sd_deg"] == pytest.approx(np.hypot(0.3, 0.035), abs=0.005)


@pytest.mark.parametrize(
    ("before", "words"),
    [
        ("delete window.DeviceMotionEvent;", "no sensor for a page"),
        ("Object.defineProperty(window, 'isSecureContext', { value: false });", "plain http"),
    ],
)
def test_without_a_sensor_the_panel_says_why_and_the_rest_works(page_file, before, words):
    with opened_at(page_file, "2026-05-05T09:00:00", before=before) as opened:
        page = opened.page
        part(page, "tools")
        assert words in page.inner_text("#sensor-says")
        assert page.is_disabled("#level-first")
        start_setup(page)
        page.click("#mark-button")
        assert opened.errors == []


def test_a_sensor_that_stays_silent_is_told(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        page = opened.page
        part(page, "tools")
        page.clock.pause_at(datetime(2026, 5, 5, 9, 1, tzinfo=UTC))
        begin_reading(page, "#level-first")
        page.clock.run_for(3100)
        page.wait_for_selector("#level-says:has-text('No readings come')")


def test_a_nudged_board_is_told_by_the_closing_sight(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        page = opened.page
        start_setup(page)
        part(page, "setup")
        page.fill("#f-close-x", "240")
        page.fill("#f-close-y", "193")
        page.click("#closing-form button")
        assert "the board has moved" in page.inner_text("#closing-says")


def test_a_board_turned_between_two_marks_is_told_with_its_time(page_file):
    """Turned by 3° after the mark of 10:20 by the site's clock, 3 s later by the telephone's."""
    instants = [utc("2026-05-05T07:00:00") + 1200.0 * n for n in range(12)]
    turn = np.exp(-1j * np.radians(np.where(np.arange(12) > 4, 3.0, 0.0)))
    x, y = tips(instants).T
    turned = (x + 1j * y) * turn
    with opened_at(page_file, "2026-05-05T06:30:00") as opened:
        page = opened.page
        start_setup(page)
        for number, (instant, place) in enumerate(zip(instants, turned, strict=True), start=1):
            tap_at(page, "#mark-button", instant)
            measure(page, number, place.real, place.imag)
        part(page, "north")
        told = page.inner_text("#told")
        assert re.search(r"turned by (2\.9|3\.[01])° between mark 5 and mark 6", told)
        assert "seems to have moved since 10:20: strike out the marks made since then" in told
        # Done as it says, the page is content, and the azimuth is that of the first marks.
        part(page, "marks")
        for number in range(6, 13):
            page.click(f"#mark-rows tr[data-mark='{number}'] button")
        part(page, "north")
        assert not page.inner_text("#told").strip()
        assert "5 of 5" in page.inner_text("#answer")
        assert opened.errors == []


# To be used by everyone ---------------------------------------------------------------------


def looked_at(page, look):
    page.emulate_media(color_scheme="dark" if look == "dark" else "light")
    page.evaluate(
        "(look) => { document.documentElement.dataset.look = look; }",
        "" if look == "dark" else look,
    )


@pytest.mark.slow
def test_the_accessibility_checker_finds_nothing(page_file):
    """axe-core, WCAG 2.1 AA and its best practices, every part, with marks and a told mistake."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="pip install 'orient[test]'"
    ).Axe()
    with opened_at(page_file, "2026-05-05T06:30:00") as opened:
        page = opened.page
        start_setup(page)
        instants = [utc("2026-05-05T07:00:00") + 2400.0 * n for n in range(6)]
        for number, (instant, (x, y)) in enumerate(
            zip(instants, tips(instants), strict=True), start=1
        ):
            tap_at(page, "#mark-button", instant)
            measure(page, number, -x if number == 4 else x, y)
        page.clock.resume()
        for look in ("", "sun", "night", "dark"):
            looked_at(page, look)
            for name in ("setup", "marks", "north", "tools", "send"):
                part(page, name)
                found = axe.run(page)
                assert found.violations_count == 0, found.generate_report()


def test_the_mark_button_is_for_a_thumb_in_full_sun(page_file):
    """At least 64 px and 7:1 of contrast, in every look (WCAG 2.1, relative luminance)."""
    with opened_at(page_file, "2026-05-05T06:30:00") as opened:
        page = opened.page
        start_setup(page)
        box = page.locator("#mark-button").bounding_box()
        assert box["height"] >= 64
        assert box["width"] >= 300
        assert box["y"] + box["height"] < 640 - 60
        for look in ("", "sun", "night", "dark"):
            looked_at(page, look)
            style = page.evaluate(
                "(() => { const s = getComputedStyle(document.getElementById('mark-button'));"
                " return [s.color, s.backgroundColor]; })()"
            )
            assert contrast(*style) >= 7.0


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour):
    parts = np.array([float(each) for each in re.findall(r"[\d.]+", colour)[:3]]) / 255.0
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_no_part_is_wider_than_its_window(page_file):
    with opened_at(page_file, "2026-05-05T09:00:00") as opened:
        start_setup(opened.page)
        opened.page.click("#mark-button")
        for width in (320, 360, 768, 1280):
            opened.page.set_viewport_size({"width": width, "height": 640})
            for name in ("setup", "marks", "north", "tools", "send"):
                part(opened.page, name)
                assert opened.overflow_px() <= 0
        assert opened.errors == []


def test_a_fortnight_of_twenty_sites_stays_small(tmp_path):
    rows = [f"site {n},{n * 3.3 - 30},{n * 7.0 - 60},0,UTC" for n in range(20)]
    header = SITES.splitlines()[0]
    (tmp_path / "sites.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    done = invoked(
        "field", tmp_path, "--from", "2026-06-15", "--to", "2026-06-28", "-o", tmp_path / "f.html"
    )
    assert done.exit_code == 0, done.output
    assert (tmp_path / "f.html").stat().st_size < 1_500_000
