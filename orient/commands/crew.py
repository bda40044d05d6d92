"""`orient crew`: which sites on which days, for one crew or several."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from datetime import date
from itertools import groupby
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import (
    campaign_argument,
    console,
    emit,
    printable,
    progress,
    records,
    tell_written,
    write_machine_text,
)
from orient.commands.planning_options import (
    POSITIVE,
    altitude_limits,
    board_options,
    care_of,
    care_options,
    check_page,
    chosen_sites,
    dates_between,
    limit_options,
    output_options,
    span_options,
    the_rig,
    with_options,
)
from orient.text import counted, did_you_mean, folder_name

if TYPE_CHECKING:
    import pandas as pd

    from orient.planning.crew.plan import CrewPlan
    from orient.planning.crew.travel import Minutes
    from orient.planning.crew.visits import Work


class Clock(click.ParamType):
    """A time of the 24-hour clock, HH:MM; minutes since midnight."""

    name = "HH:MM"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        if isinstance(value, int):
            return value
        match = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])", value)
        if match is None or int(match[1]) > 24 or (value > "24:00" and value[0] == "2"):
            self.fail(f"{value!r} is no time written HH:MM, 00:00 to 24:00.", param, ctx)
        return int(match[1]) * 60 + int(match[2])


travel_options = (
    click.option(
        "--start",
        required=True,
        metavar="SITE",
        help="Where the crew camps or sets out: a site, or LATITUDE,LONGITUDE.",
    ),
    click.option(
        "--camp/--roam",
        default=True,
        help="Back to the start every day (the rule), or sleep out and end at the last site.",
    ),
    click.option(
        "--speed",
        type=POSITIVE,
        default=4.0,
        show_default=True,
        metavar="KM/H",
        help="Of walking or driving, rests included.",
    ),
    click.option(
        "--detour",
        type=click.FloatRange(1.0, 10.0),
        default=1.3,
        show_default=True,
        metavar="FACTOR",
        help="How many times longer the way is than the straight line.",
    ),
    click.option(
        "--travel",
        type=click.Path(dir_okay=False),
        metavar="FILE",
        help="A table `from,to,minutes` of travel times, in place of speed and distance.",
    ),
)
work_options = (
    click.option(
        "--crews",
        type=click.IntRange(1, 20),
        default=1,
        show_default=True,
        metavar="N",
        help="How many crews, all alike and from one start; no site is worked by two.",
    ),
    click.option(
        "--reserve",
        type=click.IntRange(0, 365),
        default=0,
        show_default=True,
        metavar="DAYS",
        help="Reserve days for cloud, without visits: those that can repeat most of the others.",
    ),
    click.option(
        "--use-spare",
        is_flag=True,
        help="Spend time left over where lines gain most: longer runs and second boards.",
    ),
    click.option(
        "--day-start",
        type=Clock(),
        default="06:00",
        show_default=True,
        help="The crew sets out at this time or later.",
    ),
    click.option(
        "--day-end", type=Clock(), default="20:00", show_default=True, help="Back or done by."
    ),
    click.option(
        "--setup-min",
        type=click.IntRange(0, 240),
        default=30,
        show_default=True,
        metavar="MIN",
        help="To set up the board before the first mark.",
    ),
    click.option(
        "--packing-min",
        type=click.IntRange(0, 240),
        default=10,
        show_default=True,
        metavar="MIN",
        help="To pack up after the last mark.",
    ),
    click.option(
        "--marking-min",
        type=click.IntRange(10, 120),
        default=40,
        show_default=True,
        metavar="MIN",
        help="Least minutes of marks, before noon and again after, or in a timed run.",
    ),
    click.option(
        "--watch",
        type=click.Choice(["none", "trusted"]),
        default="none",
        show_default=True,
        help="With a trusted watch a run of timed marks will do where it meets the target.",
    ),
    click.option(
        "--effort",
        type=click.FloatRange(1.0, 1000.0),
        default=1.0,
        show_default=True,
        metavar="FACTOR",
        help="How long to search for a better plan.",
    ),
)


@click.command("crew")
@campaign_argument
@with_options(span_options, travel_options, work_options, board_options, limit_options)
@care_options
@with_options(
    output_options(
        "days as one page instead: to print, to hand out, to keep on a telephone", "the visits"
    )
)
def crew(
    campaign: str,
    first: date,
    last: date | None,
    names: tuple[str, ...],
    page: Path | None,
    force: bool,
    style: str,
    **told: Any,
) -> None:
    """Which sites on which days in which order, for one crew or several.

    Each visit holds marks of equal altitude before and after noon, or with a trusted watch
    a run of timed marks, good enough for the target. As many sites as can be are reached,
    then with little travel. The crew's day runs by the clock of the start.
    """
    from orient.planning.crew.choice import solver
    from orient.planning.crew.plan import crew_plan
    from orient.tables.cells import csv_text

    limits = altitude_limits(told["target"], told["min_altitude"], told["max_altitude"])
    sites = chosen_sites(campaign, names)
    dates = dates_between(first, last, sites)
    if told["day_end"] <= told["day_start"]:
        raise click.UsageError("--day-end must be later than --day-start.")
    if told["reserve"] >= len(dates):
        raise click.UsageError(
            f"--reserve {told['reserve']} leaves no day of {len(dates)} to plan: take fewer."
        )
    solver()  # before the work that would be lost without it
    if page:
        from orient.planpage.crewpage import KIND

        check_page("--page", page, KIND, force)
    ways = [told[name] for name in ("start", "speed", "detour", "travel")]
    home, timezone, travel_min = _ways(campaign, sites, *ways)
    work = _work(timezone, told)
    with progress("Looking at hours", len(sites) * len(dates)) as advance:
        plan = crew_plan(
            sites,
            dates,
            travel_min,
            work,
            the_rig(told["rod"], told["board"], told["reach"], care_of(told)),
            limits,
            roam=not told["camp"],
            crews=told["crews"],
            reserve=told["reserve"],
            use_spare=told["use_spare"],
            effort=told["effort"],
            step_min=told["step"],
            advance=advance,
            told=_tell_progress,
        )
    if sys.stderr.isatty():
        click.echo(err=True)
    days = len(dates) - told["reserve"]
    if page:
        _write_page(page, force, style, campaign, plan, _summary(plan, days), home, work)
    elif style == "table":
        _show(plan, work, home, days)
    if style == "csv":
        write_machine_text(csv_text(plan.visits))
    elif style == "ics":
        from orient.export.calendar import crew_calendar

        write_machine_text(crew_calendar(records(plan.visits), sites))
    elif style == "json":
        table = plan.visits
        known = table.notna() & (table != "").fillna(False)
        emit(records(table.astype(object).where(known, None)), style, [])


def _write_page(
    page: Path,
    force: bool,
    style: str,
    campaign: str,
    plan: CrewPlan,
    lead: str,
    home: str,
    work: Work,
) -> None:
    from orient.outputs import write_output
    from orient.planpage.crewpage import crew_page

    title = f"A crew's days, {folder_name(campaign)}"
    text = crew_page(title, lead, plan, home, work)
    tell_written(write_output(page.parent, {page.name: text}, force), style)


def _work(timezone: str, told: Mapping[str, Any]) -> Work:
    """The crew's hours as its options tell them."""
    from orient.planning.crew.visits import Work

    return Work(
        timezone,
        told["day_start"] * 60.0,
        told["day_end"] * 60.0,
        told["setup_min"],
        told["packing_min"],
        told["marking_min"],
        told["watch"] == "trusted",
    )


