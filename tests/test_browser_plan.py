"""The plan page in a real browser: what a phone shows is what the package says."""

import re
from datetime import UTC, datetime

import numpy as np
import pytest
from browser import open_page

from orient.flags import CAUTIONS
from orient.numbers import sun
from orient.numbers.angles import wrap_180, wrap_360
from orient.pages.lookup import SHORTEST_SHADOW
from orient.planning.hours import Limits, plan_table
from orient.planning.rig import Rig
from orient.planpage.page import plan_page
from orient.tables import clock
from orient.tables.campaign import read_campaign

# The sun of 4 to 7 May 2026 passes within arcminutes of the zenith of `zenith`.
SITES = """site,latitude_deg,longitude_deg,elevation_m,timezone
ridge,50.0,10.0,400,Europe/Berlin
zenith,16.30,85.0,3000,Asia/Kathmandu
south,-48.3,-69.9,420,America/Argentina/Rio_Gallegos
ice,80.0,20.0,0,UTC
floe,-89.5,0.0,2800,Antarctica/McMurdo
atoll,1.9,-157.4,2,Pacific/Kiritimati
"""
DAYS = np.arange("2026-05-04", "2026-05-08", dtype="datetime64[D]")
ODD_NAMES = (
    "</script><script>document.title='owned'</script>",
    "\"double\" 'single' & <b>bold</b>",
    "<img src=x onerror=document.title='owned'>",
    "מחנה הצפון مخيم",
    "x" * 200,
    "long name " * 20,
)
# Sets the panel's fields and reads what it shows, many times over.
READ = """([site, times]) => times.map((time) => {
  const set = (id, value) => {
    document.getElementById(id).value = value;
    document.getElementById(id).dispatchEvent(new Event("input"));
  };
  set("site", String(site));
  set("time", time);
  const value = (id) => {
    const text = document.getElementById(id).value;
    return text === "" ? NaN : Number(text);
  };
  return [value("azimuth"), value("north"), value("length"), value("altitude"), value("noon"),
    value("partner")];
})"""


@pytest.fixture(scope="module")
def sites(tmp_path_factory):
    folder = tmp_path_factory.mktemp("campaign")
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return read_campaign(folder, ("sites",)).sites


def written(folder, sites, days=DAYS):
    path = folder / "plan of a week.html"
    path.write_text(plan_page("spring", sites, days, Rig(), Limits()), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def plan(sites, tmp_path_factory):
    return written(tmp_path_factory.mktemp("page"), sites)


@pytest.fixture(scope="module")
def odd_plan(sites, tmp_path_factory):
    return written(tmp_path_factory.mktemp("page"), sites.set_axis(list(ODD_NAMES)))


@pytest.fixture(scope="module")
def panel(plan):
    """The plan opened once for the tests that only set its fields and read what they show."""
    with open_page(plan, 360) as opened:
        yield opened
        assert opened.errors == []


@pytest.fixture(scope="module")
def sixty(sites, tmp_path_factory):
    all_sixty = sites.iloc[np.arange(60) % len(sites)]
    names = [f"{name} {number:02d}" for number, name in enumerate(all_sixty.index)]
    folder = tmp_path_factory.mktemp("sixty")
    return written(folder, all_sixty.set_axis(names), DAYS[0] + np.arange(14))


def shown(opened):
    return opened.page.inner_text("#shown")


def enter(opened, site, time):
    opened.page.select_option("#site", str(site))
    opened.page.fill("#time", time)


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1280, True)])
def test_it_opens_from_a_file_and_asks_for_nothing_else(plan, odd_plan, width, dark):
    for path in (plan, odd_plan):
        with open_page(path, width, dark) as opened:
            assert opened.overflow_px() <= 0
            enter(opened, 1, "2026-05-05T09:30:00")
            assert opened.page.is_visible("#azimuth")
            assert opened.overflow_px() <= 0
            opened.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            assert opened.overflow_px() <= 0
            assert opened.errors == []
            assert opened.requests == [path.resolve().as_uri()]


