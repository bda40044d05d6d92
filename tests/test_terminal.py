"""Whatever the window's width, every figure that a command shows stands there whole."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import struct
from collections import Counter
from pathlib import Path

import pyproj
import pytest
from forked import Forked, forked, needs_fork
from hostile import SITES, csv_bytes, good_tables, run, write_campaign

from orient.commands import terminal
from orient.commands.terminal import Column, show_table

ALDERMOOR = Path(__file__).parent.parent / "sites" / "aldermoor"
WIDTHS = (30, 40, 54, 60, 80, 133)
DAYS = ["--from", "2026-04-12", "--to", "2026-04-14"]
COMMANDS = {
    "sites": ["sites", "CAMPAIGN", "--date", "2026-04-12"],
    "reduce": ["reduce", "CAMPAIGN"],
    "reduce --verbose": ["reduce", "CAMPAIGN", "--verbose"],
    "compass": ["compass", "CAMPAIGN"],
    "plan, days of a site": ["plan", "CAMPAIGN", *DAYS, "--site", "Ridge"],
    "plan, sites of a day": ["plan", "CAMPAIGN", *DAYS[:2]],
    "plan, many of both": ["plan", "CAMPAIGN", *DAYS],
    "plan --budget": ["plan", "CAMPAIGN", *DAYS[:2], "--budget"],
    "bring, boards": ["bring", "CAMPAIGN", *DAYS[:2], "--show", "rig", "--max-board", "400", "300"],
    "bring, rings": ["bring", "CAMPAIGN", *DAYS, "--rod", "300", "--board", "650", "470"],
    "bring, track": ["bring", "CAMPAIGN", *DAYS[:2], "--site", "Ridge", "--rod", "300",
                     "--board", "650", "470", "--show", "track"],
    "crew": ["crew", "CAMPAIGN", *DAYS, "--site", "Ridge", "--start", "Ridge"],
    "night": ["night", "CAMPAIGN", *DAYS[:2], "--site", "Ridge"],
    "night, many": ["night", "CAMPAIGN", *DAYS],
    "skyline": ["skyline", "CAMPAIGN", "--measured", "CAMPAIGN/skyline.csv", "--site", "Ridge"],
    "sights": ["sights", str(ALDERMOOR)],
    "declination": ["declination", "46.5", "8.25", "--date", "2026", "--since", "1990"],
}  # fmt: skip


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("window") / "camp"
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in good_tables().items()})
    (folder / "skyline.csv").write_text("site,azimuth_deg,altitude_deg\nRidge,90,5\nRidge,270,3\n")
    return folder


def shown(arguments: list[str], campaign, monkeypatch, width: int) -> str:
    monkeypatch.setattr(terminal, "window_columns", lambda: width)
    ending = run([word.replace("CAMPAIGN", str(campaign)) for word in arguments])
    assert ending.status == 0, ending.err
    return ending.out


def figures(text: str) -> Counter[str]:
    """The words of a text that have a digit in them."""
    return Counter(word for word in text.split() if re.search(r"\d", word))


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_no_figure_is_cut_in_a_narrow_window(name, campaign, monkeypatch):
    check_widths(name, campaign, monkeypatch, (30, 40, 80))


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_no_figure_is_cut_in_more_windows(name, campaign, monkeypatch):
    check_widths(name, campaign, monkeypatch, WIDTHS)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sites", "reduce", "compass", "plan, days of a site"])
def test_no_figure_is_cut_at_any_width(name, campaign, monkeypatch):
    check_widths(name, campaign, monkeypatch, range(30, 201, 4))


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_csv_has_the_rows_of_json(name, campaign, monkeypatch):
    """Rows within rows stand there as JSON text."""
    command = COMMANDS[name]
    csv_text = shown([*command, "--format", "csv"], campaign, monkeypatch, 80)
    flat = list(csv.DictReader(io.StringIO(csv_text)))
    rows = json.loads(shown([*command, "--format", "json"], campaign, monkeypatch, 80))
    rows = rows if isinstance(rows, list) else [rows]
    assert len(flat) == len(rows) > 0
    for cells, row in zip(flat, rows, strict=True):
        assert None not in cells
        for key in cells.keys() & row.keys():
            if isinstance(row[key], list) and any(isinstance(part, dict) for part in row[key]):
                assert json.loads(cells[key]) == row[key], key


def check_widths(name, campaign, monkeypatch, widths):
    wide = figures(shown(COMMANDS[name], campaign, monkeypatch, 400))
    assert wide
    for width in widths:
        text = shown(COMMANDS[name], campaign, monkeypatch, width)
        missing = wide - figures(text)
        assert not missing, (width, missing, text)
        assert max(map(len, text.splitlines())) <= width, (width, text)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_column_of_a_narrow_window_has_its_heading_and_value(capsys, monkeypatch, width):
    monkeypatch.setattr(terminal, "window_columns", lambda: width)
    columns = [
        Column("set-up", lambda row: row[0], right=False),
        Column("reference", lambda row: row[1], right=False),
        Column("true", lambda row: row[2]),
        Column("±", lambda row: row[3]),
        Column("grid", lambda row: row[4], right=False, whole=True),
    ]
    rows = [
        ("B1", "the far cairn", "143.78°", "0.68°", "EPSG:32621"),
        ("B2", "", "−7.01°", "–", ""),
    ]
    show_table(rows, columns, "Lines")
    words = capsys.readouterr().out.split()
    for row in rows:
        for text in row:
            assert set(text.split()) <= set(words), (text, words)
    for column in columns:
        assert column.heading in words


LONG_GRID = (
    "+proj=tmerc +lat_0=46.95 +lon_0=7.4386 +k=1 +x_0=2600000 +y_0=1200000 +ellps=bessel "
    "+towgs84=674.4,15.1,405.3,0,0,0,0 +units=m +no_defs"
)


def test_one_long_grid_leaves_the_other_columns_of_sites_alone(tmp_path, monkeypatch):
    rows = [[*SITES[0], "grid"], [*SITES[1], LONG_GRID], [*SITES[2], ""]]
    write_campaign(tmp_path, {"sites.csv": csv_bytes(rows)})
    arguments = ["sites", "CAMPAIGN", "--date", "2026-04-12"]
    for width in (80, 60, 40):
        text = shown(arguments, tmp_path, monkeypatch, width)
        for word in ("Ridge", "Moor", "declin.", "converg.", "noon", "sun", "EPSG:32719"):
            assert word in text, (width, word, text)
        joined = "".join(text.split())
        assert "towgs84" in joined
        assert max(map(len, text.splitlines())) <= width


def test_a_grid_given_by_a_page_of_text_is_shown_by_its_name(tmp_path, monkeypatch):
    """The ETRS89 grid of a code, and one of our own; machine output keeps the text."""
    pages = [pyproj.CRS.from_user_input(text).to_wkt() for text in ("EPSG:25832", LONG_GRID)]
    named = pages[1].replace("unknown", "Ridge works", 1)
    texts = [pages[0], named, pages[1]]
    rows = [[*SITES[0], "grid"]]
    rows += [[f"S{n}", *SITES[1][1:], text] for n, text in enumerate(texts)]
    write_campaign(tmp_path, {"sites.csv": csv_bytes(rows)})
    arguments = ["sites", "CAMPAIGN", "--date", "2026-04-12"]
    for width in (120, 80, 60, 40):
        text = shown(arguments, tmp_path, monkeypatch, width)
        for word in ("EPSG:25832", "Ridge", "works", "Transverse", "Mercator"):
            assert word in text.split(), (width, text)
        assert "PARAMETER" not in text
        assert len(text.splitlines()) < 45
    told = run(["sites", str(tmp_path), "--format", "json"])
    assert [row["grid"] for row in told.rows] == texts


def test_wide_letters_count_twice(capsys, monkeypatch):
    monkeypatch.setattr(terminal, "window_columns", lambda: 30)
    columns = [Column("site", lambda row: row[0], right=False), Column("sun", lambda row: row[1])]
    show_table([("測量点一号測量点一号", "41.5°"), ("測", "7.5°")], columns)
    lines = capsys.readouterr().out.splitlines()
    assert any("41.5°" in line for line in lines)
    assert max(terminal._width(line) for line in lines) <= 30


@pytest.mark.long
@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(
    ("width", "kind"), [(1, "xterm"), (34, "xterm"), (54, "dumb"), (120, "xterm")]
)
def test_the_window_of_a_real_terminal_is_asked(campaign, width, kind, monkeypatch):
    """One that calls itself narrower than any is left to break lines by itself."""
    import fcntl
    import pty
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, width, 0, 0))
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setenv("TERM", kind)
    assert run(["sites", str(campaign)]).status == 0  # loads what the child needs
    child = Forked(["sites", str(campaign), "--date", "2026-04-12"], stdout=theirs)
    os.close(theirs)
    out = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:
            break
        if not part:
            break
        out += part
    assert child.wait() == 0
    os.close(ours)
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", out.decode()).replace("\r\n", "\n")
    assert {"EPSG:32632", "EPSG:32719"} <= set(text.split())
    assert max(map(len, text.splitlines())) <= max(20, width)


@needs_fork
def test_machine_output_is_utf8_whatever_the_console_speaks(campaign, tmp_path):
    rows = [SITES[0], ["Grat Ω", *SITES[1][1:]], ["荒野", *SITES[2][1:]]]
    write_campaign(tmp_path, {"sites.csv": csv_bytes(rows)})
    for style in ("json", "csv"):
        done = forked(["sites", str(tmp_path), "--format", style], encoding="cp1252")
        assert done.status == 0, done.err
        text = done.out
        assert "Grat Ω" in text, text
        assert "荒野" in text, text


@needs_fork
@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_a_console_that_lacks_the_minus_shows_one_all_the_same(campaign, encoding):
    command = ["sites", str(campaign), "--date", "2026-04-12"]
    done = forked(command, encoding=encoding, read_as=encoding)
    assert done.status == 0, done.err
    text = done.out
    assert "?" not in text
    shown = run(command).out
    signed = re.findall(r"[−+]\d+\.\d\d", shown)
    assert any(each.startswith("−") for each in signed)
    assert re.findall(r"[-+]\d+\.\d\d", text) == [each.replace("−", "-") for each in signed]
