"""Latitudes and longitudes as people write them, read and written."""

from __future__ import annotations

import re
from typing import Literal

Axis = Literal["latitude", "longitude"]

SWAPPED = "are latitude and longitude swapped?"

_LETTERS: dict[Axis, str] = {"latitude": "NS", "longitude": "EW"}
_EXAMPLES: dict[Axis, str] = {
    "latitude": "41.25, 41°15′N or 41 15 00 N",
    "longitude": "-5.5083, 5°30.5′W or 5 30 30 W",
}
# What typewriters, spreadsheets and phones put for the four signs of an angle. A doubled
# prime is a double prime; curly quotes come from a word processor's "correction".
_SIGNS = (
    ("−–—‐‑﹣－", "-"),
    ("º˚⁰", "°"),
    ("’‘`´ʹʼ′＇", "'"),
    ("″”“„ʺ＂", '"'),
    ("\u00a0\u2007\u2009\u202f\t", " "),
)
_TRANSLATION = str.maketrans({sign: plain for signs, plain in _SIGNS for sign in signs})

_NUMBER = r"[0-9]{1,12}(?:[.,][0-9]{0,20})?"
_ANGLE = re.compile(
    rf"""
    (?P<before>[NSEW])? \s* (?P<sign>[+-])? \s*
    (?P<degrees>{_NUMBER})
    (?: \s* (?: (?P<degree_mark>°|:|-|(?P<lettered>deg|d)) \s* | (?<=\s) )
        (?: (?P<minutes>{_NUMBER})
            (?: \s* (?: (?P<minute_mark>'|min|m|:|-) \s* | (?<=\s) )
                (?: (?P<seconds>{_NUMBER}) (?P<second_mark>\s*"|\s*sec|(?(lettered)\s*s|"))? )?
            )?
        )?
    )?
    \s* (?P<after>[NSEW])?
    """,
    re.VERBOSE | re.IGNORECASE,
)


class NotACoordinate(ValueError):
    """The text is no latitude or longitude; the message says what is wanted instead."""


def parse_degrees(text: str, axis: Axis) -> float:
    """Read a latitude or longitude in any usual writing.

    Decimal degrees, degrees and decimal minutes, or degrees, minutes and seconds, parted
    by signs (° ′ ″, ' \"), letters (d m s), colons, spaces or, with a hemisphere letter,
    hyphens; the hemisphere as a sign or as N, S, E, W before or behind; point or comma as
    the decimal mark.

    Args:
        text: one coordinate.
        axis: "latitude" or "longitude".

    Returns:
        Degrees, north and east plus; a longitude above 180 is brought to −180…180.

    Raises:
        NotACoordinate: the text is none, its minutes or seconds reach 60, its sign and its
            letter contradict each other, its letter is the other axis's, or it is out of
            range.
    """
    plain = text.translate(_TRANSLATION).replace("''", '"').strip()
    match = _ANGLE.fullmatch(plain)
    if match is None or not plain.isprintable():
        raise NotACoordinate(f"one {axis} such as {_EXAMPLES[axis]}")
    letter = _hemisphere(match, axis)
    degrees = _sexagesimal(match, axis)
    if match["sign"] == "-" or letter in ("S", "W"):
        degrees = -degrees
    return _in_range(degrees, axis, signed_by_letter=bool(letter))


def parse_place(text: str) -> tuple[float, float]:
    """Read a latitude and a longitude as they are pasted from a map or a message.

    Args:
        text: the two in any writing of `parse_degrees`, latitude first, parted by a semicolon,
            by a comma or by blanks: `44.0, 105.0`, `44,5; 105,25`, `41°15′N 5°30′W`.

    Raises:
        NotACoordinate: no way to part it gives a latitude and a longitude; the message is that
            of the likeliest.
    """
    first_fault: NotACoordinate | None = None
    for one, other in _pairs(text):
        try:
            return parse_degrees(one, "latitude"), parse_degrees(other, "longitude")
        except NotACoordinate as fault:
            first_fault = first_fault or fault
    raise first_fault or NotACoordinate("a latitude and a longitude, such as 44.0, 105.0")


