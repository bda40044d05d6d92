"""When to look by night: darkness, Polaris, the stars that give a line, pairs in one vertical.

A line by night is taken with two plumb lines d apart: the eye brings both onto the star and the
ground below them is pegged. Each line is seen to s, so the direction is good to s·√2 / d
(*the standard form*); the watch adds the star's motion in azimuth times its error, and a plane
of lines that is not plumb adds its leaning times tan h.

Two stars in one vertical need no watch: the moment when one plumb line covers both is known from
the stars alone, and so is the azimuth at that moment.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.numbers import bodies, sun
from orient.numbers.angles import wrap_180
from orient.numbers.horizon import horizon_altitude_deg, parse_horizon
from orient.tables import clock

Array = NDArray[np.float64]

#: How far the sun's centre is below the horizon at the ends of the twilights, degrees.
TWILIGHTS = {"civil": -6.0, "nautical": -12.0, "astronomical": -18.0}
_STEP_S, _EVENTS_S = 600.0, 60.0
#: Stars below this are dimmed and lifted by the air; above that the neck and tan h tell.
LOWEST_DEG, HIGHEST_DEG = 15.0, 60.0
#: Polaris is worth a look from this latitude on.
_POLARIS_FROM_DEG = 10.0
#: Fainter stars than this are not sighted over a line in the dark (*common practice, no source*).
FAINTEST = 2.7
_APART_DEG, _MOST_STARS, _MOST_PAIRS = 30.0, 8, 6
#: Two stars of a pair stand at least so far apart in altitude, degrees.
_STACKED_DEG = 15.0


@dataclass(frozen=True)
class NightRig:
    """What a line is taken with: standard uncertainties.

    `base_m` is between the two plumb lines, `sight_sd_mm` how well each is brought onto the
    star, `plumb_sd_deg` how plumb they hang, `watch_sd_s` how well the time is known.
    """

    base_m: float = 2.0
    sight_sd_mm: float = 1.0
    plumb_sd_deg: float = 0.02
    watch_sd_s: float = 10.0

    @property
    def sight_u_deg(self) -> float:
        """One direction by both lines: s·√2 / d."""
        return float(np.degrees(np.sqrt(2.0) * self.sight_sd_mm / (1000.0 * self.base_m)))


def expected_u_deg(rig: NightRig, altitude_deg: ArrayLike, rate_deg_per_s: ArrayLike) -> Any:
    """What one sight of a star is good to, degrees, one standard uncertainty; shapes broadcast."""
    leaning = rig.plumb_sd_deg * np.tan(np.radians(altitude_deg))
    late = np.asarray(rate_deg_per_s) * rig.watch_sd_s
    return np.sqrt(rig.sight_u_deg**2 + leaning**2 + late**2)


@dataclass(frozen=True)
class Night:
    """One site's night, from noon of `date` to the next noon.

    `darkness` maps a twilight's name to its end in the evening and its beginning in the morning
    (POSIX seconds), None where the sun does not sink so far, both ends of the day where it
    stays below. `moon_lit` is 0 to 1 about the middle; `moon_up` the spans in which it is up in
    the dark. `polaris` has a row an hour of darkness and `events` its elongations and
    culminations (`event`, `utc_s`, `azimuth_deg`, `altitude_deg`, `dark`). `stars` are single
    stars, `pairs` two in one vertical, best first.
    """

    site: str
    date: str
    timezone: str
    darkness: dict[str, tuple[float, float] | None]
    moon_lit: float
    moon_up: tuple[tuple[float, float], ...]
    polaris: pd.DataFrame
    events: pd.DataFrame
    stars: pd.DataFrame
    pairs: pd.DataFrame

    @property
    def dark(self) -> tuple[float, float] | None:
        """When bright stars can be sighted: the sun 6° down and more."""
        return self.darkness["civil"]


def plan_night(site: pd.Series, date: Any, rig: NightRig | None = None) -> Night:
    """Plan the night that begins on a date.

    Args:
        site: a row of the sites table, its id as the row's name.
        date: local date of the evening.
        rig: what the line is taken with.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.

    Accuracy: times of twilight, elongation and culmination to a minute; azimuths to 1″.
    """
    rig = rig or NightRig()
    zone = str(site["timezone"])
    noon_s = float(clock.utc_s(np.datetime64(date, "D"), 43200.0, zone))
    where = tuple(float(site[name]) for name in ("latitude_deg", "longitude_deg", "elevation_m"))
    at = noon_s + np.arange(0.0, 86400.0 + 1, _EVENTS_S)
    height = np.asarray(sun.place(at, *where).altitude_deg)
    darkness = {name: _below(at, height, limit) for name, limit in TWILIGHTS.items()}
    dark = darkness["civil"]
    skyline = parse_horizon(str(site.get("horizon", "")))
    stars, pairs = _stars(where, dark, skyline, rig)
    return Night(
        str(site.name),
        str(np.datetime64(date, "D")),
        zone,
        darkness,
        float(bodies.lit_part(noon_s + 43200.0)),
        _moon_up(where, dark),
        _polaris(where, dark, rig),
        _events(where, at, dark),
        stars,
        pairs,
    )


def _below(at: Array, height: Array, limit: float) -> tuple[float, float] | None:
    """The span in which the sun is below a limit, about its lowest point."""
    lowest = int(np.argmin(height))
    if height[lowest] >= limit:
        return None
    before, after = (
        np.flatnonzero(height[:lowest] >= limit),
        np.flatnonzero(height[lowest:] >= limit),
    )
    first = before[-1] + 1 if before.size else 0
    last = lowest + after[0] - 1 if after.size else len(at) - 1
    return float(at[first]), float(at[last])


def _moon_up(
    where: tuple[float, ...], dark: tuple[float, float] | None
) -> tuple[tuple[float, float], ...]:
    if dark is None:
        return ()
    at = np.arange(dark[0], dark[1] + 1, 300.0)
    up = np.asarray(bodies.place(bodies.MOON, at, *where).altitude_deg) > 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], up, [False]]).astype(int)))
    return tuple(
        (float(at[a]), float(at[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)
    )


# --- Polaris -----------------------------------------------------------------------------------


def _polaris_star() -> bodies.Star:
    star = bodies.find_star("Polaris")
    assert star is not None
    return star


def _polaris(
    where: tuple[float, ...], dark: tuple[float, float] | None, rig: NightRig
) -> pd.DataFrame:
    """Polaris at every whole hour of darkness, where it stands well above the horizon."""
    columns = ["utc_s", "azimuth_deg", "altitude_deg", "rate_deg_per_s", "expected_u_deg"]
    if dark is None or where[0] < _POLARIS_FROM_DEG:
        return pd.DataFrame(columns=columns, dtype=float)
    # Whole half hours of UTC are whole hours, or half ones, of nearly every zone.
    at = np.arange(np.ceil(dark[0] / 1800.0) * 1800.0, dark[1] + 1, 1800.0)
    azimuth, altitude, rate = _seen([_polaris_star()], at, where)
    return pd.DataFrame(
        {
            "utc_s": at,
            "azimuth_deg": azimuth[0],
            "altitude_deg": altitude[0],
            "rate_deg_per_s": rate[0],
            "expected_u_deg": expected_u_deg(rig, altitude[0], rate[0]),
        }
    )


def _events(where: tuple[float, ...], at: Array, dark: tuple[float, float] | None) -> pd.DataFrame:
    """Greatest elongations and culminations of Polaris from noon to noon."""
    columns = ["event", "utc_s", "azimuth_deg", "altitude_deg", "dark"]
    if where[0] < _POLARIS_FROM_DEG:
        return pd.DataFrame(columns=columns)
    azimuth, altitude, _ = (part[0] for part in _seen([_polaris_star()], at, where))
    off = wrap_180(azimuth)
    rows = []
    for event, turning in (
        ("greatest elongation east", off),
        ("greatest elongation west", -off),
        ("upper culmination", altitude),
        ("lower culmination", -altitude),
    ):
        inner = (turning[1:-1] >= turning[:-2]) & (turning[1:-1] > turning[2:])
        for place in np.flatnonzero(inner) + 1:
            in_dark = dark is not None and dark[0] <= at[place] <= dark[1]
            rows.append((event, at[place], azimuth[place], altitude[place], in_dark))
    return pd.DataFrame(rows, columns=columns).sort_values("utc_s", ignore_index=True)


# --- single stars and pairs --------------------------------------------------------------------


def _seen(
    stars: list[bodies.Star], at: Array, where: tuple[float, ...]
) -> tuple[Array, Array, Array]:
    """Azimuth, altitude and rate of azimuth a second of every star at every instant."""
    both = np.concatenate([at, at + 60.0])
    places = bodies.star_places(stars, both, *where)
    azimuth = np.array([place.azimuth_deg for place in places])
    altitude = np.array([place.altitude_deg for place in places])
    now = slice(0, len(at))
    rate = wrap_180(azimuth[:, len(at) :] - azimuth[:, now]) / 60.0
    return azimuth[:, now], altitude[:, now], rate


def _stars(
    where: tuple[float, ...],
    dark: tuple[float, float] | None,
    skyline: Any,
    rig: NightRig,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The best single stars, well spread, and the best pairs, over the hours of darkness."""
    if dark is None:
        return _table_of_stars([]), _table_of_pairs([])
    chosen = [star for star in bodies.stars() if star.magnitude <= FAINTEST]
    at = np.arange(np.ceil(dark[0] / _STEP_S) * _STEP_S, dark[1] + 1, _STEP_S)
    azimuth, altitude, rate = _seen(chosen, at, where)
    seen = (altitude > LOWEST_DEG) & (altitude < HIGHEST_DEG)
    if skyline is not None:
        seen &= altitude > horizon_altitude_deg(skyline, azimuth) + 1.0
    u = np.where(seen, expected_u_deg(rig, altitude, rate), np.inf)
    singles = _spread(chosen, at, azimuth, altitude, rate, u)
    pairs = _pairs(chosen, at, azimuth, altitude, rate, seen, rig)
    return _table_of_stars(singles), _table_of_pairs(pairs)


