"""Table files as text cells: reading CSV files and workbooks, writing CSV, gathering faults.

What a cell means is no concern here: see `orient.tables.columns`.
"""

from __future__ import annotations

import csv
import io
import os
import re
import stat
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import chain, islice, pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.errors import Fault, InputError
from orient.text import clock_text, counted

LARGEST_BYTES = 200_000_000
#: As many as a spreadsheet holds.
MOST_ROWS = 1_048_576
MOST_COLUMNS = 200
FAULTS_LISTED = 200

#: A cell with one of these stands within quotes.
_QUOTED = ',"\r\n'
#: A text that begins so may run as a formula when a spreadsheet opens it.
_FORMULA_STARTS = frozenset("=+-@\t\r\n＝＋－＠")
#: Signs that turn the reading order or that nobody sees: two texts may look alike and differ.
UNSEEN = frozenset("\u200b\u200e\u200f\u2060\ufeff\u061c\u202a\u202b\u202c\u202d\u202e"
                   "\u2066\u2067\u2068\u2069")  # fmt: skip
_NOT_SEEN = dict.fromkeys(map(ord, UNSEEN))
_BARE_NUMBER = re.compile(r"[+-]?[0-9]*\.?[0-9]+")


@dataclass(frozen=True)
class Cells:
    """A table's text as it stands, blank rows and columns left out.

    `columns` maps a header, in small letters and trimmed, to one trimmed text a row; `rows`
    are the row numbers that a spreadsheet shows, the header standing in row `header_row`.
    `set_aside` are the texts of rows left out because they do not match the header; `records`
    counts all rows of the file, blank ones too; `titles` are the headers as they are written.
    """

    file: str
    header_row: int
    columns: dict[str, list[str]]
    rows: list[int]
    decimal_comma: bool = False
    set_aside: frozenset[str] = frozenset()
    records: int = 0
    titles: Mapping[str, str] = field(default_factory=dict)

    def column(self, name: str) -> list[str]:
        """The texts of a column, all blank where the table has no such column."""
        return self.columns.get(name) or [""] * len(self.rows)

    def given(self, name: str) -> NDArray[np.bool_]:
        """Which cells of a column are not blank, readable or not."""
        return np.array([text != "" for text in self.column(name)], dtype=bool)


# --- faults ------------------------------------------------------------------------------------


@dataclass
class Faults:
    """Gathers faults while reading goes on; of very many, the rest are only counted."""

    listed: list[Fault] = field(default_factory=list)
    unlisted: int = 0

    def add(self, file: str, row: int | None, column: str | None, found: str, wanted: str) -> None:
        """Note one fault; the arguments are those of `Fault`."""
        self.listed.append(Fault(file, row, column, found, wanted))

    def add_cells(
        self,
        cells: Cells,
        column: str,
        places: Sequence[int] | NDArray[np.int64],
        wanted: str | Callable[[int], str],
        found: str | Callable[[int], str] | None = None,
    ) -> None:
        """Note a fault for each of many cells of a column.

        Args:
            cells: the table.
            column: whose cells they are.
            places: which cells, counted from 0.
            wanted: what is wanted, of all or of the cell at a place.
            found: what was found, of all or of the cell at a place; the cell's text if None.
        """
        texts = cells.column(column)
        for place in map(int, places[:FAULTS_LISTED]):
            said = shown(texts[place]) if found is None else _said(found, place)
            self.add(cells.file, cells.rows[place], column, said, _said(wanted, place))
        self.unlisted += max(0, len(places) - FAULTS_LISTED)

    def stop_if_any(self, files: Sequence[str] = ()) -> None:
        """Raise InputError with the faults, by row within each of `files`, if there are any."""
        if not self.listed:
            return
        order = {name: place for place, name in enumerate(files)}
        ranked = sorted(
            dict.fromkeys(self.listed),
            key=lambda fault: (order.get(fault.file, len(order)), fault.row or 0),
        )
        more = self.unlisted + max(0, len(ranked) - FAULTS_LISTED)
        ranked = ranked[:FAULTS_LISTED]
        if more:
            last = counted(more, "more fault")
            ranked.append(Fault(ranked[-1].file, None, None, last, "those above put right first"))
        raise InputError(ranked)


def _said(words: str | Callable[[int], str], place: int) -> str:
    return words if isinstance(words, str) else words(place)


