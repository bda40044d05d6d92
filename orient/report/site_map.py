"""A map of the sites and their reference lines: a local plan, or a chart of the world."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180
from orient.numbers.coastline import SOURCE, shores
from orient.report.drawing import (
    Drawing,
    Frame,
    Labels,
    Point,
    around,
    bottom_axis,
    edge,
    left_axis,
    nice_below,
    plain,
)
from orient.text import figure

Array = NDArray[np.float64]

#: Sites no farther apart than this are drawn as a plan, distances and directions true from
#: its middle; others as a chart in degrees.
PLAN_REACH_M = 500e3
_WIDTH, _HEIGHT = 400.0, 300.0
_M_PER_DEG = 111.2e3
#: With more sites than this everything is drawn smaller, to be shown larger.
CROWDED = 20


class MapSite(NamedTuple):
    """A site to be drawn under its number."""

    number: int
    name: str
    latitude_deg: float
    longitude_deg: float
    #: Semi-axes in km, and the azimuth of the major one, of what holds it with 95 %.
    ellipse: tuple[float, float, float] | None = None


class MapLine(NamedTuple):
    """A reference line from a site; its far end in degrees, None where it is not known."""

    number: int
    azimuth_deg: float
    end: tuple[float, float] | None = None


@dataclass(frozen=True)
class SiteMap:
    """The map, the sentence that belongs under it, and whether it needs a page's width."""

    svg: Markup
    note: str
    crowded: bool


class _Sizes(NamedTuple):
    """How large the things on a map are drawn, and the room that no arrow leaves about them."""

    room: float
    ray: float
    dot: float
    number: float
    style: str


_USUAL, _SMALL = (
    _Sizes(44.0, 34.0, 3.4, 11.0, "number"),
    _Sizes(24.0, 15.0, 1.8, 6.5, "number small"),
)


def _sizes(sites: Sequence[MapSite]) -> _Sizes:
    return _SMALL if len(sites) > CROWDED else _USUAL


def site_map(sites: Sequence[MapSite], lines: Sequence[MapLine]) -> SiteMap | None:
    """Draw sites and reference lines, north up; None without a site."""
    if not sites:
        return None
    places = np.array([[site.latitude_deg, site.longitude_deg] for site in sites])
    middle = _middle(places)
    plan = _plan(places, middle)
    if np.hypot(*plan.T).max() <= PLAN_REACH_M:
        return _local(sites, lines, plan, middle)
    return _world(sites, lines, places, middle)


def _middle(places: Array) -> tuple[float, float]:
    """The point the sites lie about: the mean of their directions from the earth's centre."""
    latitude, longitude = np.radians(places).T
    east, north, up = (
        float(np.mean(part))
        for part in (
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        )
    )
    return (
        float(np.degrees(np.arctan2(up, np.hypot(east, north)))),
        float(np.degrees(np.arctan2(north, east))),
    )


def _plan(places: Array, middle: tuple[float, float]) -> Array:
    """Metres east and north of the middle, by distance and azimuth of the geodesic."""
    from pyproj import Geod

    count = len(places)
    azimuth, _, distance = Geod(ellps="WGS84").inv(
        np.full(count, middle[1]), np.full(count, middle[0]), places[:, 1], places[:, 0]
    )
    return np.stack(
        [distance * np.sin(np.radians(azimuth)), distance * np.cos(np.radians(azimuth))], axis=-1
    )


