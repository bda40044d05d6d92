"""What is known of several numbers at once where it may be one thing or another.

A `Mixture` is a weighted set of normal distributions of the same unknowns, each by its
information: exp(c + hᵀθ − ½ θᵀΛθ). What a thing that is one of several says of the unknowns is
a mixture too, and the two together are their product: every pair, their information added. The
number of pairs is held down by leaving out those that weigh next to nothing, so a product costs
the same at the hundredth place as at the tenth.

Source: the Gaussian sum of Alspach and Sorenson, IEEE Trans. Automatic Control 17 (1972)
(*from memory*). Accuracy: what is left out weighs less than `NEGLIGIBLE` of the greatest
weight each, or is not among the `MOST` greatest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: How many alternatives are kept, and the share of the greatest weight below which none is.
MOST, NEGLIGIBLE = 150, 1e-6


@dataclass(frozen=True)
class Mixture:
    """Alternatives, each exp(log_weight + shiftᵀθ − ½ θᵀ precision θ), of n unknowns θ.

    `precision` is of shape (k, n, n), `shift` (k, n), `log_weight` (k,), not normalised.
    """

    precision: Array
    shift: Array
    log_weight: Array

    def __mul__(self, other: Mixture) -> Mixture:
        """Both together: every pair of alternatives."""
        unknowns = self.shift.shape[1]
        return Mixture(
            (self.precision[:, None] + other.precision[None]).reshape(-1, unknowns, unknowns),
            (self.shift[:, None] + other.shift[None]).reshape(-1, unknowns),
            (self.log_weight[:, None] + other.log_weight[None]).ravel(),
        )

    def log_evidence(self) -> Array:
        """The logarithm of each alternative's integral over the unknowns, (k,), one constant off.

        The precisions must be positive definite.
        """
        mean = np.linalg.solve(self.precision, self.shift[..., None])[..., 0]
        size = np.linalg.slogdet(self.precision)[1]
        return self.log_weight + 0.5 * (np.einsum("ki,ki->k", self.shift, mean) - size)

    def pruned(self, most: int = MOST) -> Mixture:
        """The same without the alternatives that weigh next to nothing."""
        evidence = self.log_evidence()
        kept = np.flatnonzero(evidence > evidence.max() + np.log(NEGLIGIBLE))
        if kept.size > most:
            kept = kept[np.argsort(-evidence[kept], kind="stable")[:most]]
        return Mixture(self.precision[kept], self.shift[kept], self.log_weight[kept])

    def weights(self) -> Array:
        """The probability of each alternative, (k,)."""
        evidence = self.log_evidence()
        weight = np.exp(evidence - evidence.max())
        return np.asarray(weight / weight.sum())

    def along(self, direction: ArrayLike) -> Normals:
        """The distribution of a linear function of the unknowns, its coefficients (n,)."""
        row = np.asarray(direction, dtype=float)
        both = np.stack([self.shift, np.broadcast_to(row, self.shift.shape)], axis=-1)
        solved = np.linalg.solve(self.precision, both)
        variance = np.maximum(solved[:, :, 1] @ row, 0.0)
        return Normals(solved[:, :, 0] @ row, np.sqrt(variance), self.weights())


@dataclass(frozen=True)
class Normals:
    """A number that is one of several normal ones: means, standard deviations, probabilities."""

    mean: Array
    sd: Array
    weight: Array

    @property
    def centre(self) -> float:
        """The mean of the whole."""
        return float(self.weight @ self.mean)

    @property
    def spread(self) -> float:
        """The standard deviation of the whole."""
        return float(np.sqrt(self.weight @ (self.sd**2 + (self.mean - self.centre) ** 2)))

    def below(self, limit: float) -> float:
        """The probability that the number lies below a limit."""
        from scipy.special import ndtr

        return float(self.weight @ ndtr((limit - self.mean) / self.sd))

    def quantile(self, probability: float) -> float:
        """The limit below which the number lies with a probability, to 1e-6 of its spread."""
        from scipy.optimize import brentq

        reach = 10.0 * self.sd.max() + 1.0
        low, high = self.mean.min() - reach, self.mean.max() + reach
        return float(
            brentq(lambda x: self.below(x) - probability, low, high, xtol=1e-6 * self.spread)
        )

    def interval(self, probability: float = 0.95) -> tuple[float, float]:
        """The limits outside which the number lies as often on either side."""
        outside = (1.0 - probability) / 2.0
        return self.quantile(outside), self.quantile(1.0 - outside)

    def widened(self, sd: ArrayLike) -> Normals:
        """The number with an independent normal error added to it."""
        return Normals(self.mean, np.hypot(self.sd, sd), self.weight)

    def beyond(self, value: float) -> float:
        """How probable it is, on both sides together, to lie as far out as a value."""
        tail = self.below(value)
        return 2.0 * min(tail, 1.0 - tail)


def observed(design: ArrayLike, value: ArrayLike, variance: ArrayLike) -> Mixture:
    """What independent observations say of the unknowns, as a mixture of one.

    Args:
        design: (observations, n), so that value = design · θ + error.
        value, variance: of each observation.
    """
    rows, values = np.asarray(design, dtype=float), np.asarray(value, dtype=float)
    sd = np.sqrt(np.broadcast_to(np.asarray(variance, dtype=float), values.shape))
    rows, values = rows / sd[:, None], values / sd
    constant = -0.5 * float(values @ values) - float(np.log(sd).sum())
    return Mixture((rows.T @ rows)[None], (rows.T @ values)[None], np.array([constant]))


def one_of(alternatives: Sequence[Mixture], probability: ArrayLike) -> Mixture:
    """A thing that is one of several, each with its probability beforehand."""
    added = np.log(np.asarray(probability, dtype=float))
    return Mixture(
        np.concatenate([each.precision for each in alternatives]),
        np.concatenate([each.shift for each in alternatives]),
        np.concatenate(
            [each.log_weight + extra for each, extra in zip(alternatives, added, strict=True)]
        ),
    )


def without_each(start: Mixture, factors: Sequence[Mixture]) -> list[Mixture]:
    """What all but one of the factors say, for each of them in turn.

    By halves, so that n factors take n log n products and not n².
    """
    found: dict[int, Mixture] = dict(_without(start, list(enumerate(factors))))
    return [found[i] for i in range(len(factors))]


def _without(state: Mixture, part: list[tuple[int, Mixture]]) -> Iterator[tuple[int, Mixture]]:
    if len(part) == 1:
        yield part[0][0], state
        return
    middle = len(part) // 2
    for inside, outside in ((part[:middle], part[middle:]), (part[middle:], part[:middle])):
        with_rest = state
        for _, factor in outside:
            with_rest = (with_rest * factor).pruned()
        yield from _without(with_rest, inside)


def normal(unknowns: int, at: int, mean: float, sd: float) -> Mixture:
    """One unknown of n, normal about a mean; nothing is said of the others."""
    row: Any = np.zeros((1, unknowns))
    row[0, at] = 1.0
    return observed(row, [mean], [sd**2])
