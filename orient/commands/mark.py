"""`orient mark`: the marks of a board typed in one by one, each looked at and saved at once."""

from __future__ import annotations

import math
import re
import sys
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import campaign_argument, number, printable
from orient.commands.terminal import window_columns
from orient.defaults import BOARD_MM
from orient.text import counted

if TYPE_CHECKING:
    from orient.errors import Fault
    from orient.observation.board import Board
    from orient.tables.campaign import Campaign
    from orient.tables.editing import Change

#: More on one line is no mark.
_LONGEST_LINE = 4000
_FORMS = """\
One mark a line: the watch time, then x and y in mm from the foot, or length@angle:
  10:20 -120.5 88      10:20 149.2@306      - -120.5 88  (no time)
ring=A or note=… may follow. undo takes the last back, list shows them, done ends."""


@click.command()
@campaign_argument
@click.argument("setup", metavar="SETUP")
@click.option(
    "--board",
    "board_mm",
    type=click.FloatRange(10.0, 10_000.0),
    nargs=2,
    default=BOARD_MM,
    show_default=True,
    metavar="MM MM",
    help="Width and depth of the board: a longer shadow than its diagonal is asked about.",
)
def mark(campaign: str, setup: str, board_mm: tuple[float, float]) -> None:
    """Type in the marks of the board SETUP, one by one.

    Every mark is held against the sun and the marks before it, and saved in the marks table
    of CAMPAIGN at once: stopping at any moment loses none. Lines may be piped in, too.
    """
    session = _Session(Path(campaign), setup, math.hypot(*board_mm))
    session.greet()
    try:
        for line in _lines(session):
            if not session.take(line):
                break
    except UnicodeError as fault:
        told = f"What comes in was to be {sys.stdin.encoding} text and is not: {fault}."
        click.echo(f"{told} Send it as UTF-8.", err=True)
        raise click.exceptions.Exit(1) from None
    finally:
        session.part()
    if session.refused and not sys.stdin.isatty():
        # Whoever typed it saw it and typed it again; a pipe cannot.
        click.echo(f"{session.refused} of the lines given were not saved.", err=True)
        raise click.exceptions.Exit(1)


def _lines(session: _Session) -> Iterator[str]:
    """What is typed, line by line, until it ends."""
    if not sys.stdin.isatty():
        while line := sys.stdin.readline(_LONGEST_LINE):
            yield line
            while len(line) == _LONGEST_LINE and not line.endswith("\n"):
                line = sys.stdin.readline(_LONGEST_LINE)
        return
    import contextlib

    with contextlib.suppress(ImportError):
        # Lets the line be edited, and typed ones called back.
        import readline  # noqa: F401
    with contextlib.suppress(EOFError):
        while True:
            yield input(f"mark {session.next_serial}> ")


