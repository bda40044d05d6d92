"""The earth's main magnetic field anywhere, 1900–2035, and what a map's age does to bearings.

Two coefficient tables are carried: WMM2025 (NOAA/NCEI and BGS) for 2025.0 ≤ year < 2030.0,
IGRF-14 (IAGA, doi 10.5281/zenodo.14012302) for 1900.0 ≤ year < 2025.0. For five more years
past the end a value is still given, extrapolated, and called expired: a new model replaces the
old one every five years. The models end at the first instant of 2030, so 2030.0 is expired.
IGRF-14 is linear in decimal years between its five-yearly tables, as its authors define it.

The models leave out local rock and iron. Declination is plus to the east.

Source of the formulas: the WMM2025 technical report (*from memory*) for the rotation to the
ellipsoid and the elements; the recursion of the Legendre functions is the textbook one
(*from memory*). Proved by the official test values and by reference libraries
to 0.1 nT (`tests/published/test_magnetic.py`, `tests/test_magnetic.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib.resources import files
from itertools import groupby
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers.angles import wrap_180

Array = NDArray[np.float64]

WMM = "WMM2025"
IGRF = "IGRF-14"

#: The decimal years that each model holds for: from the first, up to but without the last.
MODEL_YEARS: dict[str, tuple[float, float]] = {WMM: (2025.0, 2030.0), IGRF: (1900.0, 2030.0)}
#: How far past its years a model is still followed, with the flag `model-expired`.
EXTRAPOLATION_YEARS = 5.0

#: Below the first a compass is doubtful, below the second useless: the caution and the
#: unreliability zone of the WMM2025 technical report.
CAUTION_HORIZONTAL_NT = 6000.0
UNRELIABLE_HORIZONTAL_NT = 2000.0

# Standard uncertainty of declination: sqrt(0.26² + (5417 / H)²) degrees, H in nT, by the WMM2025
# technical report. The second term is an error of 94.5 nT across the needle.
_DECLINATION_U_DEG = 0.26
_DECLINATION_U_DEG_NT = 5417.0
# What older epochs add across the needle, nT (1 σ). The order of size that the IGRF's reviews
# give (*from memory*: Lowes 2000, Earth Planets Space 52; Beggan 2022, Earth Planets Space 74),
# rounded up, and never below what the table itself shows: the degrees above 10 that it lacks
# before 2000, and how far its epochs of 1945–1960 stray from one another.
_OLDER_YEARS = (1900.0, 1945.0, 1965.0, 1980.0, 1999.9, 2000.0)
_OLDER_NT = (200.0, 120.0, 60.0, 30.0, 20.0, 0.0)
# How fast a forecast strays, a component, nT a year: measured on IGRF-14 itself, each epoch
# since 2005 against the straight line through the two before it.
_FORECAST_NT_PER_YEAR = 13.0
# Nothing is known of a direction whose standard uncertainty is that of a whole circle.
_CIRCLE_U_DEG = 180.0 / np.sqrt(3.0)

_REFERENCE_RADIUS_KM = 6371.2
_WGS84_RADIUS_KM = 6378.137
_WGS84_FLATTENING = 1 / 298.257223563
# Points at a time: few enough that the harmonics stay within a core's own cache, and the matrix
# products below the size at which the linear algebra library wakes other cores for them.
_CHUNK = 1500


class OutsideModels(ValueError):
    """A date lies outside every model of the magnetic field."""


@dataclass(frozen=True)
class Field:
    """The magnetic field at places and dates, each array of the broadcast shape.

    `declination_deg` is plus to the east, `inclination_deg` plus downward; the intensities are
    in nanotesla; each element's rate is its change a year. `declination_u_deg` is a standard
    uncertainty, undisturbed ground without iron assumed. `model` names the model, `expired` says
    that the date lies outside the model's years. At a pole north is along the meridian of the
    longitude given.
    """

    declination_deg: Any
    inclination_deg: Any
    horizontal_nt: Any
    total_nt: Any
    north_nt: Any
    east_nt: Any
    down_nt: Any
    declination_rate_deg_per_year: Any
    inclination_rate_deg_per_year: Any
    horizontal_rate_nt_per_year: Any
    total_rate_nt_per_year: Any
    north_rate_nt_per_year: Any
    east_rate_nt_per_year: Any
    down_rate_nt_per_year: Any
    declination_u_deg: Any
    model: Any
    expired: Any


class _Span(NamedTuple):
    """Years over which a model is linear in time, as weights of the harmonics.

    `weights` has for every step d from 0 an array (2, 6, rows) over what `_harmonics` yields
    there: six sums for the field at the start, then the same for its yearly rate.
    """

    model: str
    start: float
    weights: list[Array]


# ---------------------------------------------------------------- the tables


def _read(name: str) -> list[list[str]]:
    text = (files("orient") / "data" / name).read_text(encoding="ascii")
    return [line.split() for line in text.splitlines() if not line.startswith("#")]


def _wmm_spans() -> list[_Span]:
    rows = _read("WMM2025.COF")
    epoch = float(rows[0][0])
    terms = [[float(cell) for cell in row] for row in rows[1:] if len(row) == 6]
    degree = int(max(term[0] for term in terms))
    coefficients = np.zeros((4, degree + 1, degree + 1))
    for n, m, *values in terms:
        coefficients[:, int(n), int(m)] = values
    return [_span(WMM, epoch, *coefficients)]


def _igrf_spans() -> list[_Span]:
    rows = _read("IGRF14.shc")
    degree = int(rows[0][1])
    years = np.array([float(year) for year in rows[1]])
    g, h = np.zeros((2, len(years), degree + 1, degree + 1))
    for n, m, *values in rows[2:]:
        # The table writes a term in sin mλ with a minus before its order.
        (h if m.startswith("-") else g)[:, int(n), abs(int(m))] = [float(cell) for cell in values]
    step = np.diff(years)[:, np.newaxis, np.newaxis]
    g_rate, h_rate = np.diff(g, axis=0) / step, np.diff(h, axis=0) / step
    return [_span(IGRF, years[i], g[i], h[i], g_rate[i], h_rate[i]) for i in range(len(years) - 1)]


@lru_cache(maxsize=1)
def _spans() -> list[_Span]:
    """Every span, IGRF-14 in the order of its years and WMM2025 last."""
    return _igrf_spans() + _wmm_spans()


def _schmidt(degree: int) -> Array:
    """Schmidt's semi-normalised function over the Gaussian one, whose leading factor is 1."""
    factor = np.zeros((degree + 1, degree + 1))
    factor[0, 0] = 1.0
    for m in range(degree + 1):
        if m > 0:
            factor[m, m] = factor[m - 1, m - 1] * (np.sqrt((2 * m - 1) / (2 * m)) if m > 1 else 1)
        for n in range(m + 1, degree + 1):
            factor[n, m] = factor[n - 1, m] * (2 * n - 1) / np.sqrt(n * n - m * m)
    return factor


