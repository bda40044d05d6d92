"""Skylines from terrain: a cone and a ridge in closed form, and a real piece of country."""

import matplotlib.cbook
import numpy as np
import pytest
import rasterio
from click.testing import CliRunner
from pyproj import Geod, Transformer
from rasterio.transform import from_origin
from scipy.ndimage import map_coordinates

from orient.cli import orient
from orient.numbers.horizon import horizon_altitude_deg, parse_horizon
from orient.numbers.terrain import EARTH_RADIUS_M, REFRACTION, fewest_pairs, ground_altitude_deg
from orient.planning.skyline import NoTerrain, Terrain

UTM = "EPSG:32633"
CELL_M = 30.0
EAST, NORTH = 500_000.0, 5_200_000.0
LONGITUDE, LATITUDE = Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(EAST, NORTH)


def terrain_file(path, height_of, half_m=20_000.0, crs=UTM, nodata=None):
    """A terrain model about the site: `height_of(east, north)` from it, in metres."""
    size = int(2 * half_m / CELL_M)
    step = (np.arange(size) + 0.5) * CELL_M - half_m
    east, north = np.meshgrid(step, step[::-1])
    transform = from_origin(EAST - half_m, NORTH + half_m, CELL_M, CELL_M)
    with rasterio.open(
        path, "w", driver="GTiff", width=size, height=size, count=1, dtype="float32", crs=crs,
        transform=transform, nodata=nodata,
    ) as file:  # fmt: skip
        file.write(height_of(east, north).astype("float32"), 1)
    return path


def seen_of(path, **options):
    with Terrain(path) as terrain:
        return terrain.skyline(LATITUDE, LONGITUDE, 19_000.0, **options)


def test_curvature_and_refraction_against_a_ray_on_a_sphere():
    """Spherical geometry with a ray of curvature k/R: an earth of radius R / (1 − k)."""
    radius = EARTH_RADIUS_M / (1.0 - REFRACTION)
    for distance, rise in [(500.0, 80.0), (8_000.0, 900.0), (50_000.0, 3_000.0), (20_000.0, -50.0)]:
        turn = distance / radius
        up = (radius + rise) * np.cos(turn) - radius
        along = (radius + rise) * np.sin(turn)
        exact = np.degrees(np.arctan2(up, along))
        assert ground_altitude_deg(rise, distance) == pytest.approx(exact, abs=0.002)


def test_a_cone_in_closed_form(tmp_path):
    """A cone of slope s, its top d away: the top is the skyline toward it; sin of its half-width
    seen is r/d, r the radius of its foot."""
    top_m, radius_m, away_m = 900.0, 3_000.0, 9_000.0
    path = terrain_file(
        tmp_path / "cone.tif",
        lambda east, north: (
            500.0 + top_m * np.clip(1.0 - np.hypot(east - away_m, north) / radius_m, 0.0, None)
        ),
    )
    skyline = seen_of(path, eye_m=0.0)
    # The grid's north is not true north, and its scale not 1: 0.1° and 0.04 % at most here.
    geod = Geod(ellps="WGS84")
    back = Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
    there = back.transform(EAST + away_m, NORTH)
    azimuth, _, distance = geod.inv(LONGITUDE, LATITUDE, *there)
    horizon = (skyline.azimuth_deg, skyline.altitude_deg)
    drop = distance**2 * (1 - REFRACTION) / (2 * EARTH_RADIUS_M)
    top = np.degrees(np.arctan2(top_m - drop, distance))
    assert horizon_altitude_deg(horizon, azimuth) == pytest.approx(top, abs=0.06)
    half = np.degrees(np.arcsin(radius_m / away_m))
    for beside in (-half - 1.5, half + 1.5, 180.0):
        assert horizon_altitude_deg(horizon, azimuth + beside) == pytest.approx(0.0, abs=0.01)
    for beside in (-half / 2, half / 2):
        # The plane through the line of sight cuts the cone in a hyperbola, whose highest
        # altitude is found here along the ray.
        ray = np.linspace(5_000.0, 12_500.0, 20_001)
        turn = np.radians(beside)
        off = np.hypot(ray * np.cos(turn) - distance, ray * np.sin(turn))
        rise = top_m * np.clip(1.0 - off / radius_m, 0.0, None)
        best = ground_altitude_deg(rise, ray).max()
        assert horizon_altitude_deg(horizon, azimuth + beside) == pytest.approx(best, abs=0.06)


