"""`orient region`: lines that are true to the model, at poles and date line, in every format."""

import json
import struct

import demo_tables
import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from click.testing import CliRunner
from pygeomag import GeoMag
from pyproj import Proj

from orient import cli
from orient.commands.region import region
from orient.errors import InputError
from orient.files import write_whole
from orient.numbers.coastline import shores


def run(folder, *args):
    ran = CliRunner().invoke(region, [*args, "-o", str(folder), "--force"])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    return ran.stderr


def reference(latitude, longitude, year):
    """Declination by pygeomag, point by point."""
    model = GeoMag()
    return np.array(
        [model.calculate(a, b, 0.0, year).d for a, b in zip(latitude, longitude, strict=True)]
    )


def along(frame, count, seed=4):
    """Places chosen at random along the lines, between their points too, with their values."""
    random = np.random.default_rng(seed)
    parts = frame.explode(index_parts=False)
    length = shapely.length(parts.geometry.values)
    chosen = parts.iloc[random.choice(len(parts), count, p=length / length.sum())]
    points = shapely.line_interpolate_point(
        np.asarray(chosen.geometry.values), random.random(count), normalized=True
    )
    return shapely.get_y(points), shapely.get_x(points), chosen["value"].to_numpy(float)


AREAS = [
    "95,38,115,52",  # a country
    "170,-50,-160,-20",  # across the date line
    "-30,70,60,90",  # to the pole
    "-180,-80,180,80",  # nearly all the earth
]


@pytest.mark.parametrize("bounds", AREAS)
def test_along_each_line_the_model_has_its_value(tmp_path, bounds):
    """Source: pygeomag's WMM2025, at places between the lines' own points too, to 0.01°."""
    run(tmp_path, "--bounds", bounds, "--date", "2026-01-01", "--only", "gpkg")
    lines = geopandas.read_file(tmp_path / "declination.gpkg", layer="contours")
    assert len(lines) >= 5
    latitude, longitude, value = along(lines, 300)
    off = (reference(latitude, longitude, 2026.0) - value + 180.0) % 360.0 - 180.0
    assert np.abs(off).max() < 0.01
    assert lines.total_bounds[0] >= -180.0
    assert lines.total_bounds[2] <= 180.0


def test_lines_of_the_grid_angle(tmp_path):
    """Source of convergence: pyproj's own factors."""
    run(tmp_path, "--bounds", "100,40,110,48", "--date", "2026-01-01", "--only", "geojson",
        "--what", "grid-magnetic", "--grid", "EPSG:32648")  # fmt: skip
    lines = geopandas.read_file(tmp_path / "grid-magnetic.geojson")
    latitude, longitude, value = along(lines, 100)
    convergence = Proj("EPSG:32648").get_factors(longitude, latitude).meridian_convergence
    off = reference(latitude, longitude, 2026.0) - convergence - value
    assert np.abs(off).max() < 0.01
    whole = json.loads((tmp_path / "grid-magnetic.geojson").read_text("utf-8"))
    assert "crs" not in whole
    assert "grid-magnetic, 2026-01-01, WMM2025" in whole["description"]


def test_the_lattice_as_csv_and_geotiff(tmp_path):
    run(tmp_path, "--bounds", "177,-20,-178,-10", "--step", "0.5", "--date", "2027",
        "--only", "csv", "--only", "tif")  # fmt: skip
    table = pd.read_csv(tmp_path / "lattice.csv")
    assert len(table) == 11 * 21
    assert table.longitude_deg.between(-180, 180).all()
    some = table.sample(60, random_state=1)
    declination = reference(some.latitude_deg, some.longitude_deg, 2027.5)
    assert np.abs(some.declination_deg - declination).max() < 1e-4
    with rasterio.open(tmp_path / "lattice.tif") as image:
        assert image.crs.to_epsg() == 4326
        assert image.descriptions[0] == "declination_deg"
        # A pixel's middle is its point: −15°, 179° and, beyond the date line, 181°.
        for longitude in (179.0, 181.0):
            (found,) = image.sample([(longitude, -15.0)], indexes=1)
            (wanted,) = reference([-15.0], [longitude - 360.0 * (longitude > 180)], 2027.5)
            assert found == pytest.approx(wanted, abs=1e-4)


@pytest.mark.long
def test_the_campaigns_sites_are_on_the_map(tmp_path):
    write_whole(tmp_path / "aldermoor", {"sites.csv": demo_tables.FILES["sites.csv"]})
    run(tmp_path / "map", "--around", str(tmp_path / "aldermoor"), "--date", "2026-06-01",
        "--only", "gpkg", "--only", "png")  # fmt: skip
    path = tmp_path / "map" / "declination.gpkg"
    assert {name for name, _ in pyogrio.list_layers(path)} == {"contours", "sites"}
    assert len(geopandas.read_file(path, layer="sites")) == 8
    data = (tmp_path / "map" / "declination.png").read_bytes()
    width, height = struct.unpack(">II", data[16:24])
    assert width > 1000
    assert height > 400


def test_other_quantities_have_lines_too(tmp_path):
    for what in ("change", "inclination", "horizontal"):
        run(tmp_path, "--bounds", "0,40,20,55", "--date", "2026", "--what", what, "--only", "gpkg")
        lines = geopandas.read_file(tmp_path / f"{what}.gpkg", layer="contours")
        assert 3 <= lines["value"].nunique() <= 15
    latitude, longitude, value = along(lines, 50)
    model = GeoMag()
    found = [model.calculate(a, b, 0.0, 2026.5).h for a, b in zip(latitude, longitude, strict=True)]
    assert np.abs(np.array(found) - value).max() < 0.02 * 1000


def test_no_shore_runs_across_the_map():
    """Rings over the 180th meridian go on, and the southern land is closed at the pole."""
    for points, _ in shores(-180.0, -90.0, 180.0, 90.0):
        step = np.abs(np.diff(points[:, 0]))
        assert (step[points[1:, 1] > -89.0] < 25.0).all()
    inside = shores(170.0, -50.0, 180.0, -34.0)
    assert all(points[:, 0].max() >= 170.0 for points, _ in inside)
    assert inside


@pytest.mark.parametrize(
    ("args", "column"),
    [
        (["--bounds", "1,2,3"], "--bounds"),
        (["--bounds", "1,50,3,40"], "--bounds"),
        (["--bounds", "1,40,3,50", "--step", "0.0001"], "--step"),
        (["--bounds", "1,40,3,50", "--date", "2090"], "--date"),
        (["--bounds", "1,40,3,50", "--what", "grid-magnetic"], "--grid"),
        (["--bounds", "1,40,3,50", "--grid", "EPSG:4326"], "--grid"),
    ],
)
def test_faults_of_the_command_line(tmp_path, args, column):
    with pytest.raises(InputError) as stop:
        cli.orient(["region", *args, "-o", str(tmp_path / "never")], standalone_mode=False)
    assert [fault.column for fault in stop.value.faults] == [column]
    assert not (tmp_path / "never").exists()