@pytest.mark.parametrize("number", range(6))
def test_the_shadow_shown_is_the_packages(panel, sites, number):
    """Every quarter of an hour of the span, each second about one noon, and some at random."""
    site = sites.iloc[number]
    zone = site["timezone"]
    start, end = (float(clock.utc_s(day, 0.0, zone)) for day in (DAYS[0], DAYS[-1] + 1))
    noon = round(float(sun.transit(start + 1.5 * 86400, site["longitude_deg"])))
    instants = np.concatenate(
        [
            np.arange(start, end, 900.0),
            noon + np.arange(-400.0, 401.0),
            np.floor(np.random.default_rng(number).uniform(start, end, 500)),
        ]
    )
    times = [text[:19] for text in clock.local_iso(instants, zone).tolist()]
    read = np.array(panel.page.evaluate(READ, [number, times]), dtype=float)
    azimuth, north, length, altitude, from_noon, _ = read.T
    seen = sun.place(
        instants,
        *(site[name] for name in ("latitude_deg", "longitude_deg", "elevation_m")),
        site["pressure_hpa"],
        site["temperature_c"],
    )
    expected_length = Rig().rod_mm / np.tan(np.radians(seen.altitude_deg))
    told = seen.altitude_deg > 0.05
    told &= expected_length > 1.01 * SHORTEST_SHADOW * Rig().rod_mm
    off = np.abs(wrap_180(azimuth - wrap_360(seen.azimuth_deg + 180.0)))
    assert off[told].max(initial=0.0) < 0.05
    assert np.isnan(azimuth[seen.altitude_deg < -0.05]).all()
    np.testing.assert_allclose(wrap_180(north + azimuth)[told], 0.0, atol=1e-9)
    high = told & (seen.altitude_deg > 5)
    np.testing.assert_allclose(length[high], expected_length[high], rtol=0.002, atol=1e-4)
    np.testing.assert_allclose(altitude[high], seen.altitude_deg[high], atol=0.1 / 60 + 1e-4)
    true_noon = sun.transit(
        clock.utc_s(clock.local_date(instants, zone), 43200.0, zone), site["longitude_deg"]
    )
    np.testing.assert_allclose(from_noon, true_noon - instants, atol=0.6)
    if site.name == "floe":
        assert not told.any()
    else:
        assert told.sum() > 1000


def test_beside_the_zenith_the_direction_still_holds(panel, sites):
    """Within half a degree of the zenith, where an azimuth turns by degrees a second."""
    site = sites.loc["zenith"]
    place = [site[name] for name in ("latitude_deg", "longitude_deg", "elevation_m")]
    noons = sun.transit(
        clock.utc_s(DAYS, 43200.0, "Asia/Kathmandu"), np.full(DAYS.size, site["longitude_deg"])
    )
    instants = (np.round(noons)[:, None] + np.arange(-120.0, 121.0)).ravel()
    seen = sun.place(instants, *place)
    assert seen.altitude_deg.max() > 89.9
    times = [text[:19] for text in clock.local_iso(instants, "Asia/Kathmandu").tolist()]
    azimuth = np.array(panel.page.evaluate(READ, [1, times]), dtype=float)[:, 0]
    off = np.abs(wrap_180(azimuth - seen.azimuth_deg - 180.0))
    assert np.nanmax(off) < 0.05
    assert np.isfinite(azimuth).sum() > 900


def test_a_partner_has_the_same_altitude_across_noon(panel, sites):
    site = sites.loc["ridge"]
    place = [site[name] for name in ("latitude_deg", "longitude_deg", "elevation_m")]
    instants = float(clock.utc_s(DAYS[1], 8 * 3600.0, "Europe/Berlin")) + np.arange(40) * 900.0
    times = [text[:19] for text in clock.local_iso(instants, "Europe/Berlin").tolist()]
    read = np.array(panel.page.evaluate(READ, [0, times]), dtype=float)
    partner, noon = read[:, 5], instants + read[:, 4]
    known = np.isfinite(partner)
    assert known.sum() > 30
    own = sun.place(instants, *place).altitude_deg
    np.testing.assert_allclose(
        sun.place(partner[known], *place).altitude_deg, own[known], atol=0.006
    )
    assert ((partner - noon) * (instants - noon) < 0)[known].all()


def test_the_phones_clock_is_read_in_the_sites_zone(plan, sites):
    instant = datetime(2026, 5, 5, 4, 30, tzinfo=UTC)
    with open_page(plan, 360, at=instant, timezone="Pacific/Auckland") as opened:
        opened.page.select_option("#site", "1")
        assert "Tue 2026-05-05, 10:15:0" in shown(opened)
        assert "Asia/Kathmandu, UTC+05:45), by the telephone’s clock" in shown(opened)
        site = sites.loc["zenith"]
        noon = sun.transit(instant.timestamp(), site["longitude_deg"])
        before = value(opened, "noon")
        assert before == pytest.approx(noon - instant.timestamp(), abs=5.0)
        opened.page.clock.run_for(3_600_000)
        assert value(opened, "noon") == pytest.approx(before - 3600.0, abs=5.0)
        azimuth = sun.place(
            instant.timestamp() + 3600.0,
            *(site[name] for name in ("latitude_deg", "longitude_deg", "elevation_m")),
        ).azimuth_deg
        assert wrap_180(value(opened, "azimuth") - azimuth - 180.0) == pytest.approx(0, abs=0.2)
        assert opened.errors == []


