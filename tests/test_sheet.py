"""The field sheet measured in the PDF that is printed, and against another sun."""

import json
import re
import subprocess
import sys
import warnings
from io import BytesIO
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pdfplumber
import pvlib
import pytest
from click.testing import CliRunner

from orient.commands.sheet import sheet as sheet_command
from orient.errors import InputError
from orient.flags import CAUTIONS
from orient.sheet.document import check_sizes, field_sheet
from orient.sheet.geometry import OVERLAP_MM
from orient.sheet.layout import SheetLayout
from orient.sheet.paper import (
    PAPERS,
    Paper,
    drawable,
    drawing_rules,
    fitted,
    paper_named,
    size_mm,
    width_mm,
    wrapped,
)

MM = 25.4 / 72.0
HOSTILE = "<script>alert(1)</script>\"'&$x^2$ \u202eשלום\x07日本 "


def site(latitude, longitude, timezone, name="Aldermoor", grid="EPSG:32632", **more):
    return pd.Series(
        {
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "elevation_m": 300.0,
            "timezone": timezone,
            "grid": grid,
            "pressure_hpa": 977.0,
            "temperature_c": 15.0,
            "horizon": "",
            **more,
        },
        name=name,
    )


NORTH = site(50.0, 8.0, "Europe/Berlin")
SOUTH = site(-33.5, 151.2, "Australia/Sydney", grid="EPSG:32756")
FAR_SOUTH = site(-42.0, 147.0, "Australia/Hobart")


def segments(page):
    """Straight lines of a page as (x0, y0, x1, y1) in mm, y up from the foot of the page."""
    ends = [line["pts"] for line in page.lines]
    found = [(*first, *second) for first, second in (points[:2] for points in ends)]
    out = np.array(found) * MM
    out[:, [1, 3]] = float(page.height) * MM - out[:, [1, 3]]
    return out


def lengths(lines):
    return np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])


def level(lines):
    return np.abs(lines[:, 3] - lines[:, 1]) < 0.01


def upright(lines):
    return np.abs(lines[:, 2] - lines[:, 0]) < 0.01


def foot_of(lines):
    """The middle of the foot cross: two lines of 20 mm that halve each other. None without."""
    arms = lines[np.abs(lengths(lines) - 20.0) < 0.05]
    middles = (arms[:, :2] + arms[:, 2:]) / 2
    for across in middles[level(arms)]:
        for up in middles[upright(arms)]:
            if np.allclose(across, up, atol=0.05):
                return across
    return None


def tip_by_another_sun(place, local, rod_mm):
    """x, y of the tip from pvlib's NREL position, trigonometry of a level board."""
    times = pd.DatetimeIndex([pd.Timestamp(local, tz=place["timezone"])])
    sun = pvlib.solarposition.get_solarposition(
        times,
        place["latitude_deg"],
        place["longitude_deg"],
        place["elevation_m"],
        pressure=place["pressure_hpa"] * 100,
        temperature=place["temperature_c"],
        method="nrel_numpy",
        delta_t=69.1,
    ).iloc[0]
    azimuth = np.radians(sun["azimuth"])
    reach = rod_mm / np.tan(np.radians(sun["apparent_elevation"]))
    return np.array([-reach * np.sin(azimuth), -reach * np.cos(azimuth)])


CASES = {
    "A4": (NORTH, "2026-03-21", {"rod_mm": 100.0}),
    "A4 upright": (NORTH, "2026-06-21", {"landscape": False}),
    "A3": (NORTH, "2026-06-21", {"paper": PAPERS["A3"], "rod_mm": 150.0}),
    "Letter, south": (SOUTH, "2026-12-21", {"paper": PAPERS["Letter"], "rod_mm": 150.0}),
    "overhead": (site(10.0, 8.0, "Africa/Lagos"), "2026-04-16", {"rod_mm": 200.0}),
    "off the sheet": (site(-65.0, 8.0, "Etc/UTC"), "2026-05-01", {}),
    "no sun": (site(68.0, 8.0, "Europe/Berlin"), "2026-12-21", {}),
    "midnight sun": (site(78.0, 15.0, "Arctic/Longyearbyen"), "2026-06-21", {"rod_mm": 40.0}),
    "smallest paper": (NORTH, "2026-06-21", {"paper": Paper(180.0, 180.0), "rod_mm": 60.0}),
    "tiled": (NORTH, "2026-06-21", {"board_mm": (650.0, 470.0), "paper": PAPERS["A3"]}),
    "marking": (NORTH, "2026-06-21", {"kind": "marking"}),
    "marking, A3": (SOUTH, "2026-12-21", {"kind": "marking", "paper": PAPERS["A3"]}),
    "marking, tiled": (NORTH, "2026-06-21", {"kind": "marking", "board_mm": (400.0, 300.0)}),
    "hostile name": (
        site(50.0, 8.0, "Europe/Berlin", name=HOSTILE * 12),
        "2026-06-21",
        {"rod_mm": 100.0},
    ),
}


