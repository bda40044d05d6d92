"""The public face of the package, in the order of the work.

>>> import orient
>>> campaign = orient.read_campaign("sites/aldermoor")
>>> places = orient.describe_sites(campaign, "2026-06-21")      # GeoDataFrame, one row a site
>>> hours = orient.plan(campaign, "2026-06-21", "2026-06-22")   # DataFrame, one row a site-day
>>> norths = orient.reduce(campaign)                            # GeoDataFrame, one row a set-up
>>> norths.loc["alder-1", "method"]
'adjustment'

Columns bear the names, units and signs of the tables page of the documentation; uncertainties
are standard ones (1 sigma). Times and dates may be datetime64 of any unit, `datetime`, ISO text
or pandas, with or without a zone; without one they are UTC. Bad input raises `InputError`, which
lists every fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar, cast

import numpy as np

from orient.defaults import BOARD_MM, MAX_ALTITUDE_DEG, MIN_ALTITUDE_DEG, ROD_MM, TARGET_U_DEG
from orient.errors import Fault as Fault
from orient.errors import InputError as InputError
from orient.errors import check_figures
from orient.moments import decimal_years, local_days, utc_seconds
from orient.numbers import magnetic, sun
from orient.numbers.grid import GridFigures as GridFigures
from orient.numbers.grid import NotAGrid
from orient.numbers.magnetic import DeclinationChange as DeclinationChange
from orient.numbers.magnetic import Field as Field
from orient.numbers.magnetic import OutsideModels
from orient.numbers.sun import OutsideEphemeris
from orient.numbers.sun import SunPlace as SunPlace
from orient.numbers.tolerances import Tolerances as Tolerances
from orient.observation.board import Board as Board
from orient.observation.compass import CompassCheck as CompassCheck
from orient.observation.compass import check_compasses as check_compasses
from orient.observation.reduction import Reduced as Reduced
from orient.observation.reduction import reduce_board as reduce_board
from orient.observation.setups import SetupResult as SetupResult
from orient.observation.setups import reduce_campaign as reduce_campaign
from orient.observation.sights.campaign import every_reading
from orient.planning.crew.plan import CrewPlan as CrewPlan
from orient.planning.crew.visits import Work as Work
from orient.planning.hours import Limits as Limits
from orient.planning.rig import Rig as Rig
from orient.tables.beginning import new_campaign as new_campaign
from orient.tables.campaign import Campaign as Campaign
from orient.tables.campaign import read_campaign as read_campaign

if TYPE_CHECKING:
    import geopandas
    import pandas

_Figures = TypeVar("_Figures", SunPlace, Field, DeclinationChange, GridFigures)


# Places and days -------------------------------------------------------------------------------


def sun_place(
    when: Any,
    latitude_deg: Any,
    longitude_deg: Any,
    elevation_m: Any = 0.0,
    pressure_hpa: Any = None,
    temperature_c: Any = 10.0,
) -> SunPlace:
    """Where the sun stands, for any broadcast of places and instants.

    Args:
        when: instants, UTC where they have no zone; numbers and dates alone are refused.
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus.
        elevation_m: metres above the ellipsoid; the map's height does.
        pressure_hpa: of the air, hPa: the altitude is then refracted; None leaves it geometric.
        temperature_c: of the air, °C.

    Returns:
        `azimuth_deg` (clockwise from true north), `altitude_deg` and `distance_au`, each of the
        broadcast shape; of a pandas Series, each a Series with its index.

    Raises:
        InputError: a place that is none, an instant outside 1900–2050 or one that is ambiguous.

    Accuracy: within 0.01″ of skyfield's `apparent().altaz()`, unrefracted (`tests/test_sun.py`).
    Source: the DE421 ephemeris.

    Example:
        >>> noon = orient.sun_place("2026-06-21T12:00+02:00", 47.5, 15.0)
        >>> round(float(noon.altitude_deg), 2), round(float(noon.azimuth_deg), 2)
        (62.96, 147.48)
    """
    _check_place(latitude_deg, longitude_deg, elevation_m)
    with _Refusals("when"):
        found = sun.place(
            utc_seconds(when),
            latitude_deg,
            longitude_deg,
            elevation_m,
            pressure_hpa,
            temperature_c,
        )
    return _indexed(found, when, latitude_deg, longitude_deg)


def declination(
    latitude_deg: Any, longitude_deg: Any, elevation_m: Any = 0.0, date: Any = None
) -> Field:
    """The magnetic field at places and dates, any shapes that broadcast.

    Args:
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus.
        elevation_m: metres above the ellipsoid; the map's height does.
        date: dates, or decimal years as numbers (2026 is its first instant, 2026.5 its
            middle); today where left out.

    Returns:
        The elements, their rates and `declination_u_deg`, each of the broadcast shape; of a
        pandas Series, each a Series with its index.

    Raises:
        InputError: a place that is none, or a date outside 1900–2035.

    Accuracy: the models' own definition to 0.001 nT; `declination_u_deg` is that of the WMM2025
    technical report. Local rock and iron are in no model.

    Example:
        >>> here = orient.declination(45.0, 7.0, 500.0, "2026-05-01")
        >>> round(float(here.declination_deg), 1), str(here.model)
        (3.2, 'WMM2025')
    """
    from datetime import date as Date

    _check_place(latitude_deg, longitude_deg, elevation_m)
    years = decimal_years(Date.today() if date is None else date)
    with _Refusals("date"):
        found = magnetic.field(latitude_deg, longitude_deg, elevation_m, years)
    return _indexed(found, latitude_deg, longitude_deg, date)


def declination_change(
    latitude_deg: Any,
    longitude_deg: Any,
    since: Any,
    date: Any = None,
    elevation_m: Any = 0.0,
) -> DeclinationChange:
    """How far the declination moved at places between two dates, plus to the east.

    Args:
        latitude_deg, longitude_deg, elevation_m: as for `declination`.
        since, date: dates, or decimal years as numbers; `date` is today where left out.

    Returns:
        `change_deg`, to be added to the older declination, its standard uncertainty, and both
        declinations with their models, each of the broadcast shape.

    Raises:
        InputError: as `declination`.

    Accuracy: `change_u_deg`.

    Example:
        >>> change = orient.declination_change(45.0, 7.0, since=1987.5, date=2026.5)
        >>> round(float(change.change_deg), 1)
        4.6
    """
    from datetime import date as Date

    _check_place(latitude_deg, longitude_deg, elevation_m)
    now = decimal_years(Date.today() if date is None else date)
    with _Refusals("date"):
        found = magnetic.declination_change(
            latitude_deg, longitude_deg, elevation_m, decimal_years(since, "since"), now
        )
    return _indexed(found, latitude_deg, longitude_deg, date)


def grid_figures(
    latitude_deg: Any, longitude_deg: Any, crs: Any = None, elevation_m: Any = 0.0
) -> GridFigures:
    """Grid coordinates, convergence and scale of places on any projected grid.

    Args:
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus.
        crs: texts such as "EPSG:32633", one for all or one a place; each place's own UTM or
            UPS zone where left out.
        elevation_m: metres above the ellipsoid, for the combined factor.

    Returns:
        `convergence_deg` (plus where grid north lies east of true north), `scale_factor`,
        `easting_m`, `northing_m` and more, each of the broadcast shape.

    Raises:
        InputError: a place that is none, or a text that names no grid.

    Accuracy: convergence within 0.001″, scale within 3e-9 of the projection's own.

    Example:
        >>> here = orient.grid_figures(47.5, 16.0)
        >>> str(here.grid), round(float(here.convergence_deg), 4)
        ('EPSG:32633', 0.7373)
    """
    from orient.numbers import grid

    _check_place(latitude_deg, longitude_deg, elevation_m)
    chosen = grid.default_grid(latitude_deg, longitude_deg) if crs is None else crs
    with _Refusals("crs"):
        found = grid.grid_figures(latitude_deg, longitude_deg, chosen, elevation_m)
    return _indexed(found, latitude_deg, longitude_deg)


def describe_sites(campaign: Campaign, date: Any) -> geopandas.GeoDataFrame:
    """Declination, convergence, local noon and flags of every site on a local date.

    Args:
        campaign: with its sites.
        date: a local date.

    Returns:
        One row a site, indexed by `site`: the columns of `orient sites --format json`, and
        what `site.describe` adds; `flag_codes` in place of `flags`, a list in each row (a frame
        has an attribute of that name), `date` as datetime64; points on WGS 84.

    Raises:
        InputError: what is no date, or one outside the years of the sun or of the field.

    Accuracy: that of `sun_place`, `declination` and `grid_figures`.

    Example:
        >>> campaign = orient.read_campaign("sites/aldermoor")
        >>> float(orient.describe_sites(campaign, "2026-06-21")["convergence_deg"].round(2).iloc[0])
        0.11
    """
    import geopandas

    from orient.site import describe

    with _Refusals("date"):
        table = describe(campaign.sites, local_days(date))
    points = geopandas.points_from_xy(table["longitude_deg"], table["latitude_deg"])
    frame = geopandas.GeoDataFrame(table, geometry=points, crs="EPSG:4326")
    return _for_pandas(frame).set_index("site")


# Planning --------------------------------------------------------------------------------------


def plan(
    campaign: Campaign,
    first: Any,
    last: Any = None,
    *,
    rod_mm: float = ROD_MM,
    board_mm: tuple[float, float] | None = None,
    target_deg: float = TARGET_U_DEG,
    min_altitude_deg: float = MIN_ALTITUDE_DEG,
    max_altitude_deg: float = MAX_ALTITUDE_DEG,
    tolerances: Tolerances | None = None,
    step_min: float = 10.0,
    workers: int = 1,
) -> pandas.DataFrame:
    """Which hours suit observing at every site on every day of a span.

    Args:
        campaign: with its sites.
        first, last: local dates, both of them included; one day where `last` is left out.
        rod_mm, board_mm: height of the rod, width and depth of the board, mm.
        target_deg: the standard uncertainty of a pair that the hours must meet, degrees.
        min_altitude_deg, max_altitude_deg: of the sun to mark by.
        tolerances: how carefully boards are set up and marked; the defaults where left out.
        step_min: step of the search, minutes; the ends of windows are refined.
        workers: processes to share the work.

    Returns:
        One row a site-day: `site`, `date` (datetime64), `noon_local`, `noon_altitude_deg`,
        `morning_from` … `best_afternoon` (local ISO text, "" where there is none),
        `best_altitude_deg`, `best_shadow_mm`, `best_expected_u_deg`, `day_expected_u_deg` and
        `flag_codes`, a list in each row.

    Raises:
        InputError: a span that runs backward, or a figure that no rod, board or sun can have.

    Accuracy: ends of windows within 5 s; the expected uncertainty within 10 % of Monte Carlo
    (`tests/test_budget.py`).

    Example:
        >>> campaign = orient.read_campaign("sites/aldermoor")
        >>> hours = orient.plan(campaign, "2026-06-21", rod_mm=200.0)
        >>> len(hours) == len(campaign.sites)
        True
    """
    from orient.planning.hours import plan_table
    from orient.planning.rows import local_table

    rig = _rig(rod_mm, board_mm, tolerances)
    limits = Limits(target_deg, min_altitude_deg, max_altitude_deg)
    days = _days(first, last)
    with _Refusals("first"):
        table = plan_table(campaign.sites, days, rig, limits, step_min, workers)
    return _for_pandas(local_table(table, campaign.sites))


def bring(
    campaign: Campaign,
    first: Any,
    last: Any = None,
    *,
    max_rod_mm: float = 600.0,
    max_board_mm: tuple[float, float] = (920.0, 650.0),
    limits: Limits | None = None,
    tolerances: Tolerances | None = None,
) -> pandas.DataFrame:
    """How well each common board with its best rod serves a span, the best of all first.

    Args:
        campaign: with its sites.
        first, last: local dates, both of them included.
        max_rod_mm, max_board_mm: the most that can be carried, mm.
        limits: what a pair must meet.
        tolerances: how carefully boards are set up and marked.

    Returns:
        One row a board: `rod_mm`, `board_width_mm`, `board_depth_mm`, `good_share` of the
        site-days, `median_u_deg` of the best pairs, `median_day_u_deg` of all the marks.

    Raises:
        InputError: as `plan`.

    Accuracy: that of `plan`; of a long span some dates at even spaces are tried.

    Example:
        >>> campaign = orient.read_campaign("sites/aldermoor")
        >>> best = orient.bring(campaign, "2026-06-21", max_rod_mm=100.0).iloc[0]
        >>> best["rod_mm"] <= 100.0
        np.True_
    """
    from orient.planning import bring as carried

    check_figures(("max_rod_mm", max_rod_mm, 0.0 < max_rod_mm < 1e6, "a length above 0, mm"))
    rig = _rig(max_rod_mm, max_board_mm, tolerances)
    return carried.compare_rigs(
        campaign.sites,
        _days(first, last),
        limits or Limits(),
        rig,
        carried.rods_within(max_rod_mm),
        carried.boards_within((rig.board_width_mm, rig.board_depth_mm)),
    )


def rings(
    campaign: Campaign,
    first: Any,
    last: Any = None,
    *,
    rig: Rig | None = None,
    limits: Limits | None = None,
) -> pandas.DataFrame:
    """The rings to draw at each site, and when the shadow should cross them.

    Args:
        campaign: with its sites.
        first, last: local dates; crossings are given for both.
        rig: rod and board, with their tolerances.
        limits: what a pair must meet.

    Returns:
        `site`, `date` (datetime64), `ring_mm`, `morning`, `afternoon` (local ISO text),
        `altitude_deg`, `expected_u_deg` of the pair; no rows for a site without a window.

    Raises:
        InputError: as `plan`.

    Accuracy: crossings within a few seconds for a board without faults.

    Example:
        >>> campaign = orient.read_campaign("sites/aldermoor")
        >>> bool((orient.rings(campaign, "2026-06-21")["ring_mm"] % 5 == 0).all())
        True
    """
    from orient.planning import bring as carried

    return _for_pandas(
        carried.rings(campaign.sites, _days(first, last), rig or Rig(), limits or Limits())
    )


def crew(
    campaign: Campaign,
    first: Any,
    last: Any = None,
    *,
    start: str,
    work: Work | None = None,
    rig: Rig | None = None,
    limits: Limits | None = None,
    speed_km_h: float = 30.0,
    detour: float = 1.4,
    camp: bool = False,
    crews: int = 1,
    reserve: int = 0,
    use_spare: bool = False,
    effort: float = 1.0,
) -> CrewPlan:
    """Which sites on which days in which order, for one crew or more (needs the extra `crew`).

    Args:
        campaign: with its sites.
        first, last: local dates of the crew's clock, both of them included.
        start: the site that the crew starts from, and comes back to.
        work: the crew's hours; those of the start's zone where left out.
        rig, limits: what is carried, and what a visit must meet.
        speed_km_h: of walking or driving, rests included.
        detour: how many times longer the way is than the straight line.
        camp: every evening back at the start; else the crew goes on from where it is.
        crews: how many, all alike and from one start; no site is worked by two.
        reserve: days kept free for cloud, those that can repeat most of the others.
        use_spare: spend time left over where lines gain most: longer runs, second boards.
        effort: how long to search, 1 being about a minute at most.

    Returns:
        `visits`, one row a visit and one a site not reached; `most`, the number of sites that
        no plan can pass; `proved`, whether the plan is the best there is; `in_hand`, the days
        kept for cloud.

    Raises:
        InputError: a start that is no site, or figures as for `plan`.
        NoSolver: the extra is not installed.

    Accuracy: distances are geodesics, the detour is a guess.

    Example:
        >>> orient.crew(campaign, "2026-06-21", start="aldermoor").visits  # doctest: +SKIP
    """
    from orient.planning.crew.plan import crew_plan
    from orient.planning.crew.travel import by_distance
    from orient.text import did_you_mean

    if crews < 1:
        raise InputError(Fault("the argument crews", None, None, repr(crews), "1 or more"))
    dates = _days(first, last)
    if not 0 <= reserve < len(dates):
        wanted = f"0 or more, and less than the {len(dates)} days of the span"
        raise InputError(Fault("the argument reserve", None, None, repr(reserve), wanted))
    sites = campaign.sites
    if start not in sites.index:
        wanted = f"a site of the campaign.{did_you_mean(start, sites.index)}"
        raise InputError(Fault("the argument start", None, None, repr(start), wanted))
    home = sites.loc[start]
    minutes = by_distance(
        np.append(sites["latitude_deg"].to_numpy(float), home["latitude_deg"]),
        np.append(sites["longitude_deg"].to_numpy(float), home["longitude_deg"]),
        speed_km_h,
        detour,
    )
    return crew_plan(
        sites,
        dates,
        minutes,
        work or Work(str(home["timezone"])),
        rig or Rig(),
        limits or Limits(),
        roam=not camp,
        crews=crews,
        reserve=reserve,
        use_spare=use_spare,
        effort=effort,
    )


def write_sheet(
    campaign: Campaign,
    site: str,
    date: Any,
    path: Path | str,
    *,
    rod_mm: float = ROD_MM,
    force: bool = False,
) -> list[Path]:
    """Write the field sheet of one site and day, at true scale.

    Args:
        campaign: with its sites.
        site: its id.
        date: a local date.
        path: a file ending in .pdf, or in .svg (a file a page).
        rod_mm: tip above the board, mm.
        force: replace a file that this program did not make.

    Returns:
        The files written.

    Raises:
        InputError: a site that the campaign has not, a rod that no sheet can be drawn for.

    Accuracy: the tip is drawn within 0.01 mm of where it is computed.

    Example:
        >>> orient.write_sheet(campaign, "gullbeach", "2026-06-21", "sheet.pdf")  # doctest: +SKIP
    """
    from orient.outputs import write_output
    from orient.sheet.document import field_sheet
    from orient.text import did_you_mean

    target = Path(path)
    known = site in campaign.sites.index
    hint = did_you_mean(site, campaign.sites.index)
    check_figures(
        ("site", repr(site), known, f"a site of the campaign.{hint}"),
        ("path", target.name, target.suffix.lower() in (".pdf", ".svg"), "a .pdf or .svg file"),
    )
    with _Refusals("date"):
        drawn = field_sheet(cast(Any, campaign.sites.loc[site]), local_days(date), rod_mm)
    if target.suffix.lower() == ".pdf":
        return write_output(target.parent, {target.name: drawn.pdf()}, force)
    names = [
        target.name if number == 1 else f"{target.stem}-{number}{target.suffix}"
        for number in range(1, len(drawn.pages) + 1)
    ]
    return write_output(target.parent, dict(zip(names, drawn.svgs(), strict=True)), force)


# Reducing --------------------------------------------------------------------------------------


def board(
    x_mm: Any,
    y_mm: Any,
    rod_mm: float,
    latitude_deg: float,
    longitude_deg: float,
    *,
    times: Any = None,
    date: Any = None,
    elevation_m: float = 0.0,
    pressure_hpa: float | None = None,
    temperature_c: float = 10.0,
    watch: str | None = None,
    watch_error_s: float = 0.0,
    half: Sequence[str] | None = None,
    ring: Sequence[str] | None = None,
    edge: str = "middle",
    tolerances: Tolerances | None = None,
) -> Board:
    """A board of marks in arrays, ready for `reduce_board`, without a campaign.

    Args:
        x_mm, y_mm: the marks from the foot, mm, shape (n,), +y up the sheet, +x to the right.
        rod_mm: tip above the board, mm.
        latitude_deg, longitude_deg: WGS 84 degrees, north and east plus.
        times: what the watch showed at the marks, shape (n,), UTC where they have no zone;
            missing where a mark has none.
        date: the local date, needed where there is no time.
        elevation_m: metres above the ellipsoid.
        pressure_hpa, temperature_c: of the air; the standard atmosphere where left out.
        watch: `trusted`, `running` or `none`; trusted where times are given.
        watch_error_s: watch minus true, seconds, plus when fast.
        half: `am`, `pm` or "" of each mark.
        ring: labels; marks of one label are an equal-altitude pair.
        edge: `middle` or `dark`, what of the soft edge was marked.
        tolerances: how carefully it was set up and marked.

    Returns:
        The board.

    Raises:
        InputError: everything that no board can have, all at once.

    Accuracy: that of `reduce_board`.

    Example:
        >>> times = ["2026-06-21T08:30", "2026-06-21T09:30", "2026-06-21T12:30"]
        >>> marks = orient.board([-250, -170, 90], [220, 180, 160], 300, 47.5, 15.0, times=times)
        >>> marks.count
        3
    """
    x, y = (np.atleast_1d(np.asarray(part, dtype=float)) for part in (x_mm, y_mm))
    known = times is not None
    utc_s = np.atleast_1d(utc_seconds(times, "times")) if known else np.full(x.shape, np.nan)
    timed = known and bool(np.isfinite(utc_s).any())
    kind = watch or ("trusted" if timed else "none")
    halves = np.array([""] * x.size if half is None else list(half), dtype=str)
    labels = np.array([""] * x.size if ring is None else list(ring), dtype=str)
    same = x.ndim == 1 and x.size > 0 and x.shape == y.shape == utc_s.shape
    same = same and halves.shape == labels.shape == x.shape
    check_figures(
        ("x_mm", f"{x.size} marks", same, "as many of y_mm, times, half and ring, 1 or more"),
        ("x_mm", "no number", bool(np.isfinite(x).all() and np.isfinite(y).all()), "numbers, mm"),
        ("rod_mm", rod_mm, 0.0 < rod_mm < 1e6, "a length above 0, mm"),
        ("watch", watch, kind in ("trusted", "running", "none"), "trusted, running or none"),
        ("half", half, set(halves) <= {"am", "pm", ""}, "am, pm or nothing for each mark"),
        ("edge", edge, edge in ("middle", "dark"), "middle or dark"),
        ("date", date, timed or date is not None, "the date, where no mark has a time"),
    )
    _check_place(latitude_deg, longitude_deg, elevation_m)
    with _Refusals("times"):
        near = np.nanmean(utc_s) if timed else _midday(date, longitude_deg)
        noon_utc_s = float(sun.transit(near, longitude_deg))
        return Board(
            latitude_deg=float(latitude_deg),
            longitude_deg=float(longitude_deg),
            noon_utc_s=noon_utc_s,
            height_mm=float(rod_mm),
            x_mm=x,
            y_mm=y,
            watch_utc_s=utc_s,
            half=np.select([halves == "am", halves == "pm"], [-1, 1], 0).astype(np.int8),
            ring=labels,
            elevation_m=float(elevation_m),
            pressure_hpa=float(
                sun.standard_pressure_hpa(elevation_m) if pressure_hpa is None else pressure_hpa
            ),
            temperature_c=float(temperature_c),
            watch=kind,
            watch_error_s=float(watch_error_s),
            edge=edge,
            tolerances=tolerances or Tolerances(),
        )


def reduce(campaign: Campaign, workers: int = 1) -> geopandas.GeoDataFrame:
    """True north, grid north and compass of every set-up: `reduce_campaign` as a table.

    Args:
        campaign: with all three tables.
        workers: processes to share many boards among.

    Returns:
        One row a set-up, indexed by `setup`: the columns of `orient reduce --format json`,
        `date` as datetime64, `methods` a mapping and `flag_codes` (in place of `flags`) a list
        in each row, and the reference line as geometry on WGS 84; `line_end` says whether its
        length is real.

    Raises:
        InputError: a set-up outside the years of the sun or of the field.

    Accuracy: 93–97 % of true directions lie within the 95 % figure (`docs/accuracy.md`).

    Example:
        >>> norths = orient.reduce(orient.read_campaign("sites/aldermoor"))
        >>> (norths["board_azimuth_u_deg"] > 0).any()
        np.True_
    """
    import json

    from orient.export.layers import results_frame

    frame = results_frame(reduce_campaign(campaign, workers))
    for name in ("methods", "flags"):
        frame[name] = [json.loads(text) for text in frame[name]]
    return _for_pandas(frame).set_index("setup")


def compass_check(campaign: Campaign, workers: int = 1) -> CompassCheck:
    """Judge a campaign's compass readings against the true azimuths of its lines.

    Args:
        campaign: with its set-ups, readings and sights.
        workers: processes to share many boards among.

    Returns:
        `readings`, `places` and `compasses`, each a DataFrame, and `sentences` for people.

    Raises:
        InputError: as `reduce`.

    Accuracy: that of `check_compasses`.

    Example:
        >>> check = orient.compass_check(orient.read_campaign("sites/aldermoor"))
        >>> len(check.sentences) > 0
        True
    """
    rows = [result.row for result in reduce_campaign(campaign, workers)]
    return check_compasses(every_reading(campaign, rows))


def correct(
    table: pandas.DataFrame,
    campaign: Campaign | None = None,
    *,
    bearings: Sequence[str] = (),
    to: Literal["true", "grid"] = "true",
    grid: str = "",
    crs: str = "",
    date: Any = None,
    place: tuple[float, float] | None = None,
    compass: str = "",
    dial_deg: float = 0.0,
    reading_sd_deg: float = 1.0,
    workers: int = 1,
) -> pandas.DataFrame:
    """Turn compass bearings to true or grid bearings, each by its own date, place and compass.

    Args:
        table: one row a reading: columns of places (`latitude_deg` and `longitude_deg`,
            `easting_m` and `northing_m`, or a `site` of the campaign), `date`, bearings in
            degrees or as people write them; `compass` and `dial_deg` where there are any. A
            GeoDataFrame of points has its places already.
        campaign: whose sites, compasses and local anomalies count.
        bearings: the columns of bearings; those called strike, trend, bearing, azimuth or dip
            direction if none is named.
        to: which north the results count from.
        grid: CRS of grid bearings; the place's UTM or UPS zone if blank.
        crs: CRS of the table's coordinates, where no column says so.
        date, place, compass, dial_deg: of rows without their own; place is latitude and longitude
            in degrees, the dial's declination in degrees, east plus.
        reading_sd_deg: how well a bearing was read, 1 σ.
        workers: processes to share the campaign's boards among.

    Returns:
        The table, its index kept; each bearing column C gains `C_true_deg` (or `C_grid_deg`),
        `C_u_deg` (1 σ) and `C_applied_deg`, which undoes it; what was applied stands beside.

    Raises:
        InputError: every fault of the table at once; rows are numbered from 1.

    Accuracy: declination and convergence as `declination` and `grid_figures`; `C_u_deg` holds
    reading, declination, compass (2° where it was never checked) and anomaly.

    Example:
        >>> import pandas as pd
        >>> readings = pd.DataFrame({"bearing": [120.0], "date": ["2026-06-21"]})
        >>> row = orient.correct(readings, place=(47.5, 15.0)).iloc[0]
        >>> round(float(row["bearing_true_deg"]), 1)
        125.0
    """
    from orient.notebook.correct import Options
    from orient.notebook.correct import correct as corrected_of
    from orient.notebook.files import notebook_of, with_columns
    from orient.tables.cells import Faults

    faults = Faults()
    notebook = notebook_of(table, faults)
    faults.stop_if_any()
    assert notebook is not None
    day = None if date is None else local_days(date)
    options = Options(
        tuple(bearings), to, grid, crs, day, place, compass, dial_deg, "", False, reading_sd_deg
    )
    check = None if campaign is None else compass_check(campaign, workers)
    with _Refusals("grid"):
        corrected = corrected_of(notebook.cells, options, campaign, check)
    done: pandas.DataFrame = with_columns(table, corrected)
    return done


def write_report(campaign: Campaign, folder: Path | str, force: bool = False) -> list[Path]:
    """Write the report page of a campaign, with its tables and map layers, into a folder.

    Args:
        campaign: with all three tables.
        folder: made where it does not exist; an earlier report of the same campaign in it is
            replaced.
        force: replace another campaign's report, or other files of these names.

    Returns:
        The files written, all of them or none.

    Raises:
        InputError: as `reduce`.
        FileExistsError: a file there that this program did not make, without `force`.

    Accuracy: the page shows what `reduce` gives.

    Example:
        >>> orient.write_report(campaign, "reports/aldermoor")  # doctest: +SKIP
    """
    from orient.report.page import write_report as write

    return write(campaign, folder, force=force)


# What the functions share ----------------------------------------------------------------------


class _Refusals:
    """What the numbers refuse, as the one kind of error of this door."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if isinstance(error, NotAGrid):
            faults = [
                Fault(f"the argument {self.name}", None, None, repr(text), wanted)
                for text, wanted in error.wanted.items()
            ]
            raise InputError(faults) from error
        if isinstance(error, OutsideEphemeris | OutsideModels):
            wanted = "a date that the sun's table and the models of the field cover"
            raise InputError(
                Fault(f"the argument {self.name}", None, None, str(error), wanted)
            ) from error


