"""The table of sights: directions read toward the sky and toward lines, checked row by row."""

from __future__ import annotations

from difflib import get_close_matches
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers import bodies, sun
from orient.tables import clock
from orient.tables.cells import Cells, Faults, shown
from orient.text import clock_text

SHADOW, LINE, STAR = "shadow", "line", "star"
#: How far a time may be off where the watch is not trusted, one standard uncertainty.
ROUGH_SD_S = 1800.0
#: Bodies of the sky that are not in the table, and what people call stars by.
_NO_STARS = {"mercury", "venus", "mars", "jupiter", "saturn", "star", "planet", "northstar"}
_NEAR = 0.82
#: What the default of a blank cell is, degrees (*common practice, no source*).
_COMPASS_SD_DEG, _CIRCLE_SD_DEG = 0.5, 0.1
_PLUMB_SD_DEG, _SIGHTS_SD_DEG = 0.02, 0.1


def kind_of(target: str) -> str:
    """What a target is: `shadow`, `sun`, `moon`, `star`, or `line`, a reference line."""
    plain = bodies.folded(target)
    if plain in (SHADOW, bodies.SUN, bodies.MOON):
        return plain
    return STAR if bodies.find_star(target) else LINE


def body_of(target: str) -> str | bodies.Star | None:
    """The body whose place a target's direction comes from; None for a reference line."""
    kind = kind_of(target)
    if kind == STAR:
        return bodies.find_star(target)
    return {SHADOW: bodies.SUN, bodies.SUN: bodies.SUN, bodies.MOON: bodies.MOON}.get(kind)


def check_sights(
    cells: Cells, frame: pd.DataFrame, sites: pd.DataFrame, lines: set[str], faults: Faults
) -> None:
    """Check the sights table.

    Args:
        cells: the text of the table.
        frame: its values, cells at fault blank.
        sites: the finished sites table, by `site`; sights of other sites are not looked at
            further.
        lines: reference lines known by name from the set-ups.
        faults: takes unknown bodies with near names, the sun through an instrument, times
            that are missing or that clocks skipped, bodies below the horizon.
    """
    kinds = [kind_of(target) for target in frame["target"]]
    kind = np.array(kinds, dtype=object)
    _check_circles(cells, frame, faults)
    _check_targets(cells, frame, kind, lines, faults)
    _check_aim(cells, frame, kind, faults)
    _check_times(cells, frame, kind, sites, faults)


def _check_circles(cells: Cells, frame: pd.DataFrame, faults: Faults) -> None:
    nameless = np.flatnonzero(~cells.given("circle") & ~cells.given("compass"))
    faults.add_cells(cells, "circle", nameless, "a name for the circle, or the compass's id")
    named = frame[(frame["circle"] != "") & (frame["compass"] != "")]
    several = named.groupby(["site", "date", "circle"])["compass"].transform("nunique") > 1
    places = np.flatnonzero(frame.index.isin(named.index[several]))
    faults.add_cells(cells, "compass", places, "one compass for all rows of one circle")


def _check_targets(
    cells: Cells, frame: pd.DataFrame, kind: Any, lines: set[str], faults: Faults
) -> None:
    known = {bodies.folded(name) for name in lines}
    aloft = cells.given("altitude_deg") | np.isin(frame["limb"], ["left", "right"])
    wrong: dict[int, str] = {}
    for place, target in enumerate(frame["target"]):
        if kind[place] != LINE or not target or bodies.folded(target) in known:
            continue
        near = near_names(target)
        if near or aloft[place]:
            hint = f"{' or '.join(near)}, perhaps" if near else "such as Polaris or HIP 11767"
            wrong[place] = (
                f"shadow, sun, moon or a star of the table ({hint}); a reference line has no "
                "altitude and another name than a star's"
            )
    faults.add_cells(cells, "target", list(wrong), wrong.__getitem__)


@lru_cache(maxsize=1)
def _all_names() -> dict[str, str]:
    names = {bodies.folded(name): star.name for star in bodies.stars() for name in star.names}
    return names | {each: each for each in (SHADOW, bodies.MOON)}


