"""What is said to people of the declination at one place."""

import datetime as dt

import numpy as np
import pytest

from orient import magnetism
from orient.errors import InputError
from orient.numbers import magnetic


def test_read_when():
    assert magnetism.read_when(" 1987 ") == 1987
    assert magnetism.read_when("1987-06-15") == dt.date(1987, 6, 15)
    for text in ("87", "1987-6-15", "1987-13-01", "June 1987", "", "٠١٢٣"):
        with pytest.raises(ValueError, match="wanted a year"):
            magnetism.read_when(text)


def words_of(from_deg, to_deg):
    change = magnetic.DeclinationChange(
        from_deg, to_deg, to_deg - from_deg, 0.5, "IGRF-14", "WMM2025"
    )
    return magnetism.change_in_words(change, 1987, dt.date(2026, 5, 1))


def test_words_say_which_bearings_and_which_way():
    east = words_of(-1.2, 2.2)
    assert "1.2° W in 1987, 2.2° E on 2026-05-01" in east[0]
    assert "±0.98° at 95 %" in east[0]
    assert "written in 1987" in east[1]
    assert "subtract 3.4°" in east[1]
    assert "add 3.4°, or use 2.2° E" in east[2]
    west = words_of(2.2, -1.2)
    assert "add 3.4°" in west[1]
    assert "subtract 3.4°" in west[2]
    assert "no change worth applying" in words_of(2.20, 2.23)[1]
    assert len(words_of(2.20, 2.23)) == 2


def test_report_of_one_place():
    report = magnetism.declination_report(45.0, 7.0, 500.0, dt.date(2026, 5, 1), 1987)
    found = magnetic.field(45.0, 7.0, 500.0, magnetic.decimal_year(dt.date(2026, 5, 1)))
    assert report["declination_deg"] == found.declination_deg
    assert report["magnetic_model"] == "WMM2025"
    assert report["flags"] == []
    assert report["since"]["magnetic_model"] == "IGRF-14"
    assert report["since"]["change_deg"] == pytest.approx(
        found.declination_deg - magnetic.field(45.0, 7.0, 500.0, 1987.5).declination_deg
    )
    lines = magnetism.declination_lines(report)
    assert lines[0].startswith("Declination 3.2° E, ±0.7° at 95 %, moving 0.12° east a year")
    assert "true azimuth − 3.2°" in lines[1]
    assert "a good compass reads 96.8°" in lines[1]
    assert lines[-4:] == report["since"]["words"]


def test_report_near_the_magnetic_pole_after_the_end():
    report = magnetism.declination_report(80.0, -100.0, 0.0, dt.date(2030, 1, 1))
    assert report["flags"] == ["model-expired", "weak-horizontal-field"]
    assert report["since"] is None
    assert any("caution" in line for line in magnetism.declination_lines(report))


def test_words_tell_a_doubtful_compass_from_a_useless_one():
    """Source: the caution and unreliability zones of the WMM2025 technical report."""
    for latitude, nanotesla, useless in ((77.0, (2000, 6000), False), (86.0, (0, 2000), True)):
        report = magnetism.declination_report(latitude, -130.0, 0.0, dt.date(2026, 1, 1))
        assert nanotesla[0] < report["horizontal_intensity_nt"] < nanotesla[1]
        words = " ".join(magnetism.declination_lines(report))
        assert "a compass is doubtful" in words
        assert ("as here, it is useless" in words) is useless


def test_every_fault_of_one_place_at_once():
    with pytest.raises(InputError) as caught:
        magnetism.declination_report(np.nan, -700.0, 1e7, dt.date(2130, 1, 1), 1850)
    columns = [fault.column for fault in caught.value.faults]
    assert columns == ["latitude", "longitude", "elevation", "date", "since"]
    assert "as far as the model holds" in str(caught.value)
