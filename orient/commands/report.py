"""`orient report`: a campaign on one page, with tables and files beside it."""

from __future__ import annotations

import os
from pathlib import Path

import click

from orient.commands.common import campaign_argument, force_option, progress, tell_written
from orient.defaults import MAX_ALTITUDE_DEG


@click.command()
@campaign_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Where to write; reports/<campaign> if left out.",
)
@click.option(
    "--max-altitude",
    type=click.FloatRange(10, 90),
    metavar="DEG",
    default=MAX_ALTITUDE_DEG,
    show_default=True,
    help="A sun above this is too high for good marks.",
)
@force_option
def report(campaign: str, output: Path | None, max_altitude: float, force: bool) -> None:
    """Write the report of CAMPAIGN: a page to read or print, with tables beside it.

    index.html needs no network and no other file. results.csv, results.json, sites.csv,
    and the reference lines as results.geojson and results.gpkg stand beside it, and
    contents.json, which tells a whole report from a broken one. FOLDER is one for reports:
    never the campaign's own, nor one with the report of another campaign.
    """
    from orient.report.page import write_report
    from orient.tables.campaign import read_campaign

    read = read_campaign(campaign, unplaced=True)
    folder = output or Path("reports") / Path(campaign).resolve().name
    with progress("Reducing and drawing", 2 * len(read.setups)) as advance:
        written = write_report(
            read,
            folder,
            max_altitude_deg=max_altitude,
            advance=advance,
            workers=os.cpu_count() or 1,
            force=force,
        )
    tell_written(written)
