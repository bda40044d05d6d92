"""What all tests share."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A busy machine is no fault: what takes too long is told by seconds of work, where it matters.
# In CI the same examples are tried every time; at home new ones.
settings.register_profile(
    "unhurried",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
)
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
    "test_demo_report",
    "test_docs",
    "test_field*",
    "test_hostile",
    "test_joint*",
    "test_mark_command",
    "test_mistakes",
    "test_notebook",
    "test_one_plan",
    "test_pages_of_docs",
    "test_photo*",
    "test_pictures",
    "test_planpage",
    "test_sheet*",
    "test_setups",
    "test_sights*",
    "test_trust",
    "test_unplaced",
)


#: The files of most work, the most first: they begin, so that short ones fill up the cores.
HEAVIEST = (
    "test_sheet", "test_mistakes", "test_photo", "test_docs", "test_crew", "test_trust",
    "test_unplaced", "test_browser_plan", "test_browser_field", "test_field_engine",
    "test_hostile", "test_plan_command", "test_cli", "test_joint", "test_sights", "test_demo",
    "test_night", "test_simulate_command", "test_outputs", "test_sheet_targets",
    "test_compass_command", "test_terminal", "test_mark_command", "test_cells", "test_odd_input",
    "test_workbooks",
    "test_calendar", "test_one_plan", "test_class_command", "test_magnetic", "test_crew_spare",
    "test_reduction", "test_compass", "test_api", "test_byhand", "test_report", "test_hours",
)  # fmt: skip


def pytest_collection_modifyitems(items):
    """Mark the tests of the long files, and put the files in the order of their work."""
    stem = {path: path.stem for path in {item.path for item in items}}
    long = {name for name in stem.values() if any(Path(name).match(each) for each in LONG)}
    for item in items:
        if stem[item.path] in long:
            item.add_marker(pytest.mark.long)
    place = {name: number for number, name in enumerate(HEAVIEST)}
    items.sort(key=lambda item: place.get(stem[item.path], len(place)))


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
