"""The plan as a page: hour by hour, the embedded sun, safe names, what is printed where."""

import base64
import json
import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from orient import simulate
from orient.cli import orient
from orient.flags import CAUTIONS, FLAGS
from orient.numbers import sun
from orient.pages import lookup, page_text
from orient.pages.span import MOST_DAYS, TooLarge, check_size
from orient.planning.hourly import Hour, hourly_pairs
from orient.planning.hours import Limits, SiteDays, pairs_at, plan_table
from orient.planning.rig import Rig
from orient.planning.rows import plan_rows
from orient.planpage.page import (
    MOST_SITE_DAYS,
    hour_classes,
    letters_of,
    plan_page,
)
from orient.tables import clock
from orient.tables.campaign import read_campaign

SITES = """site,latitude_deg,longitude_deg,elevation_m,timezone,horizon_deg
ridge,50.0,10.0,400,Europe/Berlin,
shore,7.5,-10.0,0,Africa/Monrovia,
fell,66.0,25.0,200,Europe/Helsinki,120:8 200:3
plateau,-20.0,-68.0,3700,America/La_Paz,
ice,80.0,20.0,0,UTC,
pass,28.0,85.0,3000,Asia/Kathmandu,25
"""
MAY = np.arange("2026-05-04", "2026-05-09", dtype="datetime64[D]")
CLOCKS_CHANGE = np.arange("2026-03-28", "2026-03-31", dtype="datetime64[D]")
ODD_NAMES = (
    "</script><script>document.title='owned'</script>",
    "\"double\" 'single' & <b>bold</b> {{ 7*7 }}",
    "<img src=x onerror=document.title='owned'>",
    "מחנה הצפון مخيم",
    "x" * 200,
    "two\u2028lines",
)


@pytest.fixture(scope="module")
def sites(tmp_path_factory):
    folder = tmp_path_factory.mktemp("campaign")
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return read_campaign(folder, ("sites",)).sites


def named(sites, names):
    return sites.iloc[: len(names)].set_axis(pd.Index(names, name="site"))


# Hour by hour ---------------------------------------------------------------------------


def test_hours_within_the_windows_meet_the_target_and_no_others_beside_them(sites):
    rig, limits = Rig(), Limits()
    slots = hourly_pairs(sites, MAY, rig, limits, 15)
    plan = plan_table(sites, MAY, rig, limits)
    middle_s = (np.arange(96) + 0.5) * 900.0
    checked = 0
    for number, row in enumerate(plan.itertuples()):
        site, date = divmod(number, len(MAY))
        zone = sites["timezone"].iloc[site]
        instants = clock.utc_s(np.full(96, MAY[date]), middle_s, zone)
        inside = np.zeros(96, dtype=bool)
        near_an_end = np.zeros(96, dtype=bool)
        for start, stop in (
            (row.morning_from_utc_s, row.morning_to_utc_s),
            (row.afternoon_from_utc_s, row.afternoon_to_utc_s),
        ):
            inside |= (instants >= start) & (instants <= stop)
            # Windows are narrowed to 5 s, and each side to the poorer of the two marks.
            near_an_end |= (np.abs(instants - start) < 120) | (np.abs(instants - stop) < 120)
        meets = slots.u_deg[site, date] <= limits.target_deg
        np.testing.assert_array_equal(meets[~near_an_end], inside[~near_an_end])
        checked += inside.sum()
    assert checked > 200


