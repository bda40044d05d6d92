"""Watches compared with a time signal: what their error was at a board.

Between comparisons the error runs at a rate that they give, as the rate of a chronometer is
kept. Away from them the rate itself wanders: `RATE_WANDERS_S` a day (*common practice, no
source*).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from orient.observation.joint.model import (
    COMPARED_RATE_SD_S,
    DAY_S,
    RATE_SD_S,
    READING_SD_S,
    Comparison,
)
from orient.tables import clock
from orient.tables.campaign import Campaign

RATE_WANDERS_S = 0.3
#: Chance that comparisons of an even watch are taken to be uneven.
_UNEVEN = 0.01
_KNOWN = ("watch_error_s", "watch_sd_s", "watch")


def comparisons(campaign: Campaign) -> dict[Hashable, list[Comparison]]:
    """Each timepiece's comparisons, by its key, in the order of time.

    The times of day are civil time at the first site where the timepiece was used.
    """
    found: dict[Hashable, list[Comparison]] = {}
    if not len(campaign.watches):
        return found
    zones = _zones(campaign)
    for name, rows in campaign.watches.groupby("timepiece", sort=False):
        key = "".join(str(name).split()).casefold()
        zone = zones.get(key, "UTC")
        time_s = np.nan_to_num(rows["time_s"].to_numpy(float), nan=DAY_S / 2)
        for date, at_s, error_s, sd_s in zip(
            rows["date"], time_s, rows["error_s"], rows["sd_s"], strict=True
        ):
            utc_s = float(np.asarray(clock.utc_s(date, np.array([at_s]), zone))[0])
            found.setdefault(key, []).append(Comparison(utc_s, float(error_s), float(sd_s)))
    ordered = {key: sorted(each, key=lambda one: one.utc_s) for key, each in found.items()}
    return {key: _as_they_agree(each) for key, each in ordered.items()}


def _as_they_agree(compared: list[Comparison]) -> list[Comparison]:
    """Comparisons, known as well as an even rate leaves them: one misread shows among three."""
    from scipy.special import chdtri

    if len(compared) < 3:
        return compared
    days = np.array([(each.utc_s - compared[0].utc_s) / DAY_S for each in compared])
    sd = np.array([each.sd_s for each in compared])
    away = np.abs(days[:, None] - days).min(
        axis=1, where=~np.eye(len(days), dtype=bool), initial=1e9
    )
    own = np.hypot(sd, RATE_WANDERS_S * away)
    error = np.array([each.error_s for each in compared])
    rows = np.column_stack([np.ones_like(days), days]) / own[:, None]
    left = error / own - rows @ np.linalg.lstsq(rows, error / own, rcond=None)[0]
    times = float(left @ left) / (len(compared) - 2)
    if times * (len(compared) - 2) <= float(chdtri(len(compared) - 2, _UNEVEN)):
        return compared
    return [replace(each, sd_s=each.sd_s * np.sqrt(times)) for each in compared]


def _zones(campaign: Campaign) -> dict[str, str]:
    zones: dict[str, str] = {}
    for name, site in zip(campaign.setups["timepiece"], campaign.setups["site"], strict=True):
        if name and site in campaign.sites.index:
            key = "".join(str(name).split()).casefold()
            zones.setdefault(key, str(campaign.sites.loc[site, "timezone"]))
    return zones


def watch_own_sd_s(compared: Sequence[Comparison], utc_s: float) -> float:
    """What a watch's error at a set-up has of its own, seconds: reading it, and its wandering."""
    if not compared:
        return READING_SD_S
    away_days = min(abs(each.utc_s - utc_s) for each in compared) / DAY_S
    return float(np.hypot(READING_SD_S, RATE_WANDERS_S * away_days))


def known_error(compared: Sequence[Comparison], utc_s: float) -> tuple[float, float]:
    """A watch's error at an instant by its comparisons alone: seconds, standard uncertainty."""
    days = np.array([(each.utc_s - utc_s) / DAY_S for each in compared])
    error = np.array([each.error_s for each in compared])
    weight = 1.0 / np.array([each.sd_s for each in compared]) ** 2
    design = np.column_stack([np.ones_like(days), days])
    rate_sd = COMPARED_RATE_SD_S if len(compared) > 1 else RATE_SD_S
    matrix = design.T @ (weight[:, None] * design) + np.diag([1e-12, rate_sd**-2])
    covariance = np.linalg.inv(matrix)
    found = covariance @ design.T @ (weight * error)
    own = watch_own_sd_s(compared, utc_s)
    return float(found[0]), float(np.hypot(np.sqrt(covariance[0, 0]), own))


def with_known_watches(
    setups: pd.DataFrame, places: pd.DataFrame, campaign: Campaign
) -> pd.DataFrame:
    """The set-ups with the error of a compared watch in place of what their rows state.

    Args:
        setups: of the campaign.
        places: `site.describe` of each, for its noon.
        campaign: with its comparisons.
    """
    compared = comparisons(campaign)
    if not compared:
        return setups
    setups = setups.copy()
    for number, (name, watch) in enumerate(zip(setups["timepiece"], setups["watch"], strict=True)):
        each = compared.get("".join(str(name).split()).casefold(), [])
        if each and watch != "none":
            noon_utc_s = float(places["noon_utc_s"].iloc[number])
            error_s, sd_s = known_error(each, noon_utc_s)
            known = pd.Series([error_s, sd_s, "trusted"], index=list(_KNOWN))
            setups.loc[setups.index[number], list(_KNOWN)] = known
    return setups
