"""`orient correct`: a notebook's bearings, row by row against libraries of other people."""

import contextlib
import csv
import io
import json
import sqlite3

import geopandas
import numpy as np
import openpyxl
import pandas as pd
import ppigrf
import pytest
from click.testing import CliRunner
from pygeomag import GeoMag
from pyproj import Proj

import orient
from orient import cli
from orient.commands.correct import correct
from orient.errors import InputError

ROWS = 2000


def corrected(folder, text, *options, out="out.csv"):
    """The rows that the command writes for a notebook of that text, and what it said."""
    source = folder / "notebook.csv"
    source.write_text(text, encoding="utf-8")
    ran = CliRunner().invoke(correct, [str(source), "-o", str(folder / out), "--force", *options])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    if not out.endswith(".csv"):
        return folder / out, ran.stderr
    written = (folder / out).read_text("utf-8")
    return list(csv.DictReader(io.StringIO(written))), ran.stderr


def faults(folder, text, *options):
    source = folder / "notebook.csv"
    source.write_text(text, encoding="utf-8")
    arguments = ["correct", str(source), "-o", str(folder / "never.csv"), *options]
    with pytest.raises(InputError) as stop:
        cli.orient(arguments, standalone_mode=False)
    assert not (folder / "never.csv").exists()
    return stop.value.faults


def turn(angle):
    return (np.asarray(angle) + 180.0) % 360.0 - 180.0


@pytest.fixture(scope="module")
def notebook():
    """Two thousand strikes of anywhere, 1987 to 2029; strikes near north among them."""
    random = np.random.default_rng(8)
    # Twenty-four days before 2025, any since.
    old = np.datetime64("1987-01-01") + random.integers(0, 13800, 24)
    new = np.datetime64("2025-01-01") + random.integers(0, 1825, ROWS)
    days = np.where(random.random(ROWS) < 0.6, random.choice(old, ROWS), new)
    return pd.DataFrame(
        {
            "Outcrop": [f"o{i}" for i in range(ROWS)],
            "Lat": np.round(random.uniform(-75, 79, ROWS), 5),
            "Lon": np.round(random.uniform(-180, 180, ROWS), 5),
            "Date": days,
            "Strike": np.where(random.random(ROWS) < 0.2, 359, random.integers(0, 360, ROWS)),
            "Dip": random.integers(0, 90, ROWS),
            "Trend": np.round(random.uniform(0, 359.9, ROWS), 1),
            "Note": "grey, banded",
        }
    )


def reference_declination(notebook):
    """pygeomag's WMM2025 from 2025 on, ppigrf's IGRF-14 before."""
    wmm, found = GeoMag(), np.empty(len(notebook))
    years = notebook.Date.dt.year + (notebook.Date.dt.day_of_year - 1) / np.where(
        notebook.Date.dt.is_leap_year, 366, 365
    )
    for year in years.unique():
        mine = (years == year).to_numpy()
        part = notebook[mine]
        if year >= 2025:
            found[mine] = [
                wmm.calculate(lat, lon, 0.0, year).d
                for lat, lon in zip(part.Lat, part.Lon, strict=True)
            ]
        else:
            east, north, _ = ppigrf.igrf(part.Lon, part.Lat, 0.0, igrf_moment(year))
            found[mine] = np.degrees(np.arctan2(east, north)).ravel()
    return found


