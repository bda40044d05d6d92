"""A site without coordinates: where its boards put it.

The shadows tell the latitude, and, with a watch that keeps a known time, the longitude. The
search lays every latitude's tracks over the marks of a few boards, and asks all of them about
each place that it finds; what comes of it is where the adjustment of the campaign as one begins,
in which the place is an unknown like any other. Places that fit hardly worse, as one of either
hemisphere may at an equinox without times, are kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient import site
from orient.numbers import sun
from orient.numbers.angles import wrap_180
from orient.observation.adjustment import Asked, Fit, adjust_all
from orient.observation.board import Board
from orient.observation.boards import board_from_rows
from orient.observation.solver import LATITUDE
from orient.tables import clock
from orient.tables.campaign import Campaign

Array = NDArray[np.float64]
Place = tuple[float, float]

#: A place no better known than this is none, degrees.
WIDEST_PLACE_DEG = 5.0
#: How far from its zone's own meridian a site lies, degrees (*common practice, no source*): the
#: clocks of most places are within an hour of the sun; a fixed offset may be kept anywhere.
_ZONE_SD_DEG, _ANYWHERE_SD_DEG = 15.0, 60.0
# The places that are tried stand so far apart; the sun must climb so high there at noon.
_STEP_DEG, _LEAST_NOON_DEG = 6.0, 6.0
# So many boards of a site are searched; all of them are asked about what is found.
_SEARCHED = 4
# Places nearer than this are one. A place whose sum of squares is so much greater is out of
# the question.
_ONE_PLACE_DEG, _UNLIKELY_COST = 0.5, 12.0
# So far apart are the longitudes that tell how the sun's declination bears on the rest.
_APART_DEG = 10.0


@dataclass(frozen=True)
class Alive:
    """A place that the boards of a site allow, and each board's azimuth there, radians.

    `worse` is how much greater the sum of squares is than at the best.
    """

    place: Place
    azimuth_rad: dict[str, float]
    worse: float = 0.0


@dataclass(frozen=True)
class Found:
    """Where the boards of a site without coordinates put it, degrees.

    `longitude_prior` is what the time zone says of the longitude, and how surely. `rivals` are
    other places that fit hardly worse. `per_longitude` is how much farther north the site lies,
    and by how much each board's azimuth is greater, for a longitude greater by one: where no
    watch tells it, the day's declination hangs on it. In radians a radian.
    """

    best: Alive
    longitude_prior: tuple[float, float]
    rivals: tuple[Alive, ...]
    per_longitude: tuple[float, dict[str, float]]

    @property
    def place(self) -> Place:
        return self.best.place

    def prior_from(self, longitude_deg: float) -> tuple[float, float]:
        """What the time zone says of the longitude, from another one on, radians."""
        value, sd = self.longitude_prior
        return float(np.radians(wrap_180(value - longitude_deg))), float(np.radians(sd))


def unplaced(sites: pd.DataFrame) -> pd.Index:
    """The sites without coordinates."""
    return sites.index[sites["latitude_deg"].isna()]


def placed(campaign: Campaign, places: Mapping[str, Place]) -> Campaign:
    """The campaign with coordinates where they were not given."""
    from orient.numbers.grid import default_grid

    sites = campaign.sites.copy()
    for name, place in places.items():
        sites.loc[name, ["latitude_deg", "longitude_deg"]] = place
        if not sites.loc[name, "grid"]:
            sites.loc[name, "grid"] = str(default_grid(*place))
    return replace(campaign, sites=sites)


def first_places(campaign: Campaign) -> dict[str, Place]:
    """Where the search begins at each site without coordinates: its zone's own meridian."""
    return {
        str(name): (0.0, _zone_longitude(campaign, str(name))[0])
        for name in unplaced(campaign.sites)
    }


def _zone_longitude(campaign: Campaign, name: str) -> tuple[float, float]:
    """What a site's time zone says of its longitude, and how surely."""
    zone = str(campaign.sites.loc[name, "timezone"])
    own = campaign.setups[campaign.setups["site"] == name]
    dates = own["date"].to_numpy("datetime64[D]")
    middle_s = 43200.0
    if "/" in zone and not zone.startswith("Etc/"):
        sd_deg = _ZONE_SD_DEG
    else:
        # A clock that keeps no place's time: the marks were made about noon.
        sd_deg = _ANYWHERE_SD_DEG
        times = campaign.marks.loc[campaign.marks["setup"].isin(own.index), "time_s"].dropna()
        if len(times):
            turn = np.exp(2j * np.pi * times.to_numpy(float) / clock.DAY_S)
            middle_s = float(np.angle(np.mean(turn)) / (2 * np.pi) * clock.DAY_S)
    date = dates[0] if len(dates) else np.datetime64("2026-03-20")
    ahead_s = float(np.asarray(clock.utc_s(date, np.array([43200.0]), zone))[0])
    ahead_s = float(date.astype("datetime64[s]").astype(float)) + 43200.0 - ahead_s
    return float(wrap_180((ahead_s + 43200.0 - middle_s) / 240.0)), sd_deg


