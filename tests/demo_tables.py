"""The demo campaign's files as they stand in the repository, which `test_demo.py` holds to their
script: read in an instant, where making them anew takes seconds."""

from pathlib import Path

FILES = {
    path.name: path.read_text("utf-8")
    for path in (Path(__file__).parents[1] / "sites" / "aldermoor").iterdir()
}