def shown(text: str) -> str:
    """A cell's text for a message: quoted, cut short, nothing unprintable in it."""
    if not text:
        return "nothing"
    return repr(text if len(text) <= 60 else text[:57] + "...")


# --- files to cells ----------------------------------------------------------------------------


class _Unreadable(Exception):
    """A file cannot be read as a table: what was found, what is wanted, the row if known."""

    def __init__(self, found: str, wanted: str, row: int | None = None) -> None:
        super().__init__(found)
        self.found, self.wanted, self.row = found, wanted, row


def read_cells(path: Path, faults: Faults, data: bytes | None = None) -> Cells | None:
    """Read a table's file, CSV or workbook, as text.

    Args:
        path: UTF-8 text with commas, semicolons or tabs, or a workbook, .xlsx or .ods (told by
            its content, not its name), whose first sheet is read.
        faults: takes what is wrong with the file, its header and the shape of its rows.
        data: read as if the file held these bytes.

    Returns:
        The cells, or None where nothing of the file could be read.
    """
    try:
        if data is None:
            _check_plain_file(path)
            data = path.read_bytes()
        if data.startswith(b"PK\x03\x04"):
            return _workbook_cells(path.name, data, faults)
        text = _decoded(data)
        delimiter = _delimiter(text)
        # The line that names the separator stays as a blank one, so that rows keep their numbers.
        lines = _csv_lines(_SEPARATOR_LINE.sub("\n", text, count=1), delimiter)
        return _cells(path.name, lines, faults, decimal_comma=delimiter != ",")
    except _Unreadable as fault:
        faults.add(path.name, fault.row, None, fault.found, fault.wanted)
    except OSError as fault:
        faults.add(path.name, None, None, (fault.strerror or str(fault)).lower(), "a readable file")
    return None


def check_plain_file(path: Path, faults: Faults) -> bool:
    """Whether a path is an ordinary file of bearable size; notes a fault where it is not."""
    try:
        _check_plain_file(path)
    except _Unreadable as fault:
        faults.add(path.name, None, None, fault.found, fault.wanted)
        return False
    return True


def _check_plain_file(path: Path) -> None:
    status = os.lstat(path)
    if stat.S_ISLNK(status.st_mode):
        raise _Unreadable("a symbolic link", "the file itself in the campaign's folder")
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no ordinary file"
        raise _Unreadable(kind, "a table")
    if status.st_size > LARGEST_BYTES:
        raise _Unreadable(
            f"{status.st_size / 1e6:,.0f} MB", f"a table of at most {LARGEST_BYTES / 1e6:.0f} MB"
        )


#: A workbook with a password is of that form too.
_OLD_SPREADSHEET = "an old spreadsheet (.xls), or one with a password"


def _decoded(data: bytes) -> str:
    wanted = "the table saved as CSV with the encoding UTF-8"
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise _Unreadable(_OLD_SPREADSHEET, f"{wanted}, or as .xlsx or .ods")
    # A stray NUL is a fault of its cell; every other byte is one in UTF-16.
    start = data[:1000]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or start.count(b"\0") > len(start) / 10:
        raise _Unreadable("text in UTF-16, or no text at all", wanted)
    try:
        # Two programs in turn may each have put their mark before it.
        return data.decode("utf-8").lstrip(_BYTE_ORDER_MARK)
    except UnicodeDecodeError as fault:
        byte = data[fault.start]
        row = data.count(b"\n", 0, fault.start) + 1
        raise _Unreadable(f"a byte (0x{byte:02X}) that is not UTF-8", wanted, row) from None


#: A first line that tells some spreadsheets what stands between the cells.
_SEPARATOR_LINE = re.compile(r'"?sep=([,;\t])"?[ ]*\r?\n', re.IGNORECASE)


def _delimiter(text: str) -> str:
    if told := _SEPARATOR_LINE.match(text):
        return told[1]
    header = re.split(r"[\r\n]", text.lstrip(), maxsplit=1)[0]
    bare = re.sub(r'"[^"]*"', "", header)
    return max(",;\t", key=bare.count)


def _csv_lines(text: str, delimiter: str) -> Iterator[list[str]]:
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True
    )
    row = 0
    try:
        for line in reader:
            row += 1
            yield line
    except csv.Error as fault:
        if "field limit" in str(fault):
            most = f"cells of at most {csv.field_size_limit():,} letters"
            raise _Unreadable(
                "a cell longer than any", f"{most}; a quote that is not closed makes one", row + 1
            ) from None
        raise _Unreadable(
            f"a row that cannot be cut into cells ({fault})", "every opened quote closed", row + 1
        ) from None


