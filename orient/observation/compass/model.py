"""Compasses and ground told apart, as far as the readings go.

What is supposed before any reading (*common practice, no source*, but for the model's own
uncertainty): every compass has an index error of its own, small and independent of the
others'; a few are bent, and some had their declination set on the dial. Most places are as the
model has them; a part of them is pulled, some by a lot. Part of the model's error is shared by
all the places, and now and then the rock of a whole area is.

Each quantity is then judged without a supposition of its own size: how far a place is
pulled is asked of its readings with nothing supposed of that place, so that the interval holds
for a small pull, a great one and none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.mixture import Mixture, Normals, normal, observed, one_of, without_each
from orient.observation.compass.prepare import set_slips_aside

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

#: A compass's own index error (1 σ), and that of a bent one, degrees, with how many are bent.
INDEX_SD_DEG, BENT_SD_DEG, BENT = 2.0, 8.0, 0.03
#: How much of the variance of the model's declination the places of one campaign share: the
#: wide anomalies and the model's own error, against the rock close by. A judgement, no source.
SHARED_VARIANCE = 0.5
#: The rock of a whole area, degrees (1 σ), and how often it is not as the model has it.
AREA_SD_DEG, AREA = 2.5, 0.03
#: What a place's own anomaly is beside the model's uncertainty, degrees (1 σ), and how often.
PULLS_DEG: tuple[tuple[float, float], ...] = ((0.0, 0.80), (1.5, 0.10), (5.0, 0.07), (15.0, 0.03))
#: The same where other places and compasses are judged by it, pulls being taken for more
#: frequent: corrections then hold in campaigns with many of them, too.
MANY_PULLS_DEG: tuple[tuple[float, float], ...] = ((0.0, 0.60), (2.5, 0.30), (10.0, 0.10))
#: How often a reading, and the azimuth of a line, is quite wrong; half of these lie anywhere, half
#: within so many degrees (1 σ).
READING_WRONG, LINE_WRONG, WRONG_BY_DEG = 0.03, 0.02, (10.0, 104.0)
#: How often all the readings of a place have the declination applied already, or the wrong way:
#: so many times it is then in them.
DECLINATION_APPLIED = {1.0: 0.02, -1.0: 0.01}
#: Deviation by heading where a compass has it (1 σ of a coefficient), degrees; how often a
#: compass has the semicircular one, and that and the quadrantal one.
DEVIATION_SD_DEG, SEMICIRCULAR, QUADRANTAL = 2.0, 0.10, 0.05
#: How often a dial has its declination set; below so much of it nobody could tell, degrees.
DIAL_SET, LEAST_DIAL_DEG = 0.07, 1.5
#: Readings of a compass beyond one a place that its deviation asks for, over so many octants.
_SPARE, _OCTANTS = 3, 4
#: What is held fixed is let go by this much, degrees, so that nothing is singular.
_FIXED_DEG = 1e-2
#: Nothing is supposed, degrees.
_FLAT_DEG = 1e3
#: Beyond so many dials in doubt each is decided by itself.
_MOST_DIALS = 4


@dataclass(frozen=True)
class Terms:
    """Which of the unknowns are whose. Unknown 0 is what the places share, degrees at that
    where the model is surest.

    For each compass: `index`, the column of its index error; `dial`, that of its dial (1 where
    the declination is set), −1 where it is not in question; `deviation`, those of the sine and
    cosine of the heading and of twice the heading, none where the readings do not bear it.
    """

    index: list[int]
    dial: list[int]
    deviation: list[list[int]]
    unknowns: int


@dataclass(frozen=True)
class Fit:
    """What the readings say.

    `table` is that of the readings with `slip`, `residual_deg` and `corrected_deg`, the
    difference less the compass's own error. `anomalies` are the places' departures from the
    model with nothing supposed of them, `supposed` the same with what is supposed of places,
    `unmistaken` as if no reading and no line could be wrong;
    `full` the unknowns of the compasses, which `terms` explains.
    """

    table: pd.DataFrame
    places: list[str]
    compasses: list[str]
    place: Whole
    compass: Whole
    terms: Terms
    full: Mixture
    anomalies: list[Normals]
    supposed: list[Normals]
    unmistaken: list[Normals]
    model_u_deg: Array  # by place

    def index_error(self, number: int) -> Normals:
        """What a compass reads too much at its usual declination, its dial's setting included."""
        row = np.zeros(self.terms.unknowns)
        row[self.terms.index[number]] = 1.0
        if (dial := self.terms.dial[number]) >= 0:
            row[dial] = self.table["declination_deg"][self.compass == number].median()
        return self.full.along(row)


