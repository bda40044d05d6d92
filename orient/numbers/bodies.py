"""Moon and bright stars as seen from any place at any instant of 1900–2050, beside the sun.

The earth's place and motion, the turn from the ICRS to the equator of date, sidereal time
and the moon come from DE421 through skyfield at six-hour nodes of UT1, joined by cubic
splines, one table a calendar year. A star's place then follows in closed form: proper motion,
parallax, the bending of light by the sun, annual and diurnal aberration; the moon's gets the
parallax of the site. Left out, as for the sun: polar motion (under 0.5″); and the orbits of
double stars (`u_arcsec` of the star table).

Accuracy: within 0.02″ of skyfield's apparent place, stars and moon, 1972–2050; within 1″ of
astropy and of ephem, which have polar motion or other sources (`tests/test_bodies.py`).

Instants are `utc_s` and sites are degrees and metres as in `orient.numbers.sun`.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers import sun
from orient.numbers.angles import wrap_360
from orient.numbers.splines import EvenSpline

Array = NDArray[np.float64]

_NODE_S = 21600.0
_AU_KM = 149597870.7
_LIGHT_AU_PER_DAY = 173.144632674
_MOON_RADIUS_KM = 1737.4
#: J1991.25 (TT) as a Julian date, the epoch of the star table.
_STAR_EPOCH_JD = 2448349.0625
_DAYS_PER_YEAR = 365.25
_MAS = np.radians(1.0 / 3.6e6)
#: Twice the sun's gravitational radius, in astronomical units.
_BENDING_AU = 1.97412574336e-8

#: The bodies that are no stars; `shadow` is the direction away from the sun.
SUN, MOON = "sun", "moon"


@dataclass(frozen=True)
class Star:
    """A star of the bundled table: ICRS at J1991.25, magnitudes in V.

    `names` holds every name that it is found by, the first the one shown.
    """

    hip: int
    names: tuple[str, ...]
    designation: str
    right_ascension_deg: float
    declination_deg: float
    pm_ra_cos_dec_mas_per_year: float
    pm_declination_mas_per_year: float
    parallax_mas: float
    magnitude: float
    u_arcsec: float

    @property
    def name(self) -> str:
        """The name in common use, or the designation with its Greek letter."""
        return self.names[0]


GREEK = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "epsilon": "ε", "zeta": "ζ",
    "eta": "η", "theta": "θ", "iota": "ι", "kappa": "κ", "lambda": "λ", "mu": "μ", "nu": "ν",
    "xi": "ξ", "omicron": "ο", "pi": "π", "rho": "ρ", "sigma": "σ", "tau": "τ", "upsilon": "υ",
    "phi": "φ", "chi": "χ", "psi": "ψ", "omega": "ω",
}  # fmt: skip
_SPELLED = {letter: spelled for spelled, letter in GREEK.items()}


def folded(name: str) -> str:
    """A name as it is compared: small letters and digits alone, Greek letters spelled."""
    spelled = "".join(_SPELLED.get(letter, letter) for letter in name.casefold())
    return re.sub(r"[^a-z0-9]", "", spelled)


@lru_cache(maxsize=1)
def stars() -> tuple[Star, ...]:
    """The bundled table, brightest first; its source stands at the head of the file."""
    text = (files("orient") / "data" / "stars.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(_star(row) for row in csv.DictReader(lines))


def _star(row: dict[str, str]) -> Star:
    letter, constellation = row["designation"].split()
    part = re.fullmatch(r"([a-zA-Z]+)(\d?)", letter)
    greek = letter if part is None else GREEK.get(part[1], part[1]) + part[2]
    designation = f"{greek} {constellation}"
    others = [name for name in row["other_names"].split("; ") if name]
    names = [row["name"], designation, *others, f"HIP {row['hip']}"]
    return Star(
        int(row["hip"]),
        tuple(name for name in names if name),
        designation,
        *(float(row[name]) for name in _NUMBERS),
    )


_NUMBERS = (
    "right_ascension_deg",
    "declination_deg",
    "pm_ra_cos_dec_mas_per_year",
    "pm_declination_mas_per_year",
    "parallax_mas",
    "magnitude",
    "u_arcsec",
)


@lru_cache(maxsize=1)
def star_by_name() -> dict[str, Star]:
    """Every star under every `folded` name of it."""
    found = {folded(name): star for star in stars() for name in star.names}
    # α1 Cen is α Cen to anyone who needs its direction.
    for star in stars():
        found.setdefault(folded(re.sub(r"1(?= )", "", star.designation)), star)
    return found


def find_star(name: str) -> Star | None:
    """The star of a name, a designation (α UMi, alpha UMi) or a number (HIP 11767)."""
    return star_by_name().get(folded(name))


# --- the year's table --------------------------------------------------------------------------


class _YearTable(NamedTuple):
    start_s: float
    delta_t_s: EvenSpline  # of TT − UT1, one column
    frame: EvenSpline  # of the 23 numbers of `_frame_nodes`


class _Frame(NamedTuple):
    turn: Array  # (..., 3, 3): ICRS to the true equator and equinox of date
    sidereal_rad: Array  # (...): Greenwich apparent sidereal time
    earth_au: Array  # (..., 3): barycentric
    velocity: Array  # (..., 3): of the earth, in parts of the speed of light
    sun_au: Array  # (..., 3): the sun from the earth
    moon_au: Array  # (..., 3): apparent, from the earth, of date
    tt_jd: Array


@lru_cache(maxsize=160)
def _year_table(year: int) -> _YearTable:
    timescale, kernel = sun.ephemeris()
    start_s = float(np.datetime64(f"{year}-01-01", "s").astype(np.int64))
    end_s = float(np.datetime64(f"{year + 1}-01-01", "s").astype(np.int64))
    node_s = np.arange(start_s - 2 * sun.SOLAR_DAY_S, end_s + 2 * sun.SOLAR_DAY_S, _NODE_S)
    nodes = timescale.ut1_jd(2440587.5 + node_s / sun.SOLAR_DAY_S)
    delta_t = sun.delta_t_spline(node_s - start_s, nodes)
    frame = EvenSpline(node_s[0] - start_s, _NODE_S, _frame_nodes(nodes, kernel))
    return _YearTable(start_s, delta_t, frame)


def _frame_nodes(nodes: Any, kernel: Any) -> Array:
    earth = kernel["earth"].at(nodes)
    moon = earth.observe(kernel["moon"])
    turn = np.asarray(nodes.M)
    # Aberration as a shift by the light's time, which keeps the scale that the site's
    # parallax is counted in: an aberrated direction of the old length would be 40 km off.
    shifted = moon.position.au + earth.velocity.au_per_d * moon.light_time
    of_date = np.einsum("ijn,jn->in", turn, shifted)
    parts = [
        turn.reshape(9, -1),
        np.unwrap(np.radians(15.0 * nodes.gast))[None],
        earth.position.au,
        earth.velocity.au_per_d / _LIGHT_AU_PER_DAY,
        kernel["sun"].at(nodes).position.au - earth.position.au,
        of_date,
        nodes.tt[None],
    ]
    return np.asarray(np.concatenate(parts).T, dtype=float)


def _frame(utc_s: Array) -> _Frame:
    """What the splines say at instants of one axis."""
    values = np.full((utc_s.size, 23), np.nan)
    years = np.array([sun._year_of(each) if np.isfinite(each) else 0 for each in utc_s])
    for year in np.unique(years[years > 0]).tolist():
        chosen = years == year
        table: Any = _year_table(year)
        at_s = sun.ut1_s(utc_s[chosen], table) - table.start_s
        values[chosen] = table.frame(at_s).T
    turn = values[:, :9].reshape(-1, 3, 3)
    earth, velocity, sun_au, moon = (values[:, n : n + 3] for n in (10, 13, 16, 19))
    return _Frame(turn, values[:, 9], earth, velocity, sun_au, moon, values[:, 22])


# --- places ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """A body in a site's sky, unrefracted, arrays of the broadcast shape.

    Azimuth in degrees clockwise from true north, altitude and semi-diameter in degrees (0 for
    a star).
    """

    azimuth_deg: Any
    altitude_deg: Any
    semidiameter_deg: Any


def place(
    body: str | Star,
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
) -> Place:
    """The apparent place of the sun, the moon or a star.

    Args:
        body: `SUN`, `MOON` or a star of `stars`.
        utc_s: POSIX seconds, any shape that broadcasts with the site; NaN gives NaN.
        latitude_deg, longitude_deg: WGS 84, north and east plus.
        elevation_m: metres above the ellipsoid.

    Raises:
        OutsideEphemeris: an instant outside 1900–2050.
        ValueError: a text that is neither sun nor moon.

    Accuracy: as the head of this module says.

    Example:
        >>> round(float(place(find_star("Polaris"), 1.8e9, 45.0, 15.0).altitude_deg), 1)
        44.6
    """
    if isinstance(body, Star):
        return star_places([body], utc_s, latitude_deg, longitude_deg, elevation_m)[0]
    if body == SUN:
        seen = sun.place(utc_s, latitude_deg, longitude_deg, elevation_m)
        return Place(seen.azimuth_deg, seen.altitude_deg, sun.semidiameter_deg(seen.distance_au))
    if body != MOON:
        raise ValueError(f"{body!r} is neither {SUN} nor {MOON}")
    instants = np.asarray(utc_s, dtype=float)
    frame = _frame(instants.ravel())
    return _seen(frame, frame.moon_au, instants.shape, latitude_deg, longitude_deg, elevation_m)


def star_places(
    chosen: list[Star],
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
) -> list[Place]:
    """The places of many stars at the same sites and instants, as `place` gives each."""
    instants = np.asarray(utc_s, dtype=float)
    frame = _frame(instants.ravel())
    site = latitude_deg, longitude_deg, elevation_m
    return [_seen(frame, _star_of_date(frame, star), instants.shape, *site) for star in chosen]


def _star_of_date(frame: _Frame, star: Star) -> Array:
    """Toward a star from the moving earth, on the equator of date, as a vector in au."""
    ra, dec = np.radians([star.right_ascension_deg, star.declination_deg])
    toward = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    east = np.array([-np.sin(ra), np.cos(ra), 0.0])
    north = np.cross(toward, east)
    pm_east, pm_north = star.pm_ra_cos_dec_mas_per_year, star.pm_declination_mas_per_year
    moving = _MAS * (pm_east * east + pm_north * north)
    # A star without a parallax is no nearer than a thousand kiloparsecs.
    distance = 1.0 / (_MAS * max(star.parallax_mas, 1e-3))
    years = (frame.tt_jd - _STAR_EPOCH_JD) / _DAYS_PER_YEAR
    seen = distance * (toward + years[:, None] * moving) - frame.earth_au
    seen = _bent(seen / np.linalg.norm(seen, axis=-1, keepdims=True), frame.sun_au)
    seen = _aberrated(seen, frame.velocity)
    return np.asarray(distance * np.einsum("nij,nj->ni", frame.turn, seen))


def _bent(toward: Array, sun_au: Array) -> Array:
    """Starlight bent by the sun: unit vectors, first order (a star behind the sun stays)."""
    distance = np.linalg.norm(sun_au, axis=-1, keepdims=True)
    to_sun = sun_au / distance
    cosine = np.sum(toward * to_sun, axis=-1, keepdims=True)
    # Within the sun's own disc nothing is seen, and the formula has no meaning.
    away = np.maximum(1.0 - cosine, 1e-5)
    return toward - (_BENDING_AU / distance) * (to_sun - cosine * toward) / away


def _aberrated(toward: Array, velocity: Array) -> Array:
    """Annual aberration by the special theory of relativity: unit vectors."""
    along = np.sum(toward * velocity, axis=-1, keepdims=True)
    slower = np.sqrt(1.0 - np.sum(velocity**2, axis=-1, keepdims=True))
    turned = slower * toward + velocity * (1.0 + along / (1.0 + slower))
    return np.asarray(turned / (1.0 + along))


def _seen(
    frame: _Frame,
    of_date_au: Array,
    shape: tuple[int, ...],
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike,
) -> Place:
    x, y, z = of_date_au.T
    distance = np.sqrt(x * x + y * y + z * z)
    hour_angle = (frame.sidereal_rad - np.arctan2(y, x)).reshape(shape)
    declination = np.arcsin(z / distance).reshape(shape)
    axes = sun.SiteAxes.at(latitude_deg, longitude_deg, elevation_m)
    turned = sun._Turned.to(hour_angle, declination)
    east, north, up, range_au = sun.toward(axes, turned, distance.reshape(shape))
    radius = np.where(range_au < 0.01, _MOON_RADIUS_KM / _AU_KM, 0.0)
    return Place(
        wrap_360(np.degrees(np.arctan2(east, north))),
        np.degrees(np.arctan2(up, np.hypot(east, north))),
        np.degrees(np.arcsin(radius / range_au)),
    )


def declination_deg(body: Star | str, utc_s: ArrayLike) -> Any:
    """A star's or the moon's apparent geocentric declination in degrees, north plus."""
    instants = np.asarray(utc_s, dtype=float)
    frame = _frame(instants.ravel())
    x, y, z = (_star_of_date(frame, body) if isinstance(body, Star) else frame.moon_au).T
    return np.degrees(np.arctan2(z, np.hypot(x, y))).reshape(instants.shape)[()]


def lit_part(utc_s: ArrayLike) -> Any:
    """How much of the moon's disc is lit, 0 to 1, any shape, to 0.01."""
    instants = np.asarray(utc_s, dtype=float)
    frame = _frame(instants.ravel())
    of_date = np.einsum("nij,nj->ni", frame.turn, frame.sun_au)
    apart = np.sum(of_date * frame.moon_au, axis=-1) / (
        np.linalg.norm(of_date, axis=-1) * np.linalg.norm(frame.moon_au, axis=-1)
    )
    # The sun is so far that the angle at the moon is the rest of two right angles.
    return (0.5 * (1.0 - apart)).reshape(instants.shape)[()]
