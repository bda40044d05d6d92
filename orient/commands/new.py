"""`orient new`: the empty tables of a campaign, and a page on what goes in them."""

from __future__ import annotations

import click


@click.command()
@click.argument("folder", type=click.Path(file_okay=False), metavar="FOLDER")
@click.option("--force", is_flag=True, help="Write over the tables that are there.")
def new(folder: str, force: bool) -> None:
    """Start a campaign in FOLDER: empty tables, and README.txt on what goes in them."""
    from orient.tables.campaign import new_campaign

    for path in new_campaign(folder, force):
        click.echo(str(path))
    click.echo(
        "Fill in sites.csv first: `orient sites` and `orient plan` need no more. "
        "README.txt tells what goes in each column.",
        err=True,
    )
