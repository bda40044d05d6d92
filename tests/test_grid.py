"""Grid north against geodesics, plain geometry in space and closed forms."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from orient.numbers import grid

# A point in each grid, WGS 84 degrees: all continents, both hemispheres, every usual projection.
GRIDS = [
    ("EPSG:32633", 60.1, 17.9, "transverse Mercator, Europe"),
    ("EPSG:32736", -12.3, 30.4, "transverse Mercator, southern Africa"),
    ("EPSG:32719", -33.2, -71.6, "transverse Mercator, South America"),
    ("EPSG:27700", 57.2, -6.1, "transverse Mercator on its own datum, Britain"),
    ("EPSG:2193", -44.1, 169.2, "transverse Mercator, New Zealand"),
    ("EPSG:28355", -37.4, 145.1, "transverse Mercator, Australia"),
    ("EPSG:2053", -27.6, 29.8, "transverse Mercator, axes west and south"),
    ("EPSG:2154", 44.2, 6.3, "Lambert conformal, Europe"),
    ("EPSG:27572", 46.7, 4.4, "Lambert conformal in grads from Paris"),
    ("EPSG:3112", -22.0, 120.0, "Lambert conformal, Australia"),
    ("EPSG:3978", 60.0, -130.0, "Lambert conformal, North America"),
    ("EPSG:2263", 40.9, -72.7, "Lambert conformal in US survey feet"),
    ("EPSG:29873", 4.3, 114.8, "oblique Mercator, Asia"),
    ("EPSG:2056", 46.6, 9.9, "oblique Mercator, Europe"),
    ("EPSG:3078", 45.2, -84.1, "oblique Mercator, North America"),
    ("EPSG:5514", 49.4, 17.6, "oblique conic, axes east and north"),
    ("EPSG:5513", 49.4, 17.6, "oblique conic, axes south and west"),
    ("EPSG:28992", 52.3, 6.2, "oblique stereographic"),
    ("EPSG:32661", 85.2, -130.0, "polar stereographic, north"),
    ("EPSG:3031", -71.3, 112.0, "polar stereographic, Antarctica"),
    ("EPSG:29701", -17.4, 48.3, "oblique Mercator of Laborde, Africa"),
    ("EPSG:3832", -8.1, 178.2, "Mercator, Pacific"),
]
crs_point = pytest.mark.parametrize(
    ("crs", "latitude_deg", "longitude_deg"),
    [pytest.param(*row[:3], id=f"{row[0]} {row[3]}") for row in GRIDS],
)

ARCSEC = 1.0 / 3600.0


def own_datum(crs: str, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """A WGS 84 point in degrees on the grid's own datum."""
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    latitude, longitude = grid._open(crs).unproject(
        np.array([figures.easting_m]), np.array([figures.northing_m])
    )
    return float(latitude[0]), float(longitude[0])


def geodesic_on(crs: str) -> Geodesic:
    ellipsoid = pyproj.CRS(crs).ellipsoid
    assert ellipsoid is not None
    flattening = 1 / ellipsoid.inverse_flattening if ellipsoid.inverse_flattening else 0.0
    return Geodesic(ellipsoid.semi_major_metre, flattening)