def _check_place(latitude_deg: Any, longitude_deg: Any, elevation_m: Any) -> None:
    latitude, longitude, elevation = (
        np.asarray(part, dtype=float) for part in (latitude_deg, longitude_deg, elevation_m)
    )
    check_figures(
        (
            "latitude_deg",
            _first(latitude, np.abs(latitude) > 90.0),
            not (np.abs(latitude) > 90.0).any(),
            "a latitude of −90° to 90°",
        ),
        (
            "longitude_deg",
            _first(longitude, np.abs(longitude) > 360.0),
            not (np.abs(longitude) > 360.0).any(),
            "a longitude of −180° to 360°",
        ),
        (
            "elevation_m",
            _first(elevation, np.abs(elevation) > 1e6),
            not (np.abs(elevation) > 1e6).any(),
            "metres above the ellipsoid",
        ),
    )


def _first(values: Any, bad: Any) -> str:
    return f"{values[bad].flat[0]:g}" if np.any(bad) else ""


def _indexed(found: _Figures, *given: Any) -> _Figures:
    """The same with a Series in place of each array, where a Series was given, and its index."""
    index = next(
        (each.index for each in given if hasattr(each, "to_frame") and _is_series(each)), None
    )
    if index is None:
        return found
    import pandas as pd

    values = {
        each.name: pd.Series(getattr(found, each.name), index=index, name=each.name)
        for each in fields(found)
        if np.shape(getattr(found, each.name)) == (len(index),)
    }
    return replace(found, **cast(Any, values))


