"""A campaign begun: empty tables, and a page on what goes in them."""

from __future__ import annotations

import textwrap
from pathlib import Path

from orient.errors import Fault, InputError
from orient.files import write_whole
from orient.flags import CAUTIONS
from orient.tables.campaign import empty_table, table_file_names
from orient.tables.columns import OPTIONAL_TABLES, TABLES, column_meanings
from orient.tables.editing import write_anew

README = "README.txt"


def new_campaign(folder: Path | str, force: bool = False) -> list[Path]:
    """Begin a campaign: tables with their column names and no rows, and a page about them.

    Args:
        folder: made where it does not exist.
        force: begin anew where tables are; they are kept in the folder's `backups`.

    Returns:
        The paths written.

    Raises:
        InputError: tables are there and `force` is not given; nothing was changed.
        OSError: the folder cannot be written.
    """
    folder = Path(folder)
    contents = {f"{table}.csv": empty_table(table) for table in TABLES}
    contents[README] = _readme().encode("utf-8")
    if force and folder.is_dir():
        return write_anew(folder, contents)
    _check_new(folder)
    return write_whole(folder, contents)


def _check_new(folder: Path) -> None:
    """Refuse a folder with tables."""
    known = {README.lower(), *table_file_names()}
    found = [path.name for path in folder.iterdir()] if folder.is_dir() else []
    taken = sorted(name for name in found if name.lower() in known)
    if taken:
        wanted = "a folder without it, or --force to begin anew and keep it in backups"
        raise InputError(Fault(name, None, None, "a file of this name", wanted) for name in taken)


def _readme() -> str:
    parts = [
        "The tables of this campaign\n===========================\n",
        _wrapped(
            "One row for each thing, under the names in the first row. Any spreadsheet opens the "
            "tables: save them as CSV with the encoding UTF-8. A column that is not needed may be "
            "left blank or out.\n"
        ),
    ]
    for table in (*TABLES.values(), *OPTIONAL_TABLES.values()):
        title = f"{table.name}.csv"
        if table.name in OPTIONAL_TABLES:
            title += " (where there are any)"
        parts.append(f"{title}\n{'-' * len(title)}")
        for name, unit, needed, meaning in column_meanings(table):
            label = (
                f"{name} ({', '.join(filter(None, (unit, 'needed' if needed == 'yes' else '')))})"
            )
            parts.append(_wrapped(f"{label.removesuffix(' ()')}: {meaning}", "    "))
        parts.append("")
    parts += ["Cautions\n--------", *(_wrapped(f"- {caution}", "  ") for caution in CAUTIONS)]
    return "\n".join(parts) + "\n"


def _wrapped(text: str, hanging: str = "") -> str:
    return textwrap.fill(text, 79, subsequent_indent=hanging) + ("\n" if text[-1] == "\n" else "")
