"""The demo campaign: what it shows, that its truth is found again, and the command."""

import ast
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from orient import cli
from orient.commands.demo import demo
from orient.demo.boards import spot
from orient.demo.campaign import make_demo
from orient.demo.story import COMPASS_INDEX_DEG, DAYS, NAME, PLACES
from orient.errors import InputError
from orient.files import write_whole
from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.setups import reduce_campaign
from orient.site import describe
from orient.tables.campaign import read_campaign

COMMITTED = Path(__file__).parent.parent / "sites" / NAME


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / NAME
    write_whole(folder, make_demo().files)
    return read_campaign(folder)


@pytest.fixture(scope="module")
def results(campaign):
    return {result.row["setup"]: result for result in reduce_campaign(campaign)}


# ---------------------------------------------------------------- the tables


def test_committed_tables_are_what_the_script_writes():
    assert {path.name for path in COMMITTED.iterdir()} == set(make_demo().files)
    for name, text in make_demo().files.items():
        assert (COMMITTED / name).read_text("utf-8") == text, name


def test_says_that_it_is_invented():
    assert "Nothing here happened" in make_demo().files["README.txt"]
    for place in PLACES:
        assert f"{place.site}:" in make_demo().files["README.txt"]


def test_places_are_read_as_they_were_meant(campaign):
    for place in PLACES:
        row, meant = campaign.sites.loc[place.site], spot(place)
        assert row["latitude_deg"] == pytest.approx(meant.latitude_deg, abs=1e-9)
        assert row["longitude_deg"] == pytest.approx(meant.longitude_deg, abs=1e-9)
        assert row["timezone"] == place.timezone


def test_faces_of_the_work(campaign):
    noon = {day.setup: describe(campaign.sites.loc[[day.site]], day.date).iloc[0] for day in DAYS}
    assert noon["lark-1"]["noon_altitude_deg"] > 89.0
    assert noon["frost-1"]["latitude_deg"] > 65.0
    assert noon["frost-1"]["noon_altitude_deg"] < 20.0
    assert noon["thorn-1"]["latitude_deg"] < -45.0
    assert "grid-edge" in noon["worm-1"]["flags"]
    assert abs(noon["petrel-1"]["declination_deg"]) > 50.0
    assert "weak-horizontal-field" in noon["gull-1"]["flags"]
    assert (campaign.marks.groupby("setup")["ring"].nunique() >= 5).sum() == 3
    assert {"trusted", "running", "none"} == set(campaign.setups["watch"])
    assert "dark" in set(campaign.setups["edge"])
    assert campaign.sites["xi_arcsec"].notna().sum() == 1


def test_simulated_shadows_share_nothing_with_the_reductions():
    allowed = {"orient.simulate", "orient.demo.story", "orient.tables.coordinates"}
    for module in ("orient.demo.boards", "orient.simulate"):
        tree = ast.parse(Path(find_spec(module).origin).read_text("utf-8"))
        used = set()
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("orient"):
                if node.module == "orient":
                    used |= {f"orient.{name.name}" for name in node.names}
                else:
                    used.add(node.module)
            elif isinstance(node, ast.Import):
                used |= {name.name for name in node.names if name.name.startswith("orient")}
        assert used <= allowed


# ---------------------------------------------------------------- the truth, found again


def test_truth_lies_within_what_is_stated(results):
    """Twelve boards of fourteen or more within the 95 % figure, none beyond the 99.9 % one.

    The seed of the demo was not chosen for this.
    """
    truth = make_demo().truth["reference_azimuth_deg"]
    error = np.array(
        [
            wrap_180(result.row["reference_azimuth_deg"] - truth[name])
            for name, result in results.items()
        ]
    )
    u = np.array([result.row["reference_azimuth_u_deg"] for result in results.values()])
    assert np.abs(error / u).max() < 3.29
    # More than two of fourteen outside would come by chance three times in a hundred.
    assert np.sum(np.abs(error / u) > COVERAGE_95) <= 2


def test_boards_are_as_good_as_the_work_can_be(results):
    """All but the beginner's within 0.4° at 95 %, their times being whole minutes; hers is not
    within half a degree."""
    for name, result in results.items():
        limit = COVERAGE_95 * result.row["reference_azimuth_u_deg"]
        assert (limit > 0.5) if name == "thorn-2" else (limit < 0.4), name


def test_two_days_with_the_board_turned_join_into_one(results):
    joined = results["alder-1"].joined.line
    truth = make_demo().truth["reference_azimuth_deg"]["alder-1"]
    assert joined.setups == ("alder-1", "alder-2")
    alone = np.hypot(results["alder-1"].row["alone_azimuth_u_deg"], 0.1)
    assert joined.azimuth_u_deg < 0.8 * alone
    assert abs(wrap_180(joined.azimuth_deg - truth)) < 3.29 * joined.azimuth_u_deg
    assert results["alder-2"].setup["turned"]
    boards = make_demo().truth["board_azimuth_deg"]
    assert abs(abs(wrap_180(boards["alder-2"] - boards["alder-1"])) - 180.0) < 10.0


