"""Reference lines that lie quite elsewhere: told before anything is adjusted.

A least-squares adjustment is linear about where it stands. A line that was read from its other
end would drag its board so far round that whatever gives way explains it, the site's place even.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.numbers.angles import most_agreed
from orient.observation.joint.linear import AZIMUTH
from orient.observation.joint.model import Member, Model, Shared
from orient.observation.joint.verdict import Finding

Array = NDArray[np.float64]

#: Beyond this a line is quite elsewhere: radians, and standard uncertainties.
_FAR_RAD, _FAR_TIMES = np.radians(1.0), 10.0


def far_lines(model: Model) -> list[Finding]:
    """The set-ups whose line lies quite elsewhere than the others' of it do.

    Where not more than half of a line's set-ups agree, nothing tells which of them are wrong.
    """
    found = []
    for thing in model.things:
        if thing.kind == "line":
            found += _far(thing, [model.members[number] for number in thing.members])
    return found


def _far(thing: Shared, members: list[Member]) -> list[Finding]:
    azimuth, u = _lines(members)
    middle = azimuth[most_agreed(np.degrees(azimuth), np.degrees(u), _FAR_TIMES)]
    away = np.angle(np.exp(1j * (azimuth - middle)))
    far = np.abs(away) > np.maximum(_FAR_RAD, _FAR_TIMES * u)
    if not far.any():
        return []
    if 2 * np.count_nonzero(far) >= len(members):
        figures = float(np.abs(away).max()), float(u.max())
        return [Finding("line", thing.key, AZIMUTH, thing.members, *figures, undecided=True)]
    weight = ~far / u**2
    rest, rest_u = np.sum(weight * away) / weight.sum(), 1.0 / np.sqrt(weight.sum())
    return [
        Finding(
            "line",
            thing.key,
            AZIMUTH,
            (thing.members[n],),
            float(away[n] - rest),
            float(np.hypot(u[n], rest_u)),
        )
        for n in np.flatnonzero(far)
    ]


def _lines(members: list[Member]) -> tuple[Array, Array]:
    """Each member's line by itself and its standard uncertainty, radians."""
    azimuth = [each.fit.state.board_azimuth_rad + each.line_direction_rad for each in members]
    u = [np.hypot(each.fit.azimuth_u_rad, each.line_sd_rad) for each in members]
    return np.array(azimuth, dtype=float), np.array(u, dtype=float)