def value(opened, name):
    return float(opened.page.evaluate("(id) => document.getElementById(id).value", name))


def test_outside_the_plan_it_says_so_and_takes_another_time(plan):
    with open_page(plan, 360, at=datetime(2027, 1, 1, tzinfo=UTC)) as opened:
        assert "Outside this plan" in opened.page.inner_text("#verdict")
        assert "4 May 2026 to 7 May 2026" in opened.page.inner_text("#verdict")
        assert opened.page.inner_text("#azimuth") == "–"
        enter(opened, 0, "2026-05-05T09:30:00")
        assert "Outside" not in opened.page.inner_text("#verdict")
        assert "Tue 2026-05-05, 09:30:00 (Europe/Berlin, UTC+02:00), entered" in shown(opened)
        opened.page.click("#clock")
        assert "Outside this plan" in opened.page.inner_text("#verdict")
        enter(opened, 4, "2026-05-05T12:00:00")
        assert "The sun is down" in opened.page.inner_text("#verdict")


def test_good_hours_are_told_as_the_plan_has_them(plan, sites):
    table = plan_table(sites.loc[["ridge"]], DAYS, Rig(), Limits())
    row = table.iloc[1]
    ends = [
        row[f"{side}_{end}_utc_s"] for side in ("morning", "afternoon") for end in ("from", "to")
    ]
    texts = [clock.local_clock(end, "Europe/Berlin") for end in ends]
    with open_page(plan, 360) as opened:
        for start, stop, until in ((ends[0], ends[1], texts[1]), (ends[2], ends[3], texts[3])):
            for instant in (start + 5, (start + stop) / 2, stop - 5):
                enter(opened, 0, str(clock.local_iso(instant, "Europe/Berlin"))[:19])
                assert opened.page.inner_text("#verdict").startswith(f"Good hour, until {until}.")
        for instant in (ends[0] - 60, row["noon_utc_s"], ends[3] + 60):
            enter(opened, 0, str(clock.local_iso(instant, "Europe/Berlin"))[:19])
            said = opened.page.inner_text("#verdict")
            assert said.startswith("Not a good hour.")
            assert f"{texts[0]}–{texts[1]} and {texts[2]}–{texts[3]}" in said


def test_the_rod_sets_the_length_alone(plan):
    with open_page(plan, 360) as opened:
        enter(opened, 0, "2026-05-05T09:30:00")
        azimuth, length = value(opened, "azimuth"), value(opened, "length")
        opened.page.fill("#rod", "150")
        assert value(opened, "length") == pytest.approx(length / 2, rel=1e-9)
        assert value(opened, "azimuth") == azimuth
        opened.page.fill("#rod", "")
        assert opened.page.inner_text("#length") == "–"
        assert opened.errors == []


def test_hours_shown_twice_or_never_are_read_as_the_tables_read_them(sites, tmp_path):
    for days, hour in ((("2026-10-24", "2026-10-27"), "25"), (("2026-03-28", "2026-03-31"), "29")):
        span = np.arange(*days, dtype="datetime64[D]")
        path = written(tmp_path, sites.loc[["ridge"]], span)
        month = days[0][:7]
        with open_page(path, 360) as opened:
            for time in ("01:59:59", "02:00:00", "02:30:00", "02:59:59", "03:00:00"):
                enter(opened, 0, f"{month}-{hour}T{time}")
                parts = [int(part) for part in time.split(":")]
                seconds = parts[0] * 3600 + parts[1] * 60 + parts[2]
                instant = clock.utc_s(f"{month}-{hour}", seconds, "Europe/Berlin")
                local = str(clock.local_iso(instant, "Europe/Berlin"))
                assert f"{local[:10]}, {local[11:19]} (Europe/Berlin, UTC{local[19:]})" in shown(
                    opened
                )


def test_odd_names_stay_names(odd_plan):
    with open_page(odd_plan, 360) as opened:
        names = opened.page.eval_on_selector_all("#site option", "all => all.map(o => o.text)")
        assert [name.split() for name in names] == [name.split() for name in ODD_NAMES]
        headings = opened.page.eval_on_selector_all(
            ".site h2 bdi", "all => all.map(h => h.textContent)"
        )
        assert headings == list(ODD_NAMES)
        assert opened.page.title().startswith("Plan: spring")
        assert opened.page.locator("main b, main img").count() == 0


def test_every_field_has_its_label_and_the_keyboard_reaches_it(plan):
    with open_page(plan, 360) as opened:
        unlabelled = opened.page.evaluate(
            "[...document.querySelectorAll('input, select')].filter(f => !f.labels.length).length"
        )
        assert unlabelled == 0
        reached = set()
        for _ in range(20):
            opened.page.keyboard.press("Tab")
            reached.add(opened.page.evaluate("document.activeElement.id"))
        assert {"site", "rod", "time", "clock"} <= reached


