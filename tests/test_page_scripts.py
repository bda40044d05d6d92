"""The pages' scripts: what the package carries is built from the sources beside it."""

import hashlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BUILT = ("orient/planpage/onsite.js", "orient/fieldpage/field.js")


@pytest.mark.parametrize("name", BUILT)
def test_the_built_script_is_of_these_sources(name):
    head = (ROOT / name).read_text(encoding="utf-8").partition("\n")[0]
    told = re.fullmatch(r"/\* Built by web/build\.mjs; sources: (.+); ([0-9a-f]{64}) \*/", head)
    assert told, "run npm run build in web/"
    total = hashlib.sha256()
    for source in told[1].split():
        text = (ROOT / "web" / source).read_text(encoding="utf-8")
        total.update(f"{source}\n{text}".encode())
    assert total.hexdigest() == told[2], "run npm run build in web/"


@pytest.mark.parametrize("name", BUILT)
def test_the_built_script_asks_nothing_of_a_network(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert not re.search(r"https?:|\bfetch\(|XMLHttpRequest|WebSocket|</script", text)
