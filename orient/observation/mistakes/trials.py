"""Boards, and readings of their records, adjusted together: each asks for what it needs in turn."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from orient.observation.adjustment import Asked, Fit, adjust_all
from orient.observation.mistakes.record import Meant

T = TypeVar("T")
#: Yields what is to be adjusted, all that is known to be needed by then, and is sent the fits.
Work = Generator[list[Asked], list[Fit], T]
#: The same for a single fit at a time; returns readings of a record with theirs.
Trial = Generator[Asked, Fit, list[Meant]]


def as_read(meant: Meant) -> Trial:
    """A reading whose board is adjusted as it stands."""
    fit = yield Asked(meant.board)
    return [replace(meant, fit=fit)]


def one_by_one(meants: Iterable[Meant]) -> Trial:
    """Several, one after the other."""
    found = []
    for meant in meants:
        found += yield from as_read(meant)
    return found


def together(*groups: Sequence[Trial]) -> Work[list[list[Meant]]]:
    """The readings of groups of trials, in their order, all asking at once."""
    trials = [trial for group in groups for trial in group]
    found: list[list[Meant]] = [[] for _ in trials]
    fits: dict[int, Fit | None] = dict.fromkeys(range(len(trials)))
    while fits:
        asked: dict[int, Asked] = {}
        for number, fit in fits.items():
            try:
                asked[number] = trials[number].send(fit)  # type: ignore[arg-type]
            except StopIteration as end:
                found[number] = end.value
        fits = dict(zip(asked, (yield list(asked.values())), strict=True)) if asked else {}
    rest = iter(found)
    return [[meant for _ in group for meant in next(rest)] for group in groups]


def done(works: Sequence[Work[T]]) -> list[T]:
    """What many works return; what they ask for is adjusted at once.

    A small batch is slow for its size: boards and readings that are adjusted together take a
    fraction of their time alone.
    """
    found: dict[int, T] = {}
    asked: dict[int, list[Asked]] = {}

    def go_on(number: int, fits: list[Fit] | None) -> None:
        try:
            # A generator is begun by sending it nothing.
            asked[number] = works[number].send(fits)  # type: ignore[arg-type]
        except StopIteration as end:
            found[number] = end.value

    for number in range(len(works)):
        go_on(number, None)
    while asked:
        questions, asked = asked, {}
        fits = iter(adjust_all([each for some in questions.values() for each in some]))
        for number, some in questions.items():
            go_on(number, [next(fits) for _ in some])
    return [found[number] for number in range(len(works))]