#: Those that take the long runs too: each differs from a quick one by size or season alone.
LONG_RUNS = (
    "A4 upright",
    "A3",
    "no sun",
    "midnight sun",
    "smallest paper",
    "marking, A3",
    "marking, tiled",
)
ALL = [pytest.param(name, marks=[pytest.mark.slow] * (name in LONG_RUNS)) for name in CASES]


class Made(dict):
    """Made when first asked for, without a warning."""

    def __init__(self, make):
        self.make = make

    def __missing__(self, name):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            self[name] = self.make(name)
        return self[name]


@pytest.fixture(scope="module")
def drawn():
    def draw(name):
        place, date, options = CASES[name]
        return field_sheet(place, date, **{"kind": "track"} | options)

    return Made(draw)


@pytest.fixture(scope="module")
def pages(drawn):
    """The pages of each printed PDF, read back."""
    return Made(lambda name: pdfplumber.open(BytesIO(drawn[name].pdf())).pages)


@pytest.mark.parametrize("name", ALL)
def test_both_bars_are_100_mm_on_every_page_and_paper_is_its_size(pages, name):
    paper = CASES[name][2].get("paper", PAPERS["A4"])
    for page in pages[name]:
        size = sorted([float(page.width) * MM, float(page.height) * MM])
        assert size == pytest.approx(sorted([paper.width_mm, paper.height_mm]), abs=0.05)
        lines = segments(page)
        hundred = np.abs(lengths(lines) - 100.0) < 0.2
        assert (hundred & level(lines)).sum() == 1
        assert (hundred & upright(lines)).sum() == 1


def test_the_bar_is_100_mm_when_the_page_is_rastered(pages):
    """The page drawn by another program (PDFium) at ten pixels a millimetre."""
    lines = segments(pages["A4"][0])
    bar = lines[(np.abs(lengths(lines) - 100) < 0.2) & level(lines)][0]
    image = np.asarray(pages["A4"][0].to_image(resolution=254).original.convert("L"))
    row = image[round(image.shape[0] - bar[1] * 10)]
    start = round(bar[0] * 10) - 15
    dark = np.flatnonzero(row[start : round(bar[2] * 10) + 15] < 128)
    assert dark[-1] - dark[0] == pytest.approx(1000, abs=4)


@pytest.mark.parametrize(
    ("name", "clock"),
    [
        ("A4", "11:00"), ("A4", "14:20"), ("Letter, south", "11:10"),
        ("Letter, south", "15:30"), ("overhead", "10:30"),
        pytest.param("A4 upright", "13:00", marks=pytest.mark.slow),
        pytest.param("A3", "10:00", marks=pytest.mark.slow),
        pytest.param("A3", "17:10", marks=pytest.mark.slow),
        pytest.param("midnight sun", "05:00", marks=pytest.mark.slow),
    ],
)  # fmt: skip
def test_ticks_stand_where_another_sun_puts_the_tip(pages, name, clock):
    place, date, options = CASES[name]
    lines = segments(pages[name][0])
    wanted = tip_by_another_sun(place, f"{date} {clock}", options.get("rod_mm", 300.0))
    middles = (lines[:, :2] + lines[:, 2:]) / 2 - foot_of(lines)
    short = lengths(lines) < 6.0
    assert np.hypot(*(middles[short] - wanted).T).min() < 0.2
    # A minute of time moves the tip by more than that: the test can tell it.
    later = tip_by_another_sun(place, f"{date} {clock[:-1]}1", options.get("rod_mm", 300.0))
    assert np.hypot(*(later - wanted)) > 0.2


