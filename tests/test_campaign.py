"""A campaign's folder: read whole and right, or refused with everything that is wrong with it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orient.errors import InputError
from orient.files import write_whole
from orient.flags import CAUTIONS
from orient.tables import campaign as campaign_module
from orient.tables.beginning import new_campaign
from orient.tables.campaign import MOST_MARKS, Campaign, campaign_files, read_campaign
from orient.tables.columns import TABLES

SITES = "site,latitude_deg,longitude_deg\nHill,41 15 00 N,5 30 W\nMoor,-33.5,151\n"
SETUPS = "setup,site,date,gnomon_height_mm\nh1,Hill,2026-05-01,300\nm1,Moor,2026-05-02,250\n"
MARKS = "setup,time,x_mm,y_mm\nh1,08:00,-100,200\nh1,08:20,-90,190\nm1,09:00,50,-60\n"


@pytest.fixture
def folder(tmp_path):
    return write(tmp_path / "spring")


def write(folder, sites=SITES, setups=SETUPS, marks=MARKS):
    contents = {"sites.csv": sites, "setups.csv": setups, "marks.csv": marks}
    write_whole(folder, {name: text for name, text in contents.items() if text is not None})
    return folder


def faults(folder, tables=("sites", "setups", "marks")):
    with pytest.raises(InputError) as stop:
        read_campaign(folder, tables)
    return stop.value.faults


def only_fault(folder, **kinds):
    """Place and words of the one fault that a folder with these tables has."""
    found = faults(write(folder, **kinds))
    assert len(found) == 1, found
    return found[0].file, found[0].row, found[0].column, found[0].wanted


def test_a_campaign_is_complete(folder):
    campaign = read_campaign(folder)
    assert (campaign.name, campaign.folder) == ("spring", folder)
    sites = campaign.sites
    assert sites.index.name == "site"
    assert sites.index.tolist() == ["Hill", "Moor"]
    assert sites["latitude_deg"].tolist() == [41.25, -33.5]
    assert sites["longitude_deg"].tolist() == [-5.5, 151.0]
    assert sites["timezone"].tolist() == ["Europe/Madrid", "Australia/Sydney"]
    assert sites["grid"].tolist() == ["EPSG:32630", "EPSG:32756"]
    assert sites["pressure_hpa"].tolist() == pytest.approx([1013.25, 1013.25])
    assert sites["temperature_c"].tolist() == [10.0, 10.0]
    assert sites["horizon"].tolist() == ["", ""]
    assert sites["xi_arcsec"].isna().all()
    assert sites["row"].tolist() == [2, 3]
    assert not sites.isna()[["latitude_deg", "elevation_m", "timezone", "grid"]].any(axis=None)
    setups = campaign.setups
    assert setups.index.tolist() == ["h1", "m1"]
    assert setups["date"].to_numpy().tolist() == [
        np.datetime64("2026-05-01", "s").item(),
        np.datetime64("2026-05-02", "s").item(),
    ]
    marks = campaign.marks
    assert marks["mark"].tolist() == ["1", "2", "1"]
    assert marks["time_s"].tolist() == [28800.0, 30000.0, 32400.0]
    assert marks["use"].tolist() == [True, True, True]
    assert marks["row"].tolist() == [2, 3, 4]


def test_only_the_wanted_tables_are_looked_at(folder):
    (folder / "marks.csv").unlink()
    (folder / "setups.csv").write_text("nonsense")
    campaign = read_campaign(folder, ("sites",))
    assert len(campaign.sites) == 2
    assert list(campaign.marks.columns) == list(read_campaign(write(folder)).marks.columns)
    assert len(campaign.setups) == len(campaign.marks) == 0


def test_standard_pressure_stands_for_a_blank_one(folder):
    """Source: ICAO standard atmosphere table: 701.08 hPa at 3 km."""
    sites = SITES.replace("\n", ",elevation_m,pressure_hpa\n", 1)
    sites = sites.replace("5 30 W", "5 30 W,3000,").replace("151", "151,0,990")
    campaign = read_campaign(write(folder, sites=sites))
    assert campaign.sites["pressure_hpa"].tolist() == pytest.approx([701.08, 990.0], abs=0.05)


def test_marks_by_length_and_angle(folder):
    marks = "setup,length_mm,angle_deg,x_mm,y_mm\nh1,100,90,,\nh1,100,-180,,\nm1,,,3,4\n"
    found = read_campaign(write(folder, marks=marks)).marks
    assert found["x_mm"].tolist() == pytest.approx([100, 0, 3], abs=1e-12)
    assert found["y_mm"].tolist() == pytest.approx([0, -100, 4], abs=1e-12)


def test_marks_are_numbered_where_they_are_not(folder):
    marks = "setup,mark,x_mm,y_mm\nh1,2,1,1\nm1,,1,1\nh1,,1,1\nh1,,2,2\nm1,,2,2\nh1,a,3,3\n"
    found = read_campaign(write(folder, marks=marks)).marks
    assert found["mark"].tolist() == ["2", "1", "1", "3", "2", "a"]


def test_setups_without_marks_and_tables_without_rows_are_allowed(folder):
    assert len(read_campaign(write(folder, marks="setup,x_mm,y_mm\n")).marks) == 0
    empty = read_campaign(write(folder, setups="setup,site,date,gnomon_height_mm\n", marks=""
                                "setup,x_mm,y_mm\n"))  # fmt: skip
    assert len(empty.setups) == 0


def test_a_nameless_reference_gets_a_name(folder):
    setups = SETUPS.replace("\n", ",reference_name,reference_angle_deg,compass_reading_deg\n", 1)
    setups = setups.replace("300", "300,,12.5,14").replace("250", "250,,,")
    found = read_campaign(write(folder, setups=setups)).setups
    assert found["reference_name"].tolist() == ["reference of h1", ""]


# --- files -------------------------------------------------------------------------------------


def test_a_folder_that_is_none(tmp_path):
    assert "no such folder" in str(faults(tmp_path / "absent")[0])
    (tmp_path / "file").write_text("")
    assert "a campaign's folder" in str(faults(tmp_path / "file")[0])
    assert "null byte" in str(faults(f"{tmp_path}/a\0b")[0])


def test_a_folder_without_permission(folder, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    # Taking the permission away would not stop a test that runs as root.
    monkeypatch.setattr(Path, "iterdir", refuse)
    assert "permission denied" in str(faults(folder)[0])


def test_missing_tables_are_all_told(tmp_path):
    found = faults(write(tmp_path, sites=None, setups=None, marks=None))
    assert [(fault.file, fault.found) for fault in found] == [
        ("sites.csv", "no such file"),
        ("setups.csv", "no such file"),
        ("marks.csv", "no such file"),
    ]


def test_a_table_in_two_kinds_of_file(folder):
    (folder / "setups.xlsx").write_bytes(b"")
    found = faults(folder)
    assert (found[0].file, found[0].found) == ("setups", "setups.csv and setups.xlsx")


def test_file_names_in_capitals(folder):
    (folder / "sites.csv").rename(folder / "Sites.CSV")
    assert len(read_campaign(folder).sites) == 2


def test_nothing_is_written_by_reading(folder):
    before = {path: path.read_bytes() for path in folder.iterdir()}
    read_campaign(folder)
    write(folder, marks="setup\nnobody\n")
    before[folder / "marks.csv"] = b"setup\nnobody\n"
    faults(folder)
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_a_workbook(folder):
    pd.DataFrame(
        {"site": ["Hill", "Moor"], "latitude_deg": [41.25, -33.5], "longitude_deg": [-5.5, 151]}
    ).to_excel(folder / "sites.xlsx", index=False)
    (folder / "sites.csv").unlink()
    assert read_campaign(folder).sites["latitude_deg"].tolist() == [41.25, -33.5]


def test_a_semicolon_file_with_decimal_commas(folder):
    sites = (
        "\ufeffSite;Latitude_deg;LONGITUDE_DEG;\r\nHill;41,25;-5,5;\r\nMoor;-33,5;151;\r\n;;;\r\n"
    )
    assert read_campaign(write(folder, sites=sites)).sites["latitude_deg"].tolist() == [
        41.25,
        -33.5,
    ]


# --- places ------------------------------------------------------------------------------------


def test_sites_in_grid_coordinates(folder):
    """Source: pyproj's own transformation of the same points."""
    import pyproj

    east, north = pyproj.Transformer.from_crs(4326, 32630, always_xy=True).transform(-5.5, 41.25)
    sites = (
        "site,easting_m,northing_m,crs,latitude_deg,longitude_deg\n"
        f"Hill,{east!r},{north!r},EPSG:32630,,\nMoor,,,,-33.5,151\n"
    )
    campaign = read_campaign(write(folder, sites=sites))
    assert campaign.sites["latitude_deg"].tolist() == pytest.approx([41.25, -33.5], abs=1e-9)
    assert campaign.sites["longitude_deg"].tolist() == pytest.approx([-5.5, 151.0], abs=1e-9)
    assert campaign.sites["timezone"].tolist() == ["Europe/Madrid", "Australia/Sydney"]


