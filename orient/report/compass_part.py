"""The report's part on the compasses: each one's correction and each place's pull, as intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from markupsafe import Markup

from orient.observation.compass import CompassCheck
from orient.report.drawing import Drawing, Frame, bottom_axis, edge, text_width, ticks

_WIDTH, _ROW, _LABELS, _TOP = 400.0, 22.0, 118.0, 8.0
_VERDICT = {
    "pulled": "pulled",
    "perhaps": "perhaps pulled",
    "off": "something is off",
    "open": "cannot be told",
    "none": "no pull shown",
    "shown": "correct it",
}


class Bar(NamedTuple):
    """A compass or a place: its figure with its 95 % interval, degrees, and what it comes to."""

    kind: str
    name: str
    readings: int
    value_deg: float
    low_deg: float
    high_deg: float
    verdict: str


def compass_part(check: CompassCheck) -> dict[str, Any] | None:
    """What the compass readings show, for the page; None where there are none."""
    if check.readings.empty:
        return None
    bars = [
        Bar(
            "compass", str(name), row["n"], row["correction_deg"], row["correction_low_deg"],
            row["correction_high_deg"],
            "none is sure" if row["verdict"] == "none" else _VERDICT[row["verdict"]],
        )
        for name, row in check.compasses.iterrows()
    ]  # fmt: skip
    bars += [
        Bar(
            "place", str(name), row["n"], row["anomaly_deg"], row["anomaly_low_deg"],
            row["anomaly_high_deg"], _VERDICT[row["verdict"]],
        )
        for name, row in check.places.iterrows()
    ]  # fmt: skip
    return {"svg": _drawing(bars), "bars": bars, "sentences": check.sentences}


def _drawing(bars: Sequence[Bar]) -> Markup:
    """A bar for each interval about zero, compasses above, places below."""
    frame = _frame(bars)
    label = f"Intervals of {len(bars)} compasses and places; the table beside it lists them."
    drawing = Drawing(label, _WIDTH, frame.bottom + 32.0)
    bottom_axis(
        drawing,
        frame,
        [
            (value, f"{value:+g}".replace("-", "−") if value else "0")
            for value in ticks(*frame.x_range)
        ],
        "degrees, 95 % intervals",
    )
    drawing.line((frame.x(0.0), frame.top), (frame.x(0.0), frame.bottom), "zero")
    for number, bar in enumerate(bars):
        _bar(drawing, frame, bar, frame.top + (number + 0.5) * _ROW)
    edge(drawing, frame)
    return drawing.markup()


def _frame(bars: Sequence[Bar]) -> Frame:
    """The figures decide the range; an interval far wider than all figures is cut at its edge."""
    reach = max([2.0, *(1.3 * abs(bar.value_deg) + 1.5 for bar in bars)])
    low = max(min(bar.low_deg for bar in bars) - 0.3, -2.0 * reach)
    high = min(max(bar.high_deg for bar in bars) + 0.3, 2.0 * reach)
    across = (min(low, -1.0), max(high, 1.0))
    return Frame(_LABELS, _TOP, _WIDTH - _LABELS - 12.0, _ROW * len(bars), across, (0.0, 1.0))


def _bar(drawing: Drawing, frame: Frame, bar: Bar, y: float) -> None:
    low, high = max(bar.low_deg, frame.x_range[0]), min(bar.high_deg, frame.x_range[1])
    style = "ray" if bar.kind == "compass" else "reference"
    drawing.line((frame.x(low), y), (frame.x(high), y), style)
    drawing.dot((frame.x(bar.value_deg), y), 3.4, "site", bar.name)
    drawing.text((_LABELS - 6.0, y + 4.0), _short(bar.name or "the compass"), "tick", "end")


def _short(name: str) -> str:
    """A name cut to the room beside the frame."""
    text = name
    while text_width(text, 10.5) > _LABELS - 12.0:
        text = text[:-2].rstrip("… ") + "…"
    return text