def fit(table: pd.DataFrame) -> Fit:
    """Tell compasses and places apart; `table` is that of `prepare.prepared`, not empty."""
    places, place = np.unique(table["place"].to_numpy(str), return_inverse=True)
    compasses, compass = np.unique(table["compass"].to_numpy(str), return_inverse=True)
    terms = _terms(table, place, compass)
    design = _design(table, compass, terms)
    table, variance = set_slips_aside(
        table, design[:, terms.index], design[:, list(chain(*terms.deviation))]
    )
    used = (table["slip"] != "alone").to_numpy()
    parts = [_Place(table, design, variance, used & (place == i)) for i in range(len(places))]
    start = _supposed_of_compasses(table, compass, terms, [part.shared_u for part in parts])
    factors = [part.factor() for part in parts]
    cavities = without_each(start, factors)
    full = (cavities[0] * factors[0]).pruned()
    fitted = Fit(
        table,
        places.tolist(),
        compasses.tolist(),
        place,
        compass,
        terms,
        full,
        [
            part.anomaly(cavity, supposed=False)
            for part, cavity in zip(parts, cavities, strict=True)
        ],
        [part.anomaly(cavity, supposed=True) for part, cavity in zip(parts, cavities, strict=True)],
        [part.anomaly(cavity, False, False) for part, cavity in zip(parts, cavities, strict=True)],
        np.array([part.model_u for part in parts]),
    )
    return _with_residuals(fitted, design)


def _with_residuals(fitted: Fit, design: Array) -> Fit:
    mean = np.linalg.solve(fitted.full.precision, fitted.full.shift[..., None])[..., 0]
    estimate = fitted.full.weights() @ mean
    own = design[:, 1:] @ estimate[1:]
    corrected = fitted.table["difference_deg"].to_numpy(float) - own
    anomaly = np.array([each.centre for each in fitted.supposed])
    fitted.table["corrected_deg"] = corrected
    fitted.table["residual_deg"] = corrected + anomaly[fitted.place]
    return fitted


# ---------------------------------------------------------------- unknowns


def _terms(table: pd.DataFrame, place: Whole, compass: Whole) -> Terms:
    index, dial, deviation, count = [], [], [], 1
    for number in range(compass.max() + 1):
        mine = compass == number
        index.append(count)
        count += 1
        dial.append(count if _dial_in_question(table[mine]) else -1)
        count += dial[-1] >= 0
        borne = 4 if _bears_deviation(table[mine], place[mine]) else 0
        deviation.append(list(range(count, count + borne)))
        count += borne
    return Terms(index, dial, deviation, count)


def _dial_in_question(part: pd.DataFrame) -> bool:
    """Whether a declination set on the dial would explain a compass's differences better."""
    set_deg = float(part["declination_deg"].median())
    off = float(part["difference_deg"].median())
    return abs(set_deg) >= LEAST_DIAL_DEG and abs(off - set_deg) < abs(off) + 1.0


def _bears_deviation(part: pd.DataFrame, place: Whole) -> bool:
    octant = np.floor(part["reading_deg"].to_numpy(float) % 360.0 / 45.0)
    spare = len(part) - len(np.unique(place))
    return spare >= _SPARE + 1 and len(np.unique(octant)) >= _OCTANTS


def _design(table: pd.DataFrame, compass: Whole, terms: Terms) -> Array:
    """What each reading has of each unknown, the place's own anomaly left out."""
    design = np.zeros((len(table), terms.unknowns))
    model_u = table["declination_u_deg"].to_numpy(float)
    design[:, 0] = -model_u / model_u.min()
    heading = np.radians(table["reading_deg"].to_numpy(float))
    waves = np.column_stack(
        [np.sin(heading), np.cos(heading), np.sin(2 * heading), np.cos(2 * heading)]
    )
    for number, at in enumerate(terms.index):
        mine = compass == number
        design[mine, at] = 1.0
        if terms.dial[number] >= 0:
            design[mine, terms.dial[number]] = table["declination_deg"].to_numpy(float)[mine]
        for wave, column in enumerate(terms.deviation[number]):
            design[mine, column] = waves[mine, wave]
    return design


