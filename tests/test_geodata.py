import json
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
from boards_on_file import DATED, odd_campaign, sound_campaign
from geographiclib.geodesic import Geodesic
from pyproj import Transformer
from shapely.geometry import shape

from orient.export import layers as geodata
from orient.observation.setups import KEYS, reduce_campaign
from orient.tables.campaign import read_campaign


@pytest.fixture(scope="module", params=[sound_campaign, odd_campaign])
def results(request, tmp_path_factory):
    folder = request.param(tmp_path_factory.mktemp("geodata") / "campaign")
    return reduce_campaign(read_campaign(folder))


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = sound_campaign(tmp_path_factory.mktemp("geodata") / "sound")
    return reduce_campaign(read_campaign(folder))


def written(results, folder):
    frame = geodata.results_frame(results)
    (folder / "results.geojson").write_text(geodata.geojson(frame), encoding="utf-8")
    (folder / "results.gpkg").write_bytes(geodata.geopackage(frame))
    return folder / "results.geojson", folder / "results.gpkg"


def read_results(path):
    """The rows of a written file, read by the library alone, as they were reduced."""
    # Readers of GeoJSON make dates of texts that look like one, be it a set-up's name.
    options = {"DATE_AS_STRING": "YES"} if path.suffix == ".geojson" else {}
    table = pyogrio.read_dataframe(path, read_geometry=False, **options)
    return [
        {key: as_reduced(key, row[key]) for key in KEYS}
        for row in table.astype(object).to_dict("records")
    ]


def as_reduced(key, value):
    if key in ("methods", "flags"):
        return json.loads(value)
    if value is None or value != value:
        return None
    if key == "date":
        return f"{value:%Y-%m-%d}" if hasattr(value, "year") else value
    if key == "combined_setups":
        return int(value)
    return value if isinstance(value, str) else float(value)


def test_reading_back_loses_nothing(results, tmp_path):
    rows = [{key: result.row[key] for key in KEYS} for result in results]
    for path in written(results, tmp_path):
        assert read_results(path) == rows


def test_a_column_of_names_that_look_like_dates_stays_text(sound, tmp_path):
    dated = [replace(sound[0], row=sound[0].row | {"setup": DATED, "reference_name": DATED})]
    for path in written(dated, tmp_path):
        (row,) = read_results(path)
        assert (row["setup"], row["reference_name"]) == (DATED, DATED)


def test_both_files_hold_the_same_lines(results, tmp_path):
    layers = [pyogrio.read_dataframe(path) for path in written(results, tmp_path)]
    for layer in layers:
        assert layer.crs.to_epsg() == 4326
    for one, other in zip(layers[0].geometry, layers[1].geometry, strict=True):
        assert (one is None) == (other is None)
        if one is not None:
            assert one.equals(other)


def test_a_setup_without_azimuth_keeps_its_row(results, tmp_path):
    layer = pyogrio.read_dataframe(written(results, tmp_path)[1])
    lost = layer["reference_azimuth_deg"].isna()
    assert (layer.geometry.isna() == lost).all()
    assert len(layer) == len(results)


def test_lines_run_along_their_azimuth_by_geographiclib(sound):
    """The ends by Karney's geodesic (geographiclib), which the package does not call."""
    frame = geodata.results_frame(sound)
    symbolic = frame[frame["line_end"] == geodata.SYMBOLIC]
    assert len(symbolic) == 2
    for _, row in symbolic.iterrows():
        (west, south), (east, north) = row.geometry.coords
        found = Geodesic.WGS84.Inverse(south, west, north, east)
        assert found["s12"] == pytest.approx(1000.0, abs=1e-6)
        assert found["azi1"] % 360 == pytest.approx(row["reference_azimuth_deg"], abs=1e-6)


def test_a_known_end_is_the_reference_point_by_proj(sound):
    frame = geodata.results_frame(sound)
    (row,) = (row for _, row in frame.iterrows() if row["line_end"] == geodata.TO_REFERENCE)
    east, north = Transformer.from_crs("EPSG:32734", "EPSG:4326", always_xy=True).transform(
        310000, 6346000
    )
    assert row.geometry.coords[-1] == pytest.approx((east, north), abs=1e-9)


@pytest.mark.parametrize(("start", "end"), [(179.999, -179.998), (-179.998, 179.999)])
def test_a_line_over_the_180th_meridian_is_cut_there(start, end):
    line = geodata._shape((10.0, start), (10.003, end))
    assert line.geom_type == "MultiLineString"
    first, last = (np.array(part.coords) for part in line.geoms)
    assert first[0].tolist() == [start, 10.0]
    assert last[-1].tolist() == [end, 10.003]
    assert first[-1, 0] == -last[0, 0] == np.sign(start) * 180.0
    assert first[-1, 1] == last[0, 1]
    fraction = abs(180.0 - abs(start)) / 0.003
    assert first[-1, 1] == pytest.approx(10.0 + 0.003 * fraction, abs=1e-9)
    assert line.length < 0.01


def test_conventions_are_in_the_files(sound, tmp_path):
    geojson, gpkg = written(sound, tmp_path)
    whole = json.loads(geojson.read_text("utf-8"))
    assert whole["type"] == "FeatureCollection"
    assert "east plus" in whole["description"]
    # RFC 7946: coordinates are WGS 84 and no "crs" member stands in the file.
    assert "crs" not in whole
    assert all(shape(feature["geometry"]).is_valid for feature in whole["features"])
    described = pyogrio.read_info(gpkg, layer=geodata.LAYER)["layer_metadata"]["DESCRIPTION"]
    assert described == geodata.CONVENTIONS


def test_the_same_results_give_the_same_bytes(sound):
    frame = geodata.results_frame(sound)
    assert geodata.geopackage(frame) == geodata.geopackage(frame)


def test_no_setups_still_give_a_layer(tmp_path):
    for path in written([], tmp_path):
        assert read_results(path) == []
