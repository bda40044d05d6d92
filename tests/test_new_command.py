"""`orient new`: empty tables, never over what is there."""

import os
import sys

import pytest
from click.testing import CliRunner
from forked import needs_fork

from orient import cli, files
from orient.commands.new import new
from orient.errors import InputError
from orient.tables import editing
from orient.tables.beginning import new_campaign
from orient.tables.columns import TABLES

FILES = {"sites.csv", "setups.csv", "marks.csv", "README.txt"}


def test_writes_every_table_with_its_columns(tmp_path):
    ran = CliRunner().invoke(new, [str(tmp_path / "first")])
    assert ran.exit_code == 0
    assert {path.name for path in (tmp_path / "first").iterdir()} == FILES
    for name, table in TABLES.items():
        header = (tmp_path / "first" / f"{name}.csv").read_text("utf-8")
        assert header.strip().split(",") == list(table.names)
    assert sorted(ran.stdout.split()) == sorted(str(tmp_path / "first" / name) for name in FILES)
    assert "sites.csv first" in ran.stderr


def test_names_every_file_in_the_way_and_changes_none(tmp_path):
    (tmp_path / "sites.csv").write_text("site\nmine\n")
    (tmp_path / "marks.xlsx").write_bytes(b"mine")
    with pytest.raises(InputError) as refused:
        cli.orient(["new", str(tmp_path)], standalone_mode=False)
    assert {fault.file for fault in refused.value.faults} == {"sites.csv", "marks.xlsx"}
    assert {path.name for path in tmp_path.iterdir()} == {"sites.csv", "marks.xlsx"}
    assert (tmp_path / "sites.csv").read_text() == "site\nmine\n"


#: Every kind of table, what else a folder may hold, and one in another's capitals.
THERE = {
    "sites.xlsx": b"of sites",
    "setups.ods": b"of set-ups",
    "MARKS.CSV": b"setup,time\n",
    "readings.csv": b"of readings",
    "README.txt": b"my own",
}


def test_force_keeps_what_it_replaces(tmp_path):
    """Workbooks and tables of other kinds too: none is left beside the new one."""
    for name, data in (THERE | {"photo.jpg": b"mine"}).items():
        (tmp_path / name).write_bytes(data)
    ran = CliRunner().invoke(new, [str(tmp_path), "--force"])
    assert ran.exit_code == 0
    assert str(tmp_path / "backups") in ran.stderr
    assert {path.name for path in tmp_path.iterdir()} == FILES | {"photo.jpg", "backups"}
    assert "latitude_deg" in (tmp_path / "sites.csv").read_text("utf-8")
    assert (tmp_path / "photo.jpg").read_bytes() == b"mine"
    kept = {path.read_bytes(): path for path in (tmp_path / "backups").iterdir()}
    assert set(kept) == set(THERE.values())
    for name, data in THERE.items():
        stem, ending = name.split(".")
        assert kept[data].name.startswith(f"{stem} ")
        assert kept[data].suffix == f".{ending}"


def test_copies_are_named_only_where_a_table_was_replaced(tmp_path):
    (tmp_path / "backups").mkdir()
    assert "backups" not in CliRunner().invoke(new, [str(tmp_path)]).stderr
    assert "backups" not in CliRunner().invoke(new, [str(tmp_path), "--force"]).stderr
    (tmp_path / "marks.csv").write_text("setup,time\n")
    assert "backups" in CliRunner().invoke(new, [str(tmp_path), "--force"]).stderr
    # The copy that is there is as the table was: none more is made.
    (tmp_path / "marks.csv").write_text("setup,time\n")
    assert "backups" in CliRunner().invoke(new, [str(tmp_path), "--force"]).stderr
    assert len(list((tmp_path / "backups").iterdir())) == 1


def test_beginning_anew_twice_keeps_one_copy(tmp_path):
    (tmp_path / "sites.csv").write_text("site\nmine\n")
    for _ in range(2):
        assert CliRunner().invoke(new, [str(tmp_path), "--force"]).exit_code == 0
    (copy,) = (tmp_path / "backups").iterdir()
    assert copy.read_text() == "site\nmine\n"


@pytest.mark.skipif(os.name == "nt", reason="links take rights there")
def test_force_takes_no_link_and_no_folder_for_a_table(tmp_path):
    (tmp_path / "elsewhere.csv").write_text("site\nmine\n")
    folder = tmp_path / "camp"
    (folder / "marks.xlsx").mkdir(parents=True)
    (folder / "sites.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(InputError) as refused:
        cli.orient(["new", str(folder), "--force"], standalone_mode=False)
    assert {fault.file for fault in refused.value.faults} == {"sites.csv", "marks.xlsx"}
    assert sorted(path.name for path in folder.iterdir()) == ["marks.xlsx", "sites.csv"]
    assert (tmp_path / "elsewhere.csv").read_text() == "site\nmine\n"


def _ended_at(line: int):
    """A trace that ends the process at the n-th line of the rooms that write."""
    left, ours = [line], {files.__file__, editing.__file__}

    def trace(frame, event, _):
        if frame.f_code.co_filename not in ours:
            return None
        left[0] -= event == "line"
        if not left[0]:
            os._exit(9)
        return trace

    return trace


@needs_fork
def test_a_kill_while_beginning_anew_loses_no_table(tmp_path):
    """Each is where it was, or in `backups`, wherever the run is ended."""
    for line in range(1, 10_000, 37):
        folder = tmp_path / str(line)
        folder.mkdir()
        for name, data in THERE.items():
            (folder / name).write_bytes(data)
        child = os.fork()
        if child == 0:
            sys.settrace(_ended_at(line))
            new_campaign(folder, force=True)
            os._exit(0)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        held = {path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        assert set(THERE.values()) <= held, line
        if status == 0:
            break
        assert status == 9
    assert line > 200


def test_a_folder_is_asked_for():
    ran = CliRunner().invoke(new, [])
    assert ran.exit_code == 2
    assert "FOLDER" in ran.stderr
