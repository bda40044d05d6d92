"""`orient class`: a class prepared, and afterwards compared."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import (
    Column,
    LocalDate,
    Row,
    campaign_argument,
    emit,
    force_option,
    format_option,
    number,
    printable,
    progress,
    records,
    say,
    tell_written,
)
from orient.commands.planning_options import ROD, check_day, chosen_sites
from orient.commands.sheet import paper_option, planned_sheet, unprinted
from orient.flags import CAUTIONS
from orient.text import folder_name

if TYPE_CHECKING:
    import pandas as pd

    from orient.observation.setups import SetupResult
    from orient.practice.classes import Truth


#: What comparing writes.
_COMPARED = ("class.csv", "class.html")


@click.command("class")
@campaign_argument
@click.argument("roster", type=click.Path(dir_okay=False, path_type=Path), metavar="ROSTER.csv")
@click.option("--site", metavar="SITE", help="To prepare: the site of the class.")
@click.option("--date", "day", type=LocalDate(), help="To prepare: the local date.")
@click.option(
    "--rod",
    type=ROD,
    metavar="MM",
    help="Rod height; the one that suits the paper best if left out.",
)
@paper_option
@click.option(
    "--board",
    metavar="MMxMM",
    help="Width and depth to draw on, such as 650x470; over several pages.",
)
@click.option(
    "--reference", default="mast", show_default=True, metavar="NAME", help="The line of the class."
)
@click.option(
    "--truth",
    "truth_deg",
    type=click.FloatRange(0.0, 360.0),
    metavar="DEG",
    help="To compare: the line's known true azimuth.",
)
@click.option(
    "--instructor", metavar="SETUP", help="To compare: the instructor's own set-up of the line."
)
@click.option("--numbers", is_flag=True, help="Write numbers in place of names.")
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="To prepare: the new campaign's folder. To compare: where class.html and class.csv go.",
)
@force_option
@format_option
def class_(
    campaign: str,
    roster: Path,
    site: str | None,
    day: date | None,
    rod: float | None,
    paper: str,
    board: str | None,
    reference: str,
    truth_deg: float | None,
    instructor: str | None,
    numbers: bool,
    folder: Path | None,
    force: bool,
    style: str,
) -> None:
    """A class on one meadow: set-ups before, a comparison after.

    ROSTER.csv lists the students in its column `student`, one a row.

    With --site, --date and -o it prepares: a new campaign with a set-up for each student, and
    sheets.pdf with everyone's marking sheet, name and set-up filled in.
    Without, it compares: each student's line against the truth (--truth,
    --instructor, or the middle of the class), its error beside what was stated, and the
    likeliest mistake.
    """
    from orient.outputs import check_source
    from orient.practice.roster import read_roster

    students = read_roster(roster)
    if day is not None or site is not None:
        if day is None or site is None or folder is None:
            raise click.UsageError("To prepare a class, --site, --date and -o go together.")
        _prepare(campaign, students, site, day, rod, paper, board, reference, folder)
        return
    if truth_deg is not None and instructor:
        raise click.UsageError("--truth or --instructor, not both.")
    if folder is not None:
        check_source(roster, *(folder / name for name in _COMPARED))
    _compare(campaign, students, truth_deg, instructor, numbers, folder, force, style)


def _prepare(
    campaign: str,
    students: pd.DataFrame,
    site: str,
    day: date,
    rod: float | None,
    paper: str,
    board: str | None,
    reference: str,
    folder: Path,
) -> None:
    from orient.outputs import check_empty, write_campaign
    from orient.practice.campaign import class_files
    from orient.sheet.filled import Filled
    from orient.tables.campaign import read_campaign

    check_day(day, chosen_sites(campaign, (site,)))
    tables = read_campaign(campaign, tables=("sites",), unplaced=True)
    check_empty(folder)
    row: Any = tables.sites.loc[site]
    plan = planned_sheet(row, day, rod, paper, board, folder_name(folder))
    boards = [
        Filled(student, setup, reference)
        for student, setup in students[["student", "setup"]].itertuples(index=False)
    ]
    with progress("Drawing", len(boards)) as advance:
        sheets = plan.pdf_of(boards, advance)
    rod = plan.layout.rod_mm
    files = class_files(tables, site, day.isoformat(), students, rod, reference)
    tell_written(write_campaign(folder, {"sheets.pdf": sheets, **files}))
    lacking = unprinted([site, reference, *(board.crew for board in boards)])
    for sentence in [f"The rod is {rod:g} mm tall.", *plan.layout.warnings(), *lacking, *CAUTIONS]:
        click.echo(printable(sentence), err=True)


def _compare(
    campaign: str,
    students: pd.DataFrame,
    truth_deg: float | None,
    instructor: str | None,
    numbers: bool,
    folder: Path | None,
    force: bool,
    style: str,
) -> None:
    from orient.observation.setups import reduce_campaign
    from orient.outputs import write_output
    from orient.practice.classes import compared
    from orient.report.class_page import class_page
    from orient.tables.campaign import read_campaign
    from orient.tables.cells import csv_text

    tables = read_campaign(campaign, unplaced=True)
    with progress("Reducing", len(tables.setups)) as advance:
        every = reduce_campaign(tables, advance=advance, alone=True)
    results = {result.row["setup"]: result for result in every}
    truth = _truth(students, results, truth_deg, instructor)
    table = compared(students, results, truth, numbers)
    by_hand = bool(table["hand_difference_deg"].notna().any())
    emit(records(table), style, _columns(by_hand), f"Compared with {truth.words}")
    if folder:
        title = f"A class at {', '.join(dict.fromkeys(tables.setups['site']))}"
        page = class_page(title, table, truth)
        written = dict(zip(_COMPARED, (csv_text(table), page), strict=True))
        tell_written(write_output(folder, written, force), style)
    if style == "table":
        say("+ is clockwise of the truth. ± is the 95 % figure that the board itself stated.")
        if by_hand:
            say("By hand: the azimuth found by hand, less what that board alone gives.")


def _truth(
    students: pd.DataFrame,
    results: dict[str, SetupResult],
    truth_deg: float | None,
    instructor: str | None,
) -> Truth:
    from orient.practice.classes import Truth, middle_of

    if truth_deg is not None:
        return Truth(truth_deg, 0.0, "the known azimuth")
    if instructor is not None:
        row = results[instructor].row if instructor in results else {}
        if row.get("reference_azimuth_deg") is None:
            raise click.UsageError(f"--instructor: set-up {instructor!r} gives no line.")
        return Truth(
            row["reference_azimuth_deg"],
            row["reference_azimuth_u_deg"],
            f"the instructor's set-up {instructor}",
        )
    rows = [results[name].row for name in students["setup"] if name in results]
    lines = [row for row in rows if row["reference_azimuth_deg"] is not None]
    middle = middle_of(
        [row["reference_azimuth_deg"] for row in lines],
        [row["reference_azimuth_u_deg"] for row in lines],
    )
    if not lines:
        raise click.UsageError(
            "No student has a line yet: type in the marks (orient mark) and the reference line."
        )
    if middle is None:
        raise click.UsageError(
            f"{len(lines)} lines of the class, and no half of them agree: give the truth by "
            "--truth or --instructor."
        )
    return middle


def _columns(by_hand: bool) -> list[Column]:
    def mistake(row: Row) -> str:
        return row["likeliest_mistake"] or row["verdict"]

    return [
        Column("student", lambda row: str(row["student"]), right=False),
        Column("line", lambda row: number(row["reference_azimuth_deg"], 2, "°")),
        Column("±", lambda row: number(row["reference_azimuth_95_deg"], 2, "°")),
        Column("off by", lambda row: number(row["error_deg"], 2, "°", plus=True)),
        *[Column("by hand", lambda row: number(row["hand_difference_deg"], 2, "°", plus=True))]
        * by_hand,
        Column("what it says", mistake, right=False),
    ]
