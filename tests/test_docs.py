"""Every command that the docs show, run in order, page by page, and held to its shown output.

In a page, a block `console` holds commands after `$ ` and what they print; a line `…` stands
for lines left out, a `…` within a line for words left out. A block `csv FILE` is written to
FILE, as its reader is told to. Each page starts in a fresh folder with a copy of `sites/`.
"""

import contextlib
import io
import re
import shlex
import shutil
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from orient import cli
from orient.flags import CAUTIONS

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```(\w+)(?: ([^\n]+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass
class Step:
    """A command with the lines shown under it, or a file to be written."""

    command: str = ""
    shown: list[str] = field(default_factory=list)
    file: str = ""
    text: str = ""


def steps(page: str) -> list[Step]:
    found = []
    for kind, name, text in BLOCK.findall(page):
        if kind == "csv" and name:
            found.append(Step(file=name.strip(), text=text))
        elif kind == "console":
            for line in text.replace("\\\n", " ").splitlines():
                if line.startswith("$ "):
                    found.append(Step(command=line[2:]))
                else:
                    found[-1].shown.append(line.rstrip())
    return found


def run(command: str) -> tuple[int, str]:
    """Exit status and all that a person sees, in 80 columns."""
    program, *args = shlex.split(command)
    assert program == "orient", command
    seen = io.StringIO()
    with contextlib.redirect_stdout(seen), contextlib.redirect_stderr(seen):
        argv, sys.argv = sys.argv, ["orient", *args]
        try:
            with pytest.raises(SystemExit) as ended:
                cli.main()
        finally:
            sys.argv = argv
    return ended.value.code, seen.getvalue()


def missing(shown: list[str], output: str) -> str | None:
    """The first shown line that does not come in the output in its turn, or None.

    Blanks count as one: how wide a table's columns are is no claim of the page.
    """
    lines = iter([" ".join(line.split()) for line in output.splitlines()])
    for line in shown:
        pattern = ".*".join(re.escape(part) for part in " ".join(line.split()).split("…"))
        if line.strip(" …") and not any(re.fullmatch(pattern, each) for each in lines):
            return line
    return None


#: Pages whose commands draw many sheets or reduce many boards: the long runs try them.
LONG_RUNS = {"a-class-on-the-meadow.md", "a-notebook-corrected.md", "a-rainy-day.md"}


@pytest.mark.parametrize(
    "page",
    [pytest.param(page, marks=[pytest.mark.slow] * (page.name in LONG_RUNS)) for page in PAGES],
    ids=lambda page: page.name,
)
def test_commands_do_what_the_page_shows(page, tmp_path, monkeypatch):
    shutil.copytree(ROOT / "sites", tmp_path / "sites")
    monkeypatch.chdir(tmp_path)
    for step in steps(page.read_text("utf-8")):
        if step.file:
            Path(step.file).parent.mkdir(exist_ok=True)
            Path(step.file).write_text(step.text, "utf-8")
            continue
        status, output = run(step.command)
        refused = "Nothing was written." in step.shown
        assert status == (1 if refused else 0), f"{step.command}\n{output}"
        lost = missing(step.shown, output)
        assert lost is None, f"{step.command}\nshown: {lost}\nprinted:\n{output}"


def test_a_false_line_is_told():
    assert missing(["one", "…", "th…"], "one\ntwo\nthree\n") is None
    assert missing(["two", "one"], "one\ntwo\n") == "one"
    assert missing(["on"], "one\n") == "on"


def test_readme_installs_and_tests_in_a_line_each():
    shell = [text for kind, _, text in BLOCK.findall(PAGES[0].read_text("utf-8")) if kind == "sh"]
    assert len(shell) == 2
    assert all(text.count("\n") == 1 for text in shell)
    assert "orient demo" in shell[0]
    assert "pytest" in shell[1]


def test_readme_carries_the_cautions():
    text = " ".join(PAGES[0].read_text("utf-8").split())
    for caution in CAUTIONS:
        assert caution in text


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


def test_every_page_is_in_the_readme():
    text = PAGES[0].read_text("utf-8")
    for page in PAGES[1:]:
        assert f"(docs/{page.name})" in text
