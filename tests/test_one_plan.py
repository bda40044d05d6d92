"""`plan`, `bring` and the printed sheet say the same of one site, day and rod."""

import json
import re

import pytest
from click.testing import CliRunner
from pdf_text import texts

from orient.commands.bring import bring
from orient.commands.plan import plan
from orient.commands.sheet import sheet

SITES = {
    "steppe": (46.17, 68.33, "2026-04-18", 300),
    "equator": (0.0, 37.5, "2026-09-22", 300),
    "near equator": (0.05, -78.4, "2026-06-21", 250),
    "tropic north": (17.0, 8.0, "2026-12-01", 300),
    "tropic south": (-19.5, 133.0, "2026-03-01", 225),
    "forty-two south": (-42.0, 147.0, "2026-11-05", 250),
    "cape": (-54.9, -68.3, "2026-01-10", 300),
    "fjord": (65.0, 12.0, "2026-06-21", 175),
    "sixty-five in spring": (65.0, -147.0, "2026-04-20", 200),
    "coast": (51.0, 1.1, "2026-08-08", 200),
}


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plans") / "ten"
    folder.mkdir()
    rows = [f"{name},{lat},{lon},100" for name, (lat, lon, _, _) in SITES.items()]
    text = "\n".join(["site,latitude_deg,longitude_deg,elevation_m", *rows])
    (folder / "sites.csv").write_text(text + "\n")
    return folder


def rows_of(command, *arguments):
    result = CliRunner().invoke(command, [*map(str, arguments), "--format", "json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def minutes(text):
    hours, minute = re.search(r"(\d\d):(\d\d)", text).groups()
    return 60 * int(hours) + int(minute)


_QUICK = ("forty-two south", "sixty-five in spring")


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[] if name in _QUICK else pytest.mark.slow) for name in SITES],
)
def test_hours_and_rings_are_the_same_in_plan_bring_and_sheet(campaign, name, tmp_path):
    _, _, date, rod = SITES[name]
    common = (campaign, "--site", name, "--from", date, "--rod", rod, "--board", 650, 470)
    (planned,) = rows_of(plan, *common)
    rings = rows_of(bring, *common, "--show", "rings")
    target, layout = tmp_path / "sheet.pdf", tmp_path / "sheet.json"
    result = CliRunner().invoke(
        sheet,
        [str(campaign), "--site", name, "--date", date, "--rod", str(rod), "--board", "650x470",
         "--paper", "720x640", "-o", str(target), "--layout", str(layout)],
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    board, *forms = texts(target)
    text = " ".join(forms)
    found = re.search(r"Mark from (\d\d:\d\d) to (\d\d:\d\d) and (\d\d:\d\d) to (\d\d:\d\d)", text)
    assert planned["morning"], "every site of this test has good hours"
    ends = [planned[half][end] for half in ("morning", "afternoon") for end in ("from", "to")]
    for said, instant in zip(found.groups(), ends, strict=True):
        seconds = minutes(instant[11:]) * 60 + int(instant[17:19])
        assert abs(minutes(said) * 60 - seconds) <= 31
    # The rings that are drawn, their labels, and the times of the table.
    drawn = set(re.findall(r"R\d+ +(\d+) mm", board))
    assert {f"{ring['ring_mm']:.0f}" for ring in rings} == drawn
    for ring in rings:
        row = re.search(rf"R\d+ {ring['ring_mm']:.0f} (\d\d:\d\d) (\d\d:\d\d)", text)
        for said, half in zip(row.groups(), ("morning", "afternoon"), strict=True):
            seconds = minutes(ring[half][11:]) * 60 + int(ring[half][17:19])
            assert abs(minutes(said) * 60 - seconds) <= 31
            # The sun comes to every ring within the good hours.
            span = [minutes(planned[half][end][11:]) for end in ("from", "to")]
            assert span[0] - 1 <= minutes(said) <= span[1] + 1
    page = json.loads(layout.read_text())["pages"][0]
    assert page["north_on_board_deg"] == 0.0
    assert "foot_mm" in page


@pytest.mark.long
def test_a_skyline_is_honoured_from_the_file_to_the_paper(tmp_path):
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,horizon_deg\nopen,46,68,\nwalled,46,68,70\n"
    )
    said = {}
    for name in ("open", "walled"):
        target = tmp_path / f"{name}.pdf"
        options = ["--site", name, "--date", "2026-06-21", "--rod", "200", "--board", "650x470"]
        result = CliRunner().invoke(
            sheet, [str(tmp_path), *options, "--paper", "720x640", "-o", str(target)]
        )
        assert result.exit_code == 0, result.output
        said[name] = " ".join(texts(target))
    assert "Mark from" in said["open"]
    assert "Mark from" not in said["walled"]
    assert "tip is on this sheet" not in said["walled"]
    assert "skyline of the site hides the sun all day" in said["walled"]
