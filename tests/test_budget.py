"""The error budget against Monte Carlo that shares nothing with it, and against the reduction.

The simulated sun is the plain spherical triangle at a fixed declination, the board a ray
traced in three dimensions, the reduction the arithmetic of the field: no code of the package.
"""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from crew_on_file import crew

from orient.cli import orient
from orient.numbers import budget, sun
from orient.numbers.budget import PlannedMarks
from orient.numbers.light import Places, light_at_board
from orient.numbers.propagation import altitude_sensitivity, edge_scatter_mm, variance_terms
from orient.numbers.shadow import UNKNOWNS
from orient.numbers.tolerances import Tolerances
from orient.observation import adjustment
from orient.observation.board import Board
from orient.tables import clock

DRAWS = 20_000
HOUR_RAD = np.radians(15.0)
SECOND_RAD = HOUR_RAD / 3600.0


def sky(latitude, declination, hour_angle):
    """Unit vector east, north, up of a sun at an hour angle; radians."""
    return np.stack(
        [
            -np.cos(declination) * np.sin(hour_angle),
            np.cos(latitude) * np.sin(declination)
            - np.sin(latitude) * np.cos(declination) * np.cos(hour_angle),
            np.sin(latitude) * np.sin(declination)
            + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle),
        ],
        axis=-1,
    )


def azimuth_of(light):
    return np.arctan2(light[..., 0], light[..., 1])


def azimuth_at_altitude(latitude, declination, altitude, afternoon):
    """The spherical triangle from three sides; the sun in the west after noon."""
    cosine = (np.sin(declination) - np.sin(latitude) * np.sin(altitude)) / (
        np.cos(latitude) * np.cos(altitude)
    )
    azimuth = np.arccos(np.clip(cosine, -1, 1))
    return -azimuth if afternoon else azimuth


def draw(generator, tolerances, size):
    """Boards as they might stand: tilts, foot, height, edge and watch, each of shape (size, 1)."""

    def normal(sd):
        return generator.normal(0.0, sd, (size, 1)) if sd > 0 else np.zeros((size, 1))

    t = tolerances
    return {
        "tilt_x": np.radians(normal(t.level_sd_deg)),
        "tilt_y": np.radians(normal(t.level_sd_deg)),
        "foot_x": normal(t.plumb_sd_mm),
        "foot_y": normal(t.plumb_sd_mm),
        "height": normal(t.height_sd_mm),
        "edge": np.radians(normal(t.edge_sd_deg)),
        "watch": normal(t.watch_sd_s),
    }


def cast(light, rod_mm, board):
    """Tips (…, marks, 2) of a tilted board: the ray meets the plane, in axes laid in the plane."""
    altitude = np.arcsin(light[..., 2]) + board["edge"]
    azimuth = azimuth_of(light)
    ray = np.stack(
        [
            np.cos(altitude) * np.sin(azimuth),
            np.cos(altitude) * np.cos(azimuth),
            np.sin(altitude) + 0 * azimuth,
        ],
        axis=-1,
    )
    a, b = board["tilt_x"], board["tilt_y"]
    one, zero = np.ones_like(a), np.zeros_like(a)
    # Rotate the east axis up by a about north, then complete the frame with a cross product.
    x_axis = np.stack([np.cos(a), zero, np.sin(a)], axis=-1)
    normal = np.cross(x_axis, np.stack([zero, np.cos(b), np.sin(b)], axis=-1))
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    y_axis = np.cross(normal, x_axis)
    rod = np.stack([zero, zero, one * (rod_mm + board["height"])], axis=-1)
    reach = (rod * normal).sum(-1, keepdims=True) / (ray * normal).sum(-1, keepdims=True)
    point = rod - reach * ray
    x = (point * x_axis).sum(-1) + board["foot_x"]
    y = (point * y_axis).sum(-1) + board["foot_y"]
    return np.stack([x, y], axis=-1)


