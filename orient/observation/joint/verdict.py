"""Whether what is said to be shared is shared: each tie tested against all the rest.

The tie of a board's unknown to a shared one is an observation like any other, and is tested as
one (data snooping, W. Baarda, A testing procedure for use in geodetic networks, 1968): with the
force g on the tie and its cofactor q, g²/q is what the sum of squares would lose without it. A
watch is tested too for another error from each day on. One tie is let go at a time, the worst of
each group of boards that hang together, until none is worse than chance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.observation.joint.linear import AZIMUTH, HEIGHT, LATITUDE, LONGITUDE, SCALE, WATCH
from orient.observation.joint.model import LINE, TIE_KIND, TIE_ROW, WATCH_ERROR, Model, Shared
from orient.observation.joint.solve import Solved

Array = NDArray[np.float64]

#: The kind of a finding on what is stated of a shared thing.
STATED = "stated"
#: Chance that in a clean campaign any tie is let go.
FALSE_ALARM = 0.003
#: Chance that in a clean campaign any tie, or a statement of what is shared, is strained.
_STRAINED = 0.05
#: How steeply that becomes likely with the test: below it nothing is added.
_STEEP = 2.0
#: Two boards contradict each other, and nothing tells which is wrong, where letting go the one
#: serves no better than the other by this much.
_NO_BETTER = 8.0
# A tie that nothing else bears on cannot be tested.
_UNTESTED = 1e-6
_ROUNDS = 400


@dataclass(frozen=True)
class Finding:
    """Something said to be shared that is not: the kind, the boards, and by how much.

    `boards` are those let go; `from_on` tells that they are all from a day on. `apart` is the
    difference, in the unknown's own unit, `apart_u` its standard uncertainty. `undecided`
    tells that two or more contradict each other and nothing tells which is wrong.
    """

    kind: str
    key: object
    row: int
    boards: tuple[int, ...]
    apart: float
    apart_u: float
    from_on: bool = False
    undecided: bool = False


def judge(
    model: Model,
    solved: Solved,
    again: Callable[[Model, Solved], Solved],
    known: Sequence[Finding] = (),
) -> tuple[Model, Solved, list[Finding]]:
    """Let go, one after the other, the ties that the marks reject.

    Args:
        model: with every tie that was stated, but for those already let go.
        solved: its adjustment.
        again: adjusts a changed model, from the last adjustment.
        known: what was already let go.

    Returns:
        The model without the rejected ties, its adjustment, and what was found.
    """
    findings: list[Finding] = []
    loosened = {(board, each.row) for each in known if each.undecided for board in each.boards}
    for _ in range(_ROUNDS):
        worst = _worst(model, solved, loosened)
        if not worst:
            break
        for finding in worst:
            model = without(model, finding)
            loosened |= {(board, finding.row) for board in finding.boards if finding.undecided}
        findings += worst
        solved = again(model, solved)
    return model, solved, findings


def of_minorities(model: Model, findings: Sequence[Finding]) -> list[Finding]:
    """Lines of which as many set-ups were set apart as are left: nothing tells which is wrong."""
    found = []
    for thing in model.things:
        mine = [f for f in findings if (f.kind, f.key) == ("line", thing.key) and not f.undecided]
        if thing.kind == "line" and mine and 2 * len(mine) >= len(thing.members):
            worst = max(mine, key=lambda finding: abs(finding.apart))
            found.append(replace(worst, boards=thing.members, undecided=True))
    return found


def without(model: Model, finding: Finding) -> Model:
    """The model without what a finding says is not shared."""
    if finding.kind == "place":
        return model.freed_place(
            next(t for t in model.things if (t.kind, t.key) == ("place", finding.key))
        )
    if finding.undecided:
        variance = (finding.apart / SCALE[finding.row]) ** 2
        return model.loosened(finding.boards, finding.row, variance)
    if finding.from_on:
        thing = next(
            t
            for t in model.things
            if (t.kind, t.key) == (finding.kind, finding.key) and finding.boards[0] in t.members
        )
        return model.split_watch(thing, finding.boards)
    for board in finding.boards:
        model = model.cut(board, finding.row)
    return model


def _worst(model: Model, solved: Solved, loosened: set[tuple[int, int]]) -> list[Finding]:
    """The finding that helps most in each group of boards that hang together."""
    test, apart, apart_u = _ties(model, solved)
    for board, row in loosened:
        test[board, row] = 0.0
    limit = _limit(int(np.count_nonzero(test)))
    groups = _hanging_together(model)
    found = []
    elsewhere = _places(model, solved)
    in_doubt = {int(groups[board]) for board in np.nonzero(test > limit)[0]}
    in_doubt |= {int(groups[each.boards[0]]) for gain, _, each in elsewhere if gain > limit}
    for group in sorted(in_doubt):
        members = np.flatnonzero(groups == group)
        place, row = divmod(int(np.argmax(test[members])), test.shape[1])
        best = _single(model, test, apart, apart_u, int(members[place]), row)
        gain = float(test[members[place], row])
        for of_place, _, finding in elsewhere:
            # A place explains all the boards of a site at once.
            if groups[finding.boards[0]] == group and of_place > gain:
                gain, best = of_place, finding
        for thing in model.things:
            if thing.kind == "timepiece" and groups[thing.members[0]] == group:
                step = _step_of_watch(model, solved, thing)
                if step is not None and step[0] > gain:
                    gain, best = step
        found.append(best)
    return found


def _places(model: Model, solved: Solved) -> list[tuple[float, float, Finding]]:
    """Of each site's coordinates: the test of the worse of the two, the variance that was stated
    of it, in units of `SCALE`, and how far it lies off."""
    stated = dict(zip(model.statements.place, model.statements.sd, strict=True))
    variance = solved.shared_cov.variance() if model.size else np.zeros(0)
    found = []
    for thing in model.things:
        if thing.kind != "place":
            continue
        at = list(thing.unknowns)
        prior = np.array([stated[unknown] ** 2 for unknown in at])
        taken = prior - variance[at]
        known = taken > _UNTESTED * prior
        safe = np.where(known, taken, 1.0)
        test = np.where(known, solved.shared[at] ** 2 / safe, 0.0)
        worse = int(np.argmax(test))
        # What the marks alone say of it, the statement taken away.
        apart = float(solved.shared[at[worse]] * prior[worse] / safe[worse])
        u = float(np.sqrt(variance[at[worse]] * prior[worse] / safe[worse]))
        row = (LATITUDE, LONGITUDE)[worse]
        figures = apart * float(SCALE[row]), u * float(SCALE[row])
        finding = Finding("place", thing.key, row, thing.members, *figures)
        found.append((float(test[worse]), float(prior[worse]), finding))
    return found


def strained(model: Model, solved: Solved) -> tuple[Array, Array]:
    """What ties and statements that the marks strain add to the variances, in units of `SCALE`².

    A tie let go turns a board, or its line, by so much; how likely that is follows from its
    test, one at the limit being as likely as not; and so with what is stated of a shared thing.
    Variance of each board's azimuth, (B,), and of each shared unknown, (m,), the lines' alone
    being told.
    """
    test, apart, _ = _ties(model, solved)
    design, block = model.design(), solved.shared_cov.blocks(model.column)
    # How each board's unknowns go with the shared ones, and with what they miss their ties by.
    cross = np.asarray(solved.reach @ block)
    missed = cross @ np.swapaxes(design, 1, 2)
    pull = apart / SCALE / model.own_var
    limit = _limit(int(np.count_nonzero(test)), _STRAINED)
    likely = np.where(test > 0.0, _likely(test, limit), 0.0)
    turn = (solved.covariance[:, AZIMUTH] - missed[:, AZIMUTH]) * pull
    of_board = np.sum(likely * turn**2, axis=1)
    line = model.column[:, LINE]
    with_line = np.einsum("bk,bik->bi", block[:, LINE], design)
    of_line = np.sum(likely * ((cross[:, :, LINE] - with_line) * pull) ** 2, axis=1)
    of_line += _scattered(line, test, solved)
    for said in _statements(model, solved):
        weight = _likely(said.test, said.limit)
        of_board += weight * (said.along(cross[:, AZIMUTH]) * said.force) ** 2
        of_line += weight * (said.along(block[:, LINE]) * said.force) ** 2
    limit = _limit(int(np.count_nonzero(test)))
    for of_place, prior, each in _places(model, solved):
        boards, apart_scaled = list(each.boards), each.apart / SCALE[each.row]
        moved = cross[boards, AZIMUTH, list(TIE_ROW).index(each.row)] * apart_scaled / prior
        of_board[boards] += _likely(of_place, limit, 0.5) * moved**2
    return of_board, _by_line(line, of_line, model.size)


@dataclass(frozen=True)
class _Statement:
    """What is stated of a shared thing against what the marks say of it.

    `first` and `second` (B, 9) tell which ties are those of the two unknowns it is of, `factor`
    what the second counts. `force` is what it misses by over its cofactor, `limit` what its
    `test` would pass once in twenty sound campaigns, of all of them together.
    """

    thing: Shared
    first: NDArray[np.bool_]
    second: NDArray[np.bool_]
    factor: float
    force: float
    test: float
    limit: float
    apart: float
    apart_u: float

    def along(self, covariance: Array) -> Array:
        """Of covariances (B, 9) with the ties those with what is stated, (B,)."""
        both = np.where(self.first, covariance, 0.0)
        both = both + self.factor * np.where(self.second, covariance, 0.0)
        return np.asarray(both.sum(axis=1))


def _statements(model: Model, solved: Solved) -> list[_Statement]:
    """Every statement of a watch, a rod, a level or an eye that the marks can test."""
    of = {
        unknown: thing
        for thing in model.things
        if thing.kind not in ("place", "line")
        for unknown in thing.unknowns
    }
    stated = model.statements
    rows = [n for n, unknown in enumerate(stated.place) if unknown in of]
    if not rows:
        return []
    place, other, factor, value, sd = (
        np.array(each)[rows]
        for each in (stated.place, stated.other, stated.factor, stated.value, stated.sd)
    )
    pairs = np.column_stack([place, other])
    block = solved.shared_cov.blocks(pairs)
    second = np.where(other >= 0, factor, 0.0)
    variance = block[:, 0, 0] + 2.0 * second * block[:, 0, 1] + second**2 * block[:, 1, 1]
    off = solved.shared[place] + second * solved.shared[other] - value
    taken = sd**2 - variance
    known = taken > _UNTESTED * sd**2
    limit = _limit(int(known.sum()), _STRAINED)
    return [
        _Statement(
            of[place[n]],
            model.column == place[n],
            (model.column == other[n]) & (other[n] >= 0),
            float(second[n]),
            float(off[n] / taken[n]),
            float(off[n] ** 2 / taken[n]),
            limit,
            float(off[n] * sd[n] ** 2 / taken[n]),
            float(sd[n] * np.sqrt(variance[n] / taken[n])),
        )
        for n in np.flatnonzero(known)
    ]


def doubted_statements(model: Model, solved: Solved) -> list[Finding]:
    """What is stated of a shared watch or rod that the marks reject, the worst of each."""
    rows = {"timepiece": WATCH, "rod": HEIGHT}
    every = _statements(model, solved)
    found: dict[tuple[str, object], Finding] = {}
    for each in sorted(every, key=lambda statement: statement.test):
        key = (each.thing.kind, each.thing.key)
        if each.thing.kind in rows and each.test > _limit(len(every)):
            row = rows[each.thing.kind]
            figures = each.apart * float(SCALE[row]), each.apart_u * float(SCALE[row])
            found[key] = Finding(STATED, key, row, each.thing.members, *figures)
    return list(found.values())


def _likely(test: Any, limit: float, steep: float = _STEEP) -> Any:
    return 1.0 / (1.0 + np.exp(np.minimum(steep * (limit - test), 500.0)))


def _scattered(line: NDArray[np.intp], test: Array, solved: Solved) -> Array:
    """What a line's set-ups, none of them wrong by itself, scatter about it more than they may."""
    from scipy.special import chdtri

    added = np.zeros(len(line))
    if not (line >= 0).any():
        return added
    variance = solved.shared_cov.variance()
    for unknown in np.unique(line[line >= 0]):
        mine = np.flatnonzero(line == unknown)
        free = len(mine) - 1
        # Of each test the share that its own part in the line has is taken off.
        total = float(test[mine, AZIMUTH].sum()) * free / len(mine)
        if free and total > float(chdtri(free, _STRAINED)):
            added[mine] = variance[unknown] * (total / free - 1.0) / len(mine)
    return added