@pytest.mark.parametrize("ending", ["geojson", "gpkg"])
@pytest.mark.parametrize("crs", [4326, 32630])
def test_sites_as_a_layer(folder, ending, crs):
    import geopandas

    if ending == "geojson" and crs != 4326:
        pytest.skip("GeoJSON is in WGS 84 always")
    layer = geopandas.GeoDataFrame(
        {"site": ["Hill", "Top"], "elevation_m": [5.0, None], "Timezone": [None, "Europe/Lisbon"],
         "latitude_deg": [None, 41.5], "notes": ["x", "y"]},
        geometry=geopandas.points_from_xy([-5.5, -5.25], [41.25, 41.5]),
        crs=4326,
    ).to_crs(crs)  # fmt: skip
    (folder / "sites.csv").unlink()
    if ending == "gpkg":
        layer.to_file(folder / "sites.gpkg", layer="sites")
    else:
        layer.to_file(folder / "sites.geojson")
    sites = read_campaign(folder, ("sites",)).sites
    assert sites["latitude_deg"].tolist() == pytest.approx([41.25, 41.5], abs=1e-8)
    assert sites["longitude_deg"].tolist() == pytest.approx([-5.5, -5.25], abs=1e-8)
    assert sites["elevation_m"].tolist() == [5.0, 0.0]
    assert sites["timezone"].tolist() == ["Europe/Madrid", "Europe/Lisbon"]


