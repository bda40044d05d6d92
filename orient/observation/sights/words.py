"""What a reduced circle says to people, in sentences."""

from __future__ import annotations

import numpy as np

from orient.numbers.angles import wrap_180
from orient.numbers.bodies import SUN
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.sights.adjustment import TERMS, Adjusted
from orient.observation.sights.campaign import DOUBTFUL, CircleResult
from orient.tables.sights import LINE
from orient.text import signed

_SOURCES = {
    "reading": "reading the circle",
    "altitude": "reading altitudes",
    "watch": "the watch",
    "plumb": "how plumb the line or the sights",
    "place": "the place and its plumb line",
    "instrument": "the instrument",
    "doubt": "what the sights leave open",
}


def sentences(result: CircleResult) -> list[str]:
    """What a person should know of one circle, most wanted first.

    Args:
        result: of `campaign.reduce_sights`.

    Returns:
        Whole sentences; figures with ± are 95 % figures.
    """
    if result.adjusted is None:
        return [f"{_title(result)}: no sight toward the sky, so no azimuth."]
    said = [_compass(result)] if result.rows[0]["compass"] else []
    said += [_budget(result, row_number) for row_number in range(len(result.rows))]
    said += _read_once(result)
    said += _unchecked(result.adjusted)
    said += _misfits(result.adjusted)
    said += _watches(result)
    said += _methods(result)
    said += _with_others(result)
    if result.laplace_deg:
        said.append(
            f"For the deflection of the vertical {signed(result.laplace_deg * 3600)}″ (Laplace) "
            "was taken off: the azimuths here are geodetic."
        )
    if len(result.left_out):
        names = ", ".join(result.left_out["sight"].astype(str))
        sights = f"sight{'s' * (len(result.left_out) > 1)}"
        said.append(f"Left out as the table asks (use = no): {sights} {names}.")
    return [f"{_title(result)}: {each}" for each in said if each]


def _title(result: CircleResult) -> str:
    row = result.rows[0]
    return f"{row['circle']} at {row['site']}, {row['date']}"


def _pm(u_deg: float) -> str:
    """A 95 % figure with two good digits."""
    value = COVERAGE_95 * u_deg
    return f"±{value:.{_places(value)}f}°"


def _places(value: float) -> int:
    return int(np.clip(1 - np.floor(np.log10(max(value, 1e-4))), 1, 3))


def _degrees(value: float, u_deg: float) -> str:
    return f"{value:.{_places(COVERAGE_95 * u_deg)}f}°"


def _plus(value: float, u_deg: float) -> str:
    return signed(value, _places(COVERAGE_95 * u_deg)) + "°"


def _compass(result: CircleResult) -> str:
    row = result.rows[0]
    if row["orientation_deg"] is None:
        return "the sights do not fix the compass."
    u, model_u = row["orientation_u_deg"], row["declination_u_deg"]
    add = float(wrap_180(row["orientation_deg"]))
    beyond, beyond_u = row["compass_correction_deg"], row["compass_correction_u_deg"]
    found = (
        f"true azimuth = compass reading {_plus(add, u)} {_pm(u)} (95 %), by {_count(result)}. "
        f"The model's declination is {_plus(row['declination_deg'], model_u)} {_pm(model_u)}; "
        f"{_plus(beyond, beyond_u)} {_pm(beyond_u)} is left for the compass and the ground, "
    )
    if abs(beyond) > COVERAGE_95 * beyond_u:
        return found + "more than model and sights allow: a bent needle, iron or rock."
    return found + "no more than model and sights allow."


def _count(result: CircleResult) -> str:
    n = result.rows[0]["n"]
    return f"{n} sight{'s' * (n != 1)} toward the sky"


def _budget(result: CircleResult, number: int) -> str:
    row = result.rows[number]
    terms = row["budget"]
    azimuth, name = row["reference_azimuth_deg"], row["reference_name"]
    if name is None and row["compass"]:
        return _sources(terms)
    if name is None:
        if row["orientation_deg"] is None:
            return "the sights do not fix the circle."
        u = row["orientation_u_deg"]
        return (
            f"its zero has the true azimuth {_degrees(row['orientation_deg'], u)} {_pm(u)} (95 %), "
            f"by {_count(result)}; no line was read on it. {_sources(terms)}"
        )
    if azimuth is None:
        return f"the sights do not fix {name}."
    u = row["reference_azimuth_u_deg"]
    return f"{name} has the true azimuth {_degrees(azimuth, u)} {_pm(u)} (95 %). {_sources(terms)}"


