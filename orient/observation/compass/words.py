"""What the compass readings show, in sentences for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from orient.text import counted

_SURE = 0.9
_IN_DOUBT = 0.1


def sentences(
    table: pd.DataFrame, places: pd.DataFrame, compasses: pd.DataFrame, alike: bool, advice: str
) -> tuple[str, ...]:
    """Compasses first, then the places, then what was left out, then what to read next."""
    said = [_compass_sentence(str(name), row) for name, row in compasses.iterrows()]
    said += [_deviation_sentence(str(name), row) for name, row in compasses.iterrows()
             if row["deviation"] == "shown"]  # fmt: skip
    if alike:
        said.append(_alike_sentence(table, len(compasses)))
    said += [_place_sentence(str(name), row) for name, row in places.iterrows()
             if row["verdict"] != "none"]  # fmt: skip
    said += _clean_sentence(places)
    said += _slip_sentences(table)
    if advice:
        said.append(advice)
    if (table["compass"] == "").any():
        said.append("Readings without a compass name are taken as those of one compass.")
    return tuple(said)


def span(low: float, high: float, places: int = 1) -> str:
    """An interval for people: ± where it is even about its middle, else its two ends."""
    return f"between {_number(low, places)}° and {_number(high, places)}°"


def _number(value: float, places: int = 1) -> str:
    text = f"{value:+.{places}f}"
    return "0" if float(text) == 0.0 else text.replace("-", "−")


def _title(name: str) -> str:
    return f"Compass {name}" if name else "The compass"


def _compass_sentence(name: str, row: Any) -> str:
    title, correction = _title(name), row["correction_deg"]
    within = span(row["correction_low_deg"], row["correction_high_deg"])
    if row["dial_set_probability"] > _SURE:
        return (
            f"{title}: its dial has the declination set already; that is most of what it is off "
            f"by. Set the dial to zero, or {_apply(correction)} as it is ({within} at 95 %)."
        )
    dial = row["dial_set_probability"] > _IN_DOUBT
    look = " Look whether its dial has a declination set." if dial else ""
    if row["verdict"] == "open":
        return (
            f"{title}: its own error and the ground cannot be told apart yet. Its correction lies "
            f"{within} (95 %).{look}"
        )
    if row["verdict"] == "none":
        return (
            f"{title}: no correction is sure. At best {_apply(correction)} ({within} at 95 %)."
            if abs(correction) >= 0.05
            else f"{title}: no correction of its own is shown ({within} at 95 %)."
        )
    return f"{title}: {_apply(correction)} ({within} at 95 %).{look}"


def _apply(correction: float) -> str:
    verb, preposition = ("add", "to") if correction > 0 else ("subtract", "from")
    return f"{verb} {abs(correction):.1f}° {preposition} its readings"


def _deviation_sentence(name: str, row: Any) -> str:
    headings = np.arange(0.0, 360.0, 45.0)
    values = deviation_deg(row, headings)
    parts = [
        f"{_number(value)}° at {heading:.0f}°"
        for heading, value in zip(headings, values, strict=True)
    ]
    return (
        f"{_title(name)}: it is off by more at some headings than at others. Beside the rest, it "
        f"reads too much by {', '.join(parts)} (each ±{1.96 * row['deviation_u_deg']:.1f}° at "
        "95 %)."
    )


def deviation_deg(row: Any, heading_deg: Any) -> Any:
    """What a compass reads too much at a heading it shows, beside its index error, degrees.

    Args:
        row: of `CompassCheck.compasses`; coefficients that are not there count for nothing.
        heading_deg: what the compass reads, any shape.
    """
    h = np.radians(np.asarray(heading_deg, dtype=float))
    waves = (np.sin(h), np.cos(h), np.sin(2 * h), np.cos(2 * h))
    names = ("sine_deg", "cosine_deg", "sine_2_deg", "cosine_2_deg")
    return (
        sum(
            float(row[name]) * wave
            for name, wave in zip(names, waves, strict=True)
            if np.isfinite(row[name])
        )
        + 0.0 * h
    )


def _alike_sentence(table: pd.DataFrame, count: int) -> str:
    # As they read: what a compass is blamed for is less where the ground may have a part in it.
    middle = float(table.loc[table["slip"] == "", "difference_deg"].median())
    way = "much" if middle > 0 else "little"
    every = "Both" if count == 2 else f"All {count}"
    return (
        f"{every} compasses read too {way}, by about {abs(middle):.1f}° at the middle of their "
        "readings. Compasses are seldom wrong by the same amount: it may be the ground of the "
        "whole area, or the lines' azimuths. Read one of them far from here before you correct any."
    )


def _place_sentence(name: str, row: Any) -> str:
    count = counted(int(row["n"]), "reading")
    within = span(row["anomaly_low_deg"], row["anomaly_high_deg"])
    if row["verdict"] == "pulled":
        size, side = abs(row["anomaly_deg"]), "east" if row["anomaly_deg"] > 0 else "west"
        return (
            f"{name}: the needle points {size:.1f}° {side} of the model ({within} at 95 %; "
            f"{count}). Take no bearings by compass there."
        )
    if row["verdict"] == "perhaps":
        return (
            f"{name}: the ground may pull the needle, with a probability of "
            f"{100 * row['pulled_probability']:.0f} %. Its part lies {within} (95 %; {count})."
        )
    if row["verdict"] == "off":
        return (
            f"{name}: something is off by more than a usual compass is. It may be the ground, the "
            "compass, a reading or a line that nothing here checks, or readings with the "
            f"declination applied already. The ground's part lies {within} (95 %; {count}). Read "
            "another line here, and another compass."
        )
    return (
        f"{name}: compass and ground cannot be told apart yet. The ground's part lies {within} "
        f"(95 %; {count})."
    )


def _clean_sentence(places: pd.DataFrame) -> list[str]:
    clean = places[places["verdict"] == "none"]
    if clean.empty:
        return []
    edge = clean[["anomaly_low_deg", "anomaly_high_deg"]].astype(float).abs().to_numpy().max(axis=1)
    plural = len(clean) > 1
    return [
        f"{listed([str(name) for name in clean.index])}: no pull of the ground is shown; one of "
        f"up to {edge.max():.1f}° could hide in the readings{' of one of them' if plural else ''}."
    ]


def _slip_sentences(table: pd.DataFrame) -> list[str]:
    said = []
    for place, part in table.groupby("place", sort=True):
        turned, alone = (int((part["slip"] == kind).sum()) for kind in ("turned", "alone"))
        if turned:
            said.append(
                f"{place}: {_of(turned, len(part))} nearly 180° off. The needle's other end was "
                "read, or the sight was taken backward: they were turned round."
            )
        if alone:
            said.append(
                f"{place}: {_of(alone, len(part))} contradicted by the others and left out. Look "
                "for iron in a pocket or a line taken for another, and read again."
            )
    return said


def _of(count: int, whole: int) -> str:
    return f"{count} of {counted(whole, 'reading')} {'is' if count == 1 else 'are'}"


def listed(names: Sequence[str]) -> str:
    """Names in a row, the last of many only counted."""
    shown = ", ".join(names[:6])
    return f"{shown} and {len(names) - 6} more" if len(names) > 6 else shown