def _local(
    sites: Sequence[MapSite],
    lines: Sequence[MapLine],
    plan: Array,
    middle: tuple[float, float],
) -> SiteMap:
    near = [line for line in lines if line.end is not None]
    ends = _plan(np.array([line.end for line in near]).reshape(-1, 2), middle)
    # A far reference must not shrink the sites to one dot.
    reach = 4.0 * max(float(np.ptp(plan, axis=0).max()), 500.0)
    around_sites = _outlines(sites, plan)
    shown = np.vstack([plan, ends[np.hypot(*ends.T) <= reach], *around_sites])
    low, high = shown.min(axis=0), shown.max(axis=0)
    centre = (low + high) / 2
    tall, wide = _HEIGHT - 20.0, _WIDTH - 20.0
    size = high - low
    room = _sizes(sites).room
    metres = max(*(size / ([wide - 2 * room, tall - 2 * room])).tolist(), 200.0 / wide)
    half = np.array([wide, tall]) * metres / 2
    (left, bottom), (right, top) = (centre - half).tolist(), (centre + half).tolist()
    frame = Frame(10.0, 10.0, wide, tall, (left, right), (bottom, top))
    drawing = Drawing(_label(sites, lines), _WIDTH, _HEIGHT)
    start = {site.number: frame.at(x, y) for site, (x, y) in zip(sites, plan.tolist(), strict=True)}
    for outline in around_sites:
        drawing.path([frame.at(x, y) for x, y in outline.tolist()], "ellipse", closed=True)
    true_ends = dict(zip(map(id, near), ends.tolist(), strict=True))
    for line in lines:
        end = true_ends.get(id(line))
        if end is None:
            _ray(drawing, start[line.number], line.azimuth_deg, _sizes(sites).ray)
        else:
            here = plan[[site.number for site in sites].index(line.number)]
            for run in frame.runs([tuple(here.tolist()), tuple(end)]):
                drawing.path(run, "reference")
    _dots(drawing, frame, sites, start, keep=[(46.0, frame.bottom - 10.0)])
    _scale_bar(drawing, frame, metres)
    _north_arrow(drawing, (frame.right - 18.0, frame.top + 44.0))
    edge(drawing, frame)
    note = "Plan, true north up at its middle."
    if len(near) < len(lines):
        note += " Lines with an arrow show the azimuth only; their length means nothing."
    if around_sites:
        note += _OF_ELLIPSES
    return SiteMap(drawing.markup(), note, len(sites) > CROWDED)


_OF_ELLIPSES = " An ellipse holds with 95 % a site whose place was found from its marks."


def _outlines(sites: Sequence[MapSite], plan: Array) -> list[Array]:
    """The ellipses of sites, metres east and north."""
    turn = np.radians(np.arange(0.0, 360.0, 5.0))
    outlines = []
    for site, (x, y) in zip(sites, plan.tolist(), strict=True):
        if site.ellipse is not None:
            major, minor, azimuth = site.ellipse
            along, across = 1e3 * major * np.cos(turn), 1e3 * minor * np.sin(turn)
            sine, cosine = sin(radians(azimuth)), cos(radians(azimuth))
            outlines.append(
                np.stack(
                    [x + along * sine + across * cosine, y + along * cosine - across * sine],
                    axis=-1,
                )
            )
    return outlines


def _world(
    sites: Sequence[MapSite],
    lines: Sequence[MapLine],
    places: Array,
    middle: tuple[float, float],
) -> SiteMap:
    longitude = wrap_180(places[:, 1] - middle[1])
    wide, room = _WIDTH - 44.0, _sizes(sites).room
    east, north = (max(float(np.ptp(part)), 1.0) for part in (longitude, places[:, 0]))
    degrees = east / (wide - 2 * room)
    tall = float(np.clip(north / degrees + 2 * room, 180.0, 420.0))
    pad = np.array([room * degrees, room * north / (tall - 2 * room)])
    low = np.array([longitude.min(), places[:, 0].min()]) - pad
    high = np.array([longitude.max(), places[:, 0].max()]) + pad
    frame = Frame(
        36.0,
        18.0,
        wide,
        tall,
        (float(low[0]), float(high[0])),
        (float(low[1]), float(high[1])),
    )
    drawing = Drawing(_label(sites, lines), _WIDTH, frame.bottom + 32.0)
    _draw_shores(drawing, frame, middle[1])
    meridians = [
        (float(wrap_180(value - middle[1])), value)
        for value in np.arange(-360.0, 541.0, _step(frame.x_range)).tolist()
        if low[0] <= value - middle[1] <= high[0]
    ]
    bottom_axis(
        drawing,
        frame,
        [(at, plain(float(wrap_180(value)))) for at, value in meridians],
        "longitude, ° east",
    )
    parallels = [
        (value, plain(value))
        for value in np.arange(-90.0, 91.0, _step(frame.y_range)).tolist()
        if low[1] <= value <= high[1]
    ]
    left_axis(drawing, frame, parallels, "latitude, ° north")
    start = {
        site.number: frame.at(x, site.latitude_deg)
        for site, x in zip(sites, longitude.tolist(), strict=True)
    }
    plain_places = np.stack([longitude, places[:, 0]], axis=-1)
    ellipses = _outlines(sites, np.zeros_like(plain_places))
    found = [number for number, site in enumerate(sites) if site.ellipse is not None]
    for number, outline in zip(found, ellipses, strict=True):
        x, y = plain_places[number].tolist()
        wide_of = max(cos(radians(y)), 1e-3)
        degrees = outline / _M_PER_DEG / np.array([wide_of, 1.0])
        drawing.path([frame.at(x + a, y + b) for a, b in degrees.tolist()], "ellipse", closed=True)
    for line in lines:
        _ray(drawing, start[line.number], line.azimuth_deg, _sizes(sites).ray)
    _dots(drawing, frame, sites, start, keep=[])
    edge(drawing, frame)
    return SiteMap(
        drawing.markup(),
        "Chart in degrees. Arrows show the true azimuth of each reference line, true north up; "
        f"their length means nothing.{_OF_ELLIPSES * bool(found)} {SOURCE}.",
        len(sites) > CROWDED,
    )