def _spread(
    stars: list[bodies.Star], at: Array, azimuth: Array, altitude: Array, rate: Array, u: Array
) -> list[tuple[Any, ...]]:
    """Each star at its best moment, the most useful first, none within 30° of another."""
    best = np.argmin(u, axis=1)
    # Of two that serve alike, the brighter one is found more surely: a magnitude counts as 10 %.
    worth = [u[n, best[n]] * (1.0 + 0.1 * star.magnitude) for n, star in enumerate(stars)]
    order = sorted(range(len(stars)), key=worth.__getitem__)
    taken: list[tuple[Any, ...]] = []
    for n in order:
        m = best[n]
        if not np.isfinite(u[n, m]) or len(taken) == _MOST_STARS:
            break
        if all(abs(wrap_180(azimuth[n, m] - other[2])) >= _APART_DEG for other in taken):
            taken.append((stars[n], at[m], azimuth[n, m], altitude[n, m], rate[n, m], u[n, m]))
    return taken


def _pairs(
    stars: list[bodies.Star],
    at: Array,
    azimuth: Array,
    altitude: Array,
    rate: Array,
    seen: NDArray[np.bool_],
    rig: NightRig,
) -> list[tuple[Any, ...]]:
    """Two stars when one stands plumb above the other, and what the moment's azimuth is good to."""
    first, second = np.triu_indices(len(stars), 1)
    apart = wrap_180(azimuth[first] - azimuth[second])
    crossing = (
        (apart[:, :-1] * apart[:, 1:] <= 0)
        & (np.abs(apart[:, :-1]) < 20)
        & (np.abs(apart[:, 1:]) < 20)
        & seen[first][:, :-1]
        & seen[second][:, :-1]
        & (np.abs(altitude[first] - altitude[second])[:, :-1] > _STACKED_DEG)
    )
    pair, moment = np.nonzero(crossing)
    a, b = first[pair], second[pair]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = apart[pair, moment] / (apart[pair, moment] - apart[pair, moment + 1])
    share = np.nan_to_num(share)
    when = at[moment] + share * _STEP_S
    rates = rate[a, moment], rate[b, moment]
    closing = np.abs(rates[0] - rates[1])
    leaning = rig.plumb_sd_deg * np.abs(
        np.tan(np.radians(altitude[a, moment])) - np.tan(np.radians(altitude[b, moment]))
    )
    # The moment is as good as the two are brought into one line; the azimuth moves meanwhile.
    late_s = np.hypot(rig.sight_u_deg, leaning) / np.maximum(closing, 1e-9)
    drift = np.minimum(np.abs(rates[0]), np.abs(rates[1])) * late_s
    tilt = rig.plumb_sd_deg * np.tan(
        np.radians(np.minimum(altitude[a, moment], altitude[b, moment]))
    )
    u = np.sqrt(rig.sight_u_deg**2 + tilt**2 + drift**2)
    turned = azimuth[a, moment] + share * _STEP_S * rates[0]
    rows, used = [], set()
    for n in np.argsort(u):
        upper, lower = (
            (a[n], b[n]) if altitude[a[n], moment[n]] > altitude[b[n], moment[n]] else (b[n], a[n])
        )
        if upper in used or lower in used:
            continue
        used |= {upper, lower}
        rows.append(
            (stars[upper], stars[lower], when[n], turned[n] % 360.0,
             altitude[upper, moment[n]], altitude[lower, moment[n]], u[n])
        )  # fmt: skip
        if len(rows) == _MOST_PAIRS:
            break
    return rows