@lru_cache(maxsize=10_000)
def near_names(target: str) -> tuple[str, ...]:
    """Stars' names, or moon and shadow, that a target may be a slip of the pen for."""
    plain = bodies.folded(target)
    if plain in _NO_STARS or (plain.startswith("hip") and plain[3:].isdigit()):
        return ("Polaris", "HIP 11767")
    names = _all_names()
    # Of a word of three letters half the table is near.
    close = get_close_matches(plain, [name for name in names if len(name) > 3], 3, _NEAR)
    return tuple(dict.fromkeys(names[name] for name in close))


def _check_aim(cells: Cells, frame: pd.DataFrame, kind: Any, faults: Faults) -> None:
    aid, face = frame["aid"].to_numpy(), frame["face"].to_numpy()
    sun_itself = kind == bodies.SUN
    aimed = np.flatnonzero(sun_itself & ((aid != "projection") | (face != "")))
    faults.add_cells(
        cells,
        "aid",
        aimed,
        "projection, with face blank: the sun is never sighted, least of all through an "
        "instrument; take the shadow of a plumb line instead (target shadow)",
        lambda place: (
            f"the sun by {aid[place] or 'no stated aid'}"
            + (f", face {face[place]}" if face[place] else "")
        ),
    )
    through = np.flatnonzero((kind == SHADOW) & ((aid == "telescope") | (face != "")))
    faults.add_cells(
        cells, "aid", through, "a shadow read on the ground or the board: aid plumb, face blank"
    )
    edgeless = ~np.isin(kind, [bodies.SUN, bodies.MOON]) & np.isin(
        frame["limb"].to_numpy(), ["left", "right"]
    )
    faults.add_cells(
        cells, "limb", np.flatnonzero(edgeless), "blank: only sun and moon have edges to sight"
    )


def _check_times(
    cells: Cells, frame: pd.DataFrame, kind: Any, sites: pd.DataFrame, faults: Faults
) -> None:
    aloft = kind != LINE
    untimed = aloft & ~cells.given("time")
    faults.add_cells(
        cells,
        "time",
        np.flatnonzero(untimed & (frame["target"] != "").to_numpy()),
        "the watch time; with an altitude read and watch none, the half hour will do",
    )
    useless = aloft & (frame["watch"] == "none").to_numpy() & ~cells.given("altitude_deg")
    faults.add_cells(
        cells,
        "altitude_deg",
        np.flatnonzero(useless),
        "the altitude, as the times are not to be used (watch none)",
    )
    at_site = frame["site"].isin(sites.index).to_numpy()
    ready = aloft & at_site & frame["time"].notna().to_numpy() & frame["date"].notna().to_numpy()
    places = np.flatnonzero(ready)
    if not places.size:
        return
    rows = frame.iloc[places]
    zones = sites["timezone"].reindex(rows["site"]).to_numpy(object)
    instants = np.asarray(clock.utc_s(rows["date"].to_numpy(), rows["time"].to_numpy(), zones))
    _check_gaps(cells, rows, places, instants, zones, faults)
    _check_above(cells, rows, places, instants, sites, faults)


def _check_gaps(
    cells: Cells, rows: pd.DataFrame, places: Any, instants: Any, zones: Any, faults: Faults
) -> None:
    """Times that the clocks of the place skipped: whether the watch was put forward is not told."""
    civil = rows["date"].to_numpy("datetime64[D]").astype("datetime64[s]").astype(np.int64)
    shown_s = civil + rows["time"].to_numpy(float)
    ahead_s = instants + np.asarray(clock.offset_s(instants, zones)) - shown_s
    skipped = np.flatnonzero(np.abs(ahead_s) > 0.5)
    by_place = {int(places[each]): float(ahead_s[each]) for each in skipped}
    texts = _watch_times(rows, places)
    faults.add_cells(
        cells,
        "time",
        list(by_place),
        lambda place: (
            "a time that the clocks showed: they were put forward over it that day; "
            f"{clock_text(texts[place] + by_place[place])}, perhaps"
        ),
    )


def _watch_times(rows: pd.DataFrame, places: Any) -> dict[int, float]:
    """Watch time by the place of its row."""
    return dict(zip(map(int, places), rows["time"].tolist(), strict=True))


