"""Several set-ups of one reference joined into one azimuth, shared errors not counted twice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95

#: Chance that set-ups which agree are said to disagree.
FALSE_ALARM = 0.003


@dataclass(frozen=True)
class Contribution:
    """One set-up's azimuth of the reference, and what of its uncertainty may be shared.

    `level` is the id of the spirit level, "" for the crew's only one; `turned` tells that
    the board stood end for end against the first set-up. Degrees throughout; `level_u_deg`
    and `edge_u_deg` are parts of `azimuth_u_deg`.
    """

    azimuth_deg: float
    azimuth_u_deg: float
    level_u_deg: float
    edge_u_deg: float
    level: str
    turned: bool


@dataclass(frozen=True)
class Combined:
    """The joint azimuth, its standard uncertainty, and whether the set-ups agree."""

    azimuth_deg: float
    azimuth_u_deg: float
    count: int
    consistent: bool
    sentence: str


def combine(parts: Sequence[Contribution]) -> Combined:
    """Join azimuths of one line by generalised least squares.

    The error of one spirit level shifts every board levelled with it the same way: between
    two set-ups with the same level, both turned or both not, that part is taken as fully
    shared. Turning the board end for end reverses it; it is then counted as independent,
    which asks less of the level than that it cancels. The habit of marking the edge is the
    observer's and shared by all.

    Where the set-ups disagree, by a chi-square test that agreeing ones fail 3 times in
    1,000, the uncertainty is widened to their scatter.
    """
    from scipy.stats import chi2

    reference = parts[0].azimuth_deg
    values = np.array([float(wrap_180(part.azimuth_deg - reference)) for part in parts])
    level = np.array([part.level_u_deg for part in parts])
    edge = np.array([part.edge_u_deg for part in parts])
    side = np.array([part.turned for part in parts])
    instrument = np.array([part.level for part in parts])
    same = (instrument[:, None] == instrument) & (side[:, None] == side)
    covariance = same * np.outer(level, level) + np.outer(edge, edge)
    np.fill_diagonal(covariance, [part.azimuth_u_deg**2 for part in parts])
    ones = np.ones(len(parts))
    weight = np.linalg.solve(covariance, ones)
    variance = 1.0 / (ones @ weight)
    # With strongly shared errors the best weights can turn negative: an average is safer.
    share = weight * variance if (weight >= 0).all() else ones / len(parts)
    mean = float(share @ values)
    u_deg = float(np.sqrt(share @ covariance @ share))
    residual = values - mean
    misfit = float(residual @ np.linalg.solve(covariance, residual))
    freedom = len(parts) - 1
    consistent = misfit <= float(chi2.isf(FALSE_ALARM, freedom))
    if not consistent:
        u_deg *= float(np.sqrt(misfit / freedom))
    azimuth = float(wrap_360(reference + mean))
    return Combined(
        azimuth, u_deg, len(parts), consistent, _sentence(azimuth, u_deg, parts, consistent)
    )


def _sentence(
    azimuth_deg: float, u_deg: float, parts: Sequence[Contribution], consistent: bool
) -> str:
    text = (
        f"{len(parts)} set-ups of this reference together: {azimuth_deg:.3f}° ± "
        f"{COVERAGE_95 * u_deg:.3f}° (95 %)"
    )
    if not consistent:
        return text + "; they disagree, and the uncertainty is widened to their scatter."
    if not any(part.turned for part in parts):
        return text + (
            "; the level's error is shared by all of them: turn the board end for end "
            "for the next one."
        )
    return text + "."
