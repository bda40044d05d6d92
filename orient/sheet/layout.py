"""What a field sheet shows and where: the track, the foot, the rings, and how well it does.

Board frame throughout: millimetres from the foot, +y to true north when the sheet is turned
right. A point is *on the sheet* when it lies inside the board with a margin for its label.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.flags import FLAGS
from orient.numbers import shadow, sun
from orient.numbers.budget import (
    PlannedMarks,
    day_terms,
    expected_u_deg,
    mark_information,
    pair_terms,
    timed_terms,
)
from orient.numbers.horizon import horizon_altitude_deg, parse_horizon
from orient.numbers.light import Places, light_at_board
from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.numbers.tolerances import COVERAGE_95, Tolerances
from orient.planning.rig import tip_track

Array = NDArray[np.float64]

TICK_MIN = 10
MARK_EVERY_MIN = 20
#: The rod's error whose effect is drawn beside the track.
ROD_ALLOWANCE_MM = 5.0
_MARGIN_MM = 13.0
#: What the foot cross and the arrow above it need about the foot: left and below, right and above.
_FOOT_ROOM_MM = ((-5.0, -5.0), (5.0, 13.0))
_RING_HOURS = (2.0, 2.5, 3.0, 3.5, 4.0)
_GOOD_HOURS = 3.0
_LOWEST_DEG = 5.0
_USEFUL_DEG = 10.0


@dataclass(frozen=True)
class SheetLayout:
    """The day of one site on one board.

    `track` has a row each minute (of `rig.tip_track`), with `clock` (HH:MM of the site's
    zone), `hours` from local noon, `tick` at every ten minutes of the clock, `hidden`
    where the site's skyline covers the sun, and `on_sheet`. `foot_mm` counts from the board's
    lower left corner.
    """

    site: pd.Series
    date: np.datetime64
    rod_mm: float
    board_mm: tuple[float, float]
    foot_mm: tuple[float, float]
    track: pd.DataFrame
    tolerances: Tolerances

    @classmethod
    def of(
        cls,
        site: pd.Series,
        date: Any,
        rod_mm: float,
        board_mm: tuple[float, float],
        tolerances: Tolerances | None = None,
    ) -> SheetLayout:
        """Lay out the day: the foot where most of the track falls on the board.

        Args:
            site: a row of the sites table, its id as the row's name.
            date: local date.
            rod_mm: tip above the board.
            board_mm: width and height of the board.
            tolerances: of the set-up; careful work by hand when None.

        Raises:
            OutsideEphemeris: a date outside 1900–2050.
        """
        track = _day_track(site, date, rod_mm)
        foot = _place_foot(track, board_mm)
        track["on_sheet"] = _inside(track, board_mm, foot) & ~track["hidden"]
        return cls(
            site,
            np.datetime64(date, "D"),
            rod_mm,
            board_mm,
            foot,
            track,
            tolerances or Tolerances(),
        )

    @property
    def on_sheet(self) -> pd.DataFrame:
        """The minutes of the track that lie on the sheet."""
        return self.track[self.track["on_sheet"]]

    @property
    def ticks(self) -> pd.DataFrame:
        """The ticks of the track that lie on the sheet."""
        return self.track[self.track["on_sheet"] & self.track["tick"]]

    @property
    def noon(self) -> pd.Series | None:
        """The row of local noon, None where the sun is too low then."""
        rows = self.track[self.track["noon"]]
        return None if rows.empty else rows.iloc[0]

    def marks_at(self, utc_s: Any) -> PlannedMarks:
        """The marks this site and rod give at instants, on a level board turned true."""
        light = self._light(utc_s)
        rate = sun.direction_rate(utc_s, self.site["latitude_deg"], self.site["longitude_deg"])
        return PlannedMarks.under(light, rate, self.rod_mm)

    def _light(self, utc_s: Any) -> tuple[Any, Any, Any]:
        return light_at_board(utc_s, Places(*(float(self.site[name]) for name in Places._fields)))

    @cached_property
    def rings(self) -> pd.DataFrame:
        """Circles to draw: `ring`, `radius_mm`, and the instants it is crossed, am and pm.

        Crossed 2 to 4 hours from noon where that lies on the sheet; else as far from noon
        as the sheet allows.
        """
        morning, afternoon = self._halves()
        if min(len(morning), len(afternoon)) < 2:
            return pd.DataFrame({"ring": [], "radius_mm": [], "am_utc_s": [], "pm_utc_s": []})
        hours_on_sheet = min(-morning["hours"].iloc[-1], afternoon["hours"].iloc[-1])
        hours = [hour for hour in _RING_HOURS if hour <= hours_on_sheet]
        if len(hours) < 3:
            hours = list(np.linspace(0.4, 1.0, 4) * hours_on_sheet)
        mean_mm = 0.5 * (
            np.interp(hours, -morning["hours"], morning["shadow_mm"])
            + np.interp(hours, afternoon["hours"], afternoon["shadow_mm"])
        )
        both_mm = min(morning["shadow_mm"].iloc[-1], afternoon["shadow_mm"].iloc[-1])
        radius = np.unique(np.floor(np.minimum(mean_mm, both_mm)))
        radius = radius[radius > max(morning["shadow_mm"].iloc[0], afternoon["shadow_mm"].iloc[0])]
        return pd.DataFrame(
            {
                "ring": [f"R{number}" for number in range(1, len(radius) + 1)],
                "radius_mm": radius,
                "am_utc_s": np.interp(radius, morning["shadow_mm"], morning["utc_s"]),
                "pm_utc_s": np.interp(radius, afternoon["shadow_mm"], afternoon["utc_s"]),
            }
        )

    def _halves(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Morning and afternoon on the sheet, from noon outward without a gap."""
        halves = []
        for side in (-1.0, 1.0):
            half = self.track[self.track["hours"] * side >= 0].sort_values(
                "hours", key=lambda hours: hours.abs()
            )
            # A midnight sun lengthens, then past midnight shortens the shadow: outward only.
            run = half["on_sheet"].cummin() & (half["shadow_mm"].diff().fillna(1.0) > 0).cummin()
            halves.append(half[run])
        return halves[0], halves[1]

    def band_mm(self) -> Array:
        """How far across the track a well set-up board's marks may fall: 95 %, a minute each.

        All the tolerances but the board's azimuth, which is what the fit finds.
        """
        marks = self.marks_at(self.track["utc_s"].to_numpy())
        prior = self.tolerances.prior_sd()
        prior[UNKNOWNS.index("board_azimuth_rad")] = 0.0
        normal = self.normals()
        shares = np.einsum("ni,nik->nk", normal, marks.partials) * prior
        return COVERAGE_95 * np.sqrt(np.sum(shares**2, axis=-1) + self.tolerances.mark_sd_mm**2)

    def normals(self) -> Array:
        """Unit vectors across the track, shape (n, 2).

        All to one side of it, away from the foot where the track does not round it.
        """
        x, y = self.track["x_mm"].to_numpy(), self.track["y_mm"].to_numpy()
        if len(x) < 2:
            return np.tile([0.0, 1.0], (len(x), 1))
        seconds = self.track["utc_s"].to_numpy()
        along = np.stack([np.gradient(x, seconds), np.gradient(y, seconds)], axis=-1)
        along /= np.linalg.norm(along, axis=-1, keepdims=True)
        normal = np.stack([-along[:, 1], along[:, 0]], axis=-1)
        nearest = int(np.argmin(np.hypot(x, y)))
        outward = normal[nearest] @ (x[nearest], y[nearest])
        return normal if outward >= 0 else -normal

    def expected(self) -> pd.DataFrame:
        """How well each way of using the sheet finds north: `way`, `detail`, `u_deg`."""
        rows: list[tuple[str, str, float]] = []
        seen = self.ticks
        if seen.empty:
            return pd.DataFrame(rows, columns=["way", "detail", "u_deg"])
        marks = self.marks_at(seen["utc_s"].to_numpy())
        timed = expected_u_deg(timed_terms(marks, self.tolerances))
        near_noon = int(np.argmin(np.abs(seen["hours"].to_numpy())))
        for tick in dict.fromkeys((int(np.argmin(timed)), near_noon)):
            at = f"at {seen['clock'].iloc[tick]}"
            rows.append(("one tick, by the watch", at, float(timed[tick])))
        chosen = (seen["minute"] % MARK_EVERY_MIN == 0).to_numpy()
        if chosen.sum() > 1:
            clocks = seen["clock"].to_numpy()[chosen]
            information = mark_information(marks.take(chosen), self.tolerances).sum(axis=0)
            u_deg = float(expected_u_deg(day_terms(information, self.tolerances)))
            detail = f"{len(clocks)} marks, {clocks[0]} to {clocks[-1]}"
            rows.append(("all the marks, by the watch", detail, u_deg))
        if not self.rings.empty:
            ring = self.rings.iloc[-1]
            pair = [self.marks_at(ring[half]) for half in ("am_utc_s", "pm_utc_s")]
            u_deg = float(expected_u_deg(pair_terms(pair[0], pair[1], self.tolerances)))
            rows.append(("one pair, without a watch", f"on ring {ring['ring']}", u_deg))
        return pd.DataFrame(rows, columns=["way", "detail", "u_deg"])

    def shifts(self) -> pd.DataFrame:
        """How far single errors shift a mark, along and across the track, at three times.

        Returns:
            `error`, `clock`, `along_mm`, `across_mm`: sizes, from the shadow of the tip
            itself, not linearised.
        """
        seen = self.ticks
        if seen.empty:
            return pd.DataFrame({"error": [], "clock": [], "along_mm": [], "across_mm": []})
        near = int(np.argmin(np.abs(seen["hours"].to_numpy())))
        chosen = seen.iloc[sorted({0, near, len(seen) - 1})]
        normal = self.normals()[chosen.index.to_numpy()]
        utc_s = chosen["utc_s"].to_numpy()
        right = np.stack([chosen["x_mm"], chosen["y_mm"]], axis=-1)
        tables = []
        for error, (state, late_s) in self._wrong_boards().items():
            moved = np.stack(shadow.tip(*self._light(utc_s + late_s), state), axis=-1) - right
            sizes = {
                "error": error,
                "clock": chosen["clock"].to_numpy(),
                "along_mm": np.abs(moved[:, 0] * normal[:, 1] - moved[:, 1] * normal[:, 0]),
                "across_mm": np.abs(np.sum(moved * normal, axis=-1)),
            }
            tables.append(pd.DataFrame(sizes))
        return pd.concat(tables, ignore_index=True)

    def _wrong_boards(self) -> dict[str, tuple[BoardState, float]]:
        """Boards with one error each, and how late the light falls on them in seconds."""
        good = BoardState(height_mm=self.rod_mm)
        slope = float(np.tan(np.radians(0.5)))
        taller = replace(good, height_mm=self.rod_mm + ROD_ALLOWANCE_MM)
        return {
            f"rod {ROD_ALLOWANCE_MM:.0f} mm too tall": (taller, 0.0),
            "board 0.5° out of level, left–right": (replace(good, slope_x=slope), 0.0),
            "board 0.5° out of level, up–down": (replace(good, slope_y=slope), 0.0),
            "sheet turned by 5°": (replace(good, board_azimuth_rad=np.radians(5.0)), 0.0),
            "watch 5 min wrong": (good, 300.0),
        }

    def warnings(self) -> list[str]:
        """What a person must know before printing: no shadow, or a rod that does not suit."""
        if self.track.empty:
            return [f"The sun stays below {_LOWEST_DEG:.0f}° all day. {FLAGS['sun-too-low']}"]
        said = []
        if self.on_sheet.empty:
            said.append(
                f"The shadow does not fall on this sheet: with a rod of {self.rod_mm:g} mm the "
                f"shortest of the day is {self.track['shadow_mm'].min():.0f} mm. "
                f"{FLAGS['off-board']}"
            )
        better = self.better_rod_mm()
        if better is not None:
            said.append(
                f"A rod of {better:.0f} mm would keep the three hours before and after noon on a "
                f"board of this size, while the sun is {_USEFUL_DEG:.0f}° up; or take a larger "
                "board, printed on several pages."
            )
        return said

    def better_rod_mm(self) -> float | None:
        """The tallest rod, in whole centimetres, with three hours each side on this board.

        None where this rod does it already, or where the sun is too low for any.
        """
        useful = self.track[
            (self.track["hours"].abs() <= _GOOD_HOURS)
            & (self.track["altitude_deg"] >= _USEFUL_DEG)
            & ~self.track["hidden"]
        ]
        if useful.empty or bool(useful["on_sheet"].all()):
            return None
        # The foot's own room does not grow with the rod: taken off first, to be safe.
        tips = useful[["x_mm", "y_mm"]].to_numpy()
        span = np.maximum(tips.max(axis=0), 0.0) - np.minimum(tips.min(axis=0), 0.0)
        foot_room = np.subtract(_FOOT_ROOM_MM[1], _FOOT_ROOM_MM[0])
        room = np.array(self.board_mm) - 2 * _MARGIN_MM - foot_room
        rod_mm = float(np.floor(self.rod_mm * np.min(room / span) / 10.0) * 10.0)
        return rod_mm if rod_mm >= 20.0 else None


