"""The demo campaign's files as they stand in the repository, which `test_demo.py` holds to their
script: read in an instant, where making them anew takes seconds."""

import csv
import io
from pathlib import Path

FILES = {
    path.name: path.read_text("utf-8")
    for path in (Path(__file__).parents[1] / "sites" / "aldermoor").iterdir()
}


def part_of_demo(*setups: str) -> dict[str, str]:
    """The tables with these set-ups alone, and without sights."""
    kept = {name: text for name, text in FILES.items() if name != "sights.csv"}
    for name in ("setups.csv", "marks.csv"):
        rows = csv.DictReader(io.StringIO(FILES[name]))
        out = io.StringIO()
        writer = csv.DictWriter(out, rows.fieldnames or [], lineterminator="\n")
        writer.writeheader()
        writer.writerows(row for row in rows if row["setup"] in setups)
        kept[name] = out.getvalue()
    return kept
