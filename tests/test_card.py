"""`orient card`: read back from the PDF, its figures against libraries of other people."""

import datetime as dt
import re

import demo_tables
import pdfplumber
import pytest
from click.testing import CliRunner
from pygeomag import GeoMag
from pyproj import Proj

from orient import cli
from orient.commands.card import card
from orient.errors import InputError
from orient.files import write_whole
from orient.flags import CAUTIONS
from orient.sheet.card import HEIGHT_MM, WIDTH_MM, valid_until


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("cards")
    rows = "".join(f"hut-{i},{44 + i / 10},{103.1 + i / 7:.4f},EPSG:32648\n" for i in range(10))
    (path / "sites.csv").write_text("site,latitude_deg,longitude_deg,grid\n" + rows)
    return path


@pytest.fixture(scope="module")
def document(folder):
    path = folder / "made" / "cards.pdf"
    ran = CliRunner().invoke(card, [str(folder), "--date", "2026-06-01", "-o", str(path)])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    with pdfplumber.open(path) as pdf:
        yield pdf


def test_a_card_says_what_to_add(document):
    """Source: pygeomag's WMM2025, and pyproj's convergence."""
    box = document.pages[0]
    mm = 72 / 25.4
    text = box.crop((0, 0, box.width / 2, 100 * mm)).extract_text()
    declination = GeoMag().calculate(44.0, 103.1, 0.0, 2026 + 151 / 365).d
    to_grid = declination - Proj("EPSG:32648").get_factors(103.1, 44.0).meridian_convergence
    west = f"{abs(declination):.1f}° W"
    assert f"Declination {west}" in text
    assert f"True bearing = needle − {abs(declination):.1f}°" in text
    assert f"Grid bearing = needle − {abs(to_grid):.1f}°" in text
    assert f"Needle 100° is true {100 + declination:.1f}°, grid {100 + to_grid:.1f}°." in text
    assert re.search(r"2026-06-01, valid until 20[23]\d-\d\d-\d\d \(WMM2025\)", text)


def test_several_a_page_at_true_scale_with_the_cautions(document):
    assert len(document.pages) == 2
    words = [page.extract_text() for page in document.pages]
    assert sum(text.count("True bearing") for text in words) == 10
    for text in words:
        assert "…" not in text
        assert CAUTIONS[0] in " ".join(text.split())
    mm = 72 / 25.4
    sizes = {
        (round((c["x1"] - c["x0"]) / mm, 1), round((c["bottom"] - c["top"]) / mm, 1))
        for c in document.pages[0].rects
    }
    assert (round(WIDTH_MM, 1), round(HEIGHT_MM, 1)) in sizes


def test_no_text_leaves_its_card(document):
    mm = 72 / 25.4
    frames = [c for c in document.pages[0].rects if abs((c["x1"] - c["x0"]) / mm - WIDTH_MM) < 0.1]
    assert len(frames) == 8
    for frame in frames:
        across = [
            word
            for word in document.pages[0].extract_words()
            if frame["top"] < word["top"] < frame["bottom"]
            and word["x0"] < frame["x1"] < word["x1"]
        ]
        assert across == []