def _span(model: str, start: float, g: Array, h: Array, g_rate: Array, h_rate: Array) -> _Span:
    """Fold coefficients and normalisation into weights of the harmonics of `_harmonics`.

    With P the Schmidt function and Q = P / sin θ, a polynomial where the order m > 0:
    dP/dθ = n cos θ Q(n, m) − sqrt(n² − m²) Q(n − 1, m) for m > 0, and
    dP/dθ = −sqrt(n (n + 1) / 2) sin θ Q(n, 1) for m = 0: nothing is divided by sin θ.
    """
    degree = g.shape[0] - 1
    factor = _schmidt(degree)
    # One degree more, without a field, for what the last draws from the next.
    parts = [[np.pad(part, (0, 1)) for part in pair] for pair in ((g, h), (g_rate, h_rate))]
    weights = []
    for step in range(degree + 1):
        m = np.arange(1, degree - step + 1)
        n = m + step
        own = factor[n, m]
        rows = np.zeros((2, 6, 2 + 2 * m.size))
        for part, (cosine, sine) in enumerate(parts):
            here = np.array([cosine[n, m], sine[n, m]])
            above = np.array([cosine[n + 1, m], sine[n + 1, m]])
            rows[part, 0, 0] = (step + 1) * factor[step, 0] * cosine[step, 0]
            if m.size:
                rows[part, 1, 1] = np.sqrt(n[0] * (n[0] + 1) / 2) * own[0] * cosine[n[0], 0]
            rows[part, 2, 2:] = ((n + 1) * own * here).ravel()
            rows[part, 3, 2:] = (n * own * here).ravel()
            rows[part, 4, 2:] = (np.sqrt((n + 1) ** 2 - m**2) * own * above).ravel()
            rows[part, 5, 2:] = (m * own * here[::-1] * [[-1.0], [1.0]]).ravel()
        weights.append(rows)
    return _Span(model, float(start), weights)