def _draw_shores(drawing: Drawing, frame: Frame, middle_deg: float) -> None:
    """Coastlines under the chart, in degrees from its middle longitude."""
    (west, east), (south, north) = frame.x_range, frame.y_range
    for points, _ in shores(west + middle_deg, south, east + middle_deg, north):
        moved = points - np.array([middle_deg, 0.0])
        for run in frame.runs([(x, y) for x, y in moved.tolist()]):
            drawing.path(run, "shore")


def _step(x_range: tuple[float, float]) -> float:
    span = x_range[1] - x_range[0]
    return next(step for step in (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 90.0) if span / step <= 7)


def _label(sites: Sequence[MapSite], lines: Sequence[MapLine]) -> str:
    return (
        f"Map of {len(sites)} site{'s' * (len(sites) != 1)} and {len(lines)} reference "
        f"line{'s' * (len(lines) != 1)}; the table beside it lists them."
    )


def _ray(drawing: Drawing, start: Point, azimuth_deg: float, length: float) -> None:
    end = (
        start[0] + length * sin(radians(azimuth_deg)),
        start[1] - length * cos(radians(azimuth_deg)),
    )
    drawing.arrow(start, end, "ray", length / 6.0)


def _dots(
    drawing: Drawing,
    frame: Frame,
    sites: Sequence[MapSite],
    start: dict[int, Point],
    keep: Sequence[Point],
) -> None:
    labels, size = Labels((frame.left, frame.top, frame.right, frame.bottom)), _sizes(sites)
    for place in keep:
        labels.keep(place, 36.0)
    for site in sites:
        labels.keep(start[site.number], size.dot)
        drawing.dot(start[site.number], size.dot, "site", f"{site.number} {site.name}")
    for site in sites:
        at = start[site.number]
        places = around(at, size.number) + around(at, 1.8 * size.number)
        labels.put(drawing, places, str(site.number), size.style, size.number)


def _scale_bar(drawing: Drawing, frame: Frame, metres_per_unit: float) -> None:
    length = nice_below(90.0 * metres_per_unit)
    end = frame.left + 12.0 + length / metres_per_unit
    y = frame.bottom - 12.0
    drawing.line((frame.left + 12.0, y), (end, y), "scale")
    for x in (frame.left + 12.0, end):
        drawing.line((x, y - 4.0), (x, y + 4.0), "scale")
    text = f"{length / 1000:g} km" if length >= 1000 else figure(length, 0, " m")
    drawing.text((frame.left + 12.0, y - 7.0), text, "tick")


def _north_arrow(drawing: Drawing, foot: Point) -> None:
    drawing.arrow(foot, (foot[0], foot[1] - 26.0), "north", 8.0)
    drawing.text((foot[0], foot[1] + 13.0), "N", "letter", "middle")
