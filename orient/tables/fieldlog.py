"""Logs of the field page merged into a campaign's tables.

A row that the tables have not is added at the foot of its table, everything else staying byte
for byte as it was; a row that they have alike is passed over; one that they have otherwise is
never overwritten. Taking a log twice gives what taking it once gave.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from orient.tables.campaign import serials
from orient.tables.cells import Cells, Faults, cell_text, read_cells, shown, with_row
from orient.tables.columns import OPTIONAL_TABLES, TABLES, Table, read_table

FORMAT, VERSION = "orient field log", 1
#: A log of a week with every correction is a hundredth of this.
LARGEST_BYTES = 50_000_000
#: What tells a row of a table from the others; tables that a log may hold.
KEYS: dict[str, tuple[str, ...]] = {
    "setups": ("setup",),
    "marks": ("setup", "mark"),
    "readings": ("reading",),
    "watches": ("timepiece", "date", "time"),
}
_TABLES = TABLES | OPTIONAL_TABLES
#: Numbers that differ by less were rounded on their way.
_SAME = 1e-9

Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Log:
    """One file of the field page: rows of tables as text, and what it does not bring.

    `entries` are the ids of everything that was tapped; `unmeasured` are marks, as
    (set-up, mark), that have no place on the board yet.
    """

    file: str
    campaign: str
    tables: dict[str, Rows]
    entries: frozenset[str]
    unmeasured: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Difference:
    """A row that table and log have otherwise: the columns that differ, with both texts.

    `row` is the table's, None where two logs have it otherwise and the table has it not.
    """

    table: str
    key: tuple[str, ...]
    row: int | None
    columns: dict[str, tuple[str, str]]


@dataclass
class Merged:
    """What a merging comes to.

    `contents` are the tables that change, by name, none where nothing is new. `added` and
    `alike` count rows by table.
    """

    contents: dict[str, bytes] = field(default_factory=dict)
    added: dict[str, int] = field(default_factory=dict)
    alike: dict[str, int] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)
    unmeasured: list[tuple[str, str]] = field(default_factory=list)


# Reading a log --------------------------------------------------------------------------


def read_logs(paths: Sequence[Path]) -> list[Log]:
    """Read files of the field page.

    Returns:
        The logs, in the order given; one whose every entry another has too is left out, as
        the same log was only saved again later.

    Raises:
        InputError: files that are no such logs, all of them named.
    """
    faults = Faults()
    logs = [log for path in paths if (log := _read_log(path, faults))]
    faults.stop_if_any([path.name for path in paths])
    return [log for number, log in enumerate(logs) if not _saved_again(log, number, logs)]


def _saved_again(log: Log, number: int, logs: Sequence[Log]) -> bool:
    return any(
        log.entries < other.entries or (log.entries == other.entries and place > number)
        for place, other in enumerate(logs)
        if place != number and log.entries
    )


def _read_log(path: Path, faults: Faults) -> Log | None:
    wanted = "a log saved by the field page"
    try:
        if path.stat().st_size > LARGEST_BYTES:
            faults.add(path.name, None, None, "a file of over 50 MB", wanted)
            return None
        told = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as fault:
        faults.add(path.name, None, None, (fault.strerror or str(fault)).lower(), wanted)
        return None
    except (ValueError, RecursionError):
        faults.add(path.name, None, None, "no JSON text, or a part of one", wanted)
        return None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        faults.add(path.name, None, None, "another kind of file", wanted)
        return None
    if told.get("version") != VERSION:
        said = f"version {shown(str(told.get('version')))}"
        faults.add(path.name, None, None, said, f"version {VERSION}, which this program reads")
        return None
    return _log(path.name, told, faults)


def _log(file: str, told: Mapping[str, Any], faults: Faults) -> Log:
    given = told.get("tables")
    tables = {}
    for name, rows in (given if isinstance(given, dict) else {}).items():
        if name not in KEYS:
            faults.add(file, None, None, f"a table {shown(str(name))}", ", ".join(KEYS))
        elif rows:
            tables[name] = _rows(file, name, rows, faults)
    if not isinstance(given, dict):
        faults.add(file, None, "tables", "none", ", ".join(KEYS))
    return Log(
        file,
        str(told.get("campaign") or ""),
        tables,
        frozenset(str(each.get("id")) for each in _objects(told.get("entries"))),
        tuple(
            (str(each.get("setup")), str(each.get("mark")))
            for each in _objects(told.get("unmeasured"))
        ),
    )


def _objects(value: Any) -> list[dict[str, Any]]:
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []


def _rows(file: str, name: str, rows: Any, faults: Faults) -> Rows:
    table = _TABLES[name]
    read: Rows = []
    for number, row in enumerate(rows if isinstance(rows, list) else [rows], start=1):
        if not isinstance(row, dict):
            faults.add(file, number, name, shown(str(row)), "a row: names and values")
            continue
        for column, value in row.items():
            if column not in table.names:
                faults.add(file, number, str(column), "no column of this table", name)
            elif not isinstance(value, str | int | float | bool | None):
                faults.add(file, number, column, shown(str(value)), "a text or a number")
        read.append(
            {
                column: cell_text(value).strip()
                for column, value in row.items()
                if column in table.names and isinstance(value, str | int | float | bool)
            }
        )
        for key in KEYS[name]:
            if not read[-1].get(key):
                faults.add(file, number, key, "nothing", f"it: {table[key].meaning}")
    return read


# Merging --------------------------------------------------------------------------------


def merge(tables: Mapping[str, bytes], logs: Sequence[Log], keep_tables: bool = False) -> Merged:
    """What tables become with the rows of some logs.

    Args:
        tables: the bytes of each table that the logs have rows of, CSV.
        logs: of `read_logs`.
        keep_tables: add what is new even where other rows differ, those staying as they are;
            of two logs that differ, none is taken.

    Raises:
        InputError: a table or a log's row cannot be read. No fault is raised for rows that
            differ.
    """
    merged = Merged()
    for name, key in KEYS.items():
        rows = [row for log in logs for row in log.tables.get(name, [])]
        if rows:
            _merge_table(tables[name], name, key, rows, merged)
    merged.unmeasured = [each for log in logs for each in log.unmeasured]
    if merged.differences and not (keep_tables and all(each.row for each in merged.differences)):
        return replace(merged, contents={})
    return merged


def _merge_table(data: bytes, name: str, key: tuple[str, ...], rows: Rows, merged: Merged) -> None:
    faults = Faults()
    there = read_cells(Path(f"{name}.csv"), faults, data)
    faults.stop_if_any()
    assert there is not None  # what is no table is a fault
    fresh = _cells_of(f"the logs' {name}", name, rows)
    known, told = (_by_key(cells, _TABLES[name], key) for cells in (there, fresh))
    places = {each: place for place, each in enumerate(known["key"])}
    seen: dict[tuple[str, ...], int] = {}
    for place, each in enumerate(told["key"]):
        if each in places:
            _compare(name, each, (there, known, places[each]), (fresh, told, place), merged)
        elif each in seen:
            # Two logs with one row: alike, or for a person to decide.
            _compare(name, each, (fresh, told, seen[each]), (fresh, told, place), merged)
        else:
            seen[each] = place
            data = with_row(data, rows[place], _TABLES[name].numbers)
            merged.added[name] = merged.added.get(name, 0) + 1
    if seen:
        merged.contents[name] = data


def _cells_of(file: str, name: str, rows: Rows) -> Cells:
    columns = {
        column: [row.get(column, "") for row in rows]
        for column in _TABLES[name].names
        if any(row.get(column) for row in rows)
    }
    return Cells(file, 1, columns, list(range(1, len(rows) + 1)))


def _by_key(cells: Cells, table: Table, key: tuple[str, ...]) -> pd.DataFrame:
    """The values of a table, and `key`, what tells each row from the others."""
    faults = Faults()
    frame = read_table(cells, table, faults)
    faults.stop_if_any()
    if "mark" in key:
        frame["mark"] = serials(frame)
    keys = [tuple(row) for row in frame[list(key)].itertuples(index=False)]
    return frame.assign(key=pd.Series(keys, index=frame.index, dtype=object))


def _compare(
    name: str,
    key: tuple[str, ...],
    mine: tuple[Cells, pd.DataFrame, int],
    theirs: tuple[Cells, pd.DataFrame, int],
    merged: Merged,
) -> None:
    (there, known, at), (fresh, told, place) = mine, theirs
    columns = {
        column: (there.column(column)[at], fresh.column(column)[place])
        for column in _TABLES[name].names
        if column not in KEYS[name] and not _same(known[column].iloc[at], told[column].iloc[place])
    }
    if columns:
        row = None if there is fresh else there.rows[at]
        merged.differences.append(Difference(name, key, row, columns))
    else:
        merged.alike[name] = merged.alike.get(name, 0) + 1


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float | np.floating):
        return bool(np.isclose(one, other, rtol=0.0, atol=_SAME, equal_nan=True))
    return bool(one == other) or (pd.isna(one) and pd.isna(other))
