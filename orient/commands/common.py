"""What the commands share: arguments, and rows as a table, CSV or JSON."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import click

from orient.commands.terminal import (
    Column,
    Row,
    console,
    say,
    show_table,
    write_machine_text,
)
from orient.text import figure as number
from orient.text import printable

__all__ = [
    "Column",
    "LocalDate",
    "Row",
    "campaign_argument",
    "console",
    "emit",
    "force_option",
    "format_option",
    "number",
    "printable",
    "progress",
    "records",
    "say",
    "show_flags",
    "show_table",
    "tell_written",
    "write_machine_text",
]

campaign_argument = click.argument("campaign", type=click.Path(file_okay=False), metavar="CAMPAIGN")
format_option = click.option(
    "--format",
    "style",
    type=click.Choice(["table", "csv", "json"]),
    default="table",
    show_default=True,
    help="How the rows are written to standard output.",
)


force_option = click.option(
    "--force", is_flag=True, help="Replace files that are there, even if made by something else."
)


class LocalDate(click.ParamType):
    """A local date, YYYY-MM-DD, of the years for which the sun's place is known."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        from orient.numbers.sun import FIRST_DATE, LAST_DATE

        try:
            found = value if isinstance(value, date) else date.fromisoformat(value.strip())
        except ValueError:
            self.fail(f"{value!r} is not a date written YYYY-MM-DD.", param, ctx)
        if not FIRST_DATE <= found <= LAST_DATE:
            self.fail(
                f"the sun's place is known from {FIRST_DATE} to {LAST_DATE}, found {found}.",
                param,
                ctx,
            )
        return found


def records(frame: Any) -> list[Row]:
    """The rows of a data frame."""
    return frame.to_dict("records")


def emit(rows: Sequence[Row], style: str, columns: Sequence[Column], title: str = "") -> None:
    """Write rows to standard output in the wanted style."""
    if style == "table":
        show_table(rows, columns, title)
        return
    from orient.export.rows import csv_rows, json_rows

    write_machine_text(json_rows(rows) if style == "json" else csv_rows(rows))


def tell_written(paths: Iterable[Path], style: str = "table") -> None:
    """Name the files written, a line each; on standard error where rows go out for a machine."""
    for path in paths:
        click.echo(printable(str(path)), err=style != "table")


def show_flags(rows: Iterable[Row], key: str) -> None:
    """Name, on standard output, what each flag of the rows asks a person to do."""
    from orient.flags import FLAGS

    carriers: dict[str, list[str]] = {}
    for row in rows:
        for flag in row["flags"]:
            name = str(row[key])
            if name not in carriers.setdefault(flag, []):
                carriers[flag].append(name)
    for flag, names in carriers.items():
        say(f"{flag} ({some_of(names)}): {FLAGS[flag]}")


def some_of(names: Sequence[str]) -> str:
    """The first of the names, and how many more there are."""
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return ", ".join(names[:6]) + more


@contextmanager
def progress(label: str, total: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error while it is a terminal; call what it gives to advance."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=total, label=label, file=sys.stderr) as bar:
        yield lambda steps: bar.update(steps)