def _pairs(text: str) -> list[tuple[str, str]]:
    """The ways to part a text in two, the likeliest first."""
    plain = " ".join(text.split()).strip("()[] ")
    parted = [re.split(pattern, plain) for pattern in (r" ?; ?", r" ?, ", r",", r" ")]
    pairs = [(parts[0], parts[1]) for parts in parted if len(parts) == 2]
    # 41 15 00 N 5 30 00 W, with the letter behind, or before the longitude.
    behind = re.fullmatch(r"(.*[NSns])[ ,]*(.*[EWew])", plain)
    before = re.fullmatch(r"([NSns].*?)[ ,]*([EWew].*)", plain)
    return pairs + [(found[1], found[2]) for found in (behind, before) if found]


def _hemisphere(match: re.Match[str], axis: Axis) -> str:
    before, after = (match[side] or "" for side in ("before", "after"))
    if before and after:
        raise NotACoordinate("one hemisphere letter, before or behind")
    letter: str = (before or after).upper()
    if letter and letter not in _LETTERS[axis]:
        other = "longitude" if axis == "latitude" else "latitude"
        raise NotACoordinate(f"a {axis}; the letter {letter} looks like a {other}: {SWAPPED}")
    if letter and (match["sign"] == "-" or (match["sign"] == "+" and letter in "SW")):
        raise NotACoordinate("a sign or a hemisphere letter, not both")
    if not letter and "-" in (match["degree_mark"], match["minute_mark"]):
        raise NotACoordinate(f"one {axis} such as {_EXAMPLES[axis]}")
    # In 41d15m30S the last letter may stand for seconds or for the south.
    mark = match["second_mark"] or ""
    if axis == "latitude" and not letter and mark.endswith("S"):
        all_capitals = mark == "S" and match["lettered"].isupper()
        if not all_capitals:
            raise NotACoordinate("seconds as s or ″ and the hemisphere as N or S after them")
    return letter


def _sexagesimal(match: re.Match[str], axis: Axis) -> float:
    parts = [match[part] for part in ("degrees", "minutes", "seconds") if match[part]]
    if any(not part.isdigit() for part in parts[:-1]):
        raise NotACoordinate(
            f"one {axis}, decimals only in its last part, such as {_EXAMPLES[axis]}"
        )
    values = [float(part.replace(",", ".")) for part in parts]
    for value, unit in zip(values[1:], ("minutes", "seconds"), strict=False):
        if value >= 60.0:
            raise NotACoordinate(f"{unit} below 60")
    return sum(value / 60.0**power for power, value in enumerate(values))


def _in_range(degrees: float, axis: Axis, signed_by_letter: bool) -> float:
    if axis == "latitude":
        if abs(degrees) > 90.0:
            raise NotACoordinate("a latitude of -90 to 90")
        return degrees
    if signed_by_letter and abs(degrees) > 180.0:
        raise NotACoordinate("a longitude of 180 W to 180 E")
    if not -180.0 <= degrees <= 360.0:
        raise NotACoordinate("a longitude of -180 to 360")
    return degrees - 360.0 if degrees > 180.0 else degrees


def format_dms(degrees: float, axis: Axis, decimals: int = 1) -> str:
    """Write a latitude or longitude in degrees, minutes and seconds for people.

    Args:
        degrees: north and east plus; a longitude may run over 180.
        axis: "latitude" or "longitude".
        decimals: of the second of arc.

    Returns:
        Text such as 41°15′00.5″N, rounded to the last decimal shown; "" for NaN.
    """
    if degrees != degrees:
        return ""
    if axis == "longitude" and degrees > 180.0:
        degrees -= 360.0
    letter = _LETTERS[axis][int(degrees < 0.0)]
    # Whole units of the last decimal first, so that 59.96″ carries into the minute.
    units = round(abs(degrees) * 3600.0 * 10**decimals)
    minutes, units = divmod(units, 60 * 10**decimals)
    whole_degrees, minutes = divmod(minutes, 60)
    width = 3 + decimals if decimals else 2
    seconds = f"{units / 10**decimals:0{width}.{decimals}f}"
    return f"{whole_degrees}°{minutes:02d}′{seconds}″{letter}"