def _is_series(value: Any) -> bool:
    return hasattr(value, "index") and hasattr(value, "iloc") and value.ndim == 1


def _for_pandas(frame: Any) -> Any:
    """A frame with dates as datetimes, and no column by the name of a frame's own attribute."""
    import pandas as pd

    renamed = frame.rename(columns={"flags": "flag_codes"})
    if "date" in renamed:
        renamed["date"] = pd.to_datetime(renamed["date"])
    return renamed


def _days(first: Any, last: Any) -> Any:
    start = local_days(first, "first")
    end = start if last is None else local_days(last, "last")
    check_figures(
        ("last", end, bool(end >= start), f"the first day, {start}, or a later one"),
        ("last", end, bool(end - start < np.timedelta64(100_000, "D")), "a span of some years"),
    )
    return np.arange(start, end + 1)


def _midday(date: Any, longitude_deg: float) -> float:
    """Noon by the mean sun of a local date, POSIX seconds."""
    day_s = local_days(date).astype("datetime64[s]").astype(np.int64)
    return float(day_s) + 43200.0 - longitude_deg / sun.SUN_RATE_DEG_PER_S


def _rig(rod_mm: float, board_mm: tuple[float, float] | None, tolerances: Tolerances | None) -> Rig:
    width, depth = BOARD_MM if board_mm is None else board_mm
    return Rig(rod_mm, max(width, depth), min(width, depth), None, tolerances or Tolerances())
