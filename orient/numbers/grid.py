"""Grid north: zone choice, convergence, scale, lines on a grid, and the plumb line's Laplace term.

Signs: convergence γ is plus where grid north lies east of true north, so that the grid bearing
of a line is its true azimuth − γ, and on a long line − the arc-to-chord correction as well.
Coordinates on a grid are metres east and north whatever the grid's own axes and units are: feet
are turned into metres, a westing into minus an easting, a southing into minus a northing.

Convergence belongs to the grid's own geodetic datum, the textbook's and the map margin's figure.
Between that datum and WGS 84 the meridian itself turns, by some seconds: `datum_turn_deg`.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray
from pyproj.crs import BoundCRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType, TransformDirection
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from orient.numbers.angles import wrap_180, wrap_360

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""West, south, east and north in degrees; west over east where it crosses the date line."""

WGS84 = "EPSG:4326"
EDGE_MARGIN_DEG = 10.0 / 60.0
"""How near the limit of a zone counts as its edge: 10′ of arc on the ground, 18.5 km."""

DEFLECTION_RMS_ARCSEC = 6.5
"""Likely size of one component of the deflection of the vertical, 1 σ over the whole earth.

From Kaula's rule for the gravity field (10⁻⁵/n² a coefficient, W. M. Kaula, Theory of Satellite
Geodesy, 1966, *from memory*) summed over degrees 2 to 10,800. Mountains and island arcs reach
several times as much.
"""


class NotAGrid(ValueError):
    """Texts that name no grid to count bearings from; `wanted` says of each what would do."""

    def __init__(self, wanted: dict[str, str]) -> None:
        super().__init__("; ".join(f"CRS {text!r}: wanted {wanted[text]}" for text in wanted))
        self.wanted = wanted


_UPS_NORTH, _UPS_SOUTH = "EPSG:32661", "EPSG:32761"
# Within 0.001° (110 m) of a pole the derivatives by longitude lose their digits, while scale and
# convergence along one meridian no longer change: less than 1e-9.
_POLAR_CAP_DEG = 90.0 - 1e-3
_CONFORMAL_TOLERANCE = 1e-5
_SHORT = 60


# --- zones -----------------------------------------------------------------------------------


