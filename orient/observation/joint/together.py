"""All the set-ups that share anything adjusted as one: what each board and each thing gets."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.observation.joint.gross import far_lines
from orient.observation.joint.linear import AZIMUTH, SCALE, Marks, gather
from orient.observation.joint.model import (
    LINE,
    TIE_ROW,
    Comparison,
    Member,
    Model,
    Shared,
    model,
)
from orient.observation.joint.scatter import Scatter, scatter
from orient.observation.joint.solve import Solved, solve
from orient.observation.joint.verdict import (
    Finding,
    azimuth_doubt,
    doubted_statements,
    judge,
    of_minorities,
    strained,
    without,
)
from orient.observation.joint.worth import better_azimuths

Array = NDArray[np.float64]

#: The terms of a board's variance: its marks, its own statements, and the shared unknowns.
_TERM_ROWS = {"level": (3, 4), "foot": (1, 2), "height": (5,), "watch": (6,), "edge": (7,)}
_ROUNDS = 3


@dataclass(frozen=True)
class Line:
    """A reference line by all the set-ups that bear on it: radians, and which set-ups."""

    azimuth_rad: float
    azimuth_u_rad: float
    members: tuple[int, ...]


@dataclass(frozen=True)
class Adjusted:
    """A board as the joint adjustment has it.

    `state` (10,) and `covariance` (10, 10) are in the unknowns' own units, in the order of
    `linear.STATE`. `terms` are parts of the azimuth's standard uncertainty, radians, their
    squares adding up to its variance. `line` is its reference line where that is shared.
    `strain_rad` is what is in it for ties that are near to being let go (`verdict.strained`).
    """

    state: Array
    covariance: Array
    terms: dict[str, float]
    line: Line | None
    strain_rad: float = 0.0

    @property
    def azimuth_u_rad(self) -> float:
        return float(np.sqrt(self.covariance[AZIMUTH, AZIMUTH]))


@dataclass(frozen=True)
class Known:
    """A shared thing as found: its unknowns and their standard uncertainties, own units."""

    thing: Shared
    values: tuple[float, ...]
    u: tuple[float, ...]


@dataclass(frozen=True)
class Together:
    """The campaign adjusted as one: boards in the order of the members, things, findings.

    `better` tells what each improvement would make of the boards (`worth.better_azimuths`).
    """

    members: Sequence[Member]
    boards: list[Adjusted]
    known: list[Known]
    findings: list[Finding]
    scatter: dict[Hashable, Scatter]
    model: Model
    better: dict[str, Array]


def adjust_together(
    members: Sequence[Member],
    compared: dict[Hashable, list[Comparison]],
    observers: Sequence[Hashable | None],
) -> Together:
    """Adjust set-ups as one by least squares.

    Args:
        members: the set-ups that take part, each sound by itself.
        compared: of each timepiece, its comparisons with a time signal.
        observers: who made each board's marks; None where nobody is named.
    """
    laid_out = original = model(members, compared)
    gross = far_lines(laid_out)
    for each in gross:
        laid_out = without(laid_out, each)
    marks, utc_s = gather([m.board for m in members], [m.fit for m in members])
    state = np.array([np.append(np.asarray(m.fit.state), 0.0) for m in members])
    factor = np.array([m.sd_factor for m in members])
    named = np.array([observer is not None for observer in observers])
    solved = solve(laid_out, marks, state, utc_s, factor, laid_out.first)
    found: dict[Hashable, Scatter] = {}
    findings: list[Finding] = []
    stated = laid_out
    for _ in range(_ROUNDS):
        laid_out, solved, findings = _Adjusting(original, marks, factor).judged(
            stated, solved, gross
        )
        if not named.any():
            break
        found = scatter(laid_out, solved, observers, factor)
        new = np.array(
            [m.sd_factor if o is None else found[o].factor for m, o in _both(members, observers)]
        )
        settled = bool(np.abs(new / factor - 1.0).max() < 0.02)
        factor = new
        if settled:
            solved = _Adjusting(original, marks, factor).closely(laid_out, solved)
            break
        solved = _Adjusting(original, marks, factor).closely(stated, solved)
    return _result(members, laid_out, solved, findings, found, observers)


def _both(
    members: Sequence[Member], observers: Sequence[Hashable | None]
) -> list[tuple[Member, Hashable | None]]:
    return list(zip(members, observers, strict=True))


@dataclass(frozen=True)
class _Adjusting:
    """Adjusts a changed model from the last adjustment."""

    original: Model
    marks: Marks
    factor: Array

    def roughly(self, changed: Model, last: Solved) -> Solved:
        """To first order, by the normal equations that are there."""
        return self._solve(changed, last, last)

    def closely(self, changed: Model, last: Solved) -> Solved:
        """By all the marks."""
        return self._solve(changed, last, None)

    def judged(
        self, stated: Model, last: Solved, known: list[Finding]
    ) -> tuple[Model, Solved, list[Finding]]:
        """Without the ties that the marks reject; the findings, those known before first."""
        changed, solved, findings = judge(stated, last, self.roughly, known)
        open_lines = of_minorities(self.original, [*known, *findings])
        if open_lines:
            keys = {("line", each.key) for each in open_lines}
            known = [each for each in known if (each.kind, each.key) not in keys] + open_lines
            stated = self.original
            for each in known:
                stated = without(stated, each)
            changed, solved, findings = judge(
                stated, self.closely(stated, last), self.roughly, known
            )
        return changed, self.closely(changed, solved) if findings else solved, known + findings

    def _solve(self, changed: Model, last: Solved, near: Solved | None) -> Solved:
        shared = changed.first.copy()
        known = min(len(shared), len(last.shared))
        shared[:known] = last.shared[:known]
        return solve(changed, self.marks, last.state, last.utc_s, self.factor, shared, near)


def _result(
    members: Sequence[Member],
    laid_out: Model,
    solved: Solved,
    findings: list[Finding],
    found: dict[Hashable, Scatter],
    observers: Sequence[Hashable | None],
) -> Together:
    variance = solved.shared_cov.variance() if laid_out.size else np.zeros(0)
    of_boards, of_lines = strained(laid_out, solved)
    variance = variance + of_lines
    scale = np.zeros(laid_out.size)
    scale[laid_out.column[laid_out.column >= 0]] = SCALE[
        np.broadcast_to(TIE_ROW, laid_out.column.shape)[laid_out.column >= 0]
    ]
    values, u = solved.shared * scale, np.sqrt(variance) * scale
    lines = _lines(laid_out, values, u)
    doubt = azimuth_doubt(findings)
    covariance = solved.covariance * np.outer(SCALE, SCALE)
    boards = []
    for number in range(len(members)):
        terms = _terms(laid_out, solved, number)
        observer = observers[number]
        widening = found[observer].widening if observer is not None and found else 1.0
        cov = covariance[number].copy()
        share = min(1.0, terms["marking"] ** 2 / max(cov[AZIMUTH, AZIMUTH], 1e-30))
        cov *= 1.0 + share * (widening**2 - 1.0)
        terms["marking"] = float(
            np.sqrt(max(0.0, terms["marking"] ** 2 + cov[0, 0] - covariance[number][0, 0]))
        )
        strain = float(np.sqrt(of_boards[number]) * SCALE[AZIMUTH])
        cov[AZIMUTH, AZIMUTH] += strain**2
        terms["shared"] = float(np.hypot(terms["shared"], strain))
        if number in doubt:
            # Its line, or the board: nothing tells which of the two is wrong.
            cov[AZIMUTH, AZIMUTH] += doubt[number] ** 2
            terms["line"] = float(np.hypot(terms.get("line", 0.0), doubt[number]))
        boards.append(Adjusted(solved.state[number], cov, terms, lines.get(number), strain))
    known = [
        Known(t, tuple(values[list(t.unknowns)].tolist()), tuple(u[list(t.unknowns)].tolist()))
        for t in laid_out.things
    ]
    better = better_azimuths(laid_out, solved.marks)
    findings = findings + doubted_statements(laid_out, solved)
    return Together(members, boards, known, findings, found, laid_out, better)


def _lines(laid_out: Model, values: Array, u: Array) -> dict[int, Line]:
    """The shared line of each board that has one, those set apart from it too."""
    lines: dict[int, Line] = {}
    for thing in laid_out.things:
        if thing.kind == "line":
            unknown = thing.unknowns[0]
            bearing = tuple(n for n in thing.members if laid_out.column[n, LINE] >= 0)
            line = Line(float(values[unknown]), float(u[unknown]), bearing)
            lines |= dict.fromkeys(thing.members, line)
    return lines


def _terms(laid_out: Model, solved: Solved, number: int) -> dict[str, float]:
    """A board's standard uncertainty of azimuth by where it comes from, radians."""
    gain = solved.inner[number, AZIMUTH] * SCALE[AZIMUTH]
    own = gain**2 / laid_out.own_var[number]
    terms = {"marking": float(gain @ solved.marks.matrix[number] @ gain)}
    for term, rows in _TERM_ROWS.items():
        terms[term] = float(own[list(rows)].sum())
    if laid_out.column[number, LINE] >= 0:
        terms["line"] = float(own[AZIMUTH])
    total = float(solved.covariance[number, AZIMUTH, AZIMUTH]) * SCALE[AZIMUTH] ** 2
    inner = float(solved.inner[number, AZIMUTH, AZIMUTH]) * SCALE[AZIMUTH] ** 2
    terms["shared"] = max(0.0, total - inner)
    return {name: float(np.sqrt(term)) for name, term in terms.items()}
