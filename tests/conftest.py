"""What all tests share."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# A busy machine is no fault: what takes too long is told by seconds of work, where it matters.
# In CI the same examples are tried every time; at home new ones.
settings.register_profile("unhurried", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("unhurried")

#: Files most of whose tests drive a browser, run whole campaigns or sweep the whole earth: the
#: quick loop, `pytest -n auto -m "not slow and not long"`, leaves them out. Elsewhere a test that
#: takes more than a second of a processor carries the mark itself.
LONG = (
    "test_browser*",
    "test_calendar",
    "test_card",
    "test_class_command",
    "test_compass*",
    "test_crew",
    "test_docs",
    "test_field*",
    "test_hostile",
    "test_joint*",
    "test_mark_command",
    "test_mistakes",
    "test_notebook",
    "test_pages_of_docs",
    "test_photo*",
    "test_pictures",
    "test_planpage",
    "test_sheet*",
    "test_setups",
    "test_sights*",
    "test_trust",
)


def pytest_collection_modifyitems(items):
    """Mark the tests of the long files, and let them begin: short ones then fill up the cores."""
    for item in items:
        if any(Path(item.path.stem).match(name) for name in LONG):
            item.add_marker(pytest.mark.long)
    long = {item.path for item in items if item.get_closest_marker("long")}
    items.sort(key=lambda item: item.path not in long)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep a file's tests in one process, where they share what is made once for all of them.

    The slow tests share little and go singly, to whichever process is free.
    """
    if "not slow" not in config.option.markexpr:
        return None
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)