def test_printed_a_fortnight_of_each_site_is_one_sheet_with_the_cautions(sites, tmp_path):
    four = sites.iloc[:4]  # whose maps fit the first sheet, whatever the paper
    fortnight = written(tmp_path, four, DAYS[0] + np.arange(14))
    with open_page(fortnight, 1280) as opened:
        # Unasked, the sites and days alone are printed.
        for paper in ("Letter", "A4"):
            assert len(re.findall(rb"/Type /Page\b", opened.page.pdf(format=paper))) == 1
        opened.page.click("#open-all")
        opened.page.emulate_media(media="print")
        assert not opened.page.is_visible("#now")
        assert not opened.page.is_visible("#find")
        for number in range(1, len(four) + 1):
            sheet = opened.page.locator(f"#site-{number}")
            assert sheet.evaluate("each => getComputedStyle(each).breakBefore") == "page"
            for caution in CAUTIONS:
                assert caution in sheet.locator(".cautions").inner_text()
        for paper in ("Letter", "A4"):
            printed = opened.page.pdf(format=paper)
            assert len(re.findall(rb"/Type /Page\b", printed)) == 1 + len(four)


# Many sites -----------------------------------------------------------------------------


def rows_shown(opened):
    return opened.page.eval_on_selector_all(
        ".matrix tbody tr", "all => all.filter(r => !r.hidden).map(r => r.cells[0].textContent)"
    )


@pytest.mark.parametrize("width", [360, pytest.param(1280, marks=pytest.mark.slow)])
def test_sixty_sites_are_few_screens_and_a_site_opens_on_demand(sixty, width):
    with open_page(sixty, width) as opened:
        height = opened.page.evaluate("document.documentElement.scrollHeight")
        assert height < 8000
        assert opened.overflow_px() <= 0
        assert not opened.page.is_visible("#site-7 .days")
        opened.page.click('.matrix a[href="#site-7"]')
        # The browser tells of a link followed after the click: waits, and fails without.
        opened.page.wait_for_selector("#site-7 .days", state="visible")
        opened.page.click("#open-all")
        assert opened.page.locator(".site details[open]").count() == 60
        assert opened.errors == []


def test_search_filters_and_order(sites, sixty):
    plan = plan_table(sites, DAYS[0] + np.arange(14), Rig(), Limits())
    good = plan.assign(good=~plan["no-window"]).groupby("site", sort=False)["good"]
    with open_page(sixty, 1280) as opened:
        opened.page.fill("#search", "ZENI")
        assert rows_shown(opened) == [f"zenith {n:02d}" for n in range(1, 60, 6)]
        assert opened.page.inner_text("#found") == "10 of 60 sites"
        assert opened.page.locator(".site:visible").count() == 10
        opened.page.fill("#search", "")
        opened.page.select_option("#by-region", "UTC")
        assert {name.split()[0] for name in rows_shown(opened)} == {"ice"}
        opened.page.select_option("#by-region", "")
        opened.page.select_option("#by-flag", "no-window")
        flagged = {name for name, all_good in good.all().items() if not all_good}
        assert {name.split()[0] for name in rows_shown(opened)} == flagged
        opened.page.select_option("#by-flag", "")
        opened.page.select_option("#by-day", "3")
        on_day = {name for name, days in good if days.to_numpy()[3]}
        assert {name.split()[0] for name in rows_shown(opened)} == on_day
        opened.page.fill("#search", "no such")
        assert opened.page.is_visible("#none-found")
        opened.page.fill("#search", "")
        opened.page.select_option("#by-day", "")
        opened.page.select_option("#order", "good")
        counts = opened.page.eval_on_selector_all(
            ".matrix tbody tr", "all => all.map(r => Number(r.dataset.good))"
        )
        assert counts == sorted(counts, reverse=True)
        assert len(set(counts)) > 1
        opened.page.select_option("#order", "table")
        assert rows_shown(opened)[:2] == ["ridge 00", "zenith 01"]
        assert opened.errors == []


def test_large_type_projects(sixty):
    """1024 × 768 at three metres: figures and words of 18 px and more."""
    with open_page(sixty, 1024, height=768) as opened:
        opened.page.click("#large")
        assert opened.overflow_px() <= 0
        opened.page.click('.matrix a[href="#site-2"]')
        small = opened.page.evaluate("""() => [...document.querySelectorAll(
          '.matrix td, .matrix th, #hours p, .find label, #site-2 .days td, #site-2 .days th')]
          .map(e => parseFloat(getComputedStyle(e).fontSize)).filter(size => size < 18).length""")
        assert small == 0
