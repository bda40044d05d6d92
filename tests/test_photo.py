"""Marks read from photographs that code of its own makes of the printed sheet.

The sheet goes through its own door: `orient sheet` prints it and tells its layout; the
renderer of `tests/photographs.py` draws on it and photographs it; `orient photo` reads files.
"""

import json
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
import pdfplumber
import pvlib
import pytest
from click.testing import CliRunner

cv2 = pytest.importorskip("cv2")

from browser import open_page  # noqa: E402
from photographs import Camera, Pencil, glued, photograph, printed_at  # noqa: E402
from PIL import Image  # noqa: E402
from simulated import simulated  # noqa: E402

from orient import simulate  # noqa: E402
from orient.commands.photo import photo  # noqa: E402
from orient.commands.reduce import reduce  # noqa: E402
from orient.commands.sheet import sheet  # noqa: E402
from orient.errors import InputError  # noqa: E402
from orient.photo.reading import Mark, read_photograph  # noqa: E402
from orient.photo.track import in_order  # noqa: E402
from orient.sheet.code import SheetCode  # noqa: E402
from orient.sheet.geometry import board_pages  # noqa: E402
from orient.tables import editing  # noqa: E402
from orient.tables.campaign import read_campaign  # noqa: E402

DAY = "2026-05-04"
SHEETS = {
    "A4": ["--rod", "100"],
    "A4 lying": ["--rod", "100", "--landscape"],
    "A3": ["--paper", "A3", "--rod", "250"],
}


@pytest.fixture(scope="module")
def found():
    return {}


@pytest.fixture(autouse=True)
def read_once(found, monkeypatch):
    """A photograph given to several runs is read once: that is nearly all of a run's work."""

    def read(picture, known):
        key, asked = (picture.name, zlib.crc32(picture.rgb)), []
        if key in found:
            return found[key]
        reading = read_photograph(picture, lambda: asked.append(known()) or asked[-1])
        if not asked:
            found[key] = reading
        return reading

    monkeypatch.setattr("orient.photo.reading.read_photograph", read)


