"""Compass readings made ready: places, differences from the model, slips set aside.

Stands close together are one place. A reading nearly 180° off was taken from the wrong end of
the needle or backward along the line: it is turned round. A reading that contradicts the others
of its place and of its compass, all but one of them agreeing, is left out; where two
disagree and nothing says which is wrong, both count for as little as they are apart.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.numbers.angles import wrap_180, wrap_360

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

#: What a table of readings must have.
COLUMNS = (
    "site",
    "compass",
    "true_azimuth_deg",
    "true_azimuth_u_deg",
    "declination_deg",
    "declination_u_deg",
    "reading_deg",
    "reading_u_deg",
)

#: Stands nearer to one another than this are one place, metres: rock that pulls a needle by
#: degrees is rarely felt farther from where it lies (*common practice, no source*).
PLACE_M = 30.0
#: A difference this near to 180° is the needle's other end, or a sight taken backward.
REVERSED_WITHIN_DEG = 20.0
#: A reading beyond so many standard uncertainties from what the others say is a slip.
_SLIP = 5.0
#: Two readings as bad as each other within this factor: nothing says which is wrong.
_ALIKE = 1.15
#: So many of all the readings, or one, are slips at most; more must have another cause.
_FEW = 0.1
_EARTH_M = 6371000.0


def difference_deg(
    reading_deg: ArrayLike, true_azimuth_deg: ArrayLike, declination_deg: ArrayLike
) -> Any:
    """What a compass reads less what it should read, −180 ≤ difference < 180, any shape."""
    expected = np.asarray(true_azimuth_deg, dtype=float) - np.asarray(declination_deg)
    return wrap_180(np.asarray(reading_deg) - expected)


def combined_u_deg(*parts_u_deg: ArrayLike) -> Any:
    """The standard uncertainty of a sum of independent parts, any broadcast shape."""
    return np.sqrt(sum(np.square(np.asarray(part, dtype=float)) for part in parts_u_deg))


def prepared(readings: pd.DataFrame) -> pd.DataFrame:
    """Readings as `check_compasses` takes them, checked, with their places and differences.

    Returns:
        A copy without the rows that lack a reading or an azimuth, and with `place`,
        `expected_deg`, `difference_deg`, `difference_u_deg` and `slip`: "" or "turned".

    Raises:
        ValueError: a column is missing, or an uncertainty of reading or model is not above 0.
    """
    missing = [column for column in COLUMNS if column not in readings]
    if missing:
        raise ValueError(f"compass readings lack the columns {', '.join(missing)}")
    table = readings.dropna(subset=["reading_deg", "true_azimuth_deg"]).reset_index(drop=True)
    table["compass"] = table["compass"].fillna("").astype(str).str.strip()
    for column in ("reading_u_deg", "declination_u_deg"):
        if not (table[column] > 0).all():
            raise ValueError(f"{column} of a compass reading must be above 0")
    if not (table["true_azimuth_u_deg"] >= 0).all():
        raise ValueError("true_azimuth_u_deg of a compass reading must be 0 or more")
    table["place"] = _places(table)
    table["expected_deg"] = wrap_360(table["true_azimuth_deg"] - table["declination_deg"])
    difference = np.asarray(
        difference_deg(table["reading_deg"], table["true_azimuth_deg"], table["declination_deg"])
    )
    turned = np.abs(difference) > 180.0 - REVERSED_WITHIN_DEG
    table["difference_deg"] = np.where(turned, wrap_180(difference + 180.0), difference)
    table["difference_u_deg"] = combined_u_deg(
        table["reading_u_deg"], table["true_azimuth_u_deg"], table["declination_u_deg"]
    )
    table["slip"] = np.where(turned, "turned", "").astype(object)
    return table


# ---------------------------------------------------------------- places


def _places(table: pd.DataFrame) -> NDArray[np.object_]:
    """The name of each reading's place."""
    site = table["site"].astype(str).to_numpy(dtype=object)
    if not {"latitude_deg", "longitude_deg"} <= set(table.columns) or table.empty:
        return site
    group = _near_together(table["latitude_deg"].to_numpy(), table["longitude_deg"].to_numpy())
    # A reading without a place of its own stands with its site.
    lost = group < 0
    group = np.where(
        lost, group.max() + 1 + np.unique(site.astype(str), return_inverse=True)[1], group
    )
    stand = (
        table["stand"].fillna("").astype(str) if "stand" in table else pd.Series("", table.index)
    )
    names: dict[int, str] = {}
    for number in dict.fromkeys(group.tolist()):
        names[number] = _place_name(site, group, number, stand.to_numpy(dtype=object), names)
    return np.array([names[number] for number in group.tolist()], dtype=object)