@pytest.mark.parametrize("count", [4, 5, 12])
def test_no_compass_and_no_figure_is_left_out_in_silence(tmp_path, count):
    """A card has room for a few compasses: the others are counted, a long name is shortened."""
    sites = [f"Long valley north transect and the station at the foot {i}" for i in range(6)]
    names = [f"compass of the {'geological ' * 5}party number {i}" for i in range(count)]
    fast = GeoMag().calculate(44.0, 105.0, 0.0, 2026.4).d
    # All are off by two degrees and more, to either side; the last was read once.
    readings = [
        f"{site},2026-05-27,{name},{50.0 - fast + (-1) ** number * (2 + number):.1f},50"
        for number, name in enumerate(names)
        for site in (sites if number < count - 1 else sites[:1])
    ]
    tables = {
        "sites": [
            "site,latitude_deg,longitude_deg",
            *(f"{s},44,105.{i}" for i, s in enumerate(sites)),
        ],
        "readings": ["site,date,compass,reading_deg,known_azimuth_deg", *readings],
        "setups": ["setup,site,date,gnomon_height_mm"],
        "marks": ["setup,x_mm,y_mm"],
    }
    for name, lines in tables.items():
        (tmp_path / f"{name}.csv").write_text("\n".join(lines) + "\n")
    path = tmp_path / "made" / "cards.pdf"
    ran = CliRunner().invoke(card, [str(tmp_path), "--date", "2026-06-01", "-o", str(path)])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    with pdfplumber.open(path) as pdf:
        page = pdf.pages[0]
        mm = 72 / 25.4
        frames = [c for c in page.rects if abs((c["x1"] - c["x0"]) / mm - WIDTH_MM) < 0.1]
        texts = [
            page.crop((c["x0"], c["top"], c["x1"], c["bottom"])).extract_text() for c in frames
        ]
    assert len(texts) == len(sites)
    # Each card's heading tells it from the others.
    assert sorted(text.split("\n")[0][-1] for text in texts) == list("012345")
    for text in texts:
        assert text.rstrip().endswith("No navigation aid.")
        given = re.findall(r"number (\d+): (first|no correction)", text)
        more = re.search(r"(\d+) compass(?:es)? more: see the report", text)
        assert len(given) + int(more[1] if more else 0) == count
        figures = re.findall(r"first (?:add|subtract) \d+\.\d° \(±\d+\.\d°\)", text)
        assert len(figures) == len([word for _, word in given if word == "first"])
        assert figures


def test_names_that_the_font_lacks_are_told(tmp_path):
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg\n北京,39.9,116.4\nhut,44,103.1\n", encoding="utf-8"
    )
    (tmp_path / "roster.csv").write_text("student\n王\nAda\n", encoding="utf-8")
    where = ["--site", "hut", "--date", "2026-06-01"]
    for arguments, named in (
        (["card", "CAMP", "-o", "OUT.pdf"], "北京"),
        (["night", "CAMP", "--site", "北京", "--from", "2026-06-01", "--sheet", "OUT.pdf"], "北京"),
        (["class", "CAMP", str(tmp_path / "roster.csv"), *where, "-o", "OUT"], "王"),
    ):
        out = str(tmp_path / arguments[0])
        words = [word.replace("CAMP", str(tmp_path)).replace("OUT", out) for word in arguments]
        ran = CliRunner().invoke(cli.orient, words)
        assert ran.exit_code == 0, (ran.output, ran.exception)
        assert (
            f"The font on paper lacks signs of {named}: {named} prints as \N{REPLACEMENT CHARACTER}"
            in ran.stderr
        )


def test_valid_until_it_has_moved_a_quarter_degree_or_the_model_ends():
    day = dt.date(2026, 6, 1)
    assert valid_until(day, 0.25) == dt.date(2027, 6, 1)
    assert valid_until(day, -0.5) == dt.date(2026, 11, 30)
    assert valid_until(day, 0.01) == dt.date(2029, 12, 31)
    assert valid_until(day, 0.0) == dt.date(2029, 12, 31)


def test_faults(folder):
    for args, column in ((["--site", "nowhere"], None), (["--paper", "B0"], None)):
        with pytest.raises(InputError) as stop:
            cli.orient(["card", str(folder), "-o", str(folder / "n.pdf"), *args],
                       standalone_mode=False)  # fmt: skip
        assert stop.value.faults[0].column == column
    with pytest.raises(InputError):
        cli.orient(["card", str(folder), "-o", str(folder / "n.svg")], standalone_mode=False)
    assert not (folder / "n.pdf").exists()


def test_a_card_of_a_place_that_its_marks_contradict_says_so(tmp_path):
    """The demo's board with the sign of its longitude wrong."""
    files = demo_tables.part_of_demo("alder-1", "thorn-1")
    sites = files["sites.csv"].replace("56°51′00″W", "56°51′00″E")
    assert sites != files["sites.csv"]
    setups = files["setups.csv"].replace("R300", "").replace("L1", "")
    write_whole(tmp_path, files | {"sites.csv": sites, "setups.csv": setups})
    path = tmp_path / "made" / "cards.pdf"
    ran = CliRunner().invoke(card, [str(tmp_path), "-o", str(path)])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    with pdfplumber.open(path) as pdf:
        text = "\n".join(page.extract_text() for page in pdf.pages)
    assert text.count("The marks contradict this place: do not use.") == 1
