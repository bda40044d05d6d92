"""Every way that a run can end has its message and its exit status."""

from __future__ import annotations

import os
import subprocess
import sys
import warnings

import click
import pytest
from hostile import csv_bytes, digest, good_tables, run, write_campaign

from orient import cli
from orient.errors import Fault, InputError

posix_only = pytest.mark.skipif(os.name != "posix", reason="needs a POSIX shell")


@pytest.fixture
def failing(monkeypatch):
    """Make `orient fail` end by raising something."""

    def make(fault: BaseException) -> None:
        @click.command()
        def fail() -> None:
            raise fault

        monkeypatch.setattr(cli.LazyGroup, "get_command", lambda *_: fail)
        monkeypatch.setitem(cli.COMMANDS, "fail", ("", ""))

    return make


def outcome(folder, arguments: str, **options):
    """Run the command line as a process of its own through a shell."""
    command = f'"{sys.executable}" -c "from orient.cli import main; main()" {arguments}'
    return subprocess.run(
        command, shell=True, cwd=folder, capture_output=True, text=True, **options
    )


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("here") / "camp"
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in good_tables().items()})
    return folder


def test_faults_are_listed_each_on_a_line(failing):
    failing(
        InputError(
            [Fault("a.csv", 3, "x_mm", "'1e'", "a number"), Fault("b", None, None, "c", "d")]
        )
    )
    ending = run(["fail"])
    assert ending.status == 1
    assert ending.err.splitlines() == [
        "2 faults in the input:",
        "  a.csv, row 3, column x_mm: found '1e'; wanted a number",
        "  b: found c; wanted d",
        "Nothing was written.",
    ]


@pytest.mark.parametrize(
    ("fault", "status", "said"),
    [
        (OSError(28, "No space left on device", "x/y"), 1, "x/y: No space left on device."),
        (OSError("odd"), 1, "odd"),
        (MemoryError(), 1, "memory"),
        (KeyboardInterrupt(), 1, "Stopped"),
        (click.Abort(), 1, "Stopped"),
        (click.UsageError("no such thing"), 2, "no such thing"),
        (BrokenPipeError(), 0, ""),
        (
            RuntimeError("bad\x1b[31m"),
            1,
            "orient itself failed (RuntimeError: bad\N{REPLACEMENT CHARACTER}[31m)",
        ),
        (RecursionError(), 1, "ORIENT_DEBUG"),
    ],
)
def test_every_ending_has_its_words(failing, fault, status, said):
    failing(fault)
    ending = run(["fail"])
    assert ending.status == status
    assert said in ending.err
    assert "Traceback" not in ending.err
    assert len(ending.err.splitlines()) <= 4


def test_a_fault_of_the_program_is_shown_whole_when_asked_for(failing, monkeypatch):
    failing(RuntimeError("bad"))
    monkeypatch.setenv("ORIENT_DEBUG", "1")
    with pytest.raises(RuntimeError, match="bad"):
        run(["fail"])


def test_warnings_do_not_reach_the_person(monkeypatch, capsys):
    @click.command()
    def noisy() -> None:
        warnings.warn("for programmers", FutureWarning, stacklevel=1)
        warnings.warn("for programmers", RuntimeWarning, stacklevel=1)

    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda *_: noisy)
    monkeypatch.setattr(sys, "warnoptions", [])
    monkeypatch.delenv("ORIENT_DEBUG", raising=False)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        monkeypatch.setitem(cli.COMMANDS, "noisy", ("", ""))
        assert cli.run(["noisy"]) == 0
    assert caught == []
    assert capsys.readouterr().err == ""


def test_a_mistyped_command_is_answered_with_the_nearest():
    ending = run(["reduse"])
    assert ending.status == 2
    assert "Did you mean reduce?" in ending.err


def test_help_and_version_end_well():
    for arguments in (["--help"], ["--version"], ["reduce", "--help"]):
        ending = run(arguments)
        assert ending.status == 0
        assert ending.err == ""
    assert "Never look at the sun" in run(["--help"]).out