# ---------------------------------------------------------------- the evaluator


class _Place(NamedTuple):
    """A chunk of places in geocentric terms, each of shape (places,)."""

    radius_ratio: Array  # reference radius over distance from the earth's centre
    sin_colatitude: Array
    cos_colatitude: Array
    sin_tilt: Array  # of the geocentric vertical against the geodetic one
    cos_tilt: Array
    cos_longitude: Array
    sin_longitude: Array


class _Workspace(dict[str, Array]):
    """Arrays that each chunk of places fills anew: having them costs as much as filling them."""

    def take(self, name: str, *shape: int) -> Array:
        """The array of that name, with whatever the last chunk left in it."""
        if name not in self or self[name].shape != shape:
            self[name] = np.empty(shape)
        return self[name]


def _geocentric(latitude_deg: Array, longitude_deg: Array, elevation_m: Array) -> _Place:
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    sin_latitude = np.sin(latitude)
    # From the colatitude, so that a pole is exactly on the axis.
    cos_latitude = np.sin(np.radians(90.0 - np.abs(latitude_deg)))
    squared_eccentricity = _WGS84_FLATTENING * (2 - _WGS84_FLATTENING)
    normal = _WGS84_RADIUS_KM / np.sqrt(1 - squared_eccentricity * sin_latitude**2)
    height = elevation_m / 1000.0
    across = (normal + height) * cos_latitude
    along = (normal * (1 - squared_eccentricity) + height) * sin_latitude
    distance = np.sqrt(across**2 + along**2)
    return _Place(
        _REFERENCE_RADIUS_KM / distance,
        across / distance,
        along / distance,
        (along * cos_latitude - across * sin_latitude) / distance,
        (across * cos_latitude + along * sin_latitude) / distance,
        np.cos(longitude),
        np.sin(longitude),
    )


