"""Which columns of a notebook hold its places, dates, compasses and bearings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from orient.tables.cells import Cells, Faults
from orient.tables.columns import SITES, Column

#: What each column may be called, beside its own name, in small letters.
NAMES: dict[str, tuple[str, ...]] = {
    "latitude_deg": ("latitude", "lat"),
    "longitude_deg": ("longitude", "lon", "long", "lng"),
    "easting_m": ("easting", "east", "e", "x"),
    "northing_m": ("northing", "north", "n", "y"),
    "crs": ("epsg", "grid"),
    "elevation_m": ("elevation", "height", "height_m", "altitude", "altitude_m"),
    "site": ("station", "locality"),
    "date": ("day", "local_date"),
    "compass": ("instrument",),
    "dial_deg": ("dial", "declination_set", "declination_set_deg"),
}
_PLACES = ("latitude_deg", "longitude_deg", "easting_m", "northing_m", "crs")
_READ: dict[str, Column] = {name: replace(SITES[name], needed=False) for name in _PLACES} | {
    "elevation_m": Column("elevation_m", "metres", "number", "m", low=-1000, high=9000, default=0),
    "site": Column("site", "a site of the campaign", "id"),
    "date": Column("date", "the day of the reading", "date"),
    "compass": Column("compass", "which compass", "id"),
    "dial_deg": Column("dial_deg", "set on the dial, east plus", "number", "°", low=-180, high=180),
}

#: A column whose name has one of these words holds bearings.
_BEARING = re.compile(
    r"(?:^|_)(?:strike|trend|bearing|azimuth|dipdir|dip_dir|dip_direction|backsight|foresight)(?:_|$)"
)
_NO_BEARING = re.compile(r"_sd(?:_|$)|_u(?:_|$)|_true(?:_|$)|_grid(?:_|$)|_applied(?:_|$)|known")
#: Strikes may be written from either end of the line; a direction has one end only.
_EITHER_END = re.compile(r"(?:^|_)strike(?:_|$)")


@dataclass(frozen=True)
class Layout:
    """The columns of a notebook as they are headed: what each is, and which hold bearings."""

    headed: dict[str, str]
    bearings: tuple[str, ...]

    def column(self, what: str) -> Column:
        """How the cells of what the notebook has under that heading are read."""
        return replace(_READ[what], name=self.headed[what])


def plain(heading: str) -> str:
    """A heading in small letters with underscores for all that is no letter or digit."""
    return re.sub(r"[^0-9a-z]+", "_", heading.lower()).strip("_")


def may_be_either_end(heading: str) -> bool:
    """Whether a column's bearings are of lines, which have two ends."""
    return bool(_EITHER_END.search(plain(heading)))


def layout(cells: Cells, wanted: Sequence[str], faults: Faults) -> Layout:
    """Find the columns of a notebook.

    Args:
        cells: the notebook.
        wanted: headings of bearings; those that look like bearings where there is none.
        faults: takes a heading that is not there, and the lack of any bearing.
    """
    headed = {}
    by_plain = {plain(heading): heading for heading in reversed(cells.columns)}
    for what, others in NAMES.items():
        found = next((name for name in (what, *others) if name in by_plain), None)
        if found is not None:
            headed[what] = by_plain[found]
    for heading in wanted:
        if heading.strip().lower() not in cells.columns:
            there = ", ".join(list(cells.columns)[:12])
            faults.add(cells.file, cells.header_row, heading, "no such column", f"one of {there}")
    bearings = [heading.strip().lower() for heading in wanted] or [
        heading
        for heading in cells.columns
        if _BEARING.search(plain(heading)) and not _NO_BEARING.search(plain(heading))
    ]
    if not bearings:
        faults.add(
            cells.file, cells.header_row, None, "no column that is called a strike, trend, "
            "bearing, azimuth or dip direction", "the bearings' columns named with --bearing",
        )  # fmt: skip
    return Layout(headed, tuple(bearings))
