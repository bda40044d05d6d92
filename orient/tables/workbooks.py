"""Workbooks as lines of text: the first sheet of an .xlsx or an .ods, within bounds.

A workbook is packed, and a small one may unfold to more than the memory holds or than anyone
waits for. So what is unfolded is bounded before it is looked at, by its bytes and by its tags,
and of a sheet no more is kept than a table may have.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import IO, Any
from xml.etree import ElementTree

#: Unfolded bytes and tags that are read in some ten seconds: about 90,000 rows of six cells.
MOST_BYTES = 80_000_000
MOST_TAGS = 2_500_000
#: A row of a spreadsheet has at most 16,384 cells, of some tags each.
_MOST_TAGS_IN_A_ROW = 100_000
#: In a cell, as in a CSV file; and how many blanks running a document may stand for by a number.
MOST_LETTERS, _MOST_BLANKS = csv.field_size_limit(), 1000
_A_TABLE = "the table alone, blank cells beyond it deleted, or the table saved as CSV UTF-8"

_ROW = re.compile(rb"<(?:[A-Za-z0-9]+:)?(?:table-)?row\b")
_FORMULA = re.compile(rb"<(?:[A-Za-z0-9]+:)?f[ >/]")


class UnreadableWorkbook(Exception):
    """A workbook cannot be read as a table: what was found, what is wanted."""

    def __init__(self, found: str, wanted: str) -> None:
        super().__init__(found)
        self.found, self.wanted = found, wanted


@dataclass
class Sheet:
    """A sheet's lines, and the cells whose formula has no value, as (row, place in the line)."""

    lines: list[list[str]] = field(default_factory=list)
    unvalued: list[tuple[int, int]] = field(default_factory=list)
    letters: int = 0

    def add(self, line: list[str], times: int = 1) -> None:
        """Put a line under the others. A text that stands once in the file may fill many cells."""
        if any(len(text) > MOST_LETTERS for text in line):
            raise _too_long()
        self.letters += times * sum(map(len, line))
        if self.letters > MOST_BYTES:
            raise _too_large()
        self.lines += [line] * times


def read_sheet(
    data: bytes, most_rows: int, most_columns: int, text_of: Callable[..., str]
) -> Sheet:
    """The first sheet of a workbook.

    Args:
        data: the file's bytes.
        most_rows, most_columns: that a table may have; one more column is kept, to tell.
        text_of: a cell's value as text.

    Returns:
        The sheet; blank cells at the end of a line are left out.

    Raises:
        UnreadableWorkbook: it is none, or too large.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            if "content.xml" in parts.namelist():
                text = dict(_unfolded(parts, ["content.xml"]))["content.xml"]
                return _OpenDocument(most_rows, most_columns, text_of).read(io.BytesIO(text))
            bounded, formulas = _office_open_parts(parts)
        return _office_open(bounded, formulas, most_rows, most_columns, text_of)
    except UnreadableWorkbook:
        raise
    except Exception:
        # A broken workbook makes the libraries stumble in every kind of way.
        wanted = "the table saved as CSV UTF-8, .xlsx or .ods, without a password"
        raise UnreadableWorkbook("a workbook that cannot be read", wanted) from None


def _unfolded(parts: zipfile.ZipFile, names: Iterable[str]) -> Iterator[tuple[str, bytes]]:
    """A workbook's texts by name; what the file says of its own sizes is not believed.

    Raises:
        UnreadableWorkbook: reading them would take too long.
    """
    room, tags = MOST_BYTES, 0
    for name in names:
        with parts.open(name) as stream:
            text = stream.read(room + 1)
        room -= len(text)
        if room < 0:
            raise _too_large()
        tags += text.count(b"<")
        is_sheet = "/worksheets/" in name or name == "content.xml"
        if tags > MOST_TAGS or (is_sheet and _longest_row(text) > _MOST_TAGS_IN_A_ROW):
            raise UnreadableWorkbook("a workbook with a million cells and more", _A_TABLE)
        yield name, text


def _longest_row(text: bytes) -> int:
    """Tags in the longest row of a sheet's text: a row is held in memory whole."""
    longest = begun = 0
    for match in _ROW.finditer(text):
        longest, begun = max(longest, text.count(b"<", begun, match.start())), match.start()
    return max(longest, text.count(b"<", begun))


