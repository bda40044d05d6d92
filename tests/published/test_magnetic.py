"""The magnetic field against the official test values of its model."""

import warnings
from pathlib import Path

import pandas as pd
import pytest

from orient.numbers import magnetic

ROWS = pd.read_csv(Path(__file__).with_name("wmm2025.csv"))


def test_official_wmm2025_values():
    """Source: NOAA/NCEI, WMM2025_TEST_VALUES, six rows.

    Angles to their printed 0.01°, the field east and downward to its printed 0.000001 nT.
    North, and with it H and F, differs by up to 0.0005 nT: there the printed values depart
    from two reference libraries as well, which agree with `magnetic.field` to 0.00001 nT
    (`test_reference_libraries_side_with_the_evaluator`).
    """
    found = magnetic.field(
        ROWS.latitude_deg, ROWS.longitude_deg, 1000.0 * ROWS.height_km, ROWS.year
    )
    assert (found.model == "WMM2025").all()
    assert not found.expired.any()
    # The printed angles are rounded: half of their last digit.
    assert found.declination_deg == pytest.approx(ROWS.D_deg.to_numpy(), abs=0.005)
    assert found.inclination_deg == pytest.approx(ROWS.I_deg.to_numpy(), abs=0.005)
    assert found.east_nt == pytest.approx(ROWS.Y_nt.to_numpy(), abs=1e-6)
    # Z takes up what X departs by, through the tilt of the ellipsoid's vertical.
    assert found.down_nt == pytest.approx(ROWS.Z_nt.to_numpy(), abs=2e-6)
    assert found.north_nt == pytest.approx(ROWS.X_nt.to_numpy(), abs=5e-4)
    assert found.horizontal_nt == pytest.approx(ROWS.H_nt.to_numpy(), abs=5e-4)
    assert found.total_nt == pytest.approx(ROWS.F_nt.to_numpy(), abs=5e-4)


def test_reference_libraries_side_with_the_evaluator():
    """Sources: wmm-calculator (NOAA/NCEI, CIRES) and pygeomag, at the official rows."""
    from pygeomag import GeoMag
    from wmm import wmm_calc

    scalar = GeoMag(coefficients_file="wmm/WMM_2025.COF")
    for row in ROWS.itertuples():
        found = magnetic.field(
            row.latitude_deg, row.longitude_deg, 1000.0 * row.height_km, row.year
        )
        mine = [found.north_nt, found.east_nt, found.down_nt]
        library = wmm_calc()
        library.setup_time(dyear=row.year)
        library.setup_env(row.latitude_deg, row.longitude_deg, row.height_km)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it warns of the weak horizontal field of the first
            theirs = [float(part[0]) for part in library.forward_base()]
        assert mine == pytest.approx(theirs, abs=1e-8)
        other = scalar.calculate(row.latitude_deg, row.longitude_deg, row.height_km, row.year)
        assert mine == pytest.approx([other.x, other.y, other.z], abs=1e-5)


def test_uncertainty_of_declination():
    """Source: the error model of the WMM2025 technical report, as pygeomag carries it too."""
    from pygeomag import GeoMag

    scalar = GeoMag(coefficients_file="wmm/WMM_2025.COF")
    for latitude, longitude in [(0.0, 80.0), (52.0, 13.0), (-36.0, -137.0), (75.0, 40.0)]:
        found = magnetic.field(latitude, longitude, 0.0, 2026.5)
        theirs = scalar.calculate(latitude, longitude, 0.0, 2026.5).calculate_uncertainty()
        assert found.declination_u_deg == pytest.approx(theirs.d, abs=1e-6)