def _near_together(latitude_deg: Array, longitude_deg: Array) -> Whole:
    """Stands linked to one another by steps of less than `PLACE_M`, numbered; −1 where unknown."""
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    known = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    group = np.full(known.shape, -1, dtype=np.intp)
    if not known.any():
        return group
    latitude, longitude = np.radians(latitude_deg[known]), np.radians(longitude_deg[known])
    across = np.cos(latitude)
    points = _EARTH_M * np.column_stack(
        [across * np.cos(longitude), across * np.sin(longitude), np.sin(latitude)]
    )
    unique, inverse = np.unique(points, axis=0, return_inverse=True)
    near = cKDTree(unique).sparse_distance_matrix(cKDTree(unique), PLACE_M)
    near.setdiag(1.0)
    group[known] = connected_components(near, directed=False)[1][inverse.ravel()]
    return group


def _place_name(
    site: NDArray[np.object_],
    group: Whole,
    number: int,
    stand: NDArray[np.object_],
    taken: dict[int, str],
) -> str:
    here = group == number
    sites = list(dict.fromkeys(site[here].tolist()))
    name = " and ".join(sites)
    if len(np.unique(group[np.isin(site, sites)])) == 1:
        return name
    stands = [text for text in dict.fromkeys(stand[here].tolist()) if text]
    whole = f"{name}, {stands[0]}" if stands else name
    count = 2
    while whole in taken.values():
        whole, count = f"{name}, stand {count}", count + 1
    return whole


# ---------------------------------------------------------------- slips


def set_slips_aside(
    table: pd.DataFrame, index: Array, deviation: Array
) -> tuple[pd.DataFrame, Array]:
    """Find the readings that the others contradict.

    Args:
        table: of `prepared`.
        index, deviation: (readings, k), what a reading has of its compass's index error, and
            of its deviation by heading. Where many readings seem to be slips, the headings are
            given a say in it: a few that are off are slips, many are a deviation.

    Returns:
        The table with `slip` "alone" for what is left out, and the variance of each reading,
        enlarged where two disagree and either may be wrong.
    """
    place = np.unique(table["place"].to_numpy(str), return_inverse=True)[1]
    design = np.column_stack([index, np.eye(place.max() + 1)[place]])
    alone, variance = _slips(table, design)
    if deviation.any() and alone.sum() > max(1.0, _FEW * len(table)):
        alone, variance = _slips(table, np.column_stack([design, deviation]))
    return table.assign(slip=np.where(alone, "alone", table["slip"])), variance


def _slips(table: pd.DataFrame, design: Array) -> tuple[NDArray[np.bool_], Array]:
    squares = table[["reading_u_deg", "true_azimuth_u_deg"]].to_numpy(float) ** 2
    variance, difference = squares.sum(axis=1), table["difference_deg"].to_numpy(float)
    used = np.ones(len(table), dtype=bool)
    for _ in range(len(table)):
        off, score = _against_the_rest(design[used], difference[used], variance[used])
        worst = int(np.argmax(score))
        if score[worst] < _SLIP:
            break
        rows, near = np.flatnonzero(used), score > score[worst] / _ALIKE
        if near.sum() == 1:
            used[rows[worst]] = False
        else:
            variance[rows[near]] += np.maximum(off[near] ** 2 / 2.0, squares[rows[near], 0])
    return ~used, variance


def _against_the_rest(design: Array, value: Array, variance: Array) -> tuple[Array, Array]:
    """How far each observation is from what all the others say, and in standard uncertainties."""
    sd = np.sqrt(variance)
    rows, values = design / sd[:, None], value / sd
    left, singular, _ = np.linalg.svd(rows, full_matrices=False)
    basis = left[:, singular > 1e-9 * singular.max()]
    residual = values - basis @ (basis.T @ values)
    free = 1.0 - (basis**2).sum(axis=1)
    told = free > 1e-6
    score = np.where(told, np.abs(residual) / np.sqrt(np.where(told, free, 1.0)), 0.0)
    off = np.where(told, np.abs(residual) / np.where(told, free, 1.0), 0.0) * sd
    return off, score