def _too_large() -> UnreadableWorkbook:
    return UnreadableWorkbook(
        f"a workbook that unfolds to over {MOST_BYTES / 1e6:.0f} MB", _A_TABLE
    )


def _too_long() -> UnreadableWorkbook:
    return UnreadableWorkbook(
        "a cell longer than any", f"cells of at most {MOST_LETTERS:,} letters"
    )


def _too_many_rows(most_rows: int) -> UnreadableWorkbook:
    return UnreadableWorkbook(f"more than {most_rows:,} rows", "a smaller table")


# .xlsx -----------------------------------------------------------------------------------


def _office_open_parts(parts: zipfile.ZipFile) -> tuple[io.BytesIO, bool]:
    """The workbook within its bounds, pictures left out, and whether there are formulas."""
    bounded, formulas = io.BytesIO(), False
    texts = [name for name in dict.fromkeys(parts.namelist()) if name.endswith((".xml", ".rels"))]
    with zipfile.ZipFile(bounded, "w") as written:
        for name, text in _unfolded(parts, texts):
            formulas = formulas or ("/worksheets/" in name and bool(_FORMULA.search(text)))
            written.writestr(name, text)
    return bounded, formulas


def _office_open(
    data: io.BytesIO,
    formulas: bool,
    most_rows: int,
    most_columns: int,
    text_of: Callable[..., str],
) -> Sheet:
    values = _first_sheet(data, values=True)
    columns = _columns_looked_at(values, most_columns)
    sheet = Sheet()
    for row, line in enumerate(_rows(values, columns), start=1):
        if row > most_rows:
            raise _too_many_rows(most_rows)
        sheet.add([text_of(value) for value in _trimmed(line)])
    if formulas:
        for row, line in enumerate(_rows(_first_sheet(data, values=False), columns), start=1):
            texts = sheet.lines[row - 1]
            for place, value in enumerate(_trimmed(line)):
                if _is_formula(value) and (place >= len(texts) or not texts[place]):
                    sheet.unvalued.append((row, place))
    return sheet


def _columns_looked_at(sheet: Any, most_columns: int) -> int:
    """A few more than the first line that is not blank has: a table needs no others."""
    for row, line in enumerate(_rows(sheet, most_columns + 1)):
        if width := len(_trimmed(line)):
            return min(width + 8, most_columns + 1)
        if row > 1000:
            break
    return most_columns + 1


def _first_sheet(data: io.BytesIO, values: bool) -> Any:
    """The first sheet, to be read row by row, of values or of formulas."""
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # Of styles and validations that this reading leaves aside.
        warnings.simplefilter("ignore")
        sheets = load_workbook(data, read_only=True, data_only=values).worksheets
    # One that is hidden is not what a person sees as the first.
    sheet = next((each for each in sheets if each.sheet_state == "visible"), sheets[0])
    sheet.reset_dimensions()
    return sheet


