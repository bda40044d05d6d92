"""Cells of the tables read into values, and every typing mistake told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orient.tables.cells import Cells, Faults
from orient.tables.columns import MARKS, SETUPS, SITES, TABLES, column_meanings, read_table

SETUP = {"setup": "1", "site": "A", "date": "2026-05-01", "gnomon_height_mm": "300"}
SITE = {"site": "A", "latitude_deg": "41.25", "longitude_deg": "-5.5"}
MARK = {"setup": "1", "time": "08:00", "x_mm": "1", "y_mm": "2"}
ROWS = {"sites": SITE, "setups": SETUP, "marks": MARK}


def read(table, decimal_comma=False, **texts):
    """One row, the table's usual one but for `texts`, and what was wrong with it."""
    row = {**ROWS[table.name], **texts}
    cells = Cells(
        f"{table.name}.csv", 1, {name: [text] for name, text in row.items()}, [2], decimal_comma
    )
    faults = Faults()
    frame = read_table(cells, table, faults)
    return frame.iloc[0], faults.listed


def good(table, decimal_comma=False, **texts):
    row, faults = read(table, decimal_comma, **texts)
    assert faults == []
    return row


def told(table, **texts):
    """What is wanted, of the one fault that these texts make."""
    _, faults = read(table, **texts)
    assert len(faults) == 1
    assert (faults[0].file, faults[0].row) == (f"{table.name}.csv", 2)
    assert faults[0].column == next(iter(texts))
    return faults[0].wanted


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_every_column_is_there_with_its_type_and_default(table):
    row = good(table)
    assert list(row.index) == [*table.names, "row"]
    assert row["row"] == 2
    kinds = {
        "number": float,
        "latitude": float,
        "longitude": float,
        "time": float,
        "yes-no": np.bool_,
        "date": np.datetime64,
    }
    cells = Cells("x.csv", 1, {name: [text] for name, text in ROWS[table.name].items()}, [2])
    frame = read_table(cells, table, Faults())
    for column in table.columns:
        wanted = kinds.get(column.kind, str)
        assert isinstance(frame[column.name].to_numpy()[0], wanted), column.name
        if column.default is not None and column.name not in ROWS[table.name]:
            assert row[column.name] == column.default


def test_defaults_that_the_work_relies_on():
    row = good(SETUPS)
    assert row["mark_sd_mm"] == 0.7
    assert row["level_sd_deg"] == 0.1
    assert row["plumb_sd_mm"] == 0.7
    assert row["height_sd_mm"] == 0.5
    assert row["watch_sd_s"] == 30.0
    assert np.isnan(row["reference_sd_deg"])  # by how the line was got
    assert row["compass_sd_deg"] == 0.5
    assert (row["watch"], row["edge"], row["turned"]) == ("trusted", "middle", False)
    assert good(MARKS)["use"]
    assert good(SITES)["temperature_c"] == 10.0


def test_a_table_without_rows_keeps_its_types():
    frame = read_table(
        Cells("marks.csv", 1, {name: [] for name in MARKS.names}, []), MARKS, Faults()
    )
    assert len(frame) == 0
    assert frame["x_mm"].dtype == float
    assert frame["use"].dtype == bool


# --- header ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slip", "meant"),
    [
        ("lenght_mm", "length_mm"),
        ("length_cm", "length_mm"),
        ("length (mm)", "length_mm"),
        ("angle", "angle_deg"),
        ("notes", "note"),
    ],
)
def test_a_misspelt_column_is_asked_about(slip, meant):
    _, faults = read(MARKS, **{slip: "1"})
    assert [(fault.row, fault.column, fault.wanted) for fault in faults] == [
        (1, slip, f"{meant}, perhaps")
    ]


def test_other_columns_are_nobodys_business():
    good(MARKS, weather="cloudy", observer_initials="x")


def test_a_missing_column_is_one_fault_unless_it_is_misspelt():
    cells = Cells("setups.csv", 1, {"setup": ["1"], "sites": ["A"], "date": ["2026-05-01"]}, [2])
    faults = Faults()
    read_table(cells, SETUPS, faults)
    assert [(fault.row, fault.column) for fault in faults.listed] == [
        (1, "sites"),
        (1, "gnomon_height_mm"),
    ]


@pytest.mark.parametrize("name", ["setup", "site", "date", "gnomon_height_mm"])
def test_a_blank_needed_cell(name):
    _, faults = read(SETUPS, **{name: ""})
    assert [(fault.column, fault.found) for fault in faults] == [(name, "nothing")]


