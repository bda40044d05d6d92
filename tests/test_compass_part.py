"""The report's part on compasses and ground, read back from the page."""

import re

import demo_tables
from click.testing import CliRunner

from orient.commands.report import report
from orient.files import write_whole


def section(folder, name):
    write_whole(folder / "aldermoor", demo_tables.FILES)
    ran = CliRunner().invoke(report, [str(folder / "aldermoor"), "-o", str(folder / "page")])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    page = (folder / "page" / "index.html").read_text("utf-8")
    return re.search(rf'<section id="{name}".*?</section>', page, re.DOTALL)[0], page


def test_verdicts_picture_and_table(tmp_path):
    part, page = section(tmp_path, "compass")
    assert "Compass old: subtract 2." in part
    assert "ironknoll: the needle points 7." in part
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", part)
    assert len(rows) == 11  # three compasses, eight places
    assert sum("pulled</td>" in row for row in rows) == 1
    # A dot and a bar for each, and names of at most the room beside the frame.
    assert part.count("<circle") == 11
    assert '<a href="#compass">' in page
    shown = re.search(r'<section id="map".*?</section>', page, re.DOTALL)[0]
    assert sum(map(len, re.findall(r'class="shore" d="([^"]+)"', shown))) > 2000
    assert "Natural Earth" in shown
