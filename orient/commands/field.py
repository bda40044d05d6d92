"""`orient field`: the page for the telephone at the board."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from orient.commands.common import (
    campaign_argument,
    force_option,
    progress,
    say,
    tell_written,
)
from orient.commands.planning_options import (
    altitude_limits,
    board_options,
    care_options,
    check_amount,
    check_page,
    chosen_sites,
    dates_between,
    limit_options,
    span_options,
    the_rig,
    with_options,
)
from orient.text import folder_name


@click.command("field")
@campaign_argument
@with_options(span_options, board_options, limit_options[:2])
@care_options
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.html",
    help="The page to write.",
)
@click.option(
    "--serve",
    is_flag=True,
    help="Give the page to telephones over the camp's own network, until Ctrl-C.",
)
@click.option(
    "--address",
    metavar="ADDRESS",
    help="This machine's address to serve at; else the one in its private network.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    metavar="PORT",
    default=8315,
    show_default=True,
    help="The port to serve at: the same each day, as telephones keep their log by it.",
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
    output: Path | None,
    serve: bool,
    address: str | None,
    port: int,
    force: bool,
    **care: float,
) -> None:
    """The page for a telephone at the board: it keeps the log and shows north on the spot.

    One file for a telephone's browser that asks nothing of any network. It stores every
    mark at the tap, tells at once what does not fit, and shows the line and its
    uncertainty while the rod still stands. `orient take` brings its log into the tables.

    --serve shows the page to telephones that open no local page: it gives that page and
    nothing else, and ends with the command.
    """
    from orient.fieldpage.page import KIND, field_page
    from orient.fieldpage.table import MOST_SITE_DAYS
    from orient.flags import CAUTIONS
    from orient.outputs import write_output

    limits = altitude_limits(target, min_altitude, max_altitude)
    sites = chosen_sites(campaign, names)
    dates = dates_between(first, last, sites)
    check_amount(len(sites), len(dates), MOST_SITE_DAYS)
    if output is None and not serve:
        raise click.UsageError("-o FILE.html, or --serve, is needed: where is the page to go?")
    if output is not None:
        check_page("-o", output, KIND, force)
    rig = the_rig(rod, board, reach, care)
    with progress("Planning", len(sites)) as advance:
        name = folder_name(campaign)
        text = field_page(name, sites, dates, rig, limits, advance)
    if output is not None:
        tell_written(write_output(output.parent, {output.name: text}, force))
    click.echo(CAUTIONS[0], err=True)
    if serve:
        _serve(text, address, port)


def _serve(page: str, address: str | None, port: int) -> None:
    """Give the page to who asks, until the command is ended."""
    from orient.fieldpage.serve import (
        FILE_PATH,
        NoNetwork,
        code_in_terminal,
        own_address,
        page_server,
    )

    def told(telephone: str) -> None:
        click.echo(f"Given to {telephone}.", err=True)

    try:
        server = page_server(page, address or own_address(), port, told)
    except NoNetwork as fault:
        raise click.ClickException(
            f"The page cannot be served: {fault}. Join the camp's network, or say --address."
        ) from None
    except OSError as fault:
        raise click.ClickException(
            f"The page cannot be served at {address or 'this machine'}, port {port}: "
            f"{(fault.strerror or str(fault)).lower()}. Say another --port or --address."
        ) from None
    url = "http://{}:{}/".format(*map(str, server.server_address[:2]))
    click.echo(code_in_terminal(url))
    click.echo(url)
    say(
        f"Open it on the telephone, or keep it there as a file from {url[:-1]}{FILE_PATH}. A page "
        "from the network has no level and asks no position, and is reloaded only while this "
        "runs. Ctrl-C ends it."
    )
    with server:
        try:
            server.serve_forever(poll_interval=0.2)
        except KeyboardInterrupt:
            click.echo("Off.", err=True)