def _table_of_stars(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    columns = ["star", "utc_s", "azimuth_deg", "altitude_deg", "rate_deg_per_s", "expected_u_deg"]
    return pd.DataFrame(rows, columns=columns)


def _table_of_pairs(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    columns = ["upper", "lower", "utc_s", "azimuth_deg", "upper_altitude_deg",
               "lower_altitude_deg", "expected_u_deg"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


# --- rows --------------------------------------------------------------------------------------


def night_row(night: Night) -> dict[str, Any]:
    """A night as machines read it: local ISO times, degrees, standard uncertainties.

    Returns:
        `site date dark moon_lit moon_up polaris events stars pairs`; `dark` maps each twilight
        to `{"from", "to"}` or None; azimuth rates are degrees a minute.
    """

    def local(utc_s: Any) -> str:
        return str(clock.local_iso(utc_s, night.timezone))

    def span(ends: tuple[float, float] | None) -> dict[str, str] | None:
        return None if ends is None else {"from": local(ends[0]), "to": local(ends[1])}

    def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
        return [_named(row, local) for row in frame.to_dict("records")]

    return {
        "site": night.site,
        "date": night.date,
        "dark": {name: span(ends) for name, ends in night.darkness.items()},
        "moon_lit": round(night.moon_lit, 2),
        "moon_up": [span(each) for each in night.moon_up],
        "polaris": rows(night.polaris),
        "events": rows(night.events),
        "stars": rows(night.stars),
        "pairs": rows(night.pairs),
    }


def _named(row: dict[Any, Any], local: Any) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in row.items():
        if name == "utc_s":
            out["local"] = local(value)
        elif name == "rate_deg_per_s":
            out["rate_deg_per_min"] = 60.0 * value
        elif isinstance(value, bodies.Star):
            out[name] = value.name
            out[f"{name}_hip"] = value.hip
        else:
            out[str(name)] = value
    return out