class _Session:
    """One time at the keyboard: the campaign's tables, and what was typed."""

    def __init__(self, folder: Path, setup: str, longest_mm: float) -> None:
        from orient.tables.editing import Sitting, table_path

        self.setup, self.longest_mm = setup, longest_mm
        self.path = table_path(folder, "marks")
        self.sitting = Sitting(folder)
        if setup not in self.sitting.campaign.setups.index:
            raise _unknown(setup, list(self.sitting.campaign.setups.index))
        #: The table before and after each mark that was typed and not taken back.
        self.typed: list[Change] = []
        self.refused = 0

    @property
    def marks(self) -> Any:
        """The set-up's marks as the table has them."""
        return _marks_of(self.sitting.campaign, self.setup)

    @property
    def placed(self) -> bool:
        """Whether the site has coordinates, from which the tip's track is known."""
        campaign = self.sitting.campaign
        site = campaign.setups.loc[self.setup, "site"]
        return bool(campaign.sites["latitude_deg"].notna()[str(site)])

    @property
    def next_serial(self) -> int:
        return _next_serial(self.marks)

    def greet(self) -> None:
        from orient.flags import CAUTIONS

        row = self.sitting.campaign.setups.loc[self.setup]
        _say(
            f"Board {self.setup} at {row['site']}, {row['date']:%Y-%m-%d}, rod "
            f"{row['gnomon_height_mm']:g} mm: {_count(len(self.marks))} so far."
        )
        for caution in CAUTIONS:
            _say(caution)
        if not self.placed:
            _say(f"{row['site']} has no coordinates: its marks are saved without a look at them.")
        _say(_FORMS)

    def take(self, line: str) -> bool:
        """Do what a line asks; whether to go on."""
        words = line.split()
        if not words:
            return True
        word = words[0].lower() if len(words) == 1 else ""
        if word in ("done", "quit", "exit"):
            return False
        if word in ("help", "?"):
            _say(_FORMS)
        elif word == "list":
            self._list()
        elif word == "undo":
            self._undo()
        else:
            self._add(line)
        return True

    def part(self) -> None:
        self._look()
        _say(
            f"{_count(len(self.typed))} typed; {self.path.name} has {_count(len(self.marks))} "
            f"of board {self.setup}."
        )

    def _list(self) -> None:
        self._look()
        for _, row in self.marks.iterrows():
            _say(f"  {_described(row)}")
        if self.marks.empty:
            _say("No mark yet.")

    def _look(self) -> None:
        """Read what others have written meanwhile; tables that cannot be read end no session."""
        from orient.errors import InputError

        try:
            self.sitting.look()
        except InputError as fault:
            why = "; ".join(map(str, fault.faults[:3]))
            _say(f"The tables cannot be read now: {why}. This is as they were.", warning=True)

    def _undo(self) -> None:
        from orient.tables.editing import last_row, without_row

        if not self.typed:
            _say(f"Nothing typed now is left to take back: change {self.path.name} itself.")
            return
        before, after = self.typed[-1]
        gone = last_row(after)

        def taken_back(now: bytes, _: Campaign) -> bytes:
            if now == after:
                return before
            rest = without_row(now, gone)
            if rest is None:
                raise _Changed
            return rest

        described = self._typed_last(gone)
        try:
            saved = self._save(taken_back)
        except _Changed:
            _say(f"{self.path.name} was changed meanwhile: take the mark out there.")
            return
        if saved:
            self.typed.pop()
            _say(f"Taken back: {described}.")

    def _typed_last(self, row: bytes) -> str:
        """The mark that a row of the table holds, in words."""
        from orient.tables.cells import column_names, row_cells

        header = column_names(self.typed[-1].after)
        cells = dict(zip(header, row_cells(row, self.typed[-1].after), strict=False))
        found = self.marks[self.marks["mark"] == cells.get("mark", "")]
        return _described((found if len(found) else self.marks).iloc[-1])

    def _add(self, line: str) -> None:
        typed = _parse(line, self.setup)
        wanted = "a watch time (or -), then x y or length@angle"
        faults = [f"found {line.strip()!r}; wanted {wanted}"] if typed is None else []
        if typed is not None:
            faults = [f"found {fault.found}; wanted {fault.wanted}" for fault in _faults(typed)]
        if typed is None or faults:
            self.refused += 1
            for each in faults:
                _say(f"Not saved: {each}. Please type it again.", warning=True)
            return

        def added(now: bytes, campaign: Campaign) -> bytes:
            # Someone else may have marked the same board meanwhile.
            return _with_mark(now, typed, str(_next_serial(_marks_of(campaign, self.setup))))

        change = self._save(added)
        if change is None:
            self.refused += 1
            return
        self.typed.append(change)
        _say(f"Saved: {_described(self.marks.iloc[-1])}.")
        for doubt in self._doubts():
            _say(f"  Look again: {doubt} If it was typed wrong: undo.", warning=True)

    def _save(self, change: Callable[[bytes, Campaign], bytes]) -> Change | None:
        from orient.errors import InputError

        try:
            return self.sitting.change("marks", change)
        except OSError as fault:
            why = fault.strerror or str(fault)
        except InputError as fault:
            # What would not read again is not written.
            why = "; ".join(map(str, fault.faults[:3]))
        _say(f"NOT SAVED: {why}. Keep it on paper, put that right and type it again.", warning=True)
        return None

    def _doubts(self) -> list[str]:
        from orient.observation.boards import board_of
        from orient.observation.marking import doubts

        if not self.placed:
            return []
        used = self.marks[self.marks["use"].astype(bool)]
        board: Board = board_of(self.sitting.campaign, self.setup)
        return [
            str(each) for each in doubts(board, used["time_s"].to_numpy(float), self.longest_mm)
        ]


# The table -------------------------------------------------------------------------------


class _Changed(Exception):
    """The table has changed so that a mark cannot be taken out of it."""


def _marks_of(campaign: Campaign, setup: str) -> Any:
    return campaign.marks[campaign.marks["setup"] == setup]


def _next_serial(marks: Any) -> int:
    taken = [int(serial) for serial in marks["mark"] if serial.isdecimal()]
    return max([len(marks), *taken]) + 1