def test_no_command_is_a_fault_of_the_command_line():
    ending = run([])
    assert ending.status == 2
    assert "reduce" in ending.err


def test_every_command_listed_is_there_and_tells_its_options():
    for name in cli.COMMANDS:
        ending = run([name, "--help"])
        assert ending.status == 0, name
        assert max(map(len, ending.out.splitlines())) <= 80, name


def test_importing_and_help_load_nothing_heavy():
    heavy = ["numpy", "pandas", "scipy", "pyproj", "geopandas", "matplotlib", "skyfield", "rich"]
    code = (
        "import sys, orient, orient.cli; orient.cli.run(['--help']);"
        f"print([name for name in {heavy} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


# Streams ---------------------------------------------------------------------------------

#: The command that starts soonest of those with tables and signs.
DECLINATION = "declination 46.5 8.25 --date 2026-04-12"


@pytest.mark.long
@posix_only
@pytest.mark.parametrize(
    ("style", "tail", "status"),
    [
        ("table", "| true; exit ${PIPESTATUS[0]}", 0),
        pytest.param("json", "| true; exit ${PIPESTATUS[0]}", 0, marks=pytest.mark.slow),
        pytest.param("table", ">/dev/full", 1, marks=pytest.mark.slow),
        ("json", ">/dev/full", 1),
        ("table", "<&- >&- 2>&-", 0),
    ],
)
def test_streams_that_are_gone_or_full(campaign, style, tail, status):
    command = f"{DECLINATION} --format {style} {tail}"
    done = outcome(campaign.parent, command, executable="/bin/bash")
    assert done.returncode == status
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    if status:
        assert "No space left" in done.stderr


@pytest.mark.long
def test_a_terminal_without_the_signs_is_no_reason_to_stop(campaign):
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = outcome(campaign.parent, DECLINATION, env=environment)
    assert done.returncode == 0, done.stderr
    assert "Declination 3.5d E, +/-0.7d" in done.stdout


@posix_only
def test_a_folder_whose_name_steers_terminals_is_named_safely(campaign):
    strange = campaign.parent / "x\x1b[31m\udcff"
    write_campaign(strange, {path.name: path.read_bytes() for path in campaign.iterdir()})
    for arguments in (["reduce", str(strange)], ["reduce", str(strange / "no")]):
        ending = run(arguments)
        assert "\x1b" not in ending.out + ending.err
        assert "itself failed" not in ending.err


# What is never written -------------------------------------------------------------------

#: A sheet with good hours: no other size is tried.
A3_SHEET = ["--site", "Ridge", "--date", "2026-04-12", "--paper", "A3", "--rod", "150"]


@pytest.mark.long
def test_no_command_writes_input(campaign, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = digest(campaign)
    runs = {
        "sites": [], "plan": ["--from", "2026-04-12"], "bring": ["--from", "2026-04-12"],
        "crew": ["--from", "2026-04-12", "--start", "Ridge"], "reduce": [], "compass": [],
        "sheet": [*A3_SHEET, "-o", "s.pdf"],
        "simulate": ["--site", "Ridge", "--date", "2026-04-12", "-o", "practice"],
        "report": ["-o", "page"],
        "card": ["--date", "2026-04-12", "-o", "cards.pdf"],
        "field": ["--from", "2026-04-12", "-o", "field.html"],
        "night": ["--from", "2026-04-12"],
    }  # fmt: skip
    # The others take no campaign, or are asked to add to one, or ask for another table.
    own = {
        *("class", "skyline", "demo", "new", "declination", "mark", "take", "sights", "photo"),
        *("correct", "region"),
    }
    assert set(runs) == set(cli.COMMANDS) - own
    for command, options in runs.items():
        ending = run([command, str(campaign), *options], seconds=60.0)
        assert (command, ending.status, ending.err) == (command, 0, ending.err)
        assert "failed" not in ending.err
        assert digest(campaign) == before, command


def test_an_empty_word_is_no_folder(campaign, tmp_path, monkeypatch):
    """It comes of a variable that is not set, and would stand for the folder one is in."""
    monkeypatch.chdir(tmp_path)
    for arguments in (["report", str(campaign), "-o", ""], ["new", ""], ["reduce", ""]):
        ending = run(arguments)
        assert ending.status == 2
        assert "not set, perhaps" in ending.err
    assert list(tmp_path.iterdir()) == []


def test_new_never_overwrites_without_being_told(tmp_path):
    folder = tmp_path / "camp"
    assert run(["new", str(folder)]).status == 0
    (folder / "marks.csv").write_text("precious\n")
    before = digest(folder)
    ending = run(["new", str(folder)])
    assert ending.status == 1
    assert "marks.csv" in ending.err
    assert digest(folder) == before
    assert run(["new", str(folder), "--force"]).status == 0
    assert (folder / "marks.csv").read_text() != "precious\n"


def test_new_begins_nothing_where_only_one_table_is(tmp_path):
    (tmp_path / "sites.xlsx").write_bytes(b"precious")
    assert run(["new", str(tmp_path)]).status == 1
    assert [path.name for path in tmp_path.iterdir()] == ["sites.xlsx"]


@pytest.mark.long
def test_output_to_a_place_that_cannot_be(campaign, tmp_path):
    (tmp_path / "taken").write_text("precious")
    (tmp_path / "link.svg").symlink_to(tmp_path / "elsewhere.svg")
    places = {"taken/s.svg": "folder is wanted", "link.svg": "symbolic link"}
    for place, said in places.items():
        options = [*A3_SHEET, "-o", str(tmp_path / place)]
        ending = run(["sheet", str(campaign), *options], seconds=60.0)
        assert ending.status == 1
        assert said in ending.err
        assert len(ending.err.splitlines()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link.svg", "taken"]


BOARDS = [["--board", "650x470"], ["--board=650×470"], ["--board", "650", "470"]]


@pytest.mark.parametrize("board", BOARDS)
def test_a_board_is_two_numbers_or_one_size(board):
    rest = ["--rod", "300"]
    assert list(cli._sizes(["plan", *board, *rest])) == ["plan", "--board", "650", "470", *rest]
    assert list(cli._sizes(["sheet", *board, *rest])) == ["sheet", "--board", "650x470", *rest]
    assert list(cli._sizes(["plan", "--board", "wide"])) == ["plan", "--board", "wide"]


def _numbers_of_commands():
    for name in cli.COMMANDS:
        command = cli.LazyGroup().get_command(click.Context(click.Command("x")), name)
        for param in command.params:
            if isinstance(param.type, click.types.FloatParamType) and param.opts:
                yield pytest.param(command, param, id=f"{name} {param.opts[0]}")


@pytest.mark.parametrize(("command", "param"), [*_numbers_of_commands()])
def test_no_number_may_be_nan(command, param):
    context = click.Context(command)
    with pytest.raises(click.BadParameter):
        param.process_value(context, ["nan"] * param.nargs if param.nargs > 1 else "nan")


@pytest.mark.parametrize(
    "arguments",
    [
        ["plan", "--from", "2026-04-12", "--step", "nan"],
        ["plan", "--from", "2026-04-12", "--max-altitude", "nan"],
        ["sites", "--max-altitude", "nan"],
        ["crew", "--from", "2026-04-12", "--start", "Ridge", "--detour", "nan"],
        ["report", "--max-altitude", "nan"],
    ],
)
def test_nan_in_an_option_is_told(campaign, arguments):
    ending = run([arguments[0], str(campaign), *arguments[1:]])
    assert ending.status == 2
    assert "nan is no number" in ending.err


@pytest.mark.long
@posix_only
def test_a_full_output_is_told_as_the_output(campaign):
    done = outcome(campaign.parent, f"{DECLINATION} > /dev/full")
    assert done.returncode == 1
    assert done.stderr.startswith("The output could not be written: No space left on device")
    assert "replaced" not in done.stderr
