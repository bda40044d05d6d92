"""Workbooks made to be hard: a command that meets one ends soon, small, and with one message."""

from __future__ import annotations

import io
import resource
import struct
import zipfile
from collections.abc import Callable

import openpyxl
import pytest
from forked import Ended, forked, needs_fork

from orient.tables.campaign import read_campaign

#: What a run may take beside what this process holds already, and of a processor.
MOST_MEMORY, MOST_SECONDS = 700_000_000, 8.0

HEADER = ["site", "latitude_deg", "longitude_deg"]


def sites(folder, name: str, data: bytes) -> Ended:
    """`orient sites` over a table with these bytes, its memory and its time bounded."""
    (folder / name).write_bytes(data)

    def bounded() -> None:
        with open("/proc/self/statm") as stream:
            held = int(stream.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (held + MOST_MEMORY, held + MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (int(MOST_SECONDS), int(MOST_SECONDS)))

    ended = forked(["sites", str(folder), "--date", "2026-04-12"], bounded)
    assert "Traceback" not in ended.err
    return ended


def refused(folder, name: str, data: bytes, said: str) -> None:
    assert len(data) < 5_000_000
    ended = sites(folder, name, data)
    assert ended.status == 1, ended
    lines = ended.err.splitlines()
    assert lines[0] == "One fault in the input:"
    assert lines[1].startswith(f"  {name}")
    assert said in lines[1]
    assert len(lines) == 3


# .xlsx -----------------------------------------------------------------------------------

STRINGS = '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{}</sst>'
STRINGS_TOLD = (
    b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-'
    b'officedocument.spreadsheetml.sharedStrings+xml"/></Types>'
)
SHEET = (
    '{}<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    "{}</sheetData></worksheet>"
)
TITLES = "<row>" + "".join(f'<c t="s"><v>{n}</v></c>' for n in range(3)) + "</row>"
A_ROW = '<row><c t="s"><v>3</v></c><c><v>46.5</v></c><c><v>8.25</v></c></row>'


def xlsx(text: str = "Ridge", rows: str = A_ROW, head: str = "", **more: bytes) -> bytes:
    """A workbook of sites; the text stands once, the cells of the rows point to it."""
    plain, out = io.BytesIO(), io.BytesIO()
    openpyxl.Workbook().save(plain)
    strings = "".join(f"<si><t>{each}</t></si>" for each in (*HEADER, text))
    own = {
        "xl/sharedStrings.xml": STRINGS.format(strings),
        "xl/worksheets/sheet1.xml": SHEET.format(head, TITLES + rows),
    }
    with zipfile.ZipFile(plain) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        for name in source.namelist():
            told = source.read(name).replace(b"</Types>", STRINGS_TOLD)
            parts.writestr(name, own.get(name, told))
        parts.writestr("xl/sharedStrings.xml", own["xl/sharedStrings.xml"])
        for name, data in more.items():
            parts.writestr(f"xl/media/{name}.png", data)
    return out.getvalue()


#: Each stands for ten of the one before: a thousand million letters in all.
TENFOLD = "<!DOCTYPE a [<!ENTITY e0 'e'>{}]>".format(
    "".join(f"<!ENTITY e{n} '{f'&e{n - 1};' * 10}'>" for n in range(1, 10))
)


@needs_fork
def test_a_good_workbook_with_large_pictures(tmp_path):
    ended = sites(tmp_path, "sites.xlsx", xlsx(photo=bytes(300_000_000)))
    assert ended.status == 0, ended.err
    assert "Ridge" in ended.out


@needs_fork
@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: xlsx("A" * 70_000_000), "a cell longer than any"),
        (lambda: xlsx("A" * 100_000_000), "unfolds to over 80 MB"),
        (lambda: xlsx("A" * 100_000, A_ROW * 20_000), "unfolds to over 80 MB"),
        (lambda: xlsx(rows=A_ROW.replace("46.5", "&e9;"), head=TENFOLD), "cannot be read"),
        (lambda: with_false_sizes(xlsx("A" * 150_000_000), 1000), "cannot be read"),
        (lambda: locked(xlsx()), "without a password"),
    ],
    ids=["long", "large", "many", "entities", "sizes", "password"],
)
def test_a_workbook_made_to_be_hard(tmp_path, made, said):
    refused(tmp_path, "sites.xlsx", made(), said)


def with_false_sizes(data: bytes, size: int) -> bytes:
    """A packed file that says of each part that it unfolds to so many bytes."""
    return _at_each_part(data, 24, "<I", lambda _: size)


def locked(data: bytes) -> bytes:
    """A packed file that says of each part that it takes a password."""
    return _at_each_part(data, 8, "<H", lambda flags: flags | 1)


def _at_each_part(data: bytes, place: int, kind: str, change: Callable[[int], int]) -> bytes:
    """Change a number of each entry of the central directory (APPNOTE.TXT, 4.3.12)."""
    changed, at = bytearray(data), data.find(b"PK\x01\x02")
    while at >= 0:
        (before,) = struct.unpack_from(kind, changed, at + place)
        struct.pack_into(kind, changed, at + place, change(before))
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(changed)


# .ods ------------------------------------------------------------------------------------

OASIS = "urn:oasis:names:tc:opendocument:xmlns"
DOCUMENT = (
    f'{{}}<office:document-content xmlns:office="{OASIS}:office:1.0" '
    f'xmlns:table="{OASIS}:table:1.0" xmlns:text="{OASIS}:text:1.0"><office:body>'
    "<office:spreadsheet><table:table>{}</table:table></office:spreadsheet></office:body>"
    "</office:document-content>"
)


