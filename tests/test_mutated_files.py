"""Files changed at random, by bytes and by cells: each is read or refused, and nothing is lost.

A row added to whatever still reads leaves every other row as it was, and a run that is killed
at any line of it leaves the table old or new.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from io import BytesIO
from pathlib import Path

import hostile
import numpy as np
import openpyxl
import pytest
from hostile import complaints, csv_bytes, good_tables, run, write_campaign

from orient.errors import InputError
from orient.tables.campaign import read_campaign
from orient.tables.cells import Faults, read_cells, with_row
from orient.tables.columns import MARKS, TABLES, read_table
from orient.tables.editing import Sitting, last_row, without_row

Files = dict[str, bytes]
ROW = {"setup": "R1", "time": "17:31", "x_mm": "-454.25", "y_mm": "394.5", "note": "added"}


def copied_rows(name: str) -> hostile.Rows:
    """A good table's rows, to be changed."""
    return [list(row) for row in good_tables()[name]]


def good_files() -> Files:
    return {f"{name}.csv": csv_bytes(rows) for name, rows in good_tables().items()}


def workbook(rows: hostile.Rows) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([_typed(cell) for cell in row])
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _typed(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return "".join(c for c in cell if c.isprintable())


def mutated(generator: np.random.Generator) -> Files:
    """A good campaign, one of its files changed: its bytes, its cells, or its packed parts."""
    way = hostile._pick(generator, ["bytes", "bytes", "cells", "packed", "decimal comma"])
    if way == "cells":
        return hostile.spoilt(generator)
    files = good_files()
    name = hostile._pick(generator, list(files))
    if way == "bytes":
        files[name] = hostile._bytes(generator, files[name])
    elif way == "packed":
        rows = copied_rows(Path(name).stem)
        for _ in range(int(generator.integers(0, 3))):
            hostile._cell(generator, rows)
        del files[name]
        files[f"{Path(name).stem}.xlsx"] = _packed(generator, workbook(rows))
    else:
        rows = [[cell.replace(".", ",") for cell in row] for row in good_tables()[Path(name).stem]]
        files[name] = csv_bytes(rows, hostile._pick(generator, [";", "\t", ","]))
    return files


def _packed(generator: np.random.Generator, data: bytes) -> bytes:
    """A workbook with bytes of one of its parts changed, or of the whole."""
    if generator.uniform() < 0.3:
        return hostile._bytes(generator, data)
    if generator.uniform() < 0.5:
        return data
    source, out = zipfile.ZipFile(BytesIO(data)), BytesIO()
    changed = hostile._pick(generator, source.namelist())
    with zipfile.ZipFile(out, "w") as parts:
        for name in source.namelist():
            text = source.read(name)
            parts.writestr(name, hostile._bytes(generator, text) if name == changed else text)
    return out.getvalue()


def check_mutated(folder: Path, files: Files) -> str:
    """One of "read" and "refused"; anything else is raised."""
    for path in folder.iterdir():
        path.unlink()
    write_campaign(folder, files)
    try:
        with hostile.limited(10.0):
            campaign = read_campaign(folder)
    except InputError:
        return "refused"
    if "marks.csv" in files and "R1" in campaign.setups.index:
        check_added(folder, files["marks.csv"], campaign)
    return "read"


def check_added(folder: Path, marks: bytes, campaign) -> None:
    after = with_row(marks, ROW, MARKS.numbers)
    # All else stays as it was, but for cells of a column that was not there.
    read = read_campaign(folder, instead={"marks": after}).marks
    assert len(read) == len(campaign.marks) + 1
    told = ["setup", "mark", "time_s", "x_mm", "y_mm", "ring", "half", "use", "note"]
    before = campaign.marks[told]
    assert read.iloc[:-1][told].equals(before)
    last = read.iloc[-1]
    assert (last["setup"], last["time_s"], last["note"]) == ("R1", 63060.0, "added")
    assert (last["x_mm"], last["y_mm"]) == (-454.25, 394.5)
    taken = without_row(after, last_row(after))
    assert taken is not None
    assert read_campaign(folder, instead={"marks": taken}).marks[told].equals(before)


def check_tables(folder: Path, files: Files) -> str:
    """As `check_mutated`, of each table by itself, which is quicker."""
    faults = Faults()
    for name, data in files.items():
        table = TABLES[Path(name).stem]
        with hostile.limited(10.0):
            cells = read_cells(folder / name, faults, data)
            if cells is not None:
                assert list(read_table(cells, table, faults))[:-1] == list(table.names)
    return "refused" if faults.listed else "read"


@pytest.mark.parametrize("runs", [50, pytest.param(5000, marks=pytest.mark.slow)])
def test_mutated_campaigns_are_read_or_refused(tmp_path, runs):
    generator = np.random.default_rng(11)
    ends = [
        (check_tables if turn % 8 else check_mutated)(tmp_path, mutated(generator))
        for turn in range(runs)
    ]
    # A mutator whose files are all refused, or all read, tries nothing.
    assert 0.1 * runs < ends.count("read") < 0.9 * runs


@pytest.mark.parametrize("runs", [2, pytest.param(30, marks=pytest.mark.slow)])
def test_mutated_campaigns_through_the_commands(tmp_path, runs):
    generator = np.random.default_rng(12)
    for turn in range(runs):
        folder = tmp_path / str(turn)
        write_campaign(folder, mutated(generator))
        before = hostile.digest(folder)
        ending = run(["reduce", str(folder), "--format", "json"])
        assert complaints(ending) == [], turn
        assert hostile.digest(folder) == before
        if ending.status == 0:
            assert hostile.bad_numbers(ending.rows) == []


# Kills -----------------------------------------------------------------------------------

#: Ends the process at the n-th line of the rooms that write; forked for every n.
_KILLED = """
import os, sys
from pathlib import Path
from orient import files
from orient.tables import editing
folder, stride = Path(sys.argv[1]), int(sys.argv[2])
ours = {files.__file__, editing.__file__}
good = (folder / "good" / "marks.csv").read_bytes()

def killing(n):
    left = [n]
    def trace(frame, event, argument):
        if frame.f_code.co_filename not in ours:
            return None
        if event == "line":
            left[0] -= 1
            if left[0] == 0:
                os._exit(9)
        return trace
    return trace

# What is read is no matter here: reading the tables again for every line would take minutes.
known = editing.Sitting(folder / "good").campaign
editing.read_campaign = lambda *_, **__: known
for n in range(1, 3000, stride):
    (folder / "good" / "marks.csv").write_bytes(good)
    # What a killed run leaves is cleared away later: each would lengthen the next run.
    for left in filter(files.is_left_behind, (folder / "good").rglob("*")):
        left.unlink()
    child = os.fork()
    if child == 0:
        sys.settrace(killing(n))
        editing.Sitting(folder / "good").add_rows("marks", [ROW])
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    now = (folder / "good" / "marks.csv").read_bytes()
    kept = [path.read_bytes() for path in (folder / "good").glob("backups/marks*")]
    print("old" if now == good else "new" if now == good + ADDED else "BROKEN",
          "whole" if all(copy == good for copy in kept) else "BROKEN")
    if status == 0:
        break
"""


@pytest.mark.skipif(os.name != "posix", reason="forks")
@pytest.mark.parametrize("stride", [41, pytest.param(1, marks=pytest.mark.slow)])
def test_a_kill_at_any_line_leaves_the_table_old_or_new_and_its_copy_whole(tmp_path, stride):
    write_campaign(tmp_path / "good", good_files())
    before = (tmp_path / "good" / "marks.csv").read_bytes()
    added = with_row(before, ROW, MARKS.numbers)[len(before) :]
    script = f"ROW = {ROW!r}\nADDED = {added!r}\n{_KILLED}"
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path), str(stride)],
        capture_output=True,
        text=True,
        check=True,
    )
    ends = done.stdout.splitlines()
    assert {each.split()[0] for each in ends} == {"old", "new"}
    assert {each.split()[1] for each in ends} == {"whole"}
    assert len(ends) > 100 / stride


def test_rows_are_added_to_any_table_of_a_campaign(tmp_path):
    write_campaign(tmp_path, good_files())
    sitting = Sitting(tmp_path)
    sitting.add_rows("readings", [{"reading": "r1", "site": "Ridge", "date": "2026-04-12",
                                   "compass": "brass", "target": "cairn", "reading_deg": "61.5",
                                   "known_azimuth_deg": "65"}])  # fmt: skip
    assert list(sitting.campaign.readings.index) == ["r1"]
    before = {path.name for path in tmp_path.iterdir()}
    with pytest.raises(InputError, match="reading_deg"):
        sitting.add_rows("readings", [{"reading": "r2", "site": "Ridge", "reading_deg": "x"}])
    assert {path.name for path in tmp_path.iterdir()} == before
    assert json.dumps(list(read_campaign(tmp_path).readings.index)) == '["r1"]'
