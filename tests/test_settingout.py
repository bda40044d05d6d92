"""Setting out against geodesics on the ellipsoid and against pegs set out with errors."""

import re
from io import BytesIO
from xml.etree import ElementTree

import numpy as np
import pdfplumber
import pytest
from browser import open_page
from geographiclib.geodesic import Geodesic

from orient.numbers.settingout import (
    SIX_AT_95,
    ReferenceLine,
    Taping,
    closing_check,
    compass_should_read,
    grid_north_offsets,
    offsets,
    right_angles,
    turns,
)
from orient.numbers.tolerances import COVERAGE_95
from orient.report.settingout import (
    in_words,
    setting_out_css,
    setting_out_html,
    setting_out_svg,
)

TRUE_AZIMUTH_DEG = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
DRAWS = 200_000


def reference(azimuth_deg, u_deg=0.1, **more):
    return ReferenceLine("A1", "Aldermoor", "far pole", azimuth_deg, u_deg, **more)


@pytest.mark.parametrize("azimuth_deg", [0.0, 12.3, 44.9, 45.1, 100.0, 199.9, 314.0, 359.99])
@pytest.mark.parametrize("convergence_deg", [-2.1, 1.4])
def test_offset_pegs_stand_on_the_wanted_line_of_the_ellipsoid(azimuth_deg, convergence_deg):
    """Pegs walked out along geodesics (Karney's solution, geographiclib)."""
    earth = Geodesic.WGS84
    table = offsets(reference(azimuth_deg, convergence_deg=convergence_deg))
    assert len(table) == 10
    for row in table.itertuples():
        foot = earth.Direct(-33.0, 151.0, azimuth_deg, row.distance_m)
        turn = 90.0 if row.side == "right" else -90.0
        peg = earth.Direct(foot["lat2"], foot["lon2"], foot["azi2"] + turn, row.offset_mm / 1000)
        back = earth.Inverse(-33.0, 151.0, peg["lat2"], peg["lon2"])
        wanted = TRUE_AZIMUTH_DEG[row.cardinal] + (convergence_deg if row.north == "grid" else 0)
        # Half a millimetre at 5 m is 0.006°; the figures themselves are given exactly.
        assert (back["azi1"] - wanted + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
        assert back["s12"] == pytest.approx(row.along_m, abs=1e-6)
        chord_peg = earth.Direct(-33.0, 151.0, wanted, row.distance_m)
        chord = earth.Inverse(foot["lat2"], foot["lon2"], chord_peg["lat2"], chord_peg["lon2"])
        assert chord["s12"] * 1000 == pytest.approx(row.chord_mm, abs=1e-3)


def test_turns_lead_from_the_mark_to_every_line():
    line = reference(350.0, convergence_deg=-1.5, declination_deg=12.0, declination_u_deg=0.4)
    table = turns(line)
    assert list(table["north"]) == ["true"] * 4 + ["grid"] * 4 + ["magnetic"]
    signed = np.where(table["side"].to_numpy() == "right", table["turn_deg"], -table["turn_deg"])
    reached = np.array([0, 90, 180, 270, 358.5, 88.5, 178.5, 268.5, 12.0])
    assert (350.0 + signed - reached + 1e-9) % 360 == pytest.approx(1e-9, abs=1e-8)
    clockwise = table["clockwise_deg"].to_numpy()
    assert (350.0 + clockwise - reached + 1e-9) % 360 == pytest.approx(1e-9, abs=1e-8)
    assert table["turn_deg"].between(0, 180).all()
    assert table["turn_u_deg"].iloc[0] == 0.1
    assert table["turn_u_deg"].iloc[-1] == pytest.approx(np.hypot(0.1, 0.4))


def test_what_is_not_known_is_left_out():
    line = reference(80.0)
    assert set(turns(line)["north"]) == {"true"}
    assert set(offsets(line)["north"]) == {"true"}
    assert grid_north_offsets(line).empty
    words = " ".join(in_words(line))
    assert "nan" not in words.lower()
    assert "compass" not in words


@pytest.mark.parametrize(
    ("azimuth", "u"), [(np.nan, 0.1), (np.inf, 0.1), (1.0, -1.0), (1.0, np.nan)]
)
def test_a_line_without_figures_is_refused(azimuth, u):
    with pytest.raises(ValueError, match=r"azimuth"):
        reference(azimuth, u)


def test_grid_north_from_the_true_north_peg():
    east = grid_north_offsets(reference(80.0, convergence_deg=1.0), (10.0,))
    assert (east["side"].iloc[0], round(east["offset_mm"].iloc[0])) == ("right", 175)
    west = grid_north_offsets(reference(80.0, convergence_deg=-1.0), (10.0,))
    assert west["side"].iloc[0] == "left"


def test_the_compass_reads_the_azimuth_less_the_declination():
    line = reference(5.0, declination_deg=12.0, declination_u_deg=0.3)
    assert compass_should_read(line) == pytest.approx((353.0, np.hypot(0.1, 0.3)))


@pytest.mark.parametrize("azimuth_deg", [93.0, 120.0, 134.0])
@pytest.mark.parametrize("distance_m", [5.0, 50.0])
def test_peg_uncertainty_is_the_scatter_of_pegs_set_out_with_errors(azimuth_deg, distance_m):
    generator = np.random.default_rng(11)
    taping = Taping()
    row = offsets(reference(azimuth_deg, u_deg=0.05), taping, (distance_m,)).iloc[0]
    square_u_deg = right_angles(taping)["u_deg"].iloc[4]

    def drawn(length_m):
        return length_m + generator.normal(0, taping.sd_mm(length_m) / 1000, DRAWS)

    # The mark really stands a little off the azimuth given; +y is the wanted east line's side.
    bearing = np.radians(azimuth_deg + generator.normal(0, 0.05, DRAWS))
    square = bearing - np.pi / 2 + np.radians(generator.normal(0, square_u_deg, DRAWS))
    first, second = drawn(distance_m), drawn(row.offset_mm / 1000)
    across = (first * np.cos(bearing) + second * np.cos(square)) * 1000
    assert across.std() == pytest.approx(row.peg_u_mm, rel=0.01)
    assert across.mean() == pytest.approx(0, abs=0.05 * row.peg_u_mm)

    base, radius, chord = drawn(distance_m), drawn(distance_m), drawn(row.chord_mm / 1000)
    opening = np.arccos((base**2 + radius**2 - chord**2) / (2 * base * radius))
    across = radius * np.cos(bearing - opening) * 1000
    assert across.std() == pytest.approx(row.chord_peg_u_mm, rel=0.01)


def test_right_angles_scatter_as_stated():
    generator = np.random.default_rng(12)
    taping = Taping()
    for row in right_angles(taping).itertuples():

        def drawn(length_m):
            return length_m + generator.normal(0, taping.sd_mm(length_m) / 1000, DRAWS)

        lining = generator.normal(0, taping.lining_sd_mm / 1000, (2, DRAWS))
        if row.method == "3-4-5":
            assert row.on_line_m**2 + row.across_m**2 == row.swing_m**2
            a, b, c = drawn(row.across_m), drawn(row.on_line_m), drawn(row.swing_m)
            angle = np.arccos((a**2 + b**2 - c**2) / (2 * a * b)) - np.arctan2(
                lining[0], row.on_line_m
            )
        else:
            # Two circles meet: the far crossing, seen from the station at the origin.
            p = np.array([-drawn(row.on_line_m), lining[0]])
            q = np.array([drawn(row.on_line_m), lining[1]])
            r_p, r_q = drawn(row.swing_m), drawn(row.swing_m)
            gap = np.hypot(*(q - p))
            along = (r_p**2 - r_q**2 + gap**2) / (2 * gap)
            unit = (q - p) / gap
            x, y = p + along * unit + np.sqrt(r_p**2 - along**2) * np.array([-unit[1], unit[0]])
            assert y.mean() == pytest.approx(row.across_m, abs=1e-3)
            angle = np.arctan2(y, x)
        assert np.degrees(angle).mean() == pytest.approx(90, abs=0.002)
        assert np.degrees(angle).std() == pytest.approx(row.u_deg, rel=0.01)


@pytest.mark.parametrize("radius_m", [5.0, 20.0])
def test_honest_pegs_close_within_what_is_accepted(radius_m):
    generator = np.random.default_rng(13)
    taping = Taping()
    table = closing_check(taping, (radius_m,))
    distance = radius_m + generator.normal(0, taping.sd_mm(radius_m) / 1000, (4, DRAWS))
    lining = generator.normal(0, taping.lining_sd_mm / 1000, (3, DRAWS)) / radius_m
    square_u = np.radians(right_angles(taping)["u_deg"].iloc[4])
    east = generator.normal(0, square_u, DRAWS) + lining[0]
    azimuth = np.stack([np.zeros(DRAWS), east, lining[1], east + lining[2]])
    azimuth += np.arange(4)[:, None] * np.pi / 2
    pegs = distance * np.exp(1j * azimuth)
    within, all_within = [], np.ones(DRAWS, dtype=bool)
    for row in table.itertuples():
        first, second = ("NESW".index(letter) for letter in row.check.split("–"))
        taped = np.abs(pegs[first] - pegs[second])
        taped += generator.normal(0, taping.sd_mm(row.length_m) / 1000, DRAWS)
        off_mm = np.abs(taped - row.length_m) * 1000
        within.append(np.mean(off_mm <= row.accept_mm))
        all_within &= off_mm <= row.accept_all_mm
    assert within == pytest.approx([0.95] * 6, abs=0.003)
    assert 0.949 < all_within.mean() < 0.98


def test_a_closure_finds_a_peg_a_hand_out():
    """A peg 0.2 m out at 20 m (half a degree) cannot pass."""
    accept = closing_check(radii_m=(20.0,))["accept_all_mm"].iloc[:4].max()
    assert 200 / np.sqrt(2) > accept


def test_coverage_figures():
    """Two-sided normal quantiles (*from memory*: 1.960; 2.631 for six at once)."""
    assert (round(COVERAGE_95, 3), round(SIX_AT_95, 3)) == (1.960, 2.631)


def test_the_words_carry_the_figures_of_the_tables():
    line = reference(72.31, convergence_deg=1.2, declination_deg=-3.4, declination_u_deg=0.36)
    words = in_words(line)
    assert "17.69° to the right" in words[1]
    assert "6379 mm to the right" in words[2]
    assert any("419 mm to the east" in step for step in words)
    assert "75.7°" in words[-1]


# ---------------------------------------------------------------- the page

FULL = {"convergence_deg": 1.2, "declination_deg": -3.4, "declination_u_deg": 0.36}
HOSTILE = "<script>alert('x')</script>\"&{{ 7 * 7 }}" + "\u05e9\u05dc\u05d5\u05dd" * 45
LINES = {
    "all figures": reference(72.31, **FULL),
    "azimuth alone": reference(0.0, 0.0),
    "south-west": reference(225.0, 2.5, **FULL),
    "hostile names": ReferenceLine(HOSTILE, HOSTILE, HOSTILE, 359.9, 0.1, -0.4, 12.0, 0.4),
}


def setting_out_page(line):
    """The section as it stands in a report, alone on a page."""
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<style>body{margin:0;padding:.8rem;font-family:system-ui,sans-serif}"
        "@media print{@page{margin:9mm}body{padding:0}}"
        f"{setting_out_css()}</style>{setting_out_html(line)}"
    )


