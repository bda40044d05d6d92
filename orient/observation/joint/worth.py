"""What a crew could do better, tried in the adjustment of its campaign as one.

Each improvement is put into the normal equations that the marks gave, for all the set-ups at
once: a level of half the bias, marks twice as fine, a watch compared with a time signal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from orient.observation.advice import GOOD_WATCH_S
from orient.observation.joint.linear import AZIMUTH, SCALE, WATCH, Array, Normals
from orient.observation.joint.model import LINE, Model, copied
from orient.observation.joint.solve import covariance_with

_Change = Callable[[Model, Normals], tuple[Model, Normals]]
# A tolerance halved is a quarter of the variance.
_QUARTER = 0.25


def better_azimuths(model: Model, own: Normals) -> dict[str, Array]:
    """By what factor each improvement would lower the boards' uncertainties, or their lines'.

    Args:
        model: what is shared, as it was found.
        own: the normal equations of the boards' marks at the adjustment's end.

    Returns:
        By the name of the improvement, as of `advice`, a factor of each board, (B,).
    """
    now = _variance(model, own)
    return {name: np.sqrt(_variance(*change(model, own)) / now) for name, change in _TRIED.items()}


def _variance(model: Model, own: Normals) -> Array:
    """Variance of each board's line where it is shared, else of its azimuth."""
    covariance, shared = covariance_with(model, own)
    variance = covariance[:, AZIMUTH, AZIMUTH].copy()
    line = model.column[:, LINE]
    variance[line >= 0] = shared.variance()[line[line >= 0]]
    return variance


def _finer_marks(model: Model, own: Normals) -> tuple[Model, Normals]:
    return model, replace(own, matrix=own.matrix / _QUARTER)


def _halved(kind: str, *rows: int) -> _Change:
    """Half the tolerance of some unknowns, of each board's own and of what is shared."""

    def change(model: Model, own: Normals) -> tuple[Model, Normals]:
        own_var = model.own_var.copy()
        own_var[:, rows] *= _QUARTER
        statements, unknowns = copied(model.statements), _unknowns(model, kind)
        statements.sd[:] = [
            sd / 2 if place in unknowns else sd
            for place, sd in zip(statements.place, statements.sd, strict=True)
        ]
        return replace(model, own_var=own_var, statements=statements), own

    return change


def _unknowns(model: Model, kind: str) -> set[int]:
    return {unknown for thing in model.things if thing.kind == kind for unknown in thing.unknowns}


def _compared_watch(model: Model, own: Normals) -> tuple[Model, Normals]:
    """Every watch compared with a time signal, once, at the middle of its days."""
    own_var, statements = model.own_var.copy(), copied(model.statements)
    good = GOOD_WATCH_S / SCALE[WATCH]
    alone = ~(model.design()[:, WATCH] != 0.0).any(axis=1) & model.free[:, WATCH]
    own_var[alone, WATCH] = np.minimum(own_var[alone, WATCH], good**2)
    for thing in model.things:
        if thing.kind == "timepiece":
            statements.add(thing.unknowns[0], 0.0, good)
    return replace(model, own_var=own_var, statements=statements), own


_TRIED: dict[str, _Change] = {
    "watch": _compared_watch,
    "mark_sd_mm": _finer_marks,
    "level_sd_deg": _halved("level", 3, 4),
    "plumb_sd_mm": _halved("", 1, 2),
    "height_sd_mm": _halved("rod", 5),
    "edge_sd_deg": _halved("observer", 7),
    "reference": _halved("", AZIMUTH),
}
