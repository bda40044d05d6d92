"""Sites without coordinates, once their boards are adjusted: the place, and how sure it is.

What the adjustment has of the place is widened by what stays open beside it: a longitude that no
watch tells, on which the sun's declination hangs, and other places that fit the marks hardly
worse. Each board's azimuth is widened with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from orient import site
from orient.flags import Flag
from orient.numbers import grid, magnetic
from orient.numbers.angles import wrap_180
from orient.observation.adjustment import Asked, adjust_all
from orient.observation.joint.campaign import Joined, adjusted_alone
from orient.observation.joint.linear import LATITUDE, LONGITUDE
from orient.observation.joint.places import WIDEST_PLACE_DEG, Found
from orient.observation.joint.together import Adjusted
from orient.observation.reduction import Reduced, widened
from orient.tables.campaign import Campaign

#: A place in two dimensions is within so many standard uncertainties with 95 % (chi-square of
#: two degrees of freedom).
ELLIPSE_95 = 2.4477
_KM_PER_DEG = 111.2
_DOUBTFUL = frozenset(
    {Flag.WATCH_DOUBTFUL, Flag.HEIGHT_DOUBTFUL, Flag.LEVEL_DOUBTFUL, Flag.BOARD_MOVED}
)
# So much farther north a board is tried, to see what its place does to it.
_NORTH_DEG = 0.2


_PLACE_KEYS = (
    "latitude_deg", "latitude_u_deg", "longitude_deg", "longitude_u_deg", "ellipse_major_km",
    "ellipse_minor_km", "ellipse_azimuth_deg",
)  # fmt: skip


@dataclass(frozen=True)
class SitePlace:
    """Where a site without coordinates lies by its boards; degrees, standard uncertainties.

    The longitude is NaN where no watch tells it. `ellipse` holds the place with 95 %: its
    semi-axes in km, the major one first, and the azimuth of that; None without a longitude.
    `others` are latitudes of places that the marks allow too, and `setups` those that tell it.
    """

    latitude_deg: float
    latitude_u_deg: float
    longitude_deg: float
    longitude_u_deg: float
    ellipse: tuple[float, float, float] | None
    setups: tuple[str, ...]
    others: tuple[float, ...] = ()

    def row(self) -> dict[str, Any]:
        """For the rows of a reduction."""
        longitude = (
            (self.longitude_deg, self.longitude_u_deg, *self.ellipse) if self.ellipse else ()
        )
        told = (self.latitude_deg, self.latitude_u_deg, *longitude)
        return dict.fromkeys(_PLACE_KEYS) | dict(zip(_PLACE_KEYS, told, strict=False))


Alone = tuple[Reduced, Adjusted] | None


def alone_there(
    campaign: Campaign, reduced: Sequence[Reduced | None], found: Mapping[str, Found]
) -> list[Alone]:
    """Each set-up at a site without coordinates by itself; None elsewhere, and in doubt."""
    sites = campaign.setups["site"].astype(str)
    return [
        adjusted_alone(campaign, number, each, found[name])
        if name in found and each is not None and _tells_its_place(each, found[name])
        else None
        for number, (name, each) in enumerate(zip(sites, reduced, strict=True))
    ]


def _tells_its_place(reduced: Reduced, found: Found) -> bool:
    """Whether a board is sound; marks that are only rough tell a place, roughly.

    Where another place is possible, what one contradicts the other may explain.
    """
    if not (reduced.fit.converged and reduced.fit.kept.any()):
        return False
    explained = reduced.explanation is not None and not _only_rough(reduced)
    doubtful = explained or not reduced.determined or _DOUBTFUL & set(reduced.flags)
    return bool(found.rivals) or not doubtful


def _only_rough(reduced: Reduced) -> bool:
    explanation = reduced.explanation
    return explanation is not None and all(
        set(each) <= {"marking", "edge"} for each in explanation.sets_aside
    )


@dataclass
class Settled:
    """Each site's place, and each set-up with what its place leaves open in its figure."""

    places: dict[str, SitePlace]
    alone: list[Reduced | None]
    joined: list[Joined]


