"""Input is hostile: whatever stands in the tables or the options, a run ends in good order.

In good order: status 0, 1 or 2, a word to the person where it is not 0, no traceback, no
warning, nothing unprintable, input untouched, only finite numbers, no confident line from
nonsense.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections import Counter
from pathlib import Path

import click
import hostile
import numpy as np
import pytest
from forked import forked
from hostile import STRANGE, Rows, bad_numbers, complaints, csv_bytes, digest, run, write_campaign
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orient import cli
from orient.tables.columns import OPTIONAL_TABLES, TABLES

posix_only = pytest.mark.skipif(os.name != "posix", reason="links and rights of POSIX systems")

#: One fault as it is shown.
FAULT = re.compile(
    r"  (?P<file>\S.*?)(, row (?P<row>\d+))?(, column (?P<column>.+?))?: found .+; wanted .+"
)


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("good")
    tables = hostile.good_tables()
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})
    return folder


def faults_of(ending: hostile.Ending) -> list[re.Match[str]]:
    lines = [line for line in ending.err.splitlines() if line.startswith("  ")]
    found = [FAULT.fullmatch(line) for line in lines]
    assert all(found), ending.err
    return [each for each in found if each]


def test_the_campaign_that_is_spoilt_is_good(good):
    ending = run(["reduce", str(good), "--format", "json"])
    assert ending.status == 0
    assert complaints(ending) == []
    assert [row["flags"] for row in ending.rows] == [[], []]
    # The simulated boards stand at azimuth 25°.
    for row in ending.rows:
        assert abs(row["board_azimuth_deg"] - 25.0) < 3 * row["board_azimuth_u_deg"] < 1.0


# Cells -----------------------------------------------------------------------------------

numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.integers(-(10**30), 10**30).map(str),
    st.floats(-400, 400).map("{:.3f}".format),
)
cell_texts = st.one_of(
    st.sampled_from(STRANGE),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=40),
    numbers,
    st.dates().map(str),
    st.times().map(str),
)


def _spoil_a_cell(folder: Path, table: str, column: str, row: int, text: str) -> hostile.Ending:
    good = hostile.good_tables() | {"sights": hostile.sight_rows()}
    tables = {name: [list(line) for line in rows] for name, rows in good.items()}
    rows = tables[table]
    if column not in rows[0]:
        rows[0].append(column)
        for line in rows[1:]:
            line.append("")
    row = 1 + row % (len(rows) - 1)
    rows[row][rows[0].index(column)] = text
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})
    command = table if table in ("sites", "sights") else "reduce"
    before = digest(folder)
    ending = run([command, str(folder), "--format", "json"])
    assert digest(folder) == before
    return ending


def check_any_cell(folder: Path, table: str, column: str, row: int, text: str) -> None:
    ending = _spoil_a_cell(folder, table, column, row, text)
    assert complaints(ending) == []
    if ending.status == 0:
        assert bad_numbers(ending.rows) == []
        return
    assert ending.status == 1
    for fault in faults_of(ending):
        assert fault["file"] in ("sites.csv", "setups.csv", "marks.csv", "sights.csv")
        # A set-up's mistyped id leaves its marks without one: each is at its own row.
        assert fault["row"]
        # A text with line ends or quotes of its own can cut its whole row askew.
        assert fault["column"] or re.search(r"found \d+ cells?; wanted", fault[0])


columns = st.sampled_from(
    [
        (table.name, column)
        for table in (*TABLES.values(), OPTIONAL_TABLES["sights"])
        for column in table.names
    ]
)
any_cell = given(where=columns, row=st.integers(0, 40), text=cell_texts)
unhurried = settings(
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    derandomize=True,
)


@any_cell
@settings(unhurried, max_examples=40)
def test_any_text_in_any_cell(tmp_path, where, row, text):
    check_any_cell(tmp_path, *where, row, text)


@pytest.mark.slow
@any_cell
@settings(unhurried, max_examples=2500)
def test_any_text_in_any_cell_at_length(tmp_path, where, row, text):
    check_any_cell(tmp_path, *where, row, text)


# Options ---------------------------------------------------------------------------------

#: What each command needs beside the campaign to run at all.
NEEDED = {
    "plan": ["--from", "2026-04-12"],
    "bring": ["--from", "2026-04-12"],
    "crew": ["--from", "2026-04-12", "--start", "Ridge"],
    "sheet": ["--site", "Ridge", "--date", "2026-04-12", "-o", "sheet.svg"],
    "report": ["-o", "page"],
    "mark": ["R1"],
}
#: These would look for a machine elsewhere, or share the work among many processes.
NOT_TRIED = {"cluster", "workers"}


def _options() -> list[tuple[str, str, int]]:
    """Every option that takes a value, of every command that takes a campaign."""
    found = []
    for name in cli.COMMANDS:
        command = cli.orient.get_command(click.Context(cli.orient), name)
        assert command is not None
        if any(each.name == "campaign" for each in command.params):
            found += [
                (name, each.opts[0], each.nargs)
                for each in command.params
                if isinstance(each, click.Option)
                and not each.is_flag
                and each.name not in NOT_TRIED
            ]
    return found


OPTIONS = _options()
#: Where a text names a place to write to, it stays within the test's own folder.
option_texts = st.one_of(
    st.sampled_from([text for text in STRANGE if "/" not in text and "\x00" not in text]),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="/\x00"), max_size=20),
    numbers,
    st.dates().map(str),
)


def check_any_option(good: Path, place: Path, option: tuple[str, str, int], text: str) -> None:
    command, name, count = option
    needed = NEEDED.get(command, [])
    before = digest(good)
    place.mkdir(exist_ok=True)
    here = Path.cwd()
    os.chdir(place)
    try:
        given_text = [name, *[text] * count]
        ending = run([command, str(good), *needed, *given_text], seconds=30.0)
    finally:
        os.chdir(here)
    assert complaints(ending) == []
    assert digest(good) == before


any_option = given(option=st.sampled_from(OPTIONS), text=option_texts)


@any_option
@settings(unhurried, max_examples=60)
def test_any_text_in_any_option(good, tmp_path, option, text):
    check_any_option(good, tmp_path / "here", option, text)


@pytest.mark.slow
@any_option
@settings(unhurried, max_examples=800)
def test_any_text_in_any_option_at_length(good, tmp_path, option, text):
    check_any_option(good, tmp_path / "here", option, text)


@given(
    words=st.lists(
        st.one_of(st.sampled_from(list(cli.COMMANDS)), option_texts),
        max_size=4,
    )
)
@settings(unhurried, max_examples=60)
def test_any_words_on_the_command_line(tmp_path, words):
    here = Path.cwd()
    os.chdir(tmp_path)
    try:
        # `demo` and `new` make what they are told to; their own tests look at that.
        ending = run([word for word in words if word not in ("demo", "new", "report")])
    finally:
        os.chdir(here)
    assert complaints(ending) == []


# Files and folders -----------------------------------------------------------------------


@posix_only
@pytest.mark.parametrize("table", ["sites", "setups", "marks"])
@pytest.mark.parametrize("kind", ["link", "loop", "folder", "pipe", "device"])
def test_a_table_that_is_no_plain_file_is_a_fault(tmp_path, good, table, kind):
    tables = hostile.good_tables()
    write_campaign(tmp_path, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})
    path = tmp_path / f"{table}.csv"
    path.unlink()
    if kind == "link":
        path.symlink_to(good / path.name)
    elif kind == "loop":
        path.symlink_to(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")
    ending = run(["reduce", str(tmp_path)])
    assert ending.status == 1
    assert complaints(ending) == []
    assert [fault["file"] for fault in faults_of(ending)] == [path.name]


def _as_nobody() -> None:
    """Go on as a user without rights, where the test run is root's."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setegid(65534)
        os.seteuid(65534)


