"""The adjustment solved: boards eliminated one by one, then places and lines, then instruments.

With N, n the marks' normal equations of a board, D the variances of its unknowns about what they
are tied to, Λ = D⁻¹ and H its ties to the shared unknowns z, the board's own unknowns are
δx = F (n + Λ (u + H δz)), F = (N + Λ)⁻¹, u being what it misses its ties by; and it adds
H′(Λ − ΛFΛ)H to the normal equations of z. Their covariance is that of the whole system's inverse,
F + FΛH C H′ΛF (Helmert's block elimination; the Schur complement).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.observation.joint.linear import (
    AZIMUTH,
    SCALE,
    Marks,
    Normals,
    moved_instants,
    normals,
)
from orient.observation.joint.model import Model, Statements

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_STEPS = 8
_SMALL = 1e-5


@dataclass(frozen=True)
class Solved:
    """The adjustment at its end, in units of `SCALE`.

    `state` (B, 10) in the unknowns' own units, `shared` (m,) and `shared_cov`, the inverse of
    the shared unknowns' normal matrix. `inner` is F, `tied` Λ − ΛFΛ, `reach` F Λ H
    (B, 10, 9), by which the board follows what it shares. `covariance` (B, 10, 10).
    `force` (B, 10) is Λ times what is left between each unknown and what it is tied to.
    """

    state: Array
    utc_s: Array
    shared: Array
    shared_cov: SharedCovariance
    marks: Normals
    inner: Array
    tied: Array
    reach: Array
    covariance: Array
    force: Array


class SharedCovariance:
    """The inverse of the shared unknowns' normal matrix, by its blocks.

    The unknowns that only the boards of one site see (its place, its lines) are eliminated site
    by site; what is left are the instruments', few and dense.
    """

    def __init__(self, matrix: Any, group: Index) -> None:
        from scipy.sparse import csr_matrix

        whole = csr_matrix(matrix)
        self.group = group
        self.local, self.wide = np.flatnonzero(group >= 0), np.flatnonzero(group < 0)
        self.place = np.empty(len(group), dtype=np.intp)
        self.place[self.local] = np.arange(len(self.local))
        self.place[self.wide] = np.arange(len(self.wide))
        self.inverses = _inverse_blocks(whole, group, self.local)
        across = whole[self.local][:, self.wide].toarray()
        self.gain = self.inverses @ across
        core = whole[self.wide][:, self.wide].toarray() - across.T @ self.gain
        self.core = np.linalg.inv(core) if len(self.wide) else np.zeros((0, 0))

    def solve(self, right: Array) -> Array:
        """The normal equations solved for right-hand sides (m,) or (m, k)."""
        local, wide = right[self.local], right[self.wide]
        out = np.empty_like(right, dtype=float)
        core = self.core @ (wide - self.gain.T @ local)
        out[self.wide] = core
        out[self.local] = self.inverses @ local - self.gain @ core
        return out

    def blocks(self, column: Index) -> Array:
        """The covariance of each board's tied unknowns, (B, k, k); zero where there is none."""
        known = column >= 0
        at = np.where(known, column, 0)
        is_wide = (self.group[at] < 0) & known
        is_local = (self.group[at] >= 0) & known
        # Each unknown's row in what spreads the instruments' covariance to it.
        spread = np.zeros((*column.shape, len(self.wide)))
        if len(self.wide):
            spread[is_wide, self.place[at[is_wide]]] = 1.0
            spread[is_local] = -self.gain[self.place[at[is_local]]]
        block = np.einsum("bkw,wv,blv->bkl", spread, self.core, spread, optimize=True)
        both = is_local[:, :, None] & is_local[:, None, :]
        board, one, other = np.nonzero(both)
        rows, cols = self.place[at[board, one]], self.place[at[board, other]]
        if len(board):
            block[board, one, other] += np.asarray(self.inverses[rows, cols]).ravel()
        return np.asarray(block)

    def variance(self) -> Array:
        """The variance of each shared unknown, (m,)."""
        return self.blocks(np.arange(len(self.group), dtype=np.intp)[:, None])[:, 0, 0]