def _day_track(site: pd.Series, date: Any, rod_mm: float) -> pd.DataFrame:
    track = tip_track(
        float(site["latitude_deg"]),
        float(site["longitude_deg"]),
        float(site["elevation_m"]),
        date,
        str(site["timezone"]),
        rod_mm,
        float(site["pressure_hpa"]),
        float(site["temperature_c"]),
        step_min=1,
        min_altitude_deg=_LOWEST_DEG,
    )
    local = track["local"].astype(str)
    track["clock"] = local.str.slice(11, 16)
    track["minute"] = pd.to_numeric(local.str.slice(14, 16))
    track["tick"] = (track["minute"] % TICK_MIN == 0) & (local.str.slice(17, 19) == "00")
    # Without a noon shadow, the shortest shadow of the day parts its halves.
    halves_at = track["noon"] if track["noon"].any() else track["shadow_mm"].eq(
        track["shadow_mm"].min()
    )  # fmt: skip
    track["hours"] = (track["utc_s"] - track["utc_s"][halves_at].min()) / 3600.0
    horizon = parse_horizon(str(site.get("horizon_deg") or ""))
    hidden = horizon is not None and (
        track["altitude_deg"].to_numpy() < horizon_altitude_deg(horizon, track["azimuth_deg"])
    )
    track["hidden"] = np.broadcast_to(hidden, len(track))
    return track