@pytest.fixture(scope="module")
def camp(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos") / "camp"
    folder.mkdir()
    (folder / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,elevation_m\nlow moor,48.55,-56.85,270\nfar,10,10,0\n"
    )
    (folder / "setups.csv").write_text(
        "setup,site,date,gnomon_height_mm,watch_sd_s\n"
        f"m1,low moor,{DAY},250,5\nf1,far,{DAY},250,5\n"
    )
    return folder


@pytest.fixture(scope="module")
def prints(camp, tmp_path_factory):
    """Printed pages at 300 dpi with their layout, made when first asked for."""
    folder, made = tmp_path_factory.mktemp("prints"), {}

    def printed(name, options=None, site="low moor", campaign=None):
        if name not in made:
            pdf, layout = folder / f"{name}.pdf", folder / f"{name}.json"
            arguments = [campaign or camp, "--site", site, "--date", DAY]
            arguments += [*(options or SHEETS[name]), "-o", pdf, "--layout", layout]
            result = CliRunner().invoke(sheet, [str(each) for each in arguments])
            assert result.exit_code == 0, result.output
            with pdfplumber.open(pdf) as opened:
                pages = json.loads(layout.read_text())["pages"]
                number = next(n for n, page in enumerate(pages) if "foot_mm" in page)
                raster = opened.pages[number].to_image(resolution=300).original.convert("RGB")
                made[name] = np.asarray(raster), pages[number]
        return made[name]

    return printed


def marked(print_rgb, page, generator, count=14, grey=0.5, pen=None):
    """A marked sheet, its marks in board millimetres and their kinds."""
    foot, width, height = np.array(page["foot_mm"]), page["width_mm"], page["height_mm"]
    pencil, truth = Pencil(print_rgb, generator, grey, pen), []
    border = 24 if min(width, height) < 260 else 28
    while len(truth) < count:
        at = np.array(
            [generator.uniform(border, width - border), generator.uniform(border, height - 68)]
        )
        near = [np.hypot(*(at - other)) < 13 for other, _ in truth]
        if np.hypot(*(at - foot)) < 8 or any(near):
            continue
        kind = generator.choice(["cross", "dot", "tick"], p=[0.65, 0.25, 0.1])
        pencil.mark(kind, at)
        if generator.uniform() < 0.7:
            time = f"{generator.integers(8, 17)}:{generator.integers(10, 60)}"
            text = str(len(truth) + 1) if generator.uniform() < 0.6 else time
            beside = at + np.array([generator.uniform(3.4, 5.0), generator.uniform(-4.5, 0.5)])
            pencil.write(text, beside, generator.uniform(2.5, 4.0))
        truth.append((at, kind))
    x_axis, y_axis = np.array(page["x_axis"]), np.array(page["y_axis"])
    board = np.array([[(at - foot) @ x_axis, (at - foot) @ y_axis] for at, _ in truth])
    return pencil.on(print_rgb), board


def any_camera(generator, megapixels):
    return Camera(
        megapixels=megapixels,
        tilt_deg=generator.uniform(0, 25),
        tilt_way_deg=generator.uniform(0, 360),
        turn_deg=generator.normal(0, 6),
        focal=generator.uniform(0.7, 0.95),
        k1=generator.normal(0, 0.05),
        k2=generator.normal(0, 0.02),
        bend_mm=generator.normal(0, 4),
        bend_way_deg=generator.uniform(0, 180),
        fill=generator.uniform(0.75, 0.92),
        shade=generator.choice([None, 0.4, 0.6]),
        shade_way_deg=generator.uniform(0, 360),
        light=generator.uniform(0.7, 0.95),
        blur_px=generator.uniform(0.6, 1.4),
        noise=generator.uniform(0.006, 0.018),
        quality=int(generator.integers(75, 93)),
    )


def run(*arguments):
    return CliRunner().invoke(photo, [str(each) for each in arguments])


def rows_of(*arguments):
    result = run(*arguments, "--format", "json")
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def matched(rows, board):
    """Errors and pulls of the marks found, and how many rows are no mark."""
    at = np.array([[row["x_mm"], row["y_mm"]] for row in rows]).reshape(-1, 2)
    errors, pulls, used = [], [], set()
    for true in board:
        apart = np.hypot(*(at - true).T)
        best = int(np.argmin(apart)) if len(apart) else -1
        if best >= 0 and apart[best] < 1.5 and best not in used:
            used.add(best)
            errors.append(at[best] - true)
            pulls.append((at[best] - true) / rows[best]["u_mm"])
    return np.array(errors), np.array(pulls), len(rows) - len(used)


def tried(prints, camp, folder, seeds):
    errors, pulls, false, true = [], [], 0, 0
    for seed in seeds:
        generator = np.random.default_rng(seed)
        print_rgb, page = prints(list(SHEETS)[seed % 3])
        paper, board = marked(print_rgb, page, generator, grey=generator.uniform(0.35, 0.65))
        made = photograph(paper, any_camera(generator, [3, 5, 8, 12][seed % 4]), generator)
        path = folder / f"{seed}.jpg"
        path.write_bytes(made.jpeg)
        rows = rows_of(camp, path)
        assert {row["setup"] for row in rows} == {"m1"}
        found = matched(rows, board)
        errors.append(found[0])
        pulls.append(found[1])
        false, true = false + found[2], true + len(board)
    return np.concatenate(errors), np.concatenate(pulls), false, true


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.slow
def test_marks_of_sixty_photographs(prints, camp, tmp_path):
    """3 to 12 megapixels, A4 and A3, tilt to 25°, bend, shadow's edge, blur, noise, JPEG."""
    errors, pulls, false, true = tried(prints, camp, tmp_path, range(60))
    assert len(errors) >= 0.95 * true
    assert false <= 0.05 * true
    assert rms(errors) <= 0.25
    assert 0.8 <= rms(pulls) <= 1.25


PENS = {
    "blue": (0.10, 0.16, 0.55),
    "black": (0.06, 0.06, 0.07),
    "red": (0.78, 0.10, 0.12),
    "green": (0.10, 0.45, 0.20),
}


@pytest.mark.slow
@pytest.mark.parametrize("pen", PENS)
def test_marks_in_pen(pen, prints, camp, tmp_path):
    errors, pulls, found, false, true = [], [], 0, 0, 0
    for seed in (1, 5, 7, 11):
        generator = np.random.default_rng(seed)
        print_rgb, page = prints(list(SHEETS)[seed % 3])
        paper, board = marked(print_rgb, page, generator, grey=0.85, pen=PENS[pen])
        path = tmp_path / f"{seed}.jpg"
        made = photograph(paper, any_camera(generator, [5, 8, 12][seed % 3]), generator)
        path.write_bytes(made.jpeg)
        error, pull, extra = matched(rows_of(camp, path), board)
        errors.append(error)
        pulls.append(pull)
        found, false, true = found + len(error), false + extra, true + len(board)
    assert found >= 0.95 * true
    assert false <= 0.05 * true
    assert rms(np.concatenate(errors)) < 0.25
    assert rms(np.concatenate(pulls)) < 1.25


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_pages_glued_to_one_board(seed, camp, tmp_path):
    """Tiles some half a millimetre and some tenth of a degree amiss; millimetres from the foot."""
    pdf = tmp_path / "board.pdf"
    arguments = [camp, "--site", "low moor", "--date", DAY, "--rod", "150", "-o", pdf]
    result = CliRunner().invoke(sheet, [str(each) for each in [*arguments, "--board", "380x270"]])
    assert result.exit_code == 0, result.output
    code = SheetCode("camp", "low moor", DAY, 150.0, "marking", 1, 6, (210.0, 297.0),
                     (380.0, 270.0), (190.0, 40.0), ())  # fmt: skip
    boards = board_pages(code)
    with pdfplumber.open(pdf) as opened:
        pages = [page.to_image(resolution=300).original for page in opened.pages[: len(boards)]]
    generator = np.random.default_rng(seed)
    board_px, foot = glued([np.asarray(page.convert("RGB")) for page in pages], boards, generator)
    pencil, truth = Pencil(board_px, generator, 0.5), []
    while len(truth) < 14:
        at = np.array([generator.uniform(-180, 180), generator.uniform(-30, 220)])
        if np.hypot(*at) > 12 and _bare(at, boards) and _apart(at, truth):
            pencil.mark("cross", foot + at * [1, -1])
            truth.append(at)
    path = tmp_path / "glued.jpg"
    path.write_bytes(photograph(pencil.on(board_px), any_camera(generator, 8), generator).jpeg)
    errors, pulls, false = matched(rows_of(camp, path), truth)
    assert len(errors) >= 13
    assert false <= 1
    assert rms(errors) < 0.1
    assert rms(pulls) < 1.25


def _apart(at, others):
    return all(np.hypot(*(at - other)) > 13 for other in others)


def _bare(at, boards):
    """Whether no target and no code stands near a point of the board."""
    for board in boards:
        boxes = [(t.left_mm, board.paper.height_mm - t.top_mm, t.side_mm) for t in board.targets]
        boxes.append((board.code_box.left_mm, board.code_box.top_mm, board.code_box.width_mm))
        for left, top, side in boxes:
            middle = np.array([left + side / 2, top - side / 2]) - board.origin_mm
            if np.abs(at - middle).max() < side / 2 + 5:
                return False
    return True


@pytest.mark.slow
def test_a_red_pen_two_pictures_one_turned_by_its_file(prints, camp, tmp_path):
    """Both pictures joined and saved: each mark once, in its place."""
    folder = tmp_path / "camp"
    folder.mkdir()
    for name in ("sites.csv", "setups.csv"):
        (folder / name).write_bytes((camp / name).read_bytes())
    generator = np.random.default_rng(5)
    paper, board = marked(*prints("A4"), generator, count=10, grey=0.85, pen=PENS["red"])
    first, second = tmp_path / "first.jpg", tmp_path / "second.jpg"
    first.write_bytes(photograph(paper, Camera(megapixels=5, tilt_deg=8), generator).jpeg)
    pixels = photograph(paper, Camera(megapixels=5, tilt_way_deg=200), generator).pixels
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned clockwise by a quarter to be seen upright (Exif 2.32, 4.6.4)
    Image.fromarray(pixels).transpose(Image.Transpose.ROTATE_90).save(second, quality=85, exif=exif)
    rows = rows_of(folder, first, second, "--save")
    errors, pulls, false = matched(rows, board)
    assert len(errors) >= 9
    assert false <= 1
    assert rms(errors) < 0.1
    assert rms(pulls) < 1.5
    saved = pd.read_csv(folder / "marks.csv")
    assert list(saved["x_mm"]) == pytest.approx([row["x_mm"] for row in rows], abs=0.006)


def ordered(latitude, day, turn_deg, part, generator):
    """The order in which shuffled marks of a simulated board come out: the numbers drawn."""
    truth = simulate.TrueBoard(turn_deg, 150.0)
    made = simulated(generator, latitude, 10.0, day, truth=truth, step_s=900.0, lowest_deg=15.0)
    board = made.board
    east_first = np.argsort(board.watch_utc_s)
    kept = {"all": east_first, "am": east_first[: len(east_first) // 2],
            "pm": east_first[len(east_first) // 2 :]}[part]  # fmt: skip
    marks = [Mark(1, float(board.x_mm[n]), float(board.y_mm[n]), 0.1, 1.0, "cross") for n in kept]
    shuffled = [marks[number] for number in generator.permutation(len(marks))]
    site = pd.Series(
        {"latitude_deg": latitude, "longitude_deg": 10.0, "timezone": "UTC",
         "pressure_hpa": 1013.25, "temperature_c": 10.0, "elevation_m": 0.0}
    )  # fmt: skip
    date = str(np.datetime64("2026-01-01") + day)
    return [marks.index(mark) for mark in in_order(shuffled, site, date, 150.0)]


@pytest.mark.parametrize("part", ["all", "am", "pm"])
@pytest.mark.parametrize("latitude", [-60, -33, -25, -16, -5, 8, 21, 23, 30, 40, 55])
def test_marks_come_out_in_the_order_of_the_tip_wherever_the_board_stands(latitude, part):
    """Near the tropics the shadow turns back on itself: an order round the foot is none."""
    generator = np.random.default_rng(latitude + 100)
    for day in (0, 79, 110, 171, 230, 334):
        turn_deg = float(generator.uniform(0, 360))
        order = ordered(float(latitude), day, turn_deg, part, generator)
        assert order == sorted(order), (day, turn_deg)


def test_a_print_that_is_not_at_100_percent_is_seen(prints, camp, tmp_path):
    """By the paper's edges. The check bar then sets it right."""
    print_rgb, page = prints("A4")
    generator = np.random.default_rng(21)
    paper, board = marked(print_rgb, page, generator, count=6)
    path = tmp_path / "small.jpg"
    path.write_bytes(photograph(printed_at(paper, 0.97), Camera(megapixels=5), generator).jpeg)
    before = folder_state(camp)
    said = refused(camp, path, "--save")
    assert "printed at 97 %" in said
    assert "--bar" in said
    assert folder_state(camp) == before
    errors, _, _ = matched(rows_of(camp, path, "--bar", "97"), 0.97 * board)
    assert len(errors) >= 5
    assert rms(errors) < 0.1
    # Where no set-up is written yet, what to write is said.
    bare = tmp_path / "camp"
    bare.mkdir()
    (bare / "sites.csv").write_bytes((camp / "sites.csv").read_bytes())
    said = run(bare, path, "--bar", "97").stderr
    assert "no set-up is of that day: write its row in setups.csv before you save." in said
    assert "its row in setups.csv" in refused(bare, path, "--bar", "97", "--save")
    assert "setups.csv has none yet" in refused(bare, path, "--bar", "97", "--setup", "zz")


@pytest.mark.slow
def test_a_print_on_another_paper_is_seen(prints, camp, tmp_path):
    print_rgb, page = prints("A4")
    generator = np.random.default_rng(21)
    paper, _ = marked(print_rgb, page, generator, count=6)
    path = tmp_path / "letter.jpg"
    lying = page["width_mm"] > page["height_mm"]
    letter = (279.4, 215.9) if lying else (215.9, 279.4)
    on_letter = printed_at(paper, 0.94, letter)
    path.write_bytes(photograph(on_letter, Camera(megapixels=5), generator).jpeg)
    assert "printed at 94 %" in refused(camp, path)


@pytest.mark.parametrize("size", [(64, 64), (20_000, 16_000)])
def test_a_picture_of_another_size_is_told_once(camp, tmp_path, size):
    path = tmp_path / "p.png"
    Image.new("1", size).save(path)
    said = refused(camp, path)
    assert said.startswith(f"p.png: found a picture of {size[0]} × {size[1]} pixels; wanted a ph")
    assert "broken" not in said


def test_without_the_libraries_one_line_says_how_to_get_them(camp):
    script = "import sys; sys.modules['cv2'] = None; from orient.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", script, "photo", str(camp), "none.jpg"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stdout == ""
    (line,) = done.stderr.strip().splitlines()
    assert "pip install 'orient[photo]'" in line


@pytest.fixture(scope="module")
def one(prints, camp, tmp_path_factory):
    """A photograph of the A4 sheet with its marks, as a file."""
    generator = np.random.default_rng(77)
    paper, board = marked(*prints("A4"), generator, count=10)
    path = tmp_path_factory.mktemp("one") / "sheet.jpg"
    path.write_bytes(photograph(paper, Camera(megapixels=5), generator).jpeg)
    return path, board


@pytest.mark.slow
def test_the_bar_scales_and_the_review_page_stands_alone(one, camp, tmp_path):
    path, board = one
    plain = rows_of(camp, path, "-o", tmp_path / "review.html")
    assert set(plain[0]) == {"setup", "page", "mark", "x_mm", "y_mm", "u_mm", "confidence"}
    small = rows_of(camp, path, "--bar", 97)
    for one_row, other in zip(plain, small, strict=True):
        assert other["x_mm"] == pytest.approx(0.97 * one_row["x_mm"], abs=0.002)
    page = (tmp_path / "review.html").read_text()
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert page.count('"page"') >= len(board)


def refused(*arguments):
    result = run(*arguments)
    assert isinstance(result.exception, InputError), result.output
    return str(result.exception)


def folder_state(folder):
    return {path.name: path.read_bytes() for path in Path(folder).rglob("*") if path.is_file()}


@pytest.mark.slow
def test_refusals_say_what_to_do_and_write_nothing(one, prints, camp, tmp_path):
    path, _ = one
    picture = cv2.imread(str(path))
    before = folder_state(camp)

    def changed(name, pixels):
        target = tmp_path / name
        cv2.imwrite(str(target), pixels)
        return camp, target, "--save"

    half = picture.copy()
    half[int(0.2 * picture.shape[0]) :] = 90
    assert "target" in refused(*changed("half.jpg", half))
    assert "dark" in refused(*changed("dark.jpg", (picture * 0.06).astype(np.uint8)))
    assert "blurred" in refused(*changed("blur.jpg", cv2.GaussianBlur(picture, (0, 0), 12)))
    assert "glare" in refused(*changed("glare.jpg", np.full_like(picture, 255)))
    noise = tmp_path / "text.jpg"
    noise.write_text("no picture")
    assert "picture" in refused(camp, noise, "--save")
    assert "no such file" in refused(camp, tmp_path / "none.jpg")
    assert "set-up f1's" in refused(camp, path, "--setup", "f1", "--save")
    assert "'zz'" in refused(camp, path, "--setup", "zz", "--save")
    other = tmp_path / "other"
    other.mkdir()
    (other / "sites.csv").write_text("site,latitude_deg,longitude_deg\nelsewhere,10,10\n")
    assert "a sheet of the campaign other" in refused(other, path)
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("sites.csv", "setups.csv"):
        (copy / name).write_bytes((camp / name).read_bytes())
    assert "print it from this folder" in refused(copy, path, "--save")
    assert folder_state(camp) == before
    assert not (copy / "marks.csv").exists()
    assert run(camp, path, "--bar", "9").exit_code == 2


@pytest.mark.slow
def test_the_track_sheet_is_not_read(prints, camp, tmp_path):
    print_rgb, _ = prints("track", [*SHEETS["A4"], "--kind", "track"])
    generator = np.random.default_rng(3)
    target = tmp_path / "track.jpg"
    target.write_bytes(
        photograph((print_rgb / 255.0).astype(np.float32), Camera(megapixels=5), generator).jpeg
    )
    assert "track sheet" in refused(camp, target)


def tip_by_another_sun(local, rod_mm):
    """x, y of the tip on a level board turned true, by pvlib's NREL position."""
    times = pd.DatetimeIndex([pd.Timestamp(local, tz="America/St_Johns")])
    sun = pvlib.solarposition.get_solarposition(
        times, 48.55, -56.85, 270.0, pressure=98000.0, temperature=10.0,
        method="nrel_numpy", delta_t=69.1,
    ).iloc[0]  # fmt: skip
    azimuth = np.radians(sun["azimuth"])
    reach = rod_mm / np.tan(np.radians(sun["apparent_elevation"]))
    return np.array([-reach * np.sin(azimuth), -reach * np.cos(azimuth)])


@pytest.fixture(scope="module")
def day(prints, camp, tmp_path_factory):
    """A campaign, the photograph of its day's sheet, marked after another sun, and the times."""
    tmp_path = tmp_path_factory.mktemp("day")
    folder, turn = tmp_path / "camp", np.radians(4.0)
    folder.mkdir()
    (folder / "sites.csv").write_bytes((camp / "sites.csv").read_bytes())
    (folder / "setups.csv").write_text(
        f"setup,site,date,gnomon_height_mm,watch_sd_s,mark_sd_mm\nday,low moor,{DAY},150,5,0.5\n"
    )
    options = ["--paper", "A3", "--rod", "150"]
    print_rgb, page = prints("day", options, campaign=folder)
    generator = np.random.default_rng(11)
    pencil, foot, times = Pencil(print_rgb, generator, 0.55), np.array(page["foot_mm"]), []
    for minute in range(10 * 60, 17 * 60, 25):
        time = f"{minute // 60:02d}:{minute % 60:02d}:00"
        x, y = tip_by_another_sun(f"{DAY} {time}", 150.0) + generator.normal(0, 0.3, 2)
        x, y = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
        at = foot + np.array([x, -y])
        if not (30 < at[0] < page["width_mm"] - 30 and 30 < at[1] < page["height_mm"] - 66):
            continue
        pencil.mark("cross", at)
        pencil.write(str(len(times) + 1), at + np.array([4.2, -4.0]), 3.0)
        times.append(time)
    assert len(times) >= 6
    path = tmp_path / "day.jpg"
    path.write_bytes(photograph(pencil.on(print_rgb), Camera(megapixels=5), generator).jpeg)
    return folder, path, times


CIRCLES = "#sheets g"


@pytest.mark.slow
def test_the_review_page_in_a_browser(day, tmp_path):
    """Every mark in its place with its time; drop, undo, renumber, add; no window too narrow."""
    folder, photograph_, times = day
    path = tmp_path / "review.html"
    rows = rows_of(folder, photograph_, "-o", path)
    for width, dark in ((360, True), (768, False), (1280, False)):
        with open_page(path, width, dark=dark) as opened:
            page = opened.page
            assert opened.overflow_px() <= 0
            size = page.locator("#sheets text").first.evaluate(
                "e => e.getBoundingClientRect().height"
            )
            assert size > 12
            assert page.locator(CIRCLES).count() == len(rows)
            for number, time in enumerate(times):
                page.locator(f'{CIRCLES}[data-mark="{number}"]').focus()
                told = page.locator("#said").inner_text()
                hours, minutes = map(int, told.rsplit(" ", 1)[1].split(":"))
                assert abs(60 * hours + minutes - 60 * int(time[:2]) - int(time[3:5])) <= 5
            assert opened.errors == []
            if width < 1280:
                continue
            page.emulate_media(media="print")
            assert page.locator("#rows").evaluate("e => e.scrollHeight - e.clientHeight") <= 2
            page.emulate_media(media="screen")
            before = page.locator("#rows").input_value()
            page.locator(f'{CIRCLES}[data-mark="1"]').focus()
            page.keyboard.press("Delete")
            assert page.locator(CIRCLES).count() == len(rows) - 1
            page.keyboard.press("u")
            assert page.locator("#rows").input_value() == before
            page.locator(f'{CIRCLES}[data-mark="1"]').focus()
            page.keyboard.press(".")
            moved = page.locator("#rows").input_value().splitlines()
            assert moved[3].split(",")[2:] == before.splitlines()[2].split(",")[2:]
            assert "2" in page.evaluate("document.activeElement.dataset.mark")
            page.locator("#sheets image").click(position={"x": 200, "y": 300})
            assert page.locator(CIRCLES).count() == len(rows) + 1
            with page.expect_download() as download:
                page.locator("#file").click()
            exported = Path(download.value.path()).read_text().splitlines()
            assert len(exported) == len(rows) + 2
            assert opened.errors == []
            assert all(url[:5] in ("file:", "data:", "blob:") for url in opened.requests)


def test_a_whole_day_from_sheet_to_line(day, tmp_path):
    """Sheet, print, marks of another sun on a board turned by 4°, photograph, save, reduce."""
    folder, path, times = day
    log = tmp_path / "times.txt"
    log.write_text("\n".join(times[::-1]))
    before = folder_state(folder)
    assert "from the tip then" in refused(folder, path, "--save", "--times", log)
    log.write_text("\n".join(times[1:]))
    assert f"{len(times) - 1} times for {len(times)} marks" in refused(
        folder, path, "--save", "--times", log
    )
    odd = ["12:30:75", "12:30:5", "2:30 pm", "12:30:20.1234567890", "٠٩:٣٠"]
    log.write_text("\n".join([times[0], *odd]), "utf-8")
    said = refused(folder, path, "--save", "--times", log)
    assert said.count("wanted a time as HH:MM:SS") == len(odd)
    assert folder_state(folder) == before
    # Seconds with decimals are kept; a number behind a comma is none of the time.
    log.write_text("\n".join([f"{times[0]}.5", *(f"{n},{t},{n}" for n, t in enumerate(times[1:]))]))
    assert len(rows_of(folder, path, "--save", "--times", log)) == len(times)
    saved = read_campaign(folder).marks["time_s"]
    assert saved.iloc[0] % 1 == 0.5
    assert (saved.iloc[1:] % 1 == 0).all()
    assert "marks of set-up day already" in refused(folder, path, "--save")
    result = CliRunner().invoke(reduce, [str(folder), "--format", "json"])
    assert result.exit_code == 0, result.output
    (row,) = json.loads(result.stdout)
    # +y of the board is turned from true north against the drawn turn.
    away = (row["board_azimuth_deg"] - 4.0 + 180) % 360 - 180
    assert abs(away) < 1.96 * row["board_azimuth_u_deg"] < 1.0


def logged(day, tmp_path, times):
    """The day's campaign with times logged in the marks table, their places still blank."""
    folder = tmp_path / "camp"
    folder.mkdir()
    for name in ("sites.csv", "setups.csv"):
        (folder / name).write_bytes((day[0] / name).read_bytes())
    rows = [f"day,{time},by {number}\n" for number, time in enumerate(times)]
    (folder / "marks.csv").write_text("setup,time,note\n" + "".join(rows))
    return folder


def test_marks_join_the_times_that_were_logged(day, tmp_path):
    """The sun tells which mark has no time: the one whose time is not in the table."""
    _, path, times = day
    missed = len(times) // 2
    kept = [*times[:missed], *times[missed + 1 :]]
    folder = logged(day, tmp_path, kept[::-1])
    (folder / "marks.csv").rename(folder / "MARKS.csv")
    result = run(folder, path, "--save", "--format", "json")
    assert result.exit_code == 0, result.output
    assert f"mark {missed + 1} of them without a time" in result.stderr
    assert str(folder / "MARKS.csv") in result.stderr
    rows = json.loads(result.stdout)
    saved = pd.read_csv(folder / "MARKS.csv", dtype={"time": str})
    assert list(saved["time"].dropna()) == kept[::-1]
    assert list(saved["note"].dropna()) == [f"by {number}" for number in range(len(kept))]
    timed = dict(zip(saved["time"].fillna(""), saved["x_mm"], strict=True))
    wanted = dict(zip(times, (row["x_mm"] for row in rows), strict=True))
    wanted[""] = wanted.pop(times[missed])
    assert timed == pytest.approx(wanted, abs=0.006)
    result = CliRunner().invoke(reduce, [str(folder), "--format", "json"])
    assert result.exit_code == 0, result.output


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda times: [*times, "12:11:00"], "none at 12:11:00"),
        (lambda times: times[3:], "the sun does not tell"),
        (lambda times: [f"{int(time[:2]) + 3}{time[2:]}" for time in times], "from the tip then"),
        (lambda times: [*times[:-1], times[0]], "a time of its own"),
        (lambda times: [*times[:-1], "noon"], "a time of its own"),
    ],
)
def test_logged_times_that_do_not_fit_change_nothing(change, said, day, tmp_path):
    _, path, times = day
    folder = logged(day, tmp_path, change(times))
    before = folder_state(folder)
    assert said in refused(folder, path, "--save")
    assert folder_state(folder) == before


@pytest.mark.slow
def test_places_that_someone_else_has_saved_meanwhile_stay(day, tmp_path, monkeypatch):
    _, path, times = day
    folder, real = logged(day, tmp_path, times), editing.locked
    other = "setup,time,x_mm,y_mm\n" + "".join(
        f"day,{time},1{n},200\n" for n, time in enumerate(times)
    )

    def locked(*arguments):
        (folder / "marks.csv").write_text(other)
        return real(*arguments)

    monkeypatch.setattr("orient.tables.editing.locked", locked)
    assert "other times of set-up day than were read" in refused(folder, path, "--save")
    assert (folder / "marks.csv").read_text() == other


@pytest.mark.slow
def test_times_come_from_one_place(day, tmp_path):
    _, path, times = day
    folder, log = logged(day, tmp_path, times), tmp_path / "times.txt"
    log.write_text("\n".join(times))
    before = folder_state(folder)
    assert "the times in one of the two" in refused(folder, path, "--save", "--times", log)
    assert folder_state(folder) == before