def find(
    campaign: Campaign, blank: Mapping[str, Place], used: Sequence[pd.DataFrame]
) -> dict[str, Found]:
    """Find every site without coordinates whose boards tell where it lies.

    Args:
        campaign: its tables.
        blank: the sites to be found, and what `first_places` says of them.
        used: the marks of each set-up that are in use.
    """
    found = {}
    for name, (_, longitude) in blank.items():
        numbers = [
            n for n, at in enumerate(campaign.setups["site"]) if at == name and len(used[n]) > 2
        ]
        boards = _AtSite(campaign, name, numbers, used)
        prior = _zone_longitude(campaign, name)
        each = _found(boards, (longitude, prior[1])) if numbers else None
        if each is not None:
            found[name] = each
    return found


class _AtSite:
    """The boards of a site, wherever it lies."""

    def __init__(
        self, campaign: Campaign, name: str, numbers: Sequence[int], used: Sequence[pd.DataFrame]
    ) -> None:
        self.row = cast(pd.Series, campaign.sites.loc[name])
        self.setups = [campaign.setups.iloc[number] for number in numbers]
        self.marks = [used[number] for number in numbers]
        self.names = [str(setup.name) for setup in self.setups]

    def boards(self, place: Place) -> list[Board]:
        row = self.row.copy()
        row["latitude_deg"], row["longitude_deg"] = place
        zone = row["timezone"]
        dates = np.array([setup["date"] for setup in self.setups], dtype="datetime64[D]")
        noon_s = np.asarray(site.local_noon(dates, zone, place[1]))
        return [
            board_from_rows(
                setup, row, pd.Series({"date": str(date), "noon_utc_s": float(noon)}), marks
            )
            for setup, date, noon, marks in zip(
                self.setups, dates, np.broadcast_to(noon_s, dates.shape), self.marks, strict=True
            )
        ]


def _found(at_site: _AtSite, prior: tuple[float, float]) -> Found | None:
    boards = at_site.boards((0.0, prior[0]))
    timed = [_trusted(board) for board in boards]
    asked = [n for n in range(len(boards)) if timed[n] or not any(timed)]
    asked = sorted(asked, key=lambda n: -boards[n].count)[:_SEARCHED]
    tried = [_place(boards[n], fit) for n in asked for fit in _searched(boards[n])]
    refined = [place for place in map(_refiner(at_site, prior), _distinct(tried)) if place]
    alive = sorted(
        (_asked_about(at_site, place) for place in _distinct(refined)), key=lambda each: each.worse
    )
    if not alive:
        return None
    best = alive[0]
    rivals = tuple(
        replace(each, worse=each.worse - best.worse)
        for each in alive[1:]
        if each.worse - best.worse < _UNLIKELY_COST
    )
    return Found(replace(best, worse=0.0), prior, rivals, _per_longitude(at_site, best.place))


def _trusted(board: Board) -> bool:
    """Whether a board's watch tells the longitude."""
    return board.watch == "trusted" and bool(np.isfinite(board.watch_utc_s).any())


def _searched(board: Board) -> list[Fit]:
    """The readings of a board at every latitude, the time of the day forgotten too."""
    declination = float(sun.declination_deg(board.noon_utc_s))
    latitudes = np.arange(-90.0 + _STEP_DEG / 2, 90.0, _STEP_DEG)
    latitudes = latitudes[90.0 - np.abs(latitudes - declination) > _LEAST_NOON_DEG]
    asked = [_freely(replace(board, latitude_deg=float(each))) for each in latitudes]
    fits = [
        _at_latitude(fit, float(latitude))
        for fit, latitude in zip(adjust_all(asked), latitudes, strict=True)
        if _tells(fit, float(latitude))
    ]
    least = min((fit.cost for fit in fits), default=0.0)
    return sorted(
        (fit for fit in fits if fit.cost < least + 2 * _UNLIKELY_COST), key=lambda fit: fit.cost
    )