def _workbook_cells(file: str, data: bytes, faults: Faults) -> Cells:
    from orient.tables.workbooks import UnreadableWorkbook, read_sheet

    try:
        sheet = read_sheet(data, MOST_ROWS, MOST_COLUMNS, cell_text)
    except UnreadableWorkbook as fault:
        raise _Unreadable(fault.found, fault.wanted) from None
    cells = _cells(file, sheet.lines, faults, padded=True)
    names = _titled(sheet.lines[cells.header_row - 1])
    for row, place in sheet.unvalued[:FAULTS_LISTED]:
        name = names[place] if place < len(names) else ""
        wanted = "its value: open the workbook in a spreadsheet and save it, or type the value"
        faults.add(file, row, name or None, "a formula without a value", wanted)
    faults.unlisted += max(0, len(sheet.unvalued) - FAULTS_LISTED)
    return cells


def _titled(line: list[str]) -> list[str]:
    """Column names in small letters, trimmed, without signs that nobody sees."""
    return [" ".join(cell.translate(_NOT_SEEN).split()).lower() for cell in line]


def cell_text(value: Any) -> str:
    """A workbook's or a layer's value as the text that a person would have typed."""
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, bool | np.bool_):
        return yes_no(bool(value))
    if isinstance(value, float | np.floating):
        return _number_text(float(value))
    if isinstance(value, datetime):
        written = value.replace(tzinfo=None).isoformat(sep=" ")
        return written.removesuffix(" 00:00:00")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return clock_text(value.total_seconds())
    return str(value)


def _number_text(value: float) -> str:
    if np.isnan(value):
        return ""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _cells(
    file: str,
    lines: Iterable[list[str]],
    faults: Faults,
    *,
    decimal_comma: bool = False,
    padded: bool = False,
) -> Cells:
    """Cells from lines; `padded` where a line shorter than the header only ends in blanks."""
    rows: list[int] = []
    body: list[list[str]] = []
    row = 0
    for row, line in enumerate(lines, start=1):
        if row > MOST_ROWS:
            raise _Unreadable(f"more than {MOST_ROWS:,} rows", "a smaller table")
        if "".join(line).strip():
            rows.append(row)
            body.append(line)
    if not body:
        raise _Unreadable("an empty table", "a row of column names, and the rows under it")
    header = _header(file, rows[0], body[0], faults)
    if padded:
        body = [line + [""] * (len(header) - len(line)) for line in body]
    kept, ragged = _sorted_rows(len(header), rows[1:], body[1:])
    cut = [] if decimal_comma or padded else _cut_at_decimal_commas(rows, body)
    if cut:
        said = f"{counted(len(cut), 'row')} cut at decimal commas"
        faults.add(file, cut[0], None, said, DECIMAL_COMMA_WANTED)
        kept, ragged = {}, dict(zip(rows[1:], body[1:], strict=True))
    else:
        _tell_ragged(file, len(header), ragged, faults)
    columns: dict[str, list[str]] = {}
    for place, name in enumerate(header):
        texts = [line[place].strip() for line in kept.values()]
        if name and name not in columns:
            columns[name] = texts
        elif not name and any(texts):
            said = f"values under no name in column {place + 1}"
            faults.add(file, rows[0], None, said, "a column name above them")
    set_aside = frozenset(cell.strip() for line in ragged.values() for cell in line)
    titles = dict(zip(header, (" ".join(cell.split()) for cell in body[0]), strict=False))
    return Cells(file, rows[0], columns, list(kept), decimal_comma, set_aside, row, titles)


def _header(file: str, row: int, line: list[str], faults: Faults) -> list[str]:
    names = _titled(line)
    while not names[-1]:
        names.pop()
    if len(names) > MOST_COLUMNS:
        raise _Unreadable(f"more than {MOST_COLUMNS} columns", "a smaller table", row)
    check_titles(file, row, names, faults)
    return names


def check_titles(file: str, row: int | None, names: Sequence[str], faults: Faults) -> None:
    """Refuse columns of one name, in small letters: which of them counts nobody can tell."""
    for name in dict.fromkeys(names):
        if name and names.count(name) > 1:
            faults.add(file, row, name, f"{names.count(name)} columns of this name", "one")


