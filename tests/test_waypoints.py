"""Sites from a GPS: waypoints of GPX, placemarks of KML, as their standards write them."""

import pytest

from orient.errors import InputError
from orient.tables.campaign import read_campaign

# Source: the schema of GPX 1.1 (topografix.com/GPX/1/1) and OGC KML 2.2 (*from memory*).
GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="44.25" lon="105.5">
<ele>1520.5</ele><time>2026-06-01T10:00:00Z</time><name>ridge</name></wpt>
<wpt lat="-41.5" lon="-174.75"><name>low camp</name><sym>Flag</sym></wpt>
</gpx>
"""
KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Placemark><name>ridge</name>
<Point><coordinates>105.5,44.25,1520.5</coordinates></Point></Placemark>
<Placemark><name>low camp</name><Point><coordinates>-174.75,-41.5</coordinates></Point></Placemark>
</Document></kml>
"""


@pytest.mark.parametrize(("ending", "text"), [("gpx", GPX), ("kml", KML)])
def test_a_gps_file_is_a_table_of_sites(tmp_path, ending, text):
    (tmp_path / f"sites.{ending}").write_text(text, encoding="utf-8")
    sites = read_campaign(tmp_path, tables=("sites",)).sites
    assert list(sites.index) == ["ridge", "low camp"]
    assert sites.latitude_deg.tolist() == [44.25, -41.5]
    assert sites.longitude_deg.tolist() == [105.5, -174.75]
    assert sites.elevation_m.tolist() == [1520.5, 0.0]
    assert sites.timezone["ridge"] == "Asia/Ulaanbaatar"


@pytest.mark.parametrize(("ending", "text"), [("gpx", GPX), ("kml", KML)])
def test_faults_are_told_like_any_tables(tmp_path, ending, text):
    (tmp_path / f"sites.{ending}").write_text(text.replace("low camp", "ridge"), encoding="utf-8")
    with pytest.raises(InputError) as stop:
        read_campaign(tmp_path, tables=("sites",))
    assert [(f.file, f.row, f.column) for f in stop.value.faults] == [
        (f"sites.{ending}", 2, "site")
    ]
    for bad in ("no xml", "<gpx", text[: len(text) // 2]):
        (tmp_path / f"sites.{ending}").write_text(bad, encoding="utf-8")
        with pytest.raises(InputError):
            read_campaign(tmp_path, tables=("sites",))