def test_an_afternoon_hour_is_judged_by_the_pair_that_it_belongs_to(sites):
    """Partners found by the simulator's own sun: equal altitude across noon."""
    rig, limits = Rig(), Limits()
    one = sites.loc[["ridge"]]
    slots = hourly_pairs(one, MAY[:1], rig, limits, 30)
    days = SiteDays.of(one, np.zeros(1, dtype=np.intp), MAY[:1])
    noon = float(days.noon_utc_s[0])
    place = (50.0, 10.0, 400.0, one["pressure_hpa"].iloc[0], one["temperature_c"].iloc[0])
    for slot in range(28, 36):
        instant = float(clock.utc_s(MAY[0], (slot + 0.5) * 1800.0, "Europe/Berlin"))
        mirrored = 2 * noon - instant
        tried = mirrored + np.linspace(-900.0, 900.0, 3601)
        _, altitude, _ = simulate.sun_seen(np.append(tried, instant), *place)
        partner = tried[np.argmin(np.abs(altitude[:-1] - altitude[-1]))]
        u = pairs_at(days, np.zeros(1, dtype=np.intp), np.array([noon - partner]), rig).u_deg[0]
        found = slots.u_deg[0, 0, slot]
        if slots.hour[0, 0, slot] == Hour.MARKS and np.isfinite(found):
            assert found == pytest.approx(u, rel=1e-3)


def test_what_hinders_an_hour_is_told(sites):
    slots = hourly_pairs(sites, MAY, Rig(), Limits(), 60)
    site = {name: number for number, name in enumerate(sites.index)}
    assert (slots.hour[site["shore"], 0, [0, 3, 23]] == Hour.TOO_LOW).all()
    assert slots.hour[site["shore"], 0, 12] == Hour.TOO_HIGH
    assert slots.hour[site["ice"], 0, 12] == Hour.OFF_BOARD
    # Behind hills of 25° the sun of the pass is no use where a level skyline would let it be.
    level = sites.loc[["pass"]].assign(horizon="")
    behind = slots.hour[site["pass"], 0] == Hour.TOO_LOW
    assert behind.sum() > (hourly_pairs(level, MAY, Rig(), Limits(), 60).hour[0, 0] == 1).sum()
    hindered = slots.hour != Hour.MARKS
    assert np.isnan(slots.u_deg[hindered]).all()
    assert not np.isnan(slots.u_deg[~hindered]).any()


def test_classes_part_at_the_target(sites):
    limits = Limits(target_deg=0.2)
    slots = hourly_pairs(sites, MAY, Rig(), limits, 15)
    letters = letters_of(slots, limits)
    marks = slots.hour == Hour.MARKS
    meets = np.isin(letters, ["0", "1", "2"])
    np.testing.assert_array_equal(meets[marks], slots.u_deg[marks] <= 0.2)
    assert set(np.unique(letters)) <= {each.letter for each in hour_classes(limits)}
    assert "0.39° (the target)" in hour_classes(limits)[2].words  # 1.96 × 0.2


# The sun in the page --------------------------------------------------------------------


def unpacked(text):
    data = np.frombuffer(base64.b64decode(text), dtype=np.uint8).reshape(-1, 3)
    padded = np.zeros((len(data), 4), dtype=np.uint8)
    padded[:, :3] = data
    return (padded.view(">i4").ravel() >> 8).reshape(-1, 3) / lookup.SCALE