def along(
    crs: str, latitude_deg: float, longitude_deg: float, azimuth_deg: float, way_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Grid coordinates of points along a geodesic that starts at an own-datum point."""
    line = geodesic_on(crs).Line(latitude_deg, longitude_deg, azimuth_deg)
    places = [line.Position(float(way)) for way in way_m]
    return grid._open(crs).project(
        np.array([place["lat2"] for place in places]),
        np.array([place["lon2"] for place in places]),
    )


def bearing_at_start(
    crs: str, latitude_deg: float, longitude_deg: float, azimuth_deg: float
) -> float:
    """Grid bearing in which a geodesic leaves, by a fourth-order difference along it."""
    step = 500.0
    easting, northing = along(
        crs, latitude_deg, longitude_deg, azimuth_deg, step * np.array([-2, -1, 1, 2])
    )
    weights = np.array([1, -8, 8, -1])
    return float(np.degrees(np.arctan2(weights @ easting, weights @ northing)))


def difference(first_deg: float, second_deg: float) -> float:
    return float((first_deg - second_deg + 180.0) % 360.0 - 180.0)


# --- convergence and scale -----------------------------------------------------------------


@crs_point
def test_convergence_by_a_difference_along_the_meridian(crs, latitude_deg, longitude_deg):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    true_north = bearing_at_start(crs, *own_datum(crs, latitude_deg, longitude_deg), 0.0)
    # Grid bearing = true azimuth − γ, and the meridian's azimuth is 0.
    assert difference(true_north, -figures.convergence_deg) == pytest.approx(0, abs=0.001 * ARCSEC)
    assert figures.conformal


@crs_point
def test_convergence_holds_for_a_geodesic_in_any_direction(crs, latitude_deg, longitude_deg):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    place = own_datum(crs, latitude_deg, longitude_deg)
    for azimuth in (63.0, 201.0, 318.0):
        bearing = bearing_at_start(crs, *place, azimuth)
        expected = grid.grid_bearing(azimuth, figures.convergence_deg)
        assert difference(bearing, expected) == pytest.approx(0, abs=0.01 * ARCSEC)


@crs_point
def test_scale_by_a_difference_along_geodesics(crs, latitude_deg, longitude_deg):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    place = own_datum(crs, latitude_deg, longitude_deg)
    for azimuth in (0.0, 90.0, 140.0):
        easting, northing = along(crs, *place, azimuth, 500.0 * np.array([-2, -1, 1, 2]))
        weights = np.array([1, -8, 8, -1]) / (12 * 500.0)
        scale = np.hypot(weights @ easting, weights @ northing)
        assert figures.scale_factor == pytest.approx(scale, abs=3e-9)


def test_convergence_sign_as_every_handbook_draws_it():
    # North of the equator and east of the central meridian grid north lies east of true north.
    east, west = grid.grid_figures(50.0, [16.0, 14.0], "EPSG:32633").convergence_deg
    assert east > 0 > west
    assert east == pytest.approx(-west, abs=1e-10)
    south = grid.grid_figures(-50.0, 16.0, "EPSG:32733").convergence_deg
    assert south == pytest.approx(-east, abs=1e-10)
    # On a cone convergence is the cone's constant times the longitude: RGF93 / Lambert-93 has
    # standard parallels 44° and 49°, n = 0.7256077650 (NTG 71, IGN, *from memory*).
    lambert = grid.grid_figures(45.0, [3.0, 5.0, -1.0], "EPSG:2154").convergence_deg
    assert lambert == pytest.approx(0.7256077650 * np.array([0.0, 2.0, -4.0]), abs=1e-8)


@given(st.floats(-180, 180), st.floats(84, 90))
def test_polar_convergence_is_the_longitude(longitude_deg, latitude_deg):
    north = grid.grid_figures(latitude_deg, longitude_deg, "EPSG:32661")
    south = grid.grid_figures(-latitude_deg, longitude_deg, "EPSG:32761")
    assert difference(north.convergence_deg, longitude_deg) == pytest.approx(0, abs=1e-8)
    assert difference(south.convergence_deg, -longitude_deg) == pytest.approx(0, abs=1e-8)


@pytest.mark.slow
def test_every_projection_of_the_registry_by_a_difference_along_the_meridian():
    """Each projected CRS of the EPSG registry that can be computed, at a point of its area."""
    checked = 0
    for info in grid._registry():
        crs = f"EPSG:{info.code}"
        if grid.check_grid(crs) is not None:
            continue
        opened = grid._open(crs)
        west, south, east, north = opened.area
        width = (east - west) % 360 or 360
        latitude, longitude = 0.4 * south + 0.6 * north, west + 0.7 * width
        convergence = grid.grid_figures(latitude, longitude, crs).convergence_deg
        step = 0.005
        nodes = step * np.array([-2.0, -1.0, 1.0, 2.0])
        own_latitude, own_longitude = own_datum(crs, latitude, longitude)
        easting, northing = opened.project(own_latitude + nodes, np.full(4, own_longitude))
        weights = np.array([1, -8, 8, -1])
        meridian = np.degrees(np.arctan2(weights @ easting, weights @ northing))
        assert abs(difference(meridian, -convergence)) < 0.005 * ARCSEC, (crs, info.name)
        checked += 1
    assert checked > 5000


def test_scale_of_a_projection_that_is_not_conformal():
    equal_area = grid.grid_figures(60.0, 20.0, "EPSG:3035")
    assert not equal_area.conformal
    assert equal_area.scale_factor == pytest.approx(1.0, abs=1e-9)
    assert equal_area.meridional_scale < 1 < equal_area.parallel_scale
    # The web map's sphere is no conformal picture of the ellipsoid: east–west scale is
    # a / (N cos φ), north–south a / (M cos φ).
    web = grid.grid_figures(50.0, 10.0, "EPSG:3857")
    semi_major, squared = 6378137.0, 0.00669437999014
    across = 1 - squared * np.sin(np.radians(50.0)) ** 2
    parallel = np.sqrt(across) / np.cos(np.radians(50.0))
    meridional = across**1.5 / (1 - squared) / np.cos(np.radians(50.0))
    assert not web.conformal
    assert web.parallel_scale == pytest.approx(parallel, rel=1e-9)
    assert web.meridional_scale == pytest.approx(meridional, rel=1e-9)
    assert web.easting_m == pytest.approx(np.radians(10.0) * semi_major, abs=1e-6)


def in_space(
    crs: str, latitude_deg: np.ndarray, longitude_deg: np.ndarray, height_m: float
) -> np.ndarray:
    """Earth-centred coordinates on the ellipsoid of a CRS, from the textbook's closed form."""
    ellipsoid = pyproj.CRS(crs).ellipsoid
    assert ellipsoid is not None
    flattening = 1 / ellipsoid.inverse_flattening
    squared = flattening * (2 - flattening)
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    normal = ellipsoid.semi_major_metre / np.sqrt(1 - squared * np.sin(latitude) ** 2)
    return np.array(
        [
            (normal + height_m) * np.cos(latitude) * np.cos(longitude),
            (normal + height_m) * np.cos(latitude) * np.sin(longitude),
            (normal * (1 - squared) + height_m) * np.sin(latitude),
        ]
    )


@pytest.mark.parametrize("elevation_m", [0.0, 1500.0, 4200.0])
def test_combined_factor_by_distances_in_space(elevation_m):
    latitude, longitude, crs = 46.0, 9.4, "EPSG:32632"
    figures = grid.grid_figures(latitude, longitude, crs, elevation_m)
    ratios = []
    for azimuth in (0.0, 90.0):
        line = Geodesic.WGS84.Line(latitude, longitude, azimuth)
        ends = [line.Position(way) for way in (-50.0, 50.0)]
        latitudes, longitudes = (np.array([end[key] for end in ends]) for key in ("lat2", "lon2"))
        easting, northing = grid._open(crs).project(latitudes, longitudes)
        space = in_space(crs, latitudes, longitudes, elevation_m)
        ratios.append(np.hypot(*np.diff([easting, northing])) / np.linalg.norm(np.diff(space)))
    # The mean radius stands between those along and across the meridian: 2e-6 at 4 km.
    assert ratios[0] == pytest.approx(ratios[1], abs=4e-6)
    assert figures.combined_factor == pytest.approx(np.sqrt(ratios[0] * ratios[1]), abs=2e-9)


# --- datum -----------------------------------------------------------------------------------


def test_transformation_is_named_with_its_accuracy():
    figures = grid.grid_figures([51.5, -35.0], [-1.0, 149.0], "EPSG:27700")
    assert "OSGB36 to WGS 84" in figures.shift.transformation[0]
    assert figures.shift.accuracy_m[0] == 2.0
    assert figures.shift.ballpark.tolist() == [False, True]
    assert np.isnan(figures.shift.accuracy_m[1])
    home = grid.grid_figures(51.5, -1.0, "EPSG:32630")
    assert home.shift.transformation == "none, the grid is on WGS 84"
    assert home.shift.accuracy_m == 0.0
    assert not home.shift.ballpark


def test_a_transformation_outside_its_area_is_ballpark():
    # The only transformation of ETRS89 is Europe's.
    figures = grid.grid_figures([50.0, 50.0], [15.0, -100.0], "EPSG:25833")
    assert figures.shift.ballpark.tolist() == [False, True]


@pytest.mark.parametrize(
    ("crs", "latitude_deg", "longitude_deg"),
    [("EPSG:27700", 53.0, -2.0), ("EPSG:26717", 38.0, -81.0), ("EPSG:30169", 35.5, 139.5)],
)
@pytest.mark.filterwarnings("ignore:Best transformation:UserWarning")
def test_transformation_is_the_best_the_library_has_for_the_place(crs, latitude_deg, longitude_deg):
    place = pyproj.aoi.AreaOfInterest(longitude_deg, latitude_deg, longitude_deg, latitude_deg)
    group = pyproj.transformer.TransformerGroup(
        "EPSG:4326", pyproj.CRS(crs).geodetic_crs, always_xy=True, area_of_interest=place
    )
    best = min(step.accuracy for step in group.transformers if step.accuracy >= 0)
    assert grid.grid_figures(latitude_deg, longitude_deg, crs).shift.accuracy_m == best


def test_own_datum_is_used():
    # Its datum lies about 120 m from WGS 84 in the west of Britain.
    figures = grid.grid_figures(52.0, -4.0, "EPSG:27700")
    blind = grid._open("EPSG:27700").project(np.array([52.0]), np.array([-4.0]))
    assert 60 < np.hypot(figures.easting_m - blind[0], figures.northing_m - blind[1])[0] < 200


def test_shift_stated_by_the_grid_itself_is_used():
    # The projection of EPSG:31259 (MGI / Austria GK M34), and one of the registry's shifts of
    # that datum, which agree among themselves to their accuracy, 2 m.
    bare = "+proj=tmerc +lon_0=16.33333333333333 +x_0=750000 +y_0=-5000000 +ellps=bessel"
    stated = f"{bare} +towgs84=577.326,90.129,463.919,5.137,1.474,5.297,2.4232"
    registered = grid.grid_figures(47.5, 16.0, "EPSG:31259")
    figures = grid.grid_figures(47.5, 16.0, [bare, stated])
    assert figures.shift.ballpark.tolist() == [True, False]
    assert figures.easting_m[1] == pytest.approx(registered.easting_m, abs=2.0)
    assert figures.northing_m[1] == pytest.approx(registered.northing_m, abs=2.0)
    assert abs(figures.easting_m[0] - figures.easting_m[1]) > 50


@pytest.mark.parametrize("enabled", [False, True])
def test_the_network_is_off_while_grids_are_opened_and_then_as_it_was(enabled, monkeypatch):
    asked = []
    find = grid.TransformerGroup

    def watched(*args, **keywords):
        asked.append(pyproj.network.is_network_enabled())
        return find(*args, **keywords)

    monkeypatch.setattr(grid, "TransformerGroup", watched)
    pyproj.network.set_network_enabled(enabled)
    try:
        grid._operations.__wrapped__(pyproj.CRS("EPSG:4314"))
        assert asked == [False]
        assert pyproj.network.is_network_enabled() is enabled
    finally:
        pyproj.network.set_network_enabled(False)


def frame(latitude_deg: float, longitude_deg: float) -> np.ndarray:
    """East, north and up at a point, as rows in earth-centred axes."""
    latitude, longitude = np.radians([latitude_deg, longitude_deg])
    sin_lat, cos_lat, sin_lon, cos_lon = (
        np.sin(latitude),
        np.cos(latitude),
        np.sin(longitude),
        np.cos(longitude),
    )
    return np.array(
        [
            [-sin_lon, cos_lon, 0.0],
            [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
            [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
        ]
    )


@pytest.mark.parametrize(
    ("crs", "latitude_deg", "longitude_deg"),
    [("EPSG:26717", 38.0, -81.0), ("EPSG:30169", 35.5, 139.5), ("EPSG:20936", -16.0, 34.0)],
)
def test_datum_turn_by_directions_in_space(crs, latitude_deg, longitude_deg):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    (used,) = {
        operation.transformer.definition
        for operation in grid._open(crs).operations
        if operation.name == figures.shift.transformation
    }
    # A mere translation leaves the axes of the two datums parallel, so that one direction in
    # space is seen in both local frames.
    assert "helmert" in used
    assert "rx=" not in used
    north = frame(latitude_deg, longitude_deg)[1]
    seen = frame(*own_datum(crs, latitude_deg, longitude_deg)) @ north
    turn = np.degrees(np.arctan2(seen[0], seen[1]))
    assert figures.datum_turn_deg == pytest.approx(turn, abs=0.005 * ARCSEC)
    assert abs(turn) > 0.1 * ARCSEC


@crs_point
def test_grid_coordinates_return_the_place(crs, latitude_deg, longitude_deg):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    latitude, longitude, shift = grid.to_geographic(figures.easting_m, figures.northing_m, crs)
    # A change of datum reckons with height 0 on the side it starts from: 6 mm there and back.
    apart_m = 0.01 if figures.shift.accuracy_m > 0 else 1e-5
    assert (latitude - latitude_deg) * 111e3 == pytest.approx(0, abs=apart_m)
    assert difference(longitude, longitude_deg) * 111e3 == pytest.approx(0, abs=apart_m)
    assert shift.transformation == figures.shift.transformation
    assert shift.ballpark == figures.shift.ballpark


def test_axes_and_units_are_turned_to_metres_east_and_north():
    east_north = grid.grid_figures(49.4, 17.6, "EPSG:5514")
    south_west = grid.grid_figures(49.4, 17.6, "EPSG:5513")
    assert south_west.easting_m == pytest.approx(east_north.easting_m, abs=1e-6)
    assert south_west.northing_m == pytest.approx(east_north.northing_m, abs=1e-6)
    assert south_west.convergence_deg == pytest.approx(east_north.convergence_deg, abs=1e-9)
    # East of the central meridian and south of the equator.
    lo29 = grid.grid_figures(-27.6, 29.8, "EPSG:2053")
    assert lo29.easting_m > 0 > lo29.northing_m
    feet, metres = grid.grid_figures(40.9, -72.7, ["EPSG:2263", "EPSG:32118"]).easting_m
    assert feet == pytest.approx(metres, abs=0.001)


def test_a_height_beside_the_grid_changes_nothing():
    plain = grid.grid_figures(52.0, -1.0, "EPSG:27700")
    with_height = grid.grid_figures(52.0, -1.0, "EPSG:7405")
    assert with_height.convergence_deg == plain.convergence_deg
    assert with_height.easting_m == plain.easting_m


# --- edges -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "latitude_deg", "longitude_deg", "near", "neighbour"),
    [
        ("EPSG:32633", 48.0, 15.0, False, ""),
        # 10′ of arc is 0.249° of longitude at 48°.
        ("EPSG:32633", 48.0, 12.24, True, "EPSG:32632"),
        ("EPSG:32633", 48.0, 12.26, False, ""),
        ("EPSG:32633", 48.0, 17.76, True, "EPSG:32634"),
        ("EPSG:32633", 48.0, 19.5, True, "EPSG:32634"),
        ("EPSG:32601", 10.0, -179.95, True, "EPSG:32660"),
        ("EPSG:32660", 10.0, -179.95, True, "EPSG:32601"),
        # Within the widened zone of the Norwegian coast, and in the narrow one beside it.
        ("EPSG:32632", 60.0, 5.0, False, ""),
        ("EPSG:32631", 60.0, 5.0, True, "EPSG:32632"),
        ("EPSG:32633", 78.0, 15.0, False, ""),
        ("EPSG:32633", 83.9, 15.0, True, "EPSG:32661"),
        ("EPSG:32661", 84.1, 15.0, True, "EPSG:32633"),
        ("EPSG:32661", 88.0, 15.0, False, ""),
        ("EPSG:32661", 90.0, 15.0, False, ""),
        ("EPSG:32761", -79.0, 15.0, True, "EPSG:32733"),
        # The equator changes the false northing.
        ("EPSG:32633", 0.1, 15.0, True, "EPSG:32733"),
        ("EPSG:32633", 0.2, 15.0, False, ""),
        # The same zone scheme on another datum has its neighbour there.
        ("EPSG:25832", 48.0, 11.9, True, "EPSG:25833"),
        ("EPSG:23032", 48.0, 9.0, False, ""),
        # Zones of a national series, by their areas of use.
        ("EPSG:28355", -36.0, 149.9, True, "EPSG:28356"),
        ("EPSG:28355", -36.0, 147.0, False, ""),
        ("EPSG:2053", -27.0, 30.1, True, "EPSG:2054"),
        # A country of one zone.
        ("EPSG:27700", 52.0, -1.0, False, ""),
        ("EPSG:27700", 48.0, 9.0, True, ""),
    ],
)
def test_edges(crs, latitude_deg, longitude_deg, near, neighbour):
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    assert figures.near_edge == near
    assert figures.neighbour_grid == neighbour
    if neighbour:
        other = grid.grid_figures(latitude_deg, longitude_deg, neighbour)
        assert figures.neighbour_convergence_deg == other.convergence_deg
        assert figures.neighbour_scale_factor == other.scale_factor
    else:
        assert np.isnan(figures.neighbour_convergence_deg)


@given(st.floats(-90, 90), st.floats(-720, 720))
def test_default_grid_is_one_that_knows_the_point_as_its_own(latitude_deg, longitude_deg):
    crs = grid.default_grid(latitude_deg, longitude_deg)
    figures = grid.grid_figures(latitude_deg, longitude_deg, crs)
    assert figures.neighbour_grid != crs
    assert abs(figures.scale_factor - 1) < 0.02
    if not figures.near_edge:
        for step in (-0.1, 0.1):
            assert grid.default_grid(latitude_deg, longitude_deg + step) == crs


# --- lines -------------------------------------------------------------------------------------


@crs_point
def test_arc_to_chord_by_the_geodesic_drawn_on_the_grid(crs, latitude_deg, longitude_deg):
    place = own_datum(crs, latitude_deg, longitude_deg)
    for azimuth, length in ((120.0, 100.0), (31.0, 20_000.0), (262.0, 60_000.0)):
        easting, northing = along(crs, *place, azimuth, np.array([0.0, length]))
        bearing = bearing_at_start(crs, *place, azimuth)
        chord = np.degrees(np.arctan2(*np.diff([easting, northing]).ravel()))
        found = grid.line_between(
            easting[0], northing[0], easting[1], northing[1], crs
        ).arc_to_chord_deg
        assert found == pytest.approx(difference(bearing, chord), abs=0.01 * ARCSEC)


def test_arc_to_chord_by_the_classical_series():
    # (2 E₁ + E₂)(N₂ − N₁) / 6 R², eastings from the central meridian, R the mean radius on the
    # grid: the textbook's leading term on the transverse Mercator projection (*from memory*). A
    # projected geodesic bows away from the central meridian: going north in the east of a zone
    # it sets out to the right of its chord.
    crs, central, scale = "EPSG:32633", 500_000.0, 0.9996
    start = grid.grid_figures(45.0, 17.8, crs)
    for azimuth in range(0, 360, 30):
        easting = start.easting_m + 5_000 * np.sin(np.radians(azimuth))
        northing = start.northing_m + 5_000 * np.cos(np.radians(azimuth))
        latitude, _, _ = grid.to_geographic(easting, northing, crs)
        across = 1 - 0.00669437999014 * np.sin(np.radians((latitude + 45) / 2)) ** 2
        radius = scale * 6378137.0 * np.sqrt(1 - 0.00669437999014) / across
        sum_of_eastings = 2 * (start.easting_m - central) + easting - central
        series = np.degrees(sum_of_eastings * (northing - start.northing_m) / (6 * radius**2))
        found = grid.line_between(
            start.easting_m, start.northing_m, easting, northing, crs
        ).arc_to_chord_deg
        # The series leaves out the eccentricity and the fourth order of easting over radius.
        assert found == pytest.approx(series, abs=0.003 * ARCSEC)
    north = grid.line_between(
        start.easting_m, start.northing_m, start.easting_m, start.northing_m + 5_000, crs
    ).arc_to_chord_deg
    assert 2 * ARCSEC < north < 4 * ARCSEC


@pytest.mark.parametrize("crs", ["EPSG:29701", "EPSG:3035", "EPSG:6933", "EPSG:8857"])
def test_inverse_is_as_good_as_the_projection(crs):
    # One by one the library's inverses of these are off by 0.1 to 2 mm.
    opened = grid._open(crs)
    west, south, east, north = opened.area
    place = 0.4 * south + 0.6 * north, 0.3 * west + 0.7 * east
    easting, northing = opened.project(*(np.array([angle]) for angle in place))
    again = opened.project(*opened.unproject(easting, northing))
    assert again[0] == pytest.approx(easting, abs=1e-5)
    assert again[1] == pytest.approx(northing, abs=1e-5)


@crs_point
def test_line_from_either_end(crs, latitude_deg, longitude_deg):
    place = own_datum(crs, latitude_deg, longitude_deg)
    end = geodesic_on(crs).Direct(*place, 73.0, 12_345.0)
    easting, northing = along(crs, *place, 73.0, np.array([0.0, 12_345.0]))
    ends = easting[0], northing[0], easting[1], northing[1]
    there, back = grid.line_between(*ends, crs), grid.line_between(*ends[2:], *ends[:2], crs)
    assert there.azimuth_deg == pytest.approx(73.0, abs=0.001 * ARCSEC)
    assert difference(back.azimuth_deg, end["azi2"] + 180) == pytest.approx(0, abs=0.001 * ARCSEC)
    chord = np.degrees(np.arctan2(*np.diff([easting, northing]).ravel()))
    for line, at, bearing in (
        (there, place, chord),
        (back, (end["lat2"], end["lon2"]), chord + 180.0),
    ):
        convergence = pyproj.Proj(crs).get_factors(*at[::-1]).meridian_convergence
        found = grid.grid_bearing(line.azimuth_deg, convergence, line.arc_to_chord_deg)
        assert difference(found, bearing) == pytest.approx(0, abs=1e-9)


def test_a_line_of_no_length_has_no_direction():
    line = grid.line_between(500_000, 5_000_000, [500_000, 500_100], 5_000_000, "EPSG:32633")
    assert np.isnan(line.azimuth_deg[0])
    assert np.isnan(line.arc_to_chord_deg[0])
    # On the central meridian's parallel the geodesic sets out due east, and the grid with it.
    assert line.azimuth_deg[1] == pytest.approx(90.0, abs=1e-3)


@pytest.mark.parametrize(("length_m", "most_arcsec"), [(20_000.0, 0.0012), (100_000.0, 0.03)])
def test_plane_of_sight_differs_from_the_geodesic_as_little_as_stated(length_m, most_arcsec):
    apart = []
    for azimuth in np.arange(5.0, 360.0, 20.0):
        end = Geodesic.WGS84.Direct(10.0, 0.0, azimuth, length_m)
        space = in_space(
            "EPSG:4326", np.array([10.0, end["lat2"]]), np.array([0.0, end["lon2"]]), 0.0
        )
        east, north, _ = frame(10.0, 0.0) @ np.diff(space).ravel()
        apart.append(difference(np.degrees(np.arctan2(east, north)), azimuth) / ARCSEC)
    assert 0.5 * most_arcsec < np.max(np.abs(apart)) < most_arcsec


def test_bearings():
    assert grid.grid_bearing(1.0, 2.5) == 358.5
    assert grid.grid_bearing(359.9, -0.4, 0.1) == pytest.approx(0.2)
    assert grid.grid_to_magnetic_deg(3.0, 1.2) == pytest.approx(1.8)
    assert grid.grid_to_magnetic_deg([170.0], [-30.0]).tolist() == [-160.0]


# --- the plumb line ------------------------------------------------------------------------------


def azimuth_and_altitude(
    direction: np.ndarray, latitude_deg: float, longitude_deg: float
) -> tuple[float, float]:
    east, north, up = frame(latitude_deg, longitude_deg) @ direction
    return np.degrees(np.arctan2(east, north)), np.degrees(np.arcsin(up))


deflections = given(
    latitude_deg=st.floats(-70, 70),
    longitude_deg=st.floats(-180, 180),
    xi_arcsec=st.floats(-60, 60),
    eta_arcsec=st.floats(-60, 60),
    azimuth_deg=st.floats(0, 360),
    altitude_deg=st.floats(-30, 30),
)


@deflections
@settings(max_examples=300)
def test_laplace_by_the_rotation_between_the_two_horizons(
    latitude_deg, longitude_deg, xi_arcsec, eta_arcsec, azimuth_deg, altitude_deg
):
    azimuth, altitude = np.radians([azimuth_deg, altitude_deg])
    local = np.array(
        [
            np.sin(azimuth) * np.cos(altitude),
            np.cos(azimuth) * np.cos(altitude),
            np.sin(altitude),
        ]
    )
    direction = frame(latitude_deg, longitude_deg).T @ local
    plumb = grid.astronomic_coordinates(latitude_deg, longitude_deg, xi_arcsec, eta_arcsec)
    astronomic, _ = azimuth_and_altitude(direction, *plumb)
    correction = grid.laplace_correction_deg(
        latitude_deg, xi_arcsec, eta_arcsec, azimuth_deg, altitude_deg
    )
    assert difference(astronomic - correction, azimuth_deg) == pytest.approx(0, abs=0.2 * ARCSEC)


def test_astronomic_coordinates_are_the_direction_of_the_plumb_line():
    plumb = frame(*grid.astronomic_coordinates(85.0, 10.0, 30.0, -52.0))[2]
    east, north, up = frame(85.0, 10.0) @ plumb
    assert np.degrees(north / up) / ARCSEC == pytest.approx(30.0, abs=0.1)
    assert np.degrees(east / up) / ARCSEC == pytest.approx(-52.0, abs=0.1)


@pytest.mark.parametrize("latitude_deg", [-55.0, 20.0, 65.0])
@pytest.mark.parametrize("sun_azimuth_deg", [75.0, 170.0, 290.0])
def test_board_on_a_deflected_bubble(latitude_deg, sun_azimuth_deg):
    """A board levelled by bubble, the sun at 40°, a level line at 25° by board direction."""
    xi, eta, longitude, altitude, line = 20.0, -35.0, 12.0, 40.0, 25.0
    high, round_ = np.radians([altitude, sun_azimuth_deg])
    sun = frame(latitude_deg, longitude).T @ np.array(
        [np.sin(round_) * np.cos(high), np.cos(round_) * np.cos(high), np.sin(high)]
    )
    plumb = grid.astronomic_coordinates(latitude_deg, longitude, xi, eta)
    # The board, level to the plumb line, its +y axis at astronomic azimuth 0: what is read on it
    # toward the sun is the sun's astronomic azimuth.
    board_direction, _ = azimuth_and_altitude(sun, *plumb)
    level = np.array([np.sin(np.radians(line)), np.cos(np.radians(line)), 0.0])
    geodetic_line, _ = azimuth_and_altitude(frame(*plumb).T @ level, latitude_deg, longitude)

    # The sun computed with astronomic coordinates: astronomic, then Laplace's level term.
    astronomic_axis = azimuth_and_altitude(sun, *plumb)[0] - board_direction
    by_laplace = astronomic_axis + line - grid.laplace_correction_deg(latitude_deg, xi, eta)
    # The sun computed with geodetic coordinates: geodetic but for the sun's own term.
    geodetic_axis = sun_azimuth_deg - board_direction
    by_sun = geodetic_axis + line + grid.sun_deflection_deg(xi, eta, sun_azimuth_deg, altitude)
    assert difference(by_laplace, geodetic_line) == pytest.approx(0, abs=0.03 * ARCSEC)
    assert difference(by_sun, geodetic_line) == pytest.approx(0, abs=0.03 * ARCSEC)
    assert abs(difference(geodetic_axis + line, geodetic_line)) > 3 * ARCSEC


def test_likely_deflection():
    # Kaula's rule: 10⁻⁵ / n² for each of the 2 n + 1 coefficients of degree n; the slope of the
    # geoid has n (n + 1) times the power of its height, half of it in each component.
    degree = np.arange(2.0, 10_801.0)
    power = np.sum((2 * degree + 1) * degree * (degree + 1) * (1e-5 / degree**2) ** 2)
    one_component = np.degrees(np.sqrt(power / 2)) / ARCSEC
    assert pytest.approx(one_component, abs=0.05) == grid.DEFLECTION_RMS_ARCSEC
    assert grid.sun_deflection_u_deg(60.0) == pytest.approx(6.5 * ARCSEC * np.sqrt(3))


# --- what comes in and goes out ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("EPSG:99999", "unknown"),
        ("", "unknown"),
        ("grid north", "unknown"),
        ("32633", "EPSG:32633"),
        ("+init=epsg:32633", "EPSG:32633"),
        ("EPSG:4326", "latitude and longitude"),
        ("EPSG:4979", "latitude and longitude"),
        ("EPSG:4978", "earth-centred"),
        ("EPSG:5701", "height"),
        ('LOCAL_CS["quarry"]', "Engineering"),
        # A projection method that the library does not compute.
        ("EPSG:3173", "cannot be computed"),
        ("IAU_2015:30135", "no grid of the earth"),
        ("+proj=utm +zone=99", "unknown"),
        ("EPSG:32600", "cannot be computed"),
    ],
)
def test_texts_that_are_no_grid(text, said):
    assert said in grid.check_grid(text)


