"""docs/api.md says what the docstrings say; its first example is run by `test_api.py`."""

from api_page import PAGE, page


def test_the_page_is_up_to_date():
    assert PAGE.read_text("utf-8") == page(), "run: python tests/api_page.py"