# --- numbers -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number"),
    [("300", 300), ("300.5", 300.5), ("+300", 300), ("3e2", 300), ("300.", 300), (".3e3", 300)],
)
def test_numbers(text, number):
    assert good(SETUPS, gnomon_height_mm=text)["gnomon_height_mm"] == number


def test_printed_minus():
    assert good(SETUPS, watch_error_s="−12.5")["watch_error_s"] == -12.5


def test_decimal_comma_only_where_commas_part_nothing():
    assert good(SETUPS, decimal_comma=True, gnomon_height_mm="300,5")["gnomon_height_mm"] == 300.5
    assert "decimal point" in told(SETUPS, gnomon_height_mm="300,5")
    _, faults = read(SETUPS, decimal_comma=True, gnomon_height_mm="1.300,5")
    assert len(faults) == 1


@pytest.mark.parametrize(
    "text",
    ["abc", "nan", "NaN", "inf", "-inf", "1e400", "9" * 400, "0x10", "1_000", "300 mm", "３００",
     "1,000", "--1", "1e", ".", "-", "\x00300", "True"],
)  # fmt: skip
def test_no_numbers(text):
    wanted = told(SETUPS, gnomon_height_mm=text)
    assert wanted.startswith("a number from 20 to 5000 mm")


def test_a_number_at_fault_leaves_its_neighbours():
    cells = Cells("marks.csv", 1, {"setup": ["1"] * 4, "x_mm": ["1", "x", "3", ""]}, [2, 3, 4, 5])
    faults = Faults()
    frame = read_table(cells, MARKS, faults)
    assert [(fault.row, fault.column, fault.found) for fault in faults.listed] == [
        (3, "x_mm", "'x'")
    ]
    assert frame["x_mm"].tolist()[::2] == [1.0, 3.0]
    assert np.isnan(frame["x_mm"].tolist()[1::2]).all()


@pytest.mark.parametrize(
    ("table", "column", "text", "said"),
    [
        (SETUPS, "gnomon_height_mm", "0.30", "is it in metres? Then write 300"),
        (SETUPS, "gnomon_height_mm", "15", "is it in centimetres? Then write 150"),
        (SETUPS, "gnomon_height_mm", "0.001", "from 20 to 5000 mm"),
        (SITES, "elevation_m", "9840", "is it in feet? Then write 2999.2"),
        (SITES, "elevation_m", "-501", "from -500 to 9000 m"),
        (SITES, "pressure_hpa", "29.92", "is it in inches of mercury? Then write 1013.2"),
        (SITES, "pressure_hpa", "101.3", "is it in kilopascals? Then write 1013"),
        (SITES, "pressure_hpa", "101300", "is it in pascals? Then write 1013"),
        (SITES, "temperature_c", "77", "is it in degrees Fahrenheit? Then write 25"),
        (SITES, "temperature_c", "288.15", "is it in kelvins? Then write 15"),
        (SITES, "xi_arcsec", "500", "from -200 to 200″"),
        (SETUPS, "level_sd_deg", "0", "from 0.002 to 20°"),
        (SETUPS, "mark_sd_mm", "0.0007", "is it in metres? Then write 0.7"),
        (SETUPS, "plumb_sd_mm", "5e-4", "is it in metres? Then write 0.5"),
        (SETUPS, "height_sd_mm", "0.0005", "is it in metres? Then write 0.5"),
        (SETUPS, "level_sd_deg", "0.00175", "is it in radians? Then write 0.10027"),
        (SETUPS, "level_sd_deg", "30", "is it in minutes? Then write 0.5"),
        (SETUPS, "watch_sd_s", "0.00035", "is it in days? Then write 30.24"),
        (SETUPS, "mark_sd_mm", "-1", "from 0.01 to 100 mm"),
        (SETUPS, "watch_error_s", "86401", "from -86400 to 86400 s"),
        (SETUPS, "reference_angle_deg", "361", "from -360 to 360°"),
        (MARKS, "length_mm", "-5", "from 0 to 20000 mm"),
    ],
)
def test_numbers_out_of_range_and_the_unit_they_may_be_in(table, column, text, said):
    assert said in told(table, **{column: text})


# --- coordinates -------------------------------------------------------------------------------


