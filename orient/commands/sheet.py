"""`orient sheet`: the printable field sheet for a site and day."""

from __future__ import annotations

import os
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from orient.commands.common import (
    LocalDate,
    campaign_argument,
    force_option,
    printable,
    progress,
    some_of,
    tell_written,
)
from orient.commands.planning_options import ROD, Target, check_day
from orient.defaults import ROD_MM, TARGET_U_DEG

if TYPE_CHECKING:
    import pandas as pd

    from orient.sheet.document import Sheet, SheetPlan
    from orient.sheet.paper import Paper


paper_option = click.option(
    "--paper",
    default="A4",
    show_default=True,
    metavar="PAPER",
    help="A4, A3, Letter, or width and height in mm, such as 300x200.",
)


@click.command()
@campaign_argument
@click.option("--site", required=True, metavar="SITE", help="A site id of the campaign.")
@click.option("--date", "day", type=LocalDate(), required=True, help="Local date.")
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.pdf, or FILE.svg (one file a page).",
)
@paper_option
@click.option(
    "--rod", type=ROD, default=ROD_MM, show_default=True, metavar="MM", help="Rod height."
)
@click.option(
    "--board",
    metavar="MMxMM",
    help="Width and depth to draw on, such as 650x470; over several pages.",
)
@click.option(
    "--landscape/--portrait",
    default=None,
    help="How the paper lies; by default the way that shows more of the track.",
)
@click.option(
    "--kind",
    type=click.Choice(["marking", "track"]),
    default="marking",
    show_default=True,
    help="marking: foot, axes, rings and targets, to mark on. track: the predicted track, to "
    "lay over the marks.",
)
@click.option(
    "--target",
    type=Target(),
    default=TARGET_U_DEG,
    show_default="0.25, which is ±0.49",
    metavar="DEG",
    help="What a pair must meet in the good hours, degrees: ±0.5 is a 95 % figure, 0.25 a "
    "standard uncertainty.",
)
@click.option(
    "--layout",
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.json for the geometry of the pages: foot, axes, targets.",
)
@force_option
def sheet(
    campaign: str,
    site: str,
    day: date,
    output: Path,
    paper: str,
    rod: float,
    board: str | None,
    landscape: bool | None,
    kind: str,
    target: float,
    layout: Path | None,
    force: bool,
) -> None:
    """Draw the field sheet of one site and day at true scale, as PDF or SVG.

    The marking sheet has the foot, the rings of the good hours and printed targets, by which
    `orient photo` reads marks from a picture; with it come the steps of setting up and the
    table of marks to fill in. The track sheet shows where the tip of the shadow will run.
    Print at 100 %.
    """
    import json

    from orient.outputs import check_output, write_output
    from orient.planning.hours import Limits
    from orient.sheet.document import field_sheet
    from orient.tables.campaign import read_campaign

    suffix = output.suffix.lower()
    if suffix not in (".pdf", ".svg"):
        raise click.UsageError(f"-o takes a file ending in .pdf or .svg, found {output.name}")
    chosen_paper, board_mm = checked_sizes(paper, board, rod)
    if suffix == ".pdf":
        check_output(output.parent, output.name, "orient", force)
    read = read_campaign(campaign, tables=("sites",), unplaced=True)
    row = _site_row(read.sites, site)
    check_day(day, read.sites.loc[[site]])
    with progress("Drawing", 2) as advance:
        limits = Limits(target_deg=target)
        drawn = field_sheet(
            row, day, rod, chosen_paper, board_mm, landscape, kind, read.name, limits
        )
        advance(1)
        contents: dict[str, str | bytes]
        if suffix == ".pdf":
            contents = {output.name: drawn.pdf()}
        else:
            contents = dict(zip(_page_names(output, len(drawn.pages)), drawn.svgs(), strict=True))
        if layout is not None:
            _check_layout(layout, output, list(contents))
            geometry = json.dumps(drawn.as_layout(), indent=1)
            contents |= {os.path.relpath(layout, output.parent): geometry + "\n"}
        written = write_output(output.parent, contents, force)
        advance(1)
    tell_written(written)
    for sentence in [*_to_glue(drawn), *drawn.layout.warnings(), *unprinted([site])]:
        click.echo(sentence, err=True)


def _to_glue(drawn: Sheet) -> list[str]:
    """How many pages the printer will give, where one board is of more than one."""
    rest = len(drawn.pages) - drawn.board_pages
    if drawn.board_pages < 2:
        return []
    return [f"{drawn.board_pages} pages to glue to one board, and {rest} to read and fill in."]


def checked_sizes(
    paper: str, board: str | None, rod: float
) -> tuple[Paper, tuple[float, float] | None]:
    """The paper and the board as typed, a sheet for which can be drawn."""
    from orient.sheet.document import check_sizes
    from orient.sheet.paper import paper_named, size_mm

    try:
        board_mm = size_mm(board) if board else None
        check_sizes(rod, board_mm)
        return paper_named(paper), board_mm
    except ValueError as fault:
        raise click.UsageError(str(fault)) from None


def planned_sheet(
    site: pd.Series[Any],
    day: date,
    rod: float | None,
    paper: str,
    board: str | None,
    campaign: str,
) -> SheetPlan:
    """A marking sheet for many boards laid out, with the rod that fits it where none is given."""
    from orient.sheet.document import SheetPlan, fitting_rod_mm

    upright, board_mm = checked_sizes(paper, board, rod or ROD_MM)
    rod = rod or fitting_rod_mm(site, day, upright, board_mm)
    return SheetPlan.of(site, day, rod, upright, board_mm, campaign=campaign)


def _site_row(sites: pd.DataFrame, site: str) -> pd.Series[Any]:
    from orient.errors import Fault, InputError
    from orient.text import closest

    if site in sites.index:
        if sites["latitude_deg"].isna()[site]:
            named = repr(printable(site))
            raise InputError(Fault("--site", None, None, named, "a site with coordinates"))
        return cast("pd.Series[Any]", sites.loc[site])
    known = [str(name) for name in sites.index]
    close = closest(site, known)
    listed = ", ".join(printable(name) for name in known[:6]) + (" …" if len(known) > 6 else "")
    wanted = f"{printable(close)}?" if close else f"a site of the campaign: {listed}"
    raise InputError(Fault("--site", None, None, repr(printable(site)), wanted))


def unprinted(names: Iterable[str]) -> list[str]:
    """A word where the paper's font lacks signs of names that are printed on it."""
    from orient.sheet.paper import drawable

    shown = {name: drawable(name) for name in names}
    lacking = [name for name, text in shown.items() if "\N{REPLACEMENT CHARACTER}" in text]
    if not lacking:
        return []
    return [
        f"The font on paper lacks signs of {some_of(lacking)}: {lacking[0]} prints as "
        f"{shown[lacking[0]]}. All else on it is good, the code of a sheet too; write the name by "
        "hand, or give an id in Latin, Greek, Cyrillic, Arabic or Hebrew letters or figures."
    ]


def _check_layout(layout: Path, output: Path, pages: list[str]) -> None:
    """Refuse a layout in a page's place: names that differ by capitals alone are one place."""
    taken = {str(output.with_name(name).resolve()).casefold() for name in pages}
    if str(layout.resolve()).casefold() in taken:
        raise click.UsageError("--layout and -o name the same file.")


def _page_names(output: Path, count: int) -> list[str]:
    """The first page under the name asked for, the others numbered from 2."""
    return [
        output.name if number == 1 else f"{output.stem}-{number}{output.suffix}"
        for number in range(1, count + 1)
    ]