def _sorted_rows(
    width: int, rows: list[int], body: list[list[str]]
) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
    """The lines that have the header's width or end in blanks, and the others, by their rows."""
    kept, ragged = {}, {}
    for row, line in zip(rows, body, strict=True):
        if len(line) == width or (len(line) > width and not "".join(line[width:]).strip()):
            kept[row] = line
        else:
            ragged[row] = line
    return kept, ragged


#: What is wanted where commas stand both between the cells and in the numbers.
DECIMAL_COMMA_WANTED = (
    "decimal points, or the table saved with semicolons between the cells: then decimal commas "
    "are read"
)


COMMA_WANTED = "a comma within a cell needs quotes around the cell"
DECIMALS_WANTED = ", decimal commas need semicolons between the cells"


def _cut_at_decimal_commas(rows: Sequence[int], body: Sequence[list[str]]) -> list[int]:
    """The rows longer than the column names, if decimal commas explain all of them.

    Blank cells at their end, which would hide it, count too: what was cut has moved the others.
    """
    width = len(body[0])
    longer = {row: line for row, line in zip(rows, body, strict=True) if len(line) > width}
    explained = all(_may_be_cut(line, width) for line in longer.values())
    # One cell in all may as well be a cell too many.
    several = sum(len(line) - width for line in longer.values()) > 1
    return list(longer) if several and explained and 2 * len(longer) >= len(body) - 1 else []


def _may_be_cut(line: list[str], width: int) -> bool:
    """Whether the cells beyond the width may be the decimals of numbers before them."""
    pairs = sum(
        bool(re.fullmatch(r"[+\-−]?[0-9]+", left.strip())) and right.strip().isdecimal()
        for left, right in pairwise(line)
    )
    return pairs >= len(line) - width


def _tell_ragged(file: str, width: int, ragged: dict[int, list[str]], faults: Faults) -> None:
    for row, line in list(ragged.items())[:FAULTS_LISTED]:
        wanted = f"{width}, as in the row of column names"
        if len(line) > width:
            wanted += f" ({COMMA_WANTED}{DECIMALS_WANTED if _may_be_cut(line, width) else ''})"
        faults.add(file, row, None, counted(len(line), "cell"), wanted)
    faults.unlisted += max(0, len(ragged) - FAULTS_LISTED)


# --- a row more --------------------------------------------------------------------------------


def column_names(data: bytes) -> list[str]:
    """The column names of a CSV table, in small letters and trimmed, as `Cells` has them."""
    return _titles(_records(*_text_and_delimiter(data)))[1]


def titles_end(data: bytes) -> int:
    """Where the column names of a CSV table end, counted in its bytes."""
    text, delimiter = _text_and_delimiter(data)
    place, _ = _titles(_records(text, delimiter))
    above = islice(_records(text, delimiter), place + 1)
    return sum(len(raw.encode("utf-8")) for raw, _ in above)


def row_cells(row: bytes, table: bytes) -> list[str]:
    """The cells of one record of a table."""
    _, delimiter = _text_and_delimiter(table)
    records = list(_records(row.decode("utf-8"), delimiter))
    return [cell.strip() for cell in records[0][1]] if records else []


def with_row(data: bytes, values: Mapping[str, str], numbers: Collection[str]) -> bytes:
    """A CSV table with one row more under the others, and all else byte for byte as it was.

    Args:
        data: a table that `read_cells` reads without fault.
        values: column name to text, numbers with a decimal point. A column that the table
            has not is added at its right end if there is anything to write in it.
        numbers: the columns that hold numbers: they take the table's decimal sign, texts do not.

    Returns:
        The table in its own delimiter, line ends, byte-order mark and decimal sign.
    """
    text, delimiter = _text_and_delimiter(data)
    newline = _end_of(text)
    place, header = _titles(_records(text, delimiter))
    new = [name for name, value in values.items() if value and name not in header]
    if new:
        text = _with_columns(text, delimiter, place, len(header), new)
    body = (cells for _, cells in islice(_records(text, delimiter), place + 1, None))
    commas = _with_commas(header, body, numbers, delimiter)
    row = io.StringIO()
    csv.writer(row, delimiter=delimiter, lineterminator=newline).writerow(
        _in_sign(values.get(name, ""), name in commas) for name in [*header, *new]
    )
    joint = "" if text.endswith(("\n", "\r")) else newline
    return (text + joint + row.getvalue()).encode("utf-8")


