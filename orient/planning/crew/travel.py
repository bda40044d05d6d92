"""How long a crew takes from place to place: by distance and speed, or by its own table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.tables.cells import Cells, Faults, shown
from orient.tables.columns import Column, Table, read_file
from orient.text import closest

Minutes = NDArray[np.int64]

#: What the start is called in a table of travel, where it is no site.
START = "start"
TRAVEL = Table(
    "travel",
    (
        Column("from", "a site, or start", "id", needed=True),
        Column("to", "another site, or start", "id", needed=True),
        Column(
            "minutes",
            "how long the way takes; the way back takes as long unless it has its own row",
            "number",
            "min",
            needed=True,
            low=0,
            high=100_000,
        ),
    ),
)


def by_distance(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, speed_km_h: float, detour: float
) -> Minutes:
    """Travel between all places along geodesics of the WGS 84 ellipsoid.

    Args:
        latitude_deg, longitude_deg: the places, shape (n,).
        speed_km_h: of walking or driving, rests included.
        detour: how many times longer the way is than the straight line.

    Returns:
        Whole minutes, rounded up, (n, n); 0 from a place to itself. The distances are
        exact to a millimetre, the detour is a guess.
    """
    from pyproj import Geod

    latitude, longitude = (np.asarray(each, dtype=float) for each in (latitude_deg, longitude_deg))
    here, there = (part.ravel() for part in np.indices((latitude.size, latitude.size)))
    _, _, metres = Geod(ellps="WGS84").inv(
        longitude[here], latitude[here], longitude[there], latitude[there]
    )
    minutes = np.ceil(metres * detour / (speed_km_h / 60.0 * 1000.0) - 1e-9)
    return minutes.astype(np.int64).reshape(latitude.size, latitude.size)


def read_travel(path: Path | str, names: list[str]) -> pd.DataFrame:
    """Read and check a table of travel times, CSV or workbook.

    Args:
        path: a table with the columns of `TRAVEL`.
        names: the sites, and the start's name where it has one.

    Returns:
        `from`, `to`, `minutes`.

    Raises:
        InputError: with every fault of the table.
    """
    faults = Faults()
    cells, table = read_file(path, TRAVEL, faults)
    for column in ("from", "to"):
        unknown = np.flatnonzero(~table[column].isin({"", *names}))
        faults.add_cells(cells, column, unknown, _wanted(table[column].to_numpy(), names))
    _check_once(cells, table, faults)
    faults.stop_if_any()
    return table[["from", "to", "minutes"]]


def _wanted(texts: Any, names: list[str]) -> Any:
    def wanted(place: int) -> str:
        close = closest(texts[place], names, cutoff=0.7)
        return f"a site of the campaign, or {START}" + (
            f"; perhaps {shown(close)}" if close else ""
        )

    return wanted


def _check_once(cells: Cells, table: pd.DataFrame, faults: Faults) -> None:
    given = (table["from"] != "") & (table["to"] != "")
    again = np.flatnonzero(given & table.duplicated(["from", "to"]))
    faults.add_cells(cells, "to", again, "each way once")
    nowhere = np.flatnonzero(given & (table["from"] == table["to"]) & (table["minutes"] > 0))
    faults.add_cells(cells, "to", nowhere, "another place than that of `from`")


def by_table(estimated: Minutes, table: pd.DataFrame, names: list[str]) -> tuple[Minutes, int]:
    """Put a table's times in the place of estimated ones.

    Args:
        estimated: of `by_distance`, (n, n).
        table: of `read_travel`; its times are rounded up to whole minutes, and rows of other
            places are passed over.
        names: of the places, in their order; places of one name are one place.

    Returns:
        The times, and between how many pairs of places the table tells neither way, so that
        the estimate is kept.
    """
    unique = list(dict.fromkeys(names))
    number = {name: row for row, name in enumerate(unique)}
    rows = table[table["from"].isin(unique) & table["to"].isin(unique)]
    here = rows["from"].map(number).to_numpy(dtype=np.intp)
    there = rows["to"].map(number).to_numpy(dtype=np.intp)
    taken = np.full((len(unique), len(unique)), np.nan)
    # The ways back first, so that a row of their own overrides them.
    taken[there, here] = rows["minutes"].to_numpy()
    taken[here, there] = rows["minutes"].to_numpy()
    np.fill_diagonal(taken, 0.0)
    untold = np.isnan(taken)
    place = np.array([number[name] for name in names])
    each = np.ix_(place, place)
    minutes = np.where(untold[each], estimated, np.ceil(np.nan_to_num(taken[each])))
    return minutes.astype(np.int64), int(np.triu(untold).sum())