def settle(
    campaign: Campaign,
    found: Mapping[str, Found],
    reduced: Sequence[Reduced | None],
    alone: Sequence[Alone],
    joined: Sequence[Joined],
) -> Settled:
    """Where the sites without coordinates lie, and what that leaves uncertain in their boards.

    Args:
        campaign: with the places of `found` in it.
        found: of the sites without coordinates.
        reduced: of each set-up at that place.
        alone: as of `alone_there`.
        joined: what the set-ups that share anything have to say of each.
    """
    settled = Settled({}, list(reduced), list(joined))
    sites = campaign.setups["site"].astype(str).to_numpy()
    names = [str(name) for name in campaign.setups.index]
    for name, where in found.items():
        numbers = np.flatnonzero(sites == name).tolist()
        telling = [(n, each) for n in numbers if (each := _adjusted(joined[n], alone[n]))]
        if not telling:
            for n in numbers:
                settled.alone[n] = None
            continue
        shared = [n for n in numbers if joined[n].adjusted is not None]
        number, (of, at) = min(telling, key=lambda each: each[1][0].covariance[LATITUDE, LATITUDE])
        place = _place(where, of, at)
        said_by = shared if number in shared else [number]
        settled.places[name] = replace(place, setups=tuple(names[n] for n in said_by))
        for n in numbers:
            _widen(settled, n, names[n], alone[n], where, place)
    return settled


def _adjusted(joined: Joined, alone: Alone) -> tuple[Adjusted, Reduced] | None:
    """The best that is known of a set-up's place."""
    if joined.adjusted is not None and joined.reduced is not None:
        return joined.adjusted, joined.reduced
    return None if alone is None else (alone[1], alone[0])


def _place(found: Found, adjusted: Adjusted, at: Reduced) -> SitePlace:
    both = [LATITUDE, LONGITUDE]
    covariance = np.degrees(np.degrees(adjusted.covariance[np.ix_(both, both)]))
    latitude, longitude = at.board.latitude_deg, at.board.longitude_deg
    u_east = float(np.sqrt(covariance[1, 1]))
    if u_east > WIDEST_PLACE_DEG:
        covariance[0, 0] += (found.per_longitude[0] * u_east) ** 2
    covariance[0, 0] += _spread(found, {i: e.place[0] - found.place[0] for i, e in _each(found)})
    u_north = float(np.sqrt(covariance[0, 0]))
    others = tuple(each.place[0] for each in found.rivals)
    if u_east > WIDEST_PLACE_DEG:
        return SitePlace(latitude, u_north, np.nan, np.nan, None, (), others)
    ellipse = _ellipse(covariance, latitude)
    return SitePlace(latitude, u_north, longitude, u_east, ellipse, (), others)


def _each(found: Found) -> list[tuple[int, Any]]:
    return list(enumerate(found.rivals))


def _spread(found: Found, apart: Mapping[int, float]) -> float:
    """The variance that other places which fit hardly worse bring, as far as they are likely."""
    likely = np.array([np.exp(-each.worse / 2.0) for each in found.rivals])
    squares = np.array([apart[n] ** 2 for n in range(len(found.rivals))])
    return float(np.sum(likely * squares) / (1.0 + np.sum(likely)))


def _ellipse(covariance: Any, latitude_deg: float) -> tuple[float, float, float]:
    """Semi-axes in km and the azimuth of the major one, of degrees² north and east."""
    scale = _KM_PER_DEG * np.array([1.0, np.cos(np.radians(latitude_deg))])
    values, axes = np.linalg.eigh(covariance * np.outer(scale, scale))
    azimuth = float(np.degrees(np.arctan2(axes[1, 1], axes[0, 1])) % 180.0)
    minor, major = (ELLIPSE_95 * np.sqrt(np.maximum(values, 0.0))).tolist()
    return float(major), float(minor), azimuth


def _widen(
    settled: Settled, number: int, name: str, alone: Alone, found: Found, place: SitePlace
) -> None:
    """Put what the place leaves open into a set-up's figures."""
    own, joined = settled.alone[number], settled.joined[number]
    if own is None:
        return
    open_rad2 = _open(name, found, place)
    if alone is not None:
        settled.alone[number] = _wider(_at_least(alone[0], own), open_rad2)
    else:
        turn = _turn_per_north(own)
        u_rad = turn * np.radians(place.latitude_u_deg)
        settled.alone[number] = _wider(own, u_rad**2 + open_rad2)
    if joined.reduced is not None:
        joined.reduced = _wider(joined.reduced, open_rad2)
    if joined.line is not None and open_rad2:
        u_deg = float(np.hypot(joined.line.azimuth_u_deg, np.degrees(np.sqrt(open_rad2))))
        joined.line = replace(joined.line, azimuth_u_deg=u_deg)