def _with_columns(text: str, delimiter: str, place: int, width: int, new: Sequence[str]) -> str:
    """A table's text with columns more at its right end, blank in every row."""
    records = list(_records(text, delimiter))
    titled = _with_end(records[place][0], "".join(delimiter + name for name in new))
    below = (
        _widened(raw, cells, width + len(new), delimiter) for raw, cells in records[place + 1 :]
    )
    return "".join([*(raw for raw, _ in records[:place]), titled, *below])


def with_cells(data: bytes, key: str, texts: Mapping[str, str], column: str) -> bytes:
    """A CSV table with one column's cell written anew in some rows, all other rows as they were.

    Args:
        data: a table that `read_cells` reads without fault.
        key: the column that names the rows.
        texts: what to write, by the name of the row.
        column: added at the table's right end where it has none.

    Returns:
        The table in its own delimiter, line ends and byte-order mark.
    """
    return with_changed_rows(
        data, lambda row: {column: texts[row[key]]} if row[key] in texts else {}, ()
    )


def with_changed_rows(
    data: bytes, change: Callable[[dict[str, str]], Mapping[str, str]], numbers: Collection[str]
) -> bytes:
    """A CSV table with cells written anew in some rows, all other rows as they were.

    Args:
        data: a table that `read_cells` reads without fault.
        change: given a row's texts by column name, what to write in which columns; a column
            that the table has not is added at its right end.
        numbers: as of `with_row`.

    Returns:
        The table in its own delimiter, line ends, byte-order mark and decimal sign.
    """
    text, delimiter = _text_and_delimiter(data)
    records = list(_records(text, delimiter))
    place, header = _titles(records)
    body = [[*cells, *[""] * (len(header) - len(cells))] for _, cells in records[place + 1 :]]
    changes = [
        change({name: plain(cell) for name, cell in zip(header, cells, strict=False)})
        for cells in body
    ]
    new = [name for name in dict.fromkeys(chain.from_iterable(changes)) if name not in header]
    commas = _with_commas(header, body, numbers, delimiter)
    if new:
        titled = _with_end(records[place][0], "".join(delimiter + name for name in new))
        records[place] = (titled, [*header, *new])
    titles = [*header, *new]
    for number, (cells, changed) in enumerate(zip(body, changes, strict=True), place + 1):
        if not changed:
            raw = _widened(records[number][0], records[number][1], len(titles), delimiter)
            records[number] = (raw, cells)
            continue
        whole = [*cells, *[""] * len(new)]
        for name, value in changed.items():
            whole[titles.index(name)] = _in_sign(value, name in commas)
        line = io.StringIO()
        csv.writer(line, delimiter=delimiter, lineterminator=_end_of(text)).writerow(whole)
        records[number] = (line.getvalue(), whole)
    return "".join(raw for raw, _ in records).encode("utf-8")


def plain(cell: str) -> str:
    """A cell's text as it is compared with others, and as a table of texts has it."""
    return " ".join(unicodedata.normalize("NFC", unguarded(cell)).split())


def _in_sign(value: str, comma: bool) -> str:
    number = comma and _DECIMAL_POINT.fullmatch(value)
    return value.replace(".", ",") if number else guarded(value)


