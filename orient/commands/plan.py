"""`orient plan`: which hours suit observing, and how good the line will be."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import date
from itertools import groupby
from math import hypot
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    console,
    emit,
    number,
    printable,
    progress,
    show_flags,
    show_table,
    tell_written,
    write_machine_text,
)
from orient.commands.planning_options import (
    altitude_limits,
    at_95,
    board_options,
    care_options,
    check_amount,
    check_page,
    chosen_sites,
    dates_between,
    limit_options,
    output_options,
    span_options,
    target_text,
    the_rig,
    with_options,
)
from orient.text import counted, folder_name

if TYPE_CHECKING:
    import pandas as pd

    from orient.planning.hours import Limits
    from orient.planning.rig import Rig

#: From so many site-days on the work is worth sharing among processes.
_WORTH_SHARING = 6000
#: Budgets of more site-days than this nobody reads.
_MOST_BUDGETS = 100
#: Nor does anyone look into a calendar of more.
_MOST_IN_CALENDAR = 1000
#: For so many spells of days without good hours a way out is sought.
_MOST_REMEDIES = 10
_SITES_SAMPLED = 20


@click.command("plan")
@campaign_argument
@with_options(span_options, board_options, limit_options)
@care_options
@click.option(
    "--workers",
    type=click.IntRange(1, 256),
    metavar="N",
    help="Processes to share the work; as many as there are processors if left out.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Share the work by dask: a scheduler's address, or `local`.",
)
@click.option(
    "--budget", "show_budget", is_flag=True, help="The error budget, term by term, of each day."
)
@with_options(
    output_options(
        "plan as one page instead: to print, to hand out, to use on site by telephone",
        "the good hours",
    )
)
def plan(
    campaign: str,
    first: date,
    last: date | None,
    names: tuple[str, ...],
    target: float,
    rod: float,
    board: tuple[float, float],
    reach: float | None,
    min_altitude: float,
    max_altitude: float,
    step: float,
    workers: int | None,
    cluster: str | None,
    show_budget: bool,
    page: Path | None,
    force: bool,
    style: str,
    **care: float,
) -> None:
    """Which hours suit observing at each site, and how good the line will be.

    For each site and day: the morning and afternoon hours in which a pair of marks at equal
    altitude meets the target, local noon, and the best pair. A table of one site shows its
    days, a table of one day its sites; more of both are summed up by site. Everything in a
    table is local time, and uncertainties are 95 % figures; csv and json have standard ones.
    """
    from orient.planning.hours import plan_chunks

    limits = altitude_limits(target, min_altitude, max_altitude)
    sites = chosen_sites(campaign, names)
    dates = dates_between(first, last, sites)
    rig = the_rig(rod, board, reach, care)
    site_days = len(sites) * len(dates)
    for asked, option, most in (
        (show_budget, "--budget", _MOST_BUDGETS),
        (style == "ics", "--format ics", _MOST_IN_CALENDAR),
    ):
        if asked and site_days > most:
            raise click.UsageError(
                f"{option} is for at most {most} days of sites; this asks for {site_days}."
            )
    if page:
        _write_page(page, force, style, campaign, sites, dates, rig, limits, step)
        if style == "table" and not show_budget:
            return
    if show_budget:
        _show_budgets(sites, dates, rig, limits, style)
        return
    with ExitStack() as open_until_done:
        if cluster:
            from orient.planning.cluster import cluster as dask_cluster
            from orient.planning.cluster import plan_chunks as plan_on

            client = open_until_done.enter_context(dask_cluster(cluster, workers or _processors()))
            chunks = plan_on(client, sites, dates, rig, limits, step)
        else:
            workers = workers or (_processors() if site_days >= _WORTH_SHARING else 1)
            chunks = plan_chunks(sites, dates, rig, limits, step, workers)
        chunks = open_until_done.enter_context(_progress_over(chunks, site_days))
        if style == "ics":
            _write_calendar(chunks, sites, rig, limits)
        elif style == "json":
            _write_json(chunks, sites)
        elif style == "csv":
            _write_csv(chunks, sites)
        else:
            _show_plan(chunks, sites, dates, rig, limits)


def _write_page(
    page: Path,
    force: bool,
    style: str,
    campaign: str,
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig,
    limits: Limits,
    step: float,
) -> None:
    from orient.outputs import write_output
    from orient.planpage.page import KIND, MOST_SITE_DAYS, plan_page

    check_amount(len(sites), len(dates), MOST_SITE_DAYS, "--page: ")
    check_page("--page", page, KIND, force)
    with progress("Planning", len(sites)) as advance:
        name = folder_name(campaign)
        text = plan_page(name, sites, dates, rig, limits, step, advance)
    tell_written(write_output(page.parent, {page.name: text}, force), style)


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


@contextmanager
def _progress_over(
    chunks: Iterable[pd.DataFrame], site_days: int
) -> Iterator[Iterator[pd.DataFrame]]:
    with progress("Planning", site_days) as advance:

        def counted() -> Iterator[pd.DataFrame]:
            for chunk in chunks:
                yield chunk
                advance(len(chunk))

        yield counted()


# Rows leave as they are planned, so that a country's year never stands in memory as text.


def _write_json(chunks: Iterable[pd.DataFrame], sites: pd.DataFrame) -> None:
    import json

    from orient.planning.rows import plan_rows

    lead = "["
    for chunk in chunks:
        for row in plan_rows(chunk, sites):
            text = json.dumps(row, ensure_ascii=False, allow_nan=False)
            write_machine_text(f"{lead}\n{text}")
            lead = ","
    write_machine_text("[]\n" if lead == "[" else "\n]\n")


def _write_csv(chunks: Iterable[pd.DataFrame], sites: pd.DataFrame) -> None:
    from orient.planning.rows import local_table
    from orient.tables.cells import csv_text

    for number_of_chunk, chunk in enumerate(chunks):
        header, _, body = csv_text(local_table(chunk, sites)).partition("\n")
        if number_of_chunk == 0:
            write_machine_text(f"{header}\n")
        write_machine_text(body)


def _write_calendar(
    chunks: Iterable[pd.DataFrame], sites: pd.DataFrame, rig: Rig, limits: Limits
) -> None:
    from orient.export.calendar import plan_calendar
    from orient.planning.rows import plan_rows

    rows = [row for chunk in chunks for row in plan_rows(chunk, sites)]
    write_machine_text(plan_calendar(rows, sites, rig, limits))
    without = sum(1 for row in rows if not row["morning"])
    if without:
        said = f"{without} of {counted(len(rows), 'day')} without good hours, and so without event."
        click.echo(f"{said} `orient plan` without --format ics tells why.", err=True)


def _title(rig: Rig, limits: Limits) -> str:
    board = (
        f"shadow up to {rig.reach_mm:g} mm"
        if rig.reach_mm is not None
        else f"board {rig.board_width_mm:g} × {rig.board_depth_mm:g} mm"
    )
    return (
        f"Hours in which a pair of marks meets {target_text(limits)}; "
        f"rod {rig.rod_mm:g} mm, {board}, sun {limits.min_altitude_deg:g}–"
        f"{limits.max_altitude_deg:g}° up. Local time; ± is the 95 % figure."
    )


def _show_plan(
    chunks: Iterable[pd.DataFrame], sites: pd.DataFrame, dates: Any, rig: Rig, limits: Limits
) -> None:
    import pandas as pd

    from orient.flags import CAUTIONS
    from orient.planning.rows import SUMMED, plan_rows, season

    many = len(sites) > 1 and len(dates) > 1
    # A summary needs few of the columns: a country's year of them stays small.
    table = pd.concat([chunk[SUMMED] if many else chunk for chunk in chunks], ignore_index=True)
    console().print(_title(rig, limits))
    if many:
        rows = cast("list[Row]", season(table).to_dict("records"))
        show_table(rows, _season_columns())
        show_flags(({**row, "flags": _season_flags(row)} for row in rows), "site")
    elif len(sites) > 1:
        rows = [*plan_rows(table, sites)]
        show_table(rows, _row_columns("site"))
        _say([(row["site"], row) for row in rows if row["flags"]], sites, rig, limits)
    else:
        rows = [*plan_rows(table, sites)]
        show_table(rows, _row_columns("date"), f"{sites.index[0]}, {rows[0]['date'][:4]}")
        _say(_spells(rows), sites, rig, limits)
    _say_watch(table, sites, dates, rig, limits)
    if len(sites) == 1:
        from orient.planning.shadowbearing import sentence

        day = f"{dates[0]}: " if len(dates) > 1 else ""
        console().print(day + sentence(sites.iloc[0], dates[0], rig.tolerances.watch_sd_s))
    console().print(CAUTIONS[0])


def _say(said: Iterable[tuple[str, Row]], sites: pd.DataFrame, rig: Rig, limits: Limits) -> None:
    from orient.planning.remedies import remedies
    from orient.planning.rows import sentence

    tries = _MOST_REMEDIES
    for label, row in said:
        found = []
        if row["morning"] is None and tries:
            tries -= 1
            found = remedies(sites.loc[[row["site"]]], row["date"], rig, limits)
        console().print(f"{printable(label)}: {sentence(row, found, limits.min_altitude_deg)}.")


def _say_watch(
    table: pd.DataFrame, sites: pd.DataFrame, dates: Any, rig: Rig, limits: Limits
) -> None:
    """What all the day's marks together come to, with this watch and with one to the second."""
    from orient.planning.bring import sampled
    from orient.planning.hours import plan_table
    from orient.planning.remedies import GOOD_WATCH_S

    now = table["day_u_deg"].median()
    if now != now or rig.tolerances.watch_sd_s <= GOOD_WATCH_S:
        return
    better = replace(rig, tolerances=replace(rig.tolerances, watch_sd_s=GOOD_WATCH_S))
    some = sites.iloc[:: max(1, len(sites) // _SITES_SAMPLED)]
    then = plan_table(some, sampled(dates, len(some)), better, limits)["day_u_deg"].median()
    console().print(
        f"All the marks of a day together: usually ±{at_95(now)} with a watch known to "
        f"{rig.tolerances.watch_sd_s:g} s, ±{at_95(then)} with one set to the second (95 %). "
        f"{_drawn_text(rig, now)}"
    )


def _drawn_text(rig: Rig, day_u_deg: float) -> str:
    """What drawing the reference line makes of the day's figure."""
    from orient.tables.reference_line import drawn_sd_deg

    def whole(distance_mm: float) -> str:
        drawn = drawn_sd_deg(rig.tolerances.mark_sd_mm, rig.tolerances.plumb_sd_mm, distance_mm)
        return at_95(hypot(day_u_deg, drawn))

    return (
        "Drawing adds to that: a reference line through a point 300 mm from the foot is then good "
        f"to ±{whole(300.0)}, through one at 600 mm to ±{whole(600.0)}."
    )


def _spells(rows: Iterable[Row]) -> Iterator[tuple[str, Row]]:
    """Days running that carry the same flags: their span in words, and the first of them."""
    for flags, spell in groupby(rows, key=lambda row: row["flags"]):
        days = list(spell)
        first, last = _day(days[0]), _day(days[-1])
        if flags:
            yield (first if first == last else f"{first} to {last}, as on {first}"), days[0]


def _day(row: Row) -> str:
    return f"{date.fromisoformat(row['date']):%d %b}"


def _row_columns(label: str) -> list[Column]:
    from orient.planning.rows import window_text
    from orient.text import minute_text

    def of_best(show: Any) -> Any:
        return lambda row: show(row["best"]) if row["best"] else "–"

    sun = Column("sun", lambda row: number(row["noon_altitude_deg"], 0, "°"))
    return [
        Column(label, _day if label == "date" else lambda row: row["site"], right=False),
        Column("noon", lambda row: minute_text(row["noon_local"])),
        *([sun] if label == "date" else []),  # a site's name needs the room
        Column("morning", lambda row: window_text(row["morning"])),
        Column("afternoon", lambda row: window_text(row["afternoon"])),
        Column(
            "best pair",
            of_best(lambda b: f"{minute_text(b['morning'])} {minute_text(b['afternoon'])}"),
        ),
        Column("ring", of_best(lambda best: number(best["shadow_mm"], 0))),
        Column("±", of_best(lambda best: at_95(best["expected_u_deg"]))),
    ]


def _season_columns() -> list[Column]:
    return [
        Column("site", lambda row: row["site"], right=False),
        Column("days", lambda row: str(row["days"])),
        Column("good", lambda row: str(row["good_days"])),
        Column("usual ±", lambda row: at_95(row["median_u_deg"])),
        Column("least ±", lambda row: at_95(row["least_u_deg"])),
        Column("flagged", _flagged_days, right=False),
    ]


def _flagged_days(row: Row) -> str:
    from orient.planning.hours import DAY_FLAGS

    return ", ".join(f"{flag} {row[flag]}" for flag in DAY_FLAGS if row[flag]) or "–"


def _season_flags(row: Row) -> list[str]:
    from orient.planning.hours import DAY_FLAGS

    flags = [flag for flag in DAY_FLAGS if row[flag]]
    # Where other flags tell why there is no window, they tell better what to do.
    explained = row["off-board"] + row["sun-too-low"]
    return [flag for flag in flags if flag != "no-window" or row["no-window"] > explained]


def _show_budgets(sites: pd.DataFrame, dates: Any, rig: Rig, limits: Limits, style: str) -> None:
    from orient.planning.daybudget import day_budget

    tables = [
        cast("list[Row]", day_budget(sites.loc[[name]], day, rig, limits).to_dict("records"))
        for name in sites.index
        for day in dates
    ]
    if style != "table":
        emit([row for rows in tables for row in rows], style, [])
        return
    console().print(
        "Where the uncertainty comes from, minutes of arc; ± is the whole, degrees; all of "
        "them 95 % figures. Two times are a pair, one time a single mark by the watch; a "
        "shadow in brackets is off the board. The last lines: all the day's marks; with the "
        "watch compared once with a time signal; or with a second board that day of the same "
        "watch, rod and observer, on its own line and on the same line."
    )
    for rows in tables:
        show_table(rows, _budget_columns(), f"{rows[0]['site']}, {rows[0]['date']}")


def _budget_columns() -> list[Column]:
    from orient.numbers.budget import TERMS
    from orient.numbers.tolerances import COVERAGE_95

    def minutes(term: str) -> Any:
        return lambda row: number(COVERAGE_95 * 60.0 * row[f"{term}_u_deg"], 1)

    return [
        Column("marks", _marks_said, right=False),
        Column("mm", _shadow_said),
        *(Column(term, minutes(term)) for term in TERMS),
        Column("±", lambda row: at_95(row["expected_u_deg"])),
    ]


_ALL_THE_DAY = {
    "day": "all the day",
    "compared": "time signal",
    "shared": "two boards",
    "one-line": "on one line",
}


def _marks_said(row: Row) -> str:
    from orient.text import minute_text

    if row["method"] in _ALL_THE_DAY:
        return _ALL_THE_DAY[row["method"]]
    times = [minute_text(row[half]) for half in ("morning", "afternoon") if row[half]]
    return " ".join(times)


def _shadow_said(row: Row) -> str:
    shadow = number(row["shadow_mm"], 0)
    return shadow if row["on_board"] else f"({shadow})"