def test_layers_at_fault(folder):
    import geopandas
    from shapely.geometry import LineString, Point

    (folder / "sites.csv").unlink()
    layer = geopandas.GeoDataFrame(
        {"site": ["A", "B", "C"]},
        geometry=[LineString([(0, 0), (1, 1)]), None, Point(200, 95)],
        crs=4326,
    )
    layer.to_file(folder / "sites.geojson")
    found = [(fault.row, fault.column) for fault in faults(folder, ("sites",))]
    assert (1, "geometry") in found
    assert (2, "geometry") in found
    assert (3, "latitude_deg") in found
    for content in (
        b"",
        b"{",
        b"[]",
        b'{"type": "FeatureCollection"}',
        b"<OGRVRTDataSource/>",
        b'{"type": "FeatureCollection", "features": [{"type": "Feature"}]}',
    ):
        (folder / "sites.geojson").write_bytes(content)
        assert faults(folder, ("sites",))[0].file == "sites.geojson"
    (folder / "sites.geojson").unlink()
    layer[2:].to_file(folder / "sites.gpkg", layer="other")
    assert "layer `sites`" in str(faults(folder, ("sites",))[0])
    (folder / "sites.gpkg").unlink()
    (folder / "sites.gpkg").symlink_to(folder / "setups.csv")
    assert "symbolic link" in str(faults(folder, ("sites",))[0])