def _read_once(result: CircleResult) -> list[str]:
    """Lines whose one reading nothing checks, where the sky itself was sighted twice."""
    lines = result.sights["target"][result.sights["kind"] == LINE].value_counts()
    once = [str(name) for name, count in lines.items() if count == 1]
    if not once:
        return []
    return [f"read {', '.join(once)} a second time: one reading alone shows no slip."]


def _unchecked(adjusted: Adjusted) -> list[str]:
    """What nothing checks where only the sun was sighted, and no altitude was read."""
    circle = adjusted.circle
    bodies = {circle.bodies[number] for number in np.flatnonzero(circle.aloft)}
    if np.isfinite(circle.altitude_deg).any() or bodies != {SUN}:
        return []
    return [
        "nothing here checks the watch, the date and the place: read an altitude of the sun with "
        "one of the sights (a rod's height over its shadow's length is its tangent)."
    ]


def _sources(terms: dict[str, float]) -> str:
    """The terms of a budget that matter, largest first."""
    total = float(np.sqrt(sum(part**2 for part in terms.values())))
    large = sorted(
        (name for name in TERMS if terms.get(name, 0.0) > 0.15 * total), key=lambda n: -terms[n]
    )
    listed = ", ".join(f"{_SOURCES[name]} {_pm(terms[name])}" for name in large)
    return f"Of this: {listed}."


def _misfits(adjusted: Adjusted) -> list[str]:
    """Each sight that does not fit, by name, and by how much."""
    said = []
    sights = adjusted.circle.sights
    for number, (_, row) in enumerate(sights.iterrows()):
        off = float(wrap_180(adjusted.residual_deg[number]))
        if adjusted.good[number] < DOUBTFUL:
            hint = "; a back bearing?" if abs(abs(off) - 180.0) < 3.0 else ""
            said.append(
                f"sight {row['sight']} ({row['target']}) reads {signed(off, 2)}° from what the "
                f"others say and counts for little{hint}."
            )
        if adjusted.altitude_good[number] < DOUBTFUL:
            said.append(
                f"the altitude of sight {row['sight']} ({row['target']}) is "
                f"{signed(adjusted.altitude_residual_deg[number], 2)}° from what the others say "
                "and counts for little."
            )
    return said


def _watches(result: CircleResult) -> list[str]:
    adjusted = result.adjusted
    assert adjusted is not None
    said = []
    if adjusted.meant.words:
        said.append(f"the sights fit far better with {adjusted.meant.words}.")
    if adjusted.scale > 1.0:
        said.append(
            f"the sights scatter as if every stated figure were {adjusted.scale:g} times larger, "
            "and the result is that much wider."
        )
    rough = result.sights["watch"][result.sights["kind"] != LINE]
    for number, (off, u) in enumerate(
        zip(adjusted.watch_off_s, adjusted.watch_off_u_s, strict=True)
    ):
        running = (rough == "running").any() and len(adjusted.watch_off_s) == 1
        if running and u < 300.0:
            name = adjusted.circle.watch_names[number] or "the watch"
            said.append(f"{name} was {signed(off, 0)} s ±{COVERAGE_95 * u:.0f} s (95 %) fast.")
    return said


def _methods(result: CircleResult) -> list[str]:
    """The same direction by time and by altitude, beside each other."""
    row = result.rows[0]
    methods = row["methods"] or {}
    told = [
        f"by {name} alone {_degrees(each['azimuth_deg'], each['azimuth_u_deg'])} "
        f"{_pm(each['azimuth_u_deg'])}"
        for name, each in methods.items()
        if each is not None
    ]
    if not told or not (methods.get("altitude") and len(told) == 2):
        return []
    return [f"{row['reference_name'] or 'its zero'}, {'; '.join(told)} (95 %)."]


def _with_others(result: CircleResult) -> list[str]:
    """What boards and other circles say of the same lines."""
    said = []
    for row in result.rows:
        if row["combined_azimuth_deg"] is None:
            continue
        u = row["combined_azimuth_u_deg"]
        board = ""
        if row["board_azimuth_deg"] is not None:
            apart = float(wrap_180(row["reference_azimuth_deg"] - row["board_azimuth_deg"]))
            allowed = float(np.hypot(row["reference_azimuth_u_deg"], row["board_azimuth_u_deg"]))
            agree = "within" if abs(apart) <= COVERAGE_95 * allowed else "more than"
            board = (
                f"this is {_plus(apart, allowed)} from the board's, {agree} the {_pm(allowed)} "
                "(95 %) of both; "
            )
        said.append(
            f"{row['reference_name']}: {board}all that is known of the line together "
            f"{_degrees(row['combined_azimuth_deg'], u)} {_pm(u)} (95 %)."
        )
    return said
