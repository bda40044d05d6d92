"""The rod and board to be carried, and where the tip's shadow will run on them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from orient.defaults import BOARD_MM, ROD_MM
from orient.errors import check_figures
from orient.numbers import shadow, sun
from orient.numbers.angles import wrap_360
from orient.numbers.light import Places, light_altitude_deg, light_at_board
from orient.numbers.shadow import BoardState
from orient.numbers.tolerances import Tolerances
from orient.tables import clock

#: No rod is longer than this, mm.
LONGEST_MM = 1e6
_LENGTH = "a length above 0, mm"
#: Nearer the board's edge than this nothing is marked, mm (*common practice, no source*).
EDGE_MARGIN_MM = 10.0
#: The foot stands this far in from the edge toward the noon sun, mm ...
FOOT_INSET_MM = 40.0
#: ... or in the middle of the board, where the noon shadow is a shorter part of its depth
#: than this: then the early and late shadows fall to the sun's side of the rod.
SHORT_NOON_SHADOW = 0.25


@dataclass(frozen=True)
class Rig:
    """A rod, a board and how carefully they are set up.

    The board lies with its width east and west. The foot stands in the middle of that
    width, and in from the edge toward the noon sun by `foot_inset_mm`. With `reach_mm`
    given, a tip counts as on the board while the shadow is no longer than that, whatever
    the board.

    The defaults are those of `orient.defaults`.
    """

    rod_mm: float = ROD_MM
    board_width_mm: float = BOARD_MM[0]
    board_depth_mm: float = BOARD_MM[1]
    reach_mm: float | None = None
    tolerances: Tolerances = field(default_factory=Tolerances)

    def __post_init__(self) -> None:
        reach = math.inf if self.reach_mm is None else self.reach_mm
        check_figures(
            ("rod_mm", self.rod_mm, 0.0 < self.rod_mm <= LONGEST_MM, _LENGTH),
            ("board_width_mm", self.board_width_mm, 0.0 < self.board_width_mm < 1e6, _LENGTH),
            ("board_depth_mm", self.board_depth_mm, 0.0 < self.board_depth_mm < 1e6, _LENGTH),
            ("reach_mm", self.reach_mm, reach > 0.0, _LENGTH),
        )

    def foot_inset_mm(self, noon_y_mm: ArrayLike) -> Any:
        """How far the foot stands in from the board's edge toward the noon sun, any shape.

        Args:
            noon_y_mm: the tip at local noon, + to true north.
        """
        short = np.abs(noon_y_mm) < SHORT_NOON_SHADOW * self.board_depth_mm
        return np.where(short, self.board_depth_mm / 2, FOOT_INSET_MM)

    def foot_mm(self, noon_y_mm: float) -> tuple[float, float]:
        """Where the foot stands, counted from the board's lower left corner, +y to true north.

        In the middle of the width, for morning and afternoon need the same room; toward the
        noon sun, for the shadows of the good hours fall away from it; in the middle of the
        depth where the noon shadow is short, for early and late ones then fall both ways.
        """
        inset = float(self.foot_inset_mm(noon_y_mm))
        return (
            self.board_width_mm / 2,
            self.board_depth_mm - inset if noon_y_mm < 0 else inset,
        )

    def room_mm(self, x_mm: ArrayLike, y_mm: ArrayLike, noon_y_mm: ArrayLike) -> Any:
        """How far inside the usable part of the board a tip falls; below 0 outside.

        Args:
            x_mm, y_mm: the tip, +y to true north, any shape.
            noon_y_mm: the tip at local noon; broadcasts.
        """
        x, y = np.asarray(x_mm), np.asarray(y_mm)
        if self.reach_mm is not None:
            return self.reach_mm - np.hypot(x, y)
        ahead = np.where(np.asarray(noon_y_mm) < 0, -y, y)
        inset = self.foot_inset_mm(noon_y_mm)
        beside = self.board_width_mm / 2 - np.abs(x)
        beyond, behind = self.board_depth_mm - inset - ahead, inset + ahead
        return np.minimum(beside, np.minimum(beyond, behind)) - EDGE_MARGIN_MM


def tip_track(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    date: Any,
    timezone: str,
    gnomon_height_mm: float,
    pressure_hpa: float,
    temperature_c: float,
    step_min: int = 10,
    min_altitude_deg: float = 5,
) -> pd.DataFrame:
    """Predict the track of the shadow's tip for one site and day, on a level board.

    Args:
        latitude_deg, longitude_deg, elevation_m: the site.
        date: local date, as ISO text, a date or a datetime64.
        timezone: IANA name.
        gnomon_height_mm: tip above the board.
        pressure_hpa, temperature_c: of the air at the site.
        step_min: minutes between instants, counted from local midnight.
        min_altitude_deg: instants of a lower (refracted) sun are left out.

    Returns:
        One row an instant, in order: `utc_s`, `local` (ISO text), `azimuth_deg` and
        `altitude_deg` of the sun (refracted), the tip `x_mm`, `y_mm` in the board frame with
        +y to true north, `shadow_mm`, and `noon`, True for the row of local apparent noon,
        which stands at its own exact instant. Empty where the sun stays too low.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.
    """
    day = np.datetime64(date, "D")
    # From midnight to midnight in true time: a day of 23 or 25 hours has no gap and no repeat.
    midnight, next_midnight = clock.utc_s([day, day + 1], 0.0, timezone)
    noon = sun.transit(clock.utc_s(day, 43200.0, timezone), longitude_deg)
    instants = np.unique(np.append(np.arange(midnight, next_midnight, step_min * 60.0), noon))
    place = Places(latitude_deg, longitude_deg, elevation_m, pressure_hpa, temperature_c)
    light = light_at_board(instants, place)
    altitude = light_altitude_deg(light)
    x, y = shadow.tip(*light, BoardState(height_mm=gnomon_height_mm))
    table = pd.DataFrame(
        {
            "utc_s": instants,
            "local": clock.local_iso(instants, timezone),
            "azimuth_deg": wrap_360(np.degrees(np.arctan2(light[0], light[1]))),
            "altitude_deg": altitude,
            "x_mm": x,
            "y_mm": y,
            "shadow_mm": np.hypot(x, y),
            "noon": instants == noon,
        }
    )
    return table[altitude >= min_altitude_deg].reset_index(drop=True)
