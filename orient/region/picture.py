"""A map of a region: contour lines, coastlines, sites."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from orient.numbers.coastline import SOURCE, shores
from orient.region.contours import Contour
from orient.region.lattice import QUANTITIES, Lattice

_INK, _LAND, _SHORE, _LINE, _FAINT = "#1d2a33", "#eef1ea", "#7d8a84", "#8a3b12", "#c9cfd2"


def picture(lattice: Lattice, what: str, lines: Sequence[Contour], sites: Any, date: str) -> bytes:
    """The map as a PNG of some 1,600 pixels.

    Args:
        sites: a table with `latitude_deg` and `longitude_deg`, indexed by site, or None.
        date: as it is said in the title.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    area = lattice.area
    stretch = 1.0 / max(np.cos(np.radians(area.middle_latitude_deg)), 0.15)
    shape = (area.north_deg - area.south_deg) * stretch / (area.east_deg - area.west_deg)
    figure = Figure(figsize=(9.0, float(np.clip(8.0 * shape + 1.3, 4.0, 12.0))), dpi=180)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.09, 0.09, 0.88, 0.80))
    axes.set_xlim(area.west_deg, area.east_deg)
    axes.set_ylim(area.south_deg, area.north_deg)
    axes.set_aspect(stretch, adjustable="box")
    for points, is_lake in shores(area.west_deg, area.south_deg, area.east_deg, area.north_deg):
        colour = "white" if is_lake else _LAND
        axes.fill(*points.T, facecolor=colour, edgecolor=_SHORE, linewidth=0.7, zorder=1)
    axes.grid(color=_FAINT, linewidth=0.4, zorder=2)
    _draw_lines(axes, lines, lattice)
    if sites is not None:
        _draw_sites(axes, sites, area.west_deg)
    _label(figure, axes, lattice, what, date)
    stream = io.BytesIO()
    figure.savefig(
        stream, format="png", bbox_inches="tight", pad_inches=0.15,
        metadata={"Software": "orient region"},
    )  # fmt: skip
    return stream.getvalue()


def _draw_lines(axes: Any, lines: Sequence[Contour], lattice: Lattice) -> None:
    """Each line, and its value once where it runs longest within the map."""
    area = lattice.area
    height, width = area.north_deg - area.south_deg, area.east_deg - area.west_deg
    taken: list[tuple[float, float]] = []
    for line in sorted(lines, key=lambda each: -len(each.points)):
        x, y = line.points[:, 0], line.points[:, 1]
        strong = line.value == 0.0
        axes.plot(x, y, color=_LINE, linewidth=1.6 if strong else 0.9, zorder=3)
        place = _label_place(x, y, area, taken, width, height)
        if place is None:
            continue
        taken.append((x[place], y[place]))
        text = f"{line.value:g}".replace("-", "−")
        axes.text(
            x[place], y[place], text, color=_LINE, fontsize=8, ha="center", va="center", zorder=4,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        )  # fmt: skip


def _label_place(
    x: Any, y: Any, area: Any, taken: list[tuple[float, float]], width: float, height: float
) -> int | None:
    """A point of a line where its value may stand, away from the edges and other values."""
    inside = (
        (x > area.west_deg + 0.04 * width)
        & (x < area.east_deg - 0.04 * width)
        & (y > area.south_deg + 0.04 * height)
        & (y < area.north_deg - 0.04 * height)
    )
    candidates = np.flatnonzero(inside)
    candidates = candidates[:: max(1, candidates.size // 16)]
    for place in (
        candidates[np.argsort(np.abs(candidates - candidates.mean()))] if candidates.size else ()
    ):
        apart = [
            abs(x[place] - a) / width > 0.07 or abs(y[place] - b) / height > 0.05 for a, b in taken
        ]
        if all(apart):
            return int(place)
    return None


def _draw_sites(axes: Any, sites: Any, west_deg: float) -> None:
    longitude = west_deg + (sites["longitude_deg"].to_numpy(float) - west_deg) % 360.0
    latitude = sites["latitude_deg"].to_numpy(float)
    axes.plot(longitude, latitude, "o", color=_INK, markersize=4, zorder=5)
    for name, x, y in zip(sites.index, longitude, latitude, strict=True):
        axes.annotate(
            str(name)[:24], (x, y), xytext=(5, 4), textcoords="offset points", fontsize=7.5,
            color=_INK, zorder=6, annotation_clip=True, clip_on=True,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.7},
        )  # fmt: skip


def _label(figure: Any, axes: Any, lattice: Lattice, what: str, date: str) -> None:
    title = QUANTITIES[what][1]
    if lattice.crs and what == "grid-magnetic":
        title += f", {lattice.crs}"
    axes.set_title(f"{title}\n{date}, {lattice.model}, at the ellipsoid", fontsize=10, color=_INK)
    axes.xaxis.set_major_formatter(lambda value, _: _degrees(value, "EW"))
    axes.yaxis.set_major_formatter(lambda value, _: _degrees(value, "NS"))
    axes.tick_params(labelsize=8, colors=_INK)
    axes.annotate(
        f"{SOURCE}. Rock and iron close by are in no model.", (0.0, 0.0), xytext=(0, -26),
        xycoords="axes fraction", textcoords="offset points", fontsize=7, color=_INK, va="top",
    )  # fmt: skip


def _degrees(value: float, letters: str) -> str:
    if letters == "EW":
        value = (value + 180.0) % 360.0 - 180.0
    letter = "" if value in (0.0, -180.0) else letters[int(value < 0)]
    return f"{abs(value):g}°{letter}"
