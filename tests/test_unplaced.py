"""Sites without coordinates, by files and command: simulated boards find them."""

import json
import shutil

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from crew_on_file import Crew, crew

from orient.cli import orient
from orient.errors import InputError
from orient.observation.setups import reduce_campaign
from orient.report.page import write_report
from orient.tables.campaign import read_campaign

WITHIN, WITHIN_2D = 1.959964, 2.4477


def _unplaced(made: Crew, folder, zone="Etc/UTC", watch=None):
    """The crew's campaign, its sites' coordinates blank."""
    if watch:
        made.setups = [row | {"watch": watch} for row in made.setups]
    made.write(folder)
    sites = pd.read_csv(folder / "sites.csv")
    sites[["latitude_deg", "longitude_deg"]] = ""
    sites.assign(timezone=zone).to_csv(folder / "sites.csv", index=False)
    return folder


def _run(*arguments):
    return CliRunner().invoke(orient, [str(each) for each in arguments])


def _rows(folder, *options):
    ran = _run("reduce", folder, "--format", "json", *options)
    assert ran.exit_code == 0, ran.output
    return json.loads(ran.stdout)


def _off(found, true):
    return (found - true + 180.0) % 360.0 - 180.0


def _scaled(made, row):
    """Errors of latitude and longitude in standard uncertainties, and of the ellipse's radius."""
    (latitude, longitude), place = made.sites[made.setups[0]["site"]], row["solved_place"]
    north = place["latitude_deg"] - latitude
    scaled = [north / place["latitude_u_deg"]]
    if place["longitude_deg"] is None:
        return np.array([*scaled, np.nan, np.nan])
    east = _off(place["longitude_deg"], longitude)
    toward = np.exp(1j * np.radians(place["ellipse_azimuth_deg"]))
    along = 111.2 * (north + 1j * east * np.cos(np.radians(latitude))) / toward
    radius = np.hypot(
        along.real / place["ellipse_major_km"], along.imag / place["ellipse_minor_km"]
    )
    return np.array([*scaled, east / place["longitude_u_deg"], radius])


@pytest.mark.parametrize(
    ("latitude", "watch", "boards"),
    [(45.0, "trusted", 3), (-35.0, "trusted", 1), (52.0, "running", 2), (-20.0, "none", 1)],
)
def test_the_place_and_the_azimuth_that_goes_with_it(tmp_path, latitude, watch, boards):
    made = crew(np.random.default_rng([31, boards]), boards=boards, one_line=True,
                latitude_deg=latitude)  # fmt: skip
    rows = _rows(_unplaced(made, tmp_path / "c", watch=watch))
    scaled = _scaled(made, rows[0])
    assert (np.abs(scaled[np.isfinite(scaled)]) < 3.3).all()
    assert rows[0]["solved_place"]["latitude_u_deg"] < 0.2
    u = np.array([row["board_azimuth_u_deg"] for row in rows])
    assert (np.abs(made.errors_deg(rows)) < 3.3 * u).all()
    # The azimuth is hardly worse than with the place known.
    known = json.loads(json.dumps(made.reduce(tmp_path / "k")))
    assert (u < 0.2).all()
    assert (u > 0.98 * np.array([row["board_azimuth_u_deg"] for row in known])).all()
    by_place = ("declination_deg", "convergence_deg", "reference_grid_bearing_deg")
    has_longitude = watch == "trusted"
    assert all((row[key] is not None) == has_longitude for row in rows for key in by_place)
    assert all("place-from-marks" in row["flags"] for row in rows)


def test_a_shared_running_watch_tells_the_longitude_from_boards_elsewhere(tmp_path):
    made = crew(np.random.default_rng(8), boards=4, watch="running", latitude_deg=40.0)
    made.write(tmp_path / "c")
    sites = pd.read_csv(tmp_path / "c" / "sites.csv", dtype=object)
    sites.loc[sites["site"] == "S3", ["latitude_deg", "longitude_deg"]] = ""
    sites.assign(timezone="Europe/Paris").to_csv(tmp_path / "c" / "sites.csv", index=False)
    # The marks were timed in UTC: the watch is two hours and a little from Paris in summer.
    rows = _rows(tmp_path / "c")
    made.setups[0] = made.setups[3]
    scaled = _scaled(made, rows[3])
    assert rows[3]["solved_place"]["longitude_u_deg"] < 1.0
    assert (np.abs(scaled[:2]) < 3.3).all()
    assert rows[0]["solved_place"] is None


