"""The public face of the package, in the order of the work.

>>> import orient
>>> campaign = orient.read_campaign("sites/aldermoor")
>>> places = orient.describe_sites(campaign, "2026-06-21")      # GeoDataFrame, one row a site
>>> hours = orient.plan(campaign, "2026-06-21", "2026-06-27")   # DataFrame, one row a site-day
>>> norths = orient.reduce(campaign)                            # GeoDataFrame, one row a set-up
>>> orient.write_report(campaign, "reports/aldermoor")          # the page and its tables

Columns bear the names, units and signs of the tables page of the documentation; uncertainties
are standard ones (1 sigma). Bad input raises `InputError`, which lists every fault.
"""

# ruff: noqa: F401  (what is imported here to be public is listed in orient.PUBLIC)
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import orient
from orient.errors import Fault, InputError
from orient.numbers.magnetic import Field, decimal_year
from orient.numbers.sun import SunPlace
from orient.numbers.sun import place as sun_place
from orient.observation.setups import SetupResult, reduce_campaign
from orient.tables.campaign import Campaign, new_campaign, read_campaign

if TYPE_CHECKING:
    import geopandas
    import pandas

__all__ = orient.PUBLIC


def describe_sites(campaign: Campaign, date: Any) -> geopandas.GeoDataFrame:
    """Declination, convergence, local noon and flags of every site on a local date.

    Args:
        campaign: with its sites.
        date: ISO text, date or datetime64.

    Returns:
        One row a site, indexed by `site`: the columns of `orient sites --format json`, and
        what `site.describe` adds; point geometries on WGS 84.
    """
    import geopandas

    from orient.site import describe

    table = describe(campaign.sites, date)
    points = geopandas.points_from_xy(table["longitude_deg"], table["latitude_deg"])
    return geopandas.GeoDataFrame(table, geometry=points, crs="EPSG:4326").set_index("site")


def plan(
    campaign: Campaign,
    first: Any,
    last: Any = None,
    *,
    rod_mm: float = 300.0,
    board_mm: tuple[float, float] | None = None,
    target_deg: float = 0.25,
    step_min: float = 10.0,
    workers: int = 1,
) -> pandas.DataFrame:
    """Which hours suit observing at every site on every day of a span.

    Args:
        campaign: with its sites.
        first, last: local dates, both of them included; one day where `last` is left out.
        rod_mm, board_mm: height of the rod, width and height of the board.
        target_deg: the standard uncertainty of a pair that the hours must meet.
        step_min: step of the search, minutes; the ends of windows are refined.
        workers: processes to share the work.

    Returns:
        One row a site-day; times local ISO text, "" where there is none.
    """
    import numpy as np

    from orient.planning.hours import Limits, plan_table
    from orient.planning.rig import Rig
    from orient.planning.rows import local_table

    start = np.datetime64(first, "D")
    end = start if last is None else np.datetime64(last, "D")
    if end < start:
        raise ValueError(f"the last day, {end}, comes before the first, {start}")
    rig = Rig(rod_mm) if board_mm is None else Rig(rod_mm, *board_mm)
    days = np.arange(start, end + 1)
    table = plan_table(campaign.sites, days, rig, Limits(target_deg=target_deg), step_min, workers)
    return local_table(table, campaign.sites)


def reduce(campaign: Campaign, workers: int = 1) -> geopandas.GeoDataFrame:
    """True north, grid north and compass of every set-up: `reduce_campaign` as a table.

    Args:
        campaign: with all three tables.
        workers: processes to share many boards among.

    Returns:
        One row a set-up, indexed by `setup`: the columns of `orient reduce --format json`
        (`methods` and `flags` as JSON text), and the reference line as geometry on WGS 84;
        `line_end` says whether its length is real.
    """
    from orient.export.layers import results_frame

    return results_frame(reduce_campaign(campaign, workers)).set_index("setup")


def declination(
    latitude_deg: Any, longitude_deg: Any, elevation_m: Any = 0.0, date: Any = None
) -> Field:
    """The magnetic field at places and dates, any shapes that broadcast.

    Args:
        latitude_deg, longitude_deg: WGS 84, north and east plus.
        elevation_m: metres above the ellipsoid.
        date: dates, ISO text or datetime64; today where left out.
    """
    from datetime import date as Date

    from orient.numbers.magnetic import field

    when = Date.today().isoformat() if date is None else date
    return field(latitude_deg, longitude_deg, elevation_m, decimal_year(when))


def write_report(campaign: Campaign, folder: Path | str, force: bool = False) -> list[Path]:
    """Write the report page of a campaign, with its tables and map layers, into a folder.

    Args:
        campaign: with all three tables.
        folder: made where it does not exist; an earlier report of this campaign is replaced.
        force: replace another campaign's report, or other files of the same names, too.

    Raises:
        InputError: the folder holds a campaign's tables or files that are not to be replaced.
    """
    from orient.report.page import write_report as write

    return write(campaign, folder, force=force)
