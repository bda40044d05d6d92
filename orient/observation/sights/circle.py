"""One graduated circle as it stood: its sights as arrays, and where the sky was at their times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers import bodies, sun
from orient.numbers.angles import wrap_180
from orient.tables.sights import LINE, ROUGH_SD_S, SHADOW, body_of

Array = NDArray[np.float64]

#: Over so many seconds the motion of a body is measured, and so many degrees a site's error.
_STEP_S, _STEP_DEG = 20.0, 0.01
#: No plane of sights is led higher than this with any sense.
_HIGHEST_DEG = 88.0


@dataclass(frozen=True)
class Circle:
    """The sights of one circle at one site, toward the sky and toward lines.

    Arrays of one value a sight, in the table's order. `utc_s` is what the watch showed, its
    stated error taken off, NaN toward a line; `timepiece` numbers what may be off together, −1
    toward a line; `watch_sd_s` has one value a timepiece. `line` numbers the reference line,
    −1 toward the sky; `line_names` are their names. `face` is +1, −1, or 0 where not told.
    `limb` is −1 for a left edge, +1 for a right one. `turned` marks the readings after which, or
    before which, the circle may have been turned; `declination_deg` is the model's, and with its
    standard uncertainty what a compass is expected to point by. `skies` keeps the skies of its
    other readings, which share it.
    """

    site: str
    date: str
    name: str
    compass: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    pressure_hpa: float
    temperature_c: float
    sights: pd.DataFrame
    bodies: tuple[str | bodies.Star | None, ...]
    utc_s: Array
    timepiece: NDArray[np.intp]
    watch_sd_s: Array
    watch_names: tuple[str, ...]
    line: NDArray[np.intp]
    line_names: tuple[str, ...]
    reading_deg: Array
    reading_sd_deg: Array
    plumb_sd_deg: Array
    altitude_deg: Array
    altitude_sd_deg: Array
    limb: Array
    face: Array
    shadow: NDArray[np.bool_]
    turned: NDArray[np.bool_]
    declination_deg: float
    declination_u_deg: float
    skies: dict[Any, Sky] = field(default_factory=dict, repr=False, compare=False)

    @property
    def aloft(self) -> NDArray[np.bool_]:
        """Which sights are toward the sky."""
        return self.line < 0


def circle_of(
    sights: pd.DataFrame,
    where: pd.Series,
    latitude_deg: float,
    longitude_deg: float,
    watch_error_s: Array,
    watch_sd_s: Array,
    declination_deg: tuple[float, float],
) -> Circle:
    """Gather the rows of one circle.

    Args:
        sights: rows of the finished sights table, of one site and standing.
        where: the site's row.
        latitude_deg, longitude_deg: where its plumb line points.
        watch_error_s, watch_sd_s: of each row's watch at its time.
        declination_deg: of the model, and its standard uncertainty.
    """
    kind = sights["kind"].to_numpy()
    aloft = kind != LINE
    timepiece, sd_s, names = _timepieces(sights, aloft, watch_sd_s)
    line = np.full(len(sights), -1)
    line_names = tuple(dict.fromkeys(sights["target"][~aloft]))
    line[~aloft] = [line_names.index(name) for name in sights["target"][~aloft]]
    first = sights.iloc[0]
    compasses = sights["compass"][sights["compass"] != ""]
    sign = {"left": -1.0, "right": 1.0}
    return Circle(
        site=str(first["site"]),
        date=str(first["date"])[:10],
        name=str(first["circle"]),
        compass=str(compasses.iloc[0]) if len(compasses) else "",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=float(where["elevation_m"]),
        pressure_hpa=float(where["pressure_hpa"]),
        temperature_c=float(where["temperature_c"]),
        sights=sights,
        bodies=tuple(body_of(target) for target in sights["target"]),
        utc_s=np.where(aloft, sights["utc_s"].to_numpy(float) - watch_error_s, np.nan),
        timepiece=timepiece,
        watch_sd_s=sd_s,
        watch_names=names,
        line=line,
        line_names=line_names,
        reading_deg=sights["reading_deg"].to_numpy(float),
        reading_sd_deg=sights["reading_sd_deg"].to_numpy(float),
        plumb_sd_deg=sights["plumb_sd_deg"].to_numpy(float),
        altitude_deg=sights["altitude_deg"].to_numpy(float),
        altitude_sd_deg=sights["altitude_sd_deg"].to_numpy(float),
        limb=np.array([sign.get(each, 0.0) for each in sights["limb"]]),
        face=np.array([sign.get(each, 0.0) for each in sights["face"]]),
        shadow=kind == SHADOW,
        turned=np.zeros(len(sights), dtype=bool),
        declination_deg=declination_deg[0],
        declination_u_deg=declination_deg[1],
    )


def _timepieces(
    sights: pd.DataFrame, aloft: Any, watch_sd_s: Array
) -> tuple[NDArray[np.intp], Array, tuple[str, ...]]:
    """What may be off together: one watch with its setting, or each rough time by itself."""
    number = np.full(len(sights), -1)
    keys: dict[Any, int] = {}
    sd: list[float] = []
    for place, (watch, piece) in enumerate(zip(sights["watch"], sights["timepiece"], strict=True)):
        if not aloft[place]:
            continue
        key = (watch, piece, place if watch == "none" else -1)
        stated = watch_sd_s[place] if watch == "trusted" else ROUGH_SD_S
        number[place] = keys.setdefault(key, len(keys))
        if number[place] == len(sd):
            sd.append(0.0)
        sd[number[place]] = max(sd[number[place]], float(stated))
    return number, np.array(sd), tuple(str(piece) for _, piece, _ in keys)


@dataclass(frozen=True)
class Sky:
    """Where the sights' bodies were, at the circle's times less an offset; NaN toward lines.

    `azimuth_deg` and `altitude_deg` (refracted) are of what was sighted: the limb, or the
    shadow's direction; the rates are degrees a second, and `by_place` (2, n, 2) degrees of
    azimuth and altitude a degree that the site lies farther north or, along the ground, east.
    """

    azimuth_deg: Array
    altitude_deg: Array
    azimuth_rate: Array
    altitude_rate: Array
    by_place: Array
    body_u_deg: Array


def sky_of(circle: Circle, offset_s: Array) -> Sky:
    """Compute the sky of a circle.

    Args:
        circle: the sights.
        offset_s: by timepiece, how much more it was fast than stated.
    """
    n = len(circle.reading_deg)
    azimuth, altitude = np.full((5, n), np.nan), np.full((5, n), np.nan)
    body_u = np.zeros(n)
    across = max(np.cos(np.radians(circle.latitude_deg)), 1e-3)
    shift_s = np.array([0.0, _STEP_S, -_STEP_S, 0.0, 0.0])[:, None]
    latitude = circle.latitude_deg + np.array([0.0, 0.0, 0.0, _STEP_DEG, 0.0])[:, None]
    # Near a pole the step north is taken to the south, its effect with the sign turned.
    turned = circle.latitude_deg + _STEP_DEG > 90.0
    latitude[3] -= 2 * _STEP_DEG * turned
    longitude = circle.longitude_deg + np.array([0.0, 0.0, 0.0, 0.0, _STEP_DEG / across])[:, None]
    at = circle.utc_s - np.where(circle.aloft, offset_s[circle.timepiece], 0.0)
    for body in dict.fromkeys(each for each in circle.bodies if each is not None):
        mine = np.array([each is body or each == body for each in circle.bodies])
        seen = bodies.place(body, at[mine] + shift_s, latitude, longitude, circle.elevation_m)
        azimuth[:, mine], altitude[:, mine] = _sighted(circle, mine, seen)
        body_u[mine] = _body_u_deg(body, seen.altitude_deg[0])
    east_step = wrap_180(azimuth[4] - azimuth[0]) / _STEP_DEG
    north_step = wrap_180(azimuth[3] - azimuth[0]) / (_STEP_DEG * (-1 if turned else 1))
    by_place = np.array(
        [
            [north_step, (altitude[3] - altitude[0]) / (_STEP_DEG * (-1 if turned else 1))],
            [east_step, (altitude[4] - altitude[0]) / _STEP_DEG],
        ]
    ).transpose(0, 2, 1)
    return Sky(
        azimuth[0],
        altitude[0],
        wrap_180(azimuth[1] - azimuth[2]) / (2 * _STEP_S),
        (altitude[1] - altitude[2]) / (2 * _STEP_S),
        by_place,
        body_u,
    )


def _sighted(circle: Circle, mine: Any, seen: bodies.Place) -> tuple[Any, Any]:
    """Azimuth of the limb or the shadow, and refracted altitude of the centre."""
    lift = sun.refraction_deg(seen.altitude_deg, circle.pressure_hpa, circle.temperature_c)
    high = np.radians(np.minimum(seen.altitude_deg, _HIGHEST_DEG))
    half = np.degrees(
        np.arcsin(np.minimum(np.sin(np.radians(seen.semidiameter_deg)) / np.cos(high), 1.0))
    )
    azimuth = seen.azimuth_deg + circle.limb[mine] * half + 180.0 * circle.shadow[mine]
    return azimuth, seen.altitude_deg + lift


def _body_u_deg(body: str | bodies.Star, altitude_deg: Any) -> Any:
    """What is uncertain of the body's own azimuth; sun and moon within 1″."""
    arcsec = body.u_arcsec if isinstance(body, bodies.Star) else 1.0
    return arcsec / 3600.0 / np.cos(np.radians(np.minimum(altitude_deg, _HIGHEST_DEG)))


