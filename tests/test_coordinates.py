"""Latitudes and longitudes in every writing people use."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orient.tables.coordinates import NotACoordinate, format_dms, parse_degrees

SECOND = 1 / 3600


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("41.25", 41.25),
        ("-41.25", -41.25),
        ("+41.25", 41.25),
        ("41,25", 41.25),
        ("−41.25", -41.25),
        ("41", 41.0),
        ("41.", 41.0),
        ("41°15′N", 41.25),
        ("41°15'00.5\"N", 41.25 + 0.5 * SECOND),
        ("41º 15’ 00,5” S", -41.25 - 0.5 * SECOND),
        ("41°15''N", None),
        ("41°15'30''N", 41.25 + 30 * SECOND),
        ("41 15 00 N", 41.25),
        ("41 15 30", 41.25 + 30 * SECOND),
        ("-0 30 00", -0.5),
        ("N41.25", 41.25),
        ("n 41 15", 41.25),
        ("S41°15", -41.25),
        ("41d15m", 41.25),
        ("41d15m30s", 41.25 + 30 * SECOND),
        ("41D15M30S", 41.25 + 30 * SECOND),
        ("41d15m30sS", -41.25 - 30 * SECOND),
        ("41d15m30S", None),
        ("41 deg 15 min 30 S", None),
        ("41 deg 15 min 30 s", 41.25 + 30 * SECOND),
        ("41 deg 15 min 30 N", 41.25 + 30 * SECOND),
        ("41d15S", -41.25),
        ("41 15 30S", -41.25 - 30 * SECOND),
        ("41 deg 15 min 30 sec S", -41.25 - 30 * SECOND),
        ("41:15:00 S", -41.25),
        ("41:15.5", 41 + 15.5 / 60),
        ("41-15-30N", 41.25 + 30 * SECOND),
        ("41-15-30", None),
        ("41°N", 41.0),
        (" 41.25 ", 41.25),
        ("41\u00a015\u00a000\u00a0N", 41.25),
        ("90", 90.0),
        ("-90", -90.0),
        ("90 00 01", None),
        ("91", None),
        ("41 60 00", None),
        ("41 15 60", None),
        ("41.5 15 00", None),
        ("41 15.5 30", None),
        ("-41 S", None),
        ("-41 N", None),
        ("+41 S", None),
        ("N41N", None),
        ("41 E", None),
        ("41.25, -5.5", None),
        ("41,25.5", None),
        ("41..25", None),
        ("nan", None),
        ("inf", None),
        ("1e1", None),
        ("", None),
        ("forty", None),
        ("41\n15", None),
        ("4" * 400, None),
    ],
)
def test_latitude(text, degrees):
    if degrees is None:
        with pytest.raises(NotACoordinate):
            parse_degrees(text, "latitude")
    else:
        assert parse_degrees(text, "latitude") == pytest.approx(degrees, abs=1e-13)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("W 005 30.5", -(5 + 30.5 / 60)),
        ("174°53′24″E", 174.89),
        ("185.5", -174.5),
        ("360", 0.0),
        ("180", 180.0),
        ("-180", -180.0),
        ("5d30m30S", 5 + 30.5 / 60),
        ("185.5 E", None),
        ("-180.5", None),
        ("360.1", None),
        ("12 N", None),
    ],
)
def test_longitude(text, degrees):
    if degrees is None:
        with pytest.raises(NotACoordinate):
            parse_degrees(text, "longitude")
    else:
        assert parse_degrees(text, "longitude") == pytest.approx(degrees, abs=1e-13)


def test_the_other_axis_letter_is_said():
    with pytest.raises(NotACoordinate, match="latitude and longitude swapped"):
        parse_degrees("5 30 E", "latitude")
    with pytest.raises(NotACoordinate, match="latitude and longitude swapped"):
        parse_degrees("41 15 S", "longitude")


@pytest.mark.parametrize(
    ("degrees", "axis", "decimals", "text"),
    [
        (41.25, "latitude", 1, "41°15′00.0″N"),
        (-41.25 - 0.5 * SECOND, "latitude", 1, "41°15′00.5″S"),
        (-5.0 - 30 / 60 - 59.96 * SECOND, "longitude", 1, "5°31′00.0″W"),
        (59.9999999, "latitude", 0, "60°00′00″N"),
        (185.5, "longitude", 0, "174°30′00″W"),
        (0.0, "longitude", 3, "0°00′00.000″E"),
        (math.nan, "latitude", 1, ""),
    ],
)
def test_writing(degrees, axis, decimals, text):
    assert format_dms(degrees, axis, decimals) == text


@given(st.floats(-90, 90))
def test_what_is_written_reads_back(degrees):
    written = format_dms(degrees, "latitude", 4)
    assert parse_degrees(written, "latitude") == pytest.approx(degrees, abs=0.6e-4 * SECOND)


@pytest.mark.long
@given(st.text(max_size=40) | st.text("0123456789 .,°'\"′″NSEWdms:+-−", max_size=20))
def test_any_text_gives_a_coordinate_or_says_why_not(text):
    for axis, limit in (("latitude", 90.0), ("longitude", 180.0)):
        try:
            degrees = parse_degrees(text, axis)
        except NotACoordinate:
            continue
        assert abs(degrees) <= limit
