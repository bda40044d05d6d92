"""docs/accuracy.md names tests that exist."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_every_test_named_is_there():
    page = (ROOT / "docs/accuracy.md").read_text("utf-8")
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", page)
    assert len(named) > 20
    for file, name in named:
        assert f"def {name}(" in (ROOT / file).read_text("utf-8"), f"{file}::{name}"
