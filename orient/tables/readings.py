"""The table of compass readings: what its rows must agree on, and what its blanks stand for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from orient.tables.cells import Cells, Faults
from orient.tables.reference_line import called
from orient.tables.sights import LINE, kind_of

_PLACE = ("easting_m", "northing_m")


def check_readings(
    cells: Cells,
    frame: pd.DataFrame,
    sites: pd.DataFrame,
    setups: pd.DataFrame,
    sights: pd.DataFrame,
    faults: Faults,
) -> pd.DataFrame:
    """Check the readings, each against its own row and against the other tables.

    Args:
        cells, frame: of the table of readings.
        sites, setups, sights: as they were read.
        faults: takes what is wrong.

    Returns:
        The readings, numbered where they have no id.
    """
    for name, other in (_PLACE, _PLACE[::-1]):
        lone = np.flatnonzero(~cells.given(name) & cells.given(other))
        faults.add_cells(cells, name, lone, f"it, as {other} is given")
    again = frame["reading"].duplicated() & (frame["reading"] != "")
    faults.add_cells(cells, "reading", np.flatnonzero(again), "another id: it stands above already")
    _check_targets(cells, frame, sites, _lines(setups, sights), faults)
    return frame.assign(reading=_numbered(frame["reading"]))


def _lines(setups: pd.DataFrame, sights: pd.DataFrame) -> set[tuple[Any, Any]]:
    """By site and name, the reference lines of set-ups and of sights."""
    of_setups = zip(setups["site"], called(setups), strict=True)
    of_sights = zip(sights["site"], sights["target"], strict=True)
    return {*of_setups, *((site, name) for site, name in of_sights if kind_of(name) == LINE)}


def _check_targets(
    cells: Cells,
    frame: pd.DataFrame,
    sites: pd.DataFrame,
    lines: set[tuple[Any, Any]],
    faults: Faults,
) -> None:
    """A reading is toward a line whose azimuth can be known."""
    places = set(sites["site"])
    given = frame["target"].to_numpy(dtype=object)
    known = cells.given("known_azimuth_deg")
    told = np.array(
        [
            bool(target) and ((site, target) in lines or (target in places and target != site))
            for site, target in zip(frame["site"], given, strict=True)
        ],
        dtype=bool,
    )
    # A site that is no site is a fault already.
    astray = ~told & ~known & frame["site"].isin(places).to_numpy()
    faults.add_cells(
        cells,
        "target",
        np.flatnonzero(astray),
        lambda place: _wanted(str(frame["site"][place]), lines),
    )


def _wanted(site: str, lines: set[tuple[Any, Any]]) -> str:
    names = sorted(str(name) for where, name in lines if where == site)
    here = f" ({', '.join(names[:4])})" if names else ""
    return (
        f"a reference line of a set-up at {site}{here} or of sights there, another site's id, or "
        "known_azimuth_deg"
    )


def _numbered(ids: pd.Series[Any]) -> pd.Series[Any]:
    """The ids, a blank one being the row's own number or the next that is free."""
    taken, numbered = set(ids), []
    for place, text in enumerate(ids, start=1):
        name, number = text, place
        while not name or (not text and name in taken):
            name, number = str(number), number + 1
        taken.add(name)
        numbered.append(name)
    return pd.Series(numbered, ids.index, dtype=object)


def finish_readings(frame: pd.DataFrame) -> pd.DataFrame:
    """The readings as a campaign has them."""
    return frame.rename(columns={"time": "time_s"}).set_index("reading")
