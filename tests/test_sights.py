"""Sights through the command: files in, azimuths out; every fault told, nothing written."""

import csv
import json
from dataclasses import replace

import demo_tables
import numpy as np
import pytest
from click.testing import CliRunner
from mistaken_sights import MISTAKES, mistaken
from numpy.testing import assert_allclose
from simulated_sights import KINDS, simulate

from orient import cli
from orient.errors import InputError
from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import COVERAGE_95

SITE = {"site": "hill", "latitude_deg": 48.6, "longitude_deg": 16.3, "timezone": "Europe/Vienna"}


def write(folder, **tables):
    folder.mkdir(exist_ok=True)
    for name, rows in tables.items():
        columns = list(dict.fromkeys(key for row in rows for key in row))
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, columns)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def run(folder, *more):
    result = CliRunner().invoke(cli.orient, ["sights", str(folder), *more], standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.output


def rows_of(folder):
    """The rows, and nothing in the folder changed."""
    before = {path: path.read_bytes() for path in folder.iterdir()}
    said = run(folder, "--format", "json")
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    return json.loads(said)


def faults_of(folder):
    before = {path: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(InputError) as told:
        run(folder)
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    return [str(fault) for fault in told.value.faults]


def sight(target, time="21:00:00", date="2026-03-10", reading=10.0, **more):
    return {
        "site": "hill", "date": date, "time": time, "circle": "table", "target": target,
        "reading_deg": reading, **more,
    }  # fmt: skip


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_simulated_circles(kind, tmp_path):
    """Twelve circles of each kind without blunders: the truth within three of its own figures.

    The budget adds up to what is stated.
    """
    sites, sights, truth = simulate(kind, 12, seed=8, blunders=0.0)
    found = rows_of(write(tmp_path / "c", sites=sites, sights=sights))
    assert len(found) == 12
    for row in found:
        zero, line = truth[row["circle"]]
        off = [wrap_180(row["orientation_deg"] - zero) / row["orientation_u_deg"]]
        if row["reference_name"]:
            off.append(
                wrap_180(row["reference_azimuth_deg"] - line) / row["reference_azimuth_u_deg"]
            )
        assert np.abs(off).max() < 3.3
        assert_budget_adds_up(row)


def assert_budget_adds_up(row):
    budget = np.sqrt(sum(part**2 for part in row["budget"].values()))
    assert_allclose(budget, row["reference_azimuth_u_deg"] or row["orientation_u_deg"], rtol=0.02)


def test_a_budget_adds_up_where_sights_contradict_each_other(tmp_path):
    """One of these six is narrower over all its explanations than by the best alone."""
    kind = next(each for each in KINDS if each.name == "alidade")
    sites, sights, _ = simulate(kind, 6, seed=8, blunders=0.0)
    found = rows_of(write(tmp_path / "c", sites=sites, sights=sights))
    assert any("sights-contradict" in row["flags"] for row in found)
    for row in found:
        assert_budget_adds_up(row)


def clean_night(count=5, line=123.4, zero=33.0, **more):
    """Five sights of Polaris and three of a line, right to 0.01°, of the simulator's sky."""
    from simulated_sights import catalogue, stars_seen

    names = catalogue()[1]
    at = 1773172800.0 + 600.0 * np.arange(count)  # 2026-03-10, 20:00 UTC, 21:00 at the hill
    azimuth, _ = stars_seen(at, np.full(count, 48.6), np.full(count, 16.3), 0.0, 0.0)
    polaris = azimuth[:, names.index("HIP 11767")]
    rows = [
        sight("Polaris", f"21:{10 * n:02d}:00" if n < 6 else f"22:{10 * n - 60:02d}:00",
              reading=f"{(each - zero) % 360:.3f}", reading_sd_deg=0.02, **more)
        for n, each in enumerate(polaris)
    ]  # fmt: skip
    rows += [sight("church", "", reading=line - zero, reading_sd_deg=0.02)] * 3
    return [row | {"sight": f"s{n}"} for n, row in enumerate(rows)]


def test_a_line_by_polaris(tmp_path):
    folder = write(tmp_path / "c", sites=[SITE], sights=clean_night(aid="plumb"))
    (row,) = rows_of(folder)
    assert_allclose(row["reference_azimuth_deg"], 123.4, atol=0.005)
    assert_allclose(row["orientation_deg"], 33.0, atol=0.005)
    assert 0.015 < row["reference_azimuth_u_deg"] < 0.04
    assert row["flags"] == []
    assert row["n"] == 5
    assert_allclose(row["reference_grid_bearing_deg"], 123.4 - row["convergence_deg"], atol=0.005)
    assert_allclose(
        row["reference_magnetic_bearing_deg"], 123.4 - row["declination_deg"], atol=0.005
    )


def test_a_blunder_is_named_and_moves_nothing(tmp_path):
    rows = clean_night(aid="plumb")
    rows[2] = rows[2] | {"reading_deg": float(rows[2]["reading_deg"]) + 10.0}
    folder = write(tmp_path / "c", sites=[SITE], sights=rows)
    (row,) = rows_of(folder)
    assert_allclose(row["reference_azimuth_deg"], 123.4, atol=0.01)
    assert row["flags"] == ["sight-misfit"]
    said = " ".join(run(folder).split())
    assert "sight s2 (Polaris) reads +10.00° from what the others say" in said


def test_a_back_bearing_is_named(tmp_path):
    rows = clean_night(aid="plumb")
    rows[1] = rows[1] | {"reading_deg": (float(rows[1]["reading_deg"]) + 180.0) % 360}
    said = " ".join(run(write(tmp_path / "c", sites=[SITE], sights=rows)).split())
    assert "a back bearing?" in said


def test_two_sights_that_disagree_cover_both(tmp_path):
    """Nothing tells which of the two is wrong: the figure is as wide as both."""
    rows = clean_night(2, aid="plumb")
    rows[1] = rows[1] | {"reading_deg": float(rows[1]["reading_deg"]) - 5.0}
    (row,) = rows_of(write(tmp_path / "c", sites=[SITE], sights=rows))
    assert "sights-contradict" in row["flags"]
    for true in (123.4, 128.4):
        off = wrap_180(row["reference_azimuth_deg"] - true)
        assert abs(off) <= COVERAGE_95 * row["reference_azimuth_u_deg"] + 0.01


def test_one_sight_alone_is_flagged(tmp_path):
    (row,) = rows_of(write(tmp_path / "c", sites=[SITE], sights=clean_night(1)))
    assert "sights-unchecked" in row["flags"]


def test_a_line_read_once_is_asked_for_again(tmp_path):
    folder = write(tmp_path / "c", sites=[SITE], sights=clean_night(aid="plumb")[:6])
    assert "read church a second time" in " ".join(run(folder).split())
    (row,) = rows_of(folder)
    assert row["reference_azimuth_u_deg"] > 0.03


@pytest.mark.slow
def test_a_zone_an_hour_off_is_found_where_altitudes_tell(tmp_path):
    """The sites' zones are an hour wrong: the altitudes give it away, and the lines hold."""
    kind = replace(KINDS[3], watch="trusted", watch_sd=10.0)
    sites, sights, truth = simulate(kind, 8, seed=21, blunders=0.0)
    for site in sites:
        ahead = -int(site["timezone"].removeprefix("Etc/GMT"))
        site["timezone"] = f"Etc/GMT{-min(ahead + 1, 14):+d}"
    found = rows_of(write(tmp_path / "c", sites=sites, sights=sights))
    assert sum("watch-doubtful" in row["flags"] for row in found) >= 7
    for row in found:
        off = wrap_180(row["reference_azimuth_deg"] - truth[row["circle"]][1])
        assert abs(off) < 3.3 * row["reference_azimuth_u_deg"]


def test_a_night_is_one_standing(tmp_path):
    """The date changes at midnight; the circle did not move."""
    kind = next(kind for kind in KINDS if kind.name == "alidade")
    sites, sights, _ = simulate(kind, 20, seed=5, blunders=0.0)
    dates = {}
    for row in sights:
        dates.setdefault(row["circle"], set()).add(row["date"])
    assert any(len(each) == 2 for each in dates.values())
    found = rows_of(write(tmp_path / "c", sites=sites, sights=sights))
    assert len(found) == 20


def test_every_fault_is_told(tmp_path):
    rows = [
        sight("Polarus"),
        sight("Jupiter"),
        sight("HIP 99999"),
        sight("sun", "11:00:00", aid="telescope", face="left"),
        sight("sun", "11:00:00"),
        sight("shadow", "23:30:00"),
        sight("Canopus"),
        sight("Polaris", ""),
        sight("Vega", "02:30:00", "2026-03-29"),
        sight("Polaris", watch="none"),
        sight("Polaris", limb="left"),
        sight("spire", altitude_deg=20),
        sight("Polaris", circle=""),
        sight("Polaris", reading="north"),
    ]
    told = faults_of(write(tmp_path / "c", sites=[SITE], sights=rows))
    expected = [
        ("row 2, column target", "'Polarus'", "Polaris, perhaps"),
        ("row 3, column target", "'Jupiter'", "a star of the table"),
        ("row 4, column target", "'HIP 99999'", "HIP 11767"),
        ("row 5, column aid", "the sun by telescope, face left", "never sighted"),
        ("row 6, column aid", "no stated aid", "shadow of a plumb line"),
        ("row 7, column time", "the sun", "below the horizon"),
        ("row 8, column time", "Canopus", "below the horizon"),
        ("row 9, column time", "nothing", "the watch time"),
        ("row 10, column time", "'02:30:00'", "03:30"),
        ("row 11, column altitude_deg", "nothing", "watch none"),
        ("row 12, column limb", "'left'", "only sun and moon"),
        ("row 13, column target", "'spire'", "a reference line has no altitude"),
        ("row 14, column circle", "nothing", "a name for the circle"),
        ("row 15, column reading_deg", "'north'", "a number"),
    ]
    for place, found, wanted in expected:
        mine = [fault for fault in told if place in fault]
        assert len(mine) == 1, (place, told)
        assert found in mine[0]
        assert wanted in mine[0]
    assert len(told) == len(expected)


def test_a_campaign_without_sights(tmp_path):
    folder = write(tmp_path / "c", sites=[SITE])
    assert faults_of(folder) == [
        "sights.csv: found no such file, or no rows; wanted directions read toward shadow, moon "
        "or stars; docs/tables.md has its columns"
    ]


def test_lines_alone_give_nothing_and_say_so(tmp_path):
    folder = write(tmp_path / "c", sites=[SITE], sights=[sight("church", "")])
    (row,) = rows_of(folder)
    assert row["reference_azimuth_deg"] is None
    assert "no sight toward the sky" in " ".join(run(folder).split())


def test_a_compass_by_shadow_and_by_board_is_one_statement(tmp_path):
    """The same compass read along a board's line and against shadows: one correction."""
    from orient.files import write_whole

    folder = tmp_path / "demo"
    files = {name: text for name, text in demo_tables.FILES.items() if name != "sights.csv"}
    write_whole(folder, files)
    plain = compass_of(folder)
    write(folder, sights=shadow_bearings("brass"))
    joined = compass_of(folder)
    assert len(joined) == len(plain) + 6
    added = [row for row in joined if str(row["reading"]).startswith("b")]
    assert {row["compass"] for row in added} == {"brass"}
    for row in added:
        assert abs(row["difference_deg"]) < 3.0
    before, after = (next(r for r in rows if r["compass"] == "brass") for rows in (plain, joined))
    width = [r["correction_high_deg"] - r["correction_low_deg"] for r in (before, after)]
    assert width[1] < width[0]


def test_a_reading_toward_a_line_that_only_sights_know(tmp_path):
    """Shadows on a circle give the line to the church; a compass read along it at another hour."""
    rows, zero, church = shadow_bearings(""), 100.0, 40.0
    for row in rows:
        row["circle"] = "alidade"
        # The bearings are magnetic, declination 17.2° W: the circle's zero is at 100° true.
        row["reading_deg"] = f"{(float(row['reading_deg']) - 17.2 - zero) % 360:.2f}"
    line = {"sight": "c", "site": "alderflat", "date": "2026-07-03", "circle": "alidade",
            "target": "church", "reading_deg": f"{(church - zero) % 360:.2f}"}  # fmt: skip
    site = SITE | {"site": "alderflat", "latitude_deg": 48.55, "longitude_deg": -56.85}
    site["timezone"] = "America/St_Johns"
    along = {"site": "alderflat", "date": "2026-07-04", "compass": "spare", "reading_deg": 58.0}
    readings = [along | {"reading": "one", "target": "church"}]
    folder = write(tmp_path / "c", sites=[site], sights=[*rows, line], readings=readings)
    (found,) = compass_of(folder)
    assert found["reading"] == "one"
    away = wrap_180(found["true_azimuth_deg"] - church)
    assert abs(away) < 1.96 * found["true_azimuth_u_deg"] < 1.0
    assert found["difference_deg"] == pytest.approx(58.0 - church - 17.2, abs=0.8)
    write(folder, readings=[along | {"reading": "lost", "target": "tower"}])
    with pytest.raises(InputError, match="or of sights there"):
        compass_of(folder)


def compass_of(folder):
    result = CliRunner().invoke(
        cli.orient, ["compass", str(folder), "--format", "json"], standalone_mode=False
    )
    if result.exception:
        raise result.exception
    return json.loads(result.output)


def shadow_bearings(compass):
    """Six shadows at alderflat on a July morning: declination 17.2° W, read to 0.3°."""
    from datetime import UTC, datetime, timedelta

    from simulated_sights import sun_seen

    start = datetime(2026, 7, 3, 10, tzinfo=UTC)  # 7:30 in Newfoundland
    moments = [start + timedelta(minutes=10 * n) for n in range(6)]
    at = np.array([moment.timestamp() for moment in moments])
    azimuth, _ = sun_seen(at, np.full(6, 48.55), np.full(6, -56.85))
    reading = azimuth + 180.0 + 17.2 + np.random.default_rng(4).normal(0, 0.3, 6)
    return [
        {
            "sight": f"b{n}", "site": "alderflat", "date": "2026-07-03",
            "time": f"{moment - timedelta(hours=2.5):%H:%M:%S}", "compass": compass,
            "target": "shadow", "reading_deg": f"{each % 360:.1f}",
        }
        for n, (moment, each) in enumerate(zip(moments, reading, strict=True))
    ]  # fmt: skip


def test_a_compared_watch_is_what_its_comparisons_say(tmp_path):
    """Shadows by a watch 100 s fast: its row says nothing, watches.csv does."""
    rows = [row | {"timepiece": "wrist"} for row in shadow_bearings("brass")]
    for row in rows:
        hour, minute, second = map(int, row["time"].split(":"))
        late = hour * 3600 + minute * 60 + second + 100
        row["time"] = f"{late // 3600:02d}:{late // 60 % 60:02d}:{late % 60:02d}"
    site = SITE | {"site": "alderflat", "latitude_deg": 48.55, "longitude_deg": -56.85}
    site["timezone"] = "America/St_Johns"
    watch = {"timepiece": "wrist", "date": "2026-07-03", "time": "07:00", "error_s": 100}
    plain = rows_of(write(tmp_path / "a", sites=[site], sights=rows))
    told = rows_of(write(tmp_path / "b", sites=[site], sights=rows, watches=[watch]))
    turned = wrap_180(told[0]["orientation_deg"] - plain[0]["orientation_deg"])
    assert -0.5 < turned < -0.25  # 100 s of a morning sun
    assert told[0]["orientation_u_deg"] < plain[0]["orientation_u_deg"]
    assert abs(wrap_180(told[0]["orientation_deg"] + 17.2)) < 3 * told[0]["orientation_u_deg"]


def test_lines_that_disagree_are_covered():
    from orient.observation.sights.joining import Known, joined

    together, agree = joined([Known(10.0, 0.05), Known(359.0, 0.5)])
    assert not agree
    for true in (10.0, 359.0):
        off = abs(wrap_180(together.azimuth_deg - true))
        assert off < COVERAGE_95 * together.u_deg
    together, agree = joined([Known(359.9, 0.2), Known(0.1, 0.2)])
    assert agree
    assert_allclose(wrap_180(together.azimuth_deg), 0.0, atol=1e-9)
    assert_allclose(together.u_deg, 0.2 / np.sqrt(2))


# --- mistakes ----------------------------------------------------------------------------------

#: What the sights tell of, by the kinds of `KINDS`: without altitudes a compass tells of hours and
#: of its other end by where it points, the circle of an alidade of minutes by its stars.
TOLD = {
    "compass": sorted({*MISTAKES} - {"five minutes late", "half an hour early", "in gon",
                                     "10° of longitude", "an hour late"}),
    "alidade": sorted({*MISTAKES} - {"all from the other end"}),
}  # fmt: skip


def beyond(tmp_path, kind, mistake, circles, seed):
    """Circles farther from the truth than three of their own uncertainties; those refused count
    as told."""
    sites, sights, truth = mistaken(kind, circles, seed, mistake)
    folder = write(tmp_path, sites=sites, sights=sights)
    try:
        found = rows_of(folder)
    except InputError as told:
        bad = {sights[fault.row - 2]["site"] for fault in told.faults if fault.row}
        sites = [site for site in sites if site["site"] not in bad]
        sights = [row for row in sights if row["site"] not in bad]
        found = rows_of(write(folder, sites=sites, sights=sights)) if sights else []
    far = []
    for row in found:
        line = row["reference_name"] is not None
        key = "reference_azimuth" if line else "orientation"
        if row[f"{key}_deg"] is not None:
            off = wrap_180(row[f"{key}_deg"] - truth[row["circle"]][int(line)])
            if abs(off) > 3.0 * row[f"{key}_u_deg"]:
                far.append((row["circle"], off, row[f"{key}_u_deg"], row["flags"]))
    return far


@pytest.mark.parametrize(
    ("kind", "mistake"),
    [(0, "all from the other end"), (0, "counted anticlockwise"), (1, "five minutes late"),
     (1, "times the other way round"), (1, "half of them from the other end")],
)  # fmt: skip
def test_a_mistake_leaves_no_narrow_wrong_line(kind, mistake, tmp_path):
    assert beyond(tmp_path, KINDS[kind], mistake, 4, seed=3) == []


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS[:2], ids=lambda kind: kind.name)
def test_of_all_mistakes_hardly_a_line_is_narrow_and_wrong(kind, tmp_path):
    """Of some 60 circles with a mistake that the sights tell, one at most."""
    far = {
        mistake: beyond(tmp_path / str(number), kind, mistake, 6, seed=21)
        for number, mistake in enumerate(TOLD[kind.name])
    }
    assert sum(map(len, far.values())) <= 1, far


def test_a_compass_that_points_oddly_may_be_the_watch(tmp_path):
    """Iron pulls a compass by 12°: where an hour of the watch would do it too, both are reached."""
    sites, sights, truth = mistaken(KINDS[0], 8, 12, "none")
    for row in sights:
        row["reading_deg"] = f"{(float(row['reading_deg']) - 12.0) % 360:.3f}"
    found = rows_of(write(tmp_path / "c", sites=sites, sights=sights))
    wide = ["sights-contradict" in row["flags"] for row in found]
    assert 1 <= sum(wide) < 8
    for row, both in zip(found, wide, strict=True):
        off = wrap_180(row["orientation_deg"] - truth[row["circle"]][0] - 12.0)
        assert abs(off) < 3.0 * row["orientation_u_deg"]
        assert both == (row["orientation_u_deg"] > 1.0)