def lit(latitude, declination, hour_angle):
    """The light and its rate per second as the budget takes them."""
    light = sky(latitude, declination, hour_angle)
    half = 0.5 * SECOND_RAD
    rate = sky(latitude, declination, hour_angle + half) - sky(
        latitude, declination, hour_angle - half
    )
    return tuple(np.moveaxis(light, -1, 0)), tuple(np.moveaxis(rate, -1, 0))


def planned(latitude, declination, hour_angle, rod_mm):
    return PlannedMarks.under(*lit(latitude, declination, np.asarray(hour_angle)), rod_mm)


def planned_pair(latitude, declination, hour_angle, rod_mm):
    """Mirrored about noon, (2, ...)."""
    return planned(latitude, declination, np.stack([-hour_angle, hour_angle]), rod_mm)


CASES = [
    # latitude, declination, hours from noon, rod
    (50.0, 0.0, 2.0, 300.0),
    (50.0, 23.4, 3.5, 300.0),
    (30.0, -23.4, 1.0, 150.0),
    (30.0, 0.0, 0.5, 300.0),
    (0.0, 0.0, 3.0, 300.0),
    (-35.0, 23.4, 2.0, 600.0),
    (66.0, 10.0, 4.0, 200.0),
    (10.0, 20.0, 3.0, 300.0),
]
TERMS_AT_FAULT = {
    "marking": "mark_sd_mm",
    "level": "level_sd_deg",
    "foot": "plumb_sd_mm",
    "height": "height_sd_mm",
    "watch": "watch_sd_s",
    "edge": "edge_sd_deg",
}


def only(term):
    """The default tolerances with every other one at nought."""
    name = TERMS_AT_FAULT[term]
    nought = dict.fromkeys(TERMS_AT_FAULT.values(), 0.0)
    return Tolerances(**{**nought, name: getattr(Tolerances(), name)})


def simulated_pair(latitude, declination, hours, rod_mm, tolerances):
    generator = np.random.default_rng(5)
    board = draw(generator, tolerances, DRAWS)
    light = sky(latitude, declination, np.array([-hours, hours]) * HOUR_RAD)
    tips = cast(light, rod_mm, board)
    tips = tips + tolerances.mark_sd_mm * generator.normal(size=tips.shape)
    x, y = tips[..., 0], tips[..., 1]
    altitude = np.arctan2(rod_mm, np.hypot(x, y))
    seen = np.stack(
        [azimuth_at_altitude(latitude, declination, altitude[:, n], bool(n)) for n in (0, 1)],
        axis=-1,
    )
    away = seen + np.pi - np.arctan2(x, y)
    return np.std(np.mean(np.mod(away + np.pi, 2 * np.pi) - np.pi, axis=-1))


@pytest.mark.parametrize("case", CASES)
def test_a_pair_scatters_as_its_budget_says(case):
    latitude, declination = np.radians(case[:2])
    hours, rod = case[2:]
    marks = planned_pair(latitude, declination, hours * HOUR_RAD, rod)
    terms = budget.pair_terms(marks, Tolerances())
    expected = float(np.radians(budget.expected_u_deg(terms)))
    simulated = simulated_pair(latitude, declination, hours, rod, Tolerances())
    assert simulated == pytest.approx(expected, rel=0.1)
    for term in budget.TERMS:
        alone = simulated_pair(latitude, declination, hours, rod, only(term))
        assert alone == pytest.approx(np.sqrt(terms[term]), rel=0.1, abs=0.03 * expected), term


def simulated_timed(latitude, declination, hours, rod_mm, tolerances):
    generator = np.random.default_rng(6)
    board = draw(generator, tolerances, DRAWS)
    hour_angle = np.array([hours]) * HOUR_RAD
    tips = cast(sky(latitude, declination, hour_angle), rod_mm, board)
    tips = tips + tolerances.mark_sd_mm * generator.normal(size=tips.shape)
    believed = azimuth_of(sky(latitude, declination, hour_angle + board["watch"] * SECOND_RAD))
    away = believed + np.pi - np.arctan2(tips[..., 0], tips[..., 1])
    return np.std(np.mod(away + np.pi, 2 * np.pi) - np.pi)