def _inverse_blocks(whole: Any, group: Index, local: Index) -> Any:
    """The inverse of what each site's own unknowns have among them, sites of a size at once."""
    from scipy.sparse import csr_matrix

    if not len(local):
        return csr_matrix((0, 0))
    owner = np.unique(group[local], return_inverse=True)[1]
    order, sizes = np.argsort(owner, kind="stable"), np.bincount(owner)
    first = np.cumsum(sizes) - sizes
    place = np.empty(len(local), dtype=np.intp)
    place[order] = np.arange(len(local)) - np.repeat(first, sizes)
    inside = whole[local][:, local].tocoo()
    entries, rows, cols = [], [], []
    for size in np.unique(sizes):
        alike = np.flatnonzero(sizes == size)
        number = np.full(len(sizes), -1)
        number[alike] = np.arange(len(alike))
        block = number[owner[inside.row]]
        mine = block >= 0
        dense = np.zeros((len(alike), size, size))
        row, col = place[inside.row[mine]], place[inside.col[mine]]
        dense[block[mine], row, col] = inside.data[mine]
        members = order[first[alike][:, None] + np.arange(size)]
        entries.append(np.linalg.inv(dense).ravel())
        rows.append(np.repeat(members, size, axis=1).ravel())
        cols.append(np.tile(members, (1, size)).ravel())
    where = np.concatenate(rows), np.concatenate(cols)
    return csr_matrix((np.concatenate(entries), where), shape=(len(local), len(local)))


def solve(
    model: Model,
    marks: Marks,
    state: Array,
    utc_s: Array,
    sd_factor: Array,
    shared: Array,
    near: Solved | None = None,
) -> Solved:
    """Adjust all boards and all that they share.

    Args:
        model: what is shared.
        marks: of all boards.
        state: (B, 10) to begin from, in the unknowns' own units.
        utc_s: instants of the marks without a watch time, to begin from.
        sd_factor: (B,) how many times the stated tolerance each board's marks scatter.
        shared: (m,) the shared unknowns to begin from, in units of `SCALE`.
        near: an adjustment of the same marks: its normal equations serve, to first order, and
            no mark is looked at again.
    """
    design = model.design()
    weight = 1.0 / model.own_var
    group = _groups(model)
    for _ in range(_STEPS):
        own = _about(marks, state, utc_s, sd_factor, near, model)
        inner, reach, tied = _eliminated(own, weight, design)
        missed = _missed(model, design, state, shared)
        direct = np.einsum("bij,bj->bi", inner, own.right + weight * missed)
        matrix, right = _shared_system(model, design, tied, weight * (direct - missed), shared)
        inverse = SharedCovariance(matrix, group)
        step = inverse.solve(right) if model.size else right
        shared = shared + step
        move = direct + np.einsum("bik,bk->bi", reach, _taken(step, model.column))
        state = state + move * SCALE
        if near is None:
            utc_s = moved_instants(marks, state, utc_s)
        if np.abs(move).max(initial=0.0) < _SMALL:
            break
    missed = _missed(model, design, state, shared)
    covariance = _covariance(inner, reach, inverse.blocks(model.column))
    own = _about(marks, state, utc_s, sd_factor, near, model)
    return Solved(
        state, utc_s, shared, inverse, own, inner, tied, reach, covariance, -weight * missed
    )


def covariance_with(model: Model, own: Normals) -> tuple[Array, SharedCovariance]:
    """The boards' covariances, (B, 10, 10), and that of what they share, of normal equations."""
    weight, design = 1.0 / model.own_var, model.design()
    inner, reach, tied = _eliminated(own, weight, design)
    nothing = np.zeros_like(weight)
    matrix, _ = _shared_system(model, design, tied, nothing, np.zeros(model.size))
    inverse = SharedCovariance(matrix, _groups(model))
    return _covariance(inner, reach, inverse.blocks(model.column)), inverse


def _eliminated(own: Normals, weight: Array, design: Array) -> tuple[Array, Array, Array]:
    """F, F Λ H and Λ − ΛFΛ of every board."""
    inner = np.asarray(np.linalg.inv(own.matrix + _diagonal(weight)), dtype=np.float64)
    reach = np.asarray((inner * weight[:, None, :]) @ design, dtype=np.float64)
    tied = np.asarray(_diagonal(weight) - weight[:, :, None] * inner * weight[:, None, :])
    return inner, reach, tied


def _covariance(inner: Array, reach: Array, block: Array) -> Array:
    spread = np.einsum("bik,bkl,bjl->bij", reach, block, reach, optimize=True)
    return np.asarray(inner + spread)