@pytest.mark.parametrize(
    ("line", "column", "said"),
    [
        ("Hill,,,,,", "latitude_deg", "latitude_deg, longitude_deg; or else easting_m"),
        ("Hill,41,,,,", "longitude_deg", "as the rest of latitude_deg, longitude_deg is given"),
        ("Hill,,,500000,,EPSG:32630", "northing_m", "as the rest of easting_m"),
        ("Hill,,,500000,0,", "crs", "as the rest of easting_m"),
        ("Hill,41,-5,500000,4e6,EPSG:32630", "easting_m", "blank, as latitude_deg"),
        ("Hill,,,1,1,EPSG:4326", "crs", "no grid north"),
        ("Hill,,,1e8,1e8,EPSG:32630", "easting_m", "a place that its crs reaches"),
        ("Hill,91,170,,,", "latitude_deg", "a latitude of -90 to 90"),
        ("Hill,151,-33,,,", "latitude_deg", "are latitude and longitude swapped?"),
        ("Hill,151 E,-33,,,", "latitude_deg", "are latitude and longitude swapped?"),
    ],
)
def test_places_at_fault(folder, line, column, said):
    sites = f"site,latitude_deg,longitude_deg,easting_m,northing_m,crs\n{line}\n"
    found = faults(write(folder, sites=sites), ("sites",))
    assert [(fault.file, fault.row, fault.column) for fault in found] == [("sites.csv", 2, column)]
    assert said in found[0].wanted
    assert found[0].wanted.count("swapped") <= 1


def test_no_columns_of_a_place(folder):
    found = only_fault(folder, sites="site\nHill\nMoor\n")
    assert found[:3] == ("sites.csv", 1, None)
    assert "easting_m" in found[3]


def test_no_site(folder):
    assert "no site" in str(faults(write(folder, sites="site,latitude_deg,longitude_deg\n"))[0])


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "said"),
    [
        (39.7, 105.2, "America/Denver", "sign of the longitude"),
        (18.0, 66.3, "America/Puerto_Rico", "sign of the longitude"),
        (-75.0, 40.7, "America/New_York", "swapped"),
        (40.7, 75.0, "America/New_York", "sign of the longitude"),
        (79.9, 6.9, "Asia/Colombo", "swapped"),
        (6.9, -79.9, "Asia/Colombo", "sign of the longitude"),
        (67.0, 24.9, "Asia/Karachi", "swapped"),
        (6.9, 79.9, "Asia/Colombo", None),
        (79.9, 6.9, "Pacific/Auckland", None),  # wrong, but no slip explains it
        (-14.2, 170.7, "Pacific/Pago_Pago", None),  # wrong, but the clock suits the sun
        (39.5, 76.0, "Asia/Shanghai", None),
        (1.9, -157.4, "Pacific/Kiritimati", None),
        (-13.8, -171.8, "Pacific/Apia", None),
        (51.0, 0.0, "Europe/London", None),
        (-21.0, -175.2, "Pacific/Tongatapu", None),
    ],
)
def test_a_zone_that_tells_a_slip(folder, latitude, longitude, zone, said):
    sites = f"site,latitude_deg,longitude_deg,timezone\nHill,{latitude},{longitude},{zone}\n"
    write(folder, sites=sites)
    if said is None:
        assert read_campaign(folder, ("sites",)).sites["timezone"].tolist() == [zone]
    else:
        found = faults(folder, ("sites",))
        assert [(fault.row, fault.column) for fault in found] == [(2, "longitude_deg")]
        assert said in found[0].wanted
        assert "leave timezone blank" in found[0].wanted


def test_every_place_on_earth_has_its_zone(folder):
    """Source: the nautical zones: at sea the zone is the longitude by 15°, to the hour."""
    ends = [(90, 0), (-90, 0), (0, 180), (0, -180), (0, -150), (-50, 90), (89.9, 359.9)]
    lines = "".join(
        f"s{n},{latitude},{longitude}\n" for n, (latitude, longitude) in enumerate(ends)
    )
    sites = read_campaign(
        write(folder, sites="site,latitude_deg,longitude_deg\n" + lines), ("sites",)
    ).sites
    assert sites["timezone"].iloc[4] == "Etc/GMT+10"
    assert sites["timezone"].iloc[5] == "Etc/GMT-6"
    assert (sites["timezone"] != "").all()
    assert sites["longitude_deg"].between(-180, 180).all()


# --- ids ---------------------------------------------------------------------------------------