@pytest.mark.parametrize("case", CASES)
def test_a_timed_mark_scatters_as_its_budget_says(case):
    latitude, declination = np.radians(case[:2])
    hours, rod = case[2:]
    terms = budget.timed_terms(planned(latitude, declination, hours * HOUR_RAD, rod), Tolerances())
    expected = float(np.radians(budget.expected_u_deg(terms)))
    simulated = simulated_timed(latitude, declination, hours, rod, Tolerances())
    assert simulated == pytest.approx(expected, rel=0.1)
    for term in budget.TERMS:
        alone = simulated_timed(latitude, declination, hours, rod, only(term))
        assert alone == pytest.approx(np.sqrt(terms[term]), rel=0.1, abs=0.03 * expected), term


def _scatter(marks, rod_mm, tolerances):
    """Covariance of marks (all x, then all y): their own, and along the shadow the soft edge.

    The edge is as wide as the light's 32′ spread over its path (*common practice, no source*).
    """
    x, y = np.split(marks, 2)
    length = np.hypot(x, y)
    soft = tolerances.edge_scatter * 0.0093 * (length**2 + rod_mm**2) / rod_mm
    across = np.block([[np.diag(soft * x / length)], [np.diag(soft * y / length)]])
    return tolerances.mark_sd_mm**2 * np.eye(marks.size) + across @ across.T


@pytest.mark.parametrize("case", CASES)
def test_a_day_of_marks_scatters_as_its_budget_says(case):
    """A linear adjustment with numerical partials of the traced ray, priors as observations."""
    latitude, declination = np.radians(case[:2])
    rod, tolerances = case[3], Tolerances()
    # From the given hour to an hour and a half earlier, both sides, every half hour.
    hours = case[2] + np.array([0.0, 0.5, 1.0, 1.5])
    hour_angle = np.concatenate([-hours[::-1], hours]) * HOUR_RAD
    hour_angle = hour_angle[sky(latitude, declination, hour_angle)[:, 2] > 0.15]
    names = ("tilt_x", "tilt_y", "foot_x", "foot_y", "height", "edge", "watch")
    level = np.radians(tolerances.level_sd_deg)
    sd = np.array(
        [level, level, 0.7, 0.7, 0.5, np.radians(tolerances.edge_sd_deg), tolerances.watch_sd_s]
    )

    def observed(errors, azimuth=0.0):
        """Marks less what a faultless board at azimuth 0 and a true watch would show."""
        board = {name: errors[:, [n]] for n, name in enumerate(names)}
        light = sky(latitude, declination, hour_angle - board["watch"] * SECOND_RAD)
        tips = cast(light, rod, board)
        x = tips[..., 0] * np.cos(azimuth) - tips[..., 1] * np.sin(azimuth)
        y = tips[..., 0] * np.sin(azimuth) + tips[..., 1] * np.cos(azimuth)
        return np.concatenate([x, y], axis=-1)

    step = np.diag(sd) * 1e-2
    partials = (observed(step) - observed(-step)) / (2e-2 * sd[:, None])
    turned = (observed(np.zeros((1, 7)), 1e-5) - observed(np.zeros((1, 7)), -1e-5)) / 2e-5
    design = np.concatenate([turned, partials]).T
    weight = np.linalg.inv(_scatter(observed(np.zeros((1, 7)))[0], rod, tolerances))
    normal = design.T @ weight @ design + np.diag([0.0, *sd**-2])
    generator = np.random.default_rng(8)
    errors = generator.normal(size=(DRAWS, 7)) * sd
    marks = observed(errors)
    scatter = np.linalg.cholesky(np.linalg.inv(weight))
    marks = marks + generator.normal(size=marks.shape) @ scatter.T
    residual = marks - observed(np.zeros((1, 7)))
    solved = np.linalg.solve(normal, design.T @ weight @ residual.T)
    information = budget.mark_information(
        planned(latitude, declination, hour_angle, rod), tolerances
    ).sum(axis=0)
    expected = np.radians(budget.expected_u_deg(budget.day_terms(information, tolerances)))
    assert np.std(solved[0]) == pytest.approx(expected, rel=0.1)


