"""Times and dates from libraries and people: one meaning each, or refused."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from orient.errors import InputError
from orient.moments import decimal_years, local_days, utc_seconds

#: 2026-06-21 06:00 UTC, by `date -u -d 2026-06-21T06:00 +%s`.
SIX = 1782021600.0

SAME = {
    "ISO text": "2026-06-21T06:00",
    "ISO text with a zone": "2026-06-21T08:00+02:00",
    "ISO text, Z": "2026-06-21T06:00:00Z",
    **{
        f"datetime64[{unit}]": np.datetime64("2026-06-21T06:00").astype(f"datetime64[{unit}]")
        for unit in ("h", "m", "s", "ms", "us", "ns")
    },
    "datetime": dt.datetime(2026, 6, 21, 6),
    "datetime with a zone": dt.datetime(2026, 6, 21, 8, tzinfo=ZoneInfo("Europe/Vienna")),
    "Timestamp": pd.Timestamp("2026-06-21 06:00"),
    "Timestamp with a zone": pd.Timestamp("2026-06-21 11:30", tz="Asia/Kolkata"),
}


@pytest.mark.parametrize("when", SAME.values(), ids=SAME)
def test_one_instant_however_it_is_written(when):
    assert utc_seconds(when) == SIX


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC", "Pacific/Auckland"])
def test_pandas_of_any_unit_and_zone(unit, zone):
    index = pd.DatetimeIndex(["2026-06-21T06:00", None]).as_unit(unit).tz_localize("UTC")
    index = index.tz_convert(zone) if zone else index.tz_localize(None)
    for many in (index, pd.Series(index, index=[7, 9])):
        found = utc_seconds(many)
        assert found[0] == SIX
        assert np.isnan(found[1])


@pytest.mark.parametrize(
    "when",
    [6, SIX, [SIX], np.int64(6), True, "noon", "2026-06-21", dt.date(2026, 6, 21), "06:00",
     np.datetime64("2026-06-21"), np.datetime64("2026"), pd.Series([2026.5]), object(),
     np.timedelta64(5, "s"), "2026-13-01T00:00"],
)  # fmt: skip
def test_what_is_no_instant_is_refused_never_1970(when):
    with pytest.raises(InputError, match="argument when"):
        utc_seconds(when)


def test_decimal_years():
    assert decimal_years(2026.5) == 2026.5
    assert decimal_years("2025-07-02T12:00") == pytest.approx(2025.5, abs=1e-9)
    assert decimal_years(np.array([2025, 2026])).tolist() == [2025.0, 2026.0]
    assert decimal_years(pd.Series(["2025-01-01", "2026-01-01"])).tolist() == [2025.0, 2026.0]
    for number in (0, 20260621, 43000.0, SIX, [2026, 1]):
        with pytest.raises(InputError, match="decimal year"):
            decimal_years(number)
    with pytest.raises(InputError):
        decimal_years("soon")


def test_a_local_date_is_that_of_the_clock_that_showed_it():
    late = pd.Timestamp("2026-06-21T23:30", tz="Pacific/Auckland")
    for date in ("2026-06-21", dt.date(2026, 6, 21), np.datetime64("2026-06-21"), late,
                 pd.Series([late]), "2026-06-21T23:30+12:00"):  # fmt: skip
        assert np.ravel(local_days(date))[0] == np.datetime64("2026-06-21")
    with pytest.raises(InputError):
        local_days(20260621)
