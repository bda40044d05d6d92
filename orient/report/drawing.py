"""Small vector drawings as SVG text: shapes, plotting frames, labels that keep apart.

Lengths are units of the drawing, about a CSS pixel each. Colours and line styles are named
by the classes of `style.css`, so that one drawing serves light, dark and paper. Every text
is escaped here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import ceil, cos, floor, hypot, log10, radians, sin

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

from orient.text import left_to_right

#: Width of a usual drawing: read on a telephone's 360 px and at twice that on a desk alike.
WIDTH = 400.0
#: Width of an average glyph, in parts of the type size (*common practice, no source*).
_GLYPH = 0.58

#: Lines of more points than this are thinned: none moves farther than this, in units.
_FEW, _SEEN = 12, 0.08
#: Styles whose texts stand about their place: the style sheet says so, and not every text.
_ABOUT = frozenset(("letter", "number", "number small", "serial", "hour-name", "reference-letter"))
#: Fewer single letters than these are written among the other texts.
_FEWEST_LETTERS = 3

Point = tuple[float, float]


class Drawing:
    """A drawing under way; every method adds one thing on top of the earlier ones.

    Texts lie on top of all shapes. Lines of one style that follow one another are written as one
    path, and figures of one style as one text: a report has hundreds of thousands of them.
    """

    def __init__(self, label: str, width: float = WIDTH, height: float = 300.0) -> None:
        self.label, self.width, self.height = label, width, height
        #: Safe markup: every text in it is escaped.
        self._parts: list[str] = []
        #: The style of the lines under way, and their path so far.
        self._lines = ("", "")
        self._texts: dict[tuple[str, str], list[tuple[Point, str]]] = {}

    def markup(self) -> Markup:
        """The whole drawing; screen readers are told its label."""
        return Markup(
            '<svg class="drawing" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>'
        ).format(_short(self.width), _short(self.height), self.label, Markup(self._all()))

    @contextmanager
    def same(self) -> Iterator[None]:
        """What is drawn meanwhile other drawings have too: a page may write it once for all."""
        self._end_lines()
        before = self._parts, self._texts
        self._parts, self._texts = [], {}
        yield
        inside = self._all()
        self._parts, self._texts = before
        self._parts.append(f'<g class="drawing same">{inside}</g>')

    def _all(self) -> str:
        self._end_lines()
        texts = [_texts(*kind, words) for kind, words in self._texts.items()]
        return "".join([*self._parts, *texts])

    def line(self, start: Point, end: Point, style: str) -> None:
        self._stroke(_path([start, end]), style)

    def path(self, points: Sequence[Point], style: str, closed: bool = False) -> None:
        if len(points) > 1 and closed:
            self._add(f'<path class="{escape(style)}" d="{_path(points)}Z"/>')
        elif len(points) > 1:
            self._stroke(_path(_fewer(points)), style)

    def curve(self, points: Sequence[Point], style: str) -> None:
        """A smooth line through points that lie close."""
        self._stroke(_smooth(points), style)

    def dot(self, at: Point, radius: float, style: str, title: str = "") -> None:
        x, y, r = _short(at[0]), _short(at[1]), _short(radius)
        head = f'<circle class="{escape(style)}" cx="{x}" cy="{y}" r="{r}"'
        self._add(f"{head}><title>{escape(title)}</title></circle>" if title else f"{head}/>")

    def cross(self, at: Point, half: float, style: str, upright: bool = False) -> None:
        arms = ((half, 0.0), (0.0, half)) if upright else ((half, half), (half, -half))
        lines = "".join(_path([(at[0] - x, at[1] - y), (at[0] + x, at[1] + y)]) for x, y in arms)
        self._stroke(lines, style)

    def box(self, left: float, top: float, width: float, height: float, style: str) -> None:
        right, bottom = left + width, top + height
        corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
        self._stroke(_path(corners) + "z", style)

    def spot(self, at: Point, style: str) -> None:
        """A dot as wide as the lines of its style, whose ends are round."""
        self._stroke(_path([at, at]), style)

    def text(self, at: Point, text: str, style: str = "", anchor: str = "start") -> None:
        """A text on one line; `anchor` is start, middle or end."""
        if text:
            self._texts.setdefault((style, anchor), []).append((at, text))

    def arrow(self, start: Point, end: Point, style: str, head: float = 8.0) -> None:
        """A line with an open head at its end."""
        self.line(start, end, style)
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length < 1e-6:
            return
        back = ((start[0] - end[0]) / length * head, (start[1] - end[1]) / length * head)
        wings = [
            (
                end[0] + back[0] * cos(turn) - back[1] * sin(turn),
                end[1] + back[0] * sin(turn) + back[1] * cos(turn),
            )
            for turn in (radians(24), radians(-24))
        ]
        self.path([wings[0], end, wings[1]], style)

    def _stroke(self, path: str, style: str) -> None:
        if style != self._lines[0]:
            self._end_lines()
        self._lines = (style, self._lines[1] + path)

    def _end_lines(self) -> None:
        style, path = self._lines
        self._lines = ("", "")
        if path:
            self._add(f'<path class="{escape(style)}" d="{path}"/>')

    def _add(self, markup: str) -> None:
        self._end_lines()
        self._parts.append(markup)


@dataclass(frozen=True)
class Frame:
    """A rectangle of the drawing that stands for ranges of two quantities, y upward."""

    left: float
    top: float
    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]

    def x(self, value: float) -> float:
        low, high = self.x_range
        return self.left + (value - low) / (high - low) * self.width

    def y(self, value: float) -> float:
        low, high = self.y_range
        return self.top + (high - value) / (high - low) * self.height

    def at(self, x: float, y: float) -> Point:
        return self.x(x), self.y(y)

    def holds(self, x: float, y: float) -> bool:
        return self.x_range[0] <= x <= self.x_range[1] and self.y_range[0] <= y <= self.y_range[1]

    @property
    def bottom(self) -> float:
        return self.top + self.height

    @property
    def right(self) -> float:
        return self.left + self.width

    def runs(self, points: NDArray[np.float64] | Iterable[Point]) -> list[list[Point]]:
        """The parts of a polyline inside the frame, cut at its edges, as drawing points."""
        given = points if isinstance(points, np.ndarray) else np.array(list(points), dtype=float)
        x, y = given.reshape(-1, 2).T
        beyond = self._beyond(x, y)
        drawn = list(zip(self.x(x).tolist(), self.y(y).tolist(), strict=True))  # type: ignore[arg-type,attr-defined]
        runs: list[list[Point]] = []
        # A step wholly on one outer side, or to or from no number, crosses nothing.
        either, both = beyond[:-1] | beyond[1:], beyond[:-1] & beyond[1:]
        for place in np.flatnonzero((both == 0) & (either < 16)).tolist():
            start, end = drawn[place], drawn[place + 1]
            if either[place]:
                first, last = zip(
                    x[place : place + 2].tolist(), y[place : place + 2].tolist(), strict=True
                )
                cut = self._cut(first, last)
                if cut is None:
                    continue
                start, end = (self.at(*each) for each in cut)
            if runs and runs[-1][-1] == start:
                runs[-1].append(end)
            else:
                runs.append([start, end])
        return runs

    def _beyond(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int64]:
        """On which outer sides of the ranges points lie, a bit each; 16 for no number."""
        sides = (x < self.x_range[0], x > self.x_range[1], y < self.y_range[0], y > self.y_range[1])
        beyond = sum(side.astype(np.int64) << bit for bit, side in enumerate(sides))
        return np.where(np.isnan(x + y), 16, beyond)

    def _cut(self, start: Point, end: Point) -> tuple[Point, Point] | None:
        """The part of a straight line inside the ranges."""
        first, last = 0.0, 1.0
        for place, (low, high) in enumerate((self.x_range, self.y_range)):
            step = end[place] - start[place]
            if step == 0.0:
                if not low <= start[place] <= high:
                    return None
                continue
            near, far = sorted(((low - start[place]) / step, (high - start[place]) / step))
            first, last = max(first, near), min(last, far)
        if first >= last:
            return None

        def along(part: float) -> Point:
            if part in (0.0, 1.0):
                return end if part else start
            return (
                start[0] + part * (end[0] - start[0]),
                start[1] + part * (end[1] - start[1]),
            )

        return along(first), along(last)


@dataclass
class Labels:
    """Keeps texts apart: a label goes where no earlier one is, or nowhere."""

    bounds: tuple[float, float, float, float]
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def keep(self, at: Point, radius: float) -> None:
        """Keep labels off a drawn thing."""
        self.taken.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))

    def put(
        self, drawing: Drawing, places: Iterable[Point], text: str, style: str, size: float = 11.0
    ) -> bool:
        """Write a text about the middle of the first of these places that is free."""
        half_width, half_height = text_width(text, size) / 2, size * 0.55
        for x, y in places:
            box = (x - half_width, y - half_height, x + half_width, y + half_height)
            if self._free(box):
                self.taken.append(box)
                drawing.text((x, y + size * 0.35), text, style, "middle")
                return True
        return False

    def _free(self, box: tuple[float, float, float, float]) -> bool:
        left, top, right, bottom = self.bounds
        if box[0] < left or box[1] < top or box[2] > right or box[3] > bottom:
            return False
        return not any(
            box[0] < other[2] and box[2] > other[0] and box[1] < other[3] and box[3] > other[1]
            for other in self.taken
        )


def text_width(text: str, size: float) -> float:
    """About how wide a text is set."""
    return len(text) * size * _GLYPH


def around(at: Point, distance: float) -> list[Point]:
    """Eight places about a point, those to the right and above first."""
    return [
        (at[0] + distance * sin(radians(angle)), at[1] - distance * cos(radians(angle)))
        for angle in (45, 0, 90, 315, 135, 270, 180, 225)
    ]


def ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round values from low to high, at most so many and one: steps of 1, 2 or 5."""
    step = nice((high - low) / most)
    return [round(number * step, 12) for number in range(ceil(low / step), floor(high / step) + 1)]


