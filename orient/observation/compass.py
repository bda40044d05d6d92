"""What compass readings toward lines of known azimuth say of the compass and of the ground.

A reading differs from what the model expects, true azimuth less declination, for three
reasons: the compass's own index error, the same wherever that compass goes; the local
anomaly of declination, the same for every compass at that place; and the errors of reading
and of azimuth. One compass at one place shows only the sum of the first two.

The adjustment is least squares with the model's own uncertainty as the constraint: before any
reading the anomaly of a place is zero give or take `declination_u_deg`, while nothing is
supposed of a compass. Part of the model's error is shared by all places (`SHARED_VARIANCE`),
so that no number of places makes a compass better known than that. Places and readings that
do not fit count for less (Huber's weights), and a place that is far off does not count at all
where most of the others agree, so that one ironstone hill is not laid to the compass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.flags import FLAGS
from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import COVERAGE_95

Array = NDArray[np.float64]

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

#: How much of the variance of the model's declination the places of one campaign share: the
#: wide anomalies and the model's own error, against the rock close by. A judgement, no source.
SHARED_VARIANCE = 0.5
#: Beyond so many standard uncertainties Huber's weights begin to count an observation for less:
#: the usual figure, 95 % efficient where nothing is wrong (*from memory*).
_HUBER = 1.345
#: A place whose own anomaly is beyond so many is no witness for the compass.
_FAR_OFF = 3.0
#: A difference this near to 180° is the needle's other end, or a sight taken backward.
_REVERSED_WITHIN_DEG = 20.0


@dataclass(frozen=True)
class CompassCheck:
    """What the readings of a campaign say; angles in degrees, `_u_` standard uncertainties.

    `readings`: the rows given, with `expected_deg`, `difference_deg` (reading less expected),
    `difference_u_deg` (reading, azimuth and model together), `differs` (beyond the 95 % figure)
    and `residual_deg` (what the adjustment leaves of it).

    `places`, by site: `n`; `difference_deg`, the weighted mean, with `difference_u_deg`
    of the readings and azimuths alone and `combined_u_deg` with the model's; `spread_deg`
    between readings, the compasses' own differences taken out; `differs`, whether the mean is
    beyond the combined 95 % figure, the compasses' own corrections applied where they are
    known; `anomaly_deg`, by how much the needle points east of the model's declination there,
    and `anomaly_u_deg`; `separated`.

    `compasses`, by compass: `n`, `places`, `correction_deg` to add to its readings,
    `correction_u_deg`, `separated`. Where `separated` is false, compass and ground cannot be
    told apart, and the uncertainty of both covers either being nothing.

    `sentences` say the same for people.
    """

    readings: pd.DataFrame
    places: pd.DataFrame
    compasses: pd.DataFrame
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class _Adjustment:
    index_error_deg: Array
    index_error_u_deg: Array
    anomaly_deg: Array
    anomaly_u_deg: Array
    residual_deg: Array
    separated: NDArray[np.bool_]  # by place


def difference_deg(
    reading_deg: ArrayLike, true_azimuth_deg: ArrayLike, declination_deg: ArrayLike
) -> Any:
    """What a compass reads less what it should read, −180 ≤ difference < 180, any shape."""
    expected = np.asarray(true_azimuth_deg, dtype=float) - np.asarray(declination_deg)
    return wrap_180(np.asarray(reading_deg) - expected)


def combined_u_deg(*parts_u_deg: ArrayLike) -> Any:
    """The standard uncertainty of a sum of independent parts, any broadcast shape."""
    return np.sqrt(sum(np.square(np.asarray(part, dtype=float)) for part in parts_u_deg))


def differs(difference_deg: ArrayLike, u_deg: ArrayLike) -> Any:
    """Whether a difference is beyond its 95 % figure, so that it is a finding."""
    return np.abs(difference_deg) > COVERAGE_95 * np.asarray(u_deg)


def check_compasses(readings: pd.DataFrame) -> CompassCheck:
    """Judge compass readings, and separate the compasses' corrections from local anomalies.

    Args:
        readings: one row a reading, with `COLUMNS`: degrees, `_u_` standard uncertainties.
            A blank `compass` is one unnamed compass throughout. A `setup` column, if there
            is one, names the orientation each azimuth came from: its error is shared by the
            readings of one setup; without it, by all of a site. Rows without a reading or an
            azimuth are left out.

    Returns:
        A `CompassCheck`.

    Raises:
        ValueError: a column is missing, or an uncertainty of reading or model is not above 0.

    Accuracy: the anomalies and corrections of simulated campaigns lie within their 95 % figures
    in 93–97 % of cases (`tests/test_compass.py`).
    """
    table = _prepared(readings)
    if table.empty:
        return CompassCheck(table, _no_places(), _no_compasses(), ("No compass readings.",))
    sites, site = np.unique(table["site"].to_numpy(dtype=str), return_inverse=True)
    names, compass = np.unique(table["compass"].to_numpy(dtype=str), return_inverse=True)
    adjustment = _adjust(table, site, compass)
    table["residual_deg"] = adjustment.residual_deg
    separated = adjustment.separated
    compasses = pd.DataFrame(
        {
            "n": np.bincount(compass),
            "places": [len(np.unique(site[compass == i])) for i in range(len(names))],
            "correction_deg": -adjustment.index_error_deg,
            "correction_u_deg": adjustment.index_error_u_deg,
            "separated": [bool(separated[site[compass == i][0]]) for i in range(len(names))],
        },
        index=pd.Index(names, name="compass"),
    )
    places = _places(table, sites, site, compass, adjustment)
    return CompassCheck(table, places, compasses, _sentences(table, places, compasses))


# ---------------------------------------------------------------- preparing


def _prepared(readings: pd.DataFrame) -> pd.DataFrame:
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
    table["expected_deg"] = (table["true_azimuth_deg"] - table["declination_deg"]) % 360.0
    difference = difference_deg(
        table["reading_deg"], table["true_azimuth_deg"], table["declination_deg"]
    )
    table["difference_deg"] = difference
    table["difference_u_deg"] = combined_u_deg(
        table["reading_u_deg"], table["true_azimuth_u_deg"], table["declination_u_deg"]
    )
    table["differs"] = differs(table["difference_deg"], table["difference_u_deg"])
    return table


def _no_places() -> pd.DataFrame:
    columns = (
        "n difference_deg difference_u_deg combined_u_deg spread_deg differs "
        "anomaly_deg anomaly_u_deg separated"
    )
    return pd.DataFrame(columns=columns.split(), index=pd.Index([], name="site"))


def _no_compasses() -> pd.DataFrame:
    columns = ["n", "places", "correction_deg", "correction_u_deg", "separated"]
    return pd.DataFrame(columns=columns, index=pd.Index([], name="compass"))


def _azimuth_groups(table: pd.DataFrame) -> NDArray[np.intp]:
    keys = table["site"].astype(str)
    if "setup" in table:
        keys = keys + "\n" + table["setup"].fillna("").astype(str)
    return np.unique(keys.to_numpy(dtype=str), return_inverse=True)[1]


def _unwrapped(difference: Array) -> Array:
    """Differences on one turn of the circle, about their mean direction."""
    turn = np.radians(difference)
    middle = np.degrees(np.arctan2(np.sin(turn).mean(), np.cos(turn).mean()))
    return middle + wrap_180(difference - middle)


# ---------------------------------------------------------------- the adjustment


def _adjust(table: pd.DataFrame, site: NDArray[np.intp], compass: NDArray[np.intp]) -> _Adjustment:
    """Least squares with Huber's weights on the readings and on the places' own anomalies.

    Unknowns: each compass's index error; each place's own anomaly; one number, of standard
    uncertainty 1, for what the places share; one for each orientation that gave azimuths.
    """
    group = _azimuth_groups(table)
    readings, sites, compasses = len(table), site.max() + 1, compass.max() + 1
    model_u = np.zeros(sites)
    np.maximum.at(model_u, site, table["declination_u_deg"].to_numpy(dtype=float))
    own_u, shared_u = model_u * np.sqrt([[1 - SHARED_VARIANCE], [SHARED_VARIANCE]])
    place_at = compasses + np.arange(sites)
    shared_at = compasses + sites
    group_at = shared_at + 1 + np.arange(group.max() + 1)
    unknowns = group_at[-1] + 1

    row = np.arange(readings)
    design = np.zeros((readings + unknowns - compasses, unknowns))
    design[row, compass] = 1.0
    design[row, place_at[site]] = -1.0
    design[row, shared_at] = -shared_u[site]
    design[row, group_at[group]] = -table["true_azimuth_u_deg"].to_numpy(dtype=float)
    # Each unknown but the compasses' is zero to begin with, give or take its own figure.
    design[readings + np.arange(unknowns - compasses), np.arange(compasses, unknowns)] = 1.0
    u = np.ones(len(design))
    u[:readings] = table["reading_u_deg"]
    u[readings : readings + sites] = own_u
    observed = np.zeros(len(design))
    observed[:readings] = _unwrapped(table["difference_deg"].to_numpy(dtype=float))
    # At first the readings are believed: two that agree on a pull of the ground would
    # otherwise be explained away one by one, each as a slip of the eye.
    fixed = np.ones(len(design))
    fixed[readings : readings + sites] = np.nan

    scaled = design / u[:, None], observed / u
    solution, covariance, weight = _huber(*scaled, fixed)
    linked = _linked(site, compass)
    separated = _separated(linked, weight[readings : readings + sites] == 1.0)
    far_off = separated & (np.abs(solution[place_at]) > _FAR_OFF * own_u)
    # Not quite without weight, so that a place is never without an anomaly.
    fixed[: readings + sites] = np.nan
    fixed[readings : readings + sites][far_off] = 1e-6
    solution, covariance, _ = _huber(*scaled, fixed)

    # An anomaly is the place's own part and its share of the common one.
    share = np.zeros((sites, unknowns))
    share[np.arange(sites), place_at] = 1.0
    share[:, shared_at] = shared_u
    anomaly_u = np.sqrt(np.einsum("ij,jk,ik->i", share, covariance, share))
    index_u = np.sqrt(np.diag(covariance)[:compasses])
    # What cannot be told apart may all be the compass's or all be the ground's.
    index_label = np.zeros(compasses, dtype=int)
    index_label[compass] = linked[site]
    for label in np.unique(linked[~separated]):
        mine, here = index_label == label, linked == label
        either = np.abs(np.concatenate([solution[:compasses][mine], solution[place_at][here]]))
        index_u[mine] = np.hypot(index_u[mine], either.max())
        anomaly_u[here] = np.hypot(anomaly_u[here], either.max())
    return _Adjustment(
        solution[:compasses],
        index_u,
        share @ solution,
        anomaly_u,
        (observed - design @ solution)[:readings],
        separated,
    )


def _huber(design: Array, observed: Array, fixed: Array) -> tuple[Array, Array, Array]:
    """Solution, covariance and weights of observations of unit variance.

    `fixed` has the weight of each observation, not a number where Huber's rule finds it.
    """
    weight = np.where(np.isnan(fixed), 1.0, fixed)
    solution: Array = np.zeros(design.shape[1])
    for _ in range(200):
        root = np.sqrt(weight)
        before = solution
        weighted = design * root[:, None], observed * root
        solution = np.asarray(np.linalg.lstsq(*weighted, rcond=None)[0], dtype=np.float64)
        misfit = np.abs(observed - design @ solution)
        weight = np.where(np.isnan(fixed), _HUBER / np.maximum(misfit, _HUBER), fixed)
        if np.abs(solution - before).max() < 1e-9:
            break
    covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
    return solution, np.asarray(covariance, dtype=np.float64), weight


def _linked(site: NDArray[np.intp], compass: NDArray[np.intp]) -> NDArray[np.intp]:
    """A label by place, the same for places that compasses went between."""
    label = np.arange(site.max() + 1)
    for _ in range(len(label)):  # so many rounds link the longest chain
        for i in np.unique(compass):
            members = np.isin(label, label[site[compass == i]])
            label[members] = label[members].min()
    return label


def _separated(linked: NDArray[np.intp], place_fits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """By place: do more than half of the places that its compasses link agree on them?

    One place never does: what its readings share may be the compass's or the ground's. Nor do
    two that disagree.
    """
    places = np.bincount(linked, minlength=len(linked))[linked]
    agreeing = np.bincount(linked, weights=place_fits, minlength=len(linked))[linked]
    return (places > 1) & (2 * agreeing > places)


# ---------------------------------------------------------------- places


def _places(
    table: pd.DataFrame,
    sites: NDArray[np.str_],
    site: NDArray[np.intp],
    compass: NDArray[np.intp],
    adjustment: _Adjustment,
) -> pd.DataFrame:
    rows = []
    separated = adjustment.separated
    groups = _azimuth_groups(table)
    for i in range(len(sites)):
        here = site == i
        part = table[here]
        corrected = part.assign(
            difference_deg=part["difference_deg"] - adjustment.index_error_deg[compass[here]]
        )
        mean, mean_u, _ = _weighted_mean(part, groups[here])
        corrected_mean, _, spread = _weighted_mean(corrected, groups[here])
        model_u = part["declination_u_deg"].max()
        judged, judged_u = mean, combined_u_deg(mean_u, model_u)
        if separated[i]:
            judged = corrected_mean
            index_u = adjustment.index_error_u_deg[compass[here]].max()
            judged_u = combined_u_deg(judged_u, index_u)
        rows.append(
            {
                "n": len(part),
                "difference_deg": wrap_180(mean),
                "difference_u_deg": mean_u,
                "combined_u_deg": combined_u_deg(mean_u, model_u),
                "spread_deg": spread,
                "differs": bool(differs(wrap_180(judged), judged_u)),
                "anomaly_deg": adjustment.anomaly_deg[i],
                "anomaly_u_deg": adjustment.anomaly_u_deg[i],
                "separated": bool(separated[i]),
            }
        )
    return pd.DataFrame(rows, index=pd.Index(sites, name="site"))


def _weighted_mean(part: pd.DataFrame, group: NDArray[np.intp]) -> tuple[float, float, float]:
    """Best linear mean of the differences of a place, its standard uncertainty, their spread.

    The uncertainty is that of readings and azimuths, the azimuths' shared within a group; the
    spread is the sample standard deviation, not a number for a single reading.
    """
    difference = _unwrapped(part["difference_deg"].to_numpy(dtype=float))
    azimuth_u = part["true_azimuth_u_deg"].to_numpy(dtype=float)
    together = group[:, None] == group[None, :]
    covariance = np.where(together, np.outer(azimuth_u, azimuth_u), 0.0)
    covariance += np.diag(part["reading_u_deg"].to_numpy(dtype=float) ** 2)
    weights = np.linalg.solve(covariance, np.ones(len(part)))
    mean = float(weights @ difference / weights.sum())
    spread = float(np.std(difference, ddof=1)) if len(part) > 1 else np.nan
    return mean, float(np.sqrt(1.0 / weights.sum())), spread


# ---------------------------------------------------------------- words


def _sentences(
    table: pd.DataFrame, places: pd.DataFrame, compasses: pd.DataFrame
) -> tuple[str, ...]:
    sentences = [_place_sentence(str(site), row) for site, row in places.iterrows()]
    sentences += _reading_sentences(table, places)
    sentences += [_compass_sentence(str(name), row) for name, row in compasses.iterrows()]
    unknown = [str(site) for site in places.index[~places["separated"].astype(bool)]]
    if unknown:
        sentences.append(
            f"At {_listed(unknown)} the compass's own correction and the local anomaly cannot be "
            "told apart: read the same compass at two or three other places, well away from "
            "iron."
        )
    if (table["compass"] == "").any():
        sentences.append("Readings without a compass name are taken as those of one compass.")
    return tuple(sentences)


def _place_sentence(site: str, row: Any) -> str:
    count = f"{row['n']} reading{'s' if row['n'] > 1 else ''}"
    spread = f", spread {row['spread_deg']:.1f}°" if np.isfinite(row["spread_deg"]) else ""
    limit = COVERAGE_95 * row["combined_u_deg"]
    text = (
        f"{site}: {_more_or_less(row['difference_deg'])} the model expects "
        f"({count}{spread}; 95 % figure ±{limit:.1f}°)."
    )
    if row["separated"]:
        anomaly, side = row["anomaly_deg"], "east" if row["anomaly_deg"] > 0 else "west"
        finding = "no anomaly of the place is shown"
        if differs(anomaly, row["anomaly_u_deg"]):
            finding = f"the needle points {abs(anomaly):.1f}° {side} of the model there"
        limit = COVERAGE_95 * row["anomaly_u_deg"]
        text += f" Once the compass is corrected, {finding} (±{limit:.1f}° at 95 %)."
    if row["differs"]:
        text += f" {FLAGS['compass-differs']}"
    return text


def _reading_sentences(table: pd.DataFrame, places: pd.DataFrame) -> list[str]:
    from scipy.stats import chi2

    sentences = []
    for site, part in table.groupby("site", sort=True):
        reversed_ = part["difference_deg"].abs() > 180.0 - _REVERSED_WITHIN_DEG
        if reversed_.any():
            sentences.append(
                f"{site}: {int(reversed_.sum())} of {len(part)} readings are nearly 180° off: "
                "the needle's other end was read, or the sight was taken backward."
            )
        elif len(part) > 1:
            # The residuals, so that several compasses' own corrections do not count as scatter.
            residual = part["residual_deg"] - part["residual_deg"].mean()
            misfit = float(((residual / part["reading_u_deg"]) ** 2).sum())
            if misfit > chi2.ppf(0.99, len(part) - 1):
                sentences.append(
                    f"{site}: the readings scatter by {places['spread_deg'][site]:.1f}°, more than "
                    "their stated uncertainty allows: look for iron near one of the stands, or "
                    "a line taken for another."
                )
    return sentences


def _compass_sentence(name: str, row: Any) -> str:
    title = f"Compass {name}" if name else "The compass"
    limit = f"±{COVERAGE_95 * row['correction_u_deg']:.1f}° at 95 %"
    if abs(row["correction_deg"]) > 180.0 - _REVERSED_WITHIN_DEG:
        return f"{title}: its readings are nearly 180° off: turn them round before anything else."
    if not row["separated"]:
        return f"{title}: its own correction stays unknown ({limit})."
    if not differs(row["correction_deg"], row["correction_u_deg"]):
        return f"{title}: no correction of its own is shown ({limit})."
    verb = "add" if row["correction_deg"] > 0 else "subtract"
    preposition = "to" if row["correction_deg"] > 0 else "from"
    return (
        f"{title}: {verb} {abs(row['correction_deg']):.1f}° {preposition} its readings ({limit})."
    )


def _more_or_less(difference: float) -> str:
    if abs(difference) < 0.05:
        return "the compass reads what"
    return f"the compass reads {abs(difference):.1f}° {'more' if difference > 0 else 'less'} than"


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(names[:6])
    return f"{shown} and {len(names) - 6} more" if len(names) > 6 else shown