def test_a_long_ridge_in_closed_form(tmp_path):
    """A straight ridge h high, d away to the north: tan altitude = h cos A / d toward azimuth A."""
    high_m, away_m = 400.0, 3_000.0
    path = terrain_file(
        tmp_path / "ridge.tif",
        lambda east, north: (
            100.0 + high_m * np.clip((345.0 - np.abs(north - away_m)) / 300.0, 0.0, 1.0)
        ),
    )
    skyline = seen_of(path, eye_m=0.0)
    horizon = (skyline.azimuth_deg, skyline.altitude_deg)
    for azimuth in (0.0, 30.0, -45.0, 60.0):
        # The near edge of its flat top, 90 m wide, is the skyline.
        distance = (away_m - 45.0) / np.cos(np.radians(azimuth))
        exact = ground_altitude_deg(high_m, distance)
        # Half a cell of distance is 0.5 %, between two steps along the ray as much again.
        assert horizon_altitude_deg(horizon, azimuth) == pytest.approx(float(exact), rel=0.012)
    assert horizon_altitude_deg(horizon, 180.0) == 0.0


def test_a_real_piece_of_country_against_looking_cell_by_cell(tmp_path):
    """The elevation sample that matplotlib's wheel carries (`jacksboro_fault_dem.npz`)."""
    sample = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")
    height = sample["elevation"].astype("float32")
    step = float(sample["dx"])
    left, top = float(sample["xmin"]) - step / 2, float(sample["ymin"]) + step / 2
    path = tmp_path / "fault.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=height.shape[1], height=height.shape[0], count=1,
        dtype="float32", crs="EPSG:4326", transform=from_origin(left, top, step, step),
    ) as file:  # fmt: skip
        file.write(height, 1)
    row, column = 170, 200
    latitude, longitude = top - (row + 0.5) * step, left + (column + 0.5) * step
    with Terrain(path) as terrain:
        skyline = terrain.skyline(latitude, longitude, 12_000.0)
    assert skyline.ground_m == pytest.approx(float(height[row, column]), abs=0.01)
    # The same rays by another interpolator and another earth: scipy's, and small steps of
    # latitude and longitude on a sphere.
    sphere_m = 111_195.0
    away = []
    for number in range(0, 360, 7):
        turn, distance = np.radians(number), np.arange(130.0, 12_000.0, 20.0)
        lat = latitude + distance * np.cos(turn) / sphere_m
        lon = longitude + distance * np.sin(turn) / (sphere_m * np.cos(np.radians(lat)))
        cells = [(top - lat) / step - 0.5, (lon - left) / step - 0.5]
        ground = map_coordinates(height.astype(float), cells, order=1, cval=np.nan)
        rise = ground - height[row, column] - 1.2
        best = np.nanmax(ground_altitude_deg(rise, distance))
        away.append(abs(float(skyline.altitude_deg[number]) - max(best, 0.0)))
    # Ours steps 42 m, this one 20 m: a step of 20 m at 130 m on ground of 1 in 10 is 0.3°.
    assert np.median(away) < 0.05
    assert max(away) < 0.3
    assert skyline.altitude_deg.max() > 2.0


