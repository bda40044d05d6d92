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
from orient.planning.boardday import BoardDay, board_day, rods_that_work
from orient.planning.hours import Limits
from orient.planning.rig import Rig, tip_track
from orient.sheet.boardpaper import board_window
from orient.sheet.paper import PAPERS
from orient.tables import clock
from orient.text import counted

Array = NDArray[np.float64]

TICK_MIN = 10
MARK_EVERY_MIN = 20
#: The rod's error whose effect is drawn beside the track.
ROD_ALLOWANCE_MM = 5.0
_MARGIN_MM = 6.5
_LOWEST_DEG = 5.0
_BOARD_FOR_A2_MM = (650.0, 470.0)


@dataclass(frozen=True)
class SheetLayout:
    """The day of one site on one board.

    `track` has a row each minute (of `rig.tip_track`), with `clock` (HH:MM of the site's
    zone), `hours` from local noon, `tick` at every ten minutes of the clock, `hidden`
    where the site's skyline covers the sun, `good` in the good hours, and `on_sheet`.
    `foot_mm` counts from the board's lower left corner. `day` has the good hours, the rings
    and the foot as `plan` and `bring` have them for this rod and board.
    """

    site: pd.Series
    date: np.datetime64
    day: BoardDay
    track: pd.DataFrame
    limits: Limits

    @classmethod
    def of(
        cls,
        site: pd.Series,
        date: Any,
        rod_mm: float,
        board_mm: tuple[float, float],
        tolerances: Tolerances | None = None,
        limits: Limits | None = None,
    ) -> SheetLayout:
        """Lay out the day.

        Args:
            site: a row of the sites table, its id as the row's name.
            date: local date.
            rod_mm: tip above the board.
            board_mm: width and height of the board.
            tolerances: of the set-up; careful work by hand when None.
            limits: what a pair must meet; those of `plan` when None.

        Raises:
            OutsideEphemeris: a date outside 1900–2050.
        """
        limits = limits or Limits()
        rig = Rig(rod_mm, *board_mm, tolerances=tolerances or Tolerances())
        day = board_day(site, date, rig, limits)
        track = _day_track(site, date, rod_mm)
        track["on_sheet"] = _inside(track, board_mm, day.foot_mm) & ~track["hidden"]
        track["good"] = False
        for first, last in day.good_utc_s:
            track["good"] |= track["utc_s"].between(first, last)
        return cls(site, np.datetime64(date, "D"), day, track, limits)

    @property
    def rod_mm(self) -> float:
        return self.day.rig.rod_mm

    @property
    def board_mm(self) -> tuple[float, float]:
        return self.day.rig.board_width_mm, self.day.rig.board_depth_mm

    @property
    def foot_mm(self) -> tuple[float, float]:
        return self.day.foot_mm

    @property
    def tolerances(self) -> Tolerances:
        return self.day.rig.tolerances

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
        """Circles to draw: `ring`, `radius_mm`, and the instants it is crossed, am and pm."""
        rings = self.day.rings
        return pd.DataFrame(
            {
                "ring": [f"R{number}" for number in range(1, len(rings) + 1)],
                "radius_mm": rings["ring_mm"].to_numpy(dtype=float),
                "am_utc_s": rings["morning_utc_s"].to_numpy(dtype=float),
                "pm_utc_s": rings["afternoon_utc_s"].to_numpy(dtype=float),
            }
        )

    def good_clocks(self) -> list[tuple[str, str]]:
        """The good hours by the site's clock, HH:MM, as `plan` shows them."""
        timezone = str(self.site["timezone"])
        return [
            (_clock(first, timezone), _clock(last, timezone)) for first, last in self.day.good_utc_s
        ]

    def band_mm(self) -> Array:
        """How far across the track a well set-up board's marks may fall: 95 %, a minute each.

        All the tolerances but the board's azimuth, which is what the fit finds.
        """
        marks = self.marks_at(self.track["utc_s"].to_numpy())
        prior = self.tolerances.prior_sd()
        prior[UNKNOWNS.index("board_azimuth_rad")] = 0.0
        normal = self.normals()
        shares = np.einsum("ni,nik->nk", normal, marks.partials()) * prior
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
            information = mark_information(marks.take(np.flatnonzero(chosen)), self.tolerances).sum(
                axis=0
            )
            u_deg = float(expected_u_deg(day_terms(information, self.tolerances)))
            detail = f"{counted(len(clocks), 'mark')}, {clocks[0]} to {clocks[-1]}"
            rows.append(("all the marks, by the watch", detail, u_deg))
        if not self.rings.empty:
            ring = self.rings.iloc[-1]
            pair = self.marks_at(ring[["am_utc_s", "pm_utc_s"]].to_numpy(dtype=float))
            u_deg = float(expected_u_deg(pair_terms(pair, self.tolerances)))
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
        """What a person must know before printing: no shadow, or no good hour on the sheet."""
        if self.track.empty:
            return [f"The sun stays below {_LOWEST_DEG:.0f}° all day. {FLAGS['sun-too-low']}"]
        if bool(self.track["hidden"].all()):
            return ["The skyline of the site hides the sun all day. Choose another day or place."]
        said = []
        if self.on_sheet.empty:
            said.append(
                f"The shadow does not fall on this sheet: with a rod of {self.rod_mm:g} mm the "
                f"shortest of the day is {self.track['shadow_mm'].min():.0f} mm."
            )
        if not self.day.good_utc_s:
            said.append(self._no_good_hour())
        return said

    def _no_good_hour(self) -> str:
        wanted = COVERAGE_95 * self.limits.target_deg
        said = (
            f"No good hour falls on this sheet with a rod of {self.rod_mm:g} mm: no pair of "
            f"marks finds north to ±{wanted:.2g}° (95 %)."
        )
        if not self.works:
            return (
                f"{said} Tried: rods of 75 to 500 mm on this size, on A3 paper and on a board of "
                "650 × 470 mm; none works at this site on this day. `orient plan` tells why."
            )
        named = "; ".join(
            f"{board} with a rod of {day.rig.rod_mm:.0f} mm ({_spans_text(day, self.site)})"
            for board, day in self.works.items()
        )
        return f"{said} Tried, and these work: {named}."

    @cached_property
    def works(self) -> dict[str, BoardDay]:
        """Boards and rods that have good hours on this day, tried: this size first."""
        upright, turned = (board_window(paper) for paper in (PAPERS["A3"], PAPERS["A3"].turned()))
        larger = {
            "portrait A3 paper": (upright.width_mm, upright.height_mm),
            "landscape A3 paper": (turned.width_mm, turned.height_mm),
            "a board of 650 × 470 mm": _BOARD_FOR_A2_MM,
        }
        here = self.board_mm[0] * self.board_mm[1]
        boards = {"this size": self.board_mm}
        boards |= {name: size for name, size in larger.items() if size[0] * size[1] > here}
        found: dict[str, BoardDay] = {}
        for name, size in boards.items():
            tried = rods_that_work(self.site, self.date, self.day.rig, [size], self.limits)
            found.update((name, day) for day in tried)
        return found


def _spans_text(day: BoardDay, site: pd.Series) -> str:
    timezone = str(site["timezone"])
    return " and ".join(
        f"{_clock(first, timezone)} to {_clock(last, timezone)}" for first, last in day.good_utc_s
    )


def _clock(utc_s: float, timezone: str) -> str:
    """HH:MM of the site's clock, to the nearest minute."""
    return str(clock.local_iso(np.array([round(utc_s / 60.0) * 60.0]), timezone)[0])[11:16]


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
    horizon = parse_horizon(str(site.get("horizon") or ""))
    hidden = horizon is not None and (
        track["altitude_deg"].to_numpy() < horizon_altitude_deg(horizon, track["azimuth_deg"])
    )
    track["hidden"] = np.broadcast_to(hidden, len(track))
    return track


def _inside(
    track: pd.DataFrame, board_mm: tuple[float, float], foot_mm: tuple[float, float]
) -> Any:
    x, y = track["x_mm"] + foot_mm[0], track["y_mm"] + foot_mm[1]
    edge = _MARGIN_MM
    return x.between(edge, board_mm[0] - edge) & y.between(edge, board_mm[1] - edge)