def test_tiles_glued_by_their_crop_marks_make_one_board(drawn, pages):
    """Pages laid by their corner marks and overlap: each tick at its place from the foot."""
    place, date, _ = CASES["tiled"]
    sheet = drawn["tiled"]
    ticks, foot = [], None
    for page in pages["tiled"][: sheet.board_pages]:
        name = re.search(r"([A-Z])(\d+) · page", page.extract_text())
        row, column = ord(name[1]) - ord("A"), int(name[2]) - 1
        lines = segments(page)
        crop = lines[(np.abs(lengths(lines) - 4.0) < 0.01) & level(lines)]
        left, right = np.sort(np.unique(np.round(crop[:, [0, 2]], 2)))[1:3]
        bottom, top = crop[:, 1].min(), crop[:, 1].max()
        shift = np.array(
            [
                column * (right - left - OVERLAP_MM) - left,
                -row * (top - bottom - OVERLAP_MM) - top,
            ]
        )
        cross = foot_of(lines)
        foot = foot if cross is None else cross + shift
        short = lengths(lines) < 6.0
        ticks.append(((lines[:, :2] + lines[:, 2:]) / 2 + shift)[short])
    middles = np.concatenate(ticks) - foot
    for clock in ("10:20", "11:00", "12:40", "15:00", "16:30"):
        wanted = tip_by_another_sun(place, f"{date} {clock}", 300.0)
        assert np.hypot(*(middles - wanted).T).min() < 0.2


@pytest.mark.parametrize("name", ALL)
def test_every_page_has_the_cautions_and_keeps_its_text_inside(drawn, pages, name):
    for page in pages[name]:
        text = " ".join(page.extract_text().split())
        for caution in CAUTIONS:
            assert caution in text
        # On tiles, a label across a cut runs on under the clipping to the next page.
        tile = drawn[name].board_pages > 1 and page.page_number <= drawn[name].board_pages
        for sign in [] if tile else page.chars:
            assert 4 / MM < sign["x0"] <= sign["x1"] < float(page.width) - 4 / MM
            assert 4 / MM < sign["top"] <= sign["bottom"] < float(page.height) - 4 / MM


@pytest.mark.parametrize("name", ALL)
def test_no_label_touches_another(drawn, pages, name):
    for page in pages[name][: drawn[name].board_pages]:
        words = page.extract_words(
            x_tolerance=1.5, y_tolerance=0.5, keep_blank_chars=True, use_text_flow=True
        )
        boxes = np.array([[w["x0"], w["x1"], w["top"] + 1, w["bottom"] - 1] for w in words])
        for number, box in enumerate(boxes):
            others = boxes[number + 1 :]
            touching = (
                (others[:, 0] < box[1])
                & (box[0] < others[:, 1])
                & (others[:, 2] < box[3])
                & (box[2] < others[:, 3])
            )
            assert not touching.any(), (words[number]["text"], page.page_number)


def test_the_board_page_names_its_figures(pages):
    text = pages["A4"][0].extract_text()
    for part in ("Aldermoor", "2026-03-21", "50°00′00″N", "declination 3.", "grid north 0.77° W"):
        assert part in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "UTC+01:00 (Europe/Berlin)" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_all_steps_and_the_mark_table_are_there(pages):
    text = " ".join(" ".join(page.extract_text() for page in pages["A4"]).split())
    for part in ("fitted to", "sheet turned by 5°", "never on this one"):
        assert part in text
    text = " ".join(" ".join(page.extract_text() for page in pages["marking"]).split())
    for part in ("across, reversed", "plumb line", "Against a time signal", "watch time",
                 "length, mm", "ring", "Name, crew", "Write the mark's number"):  # fmt: skip
        assert part in text


def test_the_same_sheet_is_the_same_file(drawn):
    place, date, options = CASES["A4"]
    first, second = drawn["A4"], field_sheet(place, date, kind="track", **options)
    assert first.pdf() == second.pdf()
    assert first.svgs() == second.svgs()


