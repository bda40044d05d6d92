"""docs/tables.md says what the tables' one home says."""

from tables_page import PAGE, page


def test_the_page_is_up_to_date():
    assert PAGE.read_text("utf-8") == page(), "run: python tests/tables_page.py"
