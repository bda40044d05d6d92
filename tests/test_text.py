"""Numbers, clocks and hints as people read them."""

import pytest

from orient.text import (
    at_95,
    clock_text,
    closest,
    counted,
    did_you_mean,
    figure,
    minute_text,
    within_95,
)


@pytest.mark.parametrize(
    ("value", "places", "unit", "plus", "text"),
    [
        (1.25, 1, "°", False, "1.2°"),
        (-1.26, 1, "", False, "−1.3"),
        (-0.001, 1, "", False, "0.0"),
        (-0.001, 1, "", True, "+0.0"),
        (2.0, 0, " m", True, "+2 m"),
        (None, 1, "°", False, "–"),
        (float("nan"), 1, "", False, "–"),
        (float("inf"), 1, "", False, "–"),
    ],
)
def test_a_number_for_people(value, places, unit, plus, text):
    assert figure(value, places, unit, plus) == text


def test_a_95_figure_is_1_96_standard_uncertainties():
    """Source: the normal distribution, 95 % within ±1.959964 (ISO/IEC Guide 98-3, table G.1)."""
    assert at_95(0.25) == "0.49°"
    assert within_95(0.5) == "±0.98° (95 %)"
    assert at_95(None) == "–"


def test_one_of_a_thing_and_more():
    assert [counted(n, "mark") for n in (0, 1, 2, 1200)] == [
        "0 marks", "1 mark", "2 marks", "1,200 marks",
    ]  # fmt: skip
    assert counted(1, "way is", "ways are") == "1 way is"
    assert counted(3, "way is", "ways are") == "3 ways are"


def test_clocks():
    assert minute_text("2026-06-21T11:59:31+02:00") == "12:00"
    assert minute_text("2026-06-21T23:59:45+02:00") == "00:00"
    assert clock_text(3661.0) == "01:01:01"
    assert clock_text(3661.25) == "01:01:01.25"
    assert clock_text(float("nan")) == ""


def test_a_mistyped_name_finds_its_neighbour():
    assert closest("wormwod", ["gullbeach", "wormwood"]) == "wormwood"
    assert did_you_mean("wormwod", ["wormwood"]) == " Did you mean wormwood?"
    assert did_you_mean("xyz", ["wormwood"]) == ""