@pytest.mark.parametrize("name", LINES)
def test_the_page_is_whole_and_shows_no_missing_value(name):
    page = setting_out_page(LINES[name])
    shown = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    assert not re.search(r"\bnan\b|\bNone\b|\binf\b", shown)
    assert "http:" not in page
    assert "https:" not in page


def test_names_are_text_and_nothing_else():
    page = setting_out_page(LINES["hostile names"])
    assert "<script" not in page
    assert "{{ 7 * 7 }}" in page
    fragment = setting_out_html(LINES["hostile names"])
    assert fragment.count("<section") == fragment.count("</section>") == 1


@pytest.mark.parametrize("name", LINES)
def test_the_section_is_well_formed(name):
    ElementTree.fromstring(setting_out_html(LINES[name]).strip())
    ElementTree.fromstring(setting_out_svg(LINES[name]).strip())


def test_the_section_carries_the_tables():
    shown = re.sub(r"<[^>]+>", " ", setting_out_html(LINES["all figures"]))
    for figure in ("287.69°", "287°41′", "6379", "20.993", "28.284"):
        assert figure in shown
    answers = " ".join(shown.split())
    assert "True azimuth 72.31° ± " in answers
    assert "Grid bearing 71.11° " in answers
    assert "Compass should read 75.7° ± " in answers