def _supposed_of_compasses(
    table: pd.DataFrame, compass: Whole, terms: Terms, shared_u_deg: list[float]
) -> Mixture:
    n = terms.unknowns
    # Where the field is weak the needle makes more of the same disturbance.
    shared = min(shared_u_deg)
    start = one_of(
        [normal(n, 0, 0.0, shared), normal(n, 0, 0.0, np.hypot(shared, AREA_SD_DEG))],
        [1 - AREA, AREA],
    )
    dials = sum(at >= 0 for at in terms.dial)
    for number, at in enumerate(terms.index):
        start = start * one_of(
            [normal(n, at, 0.0, INDEX_SD_DEG), normal(n, at, 0.0, BENT_SD_DEG)], [1 - BENT, BENT]
        )
        if (dial := terms.dial[number]) >= 0:
            part = table[compass == number]
            start = start * _dial(n, dial, part if dials > _MOST_DIALS else None)
        if waves := terms.deviation[number]:
            start = start * _deviation(n, waves)
        start = _lightest(start)
    return start


def _lightest(start: Mixture) -> Mixture:
    """What is supposed before any reading, the rarest combinations of mishaps left out."""
    if len(start.log_weight) <= 64:
        return start
    # Unknowns that have no factor yet are held, so that the weights can be had.
    held = 1e-12 * np.eye(start.shift.shape[1])
    evidence = Mixture(start.precision + held, start.shift, start.log_weight).log_evidence()
    kept = np.argsort(-evidence, kind="stable")[:64]
    return Mixture(start.precision[kept], start.shift[kept], start.log_weight[kept])


def _dial(n: int, at: int, alone: pd.DataFrame | None) -> Mixture:
    free, is_set = normal(n, at, 0.0, _FIXED_DEG / 10), normal(n, at, 1.0, _FIXED_DEG / 10)
    if alone is None:
        return one_of([free, is_set], [1 - DIAL_SET, DIAL_SET])
    off, set_deg = float(alone["difference_deg"].median()), float(alone["declination_deg"].median())
    nearer = (off**2 - (off - set_deg) ** 2) / (2 * INDEX_SD_DEG**2)
    return is_set if nearer + np.log(DIAL_SET) > 0 else free


def _deviation(n: int, waves: list[int]) -> Mixture:
    kinds = []
    for semicircular, quadrantal in ((False, False), (True, False), (True, True)):
        sds = [DEVIATION_SD_DEG if semicircular else _FIXED_DEG] * 2
        sds += [DEVIATION_SD_DEG if quadrantal else _FIXED_DEG] * 2
        kind = normal(n, waves[0], 0.0, sds[0])
        for at, sd in zip(waves[1:], sds[1:], strict=True):
            kind = kind * normal(n, at, 0.0, sd)
        kinds.append(kind)
    return one_of(kinds, [1 - SEMICIRCULAR - QUADRANTAL, SEMICIRCULAR, QUADRANTAL])


# ---------------------------------------------------------------- places