def default_grid(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Any:
    """Name the WGS 84 UTM or UPS grid in which a point lies.

    Args: latitude and longitude in WGS 84 degrees, any shapes that broadcast, any longitude.
    Returns: strings of that shape such as "EPSG:32633"; "" where a coordinate is no number.
    Zones hold their western and southern limits: UTM from 80° S up to, not at, 84° N; zone 32V
    reaches west to 3° E, 31X, 33X, 35X and 37X share Svalbard; UPS beyond.
    Source: the UTM grid-zone scheme, NGA.STND.0037 (*from memory*).
    """
    latitude, longitude = np.broadcast_arrays(
        np.asarray(latitude_deg, float), wrap_180(np.asarray(longitude_deg, float))
    )
    known = np.isfinite(latitude) & np.isfinite(longitude)
    latitude, longitude = np.where(known, latitude, 0.0), np.where(known, longitude, 0.0)
    zone = np.floor((longitude + 180.0) / 6.0).astype(int) + 1
    norway = (latitude >= 56) & (latitude < 64) & (longitude >= 3) & (longitude < 12)
    zone = np.where(norway, 32, zone)
    svalbard = (latitude >= 72) & (latitude < 84) & (longitude >= 0) & (longitude < 42)
    zone = np.where(svalbard, 31 + 2 * np.searchsorted([9, 21, 33], longitude, "right"), zone)
    code = np.where(latitude >= 0, 32600, 32700) + zone
    code = np.where(latitude >= 84, 32661, np.where(latitude < -80, 32761, code))
    codes, place = np.unique(code, return_inverse=True)
    names = np.array([f"EPSG:{one}" for one in codes])[place.reshape(code.shape)]
    return np.where(known, names, "")[()]


@contextmanager
def _without_network() -> Iterator[None]:
    """No grid file is fetched: a transformation that needs one not on the disk is passed over.

    The work is done at a camp. The caller's own setting is put back.
    """
    enabled = pyproj.network.is_network_enabled()
    pyproj.network.set_network_enabled(False)
    try:
        yield
    finally:
        pyproj.network.set_network_enabled(enabled)


# --- a grid and what is kept of it ----------------------------------------------------------


@dataclass(frozen=True)
class _Operation:
    """One way from WGS 84 to a grid's datum, and the box of places it is meant for."""

    name: str
    accuracy_m: float
    ballpark: bool
    area: Box | None
    transformer: pyproj.Transformer


@dataclass(frozen=True)
class _Grid:
    """A projected CRS opened for use.

    `east_to_metre` and `north_to_metre` turn its own coordinates into metres east and north;
    `to_degree` its own geodetic angles (degrees or grads) into degrees.
    """

    crs: pyproj.CRS
    projector: pyproj.Transformer
    factors: pyproj.Proj
    geod: pyproj.Geod
    operations: tuple[_Operation, ...]
    north_first: bool
    east_to_metre: float
    north_to_metre: float
    to_degree: float
    zone_grid: str | None
    area: Box | None

    def project(self, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        """Own-datum degrees to metres east and north."""
        pair = self.projector.transform(
            longitude_deg / self.to_degree, latitude_deg / self.to_degree
        )
        east, north = pair[::-1] if self.north_first else pair
        return _finite(east) * self.east_to_metre, _finite(north) * self.north_to_metre

    def unproject(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
        """Metres east and north to own-datum degrees."""
        latitude, longitude = self._inverse(easting_m, northing_m)
        # Some inverses are series good to a millimetre. What they give for their own result shows
        # their error there, so taking it off leaves an inverse as good as the projection.
        again = self._inverse(*self.project(latitude, longitude))
        return 2.0 * latitude - again[0], longitude + wrap_180(longitude - again[1])

    def _inverse(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
        pair = easting_m / self.east_to_metre, northing_m / self.north_to_metre
        longitude, latitude = self.projector.transform(
            *(pair[::-1] if self.north_first else pair), direction=TransformDirection.INVERSE
        )
        return _finite(latitude) * self.to_degree, _finite(longitude) * self.to_degree

    def from_wgs84(
        self, operation: _Operation, latitude_deg: Floats, longitude_deg: Floats
    ) -> tuple[Floats, Floats]:
        """WGS 84 degrees to own-datum degrees."""
        longitude, latitude = operation.transformer.transform(longitude_deg, latitude_deg)
        return _finite(latitude) * self.to_degree, _finite(longitude) * self.to_degree

    def to_wgs84(
        self, operation: _Operation, latitude_deg: Floats, longitude_deg: Floats
    ) -> tuple[Floats, Floats]:
        """Own-datum degrees to WGS 84 degrees."""
        longitude, latitude = operation.transformer.transform(
            longitude_deg / self.to_degree,
            latitude_deg / self.to_degree,
            direction=TransformDirection.INVERSE,
        )
        return _finite(latitude), _finite(longitude)


def _finite(values: Any) -> Floats:
    """NaN for the infinities by which the projection library says "not here"."""
    values = np.asarray(values, float)
    return np.where(np.isfinite(values), values, np.nan)


def check_grid(crs_text: str) -> str | None:
    """Say why a text names no grid that bearings can be counted from, or None where it does.

    Args: a CRS as the tables hold it, such as "EPSG:32633".
    Returns: what is wanted instead, as a phrase for a fault's `wanted`.
    """
    return _check_grid(str(crs_text).strip())


@lru_cache(maxsize=512)
def _check_grid(text: str) -> str | None:
    example = "a projected grid such as EPSG:32633"
    if re.fullmatch(r"\d{4,6}", text):
        return f"the authority with the number: EPSG:{text}"
    if match := re.search(r"\+?init=(\w+:\w+)", text):
        # The old form turns some grids' axes about, and is on its way out.
        return f"the code alone: {match[1].upper()}"
    try:
        crs = pyproj.CRS.from_user_input(text)
    except CRSError:
        return f"{example}; this code or name is unknown"
    horizontal = _horizontal(crs)
    if horizontal.is_geographic:
        return f"{example}; {crs.name} is latitude and longitude, it has no grid north"
    if horizontal.is_vertical:
        return f"{example}; {crs.name} is a height system, it has no grid north"
    if horizontal.is_geocentric:
        return f"{example}; {crs.name} is earth-centred X, Y, Z, it has no grid north"
    if horizontal.type_name != "Projected CRS":
        return f"{example}; {crs.name} is of the kind {horizontal.type_name}"
    try:
        reachable = _open(text).operations
    except ProjError:
        return f"{example}; the projection of {crs.name} cannot be computed"
    # The registries hold grids of the moon and the planets too.
    return None if reachable else f"{example}; {crs.name} is no grid of the earth"


@lru_cache(maxsize=512)
def short_name(crs_text: str) -> str:
    """Name a grid in a line: by its code or its name where its text is a page of definitions.

    Args: a CRS as the tables hold it.
    Returns: the text itself where it is short, such as "EPSG:32633", or a row of parameters;
        the projection where there is no name.
    """
    if len(crs_text) <= _SHORT or crs_text.startswith("+"):
        return crs_text
    crs = _horizontal(pyproj.CRS.from_user_input(crs_text))
    if code := crs.to_authority(min_confidence=100):
        return ":".join(code)
    operation = crs.coordinate_operation
    return operation.method_name if crs.name == "unknown" and operation else crs.name


def _horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    """The part of a CRS that lies in the plane: without its height and its bound shift."""
    if crs.is_compound:
        return _horizontal(crs.sub_crs_list[0])
    if crs.is_bound and crs.source_crs is not None:
        return _horizontal(crs.source_crs)
    return crs.to_2d() if len(crs.axis_info) == 3 and not crs.is_geocentric else crs


@lru_cache(maxsize=512)
def _open(text: str) -> _Grid:
    whole = pyproj.CRS.from_user_input(text)
    crs = _horizontal(whole)
    geodetic = crs.geodetic_crs
    assert geodetic is not None
    first, second = crs.axis_info[:2]
    # pyproj's "always xy" puts the east–west axis first, save where south stands before west.
    north_first = (first.direction, second.direction) == ("south", "west")
    directions = {first.direction, second.direction}
    # On a polar grid both axes are said to run north, or both south: its axes need no turning.
    polar = len(directions) == 1
    to_degree = float(np.degrees(geodetic.axis_info[0].unit_conversion_factor))
    return _Grid(
        crs=crs,
        projector=pyproj.Transformer.from_crs(geodetic, crs, always_xy=True),
        factors=pyproj.Proj(crs),
        geod=crs.get_geod() or pyproj.Geod(ellps="WGS84"),
        operations=_operations(_datum_crs(whole, geodetic)),
        north_first=north_first,
        east_to_metre=first.unit_conversion_factor * (-1 if "west" in directions else 1),
        north_to_metre=first.unit_conversion_factor
        * (-1 if "south" in directions and not polar else 1),
        to_degree=to_degree,
        zone_grid=_zone_grid(crs),
        area=_box(crs.area_of_use or whole.area_of_use),
    )


def _zone_grid(crs: pyproj.CRS) -> str | None:
    """The WGS 84 UTM or UPS grid of the same zone; None where the CRS is neither."""
    utm = re.match(r"(\d+)([NS])", crs.utm_zone or "")
    if utm:
        return f"EPSG:{326 if utm[2] == 'N' else 327}{int(utm[1]):02d}"
    if "UPS North" in crs.name:
        return _UPS_NORTH
    return _UPS_SOUTH if "UPS South" in crs.name else None


def _refuse_bad(crs: ArrayLike) -> None:
    """Refuse every CRS text that is no grid, all of them at once."""
    wanted = {
        text: phrase
        for text in np.unique(np.asarray(crs, str)).tolist()
        if (phrase := check_grid(text)) is not None
    }
    if wanted:
        raise NotAGrid(wanted)


def _by_grid(crs: NDArray[np.str_]) -> Iterator[tuple[str, _Grid, NDArray[np.bool_]]]:
    """The different grids among one CRS text a point, each with the points that are on it."""
    for text in np.unique(crs).tolist():
        yield text, _open(text), crs == text


def _flat(crs: ArrayLike, *values: ArrayLike) -> tuple[NDArray[np.str_], list[Floats], Any]:
    """CRS texts and numbers broadcast to one shape and laid flat, with that shape."""
    _refuse_bad(crs)
    texts, *arrays = np.broadcast_arrays(
        np.char.strip(np.asarray(crs, str)), *(np.asarray(value, float) for value in values)
    )
    return texts.ravel(), [np.array(array, float).ravel() for array in arrays], texts.shape


# --- datum -----------------------------------------------------------------------------------


def _datum_crs(whole: pyproj.CRS, geodetic: pyproj.CRS) -> pyproj.CRS:
    """A grid's geodetic CRS, with the shift to WGS 84 that the grid itself states, if it does."""
    if whole.is_bound and whole.target_crs is not None and whole.coordinate_operation is not None:
        return BoundCRS(geodetic, whole.target_crs, whole.coordinate_operation)
    return geodetic


@lru_cache(maxsize=512)
def _operations(datum_crs: pyproj.CRS) -> tuple[_Operation, ...]:
    """Every usable transformation from WGS 84, the most accurate first, then the most local."""
    with _without_network(), warnings.catch_warnings():
        # A better one that needs a grid file is passed over; the one used states its accuracy.
        warnings.filterwarnings("ignore", message="Best transformation is not available")
        group = TransformerGroup(WGS84, datum_crs, always_xy=True)
    operations = [_operation(transformer) for transformer in group.transformers]

    def order(operation: _Operation) -> tuple[bool, float, float]:
        accuracy = np.inf if np.isnan(operation.accuracy_m) else operation.accuracy_m
        return operation.ballpark, accuracy, _box_size(operation.area)

    return tuple(sorted(operations, key=order))


def _operation(transformer: pyproj.Transformer) -> _Operation:
    steps = [
        step
        for step in transformer.description.split(" + ")
        if not step.startswith(("axis order change", "Null geographic offset", "noop"))
    ]
    accuracy = transformer.accuracy
    return _Operation(
        name=" + ".join(steps) or "none, the grid is on WGS 84",
        accuracy_m=float(accuracy) if accuracy is not None and accuracy >= 0 else np.nan,
        ballpark="allpark" in transformer.description,
        area=_box(transformer.area_of_use),
        transformer=transformer,
    )


def _box(area: Any) -> Box | None:
    return None if area is None else (area.west, area.south, area.east, area.north)


def _width_deg(box: Box) -> float:
    return (box[2] - box[0]) % 360.0 or 360.0


def _box_size(box: Box | None) -> float:
    """The surface of a box in no unit, to tell the more local of two."""
    if box is None:
        return np.inf
    _, south, _, north = box
    return float(_width_deg(box) * (np.sin(np.radians(north)) - np.sin(np.radians(south))))


def _in_box(box: Box | None, latitude_deg: Floats, longitude_deg: Floats) -> NDArray[np.bool_]:
    """Whether points lie in a box; everything lies in none."""
    if box is None:
        return np.ones(latitude_deg.shape, bool)
    west, south, _, north = box
    in_longitude = np.mod(longitude_deg - west, 360.0) <= _width_deg(box)
    return in_longitude & (latitude_deg >= south) & (latitude_deg <= north)


def _each_operation(
    grid: _Grid, latitude_deg: Floats, longitude_deg: Floats
) -> Iterator[tuple[_Operation, bool, NDArray[np.bool_]]]:
    """The transformation for each point, whether it is ballpark there, and the points it serves.

    A transformation used outside the places it is meant for is no better than a ballpark one.
    """
    left = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    for operation in grid.operations:
        here = left & _in_box(operation.area, latitude_deg, longitude_deg)
        if here.any():
            yield operation, operation.ballpark, here
        left &= ~here
    if left.any():
        yield grid.operations[0], True, left


@dataclass(frozen=True)
class DatumShift:
    """How points were brought between WGS 84 and a grid's datum; arrays of the points' shape.

    `transformation` is the registry's name of it, `accuracy_m` its stated accuracy in metres
    (NaN where none is stated), `ballpark` is true where no transformation fits the place and the
    coordinates may be hundreds of metres off.
    """

    transformation: Any
    accuracy_m: Any
    ballpark: Any


def to_geographic(
    easting_m: ArrayLike, northing_m: ArrayLike, crs: ArrayLike
) -> tuple[Any, Any, DatumShift]:
    """Turn grid coordinates into WGS 84 latitude and longitude.

    Args: metres east and north and CRS texts, shapes that broadcast.
    Returns: latitude and longitude in degrees (NaN where the projection does not reach), and the
    transformation between the datums with its accuracy.
    Raises: NotAGrid where a CRS is no grid.
    Accuracy: as the transformation states; `grid_figures` gives the coordinates back within
    0.01 mm on one datum, within 1 cm where the datum changes (both take height 0).
    """
    texts, (easting, northing), shape = _flat(crs, easting_m, northing_m)
    latitude, longitude, accuracy = (np.full(texts.shape, np.nan) for _ in range(3))
    name, ballpark = np.full(texts.shape, "", object), np.zeros(texts.shape, bool)
    for _, grid, on in _by_grid(texts):
        own = grid.unproject(easting[on], northing[on])
        # The datums differ by less than the boxes of use are drawn to.
        places = grid.to_wgs84(grid.operations[0], *own)
        for operation, rough, here in _each_operation(grid, *places):
            at = np.flatnonzero(on)[here]
            latitude[at], longitude[at] = grid.to_wgs84(operation, own[0][here], own[1][here])
            name[at], ballpark[at] = operation.name, rough
            accuracy[at] = np.nan if rough else operation.accuracy_m
    shift = DatumShift(*(_shaped(part, shape) for part in (name, accuracy, ballpark)))
    return _shaped(latitude, shape), _shaped(longitude, shape), shift


def _shaped(values: NDArray[Any], shape: tuple[int, ...]) -> Any:
    """The broadcast shape again, and a bare value for one point."""
    return values.reshape(shape)[()]


# --- figures of a point ------------------------------------------------------------------------


@dataclass(frozen=True)
class GridFigures:
    """What a grid does at points; every field an array of the points' shape.

    `grid` is the CRS text. `convergence_deg` is plus where grid north lies east of true north.
    `scale_factor` is grid over ellipsoid distance; where the projection is not `conformal` it is
    the root of the scale of areas, the scale along the meridian and across it stand in
    `meridional_scale` and `parallel_scale`, and true azimuth − convergence is the grid bearing
    of the meridian alone. `combined_factor` is grid over ground distance, height included.

    `near_edge` marks points outside their grid's zone or area of use or within 10′ of arc of its
    limit; `neighbour_grid` is the zone on the other side ("" where there is none), with its
    convergence and scale there.

    `datum_turn_deg` added to a WGS 84 azimuth gives the azimuth on the grid's own datum, and is
    not contained in `convergence_deg`: of the EPSG registry's grids on other datums half turn
    under 1.4″, 99 of 100 under 13″. `shift` tells how the datum was changed.
    """

    grid: Any
    easting_m: Any
    northing_m: Any
    convergence_deg: Any
    scale_factor: Any
    meridional_scale: Any
    parallel_scale: Any
    conformal: Any
    combined_factor: Any
    near_edge: Any
    neighbour_grid: Any
    neighbour_convergence_deg: Any
    neighbour_scale_factor: Any
    datum_turn_deg: Any
    shift: DatumShift


_NOT_KNOWN = np.array(np.nan)
_POINT_FIELDS: dict[str, NDArray[Any]] = {
    "easting_m": _NOT_KNOWN,
    "northing_m": _NOT_KNOWN,
    "convergence_deg": _NOT_KNOWN,
    "scale_factor": _NOT_KNOWN,
    "meridional_scale": _NOT_KNOWN,
    "parallel_scale": _NOT_KNOWN,
    "conformal": np.array(False),
    "mean_radius_m": _NOT_KNOWN,
    "datum_turn_deg": _NOT_KNOWN,
    "transformation": np.array("", object),
    "accuracy_m": _NOT_KNOWN,
    "ballpark": np.array(False),
}


def grid_figures(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    crs: ArrayLike,
    elevation_m: ArrayLike = 0.0,
) -> GridFigures:
    """Find grid coordinates, convergence, scale, zone edge and datum change of points.

    Args: WGS 84 degrees; CRS text, one for all or one a point; metres above the ellipsoid.
    Returns: GridFigures; NaN where a projection does not reach.
    Raises: NotAGrid where a CRS is no grid, every such text at once.
    Accuracy: convergence within 0.001″, scale within 3e-9, of the projection's own, proved by
    projecting geodesics on grids of every kind; convergence within 0.005″ by projecting the
    meridian on every grid of the EPSG registry that can be computed.
    """
    texts, (latitude, longitude, elevation), shape = _flat(
        crs, latitude_deg, longitude_deg, elevation_m
    )
    longitude = np.where(np.abs(longitude) <= 180.0, longitude, wrap_180(longitude))
    near_edge, neighbour = _edges(texts, latitude, longitude)
    here = _point_figures(texts, latitude, longitude)
    other = neighbour != ""
    beside = {name: np.full(texts.shape, np.nan) for name in ("convergence_deg", "scale_factor")}
    there = _point_figures(neighbour[other], latitude[other], longitude[other])
    for name, values in beside.items():
        values[other] = there[name]
    radius = here.pop("mean_radius_m")
    shift = [here.pop(name) for name in ("transformation", "accuracy_m", "ballpark")]
    here |= {
        "grid": np.array(texts),
        "combined_factor": here["scale_factor"] * radius / (radius + elevation),
        "near_edge": near_edge,
        "neighbour_grid": neighbour,
        "neighbour_convergence_deg": beside["convergence_deg"],
        "neighbour_scale_factor": beside["scale_factor"],
    }
    return GridFigures(
        **{name: _shaped(values, shape) for name, values in here.items()},
        shift=DatumShift(*(_shaped(part, shape) for part in shift)),
    )


def _point_figures(
    texts: NDArray[np.str_], latitude_deg: Floats, longitude_deg: Floats
) -> dict[str, NDArray[Any]]:
    """The figures of `_POINT_FIELDS` at points, each on its own grid."""
    figures = {name: np.full(texts.shape, blank) for name, blank in _POINT_FIELDS.items()}
    for _, grid, on in _by_grid(texts):
        points = np.flatnonzero(on)
        for operation, rough, here in _each_operation(grid, latitude_deg[on], longitude_deg[on]):
            at = points[here]
            own, turn = _own_datum(grid, operation, latitude_deg[at], longitude_deg[at])
            easting, northing = grid.project(*own)
            values = {
                "easting_m": easting,
                "northing_m": northing,
                **_distortion(grid, *own),
                "mean_radius_m": np.sqrt(np.prod(_radii_m(grid.geod, own[0]), axis=0)),
                "datum_turn_deg": turn,
                "transformation": operation.name,
                "accuracy_m": np.nan if rough else operation.accuracy_m,
                "ballpark": rough,
            }
            for name, value in values.items():
                figures[name][at] = value
    return figures


def _own_datum(
    grid: _Grid, operation: _Operation, latitude_deg: Floats, longitude_deg: Floats
) -> tuple[tuple[Floats, Floats], Floats]:
    """Own-datum latitude and longitude, and how much larger azimuths are on that datum.

    The turn is the own-datum azimuth of a short piece of WGS 84 meridian.
    """
    own = grid.from_wgs84(operation, latitude_deg, longitude_deg)
    half_step = 0.01
    middle = np.clip(latitude_deg, -_POLAR_CAP_DEG + half_step, _POLAR_CAP_DEG - half_step)
    south = grid.from_wgs84(operation, middle - half_step, longitude_deg)
    north = grid.from_wgs84(operation, middle + half_step, longitude_deg)
    meridian_radius, normal_radius = _radii_m(grid.geod, middle)
    eastward = wrap_180(north[1] - south[1]) * np.cos(np.radians(middle)) * normal_radius
    return own, np.degrees(np.arctan2(eastward, (north[0] - south[0]) * meridian_radius))


def _radii_m(geod: pyproj.Geod, latitude_deg: Floats) -> tuple[Floats, Floats]:
    """The ellipsoid's radii of curvature, along the meridian and across it."""
    across = 1.0 - geod.es * np.sin(np.radians(latitude_deg)) ** 2
    return geod.a * (1.0 - geod.es) / across**1.5, geod.a / np.sqrt(across)


def _distortion(grid: _Grid, latitude_deg: Floats, longitude_deg: Floats) -> dict[str, Any]:
    """Convergence and scales from the projection's derivatives, at own-datum degrees."""
    latitude = np.clip(latitude_deg, -_POLAR_CAP_DEG, _POLAR_CAP_DEG)
    rates = grid.factors.get_factors(longitude_deg, latitude, errcheck=False)
    # The library's own scales take the projection's figure of the earth, a sphere for some web
    # maps, where distances are measured on the datum's ellipsoid.
    meridian_radius, normal_radius = np.array(_radii_m(grid.geod, latitude)) / grid.geod.a
    parallel_radius = normal_radius * np.cos(np.radians(latitude))
    east_by_north, north_by_north = (
        _finite(rate) / meridian_radius for rate in (rates.dx_dphi, rates.dy_dphi)
    )
    east_by_east, north_by_east = (
        _finite(rate) / parallel_radius for rate in (rates.dx_dlam, rates.dy_dlam)
    )
    meridional = np.hypot(east_by_north, north_by_north)
    parallel = np.hypot(east_by_east, north_by_east)
    areal = np.abs(east_by_east * north_by_north - east_by_north * north_by_east)
    unequal = np.abs(meridional / parallel - 1.0)
    oblique = np.abs(areal / (meridional * parallel) - 1.0)
    return {
        "convergence_deg": wrap_180(-np.degrees(np.arctan2(east_by_north, north_by_north))),
        "scale_factor": np.sqrt(areal),
        "meridional_scale": meridional,
        "parallel_scale": parallel,
        "conformal": (unequal < _CONFORMAL_TOLERANCE) & (oblique < _CONFORMAL_TOLERANCE),
    }


# --- the edges of zones ------------------------------------------------------------------------


def _edges(
    texts: NDArray[np.str_], latitude_deg: Floats, longitude_deg: Floats
) -> tuple[NDArray[np.bool_], NDArray[Any]]:
    """Whether points are near or beyond the edge of their grid, and the grid beyond it."""
    near, neighbour = np.zeros(texts.shape, bool), np.full(texts.shape, "", object)
    for text, grid, on in _by_grid(texts):
        beyond = _beyond_zone if grid.zone_grid is not None else _beyond_area
        for latitude, longitude in _probes(latitude_deg[on], longitude_deg[on]):
            outside, other = beyond(text, latitude, longitude)
            near[on] |= outside
            # The first probe to leave the zone names the neighbour.
            neighbour[on] = np.where(neighbour[on] == "", other, neighbour[on])
    return near, neighbour.astype(str)


def _probes(latitude_deg: Floats, longitude_deg: Floats) -> Iterator[tuple[Floats, Floats]]:
    """The points themselves, then 10′ of arc to the west, east, south and north of them."""
    yield latitude_deg, longitude_deg
    parallel = np.cos(np.radians(np.minimum(np.abs(latitude_deg), 89.0)))
    for sign in (-1, 1):
        yield latitude_deg, longitude_deg + sign * EDGE_MARGIN_DEG / parallel
    for sign in (-1, 1):
        yield np.clip(latitude_deg + sign * EDGE_MARGIN_DEG, -90.0, 90.0), longitude_deg


def _beyond_zone(
    text: str, latitude_deg: Floats, longitude_deg: Floats
) -> tuple[NDArray[np.bool_], NDArray[Any]]:
    """Where points lie in another UTM or UPS zone than the grid's, and that zone's grid."""
    grid = _open(text)
    zone = np.asarray(default_grid(latitude_deg, longitude_deg))
    outside = (zone != grid.zone_grid) & (zone != "")
    other = np.full(zone.shape, "", object)
    for name in np.unique(zone[outside]).tolist():
        other[zone == name] = _same_datum_zone(text, name)
    return outside, np.where(outside, other, "")


@lru_cache(maxsize=1024)
def _same_datum_zone(text: str, zone_grid: str) -> str:
    """A WGS 84 zone's counterpart on the datum of the grid `text`; "" where there is none."""
    datum = _open(text).crs.datum
    if datum is None or datum.name.startswith("World Geodetic System 1984"):
        return zone_grid
    for name, _ in _siblings(text):
        if _open(name).zone_grid == zone_grid:
            return name
    return ""


def _beyond_area(
    text: str, latitude_deg: Floats, longitude_deg: Floats
) -> tuple[NDArray[np.bool_], NDArray[Any]]:
    """Where points lie outside the grid's area of use, and the sister zone that holds them."""
    known = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    outside = known & ~_in_box(_open(text).area, latitude_deg, longitude_deg)
    other = np.full(latitude_deg.shape, "", object)
    if outside.any():
        for name, area in _siblings(text):
            holds = outside & (other == "") & _in_box(area, latitude_deg, longitude_deg)
            if holds.any() and check_grid(name) is None:
                other[holds] = name
    return outside, other


@lru_cache(maxsize=512)
def _siblings(text: str) -> tuple[tuple[str, Box | None], ...]:
    """The registry's other zones of a grid's series: the names differ in the number alone."""
    own = _open(text).crs.name
    if _series(own) is None:
        return ()
    return tuple(
        (f"{info.auth_name}:{info.code}", _box(info.area_of_use))
        for info in _registry()
        if info.name != own and _series(info.name) == _series(own)
    )


@lru_cache(maxsize=1)
def _registry() -> tuple[Any, ...]:
    return tuple(query_crs_info(auth_name="EPSG", pj_types=[PJType.PROJECTED_CRS]))


@lru_cache(maxsize=8192)
def _series(name: str) -> str | None:
    """A CRS name with its zone number, the last word, masked; None where it has no number."""
    masked, found = re.subn(r"\d+[NSEW]?$", "#", name)
    return masked if found else None


# --- lines on a grid ---------------------------------------------------------------------------


@dataclass(frozen=True)
class GridLine:
    """A line between two points of a grid, seen from its start; arrays of the points' shape.

    `azimuth_deg` is geodetic, on the grid's own datum; `arc_to_chord_deg` how far the projected
    geodesic sets out clockwise of the straight line on the grid: the grid bearing of the straight
    line is azimuth − convergence − this. Both are NaN where the two points are one.
    """

    azimuth_deg: Any
    arc_to_chord_deg: Any


def line_between(
    easting1_m: ArrayLike,
    northing1_m: ArrayLike,
    easting2_m: ArrayLike,
    northing2_m: ArrayLike,
    crs: ArrayLike,
) -> GridLine:
    """Find azimuth and arc-to-chord correction between points known on a grid.

    Args: metres east and north of start and end, CRS texts, shapes that broadcast.
    Returns: GridLine.
    Raises: NotAGrid where a CRS is no grid.
    Accuracy: azimuths are those of the geodesic; the plane of sight set up over one end, the
    normal section, differs by under 0.001″ at 20 km and 0.03″ at 100 km (*from memory*: at most
    e² s² / 12 a² · cos²φ · sin 2A). The correction within 0.01″ on lines over 100 m: from the
    geodesic on the grid's own ellipsoid, no series.
    """
    texts, numbers, shape = _flat(crs, easting1_m, northing1_m, easting2_m, northing2_m)
    line = np.full((2, texts.size), np.nan)
    for _, grid, on in _by_grid(texts):
        line[:, on] = _line(grid, *(number[on] for number in numbers))
    return GridLine(*(_shaped(values, shape) for values in line))


def _line(
    grid: _Grid, easting1: Floats, northing1: Floats, easting2: Floats, northing2: Floats
) -> list[Floats]:
    """The fields of GridLine, in their order, on one grid."""
    chord = np.degrees(np.arctan2(easting2 - easting1, northing2 - northing1))
    start, end = grid.unproject(easting1, northing1), grid.unproject(easting2, northing2)
    azimuth, _, distance = grid.geod.inv(start[1], start[0], end[1], end[0])
    convergence = _distortion(grid, *start)["convergence_deg"]
    apart = np.where(distance > 0.0, 1.0, np.nan)
    return [wrap_360(azimuth) * apart, wrap_180(azimuth - convergence - chord) * apart]


def grid_bearing(
    true_azimuth_deg: ArrayLike, convergence_deg: ArrayLike, arc_to_chord_deg: ArrayLike = 0.0
) -> Any:
    """Turn true azimuths into grid bearings.

    Args: degrees, any shapes that broadcast. Returns: degrees, 0 ≤ bearing < 360.
    """
    return wrap_360(
        np.asarray(true_azimuth_deg) - np.asarray(convergence_deg) - np.asarray(arc_to_chord_deg)
    )


def grid_to_magnetic_deg(declination_deg: ArrayLike, convergence_deg: ArrayLike) -> Any:
    """Find the angle from grid north to magnetic north, east plus, −180 ≤ angle < 180.

    Args: degrees, any shapes that broadcast. Magnetic bearing = grid bearing − this angle.
    """
    return wrap_180(np.asarray(declination_deg) - np.asarray(convergence_deg))


# --- the plumb line ----------------------------------------------------------------------------


def astronomic_coordinates(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, xi_arcsec: ArrayLike, eta_arcsec: ArrayLike
) -> tuple[Any, Any]:
    """Find the latitude and longitude of the plumb line from the deflection of the vertical.

    Args: geodetic degrees; deflection in arc-seconds, north and east plus; any shapes that
    broadcast.
    Returns: astronomic latitude and longitude in degrees, to compute the sun with where a board
    is levelled by bubble: its azimuths are then astronomic.
    Accuracy: first order, within 0.1″ for 60″ of deflection up to latitude 85°.
    """
    latitude = np.asarray(latitude_deg, float)
    northward, eastward = np.asarray(xi_arcsec) / 3600.0, np.asarray(eta_arcsec) / 3600.0
    longitude = np.asarray(longitude_deg, float) + eastward / np.cos(np.radians(latitude))
    return (latitude + northward)[()], wrap_180(longitude)


def laplace_correction_deg(
    latitude_deg: ArrayLike,
    xi_arcsec: ArrayLike,
    eta_arcsec: ArrayLike,
    azimuth_deg: ArrayLike = 0.0,
    altitude_deg: ArrayLike = 0.0,
) -> Any:
    """Find astronomic minus geodetic azimuth of a line of sight, Laplace's equation.

    Args: geodetic latitude in degrees, deflection in arc-seconds, azimuth and altitude of the
    *line*, in degrees (not of the sun); any shapes that broadcast. A level line needs neither.
    Returns: degrees, η tan φ + (ξ sin A − η cos A) tan h; geodetic azimuth = astronomic − this.
    Accuracy: first order in the deflection, proved against the rotation itself: within 0.2″
    for 60″ in either component, up to latitude 70° and lines 30° steep.
    Source: W. A. Heiskanen and H. Moritz, Physical Geodesy, 1967, section 5-12 (*from memory*).
    """
    level = np.asarray(eta_arcsec) / 3600.0 * np.tan(np.radians(latitude_deg))
    return (level + sun_deflection_deg(xi_arcsec, eta_arcsec, azimuth_deg, altitude_deg))[()]


def sun_deflection_deg(
    xi_arcsec: ArrayLike,
    eta_arcsec: ArrayLike,
    sun_azimuth_deg: ArrayLike,
    sun_altitude_deg: ArrayLike,
) -> Any:
    """Find what a board levelled by bubble must add when the sun is computed geodetically.

    A board levelled by the plumb line is, to the geodetic horizon, a board tilted by the
    deflection. With the sun's azimuth computed from geodetic coordinates the η tan φ of
    Laplace's equation is in the sun's direction and in the level line alike and drops out: what
    comes out is a geodetic azimuth already, save for this term of the sun's own altitude.

    Args: deflection in arc-seconds, sun's azimuth and altitude in degrees; any shapes that
    broadcast.
    Returns: degrees, (ξ sin A − η cos A) tan h, to add to the azimuth found, for a geodetic one.
    Accuracy: first order in the deflection.
    """
    azimuth = np.radians(sun_azimuth_deg)
    across = np.asarray(xi_arcsec) * np.sin(azimuth) - np.asarray(eta_arcsec) * np.cos(azimuth)
    return (across / 3600.0 * np.tan(np.radians(sun_altitude_deg)))[()]


def sun_deflection_u_deg(sun_altitude_deg: ArrayLike) -> Any:
    """Find the likely size of `sun_deflection_deg` where no deflection is known.

    Args: sun's altitude in degrees, any shape.
    Returns: standard uncertainty in degrees, DEFLECTION_RMS_ARCSEC · tan h.
    """
    return (DEFLECTION_RMS_ARCSEC / 3600.0 * np.tan(np.radians(sun_altitude_deg)))[()]