#: Ends of an axis: finer than its ticks, so that little room is lost, yet few.
ENDS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def nice(value: float, steps: Sequence[float] = (1.0, 2.0, 5.0, 10.0)) -> float:
    """The least of 1, 2, 5, 10 … that is no less than a value above 0."""
    power = 10.0 ** floor(log10(value))
    return next(step * power for step in steps if step * power >= value * (1 - 1e-9))


def nice_below(value: float) -> float:
    """The greatest of 1, 2, 5, 10 … that is no more than a value above 0."""
    power = 10.0 ** floor(log10(value))
    return next(step * power for step in (10, 5, 2, 1) if step * power <= value * (1 + 1e-9))


def plain(value: float) -> str:
    """A tick's figure."""
    return f"{value:g}".replace("-", "−")


def bottom_axis(
    drawing: Drawing, frame: Frame, marks: Iterable[tuple[float, str]], title: str
) -> None:
    """Ticks with their figures under a frame, and what they count."""
    for value, text in marks:
        x = frame.x(value)
        drawing.line((x, frame.top), (x, frame.bottom), "lattice")
        drawing.text((x, frame.bottom + 13), text, "tick", "middle")
    drawing.text((frame.right, frame.bottom + 27), title, "axis", "end")


def left_axis(
    drawing: Drawing, frame: Frame, marks: Iterable[tuple[float, str]], title: str
) -> None:
    """Ticks with their figures left of a frame, and what they count, above it."""
    for value, text in marks:
        y = frame.y(value)
        drawing.line((frame.left, y), (frame.right, y), "lattice")
        drawing.text((frame.left - 4, y + 3.5), text, "tick", "end")
    drawing.text((max(frame.left - 30, 0.0), frame.top - 8), title, "axis")


