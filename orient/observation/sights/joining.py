"""One line's azimuths by circles and by boards, joined; and watches by their comparisons."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.joint.watches import comparisons, known_error
from orient.tables.campaign import Campaign

#: Chance that azimuths which agree are said to disagree.
FALSE_ALARM = 0.003


class Known(NamedTuple):
    """An azimuth, degrees, and its standard uncertainty."""

    azimuth_deg: float
    u_deg: float


def joined(parts: Sequence[Known]) -> tuple[Known, bool]:
    """Independent azimuths of one line as one, and whether they agree.

    Where they disagree, by a chi-square test that agreeing ones fail 3 times in 1,000, nothing
    tells which is wrong: the 95 % figure then reaches every one of them.
    """
    from scipy.special import chdtri

    azimuth = np.array([part.azimuth_deg for part in parts])
    u = np.array([part.u_deg for part in parts])
    off = np.asarray(wrap_180(azimuth - azimuth[0]))
    weight = u**-2.0
    mean = float(weight @ off / weight.sum())
    together_u = float(weight.sum() ** -0.5)
    agree = float(weight @ (off - mean) ** 2) <= float(chdtri(len(parts) - 1, FALSE_ALARM))
    if not agree:
        mean = float((off.min() + off.max()) / 2.0)
        together_u = float((np.abs(off - mean) / COVERAGE_95 + u).max())
    return Known(float(wrap_360(azimuth[0] + mean)), together_u), agree


def with_compared_watches(sights: pd.DataFrame, campaign: Campaign) -> pd.DataFrame:
    """The sights with the error of a compared watch in place of what their rows state."""
    compared = comparisons(campaign)
    if not compared:
        return sights
    sights = sights.copy()
    for place, (name, watch, at) in enumerate(
        zip(sights["timepiece"], sights["watch"], sights["utc_s"], strict=True)
    ):
        each = compared.get("".join(str(name).split()).casefold(), [])
        if each and watch != "none" and np.isfinite(at):
            error_s, sd_s = known_error(each, float(at))
            row = sights.index[place]
            sights.loc[row, ["watch_error_s", "watch_sd_s"]] = [error_s, sd_s]
            sights.loc[row, "watch"] = "trusted"
    return sights