@pytest.mark.parametrize("name", ["ridge", "shore", "fell", "plateau", "ice", "pass"])
def test_directions_between_the_samples_are_as_good_as_stated(sites, name):
    site = sites.loc[name]
    table = lookup.site_table(site, MAY[0], MAY[-1])
    place = [site[key] for key in ("latitude_deg", "longitude_deg", "elevation_m")]
    start, end = table["span_utc_s"]
    instants = np.random.default_rng(1).uniform(start, end, 4000)
    seen = sun.place(instants, *place)
    truth = np.stack(sun.direction(instants, *place)[:3], axis=-1)
    runs = [(number, unpacked(text)) for number, text in table["runs"]]
    found = 0
    for instant, want, altitude in zip(instants, truth, seen.altitude_deg, strict=True):
        number = int(instant // lookup.STEP_S)
        four = [s[number - 1 - n : number + 3 - n] for n, s in runs if n < number < n + len(s) - 2]
        if not four:
            assert altitude < 0
            continue
        through = np.polynomial.polynomial.polyfit([-1, 0, 1, 2], four[0], 3)
        got = np.polynomial.polynomial.polyval(instant / lookup.STEP_S - number, through)
        assert np.abs(got - want).max() < 1.5e-7
        found += 1
    assert found > 1000
    assert table["pressure_hpa"] == pytest.approx(site["pressure_hpa"], abs=1e-3)
    assert table["temperature_c"] == site["temperature_c"]


def test_offsets_follow_the_clocks(sites):
    table = lookup.site_table(sites.loc["ridge"], CLOCKS_CHANGE[0], CLOCKS_CHANGE[-1])
    # European clocks go forward at 01:00 UTC on the last Sunday of March (directive 2000/84/EC).
    changed = pd.Timestamp("2026-03-29T01:00Z").timestamp()
    assert table["offsets"] == [[table["span_utc_s"][0], 3600], [changed, 7200]]
    assert table["span_utc_s"][1] - table["span_utc_s"][0] == 3 * 86400 - 3600


def test_a_polar_day_is_one_run_and_a_polar_night_none(sites):
    day = lookup.site_table(sites.loc["ice"], *np.array(["2026-06-20", "2026-06-22"], "M8[D]"))
    night = lookup.site_table(sites.loc["ice"], *np.array(["2026-12-20", "2026-12-22"], "M8[D]"))
    assert len(day["runs"]) == 1
    assert night["runs"] == []


# The page -------------------------------------------------------------------------------


class Reader(HTMLParser):
    """Elements with their attributes, and the text of each, as a browser would have them."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.texts, self._open = [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        self._open.append((tag, []))

    def handle_endtag(self, tag):
        while self._open:
            name, text = self._open.pop()
            self.texts.append((name, "".join(text)))
            if name == tag:
                return

    def handle_data(self, data):
        if self._open:
            self._open[-1][1].append(data)

    def of(self, tag):
        return [text for name, text in self.texts if name == tag]


@pytest.fixture(scope="module")
def page(sites):
    return plan_page("spring", sites, MAY, Rig(), Limits())


def test_every_site_has_its_sheet_with_days_and_cautions(page, sites):
    assert page.count('<section class="site"') == len(sites)
    for section in page.split('<section class="site"')[1:]:
        assert all(caution in section for caution in map(escaped, CAUTIONS))
        assert section.count("<tbody><tr><th") == len(MAY) + ("Rings to draw" in section)
        assert "Mon 4 May" in section
        for flag in re.findall(r'<span class="chip">([a-z-]+)</span>', section):
            assert escaped(FLAGS[flag]) in section


def escaped(text):
    from markupsafe import escape

    return str(escape(text))


def test_the_page_names_nothing_outside_itself(page):
    reader = Reader(page)
    for _, attributes in reader.elements:
        for name in ("href", "src", "srcset", "action", "data", "poster"):
            assert (attributes.get(name) or "#").startswith(("#", "data:"))
    assert not re.search(r"https?:|url\(|@import|fetch\(|XMLHttpRequest", page)
    assert "default-src 'none'" in page


def test_odd_names_stay_text(sites):
    page = plan_page("<b>&\"'", named(sites, ODD_NAMES), MAY[:2], Rig(), Limits())
    reader = Reader(page)
    assert [tag for tag, _ in reader.elements].count("script") == 2
    assert not {"b", "img"} & {tag for tag, _ in reader.elements}
    assert reader.of("option")[: len(ODD_NAMES)] == list(ODD_NAMES)
    table = json.loads(reader.of("script")[0])
    assert len(table["sites"]) == len(ODD_NAMES)
    start = page.index('id="table">')
    embedded = page[start + 11 : page.index("</script>", start)]
    assert not set("<>&\u2028\u2029") & set(embedded)


def test_the_table_in_the_page_is_the_plan(page, sites):
    table = json.loads(Reader(page).of("script")[0])
    plan = plan_table(sites, MAY, Rig(), Limits())
    words = list(table["words"])
    good = words[: next(n for n, word in enumerate(words) if "target" in table["words"][word]) + 1]
    for number, site in enumerate(table["sites"]):
        for own, (date, day) in zip(
            range(number * len(MAY), (number + 1) * len(MAY)), site["days"].items(), strict=True
        ):
            row = plan.iloc[own]
            assert date == str(row["date"])[:10]
            assert day["noon_utc_s"] == round(row["noon_utc_s"])
            ends = [
                [round(row[f"{half}_{end}_utc_s"]) for end in ("from", "to")]
                for half in ("morning", "afternoon")
                if not row["no-window"]
            ]
            assert day["windows"] == ends
            assert len(day["slots"]) * table["slot_s"] == 86400
            assert set(day["slots"]) <= set(table["words"])
            for middle in map(np.mean, ends):
                local = middle + clock.offset_s(middle, site["timezone"])
                letter = day["slots"][int(local % 86400) // table["slot_s"]]
                assert letter in good


def test_noon_and_the_best_pair_stand_at_their_hours_in_the_map(page, sites):
    """What is drawn, read back by the hours written under it, is the row's civil time."""
    rows = plan_rows(plan_table(sites, MAY, Rig(), Limits()), sites)
    maps = re.findall(r'<svg class="map".*?</svg>', page, re.DOTALL)
    assert len(maps) == len(sites)
    drawn = 0
    for number, svg in enumerate(maps):
        ticks = re.findall(r'<text x="([\d.]+)" y="[\d.]+" text-anchor="middle">(\d+)</text>', svg)
        at, hours = np.array(ticks, dtype=float).T
        for name, wanted in (
            ("noon", lambda row: [row["noon_local"]]),
            ("best", lambda row: [row["best"]["morning"], row["best"]["afternoon"]]),
        ):
            (path,) = re.findall(rf'class="{name}" d="([^"]*)"', svg)
            found = [float(x) for x in re.findall(r"M([\d.]+) ", path)]
            times = [
                t for row in rows[number * 5 : number * 5 + 5] if row["best"] for t in wanted(row)
            ]
            clocks = sorted(int(t[11:13]) + int(t[14:16]) / 60 for t in times)
            shown = sorted(np.polyval(np.polyfit(at, hours, 1), found))
            if len(shown) == len(clocks):  # noon is drawn on days without a pair too
                assert shown == pytest.approx(clocks, abs=0.06)
                drawn += len(shown)
    assert drawn > 50


def test_a_fortnight_of_twelve_sites_stays_small(sites):
    twelve = pd.concat([sites, sites.set_axis([f"{name} 2" for name in sites.index])])
    days = np.arange("2026-06-15", "2026-06-29", dtype="datetime64[D]")
    assert len(plan_page("summer", twelve, days, Rig(), Limits()).encode()) < 1_000_000


def test_days_of_changed_clocks_and_a_single_day(sites):
    for days in (CLOCKS_CHANGE, CLOCKS_CHANGE[:1]):
        page = plan_page("clocks", sites, days, Rig(), Limits())
        assert "28 Mar 2026" in page


def test_too_much_for_one_page():
    check_size(60, 14, MOST_SITE_DAYS)
    with pytest.raises(TooLarge, match="fewer days"):
        check_size(1, MOST_DAYS + 1, MOST_SITE_DAYS)
    with pytest.raises(TooLarge, match="some of the sites"):
        check_size(201, 10, MOST_SITE_DAYS)


def test_the_command_writes_the_page(tmp_path):
    (tmp_path / "sites.csv").write_text(SITES, encoding="utf-8")
    arguments = ["plan", str(tmp_path), "--from", "2026-05-04", "--page"]
    done = CliRunner().invoke(orient, [*arguments, str(tmp_path / "week.html")])
    assert done.exit_code == 0, done.output
    assert done.stdout.strip() == str(tmp_path / "week.html")
    assert "4 May 2026" in (tmp_path / "week.html").read_text(encoding="utf-8")
    refused = CliRunner().invoke(
        orient, [*arguments, str(tmp_path / "year.html"), "--to", "2027-05-03"]
    )
    assert refused.exit_code == 2
    assert "fewer days" in refused.stderr
    assert not (tmp_path / "year.html").exists()


# The table of sites and days --------------------------------------------------------------


def test_the_table_of_sites_and_days_is_the_plan(page, sites):
    plan = plan_table(sites, MAY, Rig(), Limits())
    body = page[page.index('<table class="matrix">') : page.index("<tfoot>")]
    cells = re.findall(r'<td class="(\w+)( good)?" title="([^"]*)">([^<]*)</td>', body)
    assert len(cells) == len(plan)
    shown = {"none"}
    for (style, good, title, text), row in zip(cells, plan.itertuples(), strict=True):
        assert bool(good) == (not row[plan.columns.get_loc("no-window") + 1])
        if np.isfinite(row.best_u_deg):
            assert text == f"{1.959964 * row.best_u_deg:.2f}°"
            assert (style in ("u0", "u1", "u2")) == bool(good)
        else:
            assert (style, text) in {("none", w) for w in ("low sun", "off board", "no pair")}
            assert title
        shown.add(style)
    assert len(shown) > 3
    served = re.findall(r"<td>(\d+)</td>", page[page.index("<tfoot>") : page.index("</tfoot>")])
    good = ~plan["no-window"].to_numpy().reshape(len(sites), len(MAY))
    assert [int(each) for each in served] == good.sum(axis=0).tolist()
    assert f"good at {good.sum(axis=0).max()} of {len(sites)} sites" in page


def lightness(colour):
    """L* of a colour (CIE 15:2018, sRGB of IEC 61966-2-1)."""
    parts = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def test_grey_paper_keeps_the_order_of_the_classes():
    """From one class to the next at least 10 of L*; across the target's boundary at least 15;
    what is written in a cell has a contrast of 4.5 to 1 (WCAG 2.1, 1.4.3)."""
    style = page_text("planpage", "plan.css")
    schemes = re.findall(r":root\{(--u0[^}]*)\}", style)
    assert len(schemes) == 3
    for scheme in schemes:
        colours = dict(re.findall(r"--(\w+):(#[0-9a-f]+)", scheme))
        full = {name: whole(colour) for name, colour in colours.items()}
        steps = np.diff([lightness(full[f"u{n}"]) for n in range(5)])
        assert (steps > 0).all() or (steps < 0).all()
        assert np.abs(steps).min() > 7
        assert np.abs(steps[2]) > 15
        for n in range(5):
            pair = (luminance(full[f"u{n}"]), luminance(full[f"on{n}"]))
            light, dark = max(pair), min(pair)
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (scheme, n)


def whole(colour):
    """A colour of three figures with six."""
    return colour if len(colour) == 7 else "#" + "".join(2 * figure for figure in colour[1:])


def luminance(colour):
    parts = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_sunrise_and_sunset_are_another_librarys(page, sites):
    """Against skyfield's own search for risings and settings, to the minute."""
    from importlib.resources import as_file, files

    from skyfield import almanac
    from skyfield.api import load, wgs84
    from skyfield.jpllib import SpiceKernel

    with as_file(files("skyfield_data") / "data" / "de421.bsp") as path:
        kernel, scale = SpiceKernel(str(path)), load.timescale(builtin=True)
        for name in ("ridge", "shore", "plateau"):
            site = sites.loc[name]
            section = page.split('<section class="site"')[1 + list(sites.index).index(name)]
            said = re.search(r"4 May <small>noon [\d:]+, sun (\d\d:\d\d)–(\d\d:\d\d)", section)
            start = float(clock.utc_s(MAY[0], 0.0, site["timezone"]))
            span = [scale.utc(1970, 1, 1, 0, 0, start + add) for add in (0.0, 86400.0)]
            place = wgs84.latlon(site["latitude_deg"], site["longitude_deg"])
            times, up = almanac.find_discrete(*span, almanac.sunrise_sunset(kernel, place))
            for text, kind in ((said[1], 1), (said[2], 0)):
                instant = next(t for t, u in zip(times, up, strict=True) if u == kind)
                local = clock.local_clock(instant.utc_datetime().timestamp(), site["timezone"])
                minutes = [int(each[:2]) * 60 + int(each[3:5]) for each in (text, str(local))]
                assert abs(minutes[0] - minutes[1]) <= 1
        kernel.close()
