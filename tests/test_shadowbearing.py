"""When a shadow bearing checks a compass best: against astropy's own sun."""

from datetime import datetime
from pathlib import Path

import numpy as np
from click.testing import CliRunner
from simulated_sights import sun_seen

from orient import cli
from orient.numbers.angles import wrap_180
from orient.planning.shadowbearing import best_spells
from orient.tables.campaign import read_campaign

DEMO = Path(__file__).parent.parent / "sites" / "aldermoor"


def day_of(site, date):
    start = datetime.fromisoformat(f"{date}T00:00:00+00:00").timestamp()
    at = start - 43200 + np.arange(0, 2 * 86400, 300.0)
    where = np.full(len(at), site["latitude_deg"]), np.full(len(at), site["longitude_deg"])
    azimuth, altitude = sun_seen(at, *where)
    return at[:-1], altitude[:-1], np.abs(wrap_180(np.diff(azimuth))) / 5.0


def test_the_shadow_turns_slowest_in_the_hours_named():
    sites = read_campaign(DEMO, tables=("sites",)).sites
    for name in ("alderflat", "thornmesa", "larkdune", "petreltop"):
        site = sites.loc[name]
        at, altitude, rate = day_of(site, "2026-05-16")
        spells = best_spells(site, "2026-05-16")
        assert len(spells) == 2
        for spell in spells:
            inside = (at >= spell.from_utc_s) & (at + 300 <= spell.to_utc_s)
            assert inside.any()
            assert rate[inside].max() <= spell.rate_deg_per_min + 0.002
            assert altitude[inside].min() > 4.9
            # Half a day about the spell: nowhere else that the sun is usable is it much slower,
            # or it turns by a tenth of a degree a minute at most.
            half = np.abs(at - (spell.from_utc_s + spell.to_utc_s) / 2) < 5 * 3600
            usable = half & (altitude > 5) & (altitude < 40)
            assert spell.rate_deg_per_min < max(1.3 * rate[usable].min(), 0.1)


def test_where_the_shadow_stands_still_for_a_moment_there_are_hours_all_the_same():
    """Tropics in summer: the sun turns back in azimuth, a minute is no time to work in."""
    for latitude_deg, date in ((-13.8, "2026-12-29"), (15.0, "2026-06-21")):
        site = read_campaign(DEMO, tables=("sites",)).sites.loc["alderflat"].copy()
        site["latitude_deg"] = latitude_deg
        for spell in best_spells(site, date):
            assert spell.to_utc_s - spell.from_utc_s > 3600.0
            at, _, rate = day_of(site, date)
            inside = (at >= spell.from_utc_s) & (at + 300 <= spell.to_utc_s)
            assert rate[inside].max() < 0.1


def test_the_plan_says_so():
    result = CliRunner().invoke(
        cli.orient,
        ["plan", str(DEMO), "--from", "2026-05-16", "--site", "alderflat"],
        standalone_mode=False,
    )
    said = " ".join(result.output.split())
    assert "A compass is checked best by the shadow of a plumb line at 06:16–09:41 and" in said
    assert "a watch good to 30 s leaves ±0.22° (95 %)" in said
