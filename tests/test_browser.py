"""The report in a real browser: it loads alone, fits its window, prints, and obeys its keys."""

from pathlib import Path

import numpy as np
import pytest
from boards_on_file import (
    marks_of,
    odd_campaign,
    place,
    setup,
    sound_campaign,
    write_campaign,
)
from browser import open_page
from pdf_text import texts
from simulated import simulated

from orient.flags import CAUTIONS
from orient.report.page import write_report
from orient.tables.campaign import read_campaign

# What stands out beyond the window and is not inside a part that scrolls or is cut by design.
BEYOND = """() => [...document.querySelectorAll("body *")].filter(element => {
  if (element.closest(".scroll") && !element.classList.contains("scroll")) return false;
  if (element.closest(".answers thead, .skip, .flag-list dt a")) return false;
  const box = element.getBoundingClientRect();
  return box.width > 0 && box.right > innerWidth + 0.5;
}).map(element => element.tagName + " " + element.textContent.slice(0, 40))"""
# Words of a drawing that its own frame cuts.
CUT = """() => [...document.querySelectorAll("svg text")].filter(text => {
  const box = text.getBoundingClientRect(), frame = text.ownerSVGElement.getBoundingClientRect();
  return box.width > 0 && (box.right > frame.right + 1 || box.left < frame.left - 1);
}).map(text => text.textContent.slice(0, 60))"""
OPEN_ALL = "document.querySelectorAll('details').forEach(part => { part.open = true })"


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    base = tmp_path_factory.mktemp("browser")
    found = {}
    for name, make in (("sound", sound_campaign), ("odd", odd_campaign)):
        write_report(read_campaign(make(base / name)), base / f"{name}-report")
        found[name] = base / f"{name}-report" / "index.html"
    return found


@pytest.mark.parametrize("name", ["sound", "odd"])
def test_the_report_loads_alone_and_fits_its_window(pages, name):
    with open_page(pages[name], 360) as opened:
        opened.page.evaluate(OPEN_ALL)
        for width, scheme in ((360, "light"), (360, "dark"), (768, "light"), (1280, "dark")):
            opened.page.set_viewport_size({"width": width, "height": 800})
            opened.page.emulate_media(color_scheme=scheme)
            assert opened.overflow_px() <= 0
            assert opened.page.evaluate(BEYOND) == []
        assert opened.errors == []
        assert [url for url in opened.requests if not url.startswith(("file:", "data:"))] == []
        assert len([url for url in opened.requests if url.startswith("file:")]) == 1


def test_a_trainee_s_first_report_of_one_line_cuts_no_word(tmp_path):
    """What every line has in common is drawn in the page once: with one line, within its sheet."""
    row = setup("P1", "fell", reference_name="mast", reference_x_mm=-75, reference_y_mm=290)
    marks = marks_of("P1", simulated(np.random.default_rng(2), 47.0, 8.0, 80))
    campaign = write_campaign(tmp_path / "one", [place("fell", 47.0, 8.0)], [row], marks)
    write_report(read_campaign(campaign), tmp_path / "report")
    with open_page(tmp_path / "report" / "index.html", 768) as opened:
        opened.page.evaluate(OPEN_ALL)
        assert opened.page.evaluate(CUT) == []


def test_no_word_or_sign_of_the_demo_s_drawings_is_cut():
    report = Path(__file__).parents[1] / "reports" / "aldermoor" / "index.html"
    for width in (360, 1280):
        with open_page(report, width) as opened:
            opened.page.evaluate(OPEN_ALL)
            assert opened.page.evaluate(CUT) == []


def test_the_answers_stand_on_the_first_screen(pages):
    for width in (360, 1280):
        with open_page(pages["sound"], width) as opened:
            top = opened.page.evaluate(
                "document.querySelector('.answers .azimuth').getBoundingClientRect().bottom"
            )
            assert 0 < top < 800