def test_the_text_holds_the_skyline(tmp_path):
    path = terrain_file(
        tmp_path / "hills.tif",
        lambda east, north: 300.0 + 250.0 * np.sin(east / 900.0) * np.cos(north / 1_100.0),
    )
    skyline = seen_of(path)
    horizon = parse_horizon(skyline.text)
    read = horizon_altitude_deg(horizon, skyline.azimuth_deg)
    assert np.abs(read - skyline.altitude_deg).max() <= 0.15 + 0.05 + 1e-9


def test_few_points_keep_the_line():
    azimuth = np.arange(361.0)
    altitude = np.interp(azimuth, [0, 50, 120, 200, 360], [3, 9, 1, 14, 3])
    assert fewest_pairs(azimuth, altitude, 1e-9).tolist() == [0, 50, 120, 200, 360]


def test_outside_the_model_and_no_model_are_told(tmp_path):
    path = terrain_file(tmp_path / "flat.tif", lambda east, north: 0.0 * east, half_m=3_000.0)
    with Terrain(path) as terrain, pytest.raises(NoTerrain, match="outside"):
        terrain.skyline(LATITUDE + 1.0, LONGITUDE, 5_000.0)
    other = tmp_path / "notes.txt"
    other.write_text("no raster")
    with pytest.raises(NoTerrain, match="can be read"):
        Terrain(other)


def test_the_command_says_what_the_sun_does_at_the_skyline(tmp_path):
    camp = tmp_path / "camp"
    assert CliRunner().invoke(orient, ["new", str(camp)]).exit_code == 0
    (camp / "sites.csv").write_text(
        f"site,latitude_deg,longitude_deg\nhut,{LATITUDE:.6f},{LONGITUDE:.6f}\n"
    )
    path = terrain_file(
        tmp_path / "wall.tif",
        lambda east, north: np.where((east > 1_000.0) & (east < 1_100.0), 500.0, 0.0),
    )
    run = CliRunner().invoke(orient, ["skyline", str(camp), "--dem", str(path)])
    assert run.exit_code == 0, run.output
    assert "hut" in run.output
    run = CliRunner().invoke(orient, ["skyline", str(camp), "--dem", str(path), "--save"])
    assert run.exit_code == 0, run.output
    text = (camp / "sites.csv").read_text().splitlines()[1].split(",")[-1]
    horizon = parse_horizon(text)
    assert horizon_altitude_deg(horizon, 90.0) == pytest.approx(26.4, abs=0.6)
    assert horizon_altitude_deg(horizon, 270.0) == pytest.approx(0.0, abs=0.1)
    again = CliRunner().invoke(orient, ["skyline", str(camp), "--dem", str(path), "--save"])
    assert again.exit_code == 1
    assert "--force" in str(again.exception)
    assert "hut" in str(again.exception)
    # The plan honours it: no mark before the sun clears the wall.
    plan = CliRunner().invoke(
        orient, ["plan", str(camp), "--from", "2026-06-10", "--format", "csv"]
    )
    assert plan.exit_code == 0


def test_a_measured_skyline(tmp_path):
    camp = tmp_path / "camp"
    assert CliRunner().invoke(orient, ["new", str(camp)]).exit_code == 0
    (camp / "sites.csv").write_text("site,latitude_deg,longitude_deg\nhut,47,12\nbarn,47.1,12\n")
    readings = tmp_path / "read.csv"
    readings.write_text("site,azimuth_deg,altitude_deg\nhut,80,5\nhut,120,12.5\nhut,350,2\n")
    run = CliRunner().invoke(orient, ["skyline", str(camp), "--measured", str(readings), "--save"])
    assert run.exit_code == 0, run.output
    assert "80:5 120:12.5 350:2" in (camp / "sites.csv").read_text()
    readings.write_text("site,azimuth_deg,altitude_deg\nhat,80,5\nhut,400,95\n")
    run = CliRunner().invoke(orient, ["skyline", str(camp), "--measured", str(readings)])
    assert run.exit_code == 1
    for said in ("hut", "azimuth_deg", "altitude_deg"):
        assert said in str(run.exception)
