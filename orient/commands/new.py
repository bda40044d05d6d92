"""`orient new`: the empty tables of a campaign, and a page on what goes in them."""

from __future__ import annotations

from pathlib import Path

import click

from orient.commands.common import printable, tell_written


@click.command()
@click.argument("folder", type=click.Path(file_okay=False), metavar="FOLDER")
@click.option(
    "--force", is_flag=True, help="Begin anew where tables are: they go into FOLDER/backups."
)
def new(folder: str, force: bool) -> None:
    """Start a campaign in FOLDER: empty tables, and README.txt on what goes in them."""
    from orient.tables.beginning import new_campaign
    from orient.tables.editing import BACKUPS, table_bytes

    before = table_bytes(Path(folder))
    tell_written(new_campaign(folder, force))
    if before.items() - table_bytes(Path(folder)).items():
        kept = Path(folder) / BACKUPS
        click.echo(printable(f"The tables that were there are in {kept}."), err=True)
    click.echo(
        "Fill in sites.csv first: `orient sites` and `orient plan` need no more. "
        "README.txt tells what goes in each column.",
        err=True,
    )
