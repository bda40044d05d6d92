"""From tolerances to the uncertainty of a direction: one geometry for planning and reducing.

Each mark taken alone gives the board azimuth β = A − θ: the azimuth A at which the shadow
then points, less the board direction θ of the mark. A method is a weighted mean of such
values. Whatever displaces a mark by d millimetres changes its β by g · d, g being the
*sensitivity* below; and the partials of `shadow.tip_partials` say how far each shared
unknown displaces every mark.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers.shadow import UNKNOWNS
from orient.numbers.tolerances import SHARED_TERMS, Tolerances

Array = NDArray[np.float64]
#: The sun's disc, 32′: the shadow's edge is soft over this much of the light's direction.
SUN_WIDTH_RAD = 0.0093
_WATCH = UNKNOWNS.index("watch_error_s")


def timed_sensitivity(x_mm: ArrayLike, y_mm: ArrayLike) -> Array:
    """Radians of β per millimetre of x and y, the azimuth being known by the watch: (…, 2)."""
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    square = x**2 + y**2
    return np.stack([-y / square, x / square], axis=-1)


def altitude_sensitivity(x_mm: ArrayLike, y_mm: ArrayLike, partials: Array) -> Array:
    """Radians of β per millimetre of x and y, the azimuth being known by the length: (…, 2).

    A mark too far out by δr is taken for a lower sun: along the track, δr is
    δr · (dθ/dt) / (dr/dt) of direction. Infinite where the length stands still, at noon.

    Args:
        x_mm, y_mm: the marks, shape S.
        partials: of `shadow.tip_partials`, shape S + (2, 9).
    """
    velocity = -partials[..., 0, _WATCH], -partials[..., 1, _WATCH]
    return np.stack(altitude_gain(x_mm, y_mm, velocity), axis=-1)


def altitude_gain(x_mm: ArrayLike, y_mm: ArrayLike, velocity: tuple[Any, Any]) -> tuple[Any, Any]:
    """The two parts of `altitude_sensitivity`, each of shape S.

    Args:
        x_mm, y_mm: the marks, shape S.
        velocity: of the tip along x and y, mm per second, each of shape S.
    """
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    square = x**2 + y**2
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = (y * velocity[0] - x * velocity[1]) / (x * velocity[0] + y * velocity[1])
        return (x * turn - y) / square, (y * turn + x) / square


def edge_scatter_mm(length_mm: ArrayLike, height_mm: ArrayLike, edge_scatter: ArrayLike) -> Any:
    """How far single marks scatter along the shadow for its soft edge, mm; any shape.

    The edge is as wide as the sun's disc, H · 0.0093 / sin²h along the shadow.
    """
    length, height = np.asarray(length_mm, dtype=float), np.asarray(height_mm, dtype=float)
    width = SUN_WIDTH_RAD * (length**2 + height**2) / height
    return np.minimum(np.asarray(edge_scatter) * width, height)


def variance_terms(
    weights: ArrayLike,
    sensitivity: Array,
    partials: Array,
    tolerances: Tolerances,
    by_watch: bool,
) -> dict[str, Any]:
    """Variance of a weighted mean of single-mark azimuths, term by term, in rad².

    Args:
        weights: of the marks, summing to one over the last axis, shape (…, n).
        sensitivity: (…, n, 2), radians a millimetre.
        partials: (…, n, 2, 9), of `shadow.tip_partials`.
        tolerances: of the set-up.
        by_watch: whether the azimuths came from the watch, so that its error counts.

    Returns:
        `marking`, `level`, `foot`, `height`, `watch`, `edge`, each of shape (…).
    """
    weighted = np.asarray(weights)[..., None] * sensitivity
    terms = {"marking": tolerances.mark_sd_mm**2 * np.sum(weighted**2, axis=(-2, -1))}
    response = np.einsum("...ni,...nik->...k", weighted, partials)
    prior_sd = tolerances.prior_sd()
    for term, names in SHARED_TERMS.items():
        columns = [UNKNOWNS.index(name) for name in names]
        shared = np.sum((response[..., columns] * prior_sd[columns]) ** 2, axis=-1)
        terms[term] = shared if by_watch or term != "watch" else np.zeros_like(shared)
    return terms
