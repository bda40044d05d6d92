"""Changing a campaign's table while others may change it too, and losing nothing.

A change is made to the table as it stands at that moment, under a lock that other runs of this
program respect. The new bytes are read back as a campaign before they replace the old: what
would not read is not written. Before the first change of a sitting the table is copied into
the campaign's folder `backups`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import NamedTuple

from orient.errors import Fault, InputError
from orient.files import as_bytes, locked, write_whole
from orient.tables.campaign import (
    ENDINGS,
    Campaign,
    empty_table,
    read_again,
    table_file_names,
)
from orient.tables.cells import Faults, read_cells, with_row
from orient.tables.columns import OPTIONAL_TABLES, TABLES
from orient.tables.reader import Reader

BACKUPS = "backups"
#: How long a run waits for another one to finish with the tables.
WAIT_S = 30.0


class Change(NamedTuple):
    """A table's bytes before (of a table that was not there, its column names) and after."""

    before: bytes
    after: bytes


class Sitting:
    """A run in which a campaign's tables are changed: each is kept once, before its first change.

    Attributes:
        folder: the campaign's.
        campaign: as it was read last.
    """

    def __init__(
        self, folder: Path, needed: Sequence[str] = ("sites", "setups"), begun: Sequence[str] = ()
    ) -> None:
        """Read the campaign, its tables that are `needed` and the others that are there.

        A table that is `begun` lacks what this sitting gives it: it is read after the change only.

        Raises:
            InputError: it cannot be read.
        """
        self.folder, self._needed, self._begun = folder, needed, begun
        self._seen: dict[str, bytes] = {}
        self._kept: set[str] = set()
        self._reader = Reader()
        self.campaign: Campaign
        self.look()

    def look(self) -> Campaign:
        """The campaign as it stands now, read anew where one of its files has changed."""
        now = table_bytes(self.folder)
        if now != self._seen or not self._seen:
            self.campaign = read_again(self._reader, self.folder, self._present(now), unplaced=True)
            self._seen = now
        return self.campaign

    def change(
        self, table: str, change: Callable[[bytes, Campaign], bytes], wait_s: float = WAIT_S
    ) -> Change:
        """Change one table.

        Args:
            table: its name, such as "marks"; it is or becomes a CSV file.
            change: given the table's bytes as they stand (of a table that is not there, a row
                of column names) and the campaign that they belong to; returns the new bytes.
            wait_s: for another run that is at it.

        Returns:
            The table before and after.

        Raises:
            InputError: the campaign cannot be read, before the change or after it; nothing
                was changed.
            TimeoutError: another run did not finish.
            OSError: the table or its copy cannot be written; nothing was changed.
        """
        changed = self.change_all(
            (table,), lambda tables, campaign: {table: change(tables[table], campaign)}, wait_s
        )
        return changed[table]

    def change_all(
        self,
        tables: Sequence[str],
        change: Callable[[Mapping[str, bytes], Campaign], Mapping[str, bytes]],
        wait_s: float = WAIT_S,
    ) -> dict[str, Change]:
        """Change several tables that belong together: all of them, or none.

        Args:
            tables: their names.
            change: given each table's bytes as they stand (of one that is not there, a row of
                column names) and the campaign; returns the new bytes of those it changes.
            wait_s: for another run that is at it.

        Returns:
            Each changed table before and after.

        Raises:
            InputError, TimeoutError, OSError: as of `change`; nothing was changed.
        """
        with locked(self.folder, wait_s):
            paths = {table: table_path(self.folder, table) for table in tables}
            there = {t: path.read_bytes() for t, path in paths.items() if path.is_file()}
            before = {table: there.get(table, empty_table(table)) for table in tables}
            after = dict(change(before, self.look()))
            if after:
                campaign = self._read_back({paths[table]: (table, after[table]) for table in after})
                for table in after.keys() & there.keys():
                    self._keep(paths[table], there[table])
                write_whole(self.folder, {paths[table].name: after[table] for table in after})
                self.campaign = campaign
                self._seen = self._seen | {
                    paths[t].name: data for t, data in after.items() if t in ENDINGS
                }
        return {table: Change(before[table], after[table]) for table in after}

    def add_rows(self, table: str, rows: Sequence[Mapping[str, str]]) -> Change:
        """Add rows to a table, its other bytes as they were: see `orient.tables.cells.with_row`."""

        numbers = (TABLES | OPTIONAL_TABLES)[table].numbers

        def added(data: bytes, _: Campaign) -> bytes:
            for row in rows:
                data = with_row(data, row, numbers)
            return data

        return self.change(table, added)

    def _read_back(self, changed: Mapping[Path, tuple[str, bytes]]) -> Campaign:
        faults = Faults()
        of_campaign = {}
        for path, (table, after) in changed.items():
            if table in ENDINGS:
                of_campaign[table] = after
            else:
                read_cells(path, faults, after)
        faults.stop_if_any()
        if not of_campaign:
            return self.campaign
        present = dict.fromkeys([*self._present(self._seen), *of_campaign])
        return read_again(self._reader, self.folder, list(present), of_campaign, unplaced=True)

    def _present(self, files: Mapping[str, bytes]) -> list[str]:
        there = {name.lower().partition(".")[0] for name in files} - {*self._begun}
        return [t for t in ("sites", "setups", "marks") if t in there or t in self._needed]

    def _keep(self, path: Path, before: bytes) -> None:
        if path.name not in self._kept:
            _keep_copies(self.folder, {path.name: before})
            self._kept.add(path.name)


