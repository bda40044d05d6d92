"""`orient night`: when it is dark, which stars give a line, and how good it would be."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    console,
    emit,
    force_option,
    format_option,
    number,
    printable,
    progress,
    show_table,
    tell_written,
)
from orient.commands.planning_options import (
    POSITIVE,
    check_page,
    chosen_sites,
    dates_between,
    span_options,
)
from orient.commands.sheet import unprinted
from orient.text import folder_name

if TYPE_CHECKING:
    import pandas as pd

    from orient.planning.night import Night, NightRig

#: More nights than this nobody reads on one page.
_MOST_DRAWN = 60


@click.command()
@campaign_argument
@span_options[0]
@span_options[1]
@span_options[2]
@click.option(
    "--base", type=POSITIVE, default=2.0, show_default=True, metavar="M",
    help="Between the two plumb lines.",
)  # fmt: skip
@click.option(
    "--sight", "sight_sd_mm", type=POSITIVE, default=1.0, show_default=True, metavar="MM",
    help="How well each line is brought onto the star, one standard uncertainty.",
)  # fmt: skip
@click.option(
    "--plumb", "plumb_sd_deg", type=POSITIVE, default=0.02, show_default=True, metavar="DEG",
    help="How plumb the lines hang.",
)  # fmt: skip
@click.option(
    "--watch", "watch_sd_s", type=POSITIVE, default=10.0, show_default=True, metavar="S",
    help="How well the time is known.",
)  # fmt: skip
@click.option(
    "--page", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.html",
    help="Write the nights as one page.",
)  # fmt: skip
@click.option(
    "--sheet", "sheet_file", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.pdf",
    help="Draw the night sheet of one site and night, with pictures to find the stars by.",
)  # fmt: skip
@force_option
@format_option
def night(
    campaign: str,
    first: date,
    last: date | None,
    names: tuple[str, ...],
    base: float,
    page: Path | None,
    sheet_file: Path | None,
    force: bool,
    style: str,
    **care: float,
) -> None:
    """Which stars give a line by night, and how good it would be, from two plumb lines.

    For each site and night: darkness, moonlight, Polaris hour by hour, single stars at their
    best moments, and pairs of stars in one vertical, which need no watch. Local times;
    uncertainties in tables are 95 % figures, in csv and json standard ones.
    """
    from orient.planning.night import NightRig, night_row, plan_night

    rig = NightRig(base, **care)
    sites = chosen_sites(campaign, names)
    dates = dates_between(first, last, sites)
    if page:
        from orient.nightsheet.page import KIND

        check_page("--page", page, KIND, force)
    if sheet_file:
        _check_sheet(sheet_file, force)
    if (page or sheet_file) and len(sites) * len(dates) > (1 if sheet_file else _MOST_DRAWN):
        wanted = "one site and night" if sheet_file else f"at most {_MOST_DRAWN} nights of sites"
        found = len(sites) * len(dates)
        raise click.UsageError(f"a file holds {wanted}; this asks for {found}: name --site.")
    nights = []
    with progress("Planning", len(sites) * len(dates)) as advance:
        for _, site in sites.iterrows():
            for day in dates:
                nights.append(plan_night(site, day, rig))
                advance(1)
    if page or sheet_file:
        written = _write(campaign, sites, nights, rig, page, sheet_file, force)
        tell_written(written, style)
        for sentence in unprinted(map(str, sites.index)) if sheet_file else []:
            click.echo(sentence, err=True)
        if style == "table":
            return
    rows: list[Row] = [night_row(each) for each in nights]
    if style != "table":
        emit(rows, style, [])
    elif len(nights) == 1:
        _show_one(nights[0], rig)
    else:
        _show_many(nights, rig)


def _write(
    campaign: str,
    sites: pd.DataFrame,
    nights: list[Night],
    rig: NightRig,
    page: Path | None,
    sheet_file: Path | None,
    force: bool,
) -> list[Path]:
    from orient.nightsheet.page import night_page
    from orient.nightsheet.sheet import night_sheet
    from orient.outputs import write_output

    written = []
    if sheet_file:
        drawn = night_sheet(sites.iloc[0], nights[0], rig)
        written += write_output(sheet_file.parent, {sheet_file.name: drawn.pdf()}, force)
    if page:
        text = night_page(folder_name(campaign), sites, nights, rig)
        written += write_output(page.parent, {page.name: text}, force)
    return written


def _check_sheet(path: Path, force: bool) -> None:
    from orient.outputs import check_output

    if path.suffix.lower() != ".pdf":
        raise click.UsageError(f"--sheet takes a file ending in .pdf, found {path.name}")
    check_output(path.parent, path.name, "orient", force)


def _show_one(night: Night, rig: NightRig) -> None:
    from orient.nightsheet import words

    out = console()
    out.print(printable(f"{night.site}, night of {night.date}"))
    for sentence in (words.darkness(night), words.moonlight(night), words.nothing(night)):
        if sentence:
            out.print(printable(sentence))
    if len(night.polaris):
        out.print(printable(words.events(night)))
        _show("Polaris", words.POLARIS_COLUMNS, words.polaris_rows(night))
    if len(night.stars):
        _show("Stars, each at its best moment", words.STAR_COLUMNS, words.star_rows(night))
    if len(night.pairs):
        _show("Two stars in one vertical: no watch", words.PAIR_COLUMNS, words.pair_rows(night))
    if len(night.stars):
        out.print(words.rigging(rig))
    _cautions()


def _show(title: str, names: tuple[str, ...], rows: list[list[str]]) -> None:
    def column(place: int, name: str) -> Column:
        left = name in ("star", "above", "below")
        return Column(name.replace(", 95 %", ""), lambda row: row["cells"][place], right=not left)

    show_table(
        [{"cells": row} for row in rows], [column(*each) for each in enumerate(names)], title
    )


def _show_many(nights: list[Night], rig: NightRig) -> None:
    from orient.nightsheet import words
    from orient.numbers.tolerances import COVERAGE_95

    def dark(row: Row) -> str:
        ends = row["night"].dark
        if ends is None:
            return "–"
        return "–".join(words.hour(each, row["night"]) for each in ends)

    def best(row: Row) -> str:
        stars = row["night"].stars
        return stars["star"].iloc[0].name if len(stars) else "–"

    def spread(row: Row) -> str:
        stars = row["night"].stars
        return number(COVERAGE_95 * stars["expected_u_deg"].iloc[0] if len(stars) else None, 2, "°")

    columns = [
        Column("site", lambda row: row["night"].site, right=False),
        Column("night", lambda row: row["night"].date, right=False, whole=True),
        Column("dark", dark),
        Column("moon", lambda row: f"{100 * row['night'].moon_lit:.0f} %"),
        Column("best star", best, right=False),
        Column("±", spread),
    ]
    show_table([{"night": each} for each in nights], columns, "Nights")
    console().print("dark: the sun 6° down and more. " + words.rigging(rig))
    _cautions()


def _cautions() -> None:
    from orient.flags import NIGHT_CAUTIONS

    console().print(" ".join(NIGHT_CAUTIONS))
