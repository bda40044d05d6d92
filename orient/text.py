"""Numbers, clocks, 95 % figures and hints as text for people: one home for each.

A minus is a true one, a dash stands where there is no value. People are shown 95 % figures;
the numbers inside are standard uncertainties.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Any


def figure(value: Any, places: int = 1, unit: str = "", plus: bool = False) -> str:
    """A number with its unit; with `plus`, its sign too."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:{'+' if plus else ''}.{places}f}"
    if float(text) == 0.0:
        text = text.replace("-", "+" if plus else "")
    return text.replace("-", "−") + unit


def signed(value: float, places: int = 1) -> str:
    """A number with its sign."""
    return f"{value:+.{places}f}".replace("-", "−")


def small_angle(degrees: float, plus: bool = False) -> str:
    """An angle in minutes of arc; from a degree on, in degrees."""
    if abs(degrees) < 1.0:
        return figure(60.0 * degrees, 1 if plus else 0, "′", plus)
    return figure(degrees, 2 if plus else 1, "°", plus)


def latitude_text(degrees: float, places: int = 2) -> str:
    """A latitude in a sentence: 38.41° S."""
    return f"{abs(degrees):.{places}f}° {'S' if degrees < 0 else 'N'}"


def longitude_text(degrees: float) -> str:
    """A longitude in a sentence: 105.60° E."""
    return f"{abs(degrees):.2f}° {'W' if degrees < 0 else 'E'}"


def at_95(u_deg: float | None, places: int = 2) -> str:
    """The 95 % figure of a standard uncertainty in degrees."""
    from orient.numbers.tolerances import COVERAGE_95

    return figure(None if u_deg is None else COVERAGE_95 * u_deg, places, "°")


def within_95(u_deg: float) -> str:
    """The same as a sentence says it: ±0.49° (95 %)."""
    return f"±{at_95(u_deg)} (95 %)"


def counted(count: int, one: str, many: str = "") -> str:
    """How many of a thing: 1 mark, 2 marks; `many` where an s does not make it."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def minute_text(local_iso: str) -> str:
    """The hours and minutes of local ISO text, to the nearest minute."""
    hours, minutes, seconds = (int(part) for part in local_iso[11:19].split(":"))
    minute = hours * 60 + minutes + (seconds >= 30)
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


def clock_text(time_s: float) -> str:
    """Seconds since midnight as the tables write a time: HH:MM:SS, thousandths if there are any."""
    if math.isnan(time_s):
        return ""
    whole, thousandths = divmod(round(time_s * 1000), 1000)
    text = f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{text}.{thousandths:03d}".rstrip("0") if thousandths else text


def shown_time(time_s: float) -> str:
    """A watch time for people: HH:MM, and seconds where there are any; "" for NaN."""
    text = clock_text(float(time_s))
    return text.removesuffix(":00") if text.count(":") == 2 else text


def left_to_right(text: str) -> bool:
    """Whether a text surely leaves those beside it in their order: no letter of it runs from right
    to left, and none tells another direction."""
    return all(letter < "\u0590" or "\u2010" <= letter < "\u2028" or "\u2030" <= letter < "\u2066"
               or "\u2200" <= letter < "\u2300" for letter in text)  # fmt: skip


def closest(text: str, known: Iterable[Any], cutoff: float = 0.6) -> str | None:
    """Which of the known names a mistyped one comes closest to, or None."""
    close = get_close_matches(text, [str(name) for name in known], n=1, cutoff=cutoff)
    return close[0] if close else None


def did_you_mean(text: str, known: Iterable[Any]) -> str:
    """A hint to stand behind a sentence: " Did you mean aldermoor?", or nothing."""
    close = closest(text, known)
    return f" Did you mean {close}?" if close else ""


#: What stands for a sign that a console's encoding lacks: a minus must not be lost.
_PLAIN = str.maketrans(
    {"−": "-", "–": "-", "—": "-", "×": "x", "°": "d", "′": "'", "″": '"', "±": "+/-", "→": "->",
     "…": "...", "·": ",", "⚑": "!", "≤": "<=", "√": "sqrt", "²": "2", "’": "'", "‘": "'"}
)  # fmt: skip


def in_plain_signs(fault: UnicodeError) -> tuple[str, int]:
    """An error handler for output: signs in ASCII where the encoding lacks them, else "?"."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    plain = fault.object[fault.start : fault.end].translate(_PLAIN)
    return "".join(c if c.isascii() else "?" for c in plain), fault.end


def as_typed(text: str) -> str:
    """A text of the command line, or a file's name, as the UTF-8 that its bytes are.

    Where the locale knows ASCII alone the other bytes come as surrogates, which no page can hold.
    """
    try:
        return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    except UnicodeEncodeError:
        # Another kind of surrogate, as Windows has them.
        return text


def folder_name(folder: Path | str) -> str:
    """A folder's own name, for people and pages."""
    return as_typed(Path(folder).resolve().name)


def printable(text: str) -> str:
    """Text with control characters made visible, so that no cell can steer a terminal."""
    text = as_typed(text)
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
