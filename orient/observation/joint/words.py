"""What is said to people of set-ups adjusted as one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from orient.numbers.angles import wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.joint.linear import LATITUDE, STATE
from orient.observation.joint.together import Together
from orient.observation.joint.verdict import STATED, Finding
from orient.observation.reduction import Reduced
from orient.text import at_95, latitude_text, longitude_text

if TYPE_CHECKING:
    from orient.observation.joint.settled import SitePlace

#: What each kind of shared thing is called.
CALLED = {
    "timepiece": "watch",
    "rod": "rod",
    "level": "level",
    "observer": "observer",
    "line": "line",
    "place": "site",
}
WATCH_OF_OTHERS = (
    "Half of the set-ups with this watch, or more, contradict what is stated of it: look at its "
    "comparisons, its setting and its zone. Until then the figure is that of an unknown setting."
)
LEFT_OUT = (
    "Its own record is in doubt: it is not used for the set-ups that share its watch, rod, level "
    "or observer, nor they on it."
)
STRAINED = (
    "What it shares with the others fits it badly, though not so badly that chance is ruled out: "
    "the figure takes in that it may be another watch, rod, level or line."
)
_NAMED = 6


def copied(original: str) -> str:
    """Of a set-up whose marks stand under another id already."""
    return (
        f"These are the marks of {original} under a second id: the board is counted once, and "
        "this row stands by itself."
    )


def gained(together: Together, place: int, alone: Reduced, joint: Reduced) -> str:
    """What a set-up gains from those that it shares something with."""
    shared = [thing for thing in together.model.of_board[place] if len(thing.members) > 1]
    with_whom = sorted({n for thing in shared for n in thing.members} - {place})
    alone_95, joint_95 = (COVERAGE_95 * each.board_azimuth_u_deg for each in (alone, joint))
    kinds = [CALLED[kind] for kind in CALLED if any(thing.kind == kind for thing in shared)]
    if not shared:
        return f"With the place as uncertain as was stated, the board is good to ±{joint_95:.2f}°."
    count = len(with_whom)
    return (
        f"Adjusted as one with {count} other set-up{'s' * (count != 1)} (the same "
        f"{_listed(kinds)}): the board's azimuth {wrap_360(joint.board_azimuth_deg):.2f}° ± "
        f"{joint_95:.2f}°; alone {wrap_360(alone.board_azimuth_deg):.2f}° ± {alone_95:.2f}° (95 %)."
    )


def _listed(names: list[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def finding(found: Finding, together: Together) -> str:
    """A sentence on something that was said to be shared and is not."""
    names = _names([together.members[n].name for n in found.boards])
    apart, u = abs(found.apart), COVERAGE_95 * found.apart_u
    if found.kind == STATED:
        return _stated_otherwise(found, names)
    called = label(found.kind, found.key)
    if found.kind == "place":
        return _elsewhere(found, names)
    if found.kind == "line":
        figure = f"{np.degrees(apart):.2f}° ± {np.degrees(u):.2f}° (95 %)"
        if found.undecided:
            return (
                f"The set-ups of {called} disagree by {figure}, and nothing tells which is wrong "
                f"({names}): the azimuth is stated wide enough for all of them, or not at all."
            )
        return set_apart(names, called, apart, found.apart_u)
    if found.kind == "timepiece":
        from_on = " from then on" if found.from_on and len(found.boards) > 1 else ""
        way = "faster" if found.apart > 0 else "slower"
        return (
            f"At {names} the watch {called} was {_duration(apart)} ± {_duration(u)} (95 %) {way} "
            f"than at the other set-ups{from_on}: it was set anew, or it is another watch. It is "
            "taken for another."
        )
    figure = f"{_size(found.row, apart)} ± {_size(found.row, u)} (95 %)"
    return (
        f"At {names} the {CALLED[found.kind]} {called} differs by {figure} from the other set-ups: "
        "it is taken for another."
    )


def _stated_otherwise(found: Finding, names: str) -> str:
    """Of a shared watch or rod that the marks have otherwise than its statements."""
    assert isinstance(found.key, tuple)
    kind, key = found.key
    apart, u = abs(found.apart), COVERAGE_95 * found.apart_u
    if kind == "timepiece":
        way = "faster" if found.apart > 0 else "slower"
        figure = f"{_duration(apart)} ± {_duration(u)} (95 %) {way}"
        look = "its setting, its zone, and the sign and the day of each comparison"
    else:
        way = "higher" if found.apart > 0 else "lower"
        figure = f"{_size(found.row, apart)} ± {_size(found.row, u)} (95 %) {way}"
        look = "its height from the board to the tip, and where the board was"
    return (
        f"By the marks of {names} the {CALLED[kind]} {label(kind, key)} was {figure} than is "
        f"stated: look at {look}. The figures reach both."
    )


def set_apart(names: str, called: str, apart_rad: float, u_rad: float) -> str:
    """Of a set-up that has a line elsewhere than the others of it."""
    figure = f"{np.degrees(abs(apart_rad)):.2f}° ± {COVERAGE_95 * np.degrees(u_rad):.2f}° (95 %)"
    return (
        f"{names} has the line to {called} {figure} from where the other set-ups of it do: it is "
        "set apart from them. Was its direction read right, was it the same mark, did the board "
        "move?"
    )


def _elsewhere(found: Finding, names: str) -> str:
    """Of a site that the marks put elsewhere than its coordinates do."""
    way = (
        ("north" if found.apart > 0 else "south")
        if found.row == LATITUDE
        else ("east" if found.apart > 0 else "west")
    )
    figure = f"{np.degrees(abs(found.apart)):.2f}° ± {COVERAGE_95 * np.degrees(found.apart_u):.2f}°"
    return (
        f"By their marks {names} stand {figure} (95 %) farther {way} than the coordinates of "
        f"{found.key}: a figure of them is wrong, or the watch kept another zone's time, or the "
        "date is another day's. The coordinates are not believed: the place is solved for, and "
        "what follows from it, grid and compass bearings, is left out until it is put right."
    )


def label(kind: str, key: object) -> str:
    """The name of a shared thing, for people."""
    if not isinstance(key, tuple):
        return str(key)
    if kind == "observer":
        return str(key[0]) if key[1] == "middle" else f"{key[0]} ({key[1]} edge)"
    return str(key[1] if kind == "line" else key[0])


def place_words(name: str, place: SitePlace | None) -> str:
    """Where a site without coordinates lies by its boards."""
    if place is None:
        return (
            f"{name} has no coordinates, and no marks there tell where it lies: no direction is "
            "given. Give the coordinates, or marks at both sides of noon with their times."
        )
    said_by = f"by the marks of {_names(list(place.setups))} it lies at"
    latitude = f"latitude {latitude_text(place.latitude_deg)} ± {at_95(place.latitude_u_deg)}"
    if place.others:
        alike = (place.latitude_deg, *place.others)
        latitudes = " or ".join(latitude_text(each, 1) for each in alike)
        return (
            f"{name} has no coordinates; {said_by} latitude {latitudes}, which fit alike: the "
            "figures reach both. Times of the marks, or their half of the day, would decide."
        )
    if place.ellipse is None:
        return (
            f"{name} has no coordinates; {said_by} {latitude} (95 %). No watch tells its longitude "
            "(one that is set, watch = trusted, would): its declination, convergence, and grid and "
            "compass bearings are not known. The azimuth does not need them."
        )
    major, minor, toward = place.ellipse
    return (
        f"{name} has no coordinates; {said_by} {latitude}, longitude "
        f"{longitude_text(place.longitude_deg)} ± {at_95(place.longitude_u_deg)} (95 %), within an "
        f"ellipse of {major:.0f} by {minor:.0f} km (semi-axes, 95 %), the long one toward "
        f"{toward:.0f}°. The azimuth's figure has it in it."
    )


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def _size(row: int, value: float) -> str:
    unit = STATE[row]
    if unit.startswith("slope"):
        return f"{np.degrees(value):.2f}°"
    if unit.endswith("_rad"):
        return f"{np.degrees(value) * 60:.0f}′"
    return f"{value:.1f} mm"


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.1f} min"