def _by_line(line: NDArray[np.intp], values: Array, size: int) -> Array:
    return np.bincount(line[line >= 0], values[line >= 0], size).astype(np.float64)


def _limit(count: int, chance: float = FALSE_ALARM) -> float:
    from scipy.special import chdtri

    return float(chdtri(1, chance / max(count, 1)))


def _ties(model: Model, solved: Solved) -> tuple[Array, Array, Array]:
    """Of each tied unknown: the test, and how far it lies from what it is tied to, (B, 10)."""
    design = model.design()
    hidden = np.einsum("bik,bij->bjk", design, solved.tied)  # (B, 10, 9): each row's H′M
    block = solved.shared_cov.blocks(model.column)
    spread = np.einsum("bjk,bkl,bjl->bj", hidden, block, hidden, optimize=True)
    own = np.einsum("bii->bi", solved.tied)
    cofactor = own - spread
    is_tied = np.zeros(own.shape, dtype=bool)
    for tie, row in enumerate(TIE_ROW):
        is_tied[:, row] |= (model.column[:, tie] >= 0) & (TIE_KIND[tie] != "place")
    testable = is_tied & (cofactor > _UNTESTED * np.maximum(own, 1e-300))
    safe = np.where(testable, cofactor, 1.0)
    test = np.where(testable, solved.force**2 / safe, 0.0)
    apart = np.where(testable, solved.force / safe, 0.0) * SCALE
    return test, apart, np.where(testable, 1.0 / np.sqrt(safe), 0.0) * SCALE


