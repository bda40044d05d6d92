"""The public face: light to import, tables of the work's own names."""

import subprocess
import sys

import pytest

import orient

DEMO = "sites/aldermoor"


@pytest.fixture(scope="module")
def campaign(request):
    return orient.read_campaign(request.config.rootpath / DEMO)


def test_importing_orient_loads_nothing_heavy():
    code = (
        "import sys, orient; print([m for m in ('numpy', 'pandas', 'scipy') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"


def test_the_command_line_is_light_too():
    code = (
        "import sys, orient.cli\n"
        "try: orient.cli.orient(['--help'], standalone_mode=False)\n"
        "finally: print([m for m in ('numpy', 'pandas', 'rich') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip().endswith("[]")


def test_every_public_name_is_there_and_documented():
    for name in orient.PUBLIC:
        assert getattr(orient, name).__doc__
        assert name in dir(orient)
    with pytest.raises(AttributeError, match="no attribute 'northwards'"):
        _ = orient.northwards


def test_sites_are_places_on_the_map(campaign):
    places = orient.describe_sites(campaign, "2026-06-21")
    assert list(places.index) == list(campaign.sites.index)
    assert places.crs.to_epsg() == 4326
    assert places.geometry.y.tolist() == campaign.sites["latitude_deg"].tolist()
    assert (places["magnetic_model"] == "WMM2025").all()


def test_plan_has_a_row_for_every_site_day(campaign):
    table = orient.plan(campaign, "2026-06-21", "2026-06-22")
    assert len(table) == 2 * len(campaign.sites)
    assert {"site", "date", "morning_from", "best_expected_u_deg", "flags"} <= set(table.columns)
    with pytest.raises(ValueError, match="comes before"):
        orient.plan(campaign, "2026-06-21", "2026-06-20")


def test_reduce_is_the_rows_with_their_lines(campaign):
    table = orient.reduce(campaign)
    rows = [result.row for result in orient.reduce_campaign(campaign)]
    assert table["board_azimuth_deg"].tolist() == pytest.approx(
        [row["board_azimuth_deg"] for row in rows], nan_ok=True
    )
    assert table.crs.to_epsg() == 4326


def test_declination_of_one_place_and_of_many():
    one = orient.declination(80.0, 0.0, date="2025-01-01")
    many = orient.declination([80.0, 0.0], [0.0, 120.0], date=["2025-01-01", "2026-01-01"])
    assert many.declination_deg[0] == pytest.approx(one.declination_deg, abs=1e-9)
    assert many.declination_deg.shape == (2,)


def test_a_bad_campaign_raises_with_every_fault(tmp_path):
    with pytest.raises(orient.InputError) as caught:
        orient.read_campaign(tmp_path)
    assert len(caught.value.faults) >= 1
