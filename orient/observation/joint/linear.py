"""The marks of many boards in one row: their misfits, and the normal equations of each board.

The unknowns of a board are those of `shadow.UNKNOWNS` and, the place being a statement too,
the longitude. All that is solved is counted in the units of `SCALE`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from orient.numbers import sun
from orient.numbers.propagation import edge_scatter_mm
from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.observation.adjustment import Fit
from orient.observation.board import Board

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: A board's unknowns here, the last being how much farther east it stands than was stated.
STATE = (*UNKNOWNS, "longitude_rad")
AZIMUTH, HEIGHT, WATCH, LATITUDE, LONGITUDE = 0, 5, 6, 8, 9
#: Natural size of each, which keeps the normal matrices well scaled.
SCALE = np.array([1e-3, 1.0, 1.0, 1e-3, 1e-3, 1.0, 10.0, 1e-3, 1e-3, 1e-3])

_SUN_RATE_RAD_PER_S = float(np.radians(sun.SUN_RATE_DEG_PER_S))
# So many boards' marks are worked on at a time: the memory of a block does not grow.
_BLOCK = 500


@dataclass(frozen=True)
class Marks:
    """The kept marks of many boards.

    `long` is one board whose every figure is an array over all the marks, n of them. `first`
    is the place of each board's first mark, and n; `owner` the board of each mark; `timed`
    tells which are tied to the sky by their watch times. `sd_mm` is the stated scatter each
    way, `soft_mm` that along the shadow, by its soft edge, beside it, and `time_sd_s` what
    each mark's own time may be off.
    """

    long: Board
    first: Index
    owner: Index
    timed: NDArray[np.bool_]
    sd_mm: Array
    soft_mm: Array
    time_sd_s: Array

    @property
    def boards(self) -> int:
        return len(self.first) - 1

    def of(self, boards: slice) -> Marks:
        """The marks of some boards that stand next to each other."""
        first = self.first[boards.start : boards.stop + 1]
        marks = slice(int(first[0]), int(first[-1]))
        names = (
            "latitude_deg", "longitude_deg", "elevation_m", "pressure_hpa", "temperature_c",
            "x_mm", "y_mm", "watch_utc_s",
        )  # fmt: skip
        long = Board(
            **{name: getattr(self.long, name)[marks] for name in names},
            noon_utc_s=0.0,
            height_mm=1.0,
            half=np.zeros(0, np.int8),
            ring=np.zeros(0, str),
        )
        return Marks(
            long,
            first - first[0],
            self.owner[marks] - boards.start,
            self.timed[marks],
            self.sd_mm[marks],
            self.soft_mm[marks],
            self.time_sd_s[marks],
        )


def gather(boards: Sequence[Board], fits: Sequence[Fit]) -> tuple[Marks, Array]:
    """The kept marks of boards, and the instants their own adjustments found for them.

    Args:
        boards: with at least one kept mark each.
        fits: of each board.
    """
    kept = [fit.kept for fit in fits]
    counts = np.array([int(mask.sum()) for mask in kept], dtype=np.intp)
    owner = np.repeat(np.arange(len(boards)), counts)

    def each(name: str) -> Array:
        return np.array([getattr(board, name) for board in boards], dtype=float)[owner]

    def marks(name: str) -> Array:
        return np.concatenate(
            [getattr(board, name)[mask] for board, mask in zip(boards, kept, strict=True)]
        )

    watch_utc_s = marks("watch_utc_s")
    by_watch = np.array([board.watch != "none" for board in boards])[owner]
    long = Board(
        latitude_deg=each("latitude_deg"),  # type: ignore[arg-type]
        longitude_deg=each("longitude_deg"),  # type: ignore[arg-type]
        noon_utc_s=0.0,
        height_mm=1.0,
        x_mm=marks("x_mm"),
        y_mm=marks("y_mm"),
        watch_utc_s=watch_utc_s,
        half=np.zeros(0, np.int8),
        ring=np.zeros(0, str),
        elevation_m=each("elevation_m"),  # type: ignore[arg-type]
        pressure_hpa=each("pressure_hpa"),  # type: ignore[arg-type]
        temperature_c=each("temperature_c"),  # type: ignore[arg-type]
    )
    soft_mm = np.concatenate(
        [
            edge_scatter_mm(board.length_mm[mask], board.height_mm, board.tolerances.edge_scatter)
            for board, mask in zip(boards, kept, strict=True)
        ]
    )
    stated = [board.tolerances for board in boards]
    first = np.concatenate([[0], np.cumsum(counts)])
    utc_s = np.concatenate([fit.utc_s[mask] for fit, mask in zip(fits, kept, strict=True)])
    found = Marks(
        long,
        first,
        owner,
        np.isfinite(watch_utc_s) & by_watch,
        np.array([each.mark_sd_mm for each in stated])[owner],
        soft_mm,
        np.array([each.time_sd_s for each in stated])[owner],
    )
    return found, utc_s


@dataclass(frozen=True)
class Normals:
    """The marks' part of each board's normal equations, without any statement.

    `matrix` (B, 10, 10), `right` (B, 10) in the units of `SCALE`; `misfit` (B,) the sum of
    squared standardised residuals; `count` (B,) how many residuals there are.
    """

    matrix: Array
    right: Array
    misfit: Array
    count: Array


def normals(marks: Marks, state: Array, utc_s: Array, sd_factor: Array) -> Normals:
    """The normal equations of every board about a state of it.

    Args:
        marks: of B boards.
        state: (B, 10), in the unknowns' own units.
        utc_s: (n,) instants of the marks without a watch time.
        sd_factor: (B,) how many times the stated tolerance each board's marks scatter.
    """
    parts = [
        _normals(marks.of(block), state[block], utc_s[span], sd_factor[block])
        for block, span in _blocks(marks)
    ]
    return Normals(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def moved_instants(marks: Marks, state: Array, utc_s: Array) -> Array:
    """The instants of the marks without a watch time, moved along the track to fit them best."""
    if marks.timed.all():
        return utc_s
    moved = utc_s.copy()
    for block, span in _blocks(marks):
        part = marks.of(block)
        whole, _, along = _tips(part, state[block], utc_s[span])
        speed_2 = np.maximum(np.einsum("ni,ni->n", along, along), 1e-12)
        shift = np.clip(np.einsum("ni,ni->n", along, whole) / speed_2, -1200.0, 1200.0)
        moved[span] += np.where(part.timed, 0.0, shift)
    return moved


def _blocks(marks: Marks) -> Iterator[tuple[slice, slice]]:
    for start in range(0, marks.boards, _BLOCK):
        stop = min(start + _BLOCK, marks.boards)
        yield slice(start, stop), slice(int(marks.first[start]), int(marks.first[stop]))


def _tips(marks: Marks, state: Array, utc_s: Array) -> tuple[Array, Array, Array]:
    """Observed less computed (n, 2), partials in units of `SCALE` (n, 2, 10), velocity (n, 2)."""
    own = state[marks.owner]
    instants = np.where(marks.timed, marks.long.watch_utc_s - own[:, WATCH], utc_s)
    east_deg = marks.long.longitude_deg + np.degrees(own[:, LONGITUDE])
    there = replace(marks.long, longitude_deg=east_deg)  # type: ignore[arg-type]
    tips, partials = there.tips_and_partials(instants, BoardState(*own[:, :LONGITUDE].T))
    whole = np.stack([marks.long.x_mm, marks.long.y_mm], axis=-1) - tips
    # The sun's declination hardly changes while the earth turns by a place's uncertainty.
    eastward = -partials[..., WATCH] / _SUN_RATE_RAD_PER_S
    every = np.concatenate([partials, eastward[..., None]], axis=-1) * SCALE
    return whole, every, -partials[..., WATCH]


def _whitening(marks: Marks, along: Array) -> Array:
    """What turns each mark's millimetres into standard uncertainties, (n, 2, 2).

    A mark without a time tells only what lies across the track: one number.
    """
    x, y = marks.long.x_mm, marks.long.y_mm
    soft = (marks.soft_mm / np.maximum(np.hypot(x, y), 1e-9))[:, None] * np.stack([x, y], axis=-1)
    late = np.where(marks.timed, marks.time_sd_s, 0.0)[:, None] * np.nan_to_num(along)
    own = marks.sd_mm**2
    xx = own + soft[:, 0] ** 2 + late[:, 0] ** 2
    xy = soft[:, 0] * soft[:, 1] + late[:, 0] * late[:, 1]
    yy = own + soft[:, 1] ** 2 + late[:, 1] ** 2
    # The inverse of the lower Cholesky factor of each mark's 2 × 2 covariance.
    whiten = np.zeros((len(x), 2, 2))
    whiten[:, 0, 0] = 1.0 / np.sqrt(xx)
    whiten[:, 1, 1] = 1.0 / np.sqrt(yy - xy**2 / xx)
    whiten[:, 1, 0] = -whiten[:, 1, 1] * xy / xx
    if marks.timed.all():
        return whiten
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    across /= np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    seen = np.sqrt(own + np.sum(across * soft, axis=1) ** 2)
    single = np.stack([across / seen[:, None], np.zeros_like(across)], axis=1)
    return np.where(marks.timed[:, None, None], whiten, single)


def _normals(
    marks: Marks, state: Array, utc_s: Array, sd_factor: Array
) -> tuple[Array, Array, Array, Array]:
    whole, partials, along = _tips(marks, state, utc_s)
    whiten = _whitening(marks, along) / sd_factor[marks.owner][:, None, None]
    residual = np.squeeze(whiten @ whole[..., None], -1)
    design = whiten @ partials
    # A mark whose light is gone at this state has no say.
    lit = np.asarray(np.isfinite(residual).all(axis=1) & np.isfinite(design).all(axis=(1, 2)))
    residual, design = np.where(lit[:, None], residual, 0), np.where(lit[:, None, None], design, 0)
    start = marks.first[:-1]
    squares = np.einsum("nik,nil->nkl", design, design)
    return (
        np.add.reduceat(squares, start, axis=0),
        np.add.reduceat(np.einsum("nik,ni->nk", design, residual), start, axis=0),
        np.add.reduceat(np.sum(residual**2, axis=1), start),
        np.add.reduceat(np.where(lit, np.where(marks.timed, 2.0, 1.0), 0.0), start),
    )