@lru_cache(maxsize=4)
def _polynomials(degree: int) -> list[Array]:
    """Gaussian-normalised Legendre functions, less their power of sin θ, as polynomials.

    Element d is of shape (orders, d // 2 + 1): for the degree n = m + d of each order m from 0
    the coefficients of cos θ to the powers d, d − 2 … From the textbook recursion
    P(n) = cos θ P(n − 1) − ((n − 1)² − m²) / ((2n − 1)(2n − 3)) P(n − 2), P(m) = 1.
    """
    m = np.arange(degree + 1.0)
    tables = [np.ones((degree + 1, 1))]
    for step in range(1, degree + 1):
        n = m + step
        table = np.zeros((degree + 1, step // 2 + 1))
        table[:, : tables[-1].shape[1]] = tables[-1]
        if step > 1:
            fraction = ((n - 1) ** 2 - m**2) / ((2 * n - 1) * (2 * n - 3))
            table[:, 1:] -= fraction[:, np.newaxis] * tables[-2]
        tables.append(table)
    # Orders 0 and 1 are always there, as the ones that do not turn with longitude.
    return [table[: max(degree - step, 1) + 1].copy() for step, table in enumerate(tables)]


def _harmonics(place: _Place, degree: int, workspace: _Workspace) -> Iterator[Array]:
    """The harmonics of each place, by steps d = n − m from 0, in the order of a span's weights.

    Yields, with n = m + d and P, Q Gaussian-normalised and times the radius factor of their
    degree, (2 + 2 (degree − d), places): P(d, 0); Q(d + 1, 1); then Q(n, m) cos mλ and
    Q(n, m) sin mλ, each for m = 1 … degree − d. The array is used again.
    """
    ratio = place.radius_ratio
    squared, ratio_cosine = ratio * ratio, ratio * place.cos_colatitude
    cubed, even = squared * ratio, np.ones_like(ratio)
    # cos mλ and sin mλ, with what all degrees of an order share.
    turn = workspace.take("turn", 2, degree, ratio.size)
    turn[:, 0] = cubed * place.cos_longitude, cubed * place.sin_longitude
    across = ratio * place.sin_colatitude
    cosine, sine = across * place.cos_longitude, across * place.sin_longitude
    for m in range(1, degree):
        turn[0, m] = turn[0, m - 1] * cosine - turn[1, m - 1] * sine
        turn[1, m] = turn[1, m - 1] * cosine + turn[0, m - 1] * sine

    # The powers of cos θ of a step, each with its power of the radius ratio.
    powers = workspace.take("powers", degree // 2 + 1, ratio.size)
    powers[0] = 1.0
    all_legendre = workspace.take("legendre", degree + 1, ratio.size)
    rows = workspace.take("rows", 2 + 2 * degree, ratio.size)
    for step, polynomials in enumerate(_polynomials(degree)):
        orders, terms = degree - step, step // 2 + 1
        if step > 0:
            powers[: (step + 1) // 2] *= ratio_cosine
        if step > 0 and step % 2 == 0:
            even *= squared
            powers[terms - 1] = even
        legendre = all_legendre[: len(polynomials)]
        np.matmul(polynomials, powers[:terms], out=legendre)
        np.multiply(legendre[0], squared, out=rows[0])
        np.multiply(legendre[1], cubed, out=rows[1])
        turning = rows[2 : 2 + 2 * orders].reshape(2, orders, ratio.size)
        np.multiply(legendre[1 : orders + 1], turn[:, :orders], out=turning)
        yield rows[: 2 + 2 * orders]


def _components(place: _Place, spans: list[_Span], workspace: _Workspace) -> Array:
    """North, east, down on the ellipsoid at each span's start, then their yearly rates.

    Returns (spans, 6, places).
    """
    places = place.radius_ratio.size
    sums = workspace.take("sums", len(spans), 2, 6, places)
    sums[:] = 0.0
    share = workspace.take("share", 6, places)
    for degree, alike in groupby(range(len(spans)), lambda i: len(spans[i].weights) - 1):
        members = list(alike)
        for step, rows in enumerate(_harmonics(place, degree, workspace)):
            for i in members:
                for part in (0, 1):
                    np.matmul(spans[i].weights[step][part], rows, out=share)
                    sums[i, part] += share
    components = workspace.take("components", len(spans), 6, places)
    for part in (0, 1):
        up_zonal, slope_zonal, up, whole, lower, east = np.moveaxis(sums[:, part], 1, 0)
        outward = up_zonal + place.sin_colatitude * up
        northward = (
            place.cos_colatitude * whole
            - place.radius_ratio * lower
            - place.sin_colatitude * slope_zonal
        )
        components[:, 3 * part] = northward * place.cos_tilt + outward * place.sin_tilt
        components[:, 3 * part + 1] = east
        components[:, 3 * part + 2] = northward * place.sin_tilt - outward * place.cos_tilt
    return components


def _elements(vector: Array, rate: Array) -> Array:
    """The seven elements and their seven rates, (14, k), of vectors and rates (3, k)."""
    (north, east, down), (north_rate, east_rate, down_rate) = vector, rate
    out = np.empty((14, north.size))
    horizontal = np.sqrt(north**2 + east**2)
    total = np.sqrt(horizontal**2 + down**2)
    out[0] = np.degrees(np.arctan2(east, north))
    out[1] = np.degrees(np.arctan2(down, horizontal))
    out[2], out[3], out[4:7] = horizontal, total, vector
    # At a magnetic pole the needle has no direction: its rate is not a number there.
    with np.errstate(divide="ignore", invalid="ignore"):
        out[9] = (north * north_rate + east * east_rate) / horizontal
        out[7] = np.degrees((north * east_rate - east * north_rate) / horizontal**2)
        out[8] = np.degrees((horizontal * down_rate - down * out[9]) / total**2)
        out[10] = (horizontal * out[9] + down * down_rate) / total
    out[11:14] = rate
    return out


def _evaluate_chunk(
    place: _Place,
    years: Array,
    span_number: NDArray[np.intp],
    workspace: _Workspace,
    out: Array,
) -> None:
    """Fill `out` (14, places · dates) for `years` and spans of shape (places, dates)."""
    dates = years.shape[1]
    years, span_number = years.reshape(-1), span_number.reshape(-1)
    numbers = np.unique(span_number)
    spans = [_spans()[number] for number in numbers]
    fields = _components(place, spans, workspace)
    for number, span, components in zip(numbers, spans, fields, strict=True):
        which = slice(None) if len(spans) == 1 else np.flatnonzero(span_number == number)
        at = np.repeat(components, dates, axis=1)[:, which]
        vector = at[:3] + (years[which] - span.start) * at[3:]
        out[:, which] = _elements(vector, at[3:])


def _evaluate(
    latitude_deg: Array, longitude_deg: Array, elevation_m: Array, years: Array, model: str | None
) -> Array:
    """The seven elements and their rates, (14, …) before the broadcast shape.

    Where dates are broadcast against places, a place's harmonics are made once for all its dates.
    """
    span_number = _span_numbers(years, model)
    places = np.broadcast_arrays(latitude_deg, longitude_deg, elevation_m)
    shape = np.broadcast_shapes(places[0].shape, years.shape)
    place_shape = (1,) * (len(shape) - places[0].ndim) + places[0].shape
    date_axes = [i for i, size in enumerate(shape) if place_shape[i] != size]
    axes = [i for i in range(len(shape)) if i not in date_axes] + date_axes
    dates = int(np.prod([shape[i] for i in date_axes]))
    latitude, longitude, elevation = (part.reshape(-1) for part in places)
    table = (latitude.size, dates)
    years = np.broadcast_to(years, shape).transpose(axes).reshape(table)
    span_number = np.broadcast_to(span_number, shape).transpose(axes).reshape(table)
    out = np.empty((14, *table))
    workspace = _Workspace()
    step = max(1, _CHUNK // max(1, dates))
    for start in range(0, latitude.size if dates else 0, step):
        chunk = slice(start, start + step)
        place = _geocentric(latitude[chunk], longitude[chunk], elevation[chunk])
        _evaluate_chunk(
            place,
            years[chunk],
            span_number[chunk],
            workspace,
            out[:, chunk].reshape(14, -1),
        )
    inverse = [0, *(1 + np.argsort(axes))]
    return out.reshape(14, *(shape[i] for i in axes)).transpose(inverse)


# ---------------------------------------------------------------- which model


def _models(years: Array, model: str | None) -> NDArray[np.str_]:
    if model is not None and model not in MODEL_YEARS:
        raise ValueError(f"a magnetic model is {WMM} or {IGRF}, not {model}")
    by_date = np.where(years >= MODEL_YEARS[WMM][0], WMM, IGRF)
    return by_date if model is None else np.full(years.shape, model)


def _span_numbers(years: Array, model: str | None) -> NDArray[np.intp]:
    """Which span of `_spans` each date is read from; refuse the dates that no model covers."""
    first = MODEL_YEARS[WMM][0] - EXTRAPOLATION_YEARS if model == WMM else MODEL_YEARS[IGRF][0]
    last = MODEL_YEARS[WMM][1] + EXTRAPOLATION_YEARS
    outside = years[~((years >= first) & (years <= last))]
    if outside.size:
        raise OutsideModels(
            f"a date outside every model of the magnetic field: year {outside.flat[0]:.2f}, "
            f"wanted {first:.0f} to {last:.0f}"
        )
    starts = np.array([span.start for span in _spans()[:-1]])
    number = np.searchsorted(starts, years, side="right") - 1
    return np.where(_models(years, model) == WMM, len(starts), number)


def _limits(models: NDArray[np.str_]) -> tuple[Array, Array]:
    """The years from which and up to which each date's model holds."""
    first, last = (
        np.where(models == WMM, MODEL_YEARS[WMM][end], MODEL_YEARS[IGRF][end]) for end in (0, 1)
    )
    return first, last


def _declination_u_deg(horizontal_nt: Array, years: Array, outside_years: Array) -> Array:
    older_nt = np.interp(years, _OLDER_YEARS, _OLDER_NT)
    added_nt = np.hypot(older_nt, _FORECAST_NT_PER_YEAR * outside_years)
    across_deg_nt = np.hypot(_DECLINATION_U_DEG_NT, np.degrees(added_nt))
    with np.errstate(divide="ignore"):
        u_deg = np.hypot(_DECLINATION_U_DEG, across_deg_nt / horizontal_nt)
    return np.minimum(u_deg, _CIRCLE_U_DEG)


def field(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike,
    decimal_year: ArrayLike,
    model: str | None = None,
) -> Field:
    """The earth's main magnetic field at places and dates.

    Args:
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus, any broadcast shape.
        elevation_m: metres above the ellipsoid.
        decimal_year: dates as decimal years, broadcast against the places. Dates on an axis of
            their own, such as (places, 1) against (dates,), cost little more than one date.
        model: "WMM2025" or "IGRF-14"; None takes WMM2025 from 2025.0 on and IGRF-14 before.

    Returns:
        A `Field` of the broadcast shape. Dates up to five years outside the model's own years
        are extrapolated and marked `expired`, their uncertainty growing.

    Raises:
        OutsideModels: a date before 1900 (before 2020 where WMM2025 is asked for), after 2035,
            or none at all.
        ValueError: a latitude beyond ±90, or an unknown model.

    Accuracy: the models' own definition to 0.001 nT. `declination_u_deg` is that of the
    WMM2025 technical report, sqrt(0.26² + (5417 / H)²), with more added before 2000 (20 nT
    across the needle, growing to 200 nT in 1900) and outside the model's years (13 nT a year).
    """
    latitude, longitude, elevation, years = (
        np.asarray(part, dtype=float)
        for part in (latitude_deg, longitude_deg, elevation_m, decimal_year)
    )
    if np.any(np.abs(latitude) > 90.0):
        raise ValueError("a latitude lies beyond 90 degrees")
    elements = _evaluate(latitude, longitude, elevation, years, model)
    shape = elements.shape[1:]
    models = _models(years, model)
    first, last = _limits(models)
    outside_years = np.maximum(first - years, years - last).clip(min=0.0)
    values = [
        *elements,
        _declination_u_deg(elements[2], years, outside_years),
        np.broadcast_to(models, shape),
        np.broadcast_to((years < first) | (years >= last), shape),
    ]
    return Field(*(value[()] for value in values))


def field_or_none(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike,
    decimal_year: ArrayLike,
) -> Field:
    """As `field`, for places each on its date; not a number where no model covers the date.

    True north needs no model of the magnetic field, so such a date is no reason to refuse it.
    `model` is "" there and `expired` true.
    """
    years = np.asarray(decimal_year, dtype=float)
    first, last = MODEL_YEARS[IGRF][0], MODEL_YEARS[WMM][1] + EXTRAPOLATION_YEARS
    covered = (years >= first) & (years <= last)
    known = field(latitude_deg, longitude_deg, elevation_m, np.where(covered, years, last))
    if covered.all():
        return known
    return Field(
        *(
            np.where(covered, value, np.nan if np.asarray(value).dtype.kind == "f" else blank)[()]
            for value, blank in (
                (getattr(known, each.name), True if each.name == "expired" else "")
                for each in fields(known)
            )
        )
    )


# ---------------------------------------------------------------- dates


def decimal_year(dates: Any) -> Any:
    """Dates as decimal years: 2 July 2025, noon, is 2025.5.

    Args:
        dates: a date, datetime or datetime64, or any sequence or pandas object of them, UTC
            without a zone; a date alone is its first instant.

    Returns:
        float64 of the same shape, not a number for a date that is missing.
    """
    moments = np.asarray(dates, dtype="datetime64[us]")
    years = moments.astype("datetime64[Y]")
    starts, ends = years.astype("datetime64[us]"), (years + 1).astype("datetime64[us]")
    decimal = years.astype(np.int64) + 1970 + (moments - starts) / (ends - starts)
    return np.where(np.isnat(moments), np.nan, decimal)[()]


# ---------------------------------------------------------------- change between two dates


@dataclass(frozen=True)
class DeclinationChange:
    """How far the declination moved at a place between two dates, plus to the east.

    `change_deg` is what is added to the older declination to have the newer one.
    `change_u_deg` (1 σ) is the change's own: what the model leaves out of the rock beneath is
    the same at both dates and no part of it.
    """

    from_deg: Any
    to_deg: Any
    change_deg: Any
    change_u_deg: Any
    from_model: Any
    to_model: Any


# What an epoch of the core field is good to since 2000, how far the field bends away from the
# straight line between two epochs five years apart (measured on IGRF-14: every middle epoch
# since 2000 against its neighbours), and how far WMM2025 stands from IGRF-14 at 2025.0 (measured
# too), all across the needle, nT (1 σ). The first is *from memory*: Alken 2021, Earth, Planets
# and Space 73, gives 5 to 10.
_EPOCH_NT, _BEND_NT, _MODELS_APART_NT = 7.0, 6.5, 6.0
_EPOCHS = np.arange(1900.0, 2025.1, 5.0)


def _change_u_nt(before: Array, after: Array, apart: NDArray[np.bool_]) -> Array:
    """What two dates' core fields may be off against each other, across the needle, nT.

    An error of an epoch counts for as much as its weight at one date is not that at the other,
    so that there is none between equal dates.
    """
    weights, bends, ahead = zip(*(_epoch_weights(years) for years in (before, after)), strict=True)
    epoch_nt = np.hypot(np.interp(_EPOCHS, _OLDER_YEARS, _OLDER_NT), _EPOCH_NT)
    epochs = (((weights[1] - weights[0]) * epoch_nt) ** 2).sum(axis=-1)
    bend = (((bends[1] - bends[0]) * _BEND_NT) ** 2).sum(axis=-1)
    forecast = (_FORECAST_NT_PER_YEAR * (ahead[1] - ahead[0])) ** 2
    return np.asarray(np.sqrt(epochs + bend + forecast + (apart * _MODELS_APART_NT) ** 2))


def _epoch_weights(years: Array) -> tuple[Array, Array, Array]:
    """Of dates: the weight of each epoch, the bend between each two, years past the last."""
    inside = np.clip(years, _EPOCHS[0], _EPOCHS[-1])[..., None]
    weight = np.clip(1.0 - np.abs(inside - _EPOCHS) / 5.0, 0.0, 1.0)
    part = np.clip((inside - _EPOCHS) / 5.0, 0.0, 1.0)
    return weight, 4.0 * part * (1.0 - part), np.maximum(years - _EPOCHS[-1], 0.0)


def declination_change(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike,
    from_year: ArrayLike,
    to_year: ArrayLike,
) -> DeclinationChange:
    """The change of declination at places between two dates.

    Args:
        latitude_deg, longitude_deg, elevation_m: as in `field`, any broadcast shape.
        from_year, to_year: decimal years, broadcast against the places.

    Returns:
        A `DeclinationChange` of the broadcast shape, −180 ≤ change < 180.

    Raises:
        OutsideModels, ValueError: as `field`.

    Accuracy: `change_u_deg`: the epochs' own error (7 nT across the needle since 2000, growing
    to 200 nT in 1900), the bend between two epochs, 13 nT a year of forecast after 2025, and
    6 nT where the two dates are read from different models. Against the models of 2010, 2015
    and 2020 the change lies within its 95 % figure at 95 % of places and more
    (`tests/test_magnetic.py`). None of storms and the daily swing, some 0.1°, is in it.
    """
    before = field(latitude_deg, longitude_deg, elevation_m, from_year)
    after = field(latitude_deg, longitude_deg, elevation_m, to_year)
    then, now = np.broadcast_arrays(
        np.asarray(from_year, dtype=float), np.asarray(to_year, dtype=float)
    )
    off_nt = _change_u_nt(then, now, _models(then, None) != _models(now, None))
    with np.errstate(divide="ignore", invalid="ignore"):
        u_deg = np.degrees(off_nt / np.minimum(before.horizontal_nt, after.horizontal_nt))
    return DeclinationChange(
        before.declination_deg,
        after.declination_deg,
        wrap_180(after.declination_deg - before.declination_deg),
        np.where(off_nt == 0.0, 0.0, np.minimum(u_deg, _CIRCLE_U_DEG))[()],
        before.model,
        after.model,
    )
