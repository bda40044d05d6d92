"""Files as people and spreadsheets make them, read as text cells and written as CSV."""

import csv
import datetime
import io
import os
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hostile import limited

from orient.errors import InputError
from orient.tables import cells as cells_module
from orient.tables import workbooks
from orient.tables.cells import Cells, Faults, csv_text, read_cells, shown


def read(path, data):
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    faults = Faults()
    return read_cells(path, faults), [str(fault) for fault in faults.listed]


@pytest.fixture
def path(tmp_path):
    return tmp_path / "marks.csv"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_usual_files(path, separator, mark, end):
    lines = (" Setup ,X_MM,note,", 'A, 1.5 ,"two words",', ",,,", "B,2,,", "", " , , ,")
    text = mark + end.join(lines).replace(",", separator) + end
    cells, faults = read(path, text)
    assert faults == []
    assert cells.columns == {"setup": ["A", "B"], "x_mm": ["1.5", "2"], "note": ["two words", ""]}
    assert cells.rows == [2, 4]
    assert cells.header_row == 1
    assert cells.decimal_comma == (separator != ",")


def test_rows_are_the_spreadsheets_own(path):
    cells, faults = read(path, '\n\nsetup,note\nA,"two\nlines"\n\nB,x\n')
    assert faults == []
    assert cells.header_row == 3
    assert cells.rows == [4, 6]
    assert cells.columns["note"] == ["two\nlines", "x"]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "an empty table"),
        (b"\n ,\n\n", "an empty table"),
        ("setup\nA".encode("utf-16"), "UTF-16"),
        ("setup\nA".encode("utf-16-le"), "UTF-16"),
        ("setup,note\nA,x\nB,41°15\n".encode("latin-1"), "row 3: found a byte (0xB0)"),
        (b"\xd0\xcf\x11\xe0 old", ".xls"),
        (b"PK\x03\x04 not a workbook", "a workbook that cannot be read"),
        ('setup,note\nA,"never closed\nB,x\n', "row 2: found a row that cannot be cut"),
        ("setup,note\nA," + "x" * 200_000, "a cell longer than any"),
        ("setup,x,X \nA,1,2\n", "column x: found 2 columns of this name"),
        ("setup,x\nA,1,2\n", "row 2: found 3 cells; wanted 2"),
        ("setup,x\nA\n", "row 2: found 1 cell; wanted 2"),
        ("setup,,x\nA,1,2\n", "values under no name in column 2"),
        ("a," * 300, "more than 200 columns"),
    ],
)
def test_files_at_fault(path, data, said):
    _, faults = read(path, data)
    assert len(faults) == 1
    assert said in faults[0]
    assert faults[0].startswith("marks.csv")


def test_ragged_rows_do_not_hide_the_others(path):
    cells, faults = read(path, "setup,x\nA,1\nB,2,3\nC\nD,4\n")
    assert len(faults) == 2
    assert cells.rows == [2, 5]


def test_too_large_a_file(path, monkeypatch):
    monkeypatch.setattr(cells_module, "LARGEST_BYTES", 5)
    assert "wanted a table of at most" in read(path, "setup\nA\n")[1][0]


def test_too_many_rows(path, monkeypatch):
    monkeypatch.setattr(cells_module, "MOST_ROWS", 3)
    assert read(path, "setup\nA\nB\n")[1] == []
    assert "more than 3 rows" in read(path, "setup\nA\nB\nC\n")[1][0]


def test_no_ordinary_file(tmp_path):
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "real.csv").write_text("setup\nA\n")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    for name, said in [
        ("folder.csv", "a folder"),
        ("link.csv", "a symbolic link"),
        ("pipe.csv", "no ordinary file"),
        ("absent.csv", "no such file"),
    ]:
        faults = Faults()
        assert read_cells(tmp_path / name, faults) is None
        assert [said in str(fault) for fault in faults.listed] == [True]