def igrf_moment(year):
    """A decimal year as ppigrf has it, which counts days between epochs where IGRF counts years."""
    epoch = int(year // 5) * 5
    first, last = pd.Timestamp(epoch, 1, 1), pd.Timestamp(epoch + 5, 1, 1)
    return (first + (year - epoch) / 5 * (last - first)).to_pydatetime()


def reference_convergence(notebook, zones):
    found = np.empty(len(notebook))
    for zone in np.unique(zones):
        mine = zones == zone
        factors = Proj(str(zone)).get_factors(notebook.Lon[mine], notebook.Lat[mine])
        found[mine] = factors.meridian_convergence
    return found


def test_two_thousand_rows_against_reference_libraries(tmp_path, notebook):
    text = notebook.to_csv(index=False)
    rows, said = corrected(tmp_path, text)
    assert list(rows[0])[: len(notebook.columns)] == list(notebook.columns)
    assert [row["Note"] for row in rows] == ["grey, banded"] * ROWS
    declination = reference_declination(notebook)
    for name in ("Strike", "Trend"):
        found = np.array([float(row[f"{name}_true_deg"]) for row in rows])
        assert ((found >= 0) & (found < 360)).all()
        wanted = notebook[name].to_numpy(float) + declination
        # Written to 0.0001°.
        assert np.abs(turn(found - wanted)).max() < 0.0002
    assert "Never checked: a compass without a name" in said

    on_grid, _ = corrected(tmp_path, text, "--to", "grid")
    zones = np.array([row["applied_grid"] for row in on_grid])
    convergence = reference_convergence(notebook, zones)
    found = np.array([float(row["Trend_grid_deg"]) for row in on_grid])
    wanted = notebook["Trend"].to_numpy(float) + declination - convergence
    assert np.abs(turn(found - wanted)).max() < 0.0002


def test_undone_to_the_printed_digit(tmp_path, notebook):
    rows, _ = corrected(tmp_path, notebook.to_csv(index=False), "--to", "grid")
    for row in rows:
        for name in ("Strike", "Trend"):
            back = (float(row[f"{name}_grid_deg"]) - float(row[f"{name}_applied_deg"])) % 360.0
            assert round(back, 6) % 360.0 == float(row[name])
            # No digits that only the machine's arithmetic makes.
            assert len(row[f"{name}_grid_deg"].partition(".")[2]) <= 6


def test_the_parts_add_up(tmp_path):
    text = "lat,lon,date,dial_deg,azimuth\n44.0,103.1,2026-06-01,5.5,359.0\n"
    (row,), _ = corrected(tmp_path, text, "--to", "grid", "--grid", "EPSG:32648")
    parts = [float(row[f"applied_{part}_deg"]) for part in
             ("declination", "anomaly", "compass", "dial", "convergence")]  # fmt: skip
    assert float(row["azimuth_applied_deg"]) == pytest.approx(sum(parts), abs=2e-4)
    assert float(row["applied_dial_deg"]) == -5.5
    declination = GeoMag().calculate(44.0, 103.1, 0.0, 2026 + 151 / 365).d
    convergence = Proj("EPSG:32648").get_factors(103.1, 44.0).meridian_convergence
    assert float(row["azimuth_grid_deg"]) == pytest.approx(
        (359.0 + declination - 5.5 - convergence) % 360.0, abs=1e-3
    )
    u = np.sqrt(1.0 + 2.0**2 + 0.26**2 + (5417 / 24400) ** 2)
    assert float(row["azimuth_u_deg"]) == pytest.approx(u, abs=0.002)


@pytest.mark.parametrize(
    ("strikes", "options", "result"),
    [
        # A rule tells the end: 2° less 4.2° is 357.8°.
        ([2, 200, 350], [], [-2.2, 195.8, 345.8]),
        # Written from 0 to 180, thirty of them: the northern end stays.
        ([2, *range(5, 179, 6)], [], [177.8, 0.8]),
        ([2, 90, 170], ["--strike", "half"], [177.8, 85.8]),
        ([2, 90, 170], ["--strike", "full"], [-2.2, 85.8]),
        # Few, and none passes the end: nothing to ask.
        ([20, 90, 170], [], [15.8, 85.8]),
    ],
)
def test_strikes_near_north(tmp_path, strikes, options, result):
    text = "strike\n" + "".join(f"{strike}\n" for strike in strikes)
    place = ["--place", "44.0, 105.0", "--date", "2026-06-01"]
    rows, said = corrected(tmp_path, text, *place, *options)
    for row, wanted in zip(rows, result, strict=False):
        assert turn(float(row["strike_true_deg"]) - wanted) == pytest.approx(0.0, abs=0.05)
        undone = float(row["strike_true_deg"]) - float(row["strike_applied_deg"])
        assert round(undone, 6) % 360.0 == float(row["strike"])
    assert ("written from 0 to 180" in said) is (result[0] == 177.8)


def test_few_strikes_that_pass_the_end_are_asked_about(tmp_path):
    place = ["--place", "44.0, 105.0", "--date", "2026-06-01"]
    (fault,) = faults(tmp_path, "strike\n2\n90\n", *place)
    assert (fault.row, fault.column) == (2, "strike")
    assert "--strike half" in fault.wanted


def test_quadrants_are_read_and_asked_about(tmp_path):
    place = ["--place", "44.0, 105.0", "--date", "2026-06-01"]
    rows, _ = corrected(tmp_path, "bearing\nN45E\nS 30 W\nn10w\n350\n", *place)
    shift = float(rows[0]["bearing_applied_deg"])
    for row, read in zip(rows, (45.0, 210.0, 350.0, 350.0), strict=True):
        assert float(row["bearing_true_deg"]) == pytest.approx((read + shift) % 360.0, abs=1e-6)
    many = "bearing\n" + "".join(f"{angle}\n" for angle in range(0, 90, 3))
    (fault,) = faults(tmp_path, many, *place)
    assert "N45E" in fault.wanted
    assert corrected(tmp_path, many, *place, "--full-circle")[0]
    fore = "bearing,back_bearing\n10,12\n200,199\n77,78\n"
    assert "the needle's other end read" in corrected(tmp_path, fore, *place)[1]
    assert "other end" not in corrected(tmp_path, "bearing,backsight\n10,190\n9,189\n", *place)[1]


def test_every_fault_at_once_and_nothing_written(tmp_path):
    text = "lat,lon,date,strike\n95,10,2026-01-01,400\n44,10,1.1.2026,x\n"
    found = {(fault.row, fault.column) for fault in faults(tmp_path, text)}
    assert found == {(2, "lat"), (2, "strike"), (3, "date"), (3, "strike")}
    (fault,) = faults(tmp_path, "lat,lon,date,width\n1,2,2026-01-01,3\n")
    assert "--bearing" in fault.wanted
    (fault,) = faults(tmp_path, "date,strike\n2026-01-01,3\n")
    assert "latitude and longitude" in fault.wanted
    (fault,) = faults(tmp_path, "lat,lon,strike\n1,2,3\n")
    assert "--date" in fault.wanted
    assert faults(tmp_path, "lat,lon,date,strike\n1,2,2026-01-01,3\n", "--bearing", "trend")


def test_in_and_out_as_workbook_and_layers(tmp_path):
    text = "id,lat,lon,date,Trend\n=A1,44.0,105.0,2026-06-01,100\nb,-41.2,174.9,2024-02-29,359.5\n"
    plain, _ = corrected(tmp_path, text)
    for ending in (".xlsx", ".gpkg", ".geojson"):
        path, _ = corrected(tmp_path, text, out=f"whole{ending}")
        read = (
            pd.read_excel(path, engine="openpyxl")
            if ending == ".xlsx"
            else geopandas.read_file(path)
        )
        for row, same in zip(read.to_dict("records"), plain, strict=True):
            assert row["Trend_true_deg"] == pytest.approx(float(same["Trend_true_deg"]))
        if ending != ".xlsx":
            assert list(read.geometry.y) == [44.0, -41.2]
        again = CliRunner().invoke(
            correct, [str(path), "--bearing", "trend", "-o", str(tmp_path / "again.csv"), "--force"]
        )
        assert again.exit_code == 0, (again.output, again.exception)
        rows = list(csv.DictReader((tmp_path / "again.csv").open(encoding="utf-8")))
        key = next(name for name in rows[0] if name.lower() == "trend_true_deg")
        assert [float(row[key]) for row in rows] == pytest.approx(
            [float(row["Trend_true_deg"]) for row in plain]
        )


@pytest.mark.parametrize("ending", [".csv", ".xlsx", ".gpkg", ".geojson"])
def test_every_column_is_kept_as_it_is_written(tmp_path, ending):
    """Ids are no numbers, whatever they look like, and a column may be called as the file's own."""
    titles = ["fid", "geom", "geometry", "page", "big", "sci", "width"]
    kept = [["007", "a", "b", "1", "12345678901234567890", "1e5", "2.5"],
            ["0080", "c", "d", "02", "12345678901234567891", "2E3", "3.5"]]  # fmt: skip
    rows = [[*titles, "Strike_True_deg", "lat", "lon", "date", "strike"]]
    rows += [[*cells, "old", "44", "105", "2026-06-01", f"0{n}5"] for n, cells in enumerate(kept)]
    corrected(tmp_path, "\n".join(map(",".join, rows)), out=f"whole{ending}")
    path = tmp_path / f"whole{ending}"
    if ending == ".csv":
        read = pd.read_csv(path, dtype=str)
    elif ending == ".xlsx":
        read = pd.read_excel(path, dtype=object, engine="openpyxl")
    elif ending == ".gpkg":
        with contextlib.closing(sqlite3.connect(path)) as opened:
            read = pd.read_sql_query("SELECT * FROM bearings", opened)
    else:
        features = json.loads(path.read_text("utf-8"))["features"]
        read = pd.DataFrame([feature["properties"] for feature in features])
    assert read[titles].astype(str).to_numpy().tolist() == kept
    assert [name for name in read if name.lower() == "strike_true_deg"] == ["strike_true_deg"]
    # Numbers are numbers where the file knows them.
    assert read["strike"].astype(float).tolist() == [5.0, 15.0]
    if ending != ".csv":
        assert all(isinstance(value, (int, float)) for value in read["strike"].tolist())


@pytest.mark.parametrize("date", ["05/06/26", "05-06-26", "26/05/06", "05/06/2026", "5.6.2026"])
def test_a_date_in_another_order_is_never_guessed(tmp_path, date):
    """Some libraries read 05/06/26 as a day of June 2005, by whose declination bearings turn."""
    point = {"type": "Point", "coordinates": [9.8, 46.5]}
    row = {"type": "Feature", "properties": {"date": date, "strike": 350}, "geometry": point}
    layer = tmp_path / "notebook.geojson"
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": [row]}))
    book = openpyxl.Workbook()
    for cells in (["lat", "lon", "date", "strike"], [46.5, 9.8, date, 350]):
        book.active.append(cells)
    book.save(tmp_path / "notebook.xlsx")
    (tmp_path / "notebook.csv").write_text(f"lat,lon,date,strike\n46.5,9.8,{date},350\n")
    for name in ("notebook.geojson", "notebook.xlsx", "notebook.csv"):
        with pytest.raises(InputError, match=f"found '{date}'; wanted a date in the order YYYY"):
            cli.orient(
                ["correct", str(tmp_path / name), "-o", str(tmp_path / "out.csv")],
                standalone_mode=False,
            )
    assert not (tmp_path / "out.csv").exists()


def test_titles_keep_their_capitals_whatever_the_file(tmp_path):
    """A workbook under another name, its table far down; marks and odd signs before a table."""
    book = openpyxl.Workbook()
    for row, cells in ((400, ["Lat", "Lon", "Date", "Strike"]), (401, [46, 8, "2026-05-01", 33])):
        for column, value in enumerate(cells, start=1):
            book.active.cell(row, column, value)
    packed = io.BytesIO()
    book.save(packed)
    text = "Lat,Lon,Date,Strike\r46,8,2026-05-01,33\r"
    for data in (packed.getvalue(), text.encode(), ("\ufeff\ufeff\u2028\r" + text).encode()):
        (tmp_path / "notes.csv").write_bytes(data)
        out = tmp_path / "out.csv"
        ran = CliRunner().invoke(correct, [str(tmp_path / "notes.csv"), "-o", str(out), "--force"])
        assert ran.exit_code == 0, ran.exception
        (row,) = csv.DictReader(out.open(encoding="utf-8"))
        assert list(row)[:5] == ["Lat", "Lon", "Date", "Strike", "Strike_true_deg"]


def campaign(folder, lines=(50, 110)):
    """Five sites a kilometre apart, two compasses read along lines of each; the last is pulled
    by 7°."""
    folder.mkdir()
    sites = ["site,latitude_deg,longitude_deg"] + [f"s{i},44.0{i},105.0" for i in range(5)]
    declination = GeoMag().calculate(44.0, 105.0, 0.0, 2026.4).d
    readings = ["site,date,compass,reading_deg,known_azimuth_deg"]
    for i in range(5):
        for name, error in (("brass", 0.2), ("old", 2.5)):
            for line in lines:
                read = line - declination - 7.0 * (i == 4) + error
                readings.append(f"s{i},2026-05-27,{name},{read:.1f},{line}")
    for table, rows in (("sites", sites), ("readings", readings), ("marks", ["setup,x_mm,y_mm"]),
                         ("setups", ["setup,site,date,gnomon_height_mm"])):  # fmt: skip
        (folder / f"{table}.csv").write_text("\n".join(rows) + "\n")
    return str(folder)


def test_a_campaign_gives_compasses_and_ground(tmp_path):
    folder = campaign(tmp_path / "hills")
    text = "site,date,compass,bearing\ns1,2026-06-01,old,50\ns4,2026-06-01,brass,50\n"
    rows, said = corrected(tmp_path, text, "--campaign", folder)
    assert float(rows[0]["applied_compass_deg"]) == pytest.approx(-2.5, abs=0.5)
    assert float(rows[0]["applied_anomaly_deg"]) == 0.0
    assert float(rows[1]["applied_anomaly_deg"]) == pytest.approx(7.0, abs=0.5)
    assert all(float(row["bearing_u_deg"]) < 1.3 for row in rows)
    # What either compass read toward a line at either site comes out as the line's azimuth.
    readings = pd.read_csv(f"{folder}/readings.csv").query("site in ('s1', 's4')")
    readings = readings.rename(columns={"reading_deg": "bearing"}).drop(columns="known_azimuth_deg")
    turned, _ = corrected(tmp_path, readings.to_csv(index=False), "--campaign", folder)
    assert [float(row["bearing_true_deg"]) for row in turned] == pytest.approx(
        [50.0, 110.0] * 4, abs=0.6
    )
    assert "Never checked" not in said
    (fault,) = faults(tmp_path, "site,date,bearing\nmoon,2026-06-01,5\n", "--campaign", folder)
    assert (fault.row, fault.column) == (2, "site")


def test_where_one_line_shows_a_pull_the_ground_is_counted_and_not_applied(tmp_path):
    """The ground or the one line is 7° off: the figure reaches the bearing under either."""
    folder = campaign(tmp_path / "hills", lines=(50,))
    text = "site,date,compass,bearing\ns4,2026-06-01,brass,50\n"
    (row,), _ = corrected(tmp_path, text, "--campaign", folder)
    assert float(row["applied_anomaly_deg"]) == 0.0
    assert 7.0 < 1.96 * float(row["bearing_u_deg"]) < 9.0


def test_the_notebook_itself_is_never_written_over(tmp_path):
    source = tmp_path / "notebook.csv"
    source.write_text("lat,lon,date,strike\n1,2,2026-01-01,3\n")
    before = source.read_bytes()
    with pytest.raises(InputError):
        cli.orient(["correct", str(source), "-o", str(source), "--force"], standalone_mode=False)
    assert source.read_bytes() == before


def test_the_public_function_does_what_the_command_does(tmp_path):
    """Frames in and out: the index kept, dates as dates, a layer's points as its places."""
    rows = pd.DataFrame(
        {
            "Strike": [33.0, 191.5, 359.0],
            "date": pd.to_datetime(["2026-05-02", "2026-05-03", "2026-06-30"]),
            "latitude_deg": [47.1, 47.2, -33.0],
            "longitude_deg": [14.9, 15.2, 150.0],
        },
        index=["a", "b", "c"],
    )
    found = orient.correct(rows, to="grid")
    rows.to_csv(tmp_path / "notes.csv", index=False)
    command = [str(tmp_path / "notes.csv"), "-o", str(tmp_path / "out.csv"), "--to", "grid"]
    ran = CliRunner().invoke(correct, command)
    assert ran.exit_code == 0, ran.output
    by_command = pd.read_csv(tmp_path / "out.csv")
    assert list(found.index) == ["a", "b", "c"]
    assert list(found.columns) == list(by_command.columns)
    for name in ("Strike_grid_deg", "Strike_u_deg", "Strike_applied_deg"):
        assert found[name].tolist() == pytest.approx(by_command[name].tolist(), abs=1e-9)
    points = geopandas.GeoDataFrame(
        rows[["Strike", "date"]],
        geometry=geopandas.points_from_xy(rows["longitude_deg"], rows["latitude_deg"]),
        crs="EPSG:4326",
    )
    layer = orient.correct(points, to="grid")
    assert isinstance(layer, geopandas.GeoDataFrame)
    assert layer["Strike_grid_deg"].tolist() == found["Strike_grid_deg"].tolist()


def test_the_public_function_tells_every_fault_at_once():
    rows = pd.DataFrame({"bearing": [400.0, "N"], "date": ["2026-05-02", "someday"]})
    with pytest.raises(orient.InputError) as caught:
        orient.correct(rows, place=(47.0, 15.0))
    assert {(fault.row, fault.column) for fault in caught.value.faults} >= {
        (1, "bearing"),
        (2, "date"),
    }
    with pytest.raises(orient.InputError, match="no row"):
        orient.correct(rows.iloc[:0])