def test_a_hostile_name_stays_text_in_the_svg(drawn):
    for svg in drawn["hostile name"].svgs():
        root = ElementTree.fromstring(svg)
        tags = {element.tag.rsplit("}", 1)[-1] for element in root.iter()}
        assert not tags & {"script", "foreignObject", "image", "a"}
        assert "<script" not in svg
        assert "\x07" not in svg


def test_the_svg_is_at_true_scale(drawn):
    place, date, _ = CASES["A4"]
    root = ElementTree.fromstring(drawn["A4"].svgs()[0])
    width_pt = float(root.get("width").removesuffix("pt"))
    unit = width_pt / float(root.get("viewBox").split()[2]) * MM

    def middle(name):
        group = next(part for part in root.iter() if part.get("id") == name)
        path = next(part for part in group.iter() if part.tag.endswith("path"))
        numbers = np.array(re.findall(r"-?[\d.]+(?:e-?\d+)?", path.get("d")), dtype=float)
        ends = numbers.reshape(-1, 2) * unit * [1, -1]
        return ends.mean(axis=0), np.hypot(*(ends[-1] - ends[0]))

    assert middle("bar-across")[1] == pytest.approx(100, abs=0.01)
    tick = middle("tick-1420")[0] - middle("foot-across")[0]
    assert tick == pytest.approx(tip_by_another_sun(place, f"{date} 14:20", 100.0), abs=0.2)


# ---------------------------------------------------------------- layout


def test_the_sun_comes_to_each_ring_within_the_good_hours():
    layout = SheetLayout.of(NORTH, "2026-06-21", 225.0, (650.0, 470.0))
    assert len(layout.rings) >= 3
    (am, am_end), (pm, pm_end) = layout.day.good_utc_s
    for ring in layout.rings.itertuples():
        assert am - 10 <= ring.am_utc_s <= am_end + 10
        assert pm - 10 <= ring.pm_utc_s <= pm_end + 10
        for instant in (ring.am_utc_s, ring.pm_utc_s):
            marks = layout.marks_at(instant)
            assert float(marks.shadow_mm) == pytest.approx(ring.radius_mm, abs=0.02)


@pytest.mark.parametrize(
    ("place", "date"),
    [
        (NORTH, "2026-06-21"),
        (SOUTH, "2026-03-21"),
        pytest.param(NORTH, "2026-03-21", marks=pytest.mark.slow),
        pytest.param(SOUTH, "2026-06-21", marks=pytest.mark.slow),
        pytest.param(FAR_SOUTH, "2026-03-21", marks=pytest.mark.slow),
        pytest.param(FAR_SOUTH, "2026-06-21", marks=pytest.mark.slow),
    ],
)
def test_a_rod_and_paper_that_are_named_have_been_tried_and_work(place, date):
    layout = SheetLayout.of(place, date, 300.0, (170.0, 218.0))
    assert not layout.day.good_utc_s
    assert "a board of 650 × 470 mm with a rod of" in layout.warnings()[-1]
    for day in layout.works.values():
        board = (day.rig.board_width_mm, day.rig.board_depth_mm)
        tried = SheetLayout.of(place, date, day.rig.rod_mm, board)
        assert tried.good_clocks()
        assert tried.track["on_sheet"][tried.track["good"]].all()
        assert tried.warnings() == []


def tips_of_careless_boards(layout, clock):
    """Boards set up with errors, the tip traced afresh: x and y of many marks of one minute."""
    row = layout.track[layout.track["clock"] == clock].iloc[0]
    later = layout.track.iloc[row.name + 1]
    generator = np.random.default_rng(5)
    sd = layout.tolerances

    def drawn(size):
        return generator.normal(0.0, size, 40_000)

    minutes = drawn(sd.watch_sd_s) / 60
    azimuth, altitude = (
        np.radians(row[name] + (later[name] - row[name]) * minutes)
        for name in ("azimuth_deg", "altitude_deg")
    )
    altitude += np.radians(drawn(sd.edge_sd_deg))
    toward = np.stack(
        [np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth), np.sin(altitude)]
    )
    slope_x, slope_y = (np.tan(np.radians(drawn(sd.level_sd_deg))) for _ in range(2))
    reach = (layout.rod_mm + drawn(sd.height_sd_mm)) / (
        toward[2] - slope_x * toward[0] - slope_y * toward[1]
    )
    error = np.hypot(sd.plumb_sd_mm, sd.mark_sd_mm)
    x, y = (-reach * part + drawn(error) for part in toward[:2])
    return row, x, y


