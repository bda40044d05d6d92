"""Every flag has a sentence, a module that raises it and a command that shows it."""

from importlib.util import find_spec
from pathlib import Path

import pytest

from orient.cli import COMMANDS
from orient.flags import FLAGS, Flag


@pytest.mark.parametrize("flag", Flag)
def test_a_flag_is_raised_and_shown_where_it_says(flag):
    assert flag.sentence.endswith(".")
    assert flag.shown_by
    assert set(flag.shown_by) <= set(COMMANDS)
    for name in flag.raised_by:
        spec = find_spec(f"orient.{name}")
        assert spec is not None
        assert spec.origin is not None
        text = Path(spec.origin).read_text(encoding="utf-8")
        assert f"Flag.{flag.name}" in text or f'"{flag}"' in text, name


def test_a_flag_without_a_sentence_or_a_raiser_cannot_be_written_down():
    for values in (("a", ""), ("a", "A."), ("a", "A.", "site"), ("a", "", "site", "sites")):
        with pytest.raises((TypeError, ValueError)):
            type(Flag)("Lacking", (type(Flag.BLUNDER).__mro__[1],), _members(values))


def _members(values):
    from enum import EnumType, StrEnum

    members = EnumType.__prepare__("Lacking", (StrEnum,))
    members["__new__"] = Flag.__dict__["__new_member__"]
    members["A"] = values
    return members


def test_a_flag_is_its_code():
    assert {str(flag): flag.sentence for flag in Flag} == FLAGS
    assert f"{Flag.BLUNDER}" == "blunder"
    assert {"blunder": 1}[Flag.BLUNDER] == 1
    assert repr([Flag.BLUNDER]) == "['blunder']"
