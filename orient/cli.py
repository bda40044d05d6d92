"""The command line: which commands there are, and how a run ends."""

from __future__ import annotations

import codecs
import contextlib
import io
import math
import os
import re
import signal
import sys
import unicodedata
import warnings
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from importlib import import_module
from typing import Any, NoReturn

import click

from orient import __version__
from orient.text import as_typed, did_you_mean, in_plain_signs

#: Name, module that defines it (imported only when it is called), one line of help.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("orient.commands.demo", "Write the demo campaign and its report."),
    "new": ("orient.commands.new", "Start a campaign: empty tables and what goes in them."),
    "sites": ("orient.commands.sites", "Each site: declination, convergence, local noon."),
    "declination": ("orient.commands.declination", "Magnetic declination at one place."),
    "skyline": ("orient.commands.skyline", "How high the ground stands round each site."),
    "plan": ("orient.commands.plan", "Which hours suit observing at each site."),
    "night": ("orient.commands.night", "Which stars give a line by night, and how good."),
    "bring": ("orient.commands.bring", "Which rod, board and rings to bring."),
    "crew": ("orient.commands.crew", "Which sites on which days, for one crew or several."),
    "sheet": ("orient.commands.sheet", "The printable field sheet for a site and day."),
    "field": ("orient.commands.field", "The page for a telephone at the board."),
    "take": ("orient.commands.take", "Bring telephone logs into the tables."),
    "photo": ("orient.commands.photo", "Marks from photographs of a marking sheet."),
    "mark": ("orient.commands.mark", "Type in the marks of a board, one by one."),
    "reduce": ("orient.commands.reduce", "Marks to true north."),
    "compass": ("orient.commands.compass", "What the compass readings say of rock and needle."),
    "sights": ("orient.commands.sights", "Directions read against the sky to true azimuths."),
    "class": ("orient.commands.classes", "A class prepared, and afterwards compared."),
    "simulate": ("orient.commands.simulate", "Boards to practise on, for a day without sun."),
    "correct": ("orient.commands.correct", "A notebook of compass bearings to true or grid."),
    "region": ("orient.commands.region", "The declination over an area, as a map."),
    "card": ("orient.commands.card", "Cards for the compass: what to add, and until when."),
    "report": ("orient.commands.report", "All of it on one page, with tables beside it."),
}


#: Options that take a width and a depth, as two numbers or as 650x470.
SIZE_OPTIONS = ("--board", "--max-board")
_SIZE = re.compile(r"(\d+(?:\.\d+)?)\s*[x×X* ]\s*(\d+(?:\.\d+)?)")


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return _command(name)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            ctx.fail(f"No such command {args[0]!r}.{did_you_mean(args[0], COMMANDS)}")
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        return super().parse_args(ctx, list(_sizes(args)))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, help_line) for name, (_, help_line) in COMMANDS.items()])


def _sizes(args: Sequence[str]) -> Iterator[str]:
    """A board's size as its command takes it, written 650 470 or 650x470 or with a × sign."""
    left = list(args)
    together = left[:1] == ["sheet"]
    while left:
        option, equals, value = left.pop(0).partition("=")
        yield option + equals + value if option not in SIZE_OPTIONS else option
        if option not in SIZE_OPTIONS:
            continue
        parts = [value] if equals else left[:2]
        size = _SIZE.fullmatch(" ".join(parts)) or _SIZE.fullmatch(parts[0] if parts else "")
        if size is None:
            yield from [value] if equals else []
            continue
        if not equals:
            del left[: 2 if _SIZE.fullmatch(" ".join(parts)) and len(parts) > 1 else 1]
        yield from ["x".join(size.groups())] if together else size.groups()


@cache
def _command(name: str) -> click.Command:
    """A command that takes no `nan` for a number, and texts as the tables hold them."""
    # `class` is a word of the language: its command bears an underscore more.
    called = name + "_" * (name == "class")
    command: click.Command = getattr(import_module(COMMANDS[name][0]), called)
    for param in command.params:
        if isinstance(param.type, click.types.FloatParamType):
            # No limit would hold it.
            param.callback = _finite(param.callback)
        elif isinstance(param.type, click.types.StringParamType):
            param.type = _Typed()
        elif isinstance(param.type, click.Path):
            param.type = _Named.like(param.type)
    return command


class _Typed(click.types.StringParamType):
    """A text as the tables hold it: some keyboards and shells send é as two characters."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        return " ".join(unicodedata.normalize("NFC", as_typed(str(value))).split())


class _Named(click.Path):
    """A path with a name: an empty one would stand for the folder that one is in.

    A lone dash stands for the standard streams elsewhere, and would be a folder's name here.
    """

    @classmethod
    def like(cls, other: click.Path) -> _Named:
        """With all that another path's type asks for."""
        named = cls()
        named.__dict__.update(other.__dict__)
        return named

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value == "":
            self.fail(
                "an empty word names nothing: a variable that is not set, perhaps", param, ctx
            )
        if str(value) == "-":
            self.fail("files and folders only; ./- is one of that name", param, ctx)
        return super().convert(value, param, ctx)