@pytest.mark.parametrize("azimuth_deg", [3.0, 50.0, 133.0, 222.0, 359.0])
def test_the_diagram_points_where_the_mark_is(azimuth_deg):
    svg = ElementTree.fromstring(setting_out_svg(reference(azimuth_deg)).strip())
    mark = next(part for part in svg.iter("circle") if part.get("r") == "11")
    pointed = np.degrees(np.arctan2(float(mark.get("cx")), -float(mark.get("cy")))) % 360
    assert pointed == pytest.approx(azimuth_deg, abs=0.02)


@pytest.mark.parametrize("name", LINES)
def test_it_fits_a_telephone_and_prints_on_one_page(tmp_path, name):
    path = tmp_path / "page.html"
    path.write_text(setting_out_page(LINES[name]), encoding="utf-8")
    with open_page(path, 360) as opened:
        assert opened.overflow_px() <= 0
        for paper, width in (("A4", 595), ("Letter", 612)):
            margin = dict.fromkeys(("top", "right", "bottom", "left"), "9mm")
            with pdfplumber.open(BytesIO(opened.page.pdf(format=paper, margin=margin))) as pdf:
                assert len(pdf.pages) == 1
                assert float(pdf.pages[0].width) == pytest.approx(width, abs=1)


def test_the_style_reaches_only_the_section():
    rules = re.sub(r"/\*.*?\*/", "", setting_out_css(), flags=re.DOTALL)
    for selector in re.findall(r"([^{}@]+)\{", rules):
        if not selector.strip().startswith(("media", "(")):
            assert all(part.strip().startswith(".setting-out") for part in selector.split(","))