def _tell_progress(sites: int, travel_min: int) -> None:
    if sys.stderr.isatty():
        click.echo(
            f"\rBest so far: {counted(sites, 'site')}, {travel_min} min of travel   ",
            nl=False,
            err=True,
        )


def _ways(
    campaign: str, sites: pd.DataFrame, start: str, speed: float, detour: float, table: str | None
) -> tuple[str, str, Minutes]:
    """What the start is called, its time zone, and the minutes between all places."""
    import numpy as np

    from orient.planning.crew.travel import START, by_distance, by_table, read_travel
    from orient.tables.campaign import read_campaign

    all_sites = read_campaign(campaign, tables=("sites",), unplaced=True).sites
    all_sites = all_sites[all_sites["latitude_deg"].notna()]
    latitude, longitude, timezone = _start(all_sites, start)
    minutes = by_distance(
        np.append(sites["latitude_deg"].to_numpy(), latitude),
        np.append(sites["longitude_deg"].to_numpy(), longitude),
        speed,
        detour,
    )
    home = start if start in all_sites.index else START
    if table is not None:
        told = read_travel(table, [*all_sites.index, START])
        minutes, estimated = by_table(minutes, told, [*sites.index, home])
        if estimated:
            said = counted(estimated, "way is", "ways are")
            click.echo(f"{said} not in the table of travel: estimated from the distance.", err=True)
    return "the start" if home == START else home, timezone, minutes