def test_dark_is_dark_and_texts_stand_out_in_both(pages):
    luminance = """() => {
      const light = css => {
        const part = css.match(/[\\d.]+/g).slice(0, 3).map(Number).map(v => v / 255)
          .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
        return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2];
      };
      const paper = light(getComputedStyle(document.body).backgroundColor);
      const panel = light(getComputedStyle(document.querySelector(".unit")).backgroundColor);
      const inks = ["body", "small", "caption", ".chip", "a[href]", "figcaption"].map(
        name => light(getComputedStyle(document.querySelector(name)).color));
      const tick = light(getComputedStyle(document.querySelector(".drawing .tick")).fill);
      return {paper, panel, inks: [...inks, tick]};
    }"""

    for dark in (False, True):
        with open_page(pages["sound"], 1280, dark) as opened:
            found = opened.page.evaluate(luminance)
        assert (found["paper"] < 0.1) == dark
        for ground in (found["paper"], found["panel"]):
            for ink in found["inks"]:
                low, high = sorted((ground, ink))
                # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for plain text.
                assert (high + 0.05) / (low + 0.05) >= 4.5


def test_keys_reach_the_results_and_a_link_opens_what_it_leads_to(pages):
    with open_page(pages["sound"], 1280) as opened:
        opened.page.keyboard.press("Tab")
        assert opened.page.evaluate("document.activeElement.className") == "skip"
        opened.page.keyboard.press("Enter")
        assert opened.page.evaluate("location.hash") == "#results"
        assert not opened.page.locator("#setup-1").is_visible()
        opened.page.locator(".answers a[href='#setup-1']").first.click()
        opened.page.locator("#setup-1 a[href='#out-1']").click()
        opened.page.locator("#out-1 ~ section").wait_for()
        opened.page.locator("#out-1 a[href='#line-1']").click()
        top = opened.page.locator("#line-1").evaluate("row => row.getBoundingClientRect().top")
        assert 0 <= top < 800


def test_all_opens_and_closes_at_a_button(pages):
    with open_page(pages["sound"], 1280) as opened:
        parts = "[...document.querySelectorAll('details')]"
        opened.page.get_by_role("button", name="Open all").click()
        assert opened.page.evaluate(f"{parts}.every(part => part.open)")
        opened.page.get_by_role("button", name="Close all").click()
        assert not opened.page.evaluate(f"{parts}.some(part => part.open)")


def test_without_scripts_a_link_opens_and_a_summary_unfolds(pages):
    with open_page(pages["sound"], 1280, scripts=False, part="#setup-2") as opened:
        opened.page.locator("#setup-2 .facts").wait_for()
        assert not opened.page.locator("#setup-1").is_visible()
        opened.page.locator("#setup-1-title").click()
        opened.page.locator("#setup-1 .facts").wait_for()
        assert not opened.page.locator("#open-all").is_visible()


def test_every_head_of_a_table_is_told_as_one_to_screen_readers(pages):
    """Without a `scope` too: the browser knows heads by their place (HTML, 4.9.12)."""
    heads = "[...document.querySelectorAll('th')].filter(th => th.offsetParent)"
    of_rows = f"{heads}.filter(th => th.parentElement.querySelector('td')).length"
    with open_page(pages["sound"], 1280) as opened:
        opened.page.evaluate(OPEN_ALL)
        total, rows = opened.page.evaluate(f"[{heads}.length, {of_rows}]")
        session = opened.page.context.new_cdp_session(opened.page)
        nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    told = [node["role"]["value"] for node in nodes if not node["ignored"]]
    assert (told.count("rowheader"), told.count("columnheader")) == (rows, total - rows)
    assert rows > 50


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.slow)])
def test_print_shows_what_is_closed_on_the_screen(pages, paper, tmp_path):
    with open_page(pages["sound"], 1280) as opened:
        opened.page.pdf(path=str(tmp_path / "report.pdf"), format=paper)
    text = " ".join(texts(tmp_path / "report.pdf"))
    for words in ("Never look at the sun", "smudged", "Angle to turn", "Conventions"):
        assert words in text


@pytest.mark.parametrize("name", ["sound", "odd"])
@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.slow)])
def test_each_sheet_of_setting_out_is_one_page_and_stands_alone(pages, name, paper, tmp_path):
    """Somebody carries it into the field: what all lines have in common is on each of them."""
    with open_page(pages[name], 1280) as opened:
        opened.page.pdf(path=str(tmp_path / "report.pdf"), format=paper)
        lines = opened.page.locator("details.out").count()
    sheets = [page for page in texts(tmp_path / "report.pdf") if "Angle to turn" in page]
    assert len(sheets) == lines > 1
    for sheet in sheets:
        for words in ("True azimuth", "equal chords", "28.284", *CAUTIONS):
            assert words in sheet
