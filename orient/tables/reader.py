"""A table's file read: its cells as text and its values; what was read before is not read again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from orient.tables.cells import LARGEST_BYTES, MOST_ROWS, Cells, Faults, read_cells, titles_end
from orient.tables.columns import Table, ask_about_thousands, no_rows, read_table


@dataclass(frozen=True)
class ReadTable:
    """A table as it is read: its cells as text, its values, and whether there was a file."""

    cells: Cells
    frame: pd.DataFrame
    present: bool


def as_read(cells: Cells | None, table: Table, faults: Faults) -> ReadTable:
    """A table of cells, or of no rows where there are none."""
    if cells is None:
        absent = Cells(table.name, 1, {name: [] for name in table.names}, [])
        return ReadTable(absent, no_rows(table), present=False)
    return ReadTable(cells, read_table(cells, table, faults), present=True)


class Reader:
    """Reads tables, and of one that it has read without fault only the rows that are new.

    A campaign in which marks are made is read at each of them: its other tables are as they
    were, and its marks have one row more. What comes of it is what reading all of it gives.
    """

    def __init__(self) -> None:
        self._before: dict[str, tuple[bytes, ReadTable]] = {}

    def read(self, table: Table, path: Path, faults: Faults, data: bytes | None) -> ReadTable:
        """Read a table's file, or the bytes as if it held them."""
        if data is None and path.suffix.lower() == ".csv":
            data = _plain_bytes(path)
        if data is None:
            return as_read(read_cells(path, faults), table, faults)
        known = self._before.get(table.name)
        if known and known[1].cells.file == path.name:
            if known[0] == data:
                return known[1]
            if longer := _longer(*known, data, table, path):
                self._before[table.name] = data, longer
                return longer
        told = len(faults.listed)
        read = as_read(read_cells(path, faults, data), table, faults)
        if len(faults.listed) == told:
            self._before[table.name] = data, read
        return read


def _plain_bytes(path: Path) -> bytes | None:
    """The bytes of an ordinary file, None where reading it as a table tells what is wrong."""
    try:
        plain = path.is_file() and not path.is_symlink() and path.stat().st_size <= LARGEST_BYTES
        return path.read_bytes() if plain else None
    except OSError:
        return None


def _longer(
    before: bytes, read: ReadTable, data: bytes, table: Table, path: Path
) -> ReadTable | None:
    """A table that was read, with the rows that were put under it; None where it is no such."""
    if not read.cells.rows or not before.endswith(b"\n") or not data.startswith(before):
        return None
    head = before[: titles_end(before)]
    faults = Faults()
    more = as_read(read_cells(path, faults, head + data[len(before) :]), table, faults)
    lower = read.cells.records - read.cells.header_row
    if faults.listed or more.cells.records + lower > MOST_ROWS:
        # Reading all of it tells what is wrong, and in which row.
        return None
    cells = replace(
        read.cells,
        columns={name: [*read.cells.columns[name], *more.cells.columns[name]]
                 for name in read.cells.columns},
        rows=[*read.cells.rows, *(row + lower for row in more.cells.rows)],
        records=more.cells.records + lower,
    )  # fmt: skip
    if cells.decimal_comma:
        # Each part may have its own sign.
        ask_about_thousands(cells, table, faults)
        if faults.listed:
            return None
    if more.frame.empty:
        return ReadTable(cells, read.frame, present=True)
    frames = [read.frame, more.frame.assign(row=more.frame["row"] + lower)]
    return ReadTable(cells, pd.concat(frames, ignore_index=True), present=True)