def _start(sites: pd.DataFrame, start: str) -> tuple[float, float, str]:
    """Latitude, longitude and time zone of the start: of coordinates, the nearest site's zone.

    Raises:
        click.UsageError: neither a site nor coordinates.
    """
    import numpy as np

    from orient.planning.crew.travel import by_distance
    from orient.tables.coordinates import NotACoordinate, parse_degrees

    if start in sites.index:
        site = sites.loc[[start]]
        latitude, longitude = site[["latitude_deg", "longitude_deg"]].to_numpy(dtype=float)[0]
        return float(latitude), float(longitude), str(site["timezone"].iloc[0])
    parts = start.split(",")
    if len(parts) != 2:
        raise click.UsageError(
            f"--start {start}: neither a site of the campaign nor LATITUDE,LONGITUDE."
            f"{did_you_mean(start, sites.index)}"
        )
    try:
        latitude = parse_degrees(parts[0], "latitude")
        longitude = parse_degrees(parts[1], "longitude")
    except NotACoordinate as fault:
        raise click.UsageError(f"--start {start}: wanted {fault}.") from None
    far = by_distance(
        np.append(sites["latitude_deg"].to_numpy(), latitude),
        np.append(sites["longitude_deg"].to_numpy(), longitude),
        1.0,
        1.0,
    )
    return latitude, longitude, str(sites["timezone"].iloc[int(np.argmin(far[-1, :-1]))])


def _show(plan: CrewPlan, work: Work, home: str, days: int) -> None:
    from orient.flags import CAUTIONS
    from orient.planning.crew.words import cloud_in_words, day_in_words, missed, spare_in_words

    rows = records(plan.visits)
    visits = [row for row in rows if not row["why"]]
    show = console()
    said = _summary(plan, days)
    show.print(f"{said} Times are local at each site; ± is the 95 % figure.")
    several = len({row["crew"] for row in visits}) > 1
    for (day, crew), of_day in groupby(visits, key=lambda row: (row["date"], row["crew"])):
        whose = f", crew {crew}" if several else ""
        show.print(f"\n{date.fromisoformat(day):%a %d %b %Y}{whose}")
        for line in day_in_words(list(of_day), home, work):
            show.print(
                fill(printable(line), show.width, initial_indent="  ", subsequent_indent="     ")
            )
    show.print()
    for said in [*spare_in_words(visits), *cloud_in_words(visits, plan.in_hand), *missed(rows)]:
        show.print(printable(said))
    show.print(CAUTIONS[0])


def _summary(plan: CrewPlan, days: int) -> str:
    table = plan.visits
    visits = table[table["why"] == ""]
    travel = int(visits["travel_min"].sum() + visits["return_min"].fillna(0).sum())
    sites, all_sites = visits["site"].nunique(), table["site"].nunique()
    used = visits.loc[visits["board"] == 1, "date"].nunique()
    reached = f"{sites} of {counted(all_sites, 'site')} reached on {used} of {counted(days, 'day')}"
    known = (
        "No plan reaches more, none as many with less travel."
        if plan.proved
        else "No plan reaches more; one with less travel may exist."
        if plan.most == sites
        else f"No plan reaches more than {plan.most}; a better one than this may exist."
    )
    more = travel - plan.travel_min
    return (
        f"{reached}, {_hours(plan.travel_min)} of travel"
        f"{f' and {_hours(more)} for second boards' if more else ''}. {known}"
    )


def _hours(minutes: int) -> str:
    return f"{minutes // 60} h {minutes % 60:02d} min"
