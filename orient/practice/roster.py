"""A class list: who stands at which board."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from orient.tables.cells import Faults
from orient.tables.columns import Column, Table, read_file

ROSTER = Table(
    "roster",
    (
        Column("student", "a name or a number", "text", needed=True),
        Column("setup", "id of the student's set-up", "id", filled="s01, s02, … in order"),
    ),
)


def read_roster(path: Path | str) -> pd.DataFrame:
    """Read and check a class list, CSV or workbook.

    Args:
        path: a table with the columns of `ROSTER`.

    Returns:
        `student`, `setup`, one row a student in the order of the file.

    Raises:
        InputError: with every fault of the table.
    """
    faults = Faults()
    cells, table = read_file(path, ROSTER, faults)
    count = len(table)
    width = max(2, len(str(count)))
    numbered = [f"s{number:0{width}d}" for number in range(1, count + 1)]
    table["setup"] = np.where(table["setup"] == "", numbered, table["setup"])
    for column, wanted in (
        ("student", "another name or number: the list has it already"),
        ("setup", "another id: the list has it already"),
    ):
        again = np.flatnonzero((table[column] != "") & table.duplicated(column))
        faults.add_cells(cells, column, again, wanted)
    if not count:
        faults.add(cells.file, None, None, "no student", "a row for each student")
    faults.stop_if_any()
    return table[["student", "setup"]]