def test_a_file_without_permission(path, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    # Taking the permission away would not stop a test that runs as root.
    monkeypatch.setattr(Path, "read_bytes", refuse)
    _, faults = read(path, "setup\nA\n")
    assert faults == ["marks.csv: found permission denied; wanted a readable file"]


def workbook(rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook_whatever_its_name(path):
    rows = [
        ["setup", "date", "time", "x_mm", "use", "mark", "note"],
        ["A", datetime.date(2026, 5, 1), datetime.time(8, 5), 12.5, True, 3, None],
        [],
        ["B", datetime.datetime(2026, 5, 2), datetime.timedelta(hours=9), -7.0, False, 4.0, "=1+1"],
        ["C"],
    ]
    rows[3][6] = "two words"
    cells, faults = read(path, workbook(rows))
    assert faults == []
    assert cells.rows == [2, 4, 5]
    assert cells.columns == {
        "setup": ["A", "B", "C"],
        "date": ["2026-05-01", "2026-05-02", ""],
        "time": ["08:05:00", "09:00:00", ""],
        "x_mm": ["12.5", "-7", ""],
        "use": ["yes", "no", ""],
        "mark": ["3", "4", ""],
        "note": ["", "two words", ""],
    }


@pytest.mark.long
def test_a_workbook_with_a_cell_in_its_far_corner(path):
    book = openpyxl.Workbook()
    book.active["A1"], book.active["A2"], book.active["XFD1048576"] = "setup", "A", "far"
    out = io.BytesIO()
    book.save(out)
    cells, faults = read(path, out.getvalue())
    assert faults == []
    assert cells.columns == {"setup": ["A"]}


def test_a_workbooks_warnings_stay_inside(path, recwarn):
    book = openpyxl.Workbook()
    book.active["A1"], book.active["A2"] = "date", 1e12
    book.active["A2"].number_format = "yyyy-mm-dd"  # a day beyond the calendar
    out = io.BytesIO()
    book.save(out)
    cells, faults = read(path, out.getvalue())
    assert (cells.columns, faults) == ({"date": ["#VALUE!"]}, [])
    assert not recwarn.list


@pytest.mark.parametrize(
    ("limit", "said"),
    [("MOST_BYTES", "unfolds to over"), ("MOST_TAGS", "a million cells and more")],
)
def test_a_workbook_that_unfolds_to_too_much(path, monkeypatch, limit, said):
    monkeypatch.setattr(workbooks, limit, 1)
    assert said in read(path, workbook([["setup"], ["A"]]))[1][0]


def rewritten(sheet):
    """A workbook whose first sheet has this text between the tags of its data."""
    source, out = zipfile.ZipFile(io.BytesIO(workbook([["setup"]]))), io.BytesIO()
    head = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    )
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        for name in source.namelist():
            whole = f"{head}{sheet}</sheetData></worksheet>"
            parts.writestr(name, whole if name.endswith("sheet1.xml") else source.read(name))
    return out.getvalue()


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        ("<row>" + "<c/>" * 3_000_000 + "</row>", "a million cells and more"),
        ("<row>" + "<c/>" * 200_000 + "</row>", "a million cells and more"),
        ("<row/>" * 3_000_000, "a million cells and more"),
        ('<row r="1"/><row r="99999999999"><c r="A99999999999"><v>1</v></c></row>', "rows"),
        ("<row", "cannot be read"),
    ],
)
def test_a_workbook_made_to_be_hard_is_refused_in_a_bounded_time(path, sheet, said):
    data = rewritten(sheet)
    assert len(data) < 50_000
    with limited(8.0):
        _, faults = read(path, data)
    assert len(faults) == 1
    assert said in faults[0]


def test_rows_padded_with_blank_cells_are_as_small_as_their_values(path):
    padded = "".join(
        f'<row><c t="inlineStr"><is><t>{"setup" if n == 0 else n}</t></is></c>{"<c/>" * 200}</row>'
        for n in range(500)
    )
    cells, faults = read(path, rewritten(padded))
    assert faults == []
    assert list(cells.columns) == ["setup"]
    assert len(cells.rows) == 499


