"""What is known of a place: local noon on every side of the date line, and the columns."""

import numpy as np
import pandas as pd
import pytest

from orient import site
from orient.numbers import sun
from orient.tables import clock


def sites(**columns):
    frame = pd.DataFrame(
        {
            "latitude_deg": [0.0],
            "longitude_deg": [0.0],
            "elevation_m": 0.0,
            "timezone": "UTC",
            "grid": "EPSG:32631",
            "pressure_hpa": 1013.25,
            "temperature_c": 10.0,
        },
        index=pd.Index(["A"], name="site"),
    )
    return frame.assign(**columns)


@pytest.mark.parametrize(
    ("zone", "longitude"),
    [
        ("Pacific/Kiritimati", -157.4),
        ("Pacific/Apia", -171.8),
        ("Pacific/Pago_Pago", -170.7),
        ("Pacific/Auckland", 174.8),
        ("America/Adak", -176.6),
        ("Europe/Madrid", -8.5),
        ("Asia/Shanghai", 75.0),
    ],
)
def test_noon_falls_on_the_local_date(zone, longitude):
    for date in ("2026-01-15", "2026-06-15"):
        noon = site.local_noon(date, zone, longitude)
        assert str(clock.local_date(noon, zone)) == date
        assert abs(sun.hour_angle_deg(noon, longitude)) < 1e-4


def test_columns_and_flags():
    table = site.describe(sites(latitude_deg=[5.0], longitude_deg=[2.9]), "2026-04-05")
    assert list(table.columns[: len(site.COLUMNS)]) == list(site.COLUMNS)
    row = table.iloc[0]
    assert row["magnetic_model"] == "WMM2025"
    assert row["noon_altitude_deg"] > 85
    assert "sun-too-high" in row["flags"]
    assert row["grid_to_magnetic_deg"] == pytest.approx(
        row["declination_deg"] - row["convergence_deg"]
    )
    assert row["noon_local"].endswith("+00:00")


def test_flags_of_expiry_low_sun_and_weak_field():
    far = sites(latitude_deg=[82.0], longitude_deg=[-110.0], grid="EPSG:32612")
    flags = site.describe(far, "2031-09-18")["flags"][0]
    assert {"sun-too-low", "model-expired", "weak-horizontal-field"} <= set(flags)


def test_a_date_for_each_site():
    two = pd.concat([sites(), sites()])
    table = site.describe(two, np.array(["2026-03-20", "2026-06-21"], dtype="datetime64[D]"))
    assert table["date"].tolist() == ["2026-03-20", "2026-06-21"]
    assert table["noon_altitude_deg"][0] > table["noon_altitude_deg"][1] + 20


def words(**columns):
    return " ".join(site.grid_words(site.describe(sites(**columns), "2026-04-05").iloc[0]))


def test_grids_are_told_of_in_words():
    assert words(longitude_deg=[3.0], latitude_deg=[20.0]) == ""
    edge = words(longitude_deg=[5.95], latitude_deg=[40.0])
    assert "EPSG:32632" in edge
    assert "is −1.9" in edge
    datum = words(latitude_deg=[52.0], longitude_deg=[-1.5], grid="EPSG:27700")
    assert "good to" in datum
    assert "does not keep angles" in words(grid="EPSG:3035", latitude_deg=[50.0])