def _rows(sheet: Any, columns: int) -> Iterator[tuple[Any, ...]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield from sheet.iter_rows(max_col=columns, values_only=True)


def _trimmed(line: tuple[Any, ...]) -> tuple[Any, ...]:
    if line.count(None) == len(line):
        return ()
    end = len(line)
    while end and line[end - 1] is None:
        end -= 1
    return line[:end]


def _is_formula(value: Any) -> bool:
    """A formula is a text with an equals sign first, or an object for one of several cells."""
    return (isinstance(value, str) and value.startswith("=")) or hasattr(value, "ref")


# .ods ------------------------------------------------------------------------------------

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_DURATION = re.compile(r"PT(?:([0-9]+)H)?(?:([0-9]+)M)?(?:([0-9]+)(?:[.,]([0-9]+))?S)?")


class _OpenDocument:
    """Reads a sheet of OASIS OpenDocument 1.2 row by row, and lets each go once it is read."""

    def __init__(self, most_rows: int, most_columns: int, text_of: Callable[..., str]) -> None:
        self.most_rows, self.most_columns, self.text_of = most_rows, most_columns, text_of
        self.sheet = Sheet()
        self.blank_rows = 0

    def read(self, stream: IO[bytes]) -> Sheet:
        hidden: set[str | None] = set()
        shown = True
        for _, element in ElementTree.iterparse(stream, events=("end",)):
            if element.tag == f"{_TABLE}table-row":
                self._row(element)
                element.clear()
            elif element.tag == f"{_STYLE}table-properties":
                shown = element.get(f"{_TABLE}display") != "false"
            elif element.tag == f"{_STYLE}style" and not shown:
                hidden.add(element.get(f"{_STYLE}name"))
                shown = True
            elif element.tag == f"{_TABLE}table":
                if element.get(f"{_TABLE}style-name") not in hidden:
                    return self.sheet
                self.sheet, self.blank_rows = Sheet(), 0
        raise UnreadableWorkbook(
            "a document without a sheet that is shown", "a table in its first sheet"
        )

    def _row(self, element: ElementTree.Element) -> None:
        line, formulas = self._line(element)
        times = _count(element, "number-rows-repeated")
        if not line and not formulas:
            # Rows that are blank to the end of the sheet are no rows of a table.
            self.blank_rows += times
            return
        lines = self.sheet.lines
        if len(lines) + self.blank_rows + times > self.most_rows:
            raise _too_many_rows(self.most_rows)
        lines += [[] for _ in range(self.blank_rows)]
        self.blank_rows = 0
        first = len(lines) + 1
        self.sheet.add(line, times)
        if formulas:
            self.sheet.unvalued += [
                (row, place) for row in range(first, first + times) for place in formulas
            ]

    def _line(self, element: ElementTree.Element) -> tuple[list[str], list[int]]:
        line: list[str] = []
        formulas = []
        for cell in element:
            if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
                continue
            text = self._cell(cell)
            room = self.most_columns + 1 - len(line)
            if not text and cell.get(f"{_TABLE}formula"):
                formulas.append(len(line))
            line += [text] * min(room, _count(cell, "number-columns-repeated"))
        while line and not line[-1]:
            line.pop()
        return line, formulas

    def _cell(self, cell: ElementTree.Element) -> str:
        kind = cell.get(f"{_OFFICE}value-type")
        if kind in ("float", "percentage", "currency"):
            return self.text_of(float(cell.get(f"{_OFFICE}value", "nan")))
        if kind == "boolean":
            return self.text_of(cell.get(f"{_OFFICE}boolean-value") == "true")
        if kind == "date":
            when = cell.get(f"{_OFFICE}date-value", "").replace("T", " ")
            return when.removesuffix(" 00:00:00")
        if kind == "time":
            return _clock(cell.get(f"{_OFFICE}time-value", ""))
        told = cell.get(f"{_OFFICE}string-value")
        # Paragraphs further down are those of a comment on the cell.
        return told if told is not None else "\n".join(map(_said, cell.findall(f"{_TEXT}p")))


def _count(element: ElementTree.Element, name: str) -> int:
    return max(1, int(element.get(f"{_TABLE}{name}", "1")))


def _clock(duration: str) -> str:
    match = _DURATION.fullmatch(duration)
    if match is None:
        return duration
    hours, minutes, seconds = (int(part or 0) for part in match.groups()[:3])
    part = f".{match[4]}".rstrip("0").rstrip(".") if match[4] else ""
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{part}"


def _said(paragraph: ElementTree.Element) -> str:
    """A paragraph's text; several blanks running, tabs and line ends are elements of their own."""
    parts = [paragraph.text or ""]
    for each in paragraph:
        if each.tag == f"{_TEXT}s":
            blanks = int(each.get(f"{_TEXT}c", "1"))
            if blanks > _MOST_BLANKS:
                raise _too_long()
            parts.append(" " * blanks)
        elif each.tag in (f"{_TEXT}tab", f"{_TEXT}line-break"):
            parts.append(" ")
        else:
            parts.append(_said(each))
        parts.append(each.tail or "")
    return "".join(parts)
