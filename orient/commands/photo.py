"""`orient photo`: the marks of a board read from photographs of its sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    emit,
    force_option,
    format_option,
    number,
    printable,
    progress,
    tell_written,
)
from orient.text import counted

if TYPE_CHECKING:
    from orient.photo.reading import Mark, Reading
    from orient.sheet.code import SheetCode
    from orient.tables.campaign import Campaign


@click.command()
@campaign_argument
@click.argument(
    "photos", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PHOTO..."
)
@click.option(
    "--setup",
    metavar="SETUP",
    help="The set-up, where the sheet's site and date leave a choice.",
)
@click.option(
    "--bar",
    type=click.FloatRange(80.0, 120.0),
    metavar="MM",
    help="The printed check bar as measured, 100 on a true print, so that the printer's scale does "
    "not enter.",
)
@click.option(
    "-o", "--output", type=click.Path(dir_okay=False, path_type=Path),
    help="REVIEW.html: the sheet laid flat, marks numbered, to add, drop, renumber, export.",
)  # fmt: skip
@click.option("--save", "saving", is_flag=True, help="Put the marks into the marks table.")
@click.option(
    "--times", type=click.Path(dir_okay=False, path_type=Path),
    help="With --save: a text of the watch times noted, one a line, in the marks' order; not "
    "needed where the marks table has rows with the times only.",
)  # fmt: skip
@force_option
@format_option
def photo(
    campaign: str,
    photos: tuple[Path, ...],
    setup: str | None,
    bar: float | None,
    output: Path | None,
    saving: bool,
    times: Path | None,
    force: bool,
    style: str,
) -> None:
    """Read the marks from photographs of a marking sheet.

    The sheet's printed targets tell the camera, the lens and the paper's bend; crosses, dots
    and ticks in pencil or pen come out in board millimetres. Several photographs of one sheet
    are joined.
    """
    from orient.outputs import check_output, write_output
    from orient.photo.picture import need_library, read_picture
    from orient.photo.reading import joined, read_photograph
    from orient.photo.track import in_order

    need_library()
    if times is not None and not saving:
        raise click.UsageError("--times goes with --save.")
    if output is not None:
        if output.suffix.lower() != ".html":
            raise click.UsageError(f"-o takes a file ending in .html, found {output.name}")
        check_output(output.parent, output.name, "orient photo review", force)
    read = _campaign(campaign)
    readings: list[Reading] = []
    with progress("Reading", len(photos)) as advance:
        for path in photos:
            known = _known_sheet(read, setup)
            readings.append(read_photograph(read_picture(path), known))
            advance(1)
    chosen, site = _whose(read, readings, setup)
    bar_said = _scale_said(readings, bar)
    bar_mm = 100.0 if bar is None else bar
    code, height_mm = readings[0].code, _height_mm(read, chosen, readings)
    marks = in_order(joined(readings, bar_mm), site, code.date, height_mm)
    if saving:
        _save(read, chosen, site, marks, times, readings)
    if output is not None:
        page = _review(read, chosen, site, readings, marks, bar_mm)
        tell_written(write_output(output.parent, {output.name: page}, force), style)
    rows = [_row(chosen, place, mark) for place, mark in enumerate(marks, 1)]
    emit(rows, style, _COLUMNS)
    if style == "table":
        click.echo("Millimetres from the foot, +x right, +y up; ± is the 95 % figure.")
    click.echo(bar_said, err=True)


def _scale_said(readings: list[Reading], bar: float | None) -> str:
    """What is to be said of the printer's scale.

    Raises:
        InputError: the paper's edges tell another scale than 100 %, and no bar was measured.
    """
    import numpy as np

    from orient.photo.edge import SEEN
    from orient.photo.picture import refusal

    seen = [reading.scale for reading in readings if reading.scale is not None]
    edges = float(np.median(seen)) if seen else None
    if bar is None:
        if edges is None:
            return "The printer is taken as true; --bar gives the check bar as measured."
        if abs(edges - 1.0) > SEEN:
            found = f"a sheet printed at {100 * edges:.0f} %, by the paper's edges"
            wanted = "--bar with the check bar as a ruler measures it; next time, a print at 100 %"
            raise refusal(readings[0].picture, found, wanted)
        return (
            "By the paper's edges the print is at 100 %, within 1 %; --bar gives the check bar as "
            "measured."
        )
    if edges is not None and abs(bar / 100.0 - edges) > SEEN:
        return (
            f"The check bar says that the print is at {bar:g} %, the paper's edges say "
            f"{100 * edges:.0f} %: measure the bar again, unless the paper was cut."
        )
    if abs(bar - 100.0) > 1.0:
        return (
            f"The sheet was printed at {bar:g} %: the marks are right now, but its rings are not "
            "of the length that they say. Print at 100 %."
        )
    return f"Scaled by the check bar of {bar:g} mm."


def _review(
    read: Campaign, setup: str | None, site: Any, readings: list[Reading], marks: list[Mark],
    bar: float,
) -> str:  # fmt: skip
    import numpy as np

    from orient.photo.review import review_page
    from orient.photo.track import day_track

    code, fast_s = readings[0].code, 0.0
    if setup is not None:
        row: Any = read.setups.loc[setup]
        fast_s = float(np.nan_to_num(row["watch_error_s"]))
    track = day_track(marks, site, code.date, _height_mm(read, setup, readings), fast_s)
    flats = {flat.page: flat for reading in readings for flat in reading.flats}
    return review_page(setup or "", list(flats.values()), marks, bar, track)


def _height_mm(read: Campaign, setup: str | None, readings: list[Reading]) -> float:
    """The rod as the set-up has it; of no set-up, as the sheet was printed for."""
    if setup is None:
        return readings[0].code.rod_mm
    row: Any = read.setups.loc[setup]
    return float(row["gnomon_height_mm"])


def _campaign(folder: str) -> Campaign:
    from orient.tables.campaign import read_campaign

    names = (
        {path.name.lower() for path in Path(folder).iterdir()} if Path(folder).is_dir() else set()
    )
    has = any(name.startswith("setups.") for name in names)
    tables = ("sites", "setups") if has or not names else ("sites",)
    return read_campaign(folder, tables, unplaced=True)


def _known_sheet(read: Campaign, setup: str | None) -> Any:
    """The sheet of the set-up that was named, for a code that cannot be read."""

    def sheet() -> SheetCode | None:
        if setup is None or setup not in read.setups.index:
            return None
        import numpy as np

        from orient.sheet.document import field_sheet

        row: Any = read.setups.loc[setup]
        place: Any = read.sites.loc[row["site"]]
        if np.isnan(place["latitude_deg"]):
            return None
        drawn = field_sheet(place, row["date"].date(), float(row["gnomon_height_mm"]))
        return drawn.code

    return sheet


def _whose(read: Campaign, readings: list[Reading], setup: str | None) -> tuple[str | None, Any]:
    """The set-up and the site of what was photographed.

    Raises:
        InputError: another campaign's sheet, another sheet than the set-up's, mixed sheets.
    """
    from orient.photo.picture import refusal
    from orient.sheet.code import code_name

    first = readings[0].code
    for reading in readings[1:]:
        if reading.code.of_page(1) != first.of_page(1):
            found = f"the sheet of {reading.code.site}, {reading.code.date}"
            raise refusal(reading.picture, found, f"{first.site}, {first.date}, as the first shows")
    by_code = {code_name(str(name)): str(name) for name in read.sites.index}
    if first.site not in by_code:
        found = f"a sheet of site {first.site}, campaign {first.campaign}"
        raise refusal(readings[0].picture, found, f"a sheet of the campaign {read.name}")
    site = by_code[first.site]
    if read.sites["latitude_deg"].isna()[site]:
        raise refusal("sites table", f"no coordinates of {site}", "those its sheet was drawn for")
    setups = read.setups
    same = setups[(setups["site"] == site) & (setups["date"].astype(str).str[:10] == first.date)]
    named = {code_name(str(name)): str(name) for name in same.index}.get(first.setup)
    if setup is None and named:
        return named, read.sites.loc[site]
    if named and setup != named:
        raise refusal(readings[0].picture, f"the sheet of set-up {named}", f"set-up {setup}'s")
    if setup is None:
        names = [str(name) for name in same.index]
        if len(names) != 1:
            said = "no set-up is of that day: write its row in setups.csv before you save."
            if names:
                said = f"set-ups {', '.join(names)} fit; --setup says which."
            click.echo(printable(f"The sheet is of {site}, {first.date}: {said}"), err=True)
        return (names[0] if len(names) == 1 else None), read.sites.loc[site]
    if setup not in setups.index:
        known = ", ".join(map(str, setups.index[:6])) or "setups.csv has none yet"
        raise refusal("--setup", repr(setup), f"a set-up: {known}")
    if setup not in same.index:
        row = setups.loc[setup]
        wanted = f"set-up {setup}'s: {row['site']}, {row['date']:%Y-%m-%d}"
        raise refusal(readings[0].picture, f"the sheet of {site}, {first.date}", wanted)
    return setup, read.sites.loc[site]


def _save(
    read: Campaign,
    setup: str | None,
    site: Any,
    marks: list[Mark],
    times: Path | None,
    readings: list[Reading],
) -> None:
    from orient.photo import save
    from orient.photo.picture import refusal
    from orient.sheet.code import code_name

    code = readings[0].code
    if setup is None:
        raise refusal("--save", "no set-up of this site and date", "its row in setups.csv")
    if code.campaign != code_name(read.name):
        found = f"a sheet printed from the campaign {code.campaign}"
        raise refusal(readings[0].picture, found, f"one of {read.name}: print it from this folder")
    if not marks:
        raise refusal(readings[0].picture, "no mark", "a sheet with marks on it")
    row: Any = read.setups.loc[setup]
    logged = save.logged_times(read.folder, setup)
    if logged and times is not None:
        raise refusal("--times", "times in marks.csv too", "the times in one of the two")
    noted = save.noted_times(times) if times is not None else []
    if logged:
        noted = save.matched_times(marks, logged, site, row)
    elif times is not None:
        save.check_times(marks, noted, site, row)
    path = save.save(read.folder, setup, marks, noted, bool(logged))
    bare = [str(number) for number, time in enumerate(noted, 1) if not time]
    without = f", mark {' and '.join(bare)} of them without a time" if bare else ""
    if not noted:
        without = ", without times: --times gives them"
    click.echo(printable(f"{counted(len(marks), 'mark')} saved in {path}{without}"), err=True)


def _row(setup: str | None, place: int, mark: Mark) -> Row:
    return {
        "setup": setup,
        "page": mark.page,
        "mark": str(place),
        "x_mm": round(mark.x_mm, 3),
        "y_mm": round(mark.y_mm, 3),
        "u_mm": round(mark.u_mm, 3),
        "confidence": round(mark.confidence, 2),
    }


_COLUMNS = [
    Column("set-up", lambda row: row["setup"] or "–", right=False),
    Column("page", lambda row: str(row["page"])),
    Column("mark", lambda row: row["mark"]),
    Column("x mm", lambda row: number(row["x_mm"], 2)),
    Column("y mm", lambda row: number(row["y_mm"], 2)),
    Column("±", lambda row: number(1.96 * row["u_mm"], 2)),
    Column("sure", lambda row: number(100 * row["confidence"], 0, " %")),
]