def _end_of(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\r" if "\r" in text and "\n" not in text else "\n"


def _text_and_delimiter(data: bytes) -> tuple[str, str]:
    # The byte-order mark stays in the text, so that it is written again.
    text = data.decode("utf-8")
    return text, _delimiter(text.lstrip(_BYTE_ORDER_MARK))


def _titles(records: Iterable[tuple[str, list[str]]]) -> tuple[int, list[str]]:
    """Which record holds the column names, and the names."""
    for place, (raw, cells) in enumerate(records):
        if place == 0 and _SEPARATOR_LINE.match(raw.lstrip(_BYTE_ORDER_MARK)):
            continue
        bare = _titled(cells)
        if any(bare):
            return place, bare
    return 0, []


_BYTE_ORDER_MARK = "\ufeff"
_DECIMAL_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")


def _with_commas(
    header: Sequence[str], rows: Iterable[list[str]], numbers: Collection[str], delimiter: str
) -> Collection[str]:
    """Which columns are written with a decimal comma: the numbers, where all of them have it."""
    if delimiter == ",":
        return ()
    places = [place for place, name in enumerate(header) if name in numbers]
    cells = [row[place].strip() for row in rows for place in places if place < len(row)]
    commas = any(map(_DECIMAL_COMMA.fullmatch, cells))
    return numbers if commas and not any(map(_DECIMAL_POINT.fullmatch, cells)) else ()


def _records(text: str, delimiter: str) -> Iterator[tuple[str, list[str]]]:
    """Each record as it stands in the text, its line end too, and its cells."""
    taken: list[str] = []

    def lines() -> Iterator[str]:
        for number, line in enumerate(io.StringIO(text, newline="")):
            taken.append(line)
            # A quote after the mark opens a cell all the same.
            yield line if number else line.lstrip(_BYTE_ORDER_MARK)

    for cells in csv.reader(lines(), delimiter=delimiter, skipinitialspace=True, strict=True):
        yield "".join(taken), cells
        taken.clear()


def _widened(raw: str, cells: list[str], width: int, delimiter: str) -> str:
    return _with_end(raw, delimiter * (width - len(cells))) if "".join(cells).strip() else raw


def _with_end(raw: str, end: str) -> str:
    """A record with more cells before its line end."""
    bare = raw.rstrip("\r\n")
    return bare + end + raw[len(bare) :]


# --- values to CSV -----------------------------------------------------------------------------


def csv_text(frame: pd.DataFrame) -> str:
    """Write a table as CSV text that a spreadsheet may open without running anything.

    Args:
        frame: any DataFrame; a named index is written as its first columns.

    Returns:
        RFC 4180 text with "\\n" line ends. A blank, NaN or NaT is an empty cell, a truth
        value yes or no, a date YYYY-MM-DD, a list its parts with spaces between. A text
        that a spreadsheet would take for a formula gets an apostrophe before it, which
        reading takes away again.
    """
    if any(name is not None for name in frame.index.names):
        frame = frame.reset_index()
    header = [_quoted(guarded(str(name))) for name in frame.columns]
    columns = [_written(frame.iloc[:, place]) for place in range(frame.shape[1])]
    if len(columns) == 1:
        # A line with nothing in it would be no record.
        columns = [[text or '""' for text in columns[0]]]
    # Cells joined here: the csv module takes six times as long over a country's year.
    return "".join(f"{','.join(cells)}\n" for cells in (header, *zip(*columns, strict=True)))


def _written(column: pd.Series[Any]) -> list[str]:
    """The cells of a column as they stand in the file."""
    kind = column.dtype.kind if isinstance(column.dtype, np.dtype) else "O"
    values = column.tolist()
    if kind == "f":
        return ["" if value != value else repr(value) for value in values]
    if kind in "iu":
        return [str(value) for value in values]
    if _harmless(values):
        return values
    # Rows share few values, such as the lists of their flags: each is written once.
    different = {id(value): value for value in values}
    written = {at: _quoted(guarded(_value_text(value))) for at, value in different.items()}
    return [written[id(value)] for value in values]


def _harmless(values: list[Any]) -> bool:
    """Whether all are texts that may be written as they stand, told by a look at all at once."""
    if {*map(type, values)} != {str}:
        return False
    begun, joined = {text[:1] for text in values}, "".join(values)
    return begun.isdisjoint(_FORMULA_STARTS) and not any(mark in joined for mark in _QUOTED)


def _quoted(text: str) -> str:
    """A cell's text within quotes where a comma, a quote or a line end in it asks for them."""
    if any(mark in text for mark in _QUOTED):
        return '"' + text.replace('"', '""') + '"'
    return text


def _value_text(value: Any) -> str:
    if isinstance(value, list | tuple):
        return " ".join(_value_text(part) for part in value)
    # The writer leaves a bare carriage return unquoted, and readers then see two rows.
    return cell_text(value).replace("\r\n", "\n").replace("\r", "\n")


def guarded(text: str) -> str:
    """A text as CSV may hold it: before one that could run as a formula, an apostrophe."""
    if text[:1] in _FORMULA_STARTS and not _BARE_NUMBER.fullmatch(text):
        return "'" + text
    return text


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return text[1:] if text[:1] == "'" and text[1:2] in _FORMULA_STARTS else text


def yes_no(value: bool) -> str:
    """A truth value as the tables write it."""
    return "yes" if value else "no"