def test_ids_given_twice(folder):
    sites = SITES + "Hill,1,2\nhi ll,1,2\n"
    found = faults(write(folder, sites=sites))
    assert [(fault.row, fault.column) for fault in found] == [(4, "site"), (5, "site")]
    assert "row 2 has it" in found[0].wanted
    assert "'Hill' in row 2 by more than capitals or spaces" in found[1].wanted
    assert only_fault(folder, setups=SETUPS.replace("m1", "h1"), marks="setup,x_mm,y_mm\n")[:3] == (
        "setups.csv",
        3,
        "setup",
    )


def test_unknown_ids_and_what_they_may_have_meant(folder):
    file, row, column, wanted = only_fault(folder, setups=SETUPS.replace("Moor", "Moore"))
    assert (file, row, column) == ("setups.csv", 3, "site")
    assert wanted == "a site of sites.csv, perhaps 'Moor'"
    file, row, column, wanted = only_fault(folder, marks=MARKS.replace("m1", "M 1"))
    assert (file, row, column) == ("marks.csv", 4, "setup")
    assert wanted == "a setup of setups.csv, perhaps 'm1'"
    assert only_fault(folder, marks=MARKS.replace("m1", "zebra"))[3] == "a setup of setups.csv"


def test_a_spoilt_row_is_one_fault_not_one_for_each_mark(folder):
    assert only_fault(folder, setups=SETUPS.replace(",250", ",250,spare"))[:2] == ("setups.csv", 3)
    misspelt = SETUPS.replace("setup,", "setups,")
    assert only_fault(folder, setups=misspelt)[:3] == ("setups.csv", 1, "setups")


def test_a_serial_given_twice_on_a_board(folder):
    marks = "setup,mark,x_mm,y_mm\nh1,1,1,1\nm1,1,1,1\nh1,1,2,2\n"
    assert only_fault(folder, marks=marks)[:3] == ("marks.csv", 4, "mark")


# --- setups and marks --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value", "column"),
    [
        ("compass_reading_deg", "12", "reference_angle_deg"),
        ("reference_easting_m", "500000", "reference_northing_m"),
        ("reference_northing_m", "4000000", "reference_easting_m"),
    ],
)
def test_setups_that_say_half(folder, name, value, column):
    setups = SETUPS.replace("\n", f",{name}\n", 1).replace("300", f"300,{value}")
    found = only_fault(folder, setups=setups.replace("250", "250,"))
    assert found[:3] == ("setups.csv", 2, column)


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("h1,,,,", "x_mm"),
        ("h1,1,,,", "y_mm"),
        ("h1,,,5,", "angle_deg"),
        ("h1,1,2,3,4", "length_mm"),
        ("h1,x,2,,", "x_mm"),
    ],
)
def test_marks_without_a_place(folder, line, column):
    found = only_fault(folder, marks=f"setup,x_mm,y_mm,length_mm,angle_deg\n{line}\n")
    assert found[:3] == ("marks.csv", 2, column)


def test_all_faults_of_all_tables_come_at_once(folder):
    write(
        folder,
        sites="site,latitude_deg,longitude_deg\nHill,91,0\nMoor,text,0\n",
        setups="setup,site,date,gnomon_height_mm\nh1,Hall,01/05/2026,0.3\n,Moor,2026-05-01,\n",
        marks="setup,time,x_mm,y_mm\nh1,25:61,1,2\nh2,8:00,,\nh1,9:00,nan,1e400\n",
    )
    places = [(fault.file, fault.row, fault.column) for fault in faults(folder)]
    assert sorted(places) == sorted(
        [
            ("sites.csv", 2, "latitude_deg"),
            ("sites.csv", 3, "latitude_deg"),
            ("setups.csv", 2, "site"),
            ("setups.csv", 2, "date"),
            ("setups.csv", 2, "gnomon_height_mm"),
            ("setups.csv", 3, "setup"),
            ("setups.csv", 3, "gnomon_height_mm"),
            ("marks.csv", 2, "time"),
            ("marks.csv", 3, "setup"),
            ("marks.csv", 3, "x_mm"),
            ("marks.csv", 4, "x_mm"),
            ("marks.csv", 4, "y_mm"),
        ]
    )
    order = {"sites.csv": 0, "setups.csv": 1, "marks.csv": 2}
    assert places == sorted(places, key=lambda place: (order[place[0]], place[1]))


# --- writing -----------------------------------------------------------------------------------


