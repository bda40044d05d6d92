"""`orient simulate`: boards as a crew would have marked them, for a day without sun."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import LocalDate, campaign_argument, progress, say, tell_written
from orient.commands.planning_options import POSITIVE, ROD, care_options, check_day, chosen_sites
from orient.commands.sheet import paper_option, planned_sheet
from orient.defaults import ROD_MM
from orient.text import counted, did_you_mean, folder_name

if TYPE_CHECKING:
    from orient.practice.campaign import Practice
    from orient.sheet.document import SheetPlan

_MOST_STUDENTS = 500
# A key carries no stamp: it replaces no file that is there.
_KEY = "orient key"


def _listed(context: click.Context, _: click.Parameter, names: tuple[str, ...]) -> tuple[str, ...]:
    """The mistakes asked for; `list` names all that there are, whatever else is given."""
    if "list" in names:
        from orient.practice.mistakes import MISTAKES

        for name, each in MISTAKES.items():
            say(f"{name}: {each.words}")
        context.exit()
    return names


@click.command("simulate")
@campaign_argument
@click.option("--site", required=True, metavar="SITE", help="The site of the boards.")
@click.option("--date", "day", type=LocalDate(), required=True, help="Local date.")
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    metavar="N",
    help="The same number gives the same boards.",
)
@click.option(
    "--students",
    type=click.IntRange(1, _MOST_STUDENTS),
    default=1,
    show_default=True,
    metavar="N",
    help="How many boards, all toward one line.",
)
@click.option(
    "--mistake",
    "mistakes",
    multiple=True,
    is_eager=True,
    callback=_listed,
    metavar="NAME",
    help="Give one board this mistake; repeat. `list` names them all.",
)
@click.option(
    "--rod",
    type=ROD,
    show_default=f"{ROD_MM:.0f}; with --sheets the one that fits the paper",
    metavar="MM",
    help="Rod height.",
)
@click.option(
    "--every",
    type=POSITIVE,
    default=20.0,
    show_default=True,
    metavar="MIN",
    help="Minutes between marks.",
)
@click.option(
    "--reach",
    type=POSITIVE,
    default=600.0,
    show_default=True,
    metavar="MM",
    help="Longest shadow that the board holds.",
)
@click.option(
    "--min-altitude",
    type=click.FloatRange(1.0, 60.0),
    default=12.0,
    show_default=True,
    metavar="DEG",
    help="Lowest sun to mark by.",
)
@click.option(
    "--watch",
    type=click.Choice(["trusted", "running", "none"]),
    default="trusted",
    show_default=True,
    help="What watch the crew has.",
)
@click.option(
    "--line",
    "line_deg",
    type=click.FloatRange(0.0, 360.0),
    metavar="DEG",
    help="True azimuth of the reference line; drawn by the seed if left out.",
)
@click.option(
    "--sheets",
    is_flag=True,
    help="Draw the marks on sheets, to be measured by ruler or photographed; the tables stay "
    "empty.",
)
@paper_option
@care_options
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    metavar="FOLDER",
    help="New folder of the practice campaign.",
)
@click.option(
    "--key",
    "key_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="The answer key; beside the folder, FOLDER-key.csv, if left out.",
)
def simulate(
    campaign: str,
    site: str,
    day: date,
    seed: int,
    students: int,
    mistakes: tuple[str, ...],
    rod: float | None,
    every: float,
    reach: float,
    min_altitude: float,
    watch: str,
    line_deg: float | None,
    sheets: bool,
    paper: str,
    folder: Path,
    key_file: Path | None,
    **care: float,
) -> None:
    """Boards as a crew would have marked them, for a day without sun.

    Computes the marks of one site and day of the campaign, with the scatter and the errors that
    the tolerances state, and with the mistakes asked for. Writes a campaign of its own, to be
    reduced as any other, and the answer key beside it. With --sheets the marks stand on paper only:
    sheets.pdf to measure or photograph. Nobody stood at these boards.
    """
    from orient.numbers.tolerances import Tolerances
    from orient.outputs import check_empty, check_output, write_campaign
    from orient.practice.boards import OnSheet, Work
    from orient.practice.campaign import practice, student_names
    from orient.tables.campaign import read_campaign
    from orient.tables.cells import csv_text

    _check_mistakes(mistakes, students)
    check_day(day, chosen_sites(campaign, (site,)))
    tables = read_campaign(campaign, tables=("sites",), unplaced=True)
    row: Any = tables.sites.loc[site]
    plan = planned_sheet(row, day, rod, paper, None, folder_name(folder)) if sheets else None
    work = Work(rod or ROD_MM, every, min_altitude, reach, watch, Tolerances(**care))
    if plan is not None:
        place = OnSheet(plan.layout.board_mm, plan.layout.foot_mm)
        work = replace(work, rod_mm=plan.layout.rod_mm, sheet=place)
    key_file = key_file or folder.parent / f"{folder.name}-key.csv"
    marks_file = key_file.with_name(f"{key_file.stem}-marks.csv")
    if key_file.resolve().is_relative_to(folder.resolve()):
        raise click.UsageError("--key: the folder of the boards is the students', not the key's.")
    check_empty(folder)
    for path in [key_file, *([marks_file] if plan else [])]:
        check_output(path.parent, path.name, _KEY)
    try:
        made = practice(
            row, day.isoformat(), work, student_names(students), mistakes, seed, line_deg
        )
    except ValueError as fault:
        raise click.UsageError(f"{fault}. Nothing was written.") from None
    key = {key_file.name: csv_text(made.key())}
    files: dict[str, str | bytes] = {**made.files(tables, site)}
    if plan is not None:
        key[marks_file.name] = csv_text(made.pencil())
        files = {"sheets.pdf": _drawn(plan, made), **made.unmeasured_files(tables, site)}
    beside = {os.path.abspath(key_file.with_name(name)): text for name, text in key.items()}
    written = write_campaign(folder, files | beside)
    tell_written([*written[: len(files)], *map(key_file.with_name, key)])
    click.echo(_told(made), err=True)


def _drawn(plan: SheetPlan, made: Practice) -> bytes:
    from orient.sheet.filled import Filled

    filled = [
        Filled(
            setup=board.setup["setup"],
            reference_name=board.setup["reference_name"],
            marks_mm=tuple((float(x), float(y)) for x, y in board.pencil_mm),
            times=tuple(mark["time"] for mark in board.marks),
            line_mm=board.line_mm,
        )
        for board in made.boards
    ]
    with progress("Drawing", len(filled)) as advance:
        return plan.pdf_of(filled, advance)


def _check_mistakes(mistakes: tuple[str, ...], students: int) -> None:
    from orient.practice.mistakes import MISTAKES

    unknown = [name for name in mistakes if name not in MISTAKES]
    if unknown:
        hint = did_you_mean(unknown[0], MISTAKES)
        listed = "\n".join(f"  {name}: {each.words}" for name, each in MISTAKES.items())
        raise click.UsageError(f"No mistake {unknown[0]!r}.{hint} There are:\n{listed}")
    if len(mistakes) > students:
        raise click.UsageError(
            f"{counted(len(mistakes), 'mistake')} for {counted(students, 'board')}: one board has "
            "one mistake. Add --students."
        )


def _told(made: Practice) -> str:
    marks = sum(len(board.marks) for board in made.boards)
    wrong = sum(1 for each in made.mistakes if each)
    return (
        f"{counted(len(made.boards), 'board')}, {counted(marks, 'mark')}, "
        f"{counted(wrong, 'mistake')}. The answer key is not for the students."
    )
