"""A practice campaign: its files, and the answer key that is kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from orient.practice.boards import PracticeBoard, Sky, Work
from orient.practice.mistakes import MISTAKES, board_with
from orient.tables.campaign import Campaign, campaign_files
from orient.tables.cells import csv_text

#: What the answer key tells of each set-up.
KEY_COLUMNS = (
    "setup", "board_azimuth_deg", "reference_name", "reference_azimuth_deg", "watch_error_s",
    "mistake", "words", "line_end_x_mm", "line_end_y_mm",
)  # fmt: skip
#: A line of a sheet is at least so much of the longest that its paper has room for.
_LONG_LINE = 0.75
README = """\
A practice campaign: nobody stood at these boards.

The marks were computed for the site and the day, with the scatter and the errors that the
tolerances state, and with a mistake where one was asked for. Reduce it as any other:

    orient reduce .

hand_azimuth_deg of setups.csv takes the line's azimuth found by ruler and compasses. The answer key
is not in this folder.
"""
SHEETS_README = """\
A practice campaign on paper: nobody stood at these boards.

sheets.pdf has a sheet for each set-up, its marks drawn and their watch times in the table. Print at
100 %. Measure the marks with a ruler and type them in, or photograph the sheet:

    orient mark . SETUP
    orient photo . PHOTO.jpg --save
    orient reduce .

The answer key is not in this folder.
"""
CLASS_README = """\
A class on one meadow: a set-up for each student. sheets.pdf has the sheets to mark on, each with
its student's name and set-up. Print at 100 %.

After the day type each student's marks into marks.csv (or: orient mark . SETUP), the point on
the reference line into setups.csv, the watch's error and how well it is known, and in
hand_azimuth_deg what the student found by hand, if anything. Then:

    orient class . ROSTER.csv

