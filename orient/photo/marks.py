"""Pencil and pen marks on a flat page: crosses, dots and ticks, told from what is written.

Every piece of ink is looked at by its shape: two straight strokes through one another are a
cross, a small round spot a dot, one straight stroke a tick. What hangs together with other
pieces as letters do, or is none of these, is writing. Where a cross or a dot is near, a lone
stroke is its number.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.photo.flat import Flat

Array = NDArray[np.float64]

_CROSS_MM, _TICK_MM, _DOT_MM = (2.0, 16.0), (1.8, 9.0), 2.6
#: Pieces nearer than this to one another are letters of one word.
_WORD_GAP_MM, _COLON_GAP_MM = 1.5, 2.6
#: So far from a mark its number stands; a cross less sure than this may be figures run together.
_LABEL_MM, _SURE = 12.0, 0.8
#: How well the middle of a mark is found at best, by its kind, mm.
_PICK_MM = {"cross": 0.028, "dot": 0.028, "tick": 0.06}


@dataclass(frozen=True)
class Piece:
    """A connected piece of ink: its kind, place and extent in flat millimetres, right and down."""

    kind: str
    at_mm: Array
    u_mm: float
    confidence: float
    low_mm: Array
    high_mm: Array

    @property
    def upright(self) -> bool:
        """Whether it stands as a figure 1 does; a slanted stroke is none."""
        width, height = self.high_mm - self.low_mm
        return bool(width < 0.7 * height)

    @property
    def size_mm(self) -> float:
        return float(np.max(self.high_mm - self.low_mm))


def pieces_of(flat: Flat) -> list[Piece]:
    """All pieces of ink of a page."""
    return [_piece(flat, *points) for points in _connected(flat)]


def find_marks(flat: Flat) -> list[Piece]:
    """The marks of a page, in no order."""
    pieces = pieces_of(flat)
    known = [piece for piece in pieces if piece.kind != "nothing"]
    return _marks_among(known)


# Pieces ----------------------------------------------------------------------------------


def _connected(flat: Flat) -> list[tuple[Array, Array]]:
    """Pieces of ink: places in flat mm, shape (n, 2), and their darkness."""
    import cv2

    low, high = _thresholds(flat)
    faint = (flat.ink > low).astype(np.uint8)
    # Graphite skips over the paper's grain: small gaps are closed.
    size = 2 * round(0.22 * flat.px_mm) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    closed = cv2.morphologyEx(faint, cv2.MORPH_CLOSE, kernel)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    least = 0.10 * flat.px_mm**2
    most = 20.0 * flat.px_mm
    found = []
    for number in range(1, count):
        left, top, width, height, area = stats[number]
        if area < least or max(width, height) > 4 * most:
            continue
        part = labels[top : top + height, left : left + width] == number
        dark = flat.ink[top : top + height, left : left + width]
        box = slice(top, top + height), slice(left, left + width)
        if not (dark[part] > high[box][part]).any():
            continue
        row, column = np.nonzero(part & (dark > low[box]))
        if len(row) < 4:
            continue
        places = np.stack([column + left, row + top], axis=-1) / flat.px_mm
        found.append((places, dark[row, column].astype(float)))
    return found


def _thresholds(flat: Flat) -> tuple[Any, Any]:
    """The least darkness of ink, and that of the darkest part of a mark, by place.

    In shade a picture is rougher: there only what is darker counts.
    """
    import cv2

    rough = cv2.GaussianBlur(np.clip(np.abs(flat.ink), 0, 0.1), (0, 0), 4.0 * flat.px_mm) * 1.25
    return np.maximum(0.045, 3.5 * rough), np.maximum(0.11, 7.0 * rough)


def _piece(flat: Flat, places: Array, dark: Array) -> Piece:
    half = 0.5 / flat.px_mm
    low, high = places.min(axis=0) - half, places.max(axis=0) + half
    pixel = 0.16 / flat.px_mm

    def made(kind: str, at: Array, confidence: float) -> Piece:
        u = float(np.hypot(_PICK_MM.get(kind, 1.0), pixel))
        return Piece(kind, at, u, confidence, low, high)

    middle = np.average(places, axis=0, weights=dark)
    if dark.sum() / flat.px_mm**2 < 0.03:
        return made("nothing", middle, 0.0)
    if (roundness := _roundness(places, dark, high - low, flat.px_mm)) > 0.0:
        return made("dot", middle, roundness)
    band = max(0.38, 0.25 + 1.4 / flat.px_mm)
    crossing = _cross(flat, places, dark, band)
    if crossing is not None:
        return made("cross", *crossing)
    stroke = _straight(places, dark, band)
    if stroke is not None:
        return made("tick", *stroke)
    return made("writing", middle, 0.0)


def _roundness(places: Array, dark: Array, size: Array, px_mm: float) -> float:
    """How much like a dot, 0 for not at all."""
    if size.max() > _DOT_MM:
        return 0.0
    spread = np.sqrt(np.linalg.eigvalsh(np.cov(places.T, aweights=dark) + np.eye(2) * 1e-4))
    filled = len(places) / px_mm**2 / (np.pi / 4 * size[0] * size[1])
    if spread[0] < 0.5 * spread[1] or filled < 0.72:
        return 0.0
    # A small o is dark around and light within.
    middle = np.average(places, axis=0, weights=dark)
    inner = np.hypot(*(places - middle).T) < 0.25 * size.max()
    if inner.any() and dark[inner].mean() < 0.85 * dark.mean():
        return 0.0
    return float(min(0.95, 0.6 + 0.35 * spread[0] / spread[1]))


def _stroke_near(places: Array, weight: Array, angle: float, band: float) -> tuple[float, float]:
    """The offset of the darkest band at an angle, and the share of the ink in it."""
    across = places @ np.array([-np.sin(angle), np.cos(angle)])
    edges = np.arange(across.min() - 0.2, across.max() + 0.3, 0.1)
    if len(edges) < 2:
        return float(across.mean()), 1.0
    told = np.histogram(across, edges, weights=weight)[0]
    width = max(1, round(2 * band / 0.1))
    sums = np.convolve(told, np.ones(width), "full")
    best = int(np.argmax(sums))
    middle = edges[0] + (best - (width - 1) / 2 + 0.5) * 0.1
    return float(middle), float(sums[best] / weight.sum())


@dataclass(frozen=True)
class _Line:
    point: Array
    way: Array

    def across(self, places: Array) -> Array:
        return np.asarray((places - self.point) @ np.array([-self.way[1], self.way[0]]))

    def along(self, places: Array) -> Array:
        return np.asarray((places - self.point) @ self.way)


def _best_line(places: Array, weight: Array, band: float, away_from: float | None = None) -> _Line:
    """The straight stroke with the most ink, its line fitted to what lies on it."""
    angles = np.radians(np.arange(0.0, 180.0, 5.0))
    if away_from is not None:
        apart = np.abs((angles - away_from + np.pi / 2) % np.pi - np.pi / 2)
        angles = angles[apart > np.radians(35.0)]
    shares = [_stroke_near(places, weight, angle, band) for angle in angles]
    best = int(np.argmax([share for _, share in shares]))
    angle, offset = angles[best], shares[best][0]
    way = np.array([np.cos(angle), np.sin(angle)])
    line = _Line(offset * np.array([-way[1], way[0]]), way)
    for _ in range(3):
        near = np.abs(line.across(places)) < band
        if near.sum() < 4:
            break
        line = _fitted(places[near], weight[near])
    return line


def _fitted(places: Array, weight: Array) -> _Line:
    middle = np.average(places, axis=0, weights=weight)
    spread = np.cov(places.T, aweights=weight)
    return _Line(middle, np.linalg.eigh(spread)[1][:, 1])


def _cross(flat: Flat, places: Array, dark: Array, band: float) -> tuple[Array, float] | None:
    """The middle of a cross and how sure it is one; None where it is not."""
    first = _best_line(places, dark, band)
    off = np.abs(first.across(places)) > band
    if dark[off].sum() < 0.12 * dark.sum():
        return None
    angle = float(np.arctan2(first.way[1], first.way[0]))
    second = _best_line(places[off], dark[off], band, angle)
    # The other way round, without what the second stroke covers: both lines are then clean.
    for _ in range(2):
        one = (np.abs(first.across(places)) < band) & (np.abs(second.across(places)) > band + 0.1)
        two = (np.abs(second.across(places)) < band) & (np.abs(first.across(places)) > band + 0.1)
        if min(one.sum(), two.sum()) < 6:
            return None
        first, second = _fitted(places[one], dark[one]), _fitted(places[two], dark[two])
    turned = abs(float(first.way[0] * second.way[1] - first.way[1] * second.way[0]))
    if turned < np.sin(np.radians(35.0)):
        return None
    share = np.linalg.solve(np.column_stack([first.way, -second.way]), second.point - first.point)
    at = first.point + share[0] * first.way
    on = [np.abs(line.across(places)) < band for line in (first, second)]
    explained = float(dark[on[0] | on[1]].sum() / dark.sum())
    arms = [
        _arms(replace(line, point=at), places[near])
        for line, near in zip((first, second), on, strict=True)
    ]
    judged = _judged_cross(at, explained, np.array(arms))
    ways = [first.way, second.way]
    return judged if judged is None or _looks_crossed(flat, at, ways, np.array(arms)) else None


def _arms(line: _Line, places: Array) -> tuple[float, float]:
    along = line.along(places)
    return max(-float(np.percentile(along, 1)), 0.0), max(float(np.percentile(along, 99)), 0.0)


def _judged_cross(at: Array, explained: float, arms: Array) -> tuple[Array, float] | None:
    lengths = arms.sum(axis=1)
    if not _CROSS_MM[0] <= lengths.min() <= lengths.max() <= _CROSS_MM[1]:
        return None
    even = float((arms.min(axis=1) / np.maximum(arms.max(axis=1), 1e-9)).min())
    alike = float(lengths.min() / lengths.max())
    if explained < 0.84 or even < 0.25 or alike < 0.4 or arms.min() < 0.6:
        return None
    # Ink that lies on neither stroke makes it doubtful sooner than uneven arms do.
    return at, float(np.clip(0.4 + 0.6 * explained**3 * min(1.0, even + 0.3), 0.0, 0.99))


def _looks_crossed(flat: Flat, at: Array, ways: list[Array], arms: Array) -> bool:
    """Whether all four arms and the middle are dark, and the paper between the arms is light."""
    ends = [(-way * arm[0], way * arm[1]) for way, arm in zip(ways, arms, strict=True)]
    around = [ends[0][0], ends[1][0], ends[0][1], ends[1][1]]
    along = np.linspace(0.2, 0.8, 9)[:, None]
    on_arms = np.array([_ink_at(flat, at + along * end) for end in around])
    mean = float(on_arms.mean())
    if mean <= 0 or (on_arms.mean(axis=1) < 0.35 * mean).any():
        return False
    if float(np.median(on_arms)) < 0.5 * mean or (np.median(on_arms, axis=1) < 0.3 * mean).any():
        return False
    if float(_ink_at(flat, at[None])[0]) < 0.6 * mean:
        return False
    return all(
        _between(flat, at, around[number], around[(number + 1) % 4]) < 0.4 * mean
        for number in range(4)
    )


def _between(flat: Flat, at: Array, one: Array, other: Array) -> float:
    """How dark the paper is between two arms."""
    reach = min(float(np.hypot(*one)), float(np.hypot(*other)))
    way = one / np.hypot(*one) + other / np.hypot(*other)
    way = way / max(float(np.hypot(*way)), 1e-9)
    places = at + np.linspace(0.55, 0.95, 5)[:, None] * reach * way
    return float(_ink_at(flat, places).mean())


def _ink_at(flat: Flat, places: Array) -> Array:
    """Ink at places, flat mm, between pixels."""
    from scipy.ndimage import map_coordinates

    at = places.T[::-1] * flat.px_mm
    return np.asarray(map_coordinates(flat.ink, at, order=1, mode="constant", cval=0.0))


def _straight(places: Array, dark: Array, band: float) -> tuple[Array, float] | None:
    """The middle of a straight stroke; None where it is not one."""
    line = _best_line(places, dark, band)
    explained = float(dark[np.abs(line.across(places)) < band].sum() / dark.sum())
    along = line.along(places)
    first, last = np.percentile(along, [0.5, 99.5])
    if not _TICK_MM[0] <= last - first <= _TICK_MM[1] or explained < 0.92:
        return None
    return line.point + (first + last) / 2 * line.way, 0.6


# Marks and writing -----------------------------------------------------------------------


def _marks_among(pieces: list[Piece]) -> list[Piece]:
    crosses = [piece for piece in pieces if piece.kind == "cross"]
    writing = [piece for piece in pieces if piece.kind == "writing"]
    rest = [piece for piece in pieces if piece.kind in ("dot", "tick")]
    words = _spread(writing, rest)
    rest = [piece for piece in rest if not any(piece is word for word in words)]
    crosses = [cross for cross in crosses if not _in_a_label(cross, crosses, words)]
    dots = [piece for piece in rest if piece.kind == "dot"]
    dots = [dot for dot in dots if not (_colon(dot, dots) or _is_figure(dot, crosses))]
    sure = [*crosses, *dots]
    ticks = [piece for piece in rest if piece.kind == "tick" and not _is_number(piece, sure)]
    return [*sure, *_lone(ticks)]


def _spread(writing: list[Piece], rest: list[Piece]) -> list[Piece]:
    """Strokes and spots that are parts of words: next to a letter, or to one another."""
    words = list(writing)
    waiting = list(rest)
    grown = True
    while grown:
        near = [
            piece
            for piece in waiting
            if (
                (piece.kind == "dot" or piece.upright)
                and any(_gap(piece, word) < _reach(piece) for word in words)
            )
            or (piece.kind == "dot" and _within_a_word(piece, words))
            or (
                piece.kind == "tick"
                and any(
                    other is not piece and other.kind == "tick" and _gap(piece, other) < 1.3
                    for other in rest
                )
            )
        ]
        grown = bool(near)
        words += near
        waiting = [piece for piece in waiting if not any(piece is word for word in near)]
    return words


def _in_a_label(cross: Piece, crosses: list[Piece], words: list[Piece]) -> bool:
    """Figures that run into one another as a cross does, beside the surer cross they belong to."""
    doubtful = cross.confidence < _SURE
    return (doubtful or any(_gap(cross, word) < _WORD_GAP_MM for word in words)) and any(
        other.confidence > cross.confidence and np.hypot(*(other.at_mm - cross.at_mm)) < _LABEL_MM
        for other in crosses
    )


def _within_a_word(dot: Piece, words: list[Piece]) -> bool:
    """Whether letters stand close on two sides of a small spot, as by half a colon."""
    near = [word for word in words if _gap(dot, word) < _COLON_GAP_MM]
    ways = [(word.low_mm + word.high_mm) / 2 - dot.at_mm for word in near]
    ways = [way / max(float(np.hypot(*way)), 1e-9) for way in ways]
    return dot.size_mm < 1.6 and any(float(one @ two) < -0.6 for one in ways for two in ways)


def _reach(piece: Piece) -> float:
    return 1.1 if piece.kind == "dot" else _WORD_GAP_MM


def _gap(one: Piece, other: Piece) -> float:
    apart = np.maximum(one.low_mm - other.high_mm, other.low_mm - one.high_mm)
    return float(np.hypot(*np.maximum(apart, 0.0)))


def _colon(dot: Piece, dots: list[Piece]) -> bool:
    """Two small spots close together are a colon, not two marks."""
    return any(
        other is not dot and np.hypot(*(other.at_mm - dot.at_mm)) < 3.2 and dot.size_mm < 1.6
        for other in dots
    )


def _is_figure(dot: Piece, crosses: list[Piece]) -> bool:
    """Whether a spot is a closed figure, taller than wide, beside the cross that it numbers."""
    width, height = dot.high_mm - dot.low_mm
    return bool(height > 1.8 and width < 0.85 * height) and any(
        np.hypot(*(cross.at_mm - dot.at_mm)) < _LABEL_MM for cross in crosses
    )


def _is_number(tick: Piece, sure: list[Piece]) -> bool:
    return any(np.hypot(*(mark.at_mm - tick.at_mm)) < _LABEL_MM for mark in sure)


def _lone(ticks: list[Piece]) -> list[Piece]:
    """Of strokes within a number's distance of one another, the longer one is the mark."""
    kept: list[Piece] = []
    for tick in sorted(ticks, key=lambda each: -each.size_mm):
        if all(np.hypot(*(other.at_mm - tick.at_mm)) > 6.0 for other in kept):
            kept.append(tick)
    return kept
