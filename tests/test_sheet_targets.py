"""Targets, code, layout file and seams of the board pages, as another program sees them."""

import json

import numpy as np
import pdfplumber
import pytest
from click.testing import CliRunner

from orient.commands.sheet import sheet
from orient.sheet.boardpaper import code_cells
from orient.sheet.code import NotACode, SheetCode, code_name
from orient.sheet.geometry import OVERLAP_MM, SEAM_CLEAR_MM, board_pages, tiles_of
from orient.sheet.paper import PAPERS, shortened, width_mm
from orient.sheet.targets import FAMILY_SIZE, black_cells

cv2 = pytest.importorskip("cv2")
DPI = 300
PX = DPI / 25.4


def test_the_family_is_the_one_that_opencv_reads():
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for number in range(FAMILY_SIZE):
        image = cv2.aruco.generateImageMarker(family, number, 8, borderBits=1)
        assert ((image == 0) == black_cells(number)).all()


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("targets")
    (folder / "sites.csv").write_text("site,latitude_deg,longitude_deg\nEast moor 日本,50,8\n")
    made = {}
    for name, options in {"A4": [], "tiled": ["--board", "400x300"]}.items():
        pdf, layout = folder / f"{name}.pdf", folder / f"{name}.json"
        result = CliRunner().invoke(
            sheet,
            [str(folder), "--site", "East moor 日本", "--date", "2026-06-21", *options,
             "-o", str(pdf), "--layout", str(layout)],
        )  # fmt: skip
        assert result.exit_code == 0, result.output
        assert "font on paper lacks signs" in result.stderr
        with pdfplumber.open(pdf) as pages:
            images = [
                np.asarray(page.to_image(resolution=DPI).original.convert("L"))
                for page in pages.pages
            ]
        made[name] = images, json.loads(layout.read_text())["pages"], folder.name
    return made


@pytest.mark.parametrize("name", ["A4", "tiled"])
def test_targets_are_where_the_layout_says(printed, name):
    images, pages, _ = printed[name]
    assert len(images) == len(pages)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(family, settings)
    seen = 0
    for image, page in zip(images, pages, strict=True):
        corners, numbers, _ = detector.detectMarkers(image)
        found = {} if numbers is None else {
            int(n): c[0] for n, c in zip(numbers.ravel(), corners, strict=True)
        }  # fmt: skip
        assert set(found) == {target["id"] for target in page["targets"]}
        for target in page["targets"]:
            at = (found[target["id"]] + 0.5) / PX
            # A pixel of this raster is 0.085 mm.
            assert np.abs(at - target["corners_mm"]).max() < 0.12
            seen += 1
    assert seen >= 12
    assert sum("foot_mm" in page for page in pages) == 1
    every = [target["id"] for page in pages for target in page["targets"]]
    assert len(every) == len(set(every))


@pytest.mark.parametrize("name", ["A4", "tiled"])
def test_the_code_tells_what_is_printed(printed, name):
    images, pages, campaign = printed[name]
    first = next(n for n, page in enumerate(pages) if "foot_mm" in page)
    text, *_ = cv2.QRCodeDetector().detectAndDecode(cv2.resize(images[first], None, fx=1, fy=1))
    code = SheetCode.read(text)
    assert (code.campaign, code.site) == (code_name(campaign), code_name("East moor 日本"))
    assert (code.date, code.rod_mm, code.kind) == ("2026-06-21", 300.0, "marking")
    assert code.page == first + 1
    # The page can be laid out again from the code alone.
    again = [board.as_layout() for board in board_pages(code)]
    assert json.loads(json.dumps(again)) == pages[: len(again)]


def test_a_code_of_another_kind_is_refused():
    for text in ("", "https://example.org", "SHS9|a", "SHS1|a|b"):
        with pytest.raises(NotACode):
            SheetCode.read(text)
    assert len(code_cells("SHS1")) >= 21


@pytest.mark.parametrize("board", [(650.0, 470.0), (400.0, 300.0), (920.0, 650.0), (514.0, 286.0)])
@pytest.mark.parametrize("foot", ["edge", "middle"])
@pytest.mark.parametrize("paper", [PAPERS["A4"], PAPERS["A3"].turned()])
def test_no_seam_runs_near_the_foot_and_the_tiles_hold_the_board(board, foot, paper):
    foot_mm = (board[0] / 2, 40.0 if foot == "edge" else board[1] / 2)
    tiles = tiles_of(paper, board, foot_mm)
    for side, pages in enumerate((tiles.across, tiles.down)):
        step, shift = tiles.step_mm[side], tiles.shift_mm[side]
        from_start = foot_mm[0] if side == 0 else board[1] - foot_mm[1]
        for seam in range(1, pages):
            first, last = seam * step - shift, seam * step - shift + OVERLAP_MM
            assert from_start < first - SEAM_CLEAR_MM + 1e-6 or (
                from_start > last + SEAM_CLEAR_MM - 1e-6
            )
        assert shift >= 0
        assert pages * step + OVERLAP_MM - shift >= board[side] - 1e-6


def test_a_long_name_keeps_the_end_that_tells_it_from_its_like():
    names = [f"Upper Aldermoor moss, western transect, peg {n}" for n in (1, 2)]
    shown = [shortened(name, 45.0, 10.0) for name in names]
    assert shown[0] != shown[1]
    assert all(width_mm(text, 10.0) <= 45.0 for text in shown)
    codes = {code_name(name) for name in names}
    assert len(codes) == 2
