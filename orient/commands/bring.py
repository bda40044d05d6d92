"""`orient bring`: the rod, the board and the rings for a span, and the track of a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    console,
    emit,
    format_option,
    number,
    progress,
    show_table,
)
from orient.commands.planning_options import (
    POSITIVE,
    ROD,
    Positive,
    altitude_limits,
    at_95,
    care_options,
    chosen_sites,
    dates_between,
    limit_options,
    span_options,
    target_text,
    the_rig,
    with_options,
)

if TYPE_CHECKING:
    import pandas as pd

    from orient.planning.hours import Limits
    from orient.planning.rig import Rig


@click.command("bring")
@campaign_argument
@with_options(span_options)
@click.option(
    "--max-rod",
    type=Positive(most=5000.0),
    default=600.0,
    show_default=True,
    metavar="MM",
    help="Tallest rod that can be carried.",
)
@click.option(
    "--max-board",
    type=POSITIVE,
    nargs=2,
    default=(920.0, 650.0),
    show_default=True,
    metavar="MM MM",
    help="Largest board that can be carried, width and depth.",
)
@click.option("--rod", type=ROD, metavar="MM", help="The rod you have.")
@click.option("--board", type=POSITIVE, nargs=2, metavar="MM MM", help="The board you have.")
@with_options(limit_options[:2])
@care_options
@click.option(
    "--show",
    type=click.Choice(["rig", "rings", "track"]),
    help="Only the boards and rods compared, the rings, or the tip's track for one site "
    "and day. A table shows the first two if left out; csv and json show the rings.",
)
@format_option
def bring(
    campaign: str,
    first: date,
    last: date | None,
    names: tuple[str, ...],
    target: float,
    max_rod: float,
    max_board: tuple[float, float],
    rod: float | None,
    board: tuple[float, float] | None,
    min_altitude: float,
    max_altitude: float,
    show: str | None,
    style: str,
    **care: float,
) -> None:
    """Which rod, board and rings to bring for a span of days.

    Compares the common drawing boards within the limits, each with the rod that serves it
    best; then names the rings to draw about the foot, and when the shadow should cross
    them by a true watch on the first and the last day.
    """
    limits = altitude_limits(target, min_altitude, max_altitude)
    sites = chosen_sites(campaign, names)
    dates = dates_between(first, last, sites)
    if show == "track" and (len(sites) > 1 or len(dates) > 1):
        raise click.UsageError("--show track is for one day and one site: add --site, no --to.")
    rig = the_rig(rod or max_rod, board or max_board, None, care)
    if show == "rig" or rod is None or board is None:
        choice = _compare(sites, dates, limits, rig, rod, board, (max_rod, max_board))
        if show == "rig" or (style == "table" and show is None):
            _show_rigs(choice, style, limits)
        best = choice.iloc[0]
        rig = replace(
            rig,
            rod_mm=float(best["rod_mm"]),
            board_width_mm=float(best["board_width_mm"]),
            board_depth_mm=float(best["board_depth_mm"]),
        )
    if show == "track":
        _show_track(sites, first, rig, style)
    elif show != "rig":
        _show_rings(sites, dates, rig, limits, style)


def _compare(
    sites: pd.DataFrame,
    dates: Any,
    limits: Limits,
    rig: Rig,
    rod: float | None,
    board: tuple[float, float] | None,
    most: tuple[float, tuple[float, float]],
) -> pd.DataFrame:
    from orient.planning.bring import boards_within, compare_rigs, rods_within

    rods = [rod] if rod else rods_within(most[0])
    boards = [(max(board), min(board))] if board else boards_within((max(most[1]), min(most[1])))
    with progress("Comparing", len(rods) * len(boards)) as advance:
        return compare_rigs(sites, dates, limits, rig, rods, boards, advance)


def _show_rigs(choice: pd.DataFrame, style: str, limits: Limits) -> None:
    rows = cast("list[Row]", choice.to_dict("records"))
    if style == "table":
        console().print(
            f"Each board with the rod that serves it best, the best of all first: share of the "
            f"days with hours that meet {target_text(limits)}, and the usual ± (95 %) of "
            "a day's best pair and of all its marks with a good watch."
        )
    emit(
        rows,
        style,
        [
            Column("rod mm", lambda row: number(row["rod_mm"], 0)),
            Column(
                "board mm", lambda row: f"{row['board_width_mm']:.0f} × {row['board_depth_mm']:.0f}"
            ),
            Column("good days", lambda row: number(100.0 * row["good_share"], 0, " %")),
            Column("best pair ±", lambda row: at_95(row["median_u_deg"])),
            Column("all marks ±", lambda row: at_95(row["median_day_u_deg"])),
        ],
    )


def _show_rings(sites: pd.DataFrame, dates: Any, rig: Rig, limits: Limits, style: str) -> None:
    from orient.planning.bring import rings

    table = rings(sites, dates, rig, limits)
    table.insert(2, "rod_mm", rig.rod_mm)
    rows = cast("list[Row]", table.to_dict("records"))
    if style != "table":
        emit(rows, style, [])
        return
    console().print(
        f"Rings about the foot for a rod of {rig.rod_mm:g} mm on a board of "
        f"{rig.board_width_mm:g} × {rig.board_depth_mm:g} mm, when the shadow should cross "
        "them by a true watch, and how good the poorer of the pairs is."
    )
    show_table(_ring_lines(table), _ring_columns(table["date"].unique()))
    without = [name for name in sites.index if name not in set(table["site"])]
    if without:
        console().print(
            f"No ring suits {', '.join(without)} with this rod and board: `orient plan` tells why."
        )


def _ring_lines(table: pd.DataFrame) -> list[Row]:
    """A line a ring: its crossings on each date side by side, the site named once."""
    lines: list[Row] = []
    named = None
    for (site, ring), days in table.groupby(["site", "ring_mm"], sort=False):
        times = zip(days["morning"], days["afternoon"], strict=True)
        crossed = dict(zip(days["date"], times, strict=True))
        lines.append(
            {
                "site": "" if site == named else site,
                "ring_mm": ring,
                "worst_u_deg": days["expected_u_deg"].max(),
                **crossed,
            }
        )
        named = site
    return lines


def _ring_columns(dates: Iterable[str]) -> list[Column]:
    from orient.text import minute_text

    def crossing(day: str) -> Column:
        def show(row: Row) -> str:
            morning, afternoon = row[day]
            return f"{minute_text(morning)} {minute_text(afternoon)}" if morning else "–"

        return Column(day, show)

    return [
        Column("site", lambda row: row["site"], right=False),
        Column("ring mm", lambda row: number(row["ring_mm"], 0)),
        *(crossing(day) for day in dates),
        Column("± (95 %)", lambda row: at_95(row["worst_u_deg"])),
    ]


def _show_track(sites: pd.DataFrame, day: date, rig: Rig, style: str) -> None:
    from orient.planning.rig import tip_track
    from orient.text import minute_text

    site = sites.iloc[0]
    track = tip_track(
        float(site["latitude_deg"]),
        float(site["longitude_deg"]),
        float(site["elevation_m"]),
        day,
        str(site["timezone"]),
        rig.rod_mm,
        float(site["pressure_hpa"]),
        float(site["temperature_c"]),
    )
    if style == "table":
        console().print(
            f"The tip's track at {sites.index[0]} on {day} for a rod of {rig.rod_mm:g} mm on a "
            "level board: y to true north, x to the east, from the foot."
        )
    emit(
        cast("list[Row]", track.to_dict("records")),
        style,
        [
            Column(
                "time",
                lambda row: minute_text(row["local"]) + (" noon" if row["noon"] else ""),
                right=False,
            ),
            Column("sun azimuth", lambda row: number(row["azimuth_deg"], 1, "°")),
            Column("altitude", lambda row: number(row["altitude_deg"], 1, "°")),
            Column("x mm", lambda row: number(row["x_mm"], 0)),
            Column("y mm", lambda row: number(row["y_mm"], 0)),
            Column("shadow mm", lambda row: number(row["shadow_mm"], 0)),
        ],
    )
