"""The demo's sights: a compass checked by shadow, and a line by stars. Nothing of it happened."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from orient import simulate
from orient.demo.boards import rounded, spot
from orient.demo.story import PLACES, SEED

#: A compass worn on a belt, never checked so far, and by how much it reads too much.
BELT, BELT_INDEX_DEG = "belt", -1.6
#: The true azimuths of the circles' zeros and of the line that a board had the day before.
TABLE, TABLE_ZERO_DEG = "plane table", 212.37
LINE, LINE_AZIMUTH_DEG = "sky notch", 318.440

_SHADOWS = ("08:05:00", "08:08:30", "08:12:00", "08:15:30")
_STARS = (
    ("Canopus", "21:42:10"), ("Rigil Kentaurus", "21:47:40"), ("Sirius", "21:53:05"),
    ("Spica", "21:58:30"), ("Achernar", "22:04:20"), ("Canopus", "22:10:00"),
)  # fmt: skip
#: Which of them was read ten degrees wrong.
_MISREAD = 3
_WATCH_FAST_S, _COMPASS_SD_DEG, _TABLE_SD_DEG, _LEANING_DEG = 4.0, 0.4, 0.08, 0.05


def sight_rows() -> list[dict[str, Any]]:
    """The rows of sights.csv, as its crew would have typed them."""
    random = np.random.default_rng([SEED, 77])
    return [*_shadows(random), *_stars(random)]


def _instant(site: str, date: str, time: str) -> float:
    zone = next(place.timezone for place in PLACES if place.site == site)
    return datetime.fromisoformat(f"{date}T{time}").replace(tzinfo=ZoneInfo(zone)).timestamp()


def _shadows(random: np.random.Generator) -> list[dict[str, Any]]:
    """The shadow of a plumb line, read by the belt compass on the second morning at larkdune."""
    from orient.numbers.magnetic import decimal_year, field

    place = next(place for place in PLACES if place.site == "larkdune")
    where, date = spot(place), "2026-05-15"
    north = field(
        where.latitude_deg,
        where.longitude_deg,
        where.elevation_m,
        decimal_year(np.datetime64(date)),
    ).declination_deg
    rows = []
    for number, time in enumerate(_SHADOWS, start=1):
        at = _instant(place.site, date, time)
        azimuth, _, _ = simulate.sun_seen(
            at, where.latitude_deg, where.longitude_deg, where.elevation_m
        )
        needle = float(north) + place.anomaly_deg
        reading = float(azimuth[0]) + 180.0 - needle + BELT_INDEX_DEG
        reading += random.normal(0.0, _COMPASS_SD_DEG)
        rows.append(
            {
                "sight": f"sh{number}",
                "site": place.site,
                "date": date,
                "time": time,
                "timepiece": "telephone",
                "watch_sd_s": 5,
                "compass": BELT,
                "target": "shadow",
                "reading_deg": rounded(reading % 360.0, 0.5),
            }
        )
    return rows


def _stars(random: np.random.Generator) -> list[dict[str, Any]]:
    """Stars over a plane table's sights at thornmesa, and the line that a board had that day."""
    place = next(place for place in PLACES if place.site == "thornmesa")
    date = "2026-03-14"
    shared = {"site": place.site, "date": date, "circle": TABLE, "reading_sd_deg": 0.1}
    lean = random.normal(0.0, _LEANING_DEG, 2)
    rows = []
    for number, (name, time) in enumerate(_STARS):
        at = _instant(place.site, date, time) - _WATCH_FAST_S
        azimuth, altitude = _star(name, at, place)
        turned = np.radians(azimuth)
        leaning = np.tan(np.radians(altitude)) * (lean @ [np.sin(turned), np.cos(turned)])
        reading = azimuth - TABLE_ZERO_DEG + leaning + random.normal(0.0, _TABLE_SD_DEG)
        reading += 10.0 * (number == _MISREAD)
        rows.append(
            shared
            | {
                "sight": f"st{number + 1}",
                "time": time,
                "timepiece": "telephone",
                "watch_sd_s": 5,
                "target": name,
                "aid": "sights",
                "reading_deg": rounded(reading % 360.0, 0.1),
            }
        )
    for number in range(2):
        reading = LINE_AZIMUTH_DEG - TABLE_ZERO_DEG + random.normal(0.0, _TABLE_SD_DEG)
        rows.append(
            shared
            | {
                "sight": f"ln{number + 1}",
                "target": LINE,
                "aid": "sights",
                "reading_deg": rounded(reading % 360.0, 0.1),
            }
        )
    return rows


def _star(name: str, utc_s: float, place: Any) -> tuple[float, float]:
    from orient.numbers.bodies import find_star

    star = find_star(name)
    assert star is not None
    where = spot(place)
    azimuth, altitude = simulate.star_seen(
        utc_s,
        where.plumb_latitude_deg,
        where.plumb_longitude_deg,
        where.elevation_m,
        star.right_ascension_deg,
        star.declination_deg,
        star.pm_ra_cos_dec_mas_per_year,
        star.pm_declination_mas_per_year,
    )
    return float(azimuth[0]), float(altitude[0])
