"""What is said of the compass beside a set-up, by itself and as one of its campaign's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers.angles import wrap_180
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.compass.check import check_compasses
from orient.observation.compass.lines import compass_readings
from orient.observation.compass.model import INDEX_SD_DEG
from orient.tables.campaign import Campaign
from orient.text import signed

#: Why a set-up is flagged, by the finding of its readings.
_WHY = {
    "ground": "The ground pulls the needle here: take no bearings by compass at this place.",
    "off": "The compass is off by more than a usual one in usual ground: read another compass "
    "here, and this one at another place.",
    "turned": "A reading is nearly 180° off: the needle's other end was read, or the sight was "
    "taken backward.",
    "alone": "A reading contradicts the others of its place and compass: read it again.",
    "dial": "The compass has its declination set on the dial already.",
    "compass": "The compass is off by more than a usual one, wherever it was read.",
}
#: A compass off by more than this is flagged; less is the rule, and only corrected.
_UNUSUAL_DEG = 2 * INDEX_SD_DEG


def compare_with_model(setup: pd.Series, row: dict[str, Any]) -> list[str]:
    """Compare a set-up's compass reading with the model: fills the row, and says what it finds.

    `compass_difference_u_deg` is that of line, model and reading; a usual compass's own error
    (2°, *common practice, no source*) is counted only in what is called unusual.
    """
    if row["compass_reading_deg"] is None or row["reference_magnetic_bearing_deg"] is None:
        return []
    apart = float(wrap_180(row["compass_reading_deg"] - row["reference_magnetic_bearing_deg"]))
    u = float(
        np.sqrt(
            row["reference_azimuth_u_deg"] ** 2
            + row["declination_u_deg"] ** 2
            + setup["compass_sd_deg"] ** 2
        )
    )
    row |= {"compass_difference_deg": apart, "compass_difference_u_deg": u}
    allowed = COVERAGE_95 * float(np.hypot(u, INDEX_SD_DEG))
    sentence = (
        f"The compass read {signed(apart)}° from what the model predicts; a usual compass in "
        f"usual ground reads within ±{allowed:.1f}° (95 %)."
    )
    if abs(apart) <= allowed:
        return [sentence]
    explained = [
        f" It is right to {left:.1f}° for {words}"
        for words, slip in compass_slips(setup, row)
        if abs(wrap_180(slip)) > allowed and (left := abs(float(wrap_180(apart - slip)))) < allowed
    ]
    if explained:
        sentence += ";".join(explained) + ". The table needs what the needle showed."
    return [sentence]


def compass_slips(setup: pd.Series, row: Mapping[str, Any]) -> list[tuple[str, float]]:
    """Mistakes made with a compass, and by how much each puts a reading out, degrees."""
    declination, convergence = row["declination_deg"], row["convergence_deg"]
    return [
        ("a reading already corrected for declination", declination),
        ("a reading corrected for declination with the wrong sign", -declination),
        ("a grid bearing, as a map gives it", declination - convergence),
        ("a back bearing", 180.0),
        ("a reference angle counted anticlockwise", -2.0 * float(setup["reference_angle_deg"])),
    ]


def findings_by_setup(
    campaign: Campaign, rows: Sequence[Mapping[str, Any]]
) -> dict[str, list[str]]:
    """Why the compass of a set-up is to be looked at, of those set-ups where it is.

    All readings of the campaign are judged together (`check_compasses`), so that one compass's
    own small error is no finding at every place it was taken to.

    Args:
        campaign: the whole.
        rows: its set-ups, reduced.

    Returns:
        Set-up to sentences. A campaign in which nothing is wrong has any in fewer than 1 of
        100 cases.
    """
    readings = compass_readings(campaign, rows)
    if readings.empty:
        return {}
    check = check_compasses(readings, advise=False)
    corrections = check.compasses["correction_deg"].abs()
    found: dict[str, list[str]] = {}
    for _, reading in check.readings.iterrows():
        finding, setup = reading["finding"], reading["of_setup"] or reading["setup"]
        if finding == "compass" and corrections[reading["compass"]] < _UNUSUAL_DEG:
            continue
        if finding and setup in campaign.setups.index and _WHY[finding] not in found.get(setup, []):
            found.setdefault(setup, []).append(_WHY[finding])
    return found
