"""The verdicts: which place is pulled, what each compass is to be corrected by, what is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from orient.observation.compass import advice, model, words
from orient.observation.compass.prepare import COLUMNS, prepared

#: The chance that a campaign in which nothing is wrong has any finding at all, shared among its
#: places and compasses.
FALSE_FINDINGS = 0.004
#: The same for corrections: a compass that is off a little is the rule, and no finding.
FALSE_CORRECTIONS = 0.02
#: An interval wider than this on either side leaves a place or a compass open, degrees.
OPEN_DEG = 2.0
#: A dial is called set when it is so with this probability.
_SURE = 0.9
#: Compasses that are alike within this, and off by more than that, may all be pulled: degrees.
_ALIKE_DEG, _ALL_OFF_DEG = 1.5, 1.5
#: A probability that the ground pulls is of at least so much, degrees, and of more than
#: twice the model's own uncertainty.
PULL_DEG = 1.0

PLACE_COLUMNS = (
    "site", "n", "compasses", "mean_deg", "spread_deg", "anomaly_deg", "anomaly_u_deg",
    "anomaly_low_deg", "anomaly_high_deg", "pulled_probability", "verdict",
)  # fmt: skip
DEVIATION_COLUMNS = ("sine_deg", "cosine_deg", "sine_2_deg", "cosine_2_deg")
COMPASS_COLUMNS = (
    "n", "places", "correction_deg", "correction_u_deg", "correction_low_deg",
    "correction_high_deg", "dial_set_probability", *DEVIATION_COLUMNS, "deviation_u_deg",
    "deviation", "verdict",
)  # fmt: skip


@dataclass(frozen=True)
class CompassCheck:
    """What the readings of a campaign say; angles in degrees, `_u_` standard uncertainties.

    `readings`: the rows given, with `place`; `expected_deg`; `difference_deg`, reading less
    expected, turned round where `slip` is "turned"; `difference_u_deg` of reading, azimuth and
    model together; `slip`: "turned", "alone" (left out: the others contradict it) or "";
    `corrected_deg`, the difference less the compass's own error; `residual_deg`, what the
    place's anomaly leaves of that; `finding`, a word for what the reading shows, or "".

    `places`, by place: `site`, its sites; `n`; `compasses` read there; `mean_deg` and
    `spread_deg`, mean and standard deviation of `corrected_deg`, of the readings that are kept;
    `anomaly_deg`, by how much the needle points east of the model's declination there, with
    `anomaly_low_deg` and `anomaly_high_deg`, the 95 % interval, nothing being supposed of the
    place, and `anomaly_u_deg`, a quarter of its width or nearly; `pulled_probability`, how
    probable a pull above 1° (or twice the model's uncertainty) is, most places being clean;
    `verdict`: "pulled", "perhaps" (more probable than not), "off" (something is: ground,
    compass, or a reading or line that nothing checks), "open" (the interval is too wide to
    tell) or "none".

    `compasses`, by compass: `n`; `places`; `correction_deg` to add to its readings, where its
    deviation is 0, with its 95 % interval; `dial_set_probability`, that its declination was
    set on the dial; the deviation by heading h, `sine_deg` sin h + `cosine_deg` cos h +
    `sine_2_deg` sin 2h + `cosine_2_deg` cos 2h, to be subtracted from a reading of h;
    `deviation`: "shown", "none" or "not borne" by the readings; `verdict`: "shown", "open" or
    "none".

    `all_alike`: every compass is off by as much, so that it may be the ground of the whole
    area. `advice` names the reading that would tell most, "" where nothing is open.
    `sentences` say it all for people.
    """

    readings: pd.DataFrame
    places: pd.DataFrame
    compasses: pd.DataFrame
    all_alike: bool
    advice: str
    sentences: tuple[str, ...]


def check_compasses(readings: pd.DataFrame, advise: bool = True) -> CompassCheck:
    """Judge compass readings, and tell the compasses' own errors from local anomalies.

    Args:
        readings: one row a reading, with `COLUMNS`: degrees, `_u_` standard uncertainties.
            A blank `compass` is one unnamed compass throughout. `setup`, if there is such a
            column, names the orientation each azimuth came from: its error is shared by the
            readings of one orientation; without it, by all of a site. `latitude_deg` and
            `longitude_deg`, if there, tell where each was read: stands within 30 m are one
            place, `stand` names them; without them a site is one place. Rows without a
            reading or an azimuth are left out.
        advise: try which further reading would tell most, which takes longest.

    Returns:
        A `CompassCheck`.

    Raises:
        ValueError: a column is missing, or an uncertainty of reading or model is not above 0.

    Accuracy: of simulated campaigns, anomalies of every size from 0 to 15° and corrections lie
    within their 95 % intervals in 93–97 % of cases; of campaigns in which nothing is wrong,
    fewer than 1 in 100 have a finding (`tests/test_compass.py`).

    Example:
        >>> check = orient.check_compasses(orient.compass_readings(campaign))
        >>> check.places[["anomaly_deg", "anomaly_low_deg", "anomaly_high_deg", "verdict"]]
    """
    table = prepared(readings)
    if table.empty:
        return no_check()
    fitted = model.fit(table)
    level = FALSE_FINDINGS / (len(fitted.places) + len(fitted.compasses))
    compasses = _compasses(fitted, FALSE_CORRECTIONS / len(fitted.compasses))
    places = _places(fitted, compasses, level)
    alike = _all_alike(fitted, compasses)
    table = fitted.table.assign(finding=_findings(fitted.table, places, compasses))
    advised = advice.telling_reading(fitted, places, compasses) if advise else ""
    said = words.sentences(table, places, compasses, alike, advised)
    return CompassCheck(table, places, compasses, alike, advised, said)


def no_check() -> CompassCheck:
    """The check of no readings at all."""
    added = ["place", "expected_deg", "difference_deg", "difference_u_deg", "slip",
             "corrected_deg", "residual_deg", "finding"]  # fmt: skip
    return CompassCheck(
        pd.DataFrame(columns=[*COLUMNS, *added]),
        pd.DataFrame(columns=list(PLACE_COLUMNS), index=pd.Index([], name="place")),
        pd.DataFrame(columns=list(COMPASS_COLUMNS), index=pd.Index([], name="compass")),
        False,
        "",
        ("No compass readings.",),
    )


# ---------------------------------------------------------------- compasses


def _compasses(fitted: model.Fit, level: float) -> pd.DataFrame:
    rows = []
    for number in range(len(fitted.compasses)):
        mine = fitted.compass == number
        error = fitted.index_error(number)
        low, high = error.interval()
        wide = high - low > 2 * OPEN_DEG
        shown = error.beyond(0.0) < level
        rows.append(
            {
                "n": int(mine.sum()),
                "places": len(np.unique(fitted.place[mine])),
                "correction_deg": -error.centre,
                "correction_u_deg": (high - low) / _FOUR,
                "correction_low_deg": -high,
                "correction_high_deg": -low,
                "dial_set_probability": _dial_probability(fitted, number),
                **_deviation(fitted, number, level),
                "verdict": "shown" if shown and not wide else "open" if wide else "none",
            }
        )
    return pd.DataFrame(
        rows, columns=list(COMPASS_COLUMNS), index=pd.Index(fitted.compasses, name="compass")
    )


#: A 95 % interval is so many standard uncertainties wide.
_FOUR = 2 * 1.959964


def _dial_probability(fitted: model.Fit, number: int) -> float:
    at = fitted.terms.dial[number]
    if at < 0:
        return 0.0
    dial = fitted.full.along(np.eye(fitted.terms.unknowns)[at])
    return float(dial.weight[dial.mean > 0.5].sum())


def _deviation(fitted: model.Fit, number: int, level: float) -> dict[str, Any]:
    waves = fitted.terms.deviation[number]
    if not waves:
        return dict.fromkeys((*DEVIATION_COLUMNS, "deviation_u_deg"), np.nan) | {
            "deviation": "not borne"
        }
    parts = [fitted.full.along(np.eye(fitted.terms.unknowns)[at]) for at in waves]
    values = {name: part.centre for name, part in zip(DEVIATION_COLUMNS, parts, strict=True)}
    shown = any(part.beyond(0.0) < level for part in parts)
    spread = float(np.sqrt(sum(part.spread**2 for part in parts) / 2.0))
    return values | {"deviation_u_deg": spread, "deviation": "shown" if shown else "none"}


def _all_alike(fitted: model.Fit, compasses: pd.DataFrame) -> bool:
    """Whether every one of several compasses is off, and all by nearly the same."""
    correction = compasses["correction_deg"].to_numpy(float)
    return (
        len(correction) > 1
        and bool((np.abs(correction) > _ALL_OFF_DEG).all())
        and bool(np.ptp(correction) < _ALIKE_DEG)
        and bool((compasses["dial_set_probability"] < _SURE).all())
    )


# ---------------------------------------------------------------- places


def _places(fitted: model.Fit, compasses: pd.DataFrame, level: float) -> pd.DataFrame:
    table, rows = fitted.table, []
    for number in range(len(fitted.places)):
        here = (fitted.place == number) & (table["slip"] != "alone").to_numpy()
        anomaly, supposed = fitted.anomalies[number], fitted.supposed[number]
        low, high = anomaly.interval()
        corrected = table["corrected_deg"][here]
        limit = max(PULL_DEG, 2.0 * fitted.model_u_deg[number])
        pulled = 1.0 - supposed.below(limit) + supposed.below(-limit)
        rows.append(
            {
                "site": " and ".join(dict.fromkeys(table["site"][here].astype(str))),
                "n": int(here.sum()),
                "compasses": len(np.unique(fitted.compass[here])),
                "mean_deg": float(corrected.mean()),
                "spread_deg": float(corrected.std()) if here.sum() > 1 else np.nan,
                "anomaly_deg": anomaly.quantile(0.5),
                "anomaly_u_deg": (high - low) / _FOUR,
                "anomaly_low_deg": low,
                "anomaly_high_deg": high,
                "pulled_probability": pulled,
                "verdict": _place_verdict(fitted, number, pulled, compasses, level),
            }
        )
    return pd.DataFrame(
        rows, columns=list(PLACE_COLUMNS), index=pd.Index(fitted.places, name="place")
    )


def _place_verdict(
    fitted: model.Fit, number: int, pulled_probability: float, compasses: pd.DataFrame, level: float
) -> str:
    anomaly = fitted.anomalies[number]
    low, high = anomaly.interval()
    either, ground = (
        each.widened(fitted.model_u_deg[number]).beyond(0.0) < level
        for each in (anomaly, fitted.unmistaken[number])
    )
    if ground:
        return "pulled" if either else "off"
    doubt = "perhaps" if pulled_probability > 0.5 else ""
    if high - low <= 2 * OPEN_DEG:
        return doubt or "none"
    here = fitted.place == number
    usual = np.hypot(model.INDEX_SD_DEG, fitted.table["difference_u_deg"][here])
    off = np.abs(fitted.table["difference_deg"][here]) > _ODD * usual
    dial = compasses["dial_set_probability"].to_numpy(float)[fitted.compass[here]]
    return "off" if (off & (dial < _SURE)).any() else doubt or "open"


#: Beyond so many standard uncertainties, a usual compass's own included, something is wrong.
_ODD = 3.0


def _findings(table: pd.DataFrame, places: pd.DataFrame, compasses: pd.DataFrame) -> Sequence[str]:
    """What each reading shows, in a word; the ground before the compass, a slip before both."""
    of_place = places["verdict"].reindex(table["place"]).to_numpy()
    of_compass = compasses["verdict"].reindex(table["compass"]).to_numpy()
    set_dial = compasses["dial_set_probability"].reindex(table["compass"]).to_numpy() > _SURE
    found = np.where(of_compass == "shown", "compass", "")
    found = np.where(set_dial, "dial", found)
    found = np.where(of_place == "off", "off", found)
    found = np.where(of_place == "pulled", "ground", found)
    return list(np.where(table["slip"] != "", table["slip"], found))