def a_cell(text: str, times: int = 1) -> str:
    return (
        f'<table:table-cell office:value-type="string" table:number-columns-repeated="{times}">'
        f"<text:p>{text}</text:p></table:table-cell>"
    )


def a_row(*cells: str, times: int = 1) -> str:
    return (
        f'<table:table-row table:number-rows-repeated="{times}">{"".join(cells)}</table:table-row>'
    )


SITE = [a_cell("Ridge"), a_cell("46.5"), a_cell("8.25")]
BLANK = '<table:table-cell table:number-columns-repeated="1048576"/>'


def ods(*rows: str, head: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        titles = a_row(*map(a_cell, HEADER), BLANK)
        parts.writestr("content.xml", DOCUMENT.format(head, titles + "".join(rows)))
    return out.getvalue()


def test_a_comment_on_a_cell_is_none_of_its_text(tmp_path):
    comment = "<office:annotation><text:p>moved by 3 m</text:p></office:annotation>"
    cell = a_cell("Ridge").replace("<text:p>", f"{comment}<text:p>", 1)
    (tmp_path / "sites.ods").write_bytes(ods(a_row(cell, *SITE[1:])))
    assert read_campaign(tmp_path, ("sites",)).sites.index.tolist() == ["Ridge"]


def test_a_sheet_that_is_hidden_is_not_the_first(tmp_path):
    book = openpyxl.Workbook()
    for sheet, name in ((book.active, "Old"), (book.create_sheet(), "Ridge")):
        for row in (HEADER, [name, 46.5, 8.25]):
            sheet.append(row)
    book.worksheets[0].sheet_state = "hidden"
    book.active = 1
    book.save(tmp_path / "sites.xlsx")
    assert read_campaign(tmp_path, ("sites",)).sites.index.tolist() == ["Ridge"]
    (tmp_path / "sites.xlsx").unlink()
    style = (
        f'<office:automatic-styles xmlns:style="{OASIS}:style:1.0"><style:style style:name="ta2">'
        '<style:table-properties table:display="false"/></style:style>'
        '<style:style style:name="ta1"><style:table-properties table:display="true"/></style:style>'
        "</office:automatic-styles>"
    )
    old = a_row(*map(a_cell, HEADER)) + a_row(a_cell("Old"), *SITE[1:])
    first = f'<table:table table:style-name="ta2">{old}</table:table><table:table table:style-name='
    with zipfile.ZipFile(io.BytesIO(ods(a_row(*SITE)))) as parts:
        content = parts.read("content.xml").decode()
    content = content.replace("<office:body>", f"{style}<office:body>")
    content = content.replace("<table:table>", f'{first}"ta1">', 1)
    with zipfile.ZipFile(tmp_path / "sites.ods", "w") as parts:
        parts.writestr("content.xml", content)
    assert read_campaign(tmp_path, ("sites",)).sites.index.tolist() == ["Ridge"]


@needs_fork
def test_blank_cells_and_rows_to_the_end_of_a_sheet(tmp_path):
    data = ods(a_row(*SITE, BLANK), a_row(BLANK, times=1_048_576))
    ended = sites(tmp_path, "sites.ods", data)
    assert ended.status == 0, ended.err
    assert "Ridge" in ended.out


@needs_fork
@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: ods(a_row(*SITE, a_cell("x", 1_048_576))), "found 201 cells; wanted 3"),
        (lambda: ods(a_row(*SITE, times=1_048_576)), "more than 1,048,576 rows"),
        (lambda: ods(a_row(*SITE, a_cell("y" * 30, 190), times=99_000)), "unfolds to over 80 MB"),
        (lambda: ods(a_row(BLANK, times=10**9), a_row(*SITE)), "more than 1,048,576 rows"),
        (lambda: ods(a_row(a_cell('<text:s text:c="2000000000"/>'))), "a cell longer than any"),
        (lambda: ods(a_row(a_cell("R" * 70_000_000))), "a cell longer than any"),
        (lambda: ods(" " * 100_000_000), "unfolds to over 80 MB"),
        (lambda: with_false_sizes(ods(" " * 150_000_000), 1000), "cannot be read"),
        (lambda: ods(a_row(a_cell("&e9;")), head=TENFOLD), "cannot be read"),
        (lambda: ods(a_row(a_cell("<text:span>" * 40_000 + "</text:span>" * 40_000))), "be read"),
        (lambda: ods(a_row(*SITE).replace('"1"', '"many"')), "cannot be read"),
        (lambda: locked(ods()), "without a password"),
    ],
    ids=[
        "columns", "rows", "both", "gap", "blanks", "long", "large", "sizes", "entities", "deep",
        "words", "password",
    ],
)  # fmt: skip
def test_a_document_made_to_be_hard(tmp_path, made, said):
    refused(tmp_path, "sites.ods", made(), said)


# Names that do not fit --------------------------------------------------------------------


@needs_fork
@pytest.mark.parametrize("name", ["sites.csv", "sites.xlsx", "sites.ods"])
def test_a_table_is_known_by_its_content(tmp_path, name):
    text = "\n".join([",".join(HEADER), "Ridge,46.5,8.25"]).encode()
    for data in (text, xlsx(), ods(a_row(*SITE))):
        ended = sites(tmp_path, name, data)
        assert ended.status == 0, ended.err
        assert "Ridge" in ended.out
