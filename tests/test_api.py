"""The public face: light to import, tables of the work's own names."""

import doctest
import inspect
import re
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from api_page import PAGE

import orient
import orient.api
import orient.moments
from orient import simulate

DEMO = "sites/aldermoor"


@pytest.fixture(scope="module")
def campaign(request):
    return orient.read_campaign(request.config.rootpath / DEMO)


@pytest.fixture(scope="module")
def results(campaign):
    return orient.reduce_campaign(campaign)


@pytest.fixture(scope="module")
def lines(campaign):
    return orient.reduce(campaign)


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
    for name in orient.__all__:
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
    assert {"site", "date", "morning_from", "best_expected_u_deg", "flag_codes"} <= set(
        table.columns
    )
    with pytest.raises(ValueError, match="first day"):
        orient.plan(campaign, "2026-06-21", "2026-06-20")


@pytest.mark.long
def test_reduce_is_the_rows_with_their_lines(results, lines):
    rows = [result.row for result in results]
    assert lines["board_azimuth_deg"].tolist() == pytest.approx(
        [row["board_azimuth_deg"] for row in rows], nan_ok=True
    )
    assert lines.crs.to_epsg() == 4326


def test_declination_of_one_place_and_of_many():
    one = orient.declination(80.0, 0.0, date="2025-01-01")
    many = orient.declination([80.0, 0.0], [0.0, 120.0], date=["2025-01-01", "2026-01-01"])
    assert many.declination_deg[0] == pytest.approx(one.declination_deg, abs=1e-9)
    assert many.declination_deg.shape == (2,)


def test_a_bad_campaign_raises_with_every_fault(tmp_path):
    with pytest.raises(orient.InputError) as caught:
        orient.read_campaign(tmp_path)
    assert len(caught.value.faults) >= 1


def mypy(root, tmp_path, text):
    """What `mypy --strict` says of a client's program."""
    program = tmp_path / "client.py"
    program.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "mypy", "--strict", "--config-file", "", str(program)]
    command[-1:-1] = ["--follow-imports", "silent", "--ignore-missing-imports"]
    command[-1:-1] = ["--cache-dir", str(tmp_path / "cache")]
    shown = subprocess.run(command, capture_output=True, text=True, check=False, cwd=root)
    return shown.stdout + shown.stderr


@pytest.mark.slow
def test_a_strict_client_is_typed_and_a_slip_of_the_pen_is_told(request, tmp_path):
    client = (request.config.rootpath / "tests" / "strict_client.py").read_text("utf-8")
    slip = "orient.reed_campaign('sites')\n"
    shown = "".join(f"reveal_type(orient.{name})\n" for name in orient.__all__)
    said = mypy(request.config.rootpath, tmp_path, f"{client}\n{slip}{shown}")
    errors = [line for line in said.splitlines() if "error:" in line]
    assert len(errors) == 1, said
    assert 'has no attribute "reed_campaign"' in errors[0]
    revealed = [line for line in said.splitlines() if "Revealed type" in line]
    assert len(revealed) == len(orient.__all__)
    assert not [line for line in revealed if line.endswith('is "Any"')]


def test_the_names_are_one_list():
    text = inspect.getsource(orient)
    for name in orient.__all__:
        assert f"from orient.api import {name} as {name}\n" in text
    assert text.count("from orient.api import") == len(orient.__all__)
    assert orient.__all__ == sorted(orient.__all__)


@pytest.fixture
def examples(request, monkeypatch, campaign, results):
    """The repository's own folder, its demo reduced once for all examples."""
    monkeypatch.chdir(request.config.rootpath)
    monkeypatch.setattr(orient.api, "reduce_campaign", lambda given, workers=1: results)
    monkeypatch.setattr("orient.report.page.reduce_campaign", lambda *_: results)


@pytest.mark.long
def test_the_examples_run(examples):
    names = {"orient": orient}
    for module in (orient.api, orient.moments):
        failed, tried = doctest.testmod(module, extraglobs=names)
        assert tried > 2
        assert failed == 0


@pytest.mark.long
def test_the_example_of_the_page_runs(examples, tmp_path):
    example = re.search(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)[1]
    names: dict = {}
    exec(example.replace("reports/aldermoor", str(tmp_path)), names)
    assert len(names["places"]) == len(names["campaign"].sites)
    assert len(names["hours"]) == 7 * len(names["places"])
    assert len(names["norths"]) == len(names["campaign"].setups)
    assert (tmp_path / "index.html").is_file()


@pytest.mark.parametrize(
    "name",
    [name for name in orient.__all__ if inspect.getmodule(getattr(orient, name)) is orient.api],
)
def test_a_docstring_says_all_that_a_caller_asks(name):
    text = inspect.getdoc(getattr(orient, name))
    parts = ["Args:", "Returns:", "Accuracy:", "Example:"]
    for part in [*parts, "Raises:"]:
        assert part in text, (name, part)
    told = text[text.index("Args:") : text.index("Returns:")]
    for parameter in inspect.signature(getattr(orient, name)).parameters:
        assert parameter in told, (name, parameter)


