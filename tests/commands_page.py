"""The page of the commands, made from their own help: python tests/commands_page.py writes it."""

from pathlib import Path

import click

from orient.cli import COMMANDS, orient

PAGE = Path(__file__).parents[1] / "docs" / "commands.md"

HEAD = """# Commands

`orient COMMAND --help` says the same. Messages go to standard error. A run ends with status 0 when
it is done, 1 when the input is at fault (every fault is listed, nothing is written), 2 when the
command line is.
"""


def page() -> str:
    parts = [HEAD]
    for name in COMMANDS:
        command = orient.get_command(click.Context(orient), name)
        assert command is not None
        context = click.Context(
            command,
            info_name=f"orient {name}",
            max_content_width=80,
            help_option_names=["-h", "--help"],
        )
        context.terminal_width = 80
        parts.append(f"\n## orient {name}\n\n```text\n{command.get_help(context)}\n```\n")
    return "".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