def test_one_mark_by_the_watch_scatters_as_stated():
    layout = SheetLayout.of(NORTH, "2026-03-21", 300.0, (2000.0, 1000.0))
    stated = layout.expected().iloc[0]
    row, x, y = tips_of_careless_boards(layout, stated["detail"].removeprefix("at "))
    north = np.degrees(np.arctan2(x, y) - np.arctan2(row["x_mm"], row["y_mm"]))
    assert np.std(north) == pytest.approx(stated["u_deg"], rel=0.03)


@pytest.mark.parametrize("clock", ["09:00", "12:30", "16:10"])
def test_the_shaded_band_holds_95_of_100_marks(clock):
    layout = SheetLayout.of(SOUTH, "2026-03-21", 300.0, (2000.0, 1000.0))
    row, x, y = tips_of_careless_boards(layout, clock)
    normal = layout.normals()[row.name]
    across = (x - row["x_mm"]) * normal[0] + (y - row["y_mm"]) * normal[1]
    assert np.mean(np.abs(across) < layout.band_mm()[row.name]) == pytest.approx(0.95, abs=0.006)


def test_a_skyline_takes_its_hours_off_the_sheet():
    shaded = site(50.0, 8.0, "Europe/Berlin", horizon="0:0 90:50 180:0 270:0")
    open_sky = SheetLayout.of(NORTH, "2026-06-21", 100.0, (390.0, 250.0)).on_sheet
    seen = SheetLayout.of(shaded, "2026-06-21", 100.0, (390.0, 250.0)).on_sheet
    assert seen["clock"].iloc[0] > open_sky["clock"].iloc[0]
    assert seen["clock"].iloc[-1] == open_sky["clock"].iloc[-1]


def test_a_rod_error_moves_the_tip_outward_in_proportion():
    layout = SheetLayout.of(NORTH, "2026-06-21", 100.0, (390.0, 250.0))
    rows = layout.shifts()
    rod = rows[rows["error"].str.startswith("rod")]
    moved = np.hypot(rod["along_mm"], rod["across_mm"]).to_numpy()
    at = layout.track[layout.track["clock"].isin(rod["clock"])].drop_duplicates("clock")
    assert moved == pytest.approx(at["shadow_mm"].to_numpy() * 0.05, rel=0.01)


def test_a_sheet_without_shadow_says_so():
    dark = SheetLayout.of(*CASES["no sun"][:2], 300.0, (180.0, 240.0))
    assert "below 5°" in dark.warnings()[0]
    long = SheetLayout.of(*CASES["off the sheet"][:2], 300.0, (180.0, 240.0))
    assert "does not fall" in long.warnings()[0]


def test_that_the_shadow_does_not_fall_here_stands_clear_of_the_foot(pages):
    words = pages["off the sheet"][0].extract_words()
    foot, said = (next(w for w in words if w["text"] == text) for text in ("foot:", "shadow"))
    assert abs(said["top"] - foot["top"]) > 20 / MM


# ---------------------------------------------------------------- paper and text


def test_sizes_and_papers_are_read():
    assert size_mm("650x470") == (650.0, 470.0)
    assert size_mm(" 300.5 × 200 ") == (300.5, 200.0)
    assert paper_named("a4") == PAPERS["A4"]
    assert paper_named("300x400") == Paper(300.0, 400.0)
    for text in ("", "650", "x", "1e9x4", "-1x5", "A7", "100x400", "9999x400"):
        with pytest.raises(ValueError, match="mm"):
            paper_named(text)
    for rod, board in ((np.nan, None), (np.inf, None), (-1, None), (300, (1.0, 500.0))):
        with pytest.raises(ValueError, match="mm"):
            check_sizes(rod, board)