def test_coordinates_of_every_writing():
    assert good(SITES, latitude_deg="41°15′N")["latitude_deg"] == 41.25
    assert good(SITES, latitude_deg="41,25")["latitude_deg"] == 41.25
    assert good(SITES, longitude_deg="W 005 30")["longitude_deg"] == -5.5
    assert good(SITES, longitude_deg="190")["longitude_deg"] == -170.0


@pytest.mark.parametrize("text", ["91", "1e1x", "nan", "inf", "1e400", "41 75", "text", "12 E"])
def test_no_latitudes(text):
    assert "latitude" in told(SITES, latitude_deg=text) or "minutes below 60" in told(
        SITES, latitude_deg=text
    )


# --- dates and times ---------------------------------------------------------------------------


def test_dates():
    assert good(SETUPS, date="2026/05/03")["date"] == np.datetime64("2026-05-03")
    assert good(SETUPS, date="2026/5/3")["date"] == np.datetime64("2026-05-03")
    assert good(SETUPS, date="2026-02-28")["date"] == np.datetime64("2026-02-28")
    assert good(SETUPS, date="2050-12-29")["date"] == np.datetime64("2050-12-29")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("03/04/2026", "YYYY-MM-DD: 2026-04-03 or 2026-03-04"),
        ("03-04-2026", "YYYY-MM-DD: 2026-04-03 or 2026-03-04"),
        ("23.4.2026", "YYYY-MM-DD: 2026-04-23"),
        ("4/4/2026", "YYYY-MM-DD: 2026-04-04"),
        ("2026-13-01", "that the calendar has"),
        ("2026-02-30", "that the calendar has"),
        ("2026-2-3", "YYYY-MM-DD: 2026-02-03"),
        ("1 May 2026", "that the calendar has"),
        ("46143", "that the calendar has"),
        ("2026-05-01 08:00:00", "that the calendar has"),
        ("２０２６-05-01", "that the calendar has"),
        ("0000-01-01", "that the calendar has"),
        ("1899-12-31", "1900-01-03 to 2050-12-29"),
        ("2051-01-01", "1900-01-03 to 2050-12-29"),
        ("9999-12-31", "1900-01-03 to 2050-12-29"),
    ],
)
def test_no_dates(text, said):
    assert told(SETUPS, date=text).endswith(said) or said in told(SETUPS, date=text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("08:05", 29100),
        ("8:05", 29100),
        ("08:05:30", 29130),
        ("08:05:30.25", 29130.25),
        ("08:05:30,25", 29130.25),
        ("00:00", 0),
        ("23:59:59", 86399),
    ],
)
def test_times(text, seconds):
    assert good(MARKS, time=text)["time"] == seconds


def test_a_blank_time_is_no_fault():
    assert np.isnan(good(MARKS, time="")["time"])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1:30 pm", "24-hour clock, HH:MM or HH:MM:SS: 13:30"),
        ("1:30PM", "13:30"),
        ("12:05 a.m.", "00:05"),
        ("12 p.m.", "12:00"),
        ("1:30:15 pm", "13:30:15"),
        ("13.30", "13:30"),
        ("13h30", "13:30"),
        ("1330", "13:30"),
        ("0.5625", "13:30:00"),
        ("25:61", "00:00 to 23:59:59"),
        ("24:00", "00:00 to 23:59:59"),
        ("12:60", "00:00 to 23:59:59"),
        ("12:00:60", "00:00 to 23:59:59"),
        ("13:30 pm", "00:00 to 23:59:59"),
        ("noon", "00:00 to 23:59:59"),
        ("-8:00", "00:00 to 23:59:59"),
        ("08:05:00Z", "00:00 to 23:59:59"),
    ],
)
def test_no_times(text, said):
    assert told(MARKS, time=text).endswith(said)


# --- words -------------------------------------------------------------------------------------


def test_words_in_any_capitals():
    assert not good(MARKS, use="No")["use"]
    assert good(MARKS, use="Y")["use"]
    assert good(MARKS, half="AM")["half"] == "am"
    assert good(SETUPS, watch="Running")["watch"] == "running"
    assert good(SITES, timezone="asia/kathmandu")["timezone"] == "Asia/Kathmandu"