def _about(
    marks: Marks, state: Array, utc_s: Array, sd_factor: Array, near: Solved | None, model: Model
) -> Normals:
    """The normal equations about a state: computed, or those near by carried to it."""
    if near is None:
        return _freed(normals(marks, state, utc_s, sd_factor), model)
    moved = (state - near.state) / SCALE
    pull = np.einsum("bij,bj->bi", near.marks.matrix, moved)
    misfit = near.marks.misfit - np.einsum("bi,bi->b", moved, 2.0 * near.marks.right - pull)
    return Normals(near.marks.matrix, near.marks.right - pull, misfit, near.marks.count)


def _freed(own: Normals, model: Model) -> Normals:
    """The normal equations with what is not solved for left out."""
    matrix = own.matrix * model.free[:, :, None] * model.free[:, None, :]
    return Normals(matrix, own.right * model.free, own.misfit, own.count)


def _diagonal(values: Array) -> Array:
    return values[:, :, None] * np.eye(values.shape[1])


def _taken(shared: Array, column: Index) -> Array:
    """Each board's own share of the shared unknowns, (B, 9); zero where it has none."""
    return np.where(column >= 0, np.append(shared, 0.0)[column], 0.0)


def _missed(model: Model, design: Array, state: Array, shared: Array) -> Array:
    """How far what each unknown is tied to lies from it, (B, 10)."""
    target = model.nominal + np.einsum("bik,bk->bi", design, _taken(shared, model.column))
    missed = target - state / SCALE
    turn = 2.0 * np.pi / SCALE[AZIMUTH]
    tied = model.column[:, 0] >= 0
    around = missed[:, AZIMUTH] - turn * np.round(missed[:, AZIMUTH] / turn)
    # Without a line the azimuth is tied to nothing.
    missed[:, AZIMUTH] = np.where(tied, around, 0.0)
    return np.asarray(missed)


def _shared_system(
    model: Model, design: Array, tied: Array, pull: Array, shared: Array
) -> tuple[Any, Array]:
    from scipy.sparse import coo_matrix

    column = model.column
    squares = np.einsum("bik,bij,bjl->bkl", design, tied, design, optimize=True)
    pulls = np.einsum("bik,bi->bk", design, pull)
    known = column >= 0
    board, one, other = np.nonzero(known[:, :, None] & known[:, None, :])
    rows, cols = column[board, one], column[board, other]
    stated = _stated(model.statements, shared)
    size = (model.size, model.size)
    matrix = coo_matrix(
        (
            np.concatenate([squares[board, one, other], stated[2]]),
            (np.concatenate([rows, stated[0]]), np.concatenate([cols, stated[1]])),
        ),
        shape=size,
    )
    right = np.bincount(column[known], pulls[known], model.size)
    return matrix, np.asarray(right + np.bincount(stated[3], stated[4], model.size), dtype=float)


def _stated(statements: Statements, shared: Array) -> tuple[Index, Index, Array, Index, Array]:
    """The statements' part of the system: rows, columns, entries, and rows and entries of right."""
    place, other = np.array(statements.place, np.intp), np.array(statements.other, np.intp)
    factor, weight = np.array(statements.factor), 1.0 / np.array(statements.sd) ** 2
    two = other >= 0
    found = shared[place] + np.where(two, factor * np.append(shared, 0.0)[other], 0.0)
    miss = (np.array(statements.value) - found) * weight
    rows = np.concatenate([place, place[two], other[two], other[two]])
    cols = np.concatenate([place, other[two], place[two], other[two]])
    mixed = (weight * factor)[two]
    entries = np.concatenate([weight, mixed, mixed, mixed * factor[two]])
    return (
        rows,
        cols,
        entries,
        np.concatenate([place, other[two]]),
        np.concatenate([miss, (miss * factor)[two]]),
    )


def _groups(model: Model) -> Index:
    """The site of each shared unknown that only one site's boards see, −1 for the others'."""
    group = np.full(model.size, -1, dtype=np.intp)
    sites: dict[object, int] = {}
    for thing in model.things:
        if thing.kind in ("line", "place"):
            site = thing.key[0] if isinstance(thing.key, tuple) else thing.key
            group[list(thing.unknowns)] = sites.setdefault(site, len(sites))
    return group
