"""`orient take`: the field page's logs into the campaign's tables."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from orient.commands.common import Column, campaign_argument, emit, printable, say
from orient.text import counted, folder_name

if TYPE_CHECKING:
    from orient.tables.campaign import Campaign
    from orient.tables.fieldlog import Difference, Merged


#: What the rows of each table are called.
_ROWS = {
    "setups": ("set-up", "set-ups"),
    "marks": ("mark", "marks"),
    "readings": ("compass reading", "compass readings"),
    "watches": ("comparison of a watch", "comparisons of a watch"),
}


@click.command("take")
@campaign_argument
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--keep-tables",
    is_flag=True,
    help="Where a row differs, leave the table's as it is and add the rest.",
)
def take(campaign: str, files: tuple[Path, ...], keep_tables: bool) -> None:
    """Bring logs of the field page into the campaign's tables.

    New rows are added, equal rows passed over. Where a log has a row otherwise than the
    table, both are shown and nothing is written: put the table right, or say
    --keep-tables. Taking a log twice does no harm.
    """
    from orient.tables import fieldlog
    from orient.tables.editing import Sitting

    folder = Path(campaign)
    logs = fieldlog.read_logs(files)
    merged = fieldlog.Merged()

    def changed(tables: Mapping[str, bytes], _: Campaign) -> Mapping[str, bytes]:
        nonlocal merged
        merged = fieldlog.merge(tables, logs, keep_tables)
        return merged.contents

    brought = tuple(name for name in fieldlog.KEYS if any(log.tables.get(name) for log in logs))
    Sitting(folder, needed=("sites",)).change_all(brought, changed)
    told = [each for each in merged.differences if each.row]
    among = [each for each in merged.differences if not each.row]
    _show_differences(told, "Rows that table and log have otherwise", "table", "log")
    _show_differences(among, "Rows that two logs have otherwise", "first log", "other log")
    wanted = []
    if told and not keep_tables:
        wanted.append(
            "Put the table right, or say --keep-tables to leave its rows as they are and add the "
            "rest."
        )
    if among:
        wanted.append(
            "Of logs that differ, take the right one first, then the other with --keep-tables."
        )
    if wanted:
        click.echo(" ".join(["Nothing was written.", *wanted]), err=True)
        click.get_current_context().exit(1)
    _tell(merged)
    for log in logs:
        if log.campaign and log.campaign != folder_name(folder):
            said = f"{log.file} was made for the campaign {log.campaign}."
            click.echo(printable(said), err=True)


def _show_differences(differences: list[Difference], title: str, one: str, other: str) -> None:
    rows = [
        {"row": _named(each), "column": column, one: told or "–", other: again or "–"}
        for each in differences
        for column, (told, again) in each.columns.items()
    ]
    if rows:
        emit(
            rows,
            "table",
            [
                Column(name, lambda row, name=name: row[name], right=False)  # type: ignore[misc]
                for name in ("row", "column", one, other)
            ],
            title,
        )


def _named(each: Difference) -> str:
    place = f"{each.table}.csv, row {each.row}" if each.row else each.table
    return f"{place}: {' '.join(each.key)}"


def _tell(merged: Merged) -> None:
    for name, (one, many) in _ROWS.items():
        added, alike = merged.added.get(name, 0), merged.alike.get(name, 0)
        if not (added or alike or name in ("setups", "marks")):
            continue
        passed = f", {alike} there already" if alike else ""
        say(f"{name}.csv: {counted(added, one, many)} added{passed}.")
    if merged.unmeasured:
        listed = ", ".join(" ".join(each) for each in merged.unmeasured[:12])
        more = f" and {len(merged.unmeasured) - 12} more" if len(merged.unmeasured) > 12 else ""
        say(
            f"Not taken, as they have no millimetres yet: {listed}{more}. Measure them, enter them "
            "on the page, and take its log again."
        )
