"""What a night's plan says to people: the same words on the terminal, the sheet and the page."""

from __future__ import annotations

from typing import Any

from orient.numbers.tolerances import COVERAGE_95
from orient.planning.night import Night, NightRig
from orient.tables import clock

STAR_COLUMNS = ("star", "time", "azimuth", "altitude", "moves, °/min", "line, 95 %")
PAIR_COLUMNS = ("above", "below", "time", "azimuth", "altitudes", "line, 95 %")
POLARIS_COLUMNS = ("time", "azimuth", "altitude", "line, 95 %")


def hour(utc_s: Any, night: Night) -> str:
    """Local hours and minutes."""
    return str(clock.local_clock(utc_s, night.timezone))


def spread(u_deg: float) -> str:
    """A standard uncertainty as its 95 % figure."""
    return f"±{COVERAGE_95 * u_deg:.2f}°"


def azimuth(value_deg: float) -> str:
    """An azimuth to a hundredth, 0.00° to 359.99°."""
    return f"{round(value_deg, 2) % 360.0:.2f}°"


def darkness(night: Night) -> str:
    """When it is dark, in one sentence."""
    parts = []
    for name, ends in night.darkness.items():
        if ends is None:
            parts.append(f"no {name} darkness")
        elif ends[1] - ends[0] > 86000.0:
            parts.append(f"{name} darkness all day")
        else:
            parts.append(f"{name} {hour(ends[0], night)}–{hour(ends[1], night)}")
    return "Dark: " + "; ".join(parts) + "."


def moonlight(night: Night) -> str:
    """How much the moon disturbs, in one sentence."""
    lit = f"{100 * night.moon_lit:.0f} % lit"
    if night.dark is None:
        return f"The moon is {lit}."
    if not night.moon_up:
        return f"The moon is {lit} and down while it is dark."
    spans = " and ".join(f"{hour(a, night)}–{hour(b, night)}" for a, b in night.moon_up)
    help_or_harm = " It shows the ground and hides faint stars." if night.moon_lit > 0.4 else ""
    return f"The moon is {lit}, up in the dark {spans}.{help_or_harm}"


def rigging(rig: NightRig) -> str:
    """What the figures hold for."""
    return (
        f"For two plumb lines {rig.base_m:g} m apart, each brought onto the star to "
        f"{rig.sight_sd_mm:g} mm, plumb to {rig.plumb_sd_deg:g}°, and a watch good to "
        f"{rig.watch_sd_s:g} s (one standard uncertainty each): one sight of one star."
    )


def nothing(night: Night) -> str:
    """Why there is no star to sight, "" where there is."""
    if night.dark is None:
        return "It does not grow dark enough for stars: use the sun's shadow."
    return "" if len(night.stars) else "No bright star stands between 15° and 60° in the dark."


def star_rows(night: Night) -> list[list[str]]:
    """Single stars, in the order of their times."""
    return [
        [
            row["star"].name,
            hour(row["utc_s"], night),
            azimuth(row["azimuth_deg"]),
            f"{row['altitude_deg']:.0f}°",
            f"{60 * row['rate_deg_per_s']:+.2f}".replace("-", "−"),
            spread(row["expected_u_deg"]),
        ]
        for row in night.stars.sort_values("utc_s").to_dict("records")
    ]


def pair_rows(night: Night) -> list[list[str]]:
    """Two stars in one vertical, in the order of their times."""
    return [
        [
            row["upper"].name,
            row["lower"].name,
            hour(row["utc_s"], night),
            azimuth(row["azimuth_deg"]),
            f"{row['upper_altitude_deg']:.0f}° and {row['lower_altitude_deg']:.0f}°",
            spread(row["expected_u_deg"]),
        ]
        for row in night.pairs.sort_values("utc_s").to_dict("records")
    ]


def polaris_rows(night: Night) -> list[list[str]]:
    """Polaris, hour by hour."""
    whole = night.polaris[night.polaris["utc_s"].map(lambda t: hour(t, night).endswith(":00"))]
    return [
        [
            hour(row["utc_s"], night),
            azimuth(row["azimuth_deg"]),
            f"{row['altitude_deg']:.1f}°",
            spread(row["expected_u_deg"]),
        ]
        for row in whole.to_dict("records")
    ]


def events(night: Night) -> str:
    """Polaris's elongations and culminations, in one sentence."""
    parts = [
        f"{row['event']} {hour(row['utc_s'], night)}, azimuth {azimuth(row['azimuth_deg'])}"
        + ("" if row["dark"] else " (not in the dark)")
        for row in night.events.to_dict("records")
    ]
    return "Polaris: " + "; ".join(parts) + "." if parts else ""