def _boxes(x: Array, y: Array) -> tuple[Array, Array]:
    """Corners of the growing box about the foot's room and the first n points: (n + 1, 2)."""
    low, high = (np.concatenate([[corner], np.stack([x, y], axis=-1)]) for corner in _FOOT_ROOM_MM)
    return np.minimum.accumulate(low), np.maximum.accumulate(high)


def _place_foot(track: pd.DataFrame, board_mm: tuple[float, float]) -> tuple[float, float]:
    """Where on the board the foot leaves room for the longest shadows, morning and afternoon."""
    board = np.array(board_mm)
    ordered = track.sort_values("shadow_mm")
    x, y = ordered["x_mm"].to_numpy(), ordered["y_mm"].to_numpy()
    low, high = _boxes(x, y)
    last = int(np.flatnonzero(np.all(high - low <= board - 2 * _MARGIN_MM, axis=-1))[-1])
    if last == 0 and len(x):
        # Even the shortest shadow is too long: the foot goes to the side the sun is on.
        toward = np.array([x[0], y[0]]) / np.hypot(x[0], y[0])
        foot = board / 2 - toward * (board / 2 - 2 * _MARGIN_MM)
    else:
        foot = board / 2 - (low[last] + high[last]) / 2
    return float(foot[0]), float(foot[1])


def _inside(
    track: pd.DataFrame, board_mm: tuple[float, float], foot_mm: tuple[float, float]
) -> Any:
    x, y = track["x_mm"] + foot_mm[0], track["y_mm"] + foot_mm[1]
    edge = _MARGIN_MM / 2
    return x.between(edge, board_mm[0] - edge) & y.between(edge, board_mm[1] - edge)