@pytest.mark.parametrize(
    ("table", "column", "text", "said"),
    [
        (MARKS, "use", "perhaps", "yes or no"),
        (MARKS, "half", "morning", "am or pm"),
        (SETUPS, "watch", "good", "trusted or running or none"),
        (SETUPS, "edge", "soft", "middle or dark"),
        (SITES, "timezone", "Asia/Katmandoo", "Asia/Kat"),
        (SITES, "timezone", "UTC+5:45", "such as Asia/Kathmandu"),
        (SITES, "grid", "EPSG:4326", "no grid north"),
        (SITES, "grid", "EPSG:999999", "a projected grid"),
        (SITES, "grid", "32645", "EPSG:32645"),
        (SITES, "grid", "a\nb", "a grid such as"),
        (SITES, "horizon_deg", "90:5 120", "azimuth:altitude"),
        (SITES, "horizon_deg", "nan", "one altitude"),
        (SITES, "horizon_deg", "0:1:2", "one altitude"),
        (SITES, "horizon_deg", "400:5", "azimuths from"),
        (SITES, "horizon_deg", "0:5 360:6", "each azimuth once"),
        (SITES, "horizon_deg", "95", "altitudes from"),
        (SITES, "site", "a\x00b", "U+0000"),
        (SITES, "site", "a\u202eb", "U+202E"),
        (SITES, "site", "x" * 251, "at most 250 letters"),
        (MARKS, "note", "\x1b[2J", "U+001B"),
    ],
)
def test_words_at_fault(table, column, text, said):
    assert said in told(table, **{column: text})


def test_skylines():
    assert good(SITES, horizon_deg="12")["horizon_deg"] == "12"
    assert good(SITES, horizon_deg="60:4;  90°:12 130:5")["horizon_deg"] == "60:4 90:12 130:5"


@pytest.mark.parametrize(
    "name", ['Hof "Ö" <b>&amp;</b>', "موقع الشمال", "x" * 200, "測点 4", "O'Mega", "'=tick"]
)
def test_names_of_every_script_are_kept(name):
    assert good(SITES, site=name)["site"] == name.replace("'=", "=")


def test_letters_are_composed_and_blanks_made_one():
    assert good(SITES, site="Cafe\u0301\u00a0 hill")["site"] == "Café hill"
    assert good(MARKS, note="two\r\nlines\tand more")["note"] == "two lines and more"


# --- what the tables say of themselves ---------------------------------------------------------


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_every_column_is_described(table):
    rows = column_meanings(table)
    assert [name for name, *_ in rows] == list(table.names)
    for name, unit, needed, meaning in rows:
        assert meaning
        assert needed in ("yes", "no")
        for ending, sign in {"_mm": "mm", "_m": "m", "_s": "s", "_deg": "°", "_hpa": "hPa"}.items():
            if name.endswith(ending):
                assert unit == sign
    assert (
        "elevation_m",
        "m",
        "no",
        "height above the ellipsoid; 0 when blank",
    ) in column_meanings(SITES)


# --- anything at all ---------------------------------------------------------------------------

AWKWARD = [
    *("nan", "inf", "1e400", "-1e-400", "9" * 50, "=1+1", "'", "1,5", "1.5", "−7", "91", "181"),
    *("25:61", "1:30 pm", "03/04/2026", "no", "am", "0:1:2", "90:5 120:6", ":", "٣٠٠", "{}"),
    *("Etc/GMT+5", "EPSG:32633", "EPSG:4326", "+proj=utm", "urn:ogc:def:crs:EPSG::27700"),
    *("\0", "\u202e", "41 15 S"),
]
anything = st.text(max_size=30) | st.sampled_from(AWKWARD)


@given(st.data())
def test_any_text_in_any_cell_is_a_value_or_a_fault(data):
    table = data.draw(st.sampled_from(list(TABLES.values())))
    column = data.draw(st.sampled_from(table.columns))
    texts = data.draw(st.lists(anything.map(str.strip), min_size=1, max_size=4))
    rows = list(range(2, len(texts) + 2))
    cells = Cells("t.csv", 1, {column.name: texts}, rows, data.draw(st.booleans()))
    faults = Faults()
    frame = read_table(cells, table, faults)
    told = [fault for fault in faults.listed if fault.column == column.name]
    at_fault = {fault.row for fault in told}
    if any("decimal comma" in fault.found for fault in told):
        # Told of once for the file, with their number.
        at_fault |= {row for row, text in zip(rows, texts, strict=True) if "," in text}
    for row, text, value in zip(rows, texts, frame[column.name], strict=True):
        if column.kind in ("number", "latitude", "longitude", "time") and text:
            assert row in at_fault or np.isfinite(value)
        if column.kind == "number" and text and row not in at_fault:
            assert column.low <= value <= column.high
