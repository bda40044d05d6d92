"""What a person sees in a terminal: tables, records and sentences, no number ever cut.

A table that the window is too narrow for is written the second way: a record a row, a line a
value. Sentences break between words. A pipe counts as a window of 80 columns.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from itertools import zip_longest
from typing import Any, NamedTuple

from orient.text import printable

Row = Mapping[str, Any]

PIPE_COLUMNS = 80
#: A terminal that calls itself narrower breaks lines by itself: none of their signs is lost then.
_LEAST_COLUMNS = 20
#: A text that is not to be broken, such as a grid's code, may be if it is longer than this.
_LONGEST_WHOLE = 16
#: Words longer than this may be broken in a table, so that one of them takes no other's room.
_LONGEST_WORD = 12
#: Blank columns between two columns of a table, and fewer where room is short.
_GAPS = (3, 2, 1)


class Column(NamedTuple):
    """A column of a table for people: heading, what it shows of a row, its side.

    A column on the right holds numbers, which are never broken; one that is `whole` holds
    codes, which are broken only where one is very long.
    """

    heading: str
    show: Callable[[Row], str]
    right: bool = True
    whole: bool = False


def window_columns() -> int:
    """How many columns the terminal has; 80 where standard output is none."""
    if not sys.stdout.isatty():
        return PIPE_COLUMNS
    return max(_LEAST_COLUMNS, shutil.get_terminal_size().columns)


def console() -> Any:
    """A rich console on standard output, as wide as the window."""
    from rich.console import Console

    # With a height too, a terminal that calls itself dumb is not taken for one of 80 columns.
    return Console(width=window_columns(), height=25, highlight=False, markup=False)


def say(text: str) -> None:
    """A sentence on standard output, broken between words."""
    console().print(printable(text))


def write_machine_text(text: str) -> None:
    """Text for other programs on standard output: UTF-8, whatever the system's encoding."""
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None or sys.stdout.isatty():
        sys.stdout.write(text)
        return
    sys.stdout.flush()
    buffer.write(text.encode("utf-8"))
    buffer.flush()


def show_table(rows: Sequence[Row], columns: Sequence[Column], title: str = "") -> None:
    """Draw rows as a table, or as records where the window is too narrow for one.

    Args:
        rows: what is shown, in order.
        columns: the first of them names the row; blank, it is the same as above.
        title: a line over it.
    """
    texts = [[printable(column.show(row)) for column in columns] for row in rows]
    for gap in _GAPS:
        # One blank stands at each edge.
        widths = _widths(columns, texts, window_columns() - gap * (len(columns) - 1) - 2)
        if widths is not None:
            _draw_table(texts, columns, widths, gap, printable(title))
            return
    _write_records(texts, [column.heading.strip() for column in columns], printable(title))


def _widths(
    columns: Sequence[Column], texts: Sequence[Sequence[str]], room: int
) -> list[int] | None:
    """How wide each column is to be, None where the room does not do for all of them."""
    by_column = list(zip(*texts, strict=True)) if texts else [()] * len(columns)
    least = [_least(column, cells) for column, cells in zip(columns, by_column, strict=True)]
    wished = [
        max([_width(column.heading), *map(_width, cells)])
        for column, cells in zip(columns, by_column, strict=True)
    ]
    spare = room - sum(least)
    if spare < 0:
        return None
    # Those that want least more are served first: most of them then need not break at all.
    for place in sorted(range(len(columns)), key=lambda place: wished[place] - least[place]):
        more = min(spare, max(0, wished[place] - least[place]))
        least[place] += more
        spare -= more
    return least


def _least(column: Column, cells: Sequence[str]) -> int:
    if column.right:
        needed = max(map(_width, cells), default=0)
    elif column.whole:
        needed = min(_LONGEST_WHOLE, max(map(_width, cells), default=0))
    else:
        words = (word for cell in cells for word in cell.split())
        needed = min(_LONGEST_WORD, max(map(_width, words), default=0))
    return max(needed, _width(column.heading))


def _width(text: str) -> int:
    from rich.cells import cell_len

    return cell_len(text)


def _draw_table(
    texts: Sequence[Sequence[str]],
    columns: Sequence[Column],
    widths: Sequence[int],
    gap: int,
    title: str,
) -> None:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(
        box=box.SIMPLE_HEAD,
        title=title or None,
        title_justify="left",
        pad_edge=False,
        padding=(0, gap // 2, 0, (gap - 1) // 2),
    )
    for column, width in zip(columns, widths, strict=True):
        table.add_column(
            column.heading,
            justify="right" if column.right else "left",
            overflow="fold",
            width=width,
        )
    for cells in texts:
        table.add_row(*map(Text, cells))
    console().print(table)


def _write_records(texts: Sequence[Sequence[str]], headings: Sequence[str], title: str) -> None:
    out = console()
    if title:
        out.print(title)
    label = max((_width(heading) for heading in headings[1:]), default=0)
    name = ""
    for cells in texts:
        name = cells[0] or name
        out.print(f"\n{headings[0]} {name}")
        for heading, text in zip(headings[1:], cells[1:], strict=True):
            if not text.strip():
                continue
            for line in _record_lines(heading, text.strip(), label, out.width):
                out.print(line, soft_wrap=True)
    out.print()


def _record_lines(heading: str, text: str, label: int, width: int) -> list[str]:
    """A heading with its text beside it, or under it where beside it there is no room."""
    from rich.text import Text

    beside = f"  {heading}{' ' * (label - _width(heading))}  "
    if _width(beside) + _width(text) <= width:
        return [(beside + text).rstrip()]
    # A value that fits a line is not broken for its heading's sake.
    if _width(text) + 4 <= width:
        return [f"  {heading}", f"    {text}"]
    room = width - _width(beside)
    words = max(map(_width, text.split()), default=0)
    indent, first = (beside, room) if words <= room else ("    ", width - 4)
    lines = Text(text).wrap(console(), first, overflow="fold")
    folded = [line.plain.rstrip() for line in lines]
    if indent is not beside:
        return [f"  {heading}", *(indent + line for line in folded)]
    blanks = " " * _width(beside)
    pairs = zip_longest([beside], folded, fillvalue=blanks)
    return [start + line for start, line in pairs]
