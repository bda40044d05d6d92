"""`orient demo`: an invented campaign to look at and try things on, with its report."""

from __future__ import annotations

from pathlib import Path

import click

from orient.commands.common import tell_written


@click.command()
@click.argument(
    "folder", type=click.Path(file_okay=False, path_type=Path), default="demo", metavar="[FOLDER]"
)
@click.option("--force", is_flag=True, help="Write over a demo that is there.")
@click.pass_context
def demo(ctx: click.Context, folder: Path, force: bool) -> None:
    """Write the demo campaign and its report into FOLDER ("demo" when not given).

    FOLDER/aldermoor gets the tables of an invented crew, FOLDER/report the page that they
    give; the summary comes on the terminal. Other files in FOLDER are left alone.
    """
    from orient.commands.reduce import reduce
    from orient.commands.report import report
    from orient.demo.campaign import make_demo
    from orient.demo.story import NAME
    from orient.files import write_whole

    tables, page = folder / NAME, folder / "report"
    if not force:
        _refuse_to_overwrite(tables, page)
    tell_written(write_whole(tables, make_demo().files))
    ctx.invoke(report, campaign=str(tables), output=page, force=force)
    ctx.invoke(reduce, campaign=str(tables))
    click.echo(f"Open {page / 'index.html'} in a browser for the whole of it.", err=True)


def _refuse_to_overwrite(*folders: Path) -> None:
    from orient.errors import Fault, InputError
    from orient.files import is_left_behind

    faults = [
        Fault(str(folder), None, None, "a folder with files in it", "an empty one, or --force")
        for folder in folders
        if folder.is_dir() and any(not is_left_behind(path) for path in folder.iterdir())
    ]
    if faults:
        raise InputError(faults)