def standings(sights: pd.DataFrame, sites: pd.DataFrame) -> list[Sequence[int]]:
    """Places of the rows of each circle as it stood, in the order of the table.

    A circle stands at one site for one date; a night belongs together though the date changes
    in it: rows of the next date join where the sun stayed down between.
    """
    groups: dict[tuple[str, str, np.datetime64], list[int]] = {}
    for place, (site, name, date) in enumerate(
        zip(sights["site"], sights["circle"], sights["date"].to_numpy("datetime64[D]"), strict=True)
    ):
        groups.setdefault((site, name, date), []).append(place)
    for site, name, date in sorted(groups, key=lambda key: key[2]):
        evening = groups.get((site, name, date - 1))
        if evening and _one_night(
            sights, cast("pd.Series[Any]", sites.loc[site]), evening, groups[site, name, date]
        ):
            # A night has two dates; the one before stays what it is called by.
            groups[site, name, date] = evening + groups[site, name, date]
            del groups[site, name, date - 1]
    return sorted(groups.values(), key=lambda places: places[0])


def _one_night(
    sights: pd.DataFrame, where: pd.Series, evening: Sequence[int], morning: Sequence[int]
) -> bool:
    instants = sights["utc_s"].to_numpy(float)
    late, early = (instants[list(rows)] for rows in (evening, morning))
    late, early = late[np.isfinite(late)], early[np.isfinite(early)]
    # Rows toward lines have no times: their circle's other rows then tell of night or day.
    known = [float(late.max())] if late.size else []
    known += [float(early.min())] if early.size else []
    if not known or not 0.0 <= known[-1] - known[0] < 43200.0:
        return False
    between = np.linspace(known[0], known[-1], 25)
    height = sun.place(between, where["latitude_deg"], where["longitude_deg"]).altitude_deg
    return bool(np.max(height) < 0.0)
