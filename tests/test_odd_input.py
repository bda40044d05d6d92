"""Input that people really bring: told once and plainly, or read as it was meant."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import unicodedata

import numpy as np
import pytest
from hostile import complaints, csv_bytes, good_tables, run, write_campaign

from orient.observation import reduction
from orient.tables.campaign import read_campaign


def campaign_with(folder, **changed: bytes | None):
    """A good campaign with some of its files other than they were; None leaves one out."""
    files = {f"{name}.csv": csv_bytes(rows) for name, rows in good_tables().items()}
    files |= {name.replace("_", "."): data for name, data in changed.items() if data is not None}
    write_campaign(folder, files)
    return str(folder)


def refused(arguments, *said: str) -> str:
    ending = run(arguments)
    assert complaints(ending) == []
    assert ending.status in (1, 2), ending.out
    for words in said:
        assert words in ending.err
    return ending.err


def column(table: str, name: str, values: list[str]) -> bytes:
    """A table with one column as given, added where it is not there."""
    rows = [list(row) for row in good_tables()[table]]
    if name not in rows[0]:
        rows[0].append(name)
        for row in rows[1:]:
            row.append("")
    place = rows[0].index(name)
    for row, value in zip(rows[1:], values, strict=False):
        row[place] = value
    return csv_bytes(rows)


# Dates -----------------------------------------------------------------------------------


def late(folder):
    return campaign_with(folder, setups_csv=column("setups", "date", ["2041-04-12", "2048-08-13"]))


def test_true_north_needs_no_magnetic_model(tmp_path):
    folder = late(tmp_path / "camp")
    ending = run(["reduce", folder, "--format", "json"])
    assert ending.status == 0, ending.err
    for row in ending.rows:
        assert row["board_azimuth_deg"] is not None
        assert "model-expired" in row["flags"]
        for key in ("declination_deg", "declination_u_deg", "reference_magnetic_bearing_deg"):
            assert row[key] is None, key
    sites = run(["sites", folder, "--date", "2041-04-12", "--format", "json"])
    assert [row["declination_deg"] for row in sites.rows] == [None, None]


def test_every_product_bears_a_date_beyond_the_magnetic_models(tmp_path):
    folder, out = late(tmp_path / "camp"), tmp_path / "out"
    assert run(["report", folder, "-o", str(out)], seconds=60).status == 0
    assert "Left out: set-up R1" in run(["compass", folder]).out
    assert run(["sites", folder, "--date", "2041-04-12"]).status == 0
    assert run(["plan", folder, "--from", "2041-04-12"]).status == 0
    assert json.loads((out / "results.json").read_text("utf-8"))[0]["declination_deg"] is None


def test_a_day_that_a_site_never_had(tmp_path):
    sites = b"site,latitude_deg,longitude_deg,timezone\nRidge,-13.83,-171.76,%s\nMoor,46.5,8,\n"
    for zone in (b"Pacific/Apia", b""):
        folder = campaign_with(
            tmp_path / f"camp{len(zone)}",
            sites_csv=sites % zone,
            setups_csv=column("setups", "date", ["2011-12-30", "2011-12-30"]),
        )
        said = refused(["reduce", folder], "setups.csv, row 2, column date: found '2011-12-30'")
        assert said.startswith("One fault")
    assert run(["plan", folder, "--from", "2011-12-29", "--to", "2011-12-31"]).status == 0


APIA = """site,latitude_deg,longitude_deg,timezone
Apia,-13.83,-171.77,Pacific/Apia
Pago,-14.28,-170.70,Pacific/Pago_Pago
Majuro,7.1,171.2,Pacific/Majuro
Ebeye,8.78,167.74,Pacific/Kwajalein
"""


def planned_days(folder, *arguments: str) -> tuple[list[str], str]:
    ending = run(["plan", str(folder), *arguments, "--format", "csv"])
    assert ending.status == 0, ending.err
    return [line.split(",")[1] for line in ending.out.splitlines()[1:]], ending.err


def test_a_plan_leaves_out_the_day_that_never_was(tmp_path):
    """The days of the change: IANA time zone database, files australasia and backward."""
    write_campaign(tmp_path, {"sites.csv": APIA.encode()})
    span = ["--from", "2011-12-29", "--to", "2011-12-31"]
    days, said = planned_days(tmp_path, *span, "--site", "Apia")
    assert days == ["2011-12-29", "2011-12-31"]
    assert said.startswith("Apia had no 2011-12-30")
    days, said = planned_days(tmp_path, *span, "--site", "Apia", "--site", "Pago")
    assert days == ["2011-12-29", "2011-12-31"] * 2
    assert "--site plans the others alone" in said
    days, said = planned_days(tmp_path, *span, "--site", "Pago", "--site", "Majuro")
    assert (len(days), said) == (6, "")
    span = ["--from", "1993-08-20", "--to", "1993-08-22", "--site", "Ebeye"]
    assert planned_days(tmp_path, *span)[0] == ["1993-08-20", "1993-08-22"]


def test_a_day_that_never_was_alone_is_refused_by_every_command(tmp_path):
    write_campaign(tmp_path, {"sites.csv": APIA.encode()})
    (tmp_path / "roster.csv").write_text("student\nAda\n")
    camp, site, day = str(tmp_path), ["--site", "Apia"], "2011-12-30"
    out = str(tmp_path / "out.pdf")
    for command in (
        ["plan", camp, *site, "--from", day],
        ["plan", camp, *site, "--from", day, "--page", str(tmp_path / "out.html")],
        ["bring", camp, *site, "--from", day],
        ["crew", camp, *site, "--from", day, "--start", "Apia"],
        ["night", camp, *site, "--from", day],
        ["field", camp, *site, "--from", day, "-o", str(tmp_path / "out.html")],
        ["sheet", camp, *site, "--date", day, "-o", out],
        ["simulate", camp, *site, "--date", day, "-o", str(tmp_path / "out")],
        ["class", camp, str(tmp_path / "roster.csv"), *site, "--date", day, "-o", out],
        ["sites", camp, "--date", day],
    ):
        refused(command, "Apia had no 2011-12-30: the clocks there went over the date line")
    assert {path.name for path in tmp_path.iterdir()} == {"sites.csv", "roster.csv"}


# Places ----------------------------------------------------------------------------------


def geojson(**told) -> bytes:
    features = [
        {
            "type": "Feature",
            "properties": {"site": site} | (told if site == "Ridge" else {}),
            "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        }
        for site, latitude, longitude in (("Ridge", 46.5, 8.25), ("Moor", -33.2, -70.1))
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def test_columns_that_contradict_a_point_are_told(tmp_path):
    write_campaign(tmp_path, {"sites.geojson": geojson(latitude_deg=46.5, longitude_deg=8.25)})
    arguments = ["sites", str(tmp_path), "--date", "2026-04-12"]
    assert run(arguments).status == 0
    for told, said in [
        ({"latitude_deg": 8.25, "longitude_deg": 46.5}, "column latitude_deg: found '8.25'"),
        ({"longitude_deg": -8.25}, "column longitude_deg: found '-8.25'"),
        ({"easting_m": 5e5, "northing_m": 5e6, "crs": "EPSG:32632"}, "column easting_m"),
    ]:
        write_campaign(tmp_path, {"sites.geojson": geojson(**told)})
        refused(arguments, "sites.geojson", said)
    told = {"easting_m": 442436, "northing_m": 5149900, "crs": "EPSG:32632"}
    write_campaign(tmp_path, {"sites.geojson": geojson(**told)})
    assert run(arguments).status == 0


def test_what_looks_like_a_date_in_a_layer_stays_as_it_is(tmp_path):
    """As the id of a site, say, which other tables name so."""
    data = geojson(site="05/06/26", horizon_deg="10:05 20:06")
    write_campaign(tmp_path, {"sites.geojson": data})
    read = read_campaign(tmp_path, ("sites",)).sites
    assert read["horizon"].to_dict() == {"05/06/26": "10:05 20:06", "Moor": ""}


def test_two_columns_of_one_name_in_a_layer_are_told(tmp_path):
    """They differ by capitals alone: one of them would be passed over."""
    write_campaign(tmp_path, {"sites.geojson": geojson(elevation_m=1500, Elevation_m=1200)})
    refused(["sites", str(tmp_path)], "column elevation_m: found 2 columns of this name")
    notes = json.loads(geojson(Strike=350, strike=10, date="2026-06-01"))
    (tmp_path / "notes.geojson").write_text(json.dumps(notes))
    out = str(tmp_path / "out.csv")
    refused(["correct", str(tmp_path / "notes.geojson"), "-o", out], "2 columns of this name")


def test_a_height_stands_in_a_point_where_its_column_is_blank(tmp_path):
    layer = json.loads(geojson(elevation_m=1500))
    layer["features"][1]["geometry"]["coordinates"].append(2200.0)
    write_campaign(tmp_path, {"sites.geojson": json.dumps(layer).encode()})
    assert read_campaign(tmp_path, ("sites",)).sites["elevation_m"].tolist() == [1500.0, 2200.0]


def test_both_coordinates_in_one_cell(tmp_path):
    sites = b'site,latitude_deg,longitude_deg\nRidge,"46.5, 8.25",\nMoor,-33.2,-70.1\n'
    folder = campaign_with(tmp_path, sites_csv=sites)
    refused(["sites", folder], "latitude_deg 46.5 and longitude_deg 8.25")


def test_a_name_typed_with_its_accent_apart(tmp_path):
    sites = "site,latitude_deg,longitude_deg\nVallée,46.5,8.25\n".encode()
    write_campaign(tmp_path, {"sites.csv": sites})
    apart = unicodedata.normalize("NFD", "Vallée")
    ending = run(["plan", str(tmp_path), "--from", "2026-04-12", "--site", apart])
    assert ending.status == 0, ending.err
    sheet = ["sheet", str(tmp_path), "--site", apart, "--date", "2026-04-12"]
    sheet += ["--paper", "A3", "--rod", "150"]
    assert run([*sheet, "-o", str(tmp_path / "s.pdf")]).status == 0


#: A locale without a language, as a bare container or a cron job has.
BARE = {"PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "LC_ALL": "C"}


@pytest.mark.skipif(os.name == "nt", reason="names are no bytes there")
def test_names_in_a_locale_without_a_language(tmp_path):
    """Names come as bytes there: they are UTF-8, in either form of an accent, and stay so."""
    rows = good_tables()
    tables = {
        f"{name}.csv": csv_bytes(
            [[cell.replace("Ridge", "Ålesund") for cell in row] for row in table]
        )
        for name, table in rows.items()
    }
    folder = tmp_path / "Ørsta"
    write_campaign(folder, tables)

    def ran(*arguments: str, typed: str = "") -> bytes:
        command = [sys.executable, "-m", "orient", *map(os.fsencode, arguments)]
        done = subprocess.run(
            command, cwd=tmp_path, env=os.environ | BARE, input=typed.encode(), capture_output=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    for form in ("NFC", "NFD"):
        name = unicodedata.normalize(form, "Ålesund")
        out = ran("plan", "Ørsta", "--from", "2026-04-12", "--site", name, "--format", "csv")
        assert out.decode("utf-8").splitlines()[1].startswith("Ålesund,2026-04-12")
    ran("mark", "Ørsta", "R1", typed="17:20 120 80 note=Fels, Süd ✓\n")
    assert "Fels, Süd ✓" in (folder / "marks.csv").read_text("utf-8")
    ran("report", "Ørsta")
    stated = json.loads((tmp_path / "reports" / "Ørsta" / "contents.json").read_text("utf-8"))
    assert stated["of"] == "../../Ørsta"
    assert "Ørsta" in (tmp_path / "reports" / "Ørsta" / "index.html").read_text("utf-8")


# Files -----------------------------------------------------------------------------------


def test_two_files_of_one_table(tmp_path):
    folder = campaign_with(tmp_path)
    (tmp_path / "MARKS.CSV").write_bytes((tmp_path / "marks.csv").read_bytes())
    refused(["reduce", folder], "MARKS.CSV and marks.csv; wanted one of them")


def test_sites_that_cannot_be_read_are_one_fault(tmp_path):
    """Rows that were told of are not missing too."""
    folder = campaign_with(tmp_path)
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\nA,47,0,12,0,UTC\nB,48,0,13,0,UTC\n",
        encoding="utf-8",
    )
    said = refused(["sites", folder], "2 rows cut at decimal commas", "saved with semicolons")
    assert said.startswith("One fault")


def test_decimal_commas_between_commas_are_one_fault(tmp_path):
    rows = good_tables()["marks"]
    text = "\n".join(",".join(cell.replace(".", ",") for cell in row) for row in rows)
    folder = campaign_with(tmp_path, marks_csv=text.encode())
    said = refused(["reduce", folder], "20 rows cut at decimal commas", "saved with semicolons")
    assert said.startswith("One fault")
    rows = [[cell.replace(".", ",") for cell in row] for row in rows]
    folder = campaign_with(tmp_path, marks_csv=csv_bytes(rows))
    said = refused(["reduce", folder], "decimal commas, as in", "saved with semicolons")
    assert said.startswith("One fault")
    folder = campaign_with(tmp_path, marks_csv=csv_bytes(rows, ";"))
    assert run(["reduce", folder]).status == 0


@pytest.mark.parametrize("delimiter", [";", "\t"])
@pytest.mark.parametrize(
    ("x", "y", "asked"),
    [
        ("1,024", "-332.5", "found '1,024'; wanted 1024 or 1.024"),
        ("1.024", "332,5", "found '1.024'; wanted 1024 or 1.024"),
        ("−1,024", "332.125", "found '332.125'; wanted 332125 or 332.125"),
    ],
)
def test_a_sign_before_three_digits_is_asked_about_beside_the_other(
    tmp_path, delimiter, x, y, asked
):
    """Thousands of one language are decimals of another: a metre would be read as a millimetre."""
    cells = [["setup", "time", "x_mm", "y_mm"], ["R1", "10:20", x, y], ["R1", "10:40", "5", "7"]]
    data = "\n".join(map(delimiter.join, cells)).encode()
    refused(["reduce", campaign_with(tmp_path, marks_csv=data)], asked)


def test_three_decimals_are_read_where_all_numbers_have_one_sign(tmp_path):
    for x, y in (("1,024", "332,5"), ("1.024", "332.5"), ("0,024", "332.5"), ("1,024", "332")):
        data = f"setup;time;x_mm;y_mm;note\nR1;10:20;{x};{y};1.5\n".encode()
        folder = campaign_with(tmp_path, marks_csv=data)
        assert read_campaign(folder).marks["x_mm"].tolist() == [float(x.replace(",", "."))]


@pytest.mark.parametrize("other", ["Ridge", "Böhme"])
def test_two_blanks_within_a_name_count_as_one(tmp_path, other):
    """Whatever letters the other rows have, and however a table or a person writes it."""
    site = f"site,latitude_deg,longitude_deg\nNorth  Camp,47,12\n{other},47.1,12\n".encode()
    setup = b"setup,site,date,gnomon_height_mm\nN  1,North Camp,2026-05-05,300\n"
    marks = "setup,time,x_mm,y_mm,note\nN 1,10:00,-300,200,é\n".encode()
    folder = campaign_with(tmp_path, sites_csv=site, setups_csv=setup, marks_csv=marks)
    assert run(["mark", folder, "N  1"], typed="10:20 -250 220\n").status == 0
    readings = tmp_path / "read.csv"
    readings.write_text("site,azimuth_deg,altitude_deg\nNorth Camp,90,5\nNorth Camp,270,3\n")
    saved = run(["skyline", folder, "--site", "North  Camp", "--measured", str(readings), "--save"])
    assert saved.status == 0, saved.err
    read = read_campaign(folder)
    assert len(read.marks) == 2
    assert read.sites["horizon"].tolist() == ["90:5 270:3", ""]
    assert (tmp_path / "sites.csv").read_bytes().count(b"North  Camp") == 1


def test_a_place_pasted_into_one_cell_is_one_fault(tmp_path):
    head = "site,latitude_deg,longitude_deg\n"
    folder = campaign_with(tmp_path, sites_csv=(head + 'A,"44.0, 105.0",\n').encode())
    wanted = "each in its own column: latitude_deg 44.0 and longitude_deg 105.0"
    assert refused(["sites", folder], wanted).startswith("One fault")


def test_one_row_of_decimal_commas_between_commas(tmp_path):
    """Two decimals in one row are told as such; of one, both readings."""
    head = "site,latitude_deg,longitude_deg\n"
    folder = campaign_with(tmp_path, sites_csv=(head + "A,47,5,12,25\n").encode())
    said = refused(["sites", folder], "1 row cut at decimal commas", "saved with semicolons")
    assert said.startswith("One fault")
    folder = campaign_with(tmp_path, sites_csv=(head + "A,47,12,25\n").encode())
    refused(["sites", folder], "4 cells; wanted 3", "decimal commas need semicolons")
    folder = campaign_with(tmp_path, sites_csv=(head + "A,47.5,12.25,moor, wet\n").encode())
    assert "decimal" not in refused(["sites", folder], "5 cells; wanted 3", "needs quotes")


def test_a_line_that_names_the_separator(tmp_path):
    rows = good_tables()["marks"]
    folder = campaign_with(tmp_path, marks_csv=b"sep=;\n" + csv_bytes(rows, ";"))
    assert run(["reduce", folder]).status == 0
    rows[1][3] = "x"
    folder = campaign_with(tmp_path, marks_csv=b"sep=;\r\n" + csv_bytes(rows, ";"))
    refused(["reduce", folder], "marks.csv, row 3, column x_mm")


# One bad set-up --------------------------------------------------------------------------


def test_a_board_whose_figures_no_method_bears_stops_no_other(tmp_path, monkeypatch):
    real = reduction._completed

    def failing(board, *more):
        if board.watch == "running":
            raise np.linalg.LinAlgError("Singular matrix")
        return real(board, *more)

    monkeypatch.setattr(reduction, "_completed", failing)
    folder = campaign_with(tmp_path / "camp")
    rows = run(["reduce", folder, "--format", "json"]).rows
    assert [row["board_azimuth_deg"] is None for row in rows] == [False, True]
    assert "could not be reduced" in run(["reduce", folder, "--verbose"]).out
    assert run(["report", folder, "-o", str(tmp_path / "out")], seconds=60).status == 0
    assert "could not be reduced" in (tmp_path / "out" / "index.html").read_text("utf-8")


# What a board most likely suffers -----------------------------------------------------------


def with_marks(folder, change):
    """The good campaign, the x and y of R1's marks put through a function of the mark's number."""
    rows = good_tables()["marks"]
    x, y = rows[0].index("x_mm"), rows[0].index("y_mm")
    for row in rows[1:]:
        if row[0] == "R1":
            row[x], row[y] = map(str, change(int(row[1]), float(row[x]), float(row[y])))
    return campaign_with(folder, marks_csv=csv_bytes(rows))


def plainly(folder) -> str:
    ending = run(["reduce", folder])
    assert ending.status == 0, ending.err
    return " ".join(ending.out.split())


def test_a_mark_left_out_is_named_with_how_far_it_lies_off(tmp_path):
    folder = with_marks(tmp_path, lambda n, x, y: (x + 40.0 * (n == 6), y))
    said = plainly(folder)
    found = re.search(r"R1: Left out, .* mark 6 \(13:30\), (\S+) mm from there\.", said)
    assert found, said
    assert abs(float(found[1]) - 40.0) < 3.0


def test_marks_that_no_mistake_explains_are_told_as_that(tmp_path):
    generator = np.random.default_rng(5)
    folder = with_marks(tmp_path, lambda n, x, y: generator.uniform(-300.0, 300.0, 2).round(1))
    said = plainly(folder)
    assert "R1: The marks contradict what was stated of the board, and no single mistake" in said
    assert "no direction is given" in said
    assert "M1:" not in said


def test_a_line_that_one_of_its_boards_has_elsewhere_is_told_with_how_far(tmp_path):
    """A copy of a board under another rod and level, its reference read 3° off."""
    tables = good_tables()
    setups, marks = tables["setups"], tables["marks"]
    names = setups[0]
    first = setups[1]
    for name, angle in (("R2", 40.0), ("R3", 43.0)):
        row = [name, *first[1:]]
        row[names.index("reference_angle_deg")] = str(angle)
        setups.append(row)
        generator = np.random.default_rng(int(angle))
        for mark in [row for row in marks if row[0] == "R1"]:
            moved = [float(mark[3]) + generator.normal(0, 0.5), float(mark[4])]
            marks.append([name, *mark[1:3], *(f"{each:.1f}" for each in moved), *mark[5:]])
    folder = campaign_with(tmp_path, setups_csv=csv_bytes(setups), marks_csv=csv_bytes(marks))
    assert re.search(r"R3 has the line to cairn (2\.\d|3\.\d)\d° ± .* set apart", plainly(folder))