def test_places_that_are_none_are_refused():
    for call in (orient.sun_place, orient.declination, orient.grid_figures):
        first = ["2026-06-21T06:00"] if call is orient.sun_place else []
        with pytest.raises(orient.InputError) as caught:
            call(*first, [95.0, 0.0], -700.0)
        assert ["95" in str(fault) or "-700" in str(fault) for fault in caught.value.faults] == [
            True,
            True,
        ]


def test_one_kind_of_error(campaign):
    for call in (
        lambda: orient.sun_place("2090-01-01T00:00", 0.0, 0.0),
        lambda: orient.sun_place(np.datetime64(6, "h").astype(int), 0.0, 0.0),
        lambda: orient.declination(0.0, 0.0, date="1850-01-01"),
        lambda: orient.grid_figures(0.0, 0.0, "EPSG:4326"),
        lambda: orient.plan(campaign, "2026-06-21", rod_mm=-300.0),
        lambda: orient.plan(campaign, "2026-06-21", min_altitude_deg=70.0),
        lambda: orient.plan(campaign, 20260621),
        lambda: orient.plan(campaign, "2026-06-21", board_mm=(0.0, 100.0)),
        lambda: orient.Rig(rod_mm=float("nan")),
        lambda: orient.Limits(target_deg=0.0),
        lambda: orient.crew(campaign, "2026-06-21", start="nowhere"),
        lambda: orient.crew(campaign, "2026-06-21", start="gullbeach", crews=0),
        lambda: orient.write_sheet(campaign, "gulbeach", "2026-06-21", "sheet.pdf"),
        lambda: orient.board([1.0], [1.0, 2.0], 300.0, 0.0, 0.0, date="2026-06-21"),
        lambda: orient.board([1.0], [1.0], 300.0, 0.0, 0.0),
    ):
        with pytest.raises(orient.InputError):
            call()


def test_a_series_keeps_its_index():
    index = ["north", "south"]
    latitude, longitude = pd.Series([60.0, -30.0], index), pd.Series([10.0, 20.0], index)
    sun = orient.sun_place("2026-06-21T12:00", latitude, longitude)
    assert sun.azimuth_deg.index.tolist() == index
    bare = orient.sun_place("2026-06-21T12:00", latitude.to_numpy(), longitude.to_numpy())
    assert sun.azimuth_deg.tolist() == bare.azimuth_deg.tolist()
    field = orient.declination(latitude, longitude, date="2026-06-21")
    assert field.declination_deg.index.tolist() == index
    times = pd.Series(
        pd.date_range("2026-06-21", periods=3, freq="h", tz="Europe/Vienna"), [4, 5, 6]
    )
    assert orient.sun_place(times, 47.5, 15.0).altitude_deg.index.tolist() == [4, 5, 6]


@pytest.mark.long
def test_tables_have_lists_and_dates_and_no_column_of_a_frames_own_name(campaign, lines):
    tables = [
        orient.describe_sites(campaign, "2026-06-21"),
        orient.plan(campaign, "2026-06-21"),
        lines,
        orient.rings(campaign, "2026-06-21"),
    ]
    for table in tables:
        assert table["date"].dtype.kind == "M"
        own = [name for name in table.columns if hasattr(pd.DataFrame, str(name))]
        assert own == []
        if "flag_codes" in table:
            assert all(isinstance(codes, list) for codes in table["flag_codes"])
    assert all(isinstance(methods, dict) for methods in tables[2]["methods"])


def test_a_board_of_arrays_gives_the_line_it_was_made_with():
    """Against the separate simulator: marks of a board without faults, its watch trusted."""
    truth = simulate.TrueBoard(height_mm=300.0, board_azimuth_deg=37.0)
    utc_s = np.datetime64("2026-06-21T07:00").astype("datetime64[s]").astype(float)
    utc_s = utc_s + 1200.0 * np.arange(24)
    azimuth, altitude, _ = simulate.sun_seen(utc_s, 47.5, 15.0, 0.0, 1013.25, 10.0)
    x, y = simulate.shadow_tips(azimuth, altitude, truth).T
    times = pd.to_datetime(utc_s, unit="s", utc=True).tz_convert("Europe/Vienna")
    found = orient.reduce_board(orient.board(x, y, 300.0, 47.5, 15.0, times=times))
    assert found.board_azimuth_deg == pytest.approx(37.0, abs=0.02)
    assert found.flags == []


@pytest.mark.long
def test_what_a_notebook_shows(campaign, results):
    assert "aldermoor" in campaign._repr_html_()
    result = results[0]
    assert result.row["setup"] in result._repr_html_()


def test_two_crews_reach_more_sites_and_share_none(tmp_path):
    pytest.importorskip("ortools")
    orient.new_campaign(tmp_path / "hills")
    rows = [f"s{n},{46 + 0.5 * n:.1f},15.0" for n in range(4)]
    head = "site,latitude_deg,longitude_deg"
    (tmp_path / "hills" / "sites.csv").write_text("\n".join([head, *rows]) + "\n")
    campaign = orient.read_campaign(tmp_path / "hills")
    reached = {}
    for crews in (1, 2):
        table = orient.crew(
            campaign, "2026-05-10", start="s0", crews=crews, effort=0.2, limits=orient.Limits(0.4)
        ).visits
        visits = table[table["why"] == ""]
        assert visits["site"].is_unique
        assert visits["crew"].nunique() == crews
        reached[crews] = len(visits)
    assert reached[2] > reached[1] > 0