def test_a_formula_without_a_value_is_a_fault_at_its_cell(path):
    rows = [["setup", "watch_error_s", "note"], ["A", "=-1800", "x"], ["B", 5, "=A1"]]
    _, faults = read(path, workbook(rows))
    wanted = "found a formula without a value; wanted its value: open the workbook in a spreadsheet"
    assert len(faults) == 2
    assert faults[0].startswith(f"marks.csv, row 2, column watch_error_s: {wanted}")
    assert faults[1].startswith(f"marks.csv, row 3, column note: {wanted}")


def test_a_formula_with_its_value_is_that_value(path):
    cells, faults = read(
        path,
        rewritten(
            '<row><c t="inlineStr"><is><t>x_mm</t></is></c></row>'
            "<row><c><f>1+1</f><v>2</v></c></row>"
        ),
    )
    assert (cells.columns, faults) == ({"x_mm": ["2"]}, [])


# The same sheet as another program writes it: odfpy, after OASIS OpenDocument 1.2.


def open_document(rows):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    sheet = Table(name="first")
    for row in rows:
        line = TableRow()
        for cell in row:
            kind, value, *more = cell if isinstance(cell, tuple) else ("string", cell)
            names = {"float": "value", "date": "datevalue", "time": "timevalue",
                     "boolean": "booleanvalue"}  # fmt: skip
            if kind == "formula":
                made = TableCell(formula=value)
            elif kind == "string":
                made = TableCell(valuetype="string") if value else TableCell()
                if value:
                    made.addElement(P(text=value))
            else:
                made = TableCell(valuetype=kind, **{names[kind]: value})
            for _ in range(more[0] if more else 1):
                line.addElement(made)
        sheet.addElement(line)
    sheet.addElement(TableRow(numberrowsrepeated=1_000_000))
    book.spreadsheet.addElement(sheet)
    book.spreadsheet.addElement(Table(name="second"))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_an_open_document_sheet(path):
    data = open_document(
        [
            ["setup", "date", "time", "x_mm", "use", "note"],
            ["A", ("date", "2026-05-01"), ("time", "PT08H05M00S"), ("float", 12.5),
             ("boolean", "true"), "two words"],
            [],
            ["B", ("date", "2026-05-02T00:00:00"), ("time", "PT9H30M15.25S"), ("float", -7)],
        ]
    )  # fmt: skip
    cells, faults = read(path, data)
    assert faults == []
    assert cells.rows == [2, 4]
    assert cells.columns == {
        "setup": ["A", "B"],
        "date": ["2026-05-01", "2026-05-02"],
        "time": ["08:05:00", "09:30:15.25"],
        "x_mm": ["12.5", "-7"],
        "use": ["yes", ""],
        "note": ["two words", ""],
    }


def test_an_open_document_s_formula_without_a_value(path):
    _, faults = read(path, open_document([["setup", "x_mm"], ["A", ("formula", "of:=1+1")]]))
    assert len(faults) == 1
    assert faults[0].startswith("marks.csv, row 2, column x_mm: found a formula without a value")


# --- faults ------------------------------------------------------------------------------------


def test_faults_come_by_file_and_row_each_once():
    faults = Faults()
    faults.add("b.csv", 9, "x", "one", "two")
    faults.add("b.csv", 2, "y", "one", "two")
    faults.add("a.csv", 5, "x", "one", "two")
    faults.add("a.csv", 5, "x", "one", "two")
    with pytest.raises(InputError) as stop:
        faults.stop_if_any(["a.csv", "b.csv"])
    assert [(fault.file, fault.row) for fault in stop.value.faults] == [
        ("a.csv", 5),
        ("b.csv", 2),
        ("b.csv", 9),
    ]