def _open(name: str, found: Found, place: SitePlace) -> float:
    """The variance of a board's azimuth by what stays open of its place, rad²."""
    here = found.best.azimuth_rad.get(name)
    variance = 0.0
    if here is not None:
        apart = {
            n: float(np.angle(np.exp(1j * (each.azimuth_rad[name] - here))))
            for n, each in _each(found)
        }
        variance += _spread(found, apart)
    if place.ellipse is None:
        sd_rad = np.radians(found.longitude_prior[1])
        variance += (found.per_longitude[1].get(name, 0.0) * sd_rad) ** 2
    return variance


def _at_least(reduced: Reduced, other: Reduced) -> Reduced:
    """The same, no surer than another reduction of it."""
    if other.board_azimuth_u_deg <= reduced.board_azimuth_u_deg:
        return reduced
    return widened(reduced, float(np.radians(other.board_azimuth_u_deg)))


def _wider(reduced: Reduced, variance_rad2: float) -> Reduced:
    if not variance_rad2:
        return reduced
    own = np.radians(reduced.board_azimuth_u_deg)
    return widened(reduced, float(np.sqrt(own**2 + variance_rad2)))


def _turn_per_north(reduced: Reduced) -> float:
    """By how much a board's azimuth turns where its site lies farther north, radians a radian."""
    boards = [reduced.board, reduced.board.moved(_NORTH_DEG, 0.0)]
    here, there = adjust_all([Asked(board, free_watch=True) for board in boards])
    apart = there.state.board_azimuth_rad - here.state.board_azimuth_rad
    return abs(float(np.angle(np.exp(1j * apart)))) / float(np.radians(_NORTH_DEG))


# What follows from the place ------------------------------------------------------------


def known_places(sites: pd.DataFrame, places: Mapping[str, SitePlace]) -> pd.DataFrame:
    """The sites with the places found: NaN where there is none, or no longitude."""
    sites = sites.copy()
    for name, place in places.items():
        where = place.latitude_deg, place.longitude_deg
        sites.loc[name, ["latitude_deg", "longitude_deg"]] = where
        if not sites.loc[name, "grid"]:
            sites.loc[name, "grid"] = str(grid.default_grid(*where))
    return sites


#: What follows from a place, and is not known without a longitude.
_BY_LONGITUDE = [
    "declination_deg", "declination_u_deg", "declination_rate_deg_per_year",
    "horizontal_intensity_nt", "convergence_deg", "scale_factor", "grid_to_magnetic_deg",
    "easting_m", "northing_m", "datum_turn_deg",
]  # fmt: skip


def describe_found(sites: pd.DataFrame, provisional: pd.Series, place: SitePlace | None) -> Any:
    """The row of `site.describe` for a place that was found, its uncertainty in the declination's.

    Args:
        sites: as of `known_places`.
        provisional: the row for the place that stood in until it was found.
        place: what was found.
    """
    if place is None or place.ellipse is None:
        day = provisional.copy()
        day[_BY_LONGITUDE] = np.nan
        day["grid"], day["transformation_ballpark"], day["neighbour_grid"] = "", False, ""
        day["latitude_deg"] = np.nan if place is None else place.latitude_deg
        day["longitude_deg"], day["flags"] = np.nan, []
        return day
    day = site.describe(sites.loc[[provisional["site"]]], provisional["date"]).iloc[0].copy()
    day["declination_u_deg"] = float(np.hypot(day["declination_u_deg"], _declination_u(day, place)))
    return day


def _declination_u(day: pd.Series, place: SitePlace) -> float:
    """What the place's uncertainty makes of the declination's, degrees."""
    year = magnetic.decimal_year(np.array([day["date"]], dtype="datetime64[D]"))
    latitude = place.latitude_deg + np.array([0.0, place.latitude_u_deg, 0.0])
    longitude = place.longitude_deg + np.array([0.0, 0.0, place.longitude_u_deg])
    field = magnetic.field_or_none(
        np.clip(latitude, -90.0, 90.0), wrap_180(longitude), day["elevation_m"], year
    )
    steps = wrap_180(np.asarray(field.declination_deg)[1:] - np.asarray(field.declination_deg)[0])
    return float(np.hypot(*np.nan_to_num(steps)))


def convergence_u_deg(day: pd.Series, place: SitePlace) -> float:
    """What the place's uncertainty makes of the grid convergence, degrees."""
    latitude = place.latitude_deg + np.array([0.0, place.latitude_u_deg, 0.0])
    longitude = place.longitude_deg + np.array([0.0, 0.0, place.longitude_u_deg])
    grids = np.array([day["grid"]] * 3, dtype=object)
    found = grid.grid_figures(latitude, longitude, grids, 0.0).convergence_deg
    return float(np.hypot(*np.nan_to_num(np.asarray(found)[1:] - np.asarray(found)[0])))