def same(one: Campaign, other: Campaign) -> None:
    for name in ("sites", "setups", "marks"):
        pd.testing.assert_frame_equal(
            getattr(one, name).drop(columns="row"), getattr(other, name).drop(columns="row")
        )


def test_what_is_written_reads_back_the_same(folder, tmp_path):
    write(
        folder,
        sites="site,latitude_deg,longitude_deg,elevation_m,horizon_deg,xi_arcsec\n"
        '"=Hill, ""high""",41 15 00.123 N,5 30 W,850.25,60:4 90:12,-3.1\n-Moor,-33.5,151,,5,\n',
        setups="setup,site,date,gnomon_height_mm,turned,edge,reference_name,reference_angle_deg\n"
        '1,"=Hill, ""high""",2026-05-01,300.5,yes,dark,@tower,12.25\n2,-Moor,2026-12-31,250,,,,\n',
        marks="setup,mark,time,length_mm,angle_deg,ring,half,use,note\n"
        "1,,08:00:07.25,301.7,12.3,A,am,no,+1 cloud\n2,b,,50,-60,,pm,,\n",
    )
    campaign = read_campaign(folder)
    copy = tmp_path / "copy"
    write_whole(copy, campaign_files(campaign.sites, campaign.setups, campaign.marks))
    same(campaign, read_campaign(copy))
    assert "'=Hill" in (copy / "sites.csv").read_text()


def test_sites_from_a_grid_are_written_as_places(folder, tmp_path):
    sites = "site,easting_m,northing_m,crs\nHill,500000,4e6,EPSG:32630\n"
    campaign = read_campaign(write(folder, sites=sites), ("sites",))
    write_whole(tmp_path / "copy", campaign_files(sites=campaign.sites))
    again = read_campaign(tmp_path / "copy", ("sites",))
    assert again.sites["latitude_deg"].tolist() == campaign.sites["latitude_deg"].tolist()


def test_tables_with_their_own_column_names_are_written_too(tmp_path):
    marks = pd.DataFrame({"setup": ["1"], "time": ["08:00"], "length_mm": [5.0], "angle_deg": [7.0],
                          "truth": [1.0]})  # fmt: skip
    assert campaign_files(marks=marks) == {
        "marks.csv": "setup,time,length_mm,angle_deg\n1,08:00,5.0,7.0\n"
    }


def test_a_new_campaign(tmp_path):
    folder = tmp_path / "new"
    paths = new_campaign(folder)
    assert [path.name for path in paths] == ["sites.csv", "setups.csv", "marks.csv", "README.txt"]
    for table in TABLES.values():
        assert (folder / f"{table.name}.csv").read_text() == ",".join(table.names) + "\n"
    readme = (folder / "README.txt").read_text(encoding="utf-8")
    assert max(map(len, readme.splitlines())) <= 79
    assert all(name in readme for table in TABLES.values() for name in table.names)
    flat = " ".join(readme.split())
    assert all(" ".join(caution.split()) in flat for caution in CAUTIONS)
    assert "no site" in str(faults(folder)[0])