def test_text_is_kept_inside_its_room():
    with drawing_rules():
        long = "Ж" * 200
        assert fitted(long, 50.0, 8.0).endswith("…")
        assert width_mm(fitted(long, 50.0, 8.0), 8.0) <= 50.0
        assert fitted("short", 50.0, 8.0) == "short"
        assert all(width_mm(line, 8.0) <= 40 for line in wrapped(f"one {long} two " * 5, 40.0, 8.0))
        assert drawable("日\x07\u202e\tא") == "\ufffd\ufffd א"


# ---------------------------------------------------------------- the command


@pytest.fixture
def campaign(tmp_path):
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,elevation_m,timezone\n"
        "Aldermoor,50.0,8.0,300,Europe/Berlin\n"
        "Hythe,51.0,1.1,10,Europe/London\n"
    )
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(sheet_command, [str(argument) for argument in arguments])


def test_the_command_writes_a_pdf_and_makes_its_folder(campaign):
    target = campaign / "out" / "deep" / "sheet.pdf"
    result = run(campaign, "--site", "Aldermoor", "--date", "2026-06-21", "-o", target)
    assert result.exit_code == 0, result.output
    assert target.read_bytes().startswith(b"%PDF")
    assert [path.name for path in target.parent.iterdir()] == ["sheet.pdf"]


def test_the_command_writes_an_svg_a_page(campaign):
    target = campaign / "sheet.svg"
    result = run(campaign, "--site", "Hythe", "--date", "2026-06-21", "-o", target, "--rod", "80")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in campaign.glob("*.svg")) == [
        "sheet-2.svg", "sheet-3.svg", "sheet.svg",
    ]  # fmt: skip


def test_an_unknown_site_is_named_with_the_nearest(campaign):
    result = run(campaign, "--site", "Hyte", "--date", "2026-06-21", "-o", campaign / "s.pdf")
    assert isinstance(result.exception, InputError)
    assert "Hyte" in str(result.exception)
    assert "Hythe?" in str(result.exception)
    assert not (campaign / "s.pdf").exists()


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--date", "21.6.2026", "YYYY-MM-DD"),
        ("--date", "1850-06-21", "1900"),
        ("--date", "2051-06-21", "2050"),
        ("--date", "2026-02-30", "YYYY-MM-DD"),
        ("--rod", "nan", "nan"),
        ("--rod", "0", "mm"),
        ("--board", "650", "650x470"),
        ("--board", "20x20", "board is"),
        ("--paper", "B7", "A4"),
        ("-o", "sheet.png", ".pdf or .svg"),
    ],
)
def test_a_wrong_option_is_a_usage_error(campaign, option, value, said):
    given = {"--site": "Hythe", "--date": "2026-06-21", "-o": str(campaign / "s.pdf")}
    given[option] = value
    result = run(campaign, *[part for pair in given.items() for part in pair])
    assert result.exit_code == 2
    assert said in result.output
    assert not list(campaign.glob("*.pdf"))


def test_a_board_of_many_pages_says_how_many_are_glued(campaign):
    options = ("--site", "Hythe", "--date", "2026-06-21", "--board", "380x270", "--rod", "100")
    result = run(campaign, *options, "-o", campaign / "s.pdf", "--layout", campaign / "s.json")
    pages = json.loads((campaign / "s.json").read_text("utf-8"))["pages"]
    board = sum(bool(page["targets"]) for page in pages)
    said = f"{board} pages to glue to one board, and {len(pages) - board} to read and fill in."
    assert board > 1
    assert said in result.stderr
    whole = run(campaign, *options[:4], "--paper", "A3", "-o", campaign / "whole.pdf")
    assert "to glue" not in whole.stderr


def test_the_command_is_quiet_but_for_its_messages(campaign):
    """A fresh process, as a person runs it: no warning of any library on standard error."""
    target = campaign / "sheet.pdf"
    options = ["--site", "Hythe", "--date", "2026-06-21", "--paper", "A3", "-o", str(target)]
    run_it = "from orient.cli import main; main()"
    finished = subprocess.run(
        [sys.executable, "-c", run_it, "sheet", str(campaign), *options],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (finished.returncode, finished.stdout) == (0, f"{target}\n")
    assert finished.stderr == ""