def _check_above(
    cells: Cells,
    rows: pd.DataFrame,
    places: Any,
    instants: Any,
    sites: pd.DataFrame,
    faults: Faults,
) -> None:
    true_s = instants - rows["watch_error_s"].to_numpy(float)
    rough = (rows["watch"] != "trusted").to_numpy()
    spread_s = 3.0 * np.where(rough, ROUGH_SD_S, rows["watch_sd_s"].to_numpy(float))
    # A watch that is a little off is no fault of the row.
    around = np.maximum(spread_s, 120.0)[:, None] * np.array([-1.0, 0.0, 1.0])
    altitude = _altitudes(rows, true_s[:, None] + around, sites).max(axis=1)
    half_a_day = _altitudes(rows, true_s[:, None] + 43200.0, sites)[:, 0]
    sunk = np.flatnonzero(altitude < -0.6)
    depth = {int(places[each]): -float(altitude[each]) for each in sunk}
    later = {int(places[each]): bool(half_a_day[each] > 0) for each in sunk}
    targets = dict(zip(map(int, places), rows["target"], strict=True))
    faults.add_cells(
        cells,
        "time",
        list(depth),
        lambda place: (
            f"a time when {_of_what(targets[place])} was above the horizon"
            + (
                "; twelve hours off it was: is the time of a 24-hour clock?"
                if later[place]
                else "; or another target, date or site"
            )
        ),
        lambda place: (
            f"{_of_what(targets[place])} {depth[place]:.0f}° below the horizon at "
            f"{shown(cells.column('time')[place])}"
        ),
    )


def _of_what(target: str) -> str:
    kind = kind_of(target)
    return f"the {bodies.MOON if kind == bodies.MOON else bodies.SUN}" if kind != STAR else target


def _altitudes(rows: pd.DataFrame, utc_s: Any, sites: pd.DataFrame) -> Any:
    """Unrefracted altitudes of the rows' bodies, degrees, of the shape of `utc_s` (rows, n)."""
    out = np.full(np.shape(utc_s), np.nan)
    where = sites.loc[rows["site"], ["latitude_deg", "longitude_deg", "elevation_m"]].to_numpy()
    for target in rows["target"].unique():
        mine = (rows["target"] == target).to_numpy()
        body = body_of(target)
        if body is None:
            continue
        here = (where[mine, None, n] for n in range(3))
        try:
            out[mine] = bodies.place(body, utc_s[mine], *here).altitude_deg
        except sun.OutsideEphemeris:
            continue
    return out


def finish_sights(frame: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """The checked table with everything that a blank stands for.

    Args:
        frame: of `sights.csv`, good.
        sites: the finished sites table.

    Returns:
        The columns of the table, `time` as `time_s`; `kind` of the target; `utc_s`, the
        instant that the watch showed, its error not taken off, NaN without a time; `row`.
    """
    kind = np.array([kind_of(target) for target in frame["target"]], dtype=object)
    by_compass = (frame["compass"] != "").to_numpy()
    plumb = (frame["aid"] == "plumb").to_numpy() | (kind == SHADOW)
    number = pd.Series((np.arange(len(frame)) + 1).astype(str), frame.index, dtype=object)
    zones = sites["timezone"].reindex(frame["site"]).to_numpy(object)
    instants = (
        clock.utc_s(frame["date"].to_numpy(), frame["time"].to_numpy(float), zones)
        if len(frame)
        else np.empty(0)
    )
    return frame.assign(
        sight=frame["sight"].mask(frame["sight"] == "", number),
        circle=frame["circle"].mask(frame["circle"] == "", frame["compass"]),
        reading_sd_deg=frame["reading_sd_deg"].fillna(
            pd.Series(np.where(by_compass, _COMPASS_SD_DEG, _CIRCLE_SD_DEG), frame.index)
        ),
        plumb_sd_deg=frame["plumb_sd_deg"].fillna(
            pd.Series(np.where(plumb, _PLUMB_SD_DEG, _SIGHTS_SD_DEG), frame.index)
        ),
        kind=kind,
        utc_s=instants,
    ).rename(columns={"time": "time_s"})