Never look at the sun, least of all through an instrument: watch the shadow only. Cap the rod's tip.
"""

#: The column that waits for what a student finds by ruler and compasses.
BY_HAND = {"hand_azimuth_deg": ""}


@dataclass(frozen=True)
class Practice:
    """Boards of one site and day, and which mistake each has, None for a sound one."""

    boards: list[PracticeBoard]
    mistakes: list[str | None]

    def files(self, campaign: Campaign, site: str) -> dict[str, str]:
        """The tables of the practice campaign, name to text."""
        texts = campaign_files(sites=campaign.sites.loc[[site]])
        texts["setups.csv"] = csv_text(_rows([board.setup | BY_HAND for board in self.boards]))
        marks = [mark for board in self.boards for mark in board.marks]
        texts["marks.csv"] = csv_text(_rows(marks))
        return {**texts, "README.txt": README}

    def unmeasured_files(self, campaign: Campaign, site: str) -> dict[str, str]:
        """As `files`, before a ruler was laid on the sheets: no mark, no line."""
        blank = {"reference_x_mm": "", "reference_y_mm": ""} | BY_HAND
        return {
            **campaign_files(sites=campaign.sites.loc[[site]]),
            "setups.csv": csv_text(_rows([board.setup | blank for board in self.boards])),
            "marks.csv": csv_text(pd.DataFrame(columns=["setup", "time", "x_mm", "y_mm"])),
            "README.txt": SHEETS_README,
        }

    def pencil(self) -> pd.DataFrame:
        """The marks as they stand on the sheets: `setup mark time x_mm y_mm`."""
        rows = [
            {"setup": board.setup["setup"], "mark": number, "time": mark["time"]}
            | {"x_mm": float(x), "y_mm": float(y)}
            for board in self.boards
            for number, (mark, (x, y)) in enumerate(
                zip(board.marks, board.pencil_mm, strict=True), start=1
            )
        ]
        return pd.DataFrame(rows)

    def key(self) -> pd.DataFrame:
        """The answer key: `KEY_COLUMNS`, a row a set-up; azimuths are true, degrees."""
        rows = [
            {
                "setup": board.setup["setup"],
                "board_azimuth_deg": round(board.truth.board_azimuth_deg % 360.0, 4),
                "reference_name": board.setup["reference_name"],
                "reference_azimuth_deg": round(board.line_azimuth_deg % 360.0, 4),
                "watch_error_s": round(board.truth.watch_fast_s, 1),
                "mistake": mistake or "",
                "words": board.mistake,
                "line_end_x_mm": board.line_mm[0],
                "line_end_y_mm": board.line_mm[1],
            }
            for board, mistake in zip(self.boards, self.mistakes, strict=True)
        ]
        return pd.DataFrame(rows, columns=list(KEY_COLUMNS))


def practice(
    site: pd.Series,
    date: str,
    work: Work,
    names: Sequence[str],
    mistakes: Sequence[str],
    seed: int,
    line_azimuth_deg: float | None = None,
) -> Practice:
    """Boards of one day at one site, all toward one line.

    Args:
        site: a row of the sites table.
        date: local date, ISO text.
        work: what every crew does.
        names: ids of the set-ups, one a student.
        mistakes: names of `MISTAKES`, at most as many as set-ups; each is given to another
            set-up, which the seed chooses.
        seed: the same seed gives the same boards.
        line_azimuth_deg: true azimuth of the line; drawn by the seed if None.

    Raises:
        ValueError: the site and the day give too few marks, or a mistake cannot be made there.
    """
    generator = np.random.default_rng(seed)
    if line_azimuth_deg is None:
        line_azimuth_deg = _line_of(work, generator)
    who = generator.permutation(len(names))[: len(mistakes)].tolist()
    given: list[str | None] = [None] * len(names)
    for number, mistake in zip(who, mistakes, strict=True):
        given[number] = mistake
    sky = Sky(site, date)
    boards = [
        board_with(MISTAKES[each] if each else None, name, sky, work, own, line_azimuth_deg)
        for name, each, own in zip(names, given, generator.spawn(len(names)), strict=True)
    ]
    return Practice(boards, given)


def _line_of(work: Work, generator: np.random.Generator) -> float:
    """An azimuth to look for: any, or on a sheet one whose line there is long."""
    if work.sheet is None:
        return float(generator.uniform(0.0, 360.0))
    azimuths = np.arange(0.0, 360.0)
    lengths = np.array([work.drawn_line_mm(azimuth) for azimuth in azimuths])
    long = azimuths[lengths >= _LONG_LINE * lengths.max()]
    return float(generator.choice(long) + generator.uniform(0.0, 1.0))


def class_files(
    campaign: Campaign,
    site: str,
    date: str,
    students: pd.DataFrame,
    rod_mm: float,
    reference_name: str,
) -> dict[str, str]:
    """A campaign for a class, before its day: a set-up for each student, no mark yet.

    Args:
        campaign: with the sites table.
        site, date: of the class; the date ISO text.
        students: of `roster.read_roster`.
        rod_mm: tip above the board.
        reference_name: the line that all look for.

    Returns:
        File name to text.
    """
    setups = pd.DataFrame(
        {
            "setup": students["setup"],
            "site": site,
            "date": date,
            "gnomon_height_mm": f"{rod_mm:g}",
            "reference_name": reference_name,
            "reference_x_mm": "",
            "reference_y_mm": "",
            "watch_error_s": "",
            "watch_sd_s": "",
            **BY_HAND,
        }
    )
    empty = pd.DataFrame(columns=["setup", "time", "x_mm", "y_mm"])
    return {
        **campaign_files(sites=campaign.sites.loc[[site]]),
        "setups.csv": csv_text(setups),
        "marks.csv": csv_text(empty),
        "README.txt": CLASS_README,
    }


def student_names(count: int, prefix: str = "s") -> list[str]:
    """Ids in order, of one width: s01, s02, …"""
    width = len(str(count))
    return [f"{prefix}{number:0{max(width, 2)}d}" for number in range(1, count + 1)]


def _rows(rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = list(dict.fromkeys(name for row in rows for name in row))
    return pd.DataFrame(rows, columns=columns).fillna("")
