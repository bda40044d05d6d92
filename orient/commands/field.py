"""`orient field`: the page for the telephone at the board."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from orient.commands.common import (
    campaign_argument,
    force_option,
    progress,
    tell_written,
)
from orient.commands.planning_options import (
    altitude_limits,
    board_options,
    care_options,
    chosen_sites,
    dates_between,
    limit_options,
    span_options,
    the_rig,
    with_options,
)


@click.command("field")
@campaign_argument
@with_options(span_options, board_options, limit_options[:2])
@care_options
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.html",
    required=True,
    help="The page to write.",
)
@force_option
def field(
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
    output: Path,
    force: bool,
    **care: float,
) -> None:
    """The page for a telephone at the board: it keeps the log and shows north on the spot.

    One file for a telephone's browser that asks nothing of any network. It stores every
    mark at the tap, tells at once what does not fit, and shows the line and its
    uncertainty while the rod still stands. `orient take` brings its log into the tables.
    """
    from orient.fieldpage.page import KIND, TooLarge, check_size, field_page
    from orient.flags import CAUTIONS
    from orient.outputs import check_output, write_output

    limits = altitude_limits(target, min_altitude, max_altitude)
    dates = dates_between(first, last)
    sites = chosen_sites(campaign, names)
    try:
        check_size(len(sites), len(dates))
    except TooLarge as fault:
        raise click.UsageError(f"{fault}.") from None
    if output.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"-o takes a file ending in .html, found {output.name}")
    check_output(output.parent, output.name, KIND, force)
    rig = the_rig(rod, board, reach, care)
    with progress("Planning", len(sites)) as advance:
        name = Path(campaign).resolve().name
        text = field_page(name, sites, dates, rig, limits, advance)
    tell_written(write_output(output.parent, {output.name: text}, force))
    click.echo(CAUTIONS[0], err=True)