def test_very_many_faults_are_counted():
    faults = Faults()
    cells = Cells("a.csv", 1, {"x": ["bad"] * 1000}, list(range(2, 1002)))
    faults.add_cells(cells, "x", range(1000), "good")
    faults.add("a.csv", 1, "y", "one", "two")
    with pytest.raises(InputError) as stop:
        faults.stop_if_any()
    assert len(stop.value.faults) == cells_module.FAULTS_LISTED + 1
    assert "801 more faults" in str(stop.value.faults[-1])


def test_no_faults_stop_nothing():
    Faults().stop_if_any()


def test_shown_text_is_short_and_printable():
    assert shown("") == "nothing"
    assert shown("\x1b[2J\u202e") == r"'\x1b[2J\u202e'"
    assert len(shown("x" * 1000)) < 70


# --- writing -----------------------------------------------------------------------------------


def test_csv_text_of_every_kind_of_value():
    frame = pd.DataFrame(
        {
            "text": ["plain", 'with "quotes", commas', "two\nlines", "Übersee – شمال"],
            "number": [1.5, np.nan, -0.1 + 0.3, 1e-20],
            "count": [1, 2, 3, 4],
            "use": [True, False, True, True],
            "date": pd.to_datetime(["2026-05-01", None, "2026-05-03", "2026-05-04"]),
            "flags": [["blunder", "few-pairs"], [], None, ["blunder"]],
        }
    ).set_index("count")
    rows = list(csv.reader(io.StringIO(csv_text(frame), newline="")))
    assert rows[0] == ["count", "text", "number", "use", "date", "flags"]
    assert rows[1] == ["1", "plain", "1.5", "yes", "2026-05-01", "blunder few-pairs"]
    assert rows[2] == ["2", 'with "quotes", commas', "", "no", "", ""]
    assert rows[3][1:3] == ["two\nlines", repr(-0.1 + 0.3)]
    assert float(rows[4][2]) == 1e-20


def test_csv_text_is_what_the_csv_module_writes():
    """Letter for letter, of texts that need no apostrophe: ours joins cells for speed alone."""
    generator = np.random.default_rng(3)
    letters = list('ab,"\n\té😀 ;' + "'")
    for width in (1, 2, 5):
        cells = [
            ["x" + "".join(generator.choice(letters, generator.integers(0, 6))) for _ in range(40)]
            for _ in range(width)
        ]
        cells[0][3] = ""
        frame = pd.DataFrame({f"c,{n}": column for n, column in enumerate(cells)})
        frame["number"] = generator.normal(size=40)
        frame = frame[list(frame)[: max(width, 1)] + (["number"] if width > 1 else [])]
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(frame.columns)
        writer.writerows(zip(*(frame[name].tolist() for name in frame), strict=True))
        assert csv_text(frame) == out.getvalue()


@pytest.mark.parametrize("text", ["=1+1", "+SUM(A1)", "-cmd", "@x", "\t=1", "\r=1", "＝1", "-1+2"])
def test_no_text_runs_as_a_formula(text):
    frame = pd.DataFrame({"note": [text]})
    written = list(csv.reader(io.StringIO(csv_text(frame), newline="")))[1][0]
    assert written == "'" + text.replace("\r", "\n")
    assert cells_module.unguarded("'" + text) == text


@pytest.mark.parametrize("text", ["-1", "+1.5", "a=b", "'quoted", ""])
def test_harmless_text_is_left_alone(text):
    assert cells_module.guarded(text) == text
    assert cells_module.unguarded(text) == text


def test_clock_text():
    assert cells_module.clock_text(8 * 3600 + 5 * 60) == "08:05:00"
    assert cells_module.clock_text(59.9996) == "00:01:00"
    assert cells_module.clock_text(1.25) == "00:00:01.25"
    assert cells_module.clock_text(np.nan) == ""


@pytest.mark.slow
def test_a_million_rows(path):
    path.write_text("setup,x_mm,y_mm\n" + "".join(f"A,{n},1\n" for n in range(1_000_000)))
    cells = read_cells(path, Faults())
    assert cells.columns["x_mm"][-1] == "999999"
    assert cells.rows[-1] == 1_000_001
