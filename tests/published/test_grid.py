"""Grids against published worked examples, each on the grid's own datum."""

from __future__ import annotations

import numpy as np
import pytest

from orient.numbers import grid


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return degrees + minutes / 60.0 + seconds / 3600.0


def project_on_own_datum(
    crs: str, latitude_deg: float, longitude_deg: float
) -> tuple[float, float]:
    """The projection alone, without the change of datum from WGS 84."""
    east, north = grid._open(crs).project(np.array([latitude_deg]), np.array([longitude_deg]))
    return float(east[0]), float(north[0])


# Ordnance Survey, A guide to coordinate systems in Great Britain, worked example.
CAISTER = dms(52, 39, 27.2531), dms(1, 43, 4.5177), 651409.903, 313177.270


def test_transverse_mercator_of_the_ordnance_survey_guide():
    latitude, longitude, easting, northing = CAISTER
    east, north = project_on_own_datum("EPSG:27700", latitude, longitude)
    # Printed to the millimetre from seconds printed to 0.0001″ (3 mm).
    assert east == pytest.approx(easting, abs=0.002)
    assert north == pytest.approx(northing, abs=0.002)


def test_the_same_example_through_wgs84_and_back():
    _, _, easting, northing = CAISTER
    latitude, longitude, shift = grid.to_geographic(easting, northing, "EPSG:27700")
    figures = grid.grid_figures(latitude, longitude, "EPSG:27700")
    # The change of datum reckons with height 0 on the side it starts from, which costs 1 mm.
    assert figures.easting_m == pytest.approx(easting, abs=0.002)
    assert figures.northing_m == pytest.approx(northing, abs=0.002)
    assert shift.transformation == figures.shift.transformation != ""


US_FOOT_M = 1200.0 / 3937.0


@pytest.mark.parametrize(
    ("crs", "latitude_deg", "longitude_deg", "easting_m", "northing_m", "printed_m"),
    [
        # IOGP, Geomatics Guidance Note 7 part 2, worked examples of the methods (*from memory*).
        pytest.param(
            "EPSG:32040",
            28.5,
            -96.0,
            2963503.91 * US_FOOT_M,
            254759.80 * US_FOOT_M,
            0.01,
            id="Lambert conformal, two standard parallels, US survey feet",
        ),
        pytest.param(
            "EPSG:32661", 73.0, 44.0, 3320416.75, 632668.43, 0.01, id="polar stereographic, UPS"
        ),
        pytest.param(
            "EPSG:2053",
            -dms(25, 43, 55.302),
            dms(28, 16, 57.479),
            -71984.49,
            -2847342.74,
            0.02,
            id="transverse Mercator, axes west and south",
        ),
        pytest.param(
            "EPSG:29873",
            dms(5, 23, 14.1129),
            dms(115, 48, 19.8196),
            679245.73,
            596562.78,
            0.01,
            id="oblique Mercator",
        ),
    ],
)
def test_worked_examples_of_the_guidance_note(
    crs: str,
    latitude_deg: float,
    longitude_deg: float,
    easting_m: float,
    northing_m: float,
    printed_m: float,
):
    east, north = project_on_own_datum(crs, latitude_deg, longitude_deg)
    assert east == pytest.approx(easting_m, abs=printed_m)
    assert north == pytest.approx(northing_m, abs=printed_m)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "code"),
    [
        # The UTM grid-zone scheme, NGA.STND.0037 (*from memory*): zone limits belong to the
        # zone east and north of them.
        (0.0, 0.0, 32631),
        (-0.001, 0.0, 32731),
        (48.0, 11.999999, 32632),
        (48.0, 12.0, 32633),
        (10.0, -180.0, 32601),
        (10.0, 180.0, 32601),
        (10.0, 540.0, 32601),
        (10.0, 179.999, 32660),
        (-45.0, -180.001, 32760),
        # 32V is widened at the cost of 31V.
        (55.999, 4.0, 32631),
        (56.0, 2.999, 32631),
        (56.0, 3.0, 32632),
        (63.999, 11.999, 32632),
        (64.0, 4.0, 32631),
        (60.0, 12.0, 32633),
        # 32X, 34X and 36X do not exist.
        (71.999, 7.0, 32632),
        (72.0, -0.001, 32630),
        (72.0, 0.0, 32631),
        (78.0, 8.999, 32631),
        (78.0, 9.0, 32633),
        (78.0, 20.999, 32633),
        (78.0, 21.0, 32635),
        (78.0, 32.999, 32635),
        (78.0, 33.0, 32637),
        (78.0, 41.999, 32637),
        (78.0, 42.0, 32638),
        (83.999, 15.0, 32633),
        # No such exceptions in the south, and the polar caps.
        (-60.0, 4.0, 32731),
        (-78.0, 10.0, 32732),
        (84.0, 15.0, 32661),
        (90.0, 0.0, 32661),
        (-80.0, 15.0, 32733),
        (-80.001, 15.0, 32761),
        (-90.0, 0.0, 32761),
    ],
)
def test_zone_scheme(latitude_deg: float, longitude_deg: float, code: int):
    assert grid.default_grid(latitude_deg, longitude_deg) == f"EPSG:{code}"
