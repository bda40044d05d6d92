"""The one more reading that would tell most."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.mixture import Normals
from orient.observation.compass import model
from orient.observation.compass.prepare import prepared

Array = NDArray[np.float64]

#: What the reading may come out as: quantiles of what is expected of it, all as probable.
_TRIES = (1 / 6, 1 / 2, 5 / 6)
#: A reading is worth advising when it takes off at least this part of the width.
_WORTH = 0.2
#: More readings than these take too long to try.
_MOST_READINGS = 150
_NEW = "\N{SYMBOL FOR SUBSTITUTE FORM TWO}"


class _Reading(NamedTuple):
    """A reading that could be taken; `_NEW` is a compass or a place that is not there yet."""

    compass: str
    place: str
    expected: tuple[float, ...]  # differences from the model


def telling_reading(fitted: model.Fit, places: pd.DataFrame, compasses: pd.DataFrame) -> str:
    """Which compass to read where, tried on what the readings say so far.

    A compass in question is tried at a new place and at a place it has not seen, another
    compass at the place in question: for each of what the reading may then be, how well the widest
    open question would be answered.

    Returns:
        A sentence, "" where nothing is open.
    """
    open_places = places[places["verdict"].isin(["open", "off", "perhaps"])]
    open_compasses = compasses[compasses["verdict"] == "open"]
    if open_places.empty and open_compasses.empty:
        return ""
    target = _target(open_places, open_compasses)
    before = _width(fitted, *target)
    widths = {
        reading: float(
            np.mean([_width_with(fitted, reading, off, target) for off in reading.expected])
        )
        for reading in _candidates(fitted, *target)
        if len(fitted.table) <= _MOST_READINGS
    }
    best = min(widths, key=widths.__getitem__, default=None)
    if best is None or widths[best] > (1 - _WORTH) * before:
        return "No single reading would settle it: read every compass at two more places."
    return _said(best)


def _target(open_places: pd.DataFrame, open_compasses: pd.DataFrame) -> tuple[str, str]:
    """The widest open question: ("compass" or "place", its name)."""
    if not open_compasses.empty:
        return "compass", str(open_compasses["correction_u_deg"].astype(float).idxmax())
    return "place", str(open_places["anomaly_u_deg"].astype(float).idxmax())


def _width(fitted: model.Fit, kind: str, name: str) -> float:
    return _asked(fitted, kind, name).spread


def _asked(fitted: model.Fit, kind: str, name: str) -> Normals:
    if kind == "place":
        return fitted.anomalies[fitted.places.index(name)]
    return fitted.index_error(fitted.compasses.index(name))


def _candidates(fitted: model.Fit, kind: str, name: str) -> Iterator[_Reading]:
    """Readings that might help: of the compasses and places that the question touches."""
    seen = set(zip(fitted.compass.tolist(), fitted.place.tolist(), strict=True))
    at = (fitted.places if kind == "place" else fitted.compasses).index(name)
    mine = fitted.place == at if kind == "place" else fitted.compass == at
    for compass in np.unique(fitted.compass[mine])[:2].tolist():
        own = fitted.index_error(compass)
        yield _Reading(fitted.compasses[compass], _NEW, _quantiles(own, 0.5))
        best = sorted(
            (p for p in range(len(fitted.places)) if (compass, p) not in seen),
            key=lambda p: fitted.anomalies[p].spread,
        )
        for p in best[:2]:
            there = Normals(
                own.centre - fitted.supposed[p].mean,
                fitted.supposed[p].sd,
                fitted.supposed[p].weight,
            )
            expected = _quantiles(there, float(np.hypot(own.spread, 0.5)))
            yield _Reading(fitted.compasses[compass], fitted.places[p], expected)
    for p in np.unique(fitted.place[mine])[:2].tolist():
        ground = fitted.supposed[p]
        turned = Normals(-ground.mean, ground.sd, ground.weight)
        yield _Reading(_NEW, fitted.places[p], _quantiles(turned, model.INDEX_SD_DEG))


def _quantiles(number: Normals, noise: float) -> tuple[float, ...]:
    return tuple(round(number.widened(noise).quantile(p), 2) for p in _TRIES)


def _width_with(
    fitted: model.Fit, reading: _Reading, off_deg: float, target: tuple[str, str]
) -> float:
    """How wide the answer would be with one more reading, off from the model by so much."""
    table = fitted.table
    like = table[table["place"] == reading.place]
    added = (like if len(like) else table).iloc[[0]].copy()
    added["compass"] = reading.compass
    added["reading_deg"] = (added["expected_deg"] + off_deg) % 360.0
    added["reading_u_deg"] = float(table["reading_u_deg"].median())
    if reading.place == _NEW:
        added["site"] = _NEW
        added[["latitude_deg", "longitude_deg"]] = np.nan
    kept = [name for name in table if name not in ("place", "slip")]
    more = prepared(pd.concat([table[kept], added[kept]], ignore_index=True))
    more["place"] = [*table["place"], reading.place]
    return _width(model.fit(more), *target)


def _said(reading: _Reading) -> str:
    compass = "another compass" if reading.compass == _NEW else f"compass {reading.compass}".strip()
    where = (
        "at another place, a hundred metres and more from these and away from iron"
        if reading.place == _NEW
        else f"at {reading.place}"
    )
    if compass == "compass":
        compass = "the same compass"
    return f"The reading that would tell most: {compass} {where}."
