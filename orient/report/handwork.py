"""A board worked by hand beside its result: the steps in words, the lesson in one picture."""

from __future__ import annotations

from typing import Any

import numpy as np
from markupsafe import Markup

from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.setups import SetupResult
from orient.observation.worksheet import ShortestMark, WorkedNoon, WorkedPair, worksheet
from orient.report.drawing import (
    ENDS,
    WIDTH,
    Drawing,
    Frame,
    bottom_axis,
    edge,
    left_axis,
    nice,
    plain,
    ticks,
)
from orient.text import figure

_HEIGHT = 150.0
#: The picture shows so many times the span in which lengths are alike, and at least so much.
_WIDER, _LEAST_DEG = 1.6, 8.0


def handwork(result: SetupResult) -> dict[str, Any] | None:
    """The worksheet of a set-up: `steps`, `lesson` with its `svg`, and the tool's `answer`.

    None where the marks fix no direction.
    """
    reduced = result.reduced
    if reduced is None or not reduced.determined:
        return None
    names = result.marks["mark"].astype(str).tolist()
    work = worksheet(reduced)
    steps = _pair_steps(work.pair, names, result, work.toward_north)
    if work.noon is not None:
        steps.append(_noon_step(work.noon, reduced.board.height_mm, result))
    north = float(-reduced.board_azimuth_deg % 360.0)
    answer = (
        f"By the tool, from all marks: true north at board direction {_deg(north)} ± "
        f"{_deg(COVERAGE_95 * reduced.board_azimuth_u_deg)}."
    )
    if work.pair is not None:
        apart = abs(float(wrap_180(work.pair.north_deg - north)))
        answer += f" The pair worked by hand is {_deg(apart)} from it."
    if reduced.contradicted:
        answer += " The marks contradict the record: that comes first."
    return {
        "steps": steps,
        "lesson": _lesson(work.shortest, names),
        "svg": _picture(work.shortest, work.toward_north),
        "answer": answer,
    }


def _deg(value: float, places: int = 2, plus: bool = False) -> str:
    return figure(value, places, "°", plus)


def _pair_steps(
    pair: WorkedPair | None, names: list[str], result: SetupResult, toward_north: bool
) -> list[str]:
    if pair is None:
        return [
            "No mark has a partner of equal length on the other side of noon: no circle about the "
            "foot crosses the marks twice, and no angle can be halved."
        ]
    low, high = (names[number] for number in sorted(pair.between))
    where = (
        f"mark {low} lies on it"
        if low == high
        else f"it crosses a smooth curve through the marks between {low} and {high}"
    )
    side = "north" if toward_north else "south"
    change = pair.declination_deg[1] - pair.declination_deg[0]
    turned = "" if toward_north else " and turned about by 180°"
    return [
        f"Equal altitudes. Set the compasses to mark {names[pair.mark]}, {pair.length_mm:.1f} mm "
        f"from the foot, and draw that circle about the foot. On the other side of noon {where}.",
        f"The halving line. The two directions, clockwise from the board’s +y: "
        f"{_deg(pair.direction_deg[0])} in the morning, {_deg(pair.direction_deg[1])} in the "
        f"afternoon. Halved: {_deg(pair.halving_deg)}, toward {side}.",
        f"The sun’s declination changed from {_deg(pair.declination_deg[0], 3, True)} to "
        f"{_deg(pair.declination_deg[1], 3, True)} in the {pair.hours:.2f} hours between. The "
        "halving line lies off the meridian by half the change over cos latitude × sin of half "
        f"the hours (15° an hour): {_deg(change, 3, True)} / (2 × cos "
        f"{_deg(float(result.place['latitude_deg']))} × sin {_deg(pair.hour_angle_deg)}) = "
        f"{_deg(pair.correction_deg, 3, True)}, east plus.",
        f"True north on the board: {_deg(pair.halving_deg)} less that{turned}: "
        f"{_deg(pair.north_deg)} ± {_deg(COVERAGE_95 * pair.u_deg)} (95 %).",
    ]