def test_a_tilted_board_turns_a_pair_by_tilt_times_tangent_of_latitude():
    """*Measured*, and plain geometry: 0.1° gives 3.5′ at 30° and 7.2′ at 50°, at any hour."""
    for latitude_deg, expected_arcmin in ((30.0, 3.5), (50.0, 7.2)):
        for hours in (1.0, 2.0, 4.0):
            marks = planned_pair(np.radians(latitude_deg), 0.0, hours * HOUR_RAD, 300.0)
            terms = budget.pair_terms(marks, only("level"))
            arcmin = budget.expected_u_deg(terms) * 60
            assert arcmin == pytest.approx(expected_arcmin, abs=0.06)
            assert arcmin == pytest.approx(6.0 * np.tan(np.radians(latitude_deg)), rel=1e-3)


def test_a_larger_board_and_rod_are_the_same_board_seen_closer():
    """Similar figures: every length twice as great leaves every angle."""
    marks = [planned_pair(np.radians(40.0), 0.2, 2.0 * HOUR_RAD, rod) for rod in (150.0, 300.0)]
    coarse = Tolerances(mark_sd_mm=1.4, plumb_sd_mm=1.4, height_sd_mm=1.0)
    small, large = (
        budget.pair_terms(pair, sd) for pair, sd in zip(marks, (Tolerances(), coarse), strict=True)
    )
    for term in budget.TERMS:
        assert large[term] == pytest.approx(small[term], rel=1e-9, abs=1e-24)


def test_the_day_budget_is_the_adjustment_s_own_figure():
    """What planning promises is what the reduction then states, term by term."""
    places = Places(47.0, 9.0, 600.0, 940.0, 12.0)
    noon = float(sun.transit(clock.utc_s("2026-05-10", 43200.0, "Europe/Zurich"), 9.0))
    instants = noon + 60.0 * np.concatenate([np.arange(-240, -59, 20), np.arange(60, 241, 20)])
    light = light_at_board(instants, places)
    rate = sun.direction_rate(instants, 47.0, 9.0)
    marks = PlannedMarks.under(light, rate, 300.0)
    board = Board(
        47.0,
        9.0,
        noon,
        300.0,
        marks.x_mm,
        marks.y_mm,
        instants,
        np.where(instants < noon, -1, 1).astype(np.int8),
        np.full(instants.size, ""),
        elevation_m=600.0,
        pressure_hpa=940.0,
        temperature_c=12.0,
    )
    fit = adjustment.adjust(board)
    terms = budget.day_terms(budget.mark_information(marks, Tolerances()).sum(axis=0), Tolerances())
    assert np.radians(budget.expected_u_deg(terms)) == pytest.approx(fit.azimuth_u_rad, rel=1e-6)
    for term in budget.TERMS:
        assert np.sqrt(terms[term]) == pytest.approx(fit.terms[term], rel=1e-6, abs=1e-9)


def test_the_terms_add_up_and_noon_has_no_pair():
    hour_angle = np.array([1e-9, 2.0 * HOUR_RAD])
    terms = budget.pair_terms(planned_pair(np.radians(50.0), 0.0, hour_angle, 300.0), Tolerances())
    u_deg = budget.expected_u_deg(terms)
    assert u_deg[0] > 1000.0
    assert np.radians(u_deg[1]) ** 2 == pytest.approx(sum(terms[t][1] for t in budget.TERMS))