class _Place:
    """The readings of one place, the errors of its azimuths shared by those of one setting up."""

    def __init__(
        self, table: pd.DataFrame, design: Array, variance: Array, here: NDArray[np.bool_]
    ) -> None:
        part = table[here]
        self.model_u = float(part["declination_u_deg"].max()) if len(part) else 1.0
        self.own_u, self.shared_u = self.model_u * np.sqrt([1 - SHARED_VARIANCE, SHARED_VARIANCE])
        azimuth_u = part["true_azimuth_u_deg"].to_numpy(float)
        group = _azimuth_groups(part)
        together = (group[:, None] == group[None, :]) & ~np.eye(len(part), dtype=bool)
        covariance = np.where(together, np.outer(azimuth_u, azimuth_u), 0.0)
        covariance += np.diag(variance[here])
        #: What the place has of unknown 0, its anomaly less that being its own.
        self.shared = float(design[here, 0].mean()) if len(part) else -1.0
        self.root = np.linalg.cholesky(covariance) if len(part) else covariance
        self.rows = np.linalg.solve(self.root, design[here])
        self.values = np.linalg.solve(self.root, part["difference_deg"].to_numpy(float))
        self.ones = np.linalg.solve(self.root, np.ones(len(part)))
        self.one_wrong = _one_wrong(part, group)
        self.declination = float(part["declination_deg"].mean()) if len(part) else 0.0

    def factor(self) -> Mixture:
        """What the place says of the unknowns of the compasses, its own anomaly being one of
        several kinds."""
        kinds = [self._with_own(np.hypot(self.own_u, pull)) for pull, _ in MANY_PULLS_DEG]
        return one_of(kinds, [often for _, often in MANY_PULLS_DEG])

    def _with_own(self, own_sd: float) -> Mixture:
        """The readings, an anomaly of the place of that standard deviation being taken out."""
        return self._loosened(self.rows, self.values, own_sd)

    def _loosened(self, rows: Any, values: Any, common_sd: float = 0.0) -> Mixture:
        """What the readings say where an error of that standard deviation is common to them."""
        size = self.ones @ self.ones
        # Of unit noise and common_sd² · 1 1ᵀ the inverse's square root is 1 − k 1 1ᵀ.
        whole = 1.0 + common_sd**2 * size
        drop = (1.0 - 1.0 / np.sqrt(whole)) / size if size > 0 else 0.0
        rows = rows - drop * np.outer(self.ones, self.ones @ rows)
        values = values - drop * self.ones * (self.ones @ values)
        plain = observed(rows, values, np.ones(len(values)))
        return Mixture(plain.precision, plain.shift, plain.log_weight - 0.5 * np.log(whole))

    def anomaly(self, cavity: Mixture, supposed: bool, mistaken: bool = True) -> Normals:
        """How far the needle points east of the model here, all other places being known.

        Args:
            cavity: what all the others say of the compasses.
            supposed: whether what is supposed of places is supposed of this one.
            mistaken: whether the readings may be wrong where nothing here checks them.
        """
        n = cavity.shift.shape[1]
        padded = Mixture(
            np.pad(cavity.precision, ((0, 0), (0, 1), (0, 1))),
            np.pad(cavity.shift, ((0, 0), (0, 1))),
            cavity.log_weight,
        )
        rows = np.column_stack([self.rows, -self.ones])
        # The whole anomaly is asked for, what the places share included.
        rows[:, 0] = 0.0
        said, usual = self._loosened(rows, self.values), self._supposed(n, True)
        sound = padded * said * (usual if supposed else self._supposed(n, False))
        found = sound.pruned(1000).along(np.eye(n + 1)[n])
        wrong = self._mistaken(rows) if mistaken else []
        if not wrong:
            return found
        mistakes = one_of([each for each, _ in wrong], [often for _, often in wrong])
        # One mistake and sound ground: both at once, a mistake and a pull, are rare.
        ground = one_of([self._own(n, 0.0)], [PULLS_DEG[0][1]])
        either = [(padded * said * usual).pruned(1000), (padded * mistakes * ground).pruned(1000)]
        share = np.exp([_whole(each) - _whole(either[0]) for each in either])
        return _either(found, either[1].along(np.eye(n + 1)[n]), share / share.sum())

    def _mistaken(self, rows: Array) -> list[tuple[Mixture, float]]:
        """What the readings say if a mistake was made that nothing here checks, and how often.

        The one reading, or the one line, quite wrong; the declination applied to all of them.
        """
        found = [(self._loosened(rows, self.values, sd), self.one_wrong / 2) for sd in WRONG_BY_DEG]
        if abs(self.declination) >= LEAST_DIAL_DEG:
            found += [
                (self._loosened(rows, self.values - times * self.declination * self.ones), often)
                for times, often in DECLINATION_APPLIED.items()
            ]
        return [(each, often) for each, often in found if often]

    def _supposed(self, n: int, supposed: bool) -> Mixture:
        if not supposed:
            return normal(n + 1, n, 0.0, _FLAT_DEG)
        kinds = [self._own(n, pull) for pull, _ in PULLS_DEG]
        return one_of(kinds, [often for _, often in PULLS_DEG])

    def _own(self, n: int, pull_deg: float) -> Mixture:
        """What is supposed of a place that is pulled by so much, beyond what all places share."""
        beyond_shared = np.zeros((1, n + 1))
        beyond_shared[0, [0, n]] = self.shared, 1.0
        return observed(beyond_shared, [0.0], [self.own_u**2 + pull_deg**2])


def _one_wrong(part: pd.DataFrame, orientation: Whole) -> float:
    """How often one mistake, of a reading or of a line, is all that a place has to show."""
    azimuth = np.round(part["true_azimuth_deg"].to_numpy(float) % 360.0, 1)
    if len(set(zip(orientation.tolist(), azimuth.tolist(), strict=True))) != 1:
        return 0.0
    return LINE_WRONG + (READING_WRONG if len(part) == 1 else 0.0)


def _whole(mixture: Mixture) -> float:
    return float(np.logaddexp.reduce(mixture.log_evidence()))


def _either(one: Normals, other: Normals, share: Array) -> Normals:
    """A number that is one or the other, with these probabilities."""
    return Normals(
        np.concatenate([one.mean, other.mean]),
        np.concatenate([one.sd, other.sd]),
        np.concatenate([share[0] * one.weight, share[1] * other.weight]),
    )


def _azimuth_groups(part: pd.DataFrame) -> Whole:
    keys = part["site"].astype(str)
    if "setup" in part:
        keys = keys + "\n" + part["setup"].fillna("").astype(str)
    return np.unique(keys.to_numpy(dtype=str), return_inverse=True)[1]