def _single(
    model: Model, test: Array, apart: Array, apart_u: Array, board: int, row: int
) -> Finding:
    kind = next(TIE_KIND[tie] for tie in range(len(TIE_ROW)) if TIE_ROW[tie] == row)
    thing = next(
        t for t in model.things if t.kind == kind and set(t.unknowns) & _tied_to(model, board, row)
    )
    figures = (float(apart[board, row]), float(apart_u[board, row]))
    if kind == "line":
        others = [n for n in thing.members if n != board and model.column[n, LINE] >= 0]
        rivals = [n for n in others if test[n, row] > test[board, row] - _NO_BETTER]
        if rivals:
            boards = tuple(sorted([board, *rivals]))
            return Finding(kind, thing.key, row, boards, *figures, undecided=True)
    return Finding(kind, thing.key, row, (board,), *figures)


def _tied_to(model: Model, board: int, row: int) -> set[int]:
    return {int(n) for n in model.column[board, row == TIE_ROW] if n >= 0}


def _step_of_watch(model: Model, solved: Solved, thing: Shared) -> tuple[float, Finding] | None:
    """The day from which on another error of a watch serves best, and by how much."""
    members = [n for n in thing.members if model.column[n, WATCH_ERROR] == thing.unknowns[0]]
    order = sorted(members, key=lambda n: model.members[n].board.noon_utc_s)
    if len(order) < 2:
        return None
    after = np.array(order[::-1])
    force = np.cumsum(solved.force[after, WATCH])
    own = np.cumsum(solved.tied[after, WATCH, WATCH])
    hidden = np.einsum("bik,bi->bk", model.design()[after], solved.tied[after, :, WATCH])
    best: tuple[float, Finding] | None = None
    column = np.zeros(model.size)
    for count, board in enumerate(after[:-1], start=1):
        known = model.column[board] >= 0
        np.add.at(column, model.column[board][known], hidden[count - 1][known])
        noon = model.members[board].board.noon_utc_s
        if noon - model.members[after[count]].board.noon_utc_s < 6 * 3600.0:
            continue
        cofactor = own[count - 1] - column @ solved.shared_cov.solve(column)
        if cofactor <= _UNTESTED * own[count - 1]:
            continue
        gain = float(force[count - 1] ** 2 / cofactor)
        if best is None or gain > best[0]:
            apart = float(force[count - 1] / cofactor) * SCALE[WATCH]
            u = SCALE[WATCH] / float(np.sqrt(cofactor))
            boards = tuple(int(n) for n in after[:count])
            best = gain, Finding("timepiece", thing.key, WATCH, boards, apart, u, from_on=True)
    return best


def _hanging_together(model: Model) -> NDArray[np.intp]:
    """Which boards hang together by what they share: a number for each group of them."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    board, tie = np.nonzero(model.column >= 0)
    count = len(model.column)
    size = count + model.size
    graph = coo_matrix(
        (np.ones(len(board)), (board, count + model.column[board, tie])), shape=(size, size)
    )
    return np.asarray(connected_components(graph, directed=False)[1][:count], dtype=np.intp)


def azimuth_doubt(findings: list[Finding]) -> dict[int, float]:
    """By board, how far its line lies from where the others see it, radians."""
    return {
        board: abs(finding.apart)
        for finding in findings
        if finding.row == AZIMUTH and not finding.undecided
        for board in finding.boards
    }