def _unknown(setup: str, known: list[str]) -> Exception:
    from orient.errors import Fault, InputError
    from orient.text import closest

    close = closest(setup, known)
    listed = [close] if close else known[:6]
    none = "setups.csv has none yet. Write its row first: setup, site, date, gnomon_height_mm"
    wanted = f"a set-up of the campaign: {', '.join(listed) or none}"
    return InputError(Fault("SETUP", None, None, repr(setup), wanted))


def _with_mark(table: bytes, typed: dict[str, str], serial: str) -> bytes:
    """The marks table with a mark more, in the form of position that the table is kept in."""
    from orient.tables.cells import column_names, with_row
    from orient.tables.columns import MARKS

    kept = column_names(table)
    row = typed | ({"mark": serial} if "mark" in kept else {})
    if "x_mm" in row and "x_mm" not in kept and "length_mm" in kept:
        x, y = float(row.pop("x_mm")), float(row.pop("y_mm"))
        angle = math.degrees(math.atan2(x, y)) % 360.0
        row |= {"length_mm": f"{math.hypot(x, y):.6g}", "angle_deg": f"{angle:.5f}"}
    elif "length_mm" in row and "length_mm" not in kept and "x_mm" in kept:
        length, angle = float(row.pop("length_mm")), math.radians(float(row.pop("angle_deg")))
        row |= {
            "x_mm": f"{length * math.sin(angle):.4f}",
            "y_mm": f"{length * math.cos(angle):.4f}",
        }
    return with_row(table, row, MARKS.numbers)


# What was typed --------------------------------------------------------------------------

_AT = re.compile(r"(?P<length>[^@\s]+)@(?P<angle>[^@\s]+)")


def _parse(line: str, setup: str) -> dict[str, str] | None:
    """A typed line as the cells of a row, not yet looked at; None where it has no such form."""
    body, _, note = line.strip().partition("note=")
    words = body.split()
    ring = [word.partition("=")[2] for word in words if word.startswith("ring=")]
    words = [word for word in words if not word.startswith("ring=")]
    if len(words) < 2 or len(ring) > 1:
        return None
    time = "" if words[0] in ("-", "−", "–") else words[0]
    row = {"setup": setup, "time": time, "ring": "".join(ring), "note": note.strip()}
    if len(words) == 2 and (polar := _AT.fullmatch(words[1])):
        return row | {"length_mm": _point(polar["length"]), "angle_deg": _point(polar["angle"])}
    if len(words) == 3:
        return row | {"x_mm": _point(words[1]), "y_mm": _point(words[2])}
    return None


def _point(text: str) -> str:
    """A number as the table writes it, however the keyboard has its comma and its minus."""
    plain = text.replace("−", "-")
    return plain.replace(",", ".") if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", plain) else plain


def _faults(typed: dict[str, str]) -> list[Fault]:
    """What the marks table would not take of a row."""
    from orient.tables.cells import Cells, Faults
    from orient.tables.columns import MARKS, read_table

    faults = Faults()
    cells = Cells("", 1, {name: [text] for name, text in typed.items()}, [2])
    read_table(cells, MARKS, faults)
    for name in ("x_mm", "y_mm", "length_mm", "angle_deg"):
        if typed.get(name) == "":
            faults.add("", 2, name, "nothing", "a number")
    return faults.listed


# Words -----------------------------------------------------------------------------------


def _say(text: str, warning: bool = False) -> None:
    at_terminal = sys.stdout.isatty()
    for line in map(printable, text.split("\n")):
        shown = _folded(line) if at_terminal else line
        click.echo(click.style(shown, bold=True) if at_terminal and warning else shown)


def _folded(line: str) -> str:
    """A line for the terminal's width, cut between words."""
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.fill(line, window_columns(), subsequent_indent=indent, break_on_hyphens=False)


def _count(marks: int) -> str:
    return counted(marks, "mark")


def _described(row: Any) -> str:
    from orient.text import shown_time

    x, y = float(row["x_mm"]), float(row["y_mm"])
    toward = math.degrees(math.atan2(x, y)) % 360.0
    time = shown_time(row["time_s"]) or "no time"
    ring = f", ring {row['ring']}" if row["ring"] else ""
    return (
        f"mark {row['mark']}, {time}, x {number(x)}, y {number(y)} mm "
        f"({number(math.hypot(x, y))} mm toward {number(toward)}°){ring}"
    )