@pytest.mark.parametrize(
    ("flag", "setups"),
    [
        ("blunder", {"thorn-1"}),
        ("near-noon", {"thorn-2"}),
        ("one-sided", {"lark-2"}),
        ("watch-doubtful", {"alder-3"}),
        ("height-doubtful", set()),
        ("setups-disagree", set()),
        ("grid-edge", {"worm-1", "worm-2"}),
        ("weak-horizontal-field", {"gull-1"}),
        ("model-expired", set()),
    ],
)
def test_flags_stand_where_they_belong_and_nowhere_else(results, flag, setups):
    assert {name for name, result in results.items() if flag in result.row["flags"]} == setups


def test_blunder_is_the_mark_that_was_moved(results):
    thorn = results["thorn-1"]
    assert thorn.marks["mark"][~thorn.reduced.fit.kept].tolist() == ["7"]
    assert thorn.left_out["mark"].tolist() == ["15"]


def test_watches_are_found_out(results):
    truth = make_demo().truth["watch_error_s"]
    for name in ("alder-3", "worm-1"):
        reduced = results[name].reduced
        off_s = abs(reduced.watch_error_s - truth[name])
        assert off_s < 3.29 * reduced.watch_error_u_s
    assert truth["alder-3"] == pytest.approx(-3600.0, abs=120.0)


def test_compasses_differ_where_the_rock_says_so(campaign, results):
    # An old compass's 2.5° is its correction, found by `orient compass`, and no finding.
    expected = {day.setup for day in DAYS if day.compass and day.site == "ironknoll"}
    assert {n for n, r in results.items() if "compass-differs" in r.row["flags"]} == expected
    assert COMPASS_INDEX_DEG["old"] > 2.0


def test_far_pillar_is_where_its_coordinates_say(results):
    said = [remark for remark in results["worm-1"].remarks if "coordinates" in remark]
    assert "281.375°" in said[0]


# ---------------------------------------------------------------- the command


@pytest.mark.long
def test_command_writes_tables_and_page_and_shows_the_summary(tmp_path):
    folder = tmp_path / "there"
    folder.mkdir()
    (folder / "own.txt").write_text("mine")
    for name in (NAME, "report"):  # what a killed run left stops no later one
        (folder / name).mkdir()
        (folder / name / ".orient-abc.part").write_text("half")
    ran = CliRunner().invoke(demo, [str(folder)])
    assert ran.exit_code == 0, ran.output
    assert "north cairn" in ran.stdout
    assert "near-noon (thorn-2)" in ran.stdout
    said = [line for line in ran.stdout.splitlines() if str(folder) not in line]
    assert max(map(len, said)) <= 80
    assert (folder / NAME / "marks.csv").read_text("utf-8") == make_demo().files["marks.csv"]
    assert "north cairn" in (folder / "report" / "index.html").read_text("utf-8")

    (folder / NAME / "marks.csv").write_text("changed")
    with pytest.raises(InputError) as refused:
        cli.orient(["demo", str(folder)], standalone_mode=False)
    assert len(refused.value.faults) == 2
    assert (folder / NAME / "marks.csv").read_text() == "changed"

    assert CliRunner().invoke(demo, [str(folder), "--force"]).exit_code == 0
    assert (folder / NAME / "marks.csv").read_text("utf-8") == make_demo().files["marks.csv"]
    assert (folder / "own.txt").read_text() == "mine"


# ---------------------------------------------------------------- sights


def test_a_line_by_stars_is_true_and_its_misread_star_is_named(campaign):
    from orient.demo.sights import LINE_AZIMUTH_DEG, TABLE
    from orient.observation.sights.campaign import reduce_sights

    (table,) = (each for each in reduce_sights(campaign) if each.name == TABLE)
    (row,) = table.rows
    off = wrap_180(row["reference_azimuth_deg"] - LINE_AZIMUTH_DEG)
    assert abs(off) <= COVERAGE_95 * row["reference_azimuth_u_deg"]
    assert row["flags"] == ["sight-misfit"]
    (misread,) = np.flatnonzero(table.adjusted.good < 0.5)
    assert table.sights["target"].iloc[misread] == "Spica"


def test_a_compass_by_its_shadow_is_told_off_by_what_it_is(campaign):
    from orient.demo.sights import BELT, BELT_INDEX_DEG
    from orient.observation.sights.campaign import reduce_sights

    (belt,) = (each for each in reduce_sights(campaign) if each.name == BELT)
    (row,) = belt.rows
    # The ground there turns the needle by a tenth of a degree, which the compass shows too.
    off = row["compass_correction_deg"] + BELT_INDEX_DEG
    assert abs(off) <= COVERAGE_95 * row["compass_correction_u_deg"]
    assert "compass-differs" in row["flags"]
