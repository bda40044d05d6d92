"""What the commands share: arguments, and rows as a table, CSV or JSON."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Any, NamedTuple

import click

campaign_argument = click.argument("campaign", type=click.Path(file_okay=False), metavar="CAMPAIGN")
format_option = click.option(
    "--format",
    "style",
    type=click.Choice(["table", "csv", "json"]),
    default="table",
    show_default=True,
    help="How the rows are written to standard output.",
)

Row = Mapping[str, Any]


class LocalDate(click.ParamType):
    """A local date, YYYY-MM-DD, of the years for which the sun's place is known."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        from orient.numbers.sun import FIRST_DATE, LAST_DATE

        try:
            found = value if isinstance(value, date) else date.fromisoformat(value.strip())
        except ValueError:
            self.fail(f"{value!r} is no date written YYYY-MM-DD.", param, ctx)
        if not FIRST_DATE <= found <= LAST_DATE:
            self.fail(
                f"the sun's place is known from {FIRST_DATE} to {LAST_DATE}, found {found}.",
                param,
                ctx,
            )
        return found


class Column(NamedTuple):
    """A column of a table for people: heading, what it shows of a row, its side.

    A column that is `whole` is never broken over lines; numbers never are.
    """

    heading: str
    show: Callable[[Row], str]
    right: bool = True
    whole: bool = False


def number(value: Any, places: int = 1, unit: str = "", plus: bool = False) -> str:
    """A number for people, or a dash where there is none; a true minus sign."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:{'+' if plus else ''}.{places}f}{unit}"
    return text.replace("-", "−")


def records(frame: Any) -> list[Row]:
    """The rows of a data frame."""
    return frame.to_dict("records")


def emit(rows: Sequence[Row], style: str, columns: Sequence[Column], title: str = "") -> None:
    """Write rows to standard output in the wanted style."""
    if style == "table":
        show_table(rows, columns, title)
        return
    from orient.export.rows import csv_rows, json_rows

    click.echo(json_rows(rows) if style == "json" else csv_rows(rows), nl=False)


def show_table(rows: Sequence[Row], columns: Sequence[Column], title: str = "") -> None:
    """Draw a table that fits the terminal, 80 columns where there is none."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(
        box=box.SIMPLE_HEAD, title=printable(title) or None, title_justify="left", pad_edge=False
    )
    for column in columns:
        table.add_column(
            column.heading,
            justify="right" if column.right else "left",
            overflow="fold",
            no_wrap=column.right or column.whole,
        )
    for row in rows:
        table.add_row(*(Text(printable(column.show(row))) for column in columns))
    console().print(table)


def console() -> Any:
    """A rich console on standard output: the terminal's width, or 80 columns in a pipe."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 80, highlight=False, markup=False)


def printable(text: str) -> str:
    """Text with control characters made visible, so that no cell can steer a terminal."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


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
        listed = ", ".join(printable(name) for name in names[:6])
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        console().print(f"{flag} ({listed}{more}): {FLAGS[flag]}")


@contextmanager
def progress(label: str, total: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error while it is a terminal; call what it gives to advance."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=total, label=label, file=sys.stderr) as bar:
        yield lambda steps: bar.update(steps)
