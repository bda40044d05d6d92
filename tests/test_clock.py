"""Civil time against the standard library's own zone rules."""

import zoneinfo
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from orient.tables import clock

AWKWARD = [
    "UTC",
    "Europe/Berlin",
    "America/St_Johns",  # half an hour, and changes at 00:01 for a while
    "Australia/Lord_Howe",  # half an hour of summer time
    "Asia/Kathmandu",
    "Africa/Casablanca",  # summer time that pauses for a month
    "Pacific/Apia",  # a day left out in 2011
    "Pacific/Kwajalein",  # a day left out in 1993
    "America/Sao_Paulo",  # change at midnight
    "Antarctica/Troll",  # two hours of summer time
    "Africa/Monrovia",  # an offset with odd seconds until 1972
    "Etc/GMT+12",
    "Pacific/Kiritimati",
]


def expected_offset_s(utc_s, name):
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(utc_s))
    return moment.astimezone(zoneinfo.ZoneInfo(name)).utcoffset().total_seconds()


def expected_utc_s(civil, name):
    return civil.replace(tzinfo=zoneinfo.ZoneInfo(name)).timestamp()


@pytest.mark.parametrize("name", AWKWARD)
def test_offsets_agree_with_zoneinfo(name):
    """Source: the standard library's zoneinfo, one instant at a time."""
    rng = np.random.default_rng(1)
    limits = np.array(["1900-01-01", "2051-01-01"], dtype="datetime64[s]").astype(float)
    instants = np.floor(rng.uniform(*limits, 1500))
    expected = [expected_offset_s(instant, name) for instant in instants]
    assert np.array_equal(clock.offset_s(instants, name), expected)


@pytest.mark.slow
def test_offsets_of_every_zone_agree_with_zoneinfo():
    """Source: the standard library's zoneinfo, one instant at a time."""
    rng = np.random.default_rng(2)
    limits = np.array(["1900-01-01", "2051-01-01"], dtype="datetime64[s]").astype(float)
    names = sorted(clock._zone_names().values())
    assert len(names) > 400
    for name in names:
        instants = np.floor(rng.uniform(*limits, 200))
        expected = [expected_offset_s(instant, name) for instant in instants]
        assert np.array_equal(clock.offset_s(instants, name), expected), name


@pytest.mark.parametrize("name", AWKWARD)
def test_civil_time_agrees_with_zoneinfo_through_every_change_of_some_years(name):
    """Source: datetime with zoneinfo and fold 0, every 20 minutes."""
    for year in (1969, 1993, 2011, 2026):
        minutes = np.arange(0, 365 * 1440, 20)
        days = np.datetime64(f"{year}-01-01") + minutes // 1440
        ours = clock.utc_s(days, minutes % 1440 * 60.0, name)
        start = datetime(year, 1, 1)
        expected = [expected_utc_s(start + timedelta(minutes=int(m)), name) for m in minutes]
        assert np.array_equal(ours, expected)


def test_a_repeated_hour_is_its_first_showing_and_a_skipped_one_counts_on():
    def berlin(date, hour):
        return clock.utc_s(date, hour * 3600.0, "Europe/Berlin")

    instant = np.datetime64("2026-10-25T00:30", "s").astype(float)
    assert berlin("2026-10-25", 2.5) == instant
    assert berlin("2026-10-25", 3.5) == instant + 2 * 3600
    assert berlin("2026-03-29", 2.5) == berlin("2026-03-29", 3.5)


def test_arrays_of_zones_and_dates_broadcast_and_blanks_stay_blank():
    zones = np.array(["Asia/Kathmandu", "America/St_Johns"], dtype=object)[:, None]
    dates = np.array(["2026-01-31", "NaT", "2026-07-01"], dtype="datetime64[D]")
    instants = clock.utc_s(dates, 12 * 3600.0, zones)
    assert instants.shape == (2, 3)
    assert np.isnan(instants[:, 1]).all()
    assert instants[0, 0] == np.datetime64("2026-01-31T06:15", "s").astype(float)
    assert instants[1, 2] == np.datetime64("2026-07-01T14:30", "s").astype(float)
    assert clock.local_iso(instants, zones).tolist() == [
        ["2026-01-31T12:00:00+05:45", "", "2026-07-01T12:00:00+05:45"],
        ["2026-01-31T12:00:00-03:30", "", "2026-07-01T12:00:00-02:30"],
    ]
    assert clock.local_clock(instants, zones).tolist() == [["12:00", "", "12:00"]] * 2


def test_pandas_columns_are_taken():
    frame = pd.DataFrame(
        {"date": pd.to_datetime(["2026-05-01", "2026-05-02"]), "time_s": [3600.0, np.nan]}
    )
    instants = clock.utc_s(frame["date"], frame["time_s"], "UTC")
    assert instants[0] == np.datetime64("2026-05-01T01:00", "s").astype(float)
    assert np.isnan(instants[1])


def test_a_time_past_midnight_runs_into_the_next_day():
    assert clock.utc_s("2026-05-01", 90000.0, "UTC") == clock.utc_s("2026-05-02", 3600.0, "UTC")


def test_rounding_carries_and_single_values_stay_single():
    instant = np.datetime64("2026-12-31T23:59:59", "s").astype(float) + 0.6
    assert clock.local_iso(instant, "UTC") == "2027-01-01T00:00:00+00:00"
    assert clock.local_clock(instant, "UTC") == "00:00"
    assert clock.local_clock(instant - 31, "UTC") == "23:59"
    assert clock.local_date(instant, "Asia/Tokyo") == np.datetime64("2027-01-01")
    assert clock.local_iso(np.nan, "UTC") == ""
    assert clock.local_clock(np.nan, "UTC") == ""


def test_odd_seconds_of_offset_still_name_the_instant():
    instant = np.datetime64("1960-06-01T12:00", "s").astype(float)
    text = clock.local_iso(instant, "Africa/Monrovia")  # 44 min 30 s behind
    assert datetime.fromisoformat(str(text)).timestamp() == instant


def test_iso_text_names_the_instant_everywhere():
    rng = np.random.default_rng(3)
    instants = np.floor(rng.uniform(0, 2.5e9, 300))
    zones = rng.choice(AWKWARD, 300)
    text = clock.local_iso(instants, zones)
    assert [datetime.fromisoformat(str(t)).timestamp() for t in text] == instants.tolist()


def test_zone_names_are_found_whatever_their_capitals():
    assert clock.zone_name("europe/BERLIN ") == "Europe/Berlin"
    for text in ("", "..", "/etc/passwd", "Europe", "localtime", "a\0b", "x" * 500, "UTC+2"):
        assert clock.zone_name(text) is None
    assert clock.close_zone("Europe/Berlyn") == "Europe/Berlin"
    assert clock.close_zone("kathmandu") == "Asia/Kathmandu"
    assert clock.close_zone("qqqqqq") is None


def test_unknown_zones_and_far_years_are_refused():
    with pytest.raises(ValueError, match="no IANA time zone"):
        clock.offset_s(0.0, "Atlantis/Harbour")
    with pytest.raises(ValueError, match="1899–2051"):
        clock.offset_s(1e13, "UTC")