@pytest.mark.parametrize("seed", [1, 3])
def test_two_places_that_fit_alike_are_both_inside(tmp_path, seed):
    """About noon of an equinox, without times, the track is a line in either hemisphere."""
    made = crew(np.random.default_rng([seed, 264]), boards=1, one_line=True, latitude_deg=38.0,
                first_day=264)  # fmt: skip
    time = pd.to_timedelta(made.marks[0]["time"]) / pd.Timedelta(hours=1)
    made.marks[0] = made.marks[0][(time > 9.5) & (time < 13.8)]
    folder = _unplaced(made, tmp_path / "c", watch="none")
    (row,) = _rows(folder)
    place = row["solved_place"]
    assert abs(place["latitude_deg"] - 38.0) < WITHIN * place["latitude_u_deg"]
    assert row["board_azimuth_deg"] is None
    assert "fit alike" in " ".join(_run("reduce", folder).output.split())
    # The half of the day decides.
    made.marks[0]["half"] = np.where(time[made.marks[0].index] > 11.7, "pm", "am")
    (row,) = _rows(_unplaced(made, tmp_path / "c", watch="none"))
    assert abs(row["solved_place"]["latitude_deg"] - 38.0) < 0.7
    assert abs(_off(row["board_azimuth_deg"], made.truth[0].board_azimuth_deg)) < 0.4


@pytest.mark.slow
def test_each_board_alone_finds_the_place_for_itself(tmp_path):
    made = crew(np.random.default_rng(6), boards=3, one_line=True)
    folder = _unplaced(made, tmp_path / "c")
    together, alone = _rows(folder), _rows(folder, "--alone")
    for one, other in zip(together, alone, strict=True):
        assert one["alone_azimuth_deg"] == pytest.approx(other["board_azimuth_deg"], abs=1e-6)
        assert one["solved_place"]["latitude_u_deg"] < other["solved_place"]["latitude_u_deg"]


def test_what_needs_a_place_says_so_and_reduce_says_where(tmp_path):
    made = crew(np.random.default_rng(6), boards=1, one_line=True)
    folder = _unplaced(made, tmp_path / "c")
    since = ("--from", "2026-05-01")
    for name, options in (("sites", ()), ("plan", since), ("bring", since)):
        with pytest.raises(InputError) as fault:
            orient.main([name, str(folder), *options], standalone_mode=False)
        assert "sites.csv, row 2, column latitude_deg: found nothing" in str(fault.value)
        assert "orient reduce" in str(fault.value)
    ran = _run("reduce", folder)
    assert "A has no coordinates; by the marks of b1 it lies at latitude" in " ".join(
        ran.output.split()
    )
    _unplaced(made, folder, zone="")
    with pytest.raises(InputError, match="column timezone: found nothing"):
        orient.main(["reduce", str(folder)], standalone_mode=False)


@pytest.fixture(scope="module")
def among_others(tmp_path_factory):
    """A campaign with a site that has nothing but its name, and no set-up."""
    folder = tmp_path_factory.mktemp("among") / "c"
    crew(np.random.default_rng(6), boards=1, one_line=True).write(folder)
    with (folder / "sites.csv").open("a", encoding="utf-8") as table:
        blank = "," * (pd.read_csv(folder / "sites.csv").shape[1] - 1)
        table.write(f"lost{blank}\n")
    return folder


@pytest.mark.parametrize(
    ("command", "options"),
    [
        ("sites", ()),
        ("plan", ("--from", "2026-05-01", "--format", "json")),
        ("bring", ("--from", "2026-05-01", "--format", "csv")),
        ("night", ("--from", "2026-05-01")),
        ("crew", ("--from", "2026-05-01", "--start", "A")),
        ("field", ("--from", "2026-05-01", "-o", "field.html")),
        ("card", ("-o", "card.pdf")),
    ],
)
def test_what_needs_a_place_goes_on_without_the_site_that_has_none(
    tmp_path, among_others, command, options
):
    """The planners' tables: without set-ups no time zone is asked for either."""
    folder = tmp_path / "c"
    folder.mkdir()
    (folder / "sites.csv").write_bytes((among_others / "sites.csv").read_bytes())
    options = [str(tmp_path / each) if "." in each else each for each in options]
    ran = _run(command, folder, *options)
    assert ran.exit_code == 0, ran.output
    assert ran.stderr.count("Left out, without coordinates: lost.") == 1, ran.stderr
    assert "lost" not in ran.stdout
    if "--from" in options:
        ran = _run(command, folder, *options, "--site", "lost")
        assert ran.exit_code == 2
        assert "No coordinates in the sites table: lost." in ran.stderr


