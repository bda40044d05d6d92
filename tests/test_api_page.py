"""docs/api.md says what the docstrings say, and its first example runs."""

import re

import pytest
from api_page import PAGE, page


def test_the_page_is_up_to_date():
    assert PAGE.read_text("utf-8") == page(), "run: python tests/api_page.py"


@pytest.mark.long
def test_its_example_runs(monkeypatch, tmp_path, request):
    example = re.search(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)[1]
    monkeypatch.chdir(request.config.rootpath)
    names: dict = {}
    exec(example.replace("reports/aldermoor", str(tmp_path)), names)
    assert len(names["places"]) == len(names["campaign"].sites)
    assert len(names["hours"]) == 7 * len(names["places"])
    assert len(names["norths"]) == len(names["campaign"].setups)
    assert (tmp_path / "index.html").is_file()