def _noon_step(noon: WorkedNoon, height_mm: float, result: SetupResult) -> str:
    # Worked with the figures as they are shown, so that whoever works along finds the same.
    length, declination = round(noon.length_mm, 1), round(noon.declination_deg, 2)
    high = round(float(np.degrees(np.arctan(height_mm / length))), 2)
    refraction, edge = round(noon.refraction_deg, 2), round(noon.edge_deg, 2)
    total = 90.0 - high + refraction + edge
    latitude = _deg(declination + (total if noon.sun_in_south else -total))
    exact = _deg(noon.latitude_deg)
    return (
        f"The noon shadow, read off a smooth curve about the shortest: {length:.1f} mm, "
        f"the rod {height_mm:g} mm. The sun’s altitude: atan ({height_mm:g} / {length:.1f}) = "
        f"{_deg(high)}; from the zenith {_deg(90.0 - high)} + {_deg(refraction)} of refraction"
        + f" + {_deg(edge)} from the sun’s edge to its middle"
        * (edge > 0)
        + f" = {_deg(total)}. The sun’s declination then is {_deg(declination, 2, True)}, the sun "
        f"in the {'south' if noon.sun_in_south else 'north'}: latitude = {_deg(declination)} "
        f"{'+' if noon.sun_in_south else '−'} {_deg(total)} = {latitude}"
        + f", without rounding {exact},"
        * (latitude != exact)
        + f" ± {_deg(COVERAGE_95 * noon.u_deg)}. The site’s is "
        f"{_deg(float(result.place['latitude_deg']))}."
    )


def _lesson(shortest: ShortestMark, names: list[str]) -> str:
    turned = "clockwise" if shortest.off_deg >= 0 else "anticlockwise"
    said = (
        f"The shortest mark alone, {names[shortest.mark]}, taken for the noon shadow, would put "
        f"north {_deg(abs(shortest.off_deg), 1)} too far {turned}. "
    )
    if not shortest.near_noon:
        return said + (
            f"Why: it is {shortest.longer_mm:.0f} mm longer than the noon shadow of that day; no "
            "mark was made near enough to noon."
        )
    return said + (
        "Why it is a poor guide: about noon the length changes too little. For "
        f"{shortest.minutes:.0f} minutes the shadow is within {shortest.tells_mm:.1f} mm of its "
        "shortest, which is what marking can tell (95 %); in that time its direction turns "
        f"{_deg(shortest.turns_deg, 0)}. Any mark of that span may come out shortest."
    )


def _picture(shortest: ShortestMark, toward_north: bool) -> Markup:
    """Length of the shadow over its direction about noon, marks and band of equal lengths."""
    reach = max(_LEAST_DEG, _WIDER * shortest.turns_deg / 2.0, 1.3 * abs(shortest.off_deg))
    reach = nice(reach, ENDS)
    near = np.abs(shortest.track[:, 0]) <= reach
    seen = np.abs(shortest.marks[:, 0]) <= reach
    least = float(shortest.track[:, 1].min())
    lengths = np.concatenate([shortest.track[near, 1], shortest.marks[seen, 1], [least]])
    pad = max(shortest.tells_mm, 0.1 * float(np.ptp(lengths)))
    low, high = float(lengths.min()) - pad, float(lengths.max()) + pad
    frame = Frame(44.0, 20.0, WIDTH - 54.0, _HEIGHT, (-reach, reach), (low, high))
    label = "Length of the shadow over its direction about noon, with the marks"
    drawing = Drawing(label, WIDTH, frame.bottom + 34.0)
    band = frame.y(least + shortest.tells_mm)
    drawing.box(frame.left, band, frame.width, frame.y(least) - band, "wedge")
    side = "north" if toward_north else "south"
    with drawing.same():
        marks = [(tick, plain(tick)) for tick in ticks(-reach, reach, 6)]
        bottom_axis(drawing, frame, marks, f"direction from true {side}, °")
        drawing.line(frame.at(0.0, low), frame.at(0.0, high), "meridian")
        edge(drawing, frame)
    left_axis(drawing, frame, [(tick, plain(tick)) for tick in ticks(low, high, 5)], "shadow, mm")
    for run in frame.runs(shortest.track):
        drawing.curve(run, "track")
    for x, y in shortest.marks[seen]:
        drawing.spot(frame.at(float(x), float(y)), "spot")
    chosen = shortest.marks[int(np.argmin(shortest.marks[:, 1]))]
    if frame.holds(float(chosen[0]), float(chosen[1])):
        drawing.dot(frame.at(float(chosen[0]), float(chosen[1])), 6.0, "chosen")
    return drawing.markup()