@pytest.fixture
def open_folder():
    """A folder of the test's own that other users may enter, as the test run's own are not."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


@posix_only
@pytest.mark.parametrize("what", ["folder", "table", "no new files"])
def test_a_place_without_permission(open_folder, good, what, monkeypatch):
    tables = hostile.good_tables()
    campaign = open_folder / "campaign"
    write_campaign(campaign, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})
    places = {"folder": campaign, "table": campaign / "setups.csv", "no new files": open_folder}
    closed = places[what]
    arguments = ["new", "fresh"] if what == "no new files" else ["reduce", "campaign"]
    # What a run needs is loaded before: a user without rights may not read it.
    assert run(["reduce", str(good)]).status == 0
    monkeypatch.chdir(open_folder)
    closed.chmod(0o555 if what == "no new files" else 0o000)
    try:
        done = forked(arguments, before=_as_nobody)
    finally:
        closed.chmod(0o755)
    assert done.status == 1, done.err
    assert "permission denied" in done.err.lower()
    assert "Traceback" not in done.err
    assert len(done.err.splitlines()) <= 3
    assert not (open_folder / "fresh").exists()


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sites", "marks of one board", "faults", "too many"])
def test_a_million_rows(tmp_path, kind):
    tables = {name: csv_bytes(rows) for name, rows in hostile.good_tables().items()}
    if kind == "sites":
        rows = [f"P{n},{n % 170 - 85},{n % 359 - 179},0,,\n" for n in range(1_000_000)]
        tables["sites"] += "".join(rows).encode()
    elif kind == "marks of one board":
        rows = [f"R1,,,{n % 800},{n % 700},,,,\n" for n in range(1_000_000)]
        tables["marks"] += "".join(rows).encode()
    elif kind == "faults":
        tables["marks"] += b"R9,,99:99,nan,inf,,noon,maybe,\n" * 1_000_000
    else:
        tables["marks"] += b"R1,,10:00,1,2,,,,\n" * 1_100_000
    write_campaign(tmp_path, {f"{name}.csv": data for name, data in tables.items()})
    command = ["sites", str(tmp_path)] if kind == "sites" else ["reduce", str(tmp_path)]
    ending = run([*command, "--format", "json"], seconds=600.0)
    assert complaints(ending) == []
    assert ending.status == (0 if kind == "sites" else 1)
    assert len(ending.err.splitlines()) < 300


# Confidence ------------------------------------------------------------------------------


def noise(generator: np.random.Generator, kind: str, count: int) -> np.ndarray:
    """Tips that no sun has made, mm, shape (count, 2)."""
    if kind == "anywhere":
        return generator.uniform(-600, 600, (count, 2))
    if kind == "about the foot":
        return generator.normal(0, 200, (count, 2))
    if kind == "on one ring":
        angle = generator.uniform(0, 2 * np.pi, count)
        return 300 * np.stack([np.sin(angle), np.cos(angle)], axis=-1)
    return np.cumsum(generator.normal(0, 60, (count, 2)), axis=0) + generator.normal(0, 200, 2)


def noisy_boards(generator: np.random.Generator, boards: int) -> tuple[Rows, Rows]:
    setups, marks = [hostile.SETUPS[0]], [hostile.MARKS_HEAD]
    for number in range(boards):
        name, watch = f"N{number}", ["trusted", "running", "none"][number % 3]
        kind = ["anywhere", "about the foot", "on one ring", "wandering"][number % 4]
        setups.append([name, "Ridge", "2026-04-12", "300", watch, *[""] * 5])
        hours = np.sort(generator.uniform(7, 19, int(generator.integers(1, 16))))
        for hour, (x, y) in zip(hours, noise(generator, kind, hours.size), strict=True):
            time = f"{int(hour):02d}:{int(hour % 1 * 60):02d}"
            marks.append([name, "", time, f"{x:.1f}", f"{y:.1f}", "", "", "", ""])
    return setups, marks


def check_noise(folder: Path, seed: int, boards: int) -> None:
    setups, marks = noisy_boards(np.random.default_rng(seed), boards)
    files = {"sites": hostile.SITES, "setups": setups, "marks": marks}
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in files.items()})
    ending = run(["reduce", str(folder), "--format", "json"], seconds=20.0 * boards)
    assert ending.status == 0
    assert complaints(ending) == []
    assert bad_numbers(ending.rows) == []
    confident = [
        (row["setup"], row["board_azimuth_u_deg"])
        for row in ending.rows
        if (row["board_azimuth_u_deg"] or 99.0) < 1.0 and not row["flags"]
    ]
    assert confident == []


def test_noise_never_gives_a_confident_line(tmp_path):
    check_noise(tmp_path, 1, 4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_noise_never_gives_a_confident_line_at_length(tmp_path, seed):
    check_noise(tmp_path, 100 + seed, 30)


# The whole of it -------------------------------------------------------------------------

RUNS = [
    ["reduce", "--format", "json"],
    ["reduce", "--format", "json"],
    ["sites", "--format", "json"],
    ["plan", "--from", "2026-05-01", "--format", "json"],
    ["reduce"],
    ["sites"],
    ["reduce", "--verbose"],
    ["compass", "--format", "json"],
    ["reduce", "--format", "csv"],
]


def check_spoilt(folder: Path, seed: int) -> int:
    generator = np.random.default_rng(seed)
    write_campaign(folder, hostile.spoilt(generator))
    command, *options = RUNS[int(generator.integers(len(RUNS)))]
    before = digest(folder)
    ending = run([command, str(folder), *options])
    assert complaints(ending) == [], seed
    assert digest(folder) == before, seed
    if ending.status == 0 and "json" in options:
        assert bad_numbers(ending.rows) == [], seed
    if ending.status == 1:
        assert faults_of(ending), seed
    return ending.status


def test_spoilt_campaigns(tmp_path):
    for seed in range(60):
        check_spoilt(tmp_path / str(seed), seed)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
def test_five_thousand_spoilt_campaigns(tmp_path, part):
    seeds = range(10_000 + 500 * part, 10_000 + 500 * (part + 1))
    statuses = Counter(check_spoilt(tmp_path / str(seed), seed) for seed in seeds)
    # Spoilt enough to be refused mostly, and not so much that nothing is ever reduced.
    assert statuses[0] > 50
    assert statuses[1] > 150
