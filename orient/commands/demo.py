"""`orient demo`: an invented campaign to look at and try things on, with its report."""

from __future__ import annotations

from pathlib import Path

import click

from orient.commands.common import printable, tell_written


@click.command()
@click.argument(
    "folder", type=click.Path(file_okay=False, path_type=Path), default="demo", metavar="[FOLDER]"
)
@click.option("--force", is_flag=True, help="Write over a demo that is there.")
@click.pass_context
def demo(ctx: click.Context, folder: Path, force: bool) -> None:
    """Write the demo campaign and its report into FOLDER ("demo" if left out).

    FOLDER/aldermoor gets the tables of an invented crew, FOLDER/report the page that they
    give; the summary comes on the terminal. Other files in FOLDER are left alone.
    """
    from orient.commands.reduce import reduce
    from orient.commands.report import report
    from orient.demo.campaign import make_demo
    from orient.demo.story import NAME
    from orient.outputs import check_empty, write_campaign

    tables, page = folder / NAME, folder / "report"
    check_empty(tables, page, force=force)
    tell_written(write_campaign(tables, make_demo().files, force))
    ctx.invoke(report, campaign=str(tables), output=page, force=force)
    ctx.invoke(reduce, campaign=str(tables))
    said = f"Open {page / 'index.html'} in a browser for the whole of it."
    click.echo(printable(said), err=True)