def test_a_comparison_and_a_second_board_are_worth_what_they_then_give(tmp_path):
    """What `orient plan --budget` says of a day, and what `orient reduce` then has, to a tenth."""
    made = crew(np.random.default_rng(12), boards=2, one_line=True, latitude_deg=45.0)
    for row, truth in zip(made.setups, made.truth, strict=True):
        drawn = made.line_deg["A"] - truth.board_azimuth_deg
        row |= {"reference_sd_deg": 0.002, "reference_angle_deg": drawn % 360.0}
        row.pop("observer")
    folder = made.write(tmp_path / "c")
    day = ["--from", made.setups[0]["date"], "--reach", "870", "--max-altitude", "89"]
    ran = CliRunner().invoke(orient, ["plan", str(folder), *day, "--budget", "--format", "json"])
    said = {row["method"]: row["expected_u_deg"] for row in json.loads(ran.stdout)}
    rows = made.reduce(folder)
    assert said["one-line"] == pytest.approx(rows[0]["combined_azimuth_u_deg"], rel=0.1)
    assert said["day"] == pytest.approx(rows[0]["alone_azimuth_u_deg"], rel=0.1)
    for row in made.setups:
        row.pop("reference_angle_deg")
    assert said["shared"] == pytest.approx(made.reduce(folder)[0]["board_azimuth_u_deg"], rel=0.1)
    for row in made.setups:
        row["watch_sd_s"], row["watch_error_s"] = 1.0, made.truth[0].watch_fast_s
    alone = made.reduce(folder, "--alone")[0]["board_azimuth_u_deg"]
    assert said["compared"] == pytest.approx(alone, rel=0.1)
    assert said["compared"] < said["one-line"] < said["shared"] < said["day"]


def test_a_level_board_s_closed_forms_are_the_partials_of_any_board():
    """`tip_partials` of the reduction, along the shadow and across it, over the scatter.

    Its change of a tip by each unknown at the level board is the same to rounding, and so are the
    terms of pairs that the weighted single marks of the reduction make.
    """
    generator = np.random.default_rng(9)
    hours = generator.uniform(0.2, 4.0, 60)
    marks = planned_pair(0.7, 0.2, hours * HOUR_RAD, 250.0)
    tolerances = Tolerances()
    length = marks.shadow_mm
    along_sd = np.hypot(edge_scatter_mm(length, 250.0, tolerances.edge_scatter), 0.7)
    outward = np.stack([marks.x_mm, marks.y_mm], axis=-1) / length[..., None]
    across = np.stack([-outward[..., 1], outward[..., 0]], axis=-1)
    partials = marks.partials()
    partials[..., UNKNOWNS.index("latitude_rad")] = 0.0
    by_hand = np.stack(
        [
            np.einsum("...i,...ik->...k", outward, partials) / along_sd[..., None],
            np.einsum("...i,...ik->...k", across, partials) / 0.7,
        ],
        axis=-2,
    )
    each = np.swapaxes(by_hand, -1, -2) @ by_hand
    scale = np.sqrt(np.einsum("...kk->...k", each)).max(axis=(0, 1)) + 1e-30
    scale = np.outer(scale, scale)
    told = budget.mark_information(marks, tolerances)
    assert told / scale == pytest.approx(each / scale, rel=1e-9, abs=1e-12)
    counts, start = generator.random((2, 60)) < 0.7, np.array([0, 7, 30])
    of_runs = budget.information_of_runs(marks, counts, start, tolerances)
    both = (told * counts[..., None, None]).sum(axis=0)
    expected = [both[:7].sum(axis=0), both[7:30].sum(axis=0), both[30:].sum(axis=0)]
    assert of_runs / scale == pytest.approx(np.array(expected) / scale, rel=1e-9, abs=1e-12)
    x, y, partials = (
        np.moveaxis(part, 0, 1) for part in (marks.x_mm, marks.y_mm, marks.partials())
    )
    sensitivity = altitude_sensitivity(x, y, partials)
    single = variance_terms([0.5, 0.5], sensitivity, partials, tolerances, by_watch=False)
    terms = budget.pair_terms(marks, tolerances)
    for name in budget.TERMS:
        assert terms[name] == pytest.approx(single[name], rel=1e-9, abs=1e-20)