def test_a_site_without_coordinates_and_set_ups_is_in_the_report(tmp_path, among_others):
    folder = tmp_path / "c"
    shutil.copytree(among_others, folder)
    text = (folder / "sites.csv").read_text(encoding="utf-8")
    lost = ["Etc/UTC" if name == "timezone" else "" for name in text.split("\n")[0].split(",")]
    rows = [f"{row}" for row in text.splitlines()[:-1]]
    (folder / "sites.csv").write_text("\n".join([*rows, "lost" + ",".join(lost)]), "utf-8")
    ran = _run("report", folder, "-o", tmp_path / "out")
    assert ran.exit_code == 0, ran.output
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "lost has no coordinates" in page
    typed = "12:00 -40 300\ndone\n"
    ran = CliRunner().invoke(orient, ["mark", str(folder), "b1"], input=typed)
    assert "Saved" in ran.output


def test_a_site_whose_marks_tell_nothing_gives_no_direction(tmp_path):
    made = crew(np.random.default_rng(6), boards=2, one_line=True)
    made.marks = [table.iloc[:2] for table in made.marks]
    rows = _rows(_unplaced(made, tmp_path / "c"))
    assert [row["board_azimuth_deg"] for row in rows] == [None, None]
    assert [row["solved_place"] for row in rows] == [None, None]


@pytest.mark.parametrize("watch", ["trusted", "running"])
def test_the_report_draws_the_ellipse_or_says_that_there_is_none(tmp_path, watch):
    made = crew(np.random.default_rng(6), boards=2, one_line=True)
    folder = _unplaced(made, tmp_path / "c", watch=watch)
    campaign = read_campaign(folder, unplaced=True)
    results = reduce_campaign(campaign)
    write_report(campaign, tmp_path / "report", results)
    page = (tmp_path / "report" / "index.html").read_text(encoding="utf-8")
    assert ("class=ellipse" in page) == (watch == "trusted")
    assert ("No watch tells its longitude" in page) == (watch == "running")
    sites = pd.read_csv(tmp_path / "report" / "sites.csv")
    assert len(sites) == 2 * (watch == "trusted")
    if watch == "trusted":
        place = results[0].row["solved_place"]
        assert sites["latitude_deg"][0] == pytest.approx(place["latitude_deg"])


@pytest.mark.slow
def test_the_truth_lies_within_what_is_stated(tmp_path):
    """Latitude, longitude, ellipse and azimuth: 93 to 97 % inside, of every kind of watch."""
    generator, inside, places = np.random.default_rng(2026), [], []
    for turn in range(64):
        kind = ("trusted", "running", "trusted", "none")[turn % 4]
        made = crew(
            np.random.default_rng([44, turn]),
            boards=int(generator.choice([1, 1, 1, 2, 3, 6])),
            latitude_deg=float(generator.uniform(-60.0, 60.0)),
            first_day=int(generator.integers(0, 360)),
            one_line=True,
        )
        if min(len(table) for table in made.marks) < 6:
            continue
        folder = _unplaced(made, tmp_path / "c", watch=kind)
        rows = [result.row for result in reduce_campaign(read_campaign(folder, unplaced=True))]
        if rows[0]["solved_place"] is None or rows[0]["board_azimuth_u_deg"] is None:
            continue
        u = np.array([row["board_azimuth_u_deg"] for row in rows])
        inside.append(np.abs(made.errors_deg(rows)) < WITHIN * u)
        places.append(np.abs(_scaled(made, rows[0])) / [WITHIN, WITHIN, 1.0])
    assert len(places) > 50
    assert 0.93 <= np.mean(np.concatenate(inside)) <= 0.97
    every = np.array(places)
    held = every[np.isfinite(every)] < 1.0
    assert 0.93 <= np.mean(held) <= 0.97
