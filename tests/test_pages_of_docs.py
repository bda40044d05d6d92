"""The site of the docs: built without a broken link, and every key and option on a page."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import commands_page
import drawings
import pytest
from click.testing import CliRunner
from demo_tables import part_of_demo

from orient.cli import orient
from orient.files import write_whole

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
DEMO = str(ROOT / "sites" / "aldermoor")
COMMANDS = {
    "sites": [DEMO, "--date", "2026-06-21"],
    "declination": ["45", "7"],
    "plan": [DEMO, "--from", "2026-06-21"],
    "bring": [DEMO, "--from", "2026-06-21"],
    "crew": [DEMO, "--from", "2026-06-21", "--start", "gullbeach"],
    "reduce": [DEMO],
    "compass": [DEMO],
    "sights": [DEMO + "/"],  # the whole of it
    "night": [DEMO, "--from", "2026-06-21"],
}
#: Commands whose rows have another's keys too.
AS_WELL_AS = {"declination": "sites", "sights": "reduce"}


def told(command: str) -> set[str]:
    """The keys that the page of the results explains of a command."""
    page = (DOCS / "results.md").read_text("utf-8")
    part = page.split(f"## orient {command}\n")[1].split("\n## ")[0]
    return set(re.findall(r"`(\w+)`", " ".join(re.findall(r"^\| (.*?) \|", part, re.M))))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_key_of_a_row_is_explained(command, tmp_path):
    if command == "crew":
        pytest.importorskip("ortools")
    write_whole(tmp_path, part_of_demo("alder-1"))
    told_it = [str(tmp_path) if each == DEMO else each for each in COMMANDS[command]]
    done = CliRunner().invoke(orient, [command, *told_it, "--format", "json"])
    assert done.exit_code == 0, done.output
    keys = set(json.loads(done.stdout)[0])
    explained = told(command) | (told(AS_WELL_AS[command]) if command in AS_WELL_AS else set())
    assert sorted(keys - explained) == []


def test_the_page_of_the_commands_is_their_help():
    """In a process of its own: a command keeps the help option of the first who asked for it."""
    printed = subprocess.run(
        [sys.executable, "-c", "import commands_page; print(commands_page.page(), end='')"],
        cwd=Path(commands_page.__file__).parent,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        check=True,
    )
    assert commands_page.PAGE.read_text("utf-8") == printed.stdout.decode("utf-8")


@pytest.mark.parametrize("name", drawings.DRAWINGS)
def test_a_drawing_is_what_its_script_draws(name):
    drawn = drawings.DRAWINGS[name]().svg()
    assert (drawings.FOLDER / f"{name}.svg").read_text("utf-8") == drawn
    assert f"pictures/{name}.svg" in (DOCS / "how-to.md").read_text("utf-8")


@pytest.mark.parametrize("page", sorted(DOCS.glob("*.md")), ids=lambda page: page.name)
def test_pictures_have_words_for_who_cannot_see_them(page):
    for words, path in re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", page.read_text("utf-8")):
        assert len(words) > 15, path
        assert (page.parent / path).is_file(), path


def test_the_readmes_links_lead_somewhere():
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md"):
        for path in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
            assert (ROOT / path).exists(), path


def test_the_site_is_built_without_a_broken_link(tmp_path):
    pytest.importorskip("mkdocs")
    pytest.importorskip("material")
    command = [
        sys.executable,
        "-m",
        "mkdocs",
        "build",
        "--strict",
        "-q",
        "-d",
        str(tmp_path / "site"),
    ]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "site" / "search" / "search_index.json").is_file()
    text = (tmp_path / "site" / "index.html").read_text("utf-8")
    loaded = re.findall(r"""<(?:script|link|img)[^>]+(?:src|href)="(https?:[^"]+)""", text)
    assert loaded == []
    shutil.rmtree(tmp_path / "site")