def _freely(board: Board) -> Asked:
    return Asked(board, free_watch=True, free_latitude=True)


def _tells(fit: Fit, latitude_deg: float) -> bool:
    """Whether a fit is one, and knows its latitude."""
    u_deg = np.degrees(np.sqrt(fit.covariance[LATITUDE, LATITUDE]))
    found = latitude_deg + np.degrees(fit.state.latitude_rad)
    return bool(fit.converged and fit.bears and u_deg < WIDEST_PLACE_DEG and abs(found) < 89.0)


def _at_latitude(fit: Fit, latitude_deg: float) -> Fit:
    """The fit, its latitude counted from the equator."""
    whole = float(np.radians(latitude_deg) + fit.state.latitude_rad)
    return replace(fit, state=replace(fit.state, latitude_rad=whole))


def _place(board: Board, fit: Fit) -> Place:
    """Where a reading of a board puts it: its watch being right, the rest is longitude."""
    ahead_s = board.watch_error_s - fit.state.watch_error_s if _trusted(board) else 0.0
    longitude = wrap_180(board.longitude_deg + ahead_s * sun.SUN_RATE_DEG_PER_S)
    return float(np.degrees(fit.state.latitude_rad)), float(longitude)


def _distinct(places: Sequence[Place]) -> list[Place]:
    """Places that are not the same as one before."""
    kept: list[Place] = []
    for place in places:
        if not any(_near(place, other) for other in kept):
            kept.append(place)
    return kept


def _near(one: Place, other: Place, within_deg: float = _ONE_PLACE_DEG) -> bool:
    east = wrap_180(one[1] - other[1]) * np.cos(np.radians(one[0]))
    return bool(np.hypot(one[0] - other[0], east) < within_deg)


def _refiner(at_site: _AtSite, prior: tuple[float, float]) -> Callable[[Place], Place | None]:
    """A function that takes a place to where all the boards that agree with it put it."""

    def refined(place: Place) -> Place | None:
        boards = at_site.boards(place)
        fits = adjust_all([_freely(board) for board in boards])
        where, weight, timed = [], [], []
        for board, fit in zip(boards, fits, strict=True):
            each = _place(board, _at_latitude(fit, place[0]))
            u = float(np.degrees(np.sqrt(fit.covariance[LATITUDE, LATITUDE])))
            if _tells(fit, place[0]) and _near(each, place, 4.0 * u + 2.0):
                where.append(each)
                weight.append(1.0 / max(u, 1e-3) ** 2)
                timed.append(_trusted(board))
        if not where:
            return None
        latitude = float(np.average([each[0] for each in where], weights=weight))
        east = [wrap_180(each[1] - place[1]) for each, by_time in zip(where, timed, strict=True)
                if by_time]  # fmt: skip
        return latitude, float(wrap_180(place[1] + (np.mean(east) if east else 0.0)))

    return refined


def _asked_about(at_site: _AtSite, place: Place) -> Alive:
    """What all the boards make of a place, every one as it was stated."""
    boards = at_site.boards(place)
    fits = adjust_all([Asked(board) for board in boards])
    azimuths = (float(fit.state.board_azimuth_rad) for fit in fits)
    named = dict(zip(at_site.names, azimuths, strict=True))
    costs = (fit.cost + _wrong_half(board, fit) for board, fit in zip(boards, fits, strict=True))
    return Alive(place, named, float(sum(costs)))


def _wrong_half(board: Board, fit: Fit) -> float:
    """What it costs that marks lie in the other half of the day than was told of them."""
    told = (board.half != 0) & fit.kept
    side = np.sign(fit.utc_s - board.noon_utc_s)
    wrong = float(np.mean(side[told] != board.half[told])) if told.any() else 0.0
    return _UNLIKELY_COST if wrong > 0.5 else 0.0


def _per_longitude(at_site: _AtSite, place: Place) -> tuple[float, dict[str, float]]:
    farther = (place[0], float(wrap_180(place[1] + _APART_DEG)))
    here, there = (
        adjust_all([_freely(board) for board in at_site.boards(each)]) for each in (place, farther)
    )
    turn = np.radians(_APART_DEG)
    north = [
        (b.state.latitude_rad - a.state.latitude_rad) / turn
        for a, b in zip(here, there, strict=True)
    ]
    around = [
        float(np.angle(np.exp(1j * (b.state.board_azimuth_rad - a.state.board_azimuth_rad)))) / turn
        for a, b in zip(here, there, strict=True)
    ]
    return float(np.median(north)), dict(zip(at_site.names, around, strict=True))