def table_path(folder: Path, table: str) -> Path:
    """Where a table's CSV file is, or will be.

    Raises:
        InputError: the table is kept in a workbook or a layer, which is not changed.
    """
    try:
        names = {path.name.lower(): path for path in sorted(folder.iterdir(), reverse=True)}
    except OSError:
        # Reading the campaign tells what is wrong with the folder.
        names = {}
    for ending in ENDINGS.get(table, ()):
        other = names.get(table + ending)
        if other and ending != ".csv":
            wanted = f"{table}.csv: only a CSV table is changed; save it as CSV UTF-8"
            raise InputError(Fault(other.name, None, None, f"a table kept as {ending}", wanted))
    return names.get(f"{table}.csv", folder / f"{table}.csv")


def write_anew(folder: Path, contents: Mapping[str, str | bytes]) -> list[Path]:
    """Write a campaign's files in place of the tables that are there, kept in `backups`.

    Args:
        folder: that is there.
        contents: file name to content.

    Returns:
        The paths written. A table of another name or kind, such as a workbook, is then in
        `backups` only: no table stands beside another.

    Raises:
        InputError: something else than an ordinary file has a table's name; nothing was changed.
        TimeoutError, OSError: as of `Sitting.change`; no table was changed.
    """
    with locked(folder, WAIT_S):
        names = {*table_file_names(), *map(str.lower, contents)}
        there = [path for path in sorted(folder.iterdir()) if path.name.lower() in names]
        odd = [path for path in there if path.is_symlink() or not path.is_file()]
        if odd:
            wanted = "an ordinary file, or none, of a table's name"
            raise InputError(
                Fault(path.name, None, None, "a link or a folder", wanted) for path in odd
            )
        before = {path.name: path.read_bytes() for path in there}
        after = {name: as_bytes(text) for name, text in contents.items()}
        _keep_copies(folder, {name: b for name, b in before.items() if b != after.get(name)})
        written = write_whole(folder, contents)
        for path in there:
            if path.name not in contents:
                path.unlink()
    return written


def without_row(data: bytes, row: bytes) -> bytes | None:
    """A table without the last of its records that stands there as these bytes; None if none."""
    place = data.rfind(row)
    if place <= 0 or data[place - 1 : place] not in (b"\n", b"\r"):
        return None
    return data[:place] + data[place + len(row) :]


def last_row(data: bytes) -> bytes:
    """The bytes of the last record of a CSV table, its line end too."""
    lines = list(io.StringIO(data.decode("utf-8"), newline=""))
    reader = csv.reader(iter(lines))
    begun = end = 0
    for _ in reader:
        begun, end = end, reader.line_num
    return "".join(lines[begun:end]).encode("utf-8")


def table_bytes(folder: Path) -> dict[str, bytes]:
    """The bytes of every table's file in a folder."""
    known = {table + ending for table, endings in ENDINGS.items() for ending in endings}
    try:
        found = [path for path in folder.iterdir() if path.name.lower() in known]
        return {path.name: path.read_bytes() for path in sorted(found) if path.is_file()}
    except OSError:
        # Reading the campaign tells what is wrong with the folder.
        return {}


def _keep_copies(folder: Path, files: Mapping[str, bytes]) -> None:
    """Copy a campaign's files into `backups`, where the newest copy is not as they are."""
    kept = folder / BACKUPS
    new = {_backup_name(Path(name), kept): data for name, data in files.items()
           if not _kept_already(Path(name), kept, data)}  # fmt: skip
    if new:
        write_whole(kept, new)


def _backup_name(path: Path, folder: Path) -> str:
    """A name that no copy has: several sittings may begin in one second."""
    second = f"{path.stem} {datetime.now():%Y-%m-%d %H-%M-%S}"
    # In the order of their names the copies are in the order of time.
    names = (
        f"{second}{'' if number == 1 else f'_{number:02d}'}{path.suffix}" for number in count(1)
    )
    return next(name for name in names if not (folder / name).exists())


def _kept_already(path: Path, folder: Path, before: bytes) -> bool:
    """Whether the newest copy of a table is as it stands."""
    copies = sorted(folder.glob(f"{path.stem} *{path.suffix}"))
    try:
        return bool(copies) and copies[-1].read_bytes() == before
    except OSError:
        return False