def edge(drawing: Drawing, frame: Frame) -> None:
    """The frame's own outline."""
    drawing.box(frame.left, frame.top, frame.width, frame.height, "frame")


def _fewer(points: Sequence[Point]) -> Sequence[Point]:
    """A line without the points that lie on it anyway, as far as an eye can tell."""
    if len(points) < _FEW:
        return points
    from shapely import LineString

    return list(LineString(points).simplify(_SEEN).coords)


def _smooth(points: Sequence[Point]) -> str:
    """A line through close points as cubic curves, halved until none leaves it that an eye sees."""
    at = np.array(points, dtype=float)
    step = np.hypot(*np.diff(at, axis=0).T)
    at = at[np.r_[True, step > 0.0]]
    if len(at) < _FEW:
        return _path(points)
    along = np.r_[0.0, np.cumsum(step[step > 0.0])]
    slope = np.gradient(at, along, axis=0, edge_order=2)
    knots, pending = [0], [len(at) - 1]
    while pending:
        first, last = knots[-1], pending[-1]
        if last - first == 1 or _strays(at, along, slope, first, last) <= _SEEN:
            knots.append(pending.pop())
        else:
            pending.append((first + last) // 2)
    third = np.diff(along[knots])[:, None] / 3.0
    ends, slopes = at[knots], slope[knots]
    controls = (ends[:-1] + third * slopes[:-1], ends[1:] - third * slopes[1:], ends[1:])
    return _curves(ends[0], np.stack(controls, axis=1))


def _strays(
    at: NDArray[np.float64],
    along: NDArray[np.float64],
    slope: NDArray[np.float64],
    first: int,
    last: int,
) -> float:
    """How far beside the points between two of them their cubic (Hermite) passes."""
    reach = along[last] - along[first]
    t = ((along[first:last] - along[first]) / reach)[:, None]
    chord, lean = at[last] - at[first], reach * slope[first]
    bend = 3.0 * chord - 2.0 * lean - reach * slope[last]
    rest = lean + reach * slope[last] - 2.0 * chord
    off = at[first] + t * (lean + t * (bend + t * rest)) - at[first:last]
    # Slopes along the line are of length 1, or nearly.
    beside = off[:, 0] * slope[first:last, 1] - off[:, 1] * slope[first:last, 0]
    return float(np.abs(beside).max())


def _curves(start: NDArray[np.float64], controls: NDArray[np.float64]) -> str:
    """Cubic curves as path data, controls of shape (n, 3, 2): to a tenth, each from its start."""
    tenths = np.round(10.0 * np.vstack([start, *controls])).astype(int)
    steps = tenths[1:].reshape(-1, 3, 2) - tenths[:-1:3, None]
    figures = [_pair(x, y) for x, y in steps.reshape(-1, 2).tolist()]
    joined = "".join(text if text[0] == "-" else f" {text}" for text in figures)
    return f"M{_pair(*tenths[0].tolist())}c{joined.lstrip()}"


def _path(points: Sequence[Point]) -> str:
    """A line as path data: to a tenth of a unit, each point from the one before."""
    tenths = [(round(10 * x), round(10 * y)) for x, y in points]
    (x, y), *others = tenths
    data, last = f"M{_pair(x, y)}", "M"
    for to_x, to_y in others:
        right, down = to_x - x, to_y - y
        x, y = to_x, to_y
        if not down:
            data, last = f"{data}h{_tenths(right)}", "h"
        elif not right:
            data, last = f"{data}v{_tenths(down)}", "v"
        else:
            joint = "l" if last != "l" else "" if right < 0 else " "
            data, last = f"{data}{joint}{_pair(right, down)}", "l"
    return data


def _pair(x: int, y: int) -> str:
    return f"{_tenths(x)}{'' if y < 0 else ' '}{_tenths(y)}"


def _tenths(value: int) -> str:
    whole, rest = divmod(abs(value), 10)
    text = f"{whole or ''}.{rest}" if rest else f"{whole}"
    return "-" + text if value < 0 else text


def _texts(style: str, anchor: str, words: Sequence[tuple[Point, str]]) -> str:
    """Texts of one style: letters, and lines of plain letters, as one, others each by itself."""
    usual = "middle" if style in _ABOUT else "start"
    head = f' class="{escape(style)}"' * bool(style)
    head += f' text-anchor="{anchor}"' * (anchor != usual)
    letters: list[tuple[Point, str]] = []
    lines: list[tuple[Point, str]] = []
    alone: list[tuple[Point, str]] = []
    for at, text in words:
        kind = alone if not left_to_right(text) else letters if len(text) == 1 else lines
        kind.append((at, text))
    if len(letters) < _FEWEST_LETTERS:
        letters, lines = [], letters + lines
    if len(lines) == 1:
        lines, alone = [], alone + lines
    parts = [
        f'<text{head} x="{_short(x)}" y="{_short(y)}">{escape(text)}</text>'
        for (x, y), text in alone
    ]
    parts += [_letters(head, letters)] * bool(letters) + [_spans(head, lines)] * bool(lines)
    return "".join(parts)


def _letters(head: str, words: Sequence[tuple[Point, str]]) -> str:
    """Single letters, each at its place; a letter without a height of its own keeps the last."""
    x, y = ([_short(at[axis]) for at, _ in words] for axis in (0, 1))
    heights = y[:1] if len(set(y)) == 1 else y
    text = escape("".join(text for _, text in words))
    return f'<text{head} x="{" ".join(x)}" y="{" ".join(heights)}">{text}</text>'


def _spans(head: str, words: Sequence[tuple[Point, str]]) -> str:
    heights = {_short(at[1]) for at, _ in words}
    level = f' y="{heights.pop()}"' if len(heights) == 1 else ""
    spans = [
        f'<tspan x="{_short(x)}"{"" if level else _height(y)}>{escape(text)}</tspan>'
        for (x, y), text in words
    ]
    return f"<text{head}{level}>{''.join(spans)}</text>"


def _height(y: float) -> str:
    return f' y="{_short(y)}"'


def _short(value: float) -> str:
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text
