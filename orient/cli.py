"""The command line: which commands there are, and how a run ends."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import NoReturn

import click

from orient import __version__

#: Name, module that defines it (imported only when it is called), one line of help.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("orient.commands.demo", "Write the demo campaign and its report."),
    "new": ("orient.commands.new", "Start a campaign: empty tables and what goes in them."),
    "sites": ("orient.commands.sites", "Each site: declination, convergence, local noon."),
    "declination": ("orient.commands.declination", "Magnetic declination at one place."),
    "plan": ("orient.commands.plan", "Which hours suit observing at each site."),
    "bring": ("orient.commands.bring", "Which rod, board and rings to bring."),
    "crew": ("orient.commands.crew", "Which sites on which days, for one crew."),
    "sheet": ("orient.commands.sheet", "The printable field sheet for a site and day."),
    "mark": ("orient.commands.mark", "Type in the marks of a board, one by one."),
    "reduce": ("orient.commands.reduce", "Marks to true north."),
    "compass": ("orient.commands.compass", "What the compass readings say of rock and needle."),
    "report": ("orient.commands.report", "All of it on one page, with tables beside it."),
}


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return getattr(import_module(COMMANDS[name][0]), name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, help_line) for name, (_, help_line) in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Never look at the sun, least of all through an instrument. Cap the rod's tip.",
)
@click.version_option(__version__, prog_name="orient")
def orient() -> None:
    """True north from the shadow of a plumbed rod: plan, reduce, report."""


def main() -> NoReturn:
    """Run the command line; every way it can end has its message and its exit status."""
    try:
        orient(standalone_mode=False)
        sys.stdout.flush()
        status = 0
    except click.exceptions.Exit as stop:
        status = stop.exit_code
    except click.ClickException as fault:
        fault.show()
        status = 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped; nothing more was written.", err=True)
        status = 1
    except BrokenPipeError:
        # The reader went away; its end of the pipe is not written to again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    except Exception as fault:
        if os.environ.get("ORIENT_DEBUG"):
            raise
        click.echo(_message(fault), err=True)
        status = 1
    sys.exit(status)


def _message(fault: Exception) -> str:
    from orient.errors import InputError

    if isinstance(fault, InputError):
        count = len(fault.faults)
        head = "One fault in the input:" if count == 1 else f"{count} faults in the input:"
        return "\n".join([head, *(f"  {each}" for each in fault.faults), "Nothing was written."])
    if isinstance(fault, OSError):
        place = f"{fault.filename}: " if fault.filename else ""
        return f"{place}{fault.strerror or fault}. Nothing was replaced."
    if isinstance(fault, MemoryError):
        return "The machine has not enough memory for this. Try fewer sites or days at a time."
    if isinstance(fault, ValueError) and type(fault).__module__.startswith("orient."):
        return f"{fault}. Nothing was written."
    return (
        f"orient itself failed ({type(fault).__name__}: {fault}). Nothing was written. "
        "Run again with ORIENT_DEBUG=1 for the details to report."
    )