def _finite(then: Callable[..., Any] | None) -> Callable[..., Any]:
    def check(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
        for each in value if isinstance(value, tuple) else (value,):
            if isinstance(each, float) and not math.isfinite(each):
                raise click.BadParameter(f"{each} is no number.", ctx, param)
        return value if then is None else then(ctx, param, value)

    return check


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Never look at the sun, least of all through an instrument. Cap the rod's tip.",
)
@click.version_option(__version__, prog_name="orient")
def orient() -> None:
    """True north from the shadow of a plumbed rod: plan, reduce, report."""


def main() -> NoReturn:
    """Run the command line of this process and end it."""
    codecs.register_error("plain-signs", in_plain_signs)
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        stream = getattr(sys, name)
        if stream is None:
            # Closed by whoever started this process.
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115
        elif isinstance(stream, io.TextIOWrapper):
            # A name or a sign that the terminal's encoding has not is no reason to stop.
            stream.reconfigure(errors="replace" if mode == "r" else "plain-signs")
            if mode == "r" and codecs.lookup(stream.encoding).name == "ascii":
                # A locale without a language: what is typed or piped is UTF-8 all the same.
                stream.reconfigure(encoding="utf-8", errors="replace")
    _end_in_good_order()
    if not sys.warnoptions and not os.environ.get("ORIENT_DEBUG"):
        # For the processes that share the work: they begin with filters of their own.
        os.environ["PYTHONWARNINGS"] = "ignore"
    sys.exit(run())


def _end_in_good_order() -> None:
    """Have a request to end, or a terminal that closes, end a run as Ctrl-C does.

    What is being written is then put back, and what a person typed is told of.
    """

    def interrupt(*_: Any) -> NoReturn:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) == signal.SIG_DFL:
            signal.signal(getattr(signal, name), interrupt)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; every way it can end has its message and its exit status.

    Args:
        arguments: those after `orient`; the process's own if None.

    Returns:
        The exit status: 0 done, 1 the input is at fault, 2 the command line is.
    """
    debugging = bool(os.environ.get("ORIENT_DEBUG"))
    _written().clear()
    with warnings.catch_warnings():
        if not sys.warnoptions and not debugging:
            # A library's remarks to programmers are no help to the person at the board.
            warnings.simplefilter("ignore")
        try:
            status = orient(
                None if arguments is None else list(arguments), "orient", standalone_mode=False
            )
            sys.stdout.flush()
            # A command that leaves early has its status handed through here.
            return status if isinstance(status, int) else 0
        except click.ClickException as fault:
            click.echo(_usage(fault), err=True)
            return 2
        except (click.Abort, KeyboardInterrupt):
            with contextlib.suppress(OSError):
                # The terminal may be gone.
                said = f"Stopped; nothing more was written.{_written_before()}"
                click.echo(_on_terminal(said), err=True)
            _give_up_output()
            return 1
        except (BrokenPipeError, SystemExit):
            # The reader went away (the table drawer leaves by SystemExit then).
            _give_up_output()
            return 0
        except Exception as fault:
            if debugging:
                raise
            click.echo(_message(fault), err=True)
            _give_up_output()
            return 1


def _give_up_output() -> None:
    """Let what standard output could not take go, so that ending does not try it once more."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _usage(fault: click.ClickException) -> str:
    shown = io.StringIO()
    fault.show(shown)
    return _on_terminal(shown.getvalue().rstrip("\n"))


def _message(fault: Exception) -> str:
    return _on_terminal(_said(fault))


def _on_terminal(text: str) -> str:
    """A text whose lines hold nothing that could steer a terminal."""
    from orient.text import printable

    return "\n".join(printable(line) for line in text.split("\n"))


def _said(fault: Exception) -> str:
    from orient.errors import InputError

    if isinstance(fault, InputError):
        count = len(fault.faults)
        head = "One fault in the input:" if count == 1 else f"{count} faults in the input:"
        return "\n".join([head, *(f"  {each}" for each in fault.faults), _written_or_not()])
    if isinstance(fault, OSError):
        why = fault.strerror or str(fault)
        if not fault.filename:
            return f"The output could not be written: {why}.{_written_before()}"
        said = f"{fault.filename}: {why}. It was left as it was, and so was what belongs to it."
        return f"{said}{_written_before()}"
    if isinstance(fault, MemoryError):
        said = "The machine has not enough memory for this. Try fewer sites or days at a time."
        return f"{said}{_written_before()}"
    if isinstance(fault, ValueError) and type(fault).__module__.startswith("orient."):
        return f"{fault}. {_written_or_not()}"
    return (
        f"orient itself failed ({type(fault).__name__}: {fault}). {_written_or_not()} "
        "Run again with ORIENT_DEBUG=1 for the details to report."
    )


def _written() -> list[Any]:
    """The paths that this run has written so far."""
    files = sys.modules.get("orient.files")
    return files.WRITTEN if files else []


def _written_or_not() -> str:
    return _written_before().strip() or "Nothing was written."


def _written_before() -> str:
    """What this run had written before it failed: only this tells a person that it did."""
    there = [str(path) for path in dict.fromkeys(_written()) if os.path.exists(path)]
    more = f" and {len(there) - 6} more" if len(there) > 6 else ""
    return f" Written before that: {', '.join(there[:6])}{more}." if there else ""