def test_a_new_campaign_never_overwrites_unless_told(folder):
    before = {path: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(InputError) as stop:
        new_campaign(folder)
    assert {fault.file for fault in stop.value.faults} == {"sites.csv", "setups.csv", "marks.csv"}
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    new_campaign(folder, force=True)
    assert (folder / "marks.csv").read_text().startswith("setup,mark,time")


def test_a_layer_of_sites_is_not_given_a_rival(tmp_path):
    (tmp_path / "sites.gpkg").write_bytes(b"")
    with pytest.raises(InputError, match=r"sites\.gpkg"):
        new_campaign(tmp_path)
    assert list(tmp_path.iterdir()) == [tmp_path / "sites.gpkg"]


def test_writing_has_one_home():
    assert campaign_module.csv_text(pd.DataFrame({"a": ["=1"]})) == "a\n'=1\n"


# --- anything at all ---------------------------------------------------------------------------

cell = st.text(max_size=12) | st.sampled_from(
    ["Hill", "h1", "41.25", "nan", "1e400", "300", "2026-05-01", "08:00", "no", "EPSG:32630",
     "Europe/Lisbon", "'", '"', ",", ";", "\t", "\n", "\0", "=1", "90:5", "41 15 S", "am"]
)  # fmt: skip


@st.composite
def table_texts(draw, table):
    names = draw(st.lists(st.sampled_from(table.names) | cell, max_size=6))
    needed = [column.name for column in table.columns if column.needed]
    rows = draw(st.lists(st.lists(cell, min_size=1, max_size=8), max_size=4))
    mark = draw(st.sampled_from(["", "\ufeff"]))
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return mark + "\n".join(separator.join(row) for row in [needed + names, *rows])


def check_any_text(tmp_path, sites, setups, marks, trailer):
    folder = tmp_path / "any"
    folder.mkdir(exist_ok=True)
    for name, text in (("sites", sites), ("setups", setups), ("marks", marks)):
        (folder / f"{name}.csv").write_bytes(text.encode("utf-8", "surrogatepass") + trailer)
    try:
        assert isinstance(read_campaign(folder), Campaign)
    except InputError as fault:
        assert fault.faults  # noqa: PT017


any_text = given(sites=table_texts(TABLES["sites"]), setups=table_texts(TABLES["setups"]),
                 marks=table_texts(TABLES["marks"]), trailer=st.binary(max_size=3))  # fmt: skip
quick, at_length = (
    settings(
        deadline=None,
        max_examples=examples,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )
    for examples in (40, 150)
)


@quick
@any_text
def test_any_text_is_a_campaign_or_an_input_error(tmp_path, sites, setups, marks, trailer):
    check_any_text(tmp_path, sites, setups, marks, trailer)


@pytest.mark.slow
@at_length
@any_text
def test_any_text_at_length(tmp_path, sites, setups, marks, trailer):
    check_any_text(tmp_path, sites, setups, marks, trailer)


def check_one_cell(tmp_path, table, data):
    column = data.draw(st.sampled_from(TABLES[table].names))
    good = {
        "sites": {"site": "Hill", "latitude_deg": "41.25", "longitude_deg": "-5.5"},
        "setups": {"setup": "h1", "site": "Hill", "date": "2026-05-01", "gnomon_height_mm": "300"},
        "marks": {"setup": "h1", "x_mm": "1", "y_mm": "2"},
    }
    good[table][column] = data.draw(cell)
    folder = tmp_path / "one"
    write_whole(
        folder,
        {
            f"{name}.csv": ",".join(row) + "\n" + ",".join(f'"{v.replace(chr(34), chr(34) * 2)}"'
                                                           for v in row.values()) + "\n"
            for name, row in good.items()
        },
    )  # fmt: skip
    try:
        read_campaign(folder)
    except InputError as fault:
        assert {each.row for each in fault.faults} <= {None, 1, 2}  # noqa: PT017


one_cell = given(table=st.sampled_from(["sites", "setups", "marks"]), data=st.data())


@quick
@one_cell
def test_one_strange_cell_is_read_or_refused(tmp_path, table, data):
    """The rest of the tables being good, a cell of any text can only spoil its own row."""
    check_one_cell(tmp_path, table, data)


@pytest.mark.slow
@at_length
@one_cell
def test_one_strange_cell_at_length(tmp_path, table, data):
    check_one_cell(tmp_path, table, data)


def test_a_watch_kept_on_utc_says_nothing_of_the_place(tmp_path):
    (tmp_path / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\nA,40,-75,UTC\nB,40,-75,Etc/GMT+5\n", "utf-8"
    )
    assert list(read_campaign(tmp_path, ("sites",)).sites["timezone"]) == ["UTC", "Etc/GMT+5"]


def test_thousands_of_marks_on_one_board_are_asked_about_at_once(folder):
    rows = "".join(f"m1,{n / 10},5\n" for n in range(MOST_MARKS))
    write(folder, marks=f"setup,x_mm,y_mm\n{rows}")
    assert len(read_campaign(folder).marks) == MOST_MARKS
    (fault,) = faults(write(folder, marks=f"setup,x_mm,y_mm\n{rows}m1,7,7\nm1,8,8\n"))
    assert (fault.row, fault.column) == (MOST_MARKS + 2, "setup")
    assert fault.found == "2,002 marks of 'm1'"