@pytest.mark.parametrize("text", ["EPSG:32633", " epsg:32633 ", "EPSG:2053", "EPSG:7405"])
def test_texts_that_are_a_grid(text):
    assert grid.check_grid(text) is None


def test_every_bad_grid_is_said_at_once():
    with pytest.raises(grid.NotAGrid) as caught:
        grid.grid_figures([1.0, 2.0, 3.0], 9.0, ["EPSG:4326", "EPSG:32632", "EPSG:99999"])
    assert list(caught.value.wanted) == ["EPSG:4326", "EPSG:99999"]
    with pytest.raises(grid.NotAGrid):
        grid.line_between(0, 0, 1, 1, "EPSG:4326")
    with pytest.raises(grid.NotAGrid):
        grid.to_geographic(0, 0, "nowhere")


def test_many_points_are_as_one_at_a_time():
    rng = np.random.default_rng(20)
    latitude, longitude = rng.uniform(-89, 89, 60), rng.uniform(-180, 180, 60)
    crs = grid.default_grid(latitude, longitude)
    together = grid.grid_figures(latitude, longitude, crs, 500.0)
    for n in range(60):
        alone = grid.grid_figures(latitude[n], longitude[n], crs[n], 500.0)
        assert alone.grid == together.grid[n]
        assert alone.convergence_deg == together.convergence_deg[n]
        assert alone.combined_factor == together.combined_factor[n]
        assert alone.neighbour_grid == together.neighbour_grid[n]
        assert alone.shift.transformation == together.shift.transformation[n]


def test_shapes():
    block = grid.grid_figures(np.full((2, 3), 48.0), [15.0, 16.0, 17.0], "EPSG:32633")
    assert block.convergence_deg.shape == block.near_edge.shape == (2, 3)
    assert np.ndim(grid.grid_figures(48.0, 15.0, "EPSG:32633").convergence_deg) == 0
    assert grid.grid_figures([], [], "EPSG:32633").convergence_deg.shape == (0,)
    assert grid.default_grid([], []).shape == (0,)


def test_what_is_not_known_stays_so():
    assert grid.default_grid([np.nan, 48.0], 15.0).tolist() == ["", "EPSG:32633"]
    figures = grid.grid_figures([np.nan, 48.0], 15.0, "EPSG:32633")
    assert np.isnan(figures.convergence_deg[0])
    assert not figures.near_edge[0]
    assert figures.shift.transformation.tolist()[0] == ""
    assert np.isfinite(figures.convergence_deg[1])
    # A quarter of the earth away the projection does not reach.
    assert np.isnan(grid.grid_figures(0.0, 105.0, "EPSG:32633").convergence_deg)
