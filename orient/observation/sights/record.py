"""The ways in which the record of a circle may have been meant, each with its probability.

How common a mistake is: *common practice, no source*. None is adopted for its own sake: each is
weighed by how well the sights fit it, and the figure reaches all that stay alive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers.angles import wrap_180
from orient.observation.compass import model as compass
from orient.observation.sights.circle import Circle
from orient.tables.sights import ROUGH_SD_S

Array = NDArray[np.float64]

#: How a watch may be off beyond what is stated, seconds, and how likely that is beforehand.
_HOURS = {3600.0: 0.004, -3600.0: 0.004, 7200.0: 0.001, -7200.0: 0.001, 43200.0: 0.001,
          -43200.0: 0.001, 1800.0: 0.001, -1800.0: 0.001}  # fmt: skip
_MISSET_SD_S, _MISSET = 600.0, 0.01
#: Of those off by hours, how many are mis-set besides, or of another day.
_BESIDES = 0.1
#: So many times larger than stated a watch's error may be, and how likely that is.
_ROUGHER = {3.0: 0.06, 10.0: 0.02}
#: How far off a site may be, metres: as a map is read, misread, or read a degree wrong.
SITE_M, _PLACES_M = 50.0, {10_000.0: 0.01, 100_000.0: 0.005}
_OTHER_SIDE, _ANTICLOCKWISE, _GON, _ROW_OUT, _TURNED, _OTHER_END = (
    0.002, 0.005, 0.003, 0.002, 0.02, 0.02,
)  # fmt: skip
#: Day and month swapped, and another month.
_SWAPPED_DATE, _OTHER_MONTH = 0.003, 0.001
#: What else a compass may point by, any direction at all.
_ANYHOW = 0.002
#: Beyond so many standard uncertainties, a usual compass's own error in them, one is odd.
_ODD = 2.5


@dataclass(frozen=True)
class Meant:
    """A reading of the record: the circle as it was then, the watches' errors, the site's.

    `offset_s` is by how much each watch is off beyond what is stated, `sd_s` how well that is
    known, `site_m` how well the site is.
    """

    words: str
    probability: float
    circle: Circle
    offset_s: Array
    sd_s: Array
    site_m: float = SITE_M
    of_watch: bool = False


def as_stated(circle: Circle) -> Meant:
    """The record as it stands."""
    return Meant("", 1.0, circle, np.zeros_like(circle.watch_sd_s), circle.watch_sd_s)


# --- watches -----------------------------------------------------------------------------------


def other_watches(circle: Circle) -> list[Meant]:
    """Each trusted watch off by hours, mis-set by minutes or less well known, one at a time."""
    return [
        meant
        for number, sd_s in enumerate(circle.watch_sd_s)
        if sd_s < ROUGH_SD_S
        for meant in _one_watch(circle, number)
    ]


def _one_watch(circle: Circle, number: int) -> Iterator[Meant]:
    only = np.arange(len(circle.watch_sd_s)) == number
    name, stated = circle.watch_names[number] or "watch", circle.watch_sd_s
    misset = np.where(only, np.hypot(stated, _MISSET_SD_S), stated)
    base = replace(as_stated(circle), of_watch=True)
    for off_s, probability in _HOURS.items():
        way = "fast" if off_s > 0 else "slow"
        words = f"the {name} {abs(off_s) / 3600:g} h {way}: zone, summer time?"
        hours = replace(base, words=words, offset_s=only * off_s)
        yield replace(hours, probability=probability * (1.0 - _BESIDES))
        yield replace(hours, probability=probability * _BESIDES, sd_s=misset)
    words = f"the {name} set wrong by minutes, or another date"
    yield replace(base, words=words, probability=_MISSET, sd_s=misset)
    for factor, probability in _ROUGHER.items():
        words = f"the {name} known {factor:g} times less well than stated"
        rougher = np.where(only, factor * stated, stated)
        yield replace(base, words=words, probability=probability, sd_s=rougher)


# --- everything else ---------------------------------------------------------------------------


def other_records(circle: Circle, odd_compass: bool) -> list[Meant]:
    """The site elsewhere, the readings otherwise counted, the circle turned between two sights.

    Args:
        circle: as it was written.
        odd_compass: whether it is a compass that points where none should: its readings are
            then tried from the other end too.
    """
    found = [*_elsewhere(circle), *_otherwise_counted(circle), *_out_of_order(circle)]
    found += [*_another_day(circle), *_turned(circle)]
    if odd_compass:
        words = "the readings of the needle's other end, or toward the sun in place of the shadow"
        found.append(_counted(circle, words, _OTHER_END, wrap_180(circle.reading_deg + 180.0)))
    return found


def _elsewhere(circle: Circle) -> Iterator[Meant]:
    stated = as_stated(circle)
    for site_m, probability in _PLACES_M.items():
        words = "the site elsewhere: latitude, longitude, zone, date?"
        yield replace(stated, words=words, probability=probability, site_m=site_m)
    for words, latitude, longitude in (
        ("the latitude's sign changed", -circle.latitude_deg, circle.longitude_deg),
        ("the longitude's sign changed", circle.latitude_deg, -circle.longitude_deg),
        ("latitude and longitude swapped", circle.longitude_deg, circle.latitude_deg),
    ):
        if abs(latitude) <= 90.0:
            there = replace(circle, latitude_deg=latitude, longitude_deg=longitude)
            yield replace(stated, words=words, probability=_OTHER_SIDE, circle=there)


def _another_day(circle: Circle) -> Iterator[Meant]:
    date = np.datetime64(circle.date)
    year, month, day = (int(part) for part in circle.date.split("-"))
    days = {30: _OTHER_MONTH, -30: _OTHER_MONTH}
    words = dict.fromkeys(days, "the date a month out")
    if day <= 12 and day != month:
        meant = np.datetime64(f"{year:04d}-{day:02d}-{month:02d}")
        swapped = int((meant - date).astype(int))
        days[swapped], words[swapped] = _SWAPPED_DATE, f"day and month swapped: {meant}"
    for number, probability in days.items():
        then = replace(circle, utc_s=circle.utc_s + 86400.0 * number)
        yield replace(as_stated(circle), words=words[number], probability=probability, circle=then)


def _counted(circle: Circle, words: str, probability: float, reading_deg: Array) -> Meant:
    meant = replace(circle, reading_deg=reading_deg)
    return replace(as_stated(circle), words=words, probability=probability, circle=meant)


def _otherwise_counted(circle: Circle) -> Iterator[Meant]:
    yield _counted(circle, "the circle counted anticlockwise", _ANTICLOCKWISE, -circle.reading_deg)
    yield _counted(circle, "the readings in gon", _GON, 0.9 * circle.reading_deg)


def _out_of_order(circle: Circle) -> Iterator[Meant]:
    """The readings toward the sky beside the times of others: a row out, or the other way round."""
    sky = np.flatnonzero(circle.aloft)
    if len(sky) < 3:
        return
    for words, order in (
        ("each reading a row higher or lower", np.roll(sky, 1)),
        ("each reading a row higher or lower", np.roll(sky, -1)),
        ("the times in the opposite order", sky[::-1]),
    ):
        reading, altitude = circle.reading_deg.copy(), circle.altitude_deg.copy()
        reading[sky], altitude[sky] = circle.reading_deg[order], circle.altitude_deg[order]
        meant = replace(circle, reading_deg=reading, altitude_deg=altitude)
        yield replace(as_stated(circle), words=words, probability=_ROW_OUT, circle=meant)


def _turned(circle: Circle) -> Iterator[Meant]:
    """The circle turned between two sights: its lines read before, or after."""
    sky = np.flatnonzero(circle.aloft)
    cuts = sky[1:]
    for cut in cuts:
        before = circle.aloft & (np.arange(len(circle.reading_deg)) < cut)
        sight = circle.sights["sight"].iloc[cut]
        for turned in (before, circle.aloft & ~before):
            yield replace(
                as_stated(circle),
                words=f"the circle turned before sight {sight}",
                probability=_TURNED / (2 * len(cuts)),
                circle=replace(circle, turned=turned),
            )


# --- what a compass points by ------------------------------------------------------------------


def points_oddly(circle: Circle, orientation_deg: float) -> bool:
    """Whether a compass points where no usual one in usual ground does."""
    if not circle.compass or not np.isfinite(circle.declination_deg):
        return False
    off = float(wrap_180(orientation_deg - circle.declination_deg))
    return abs(off) > _ODD * float(np.hypot(compass.INDEX_SD_DEG, circle.declination_u_deg))


def compass_log_density(circle: Circle, orientation_deg: ArrayLike) -> Any:
    """How likely a compass's zero points so, before any sight: log of 1/degree, any shape.

    By its own error, bent or not, the pull of the ground, and a declination set on its dial, as
    `orient.observation.compass.model` supposes them.
    """
    own = {compass.INDEX_SD_DEG: 1.0 - compass.BENT, compass.BENT_SD_DEG: compass.BENT}
    density: Any = _ANYHOW / 360.0
    for middle, share in (
        (circle.declination_deg, 1.0 - compass.DIAL_SET),
        (0.0, compass.DIAL_SET),
    ):
        off = wrap_180(np.asarray(orientation_deg, dtype=float) - middle)
        for own_sd, own_share in own.items():
            for pull_sd, pull_share in compass.PULLS_DEG:
                sd = float(np.sqrt(own_sd**2 + pull_sd**2 + circle.declination_u_deg**2))
                part = share * own_share * pull_share / (sd * np.sqrt(2.0 * np.pi))
                density = density + part * np.exp(-0.5 * (off / sd) ** 2)
    return np.log(density)
