"""What is wrong with the input, said once and completely."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault of the input: where it stands, what was found, what is wanted.

    `row` is the line a spreadsheet shows, the header being row 1; None where the
    fault is of the whole file. `column` is None where it is of the whole row.
    """

    file: str
    row: int | None
    column: str | None
    found: str
    wanted: str

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}")
        return f"{', '.join(place)}: found {self.found}; wanted {self.wanted}"


class InputError(ValueError):
    """The input is at fault; `faults` lists everything that was found wrong with it."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults = [faults] if isinstance(faults, Fault) else list(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def check_figures(*figures: tuple[str, object, bool, str]) -> None:
    """Refuse the figures that are not good, all of them at once.

    Args:
        figures: name, value, whether it is good, and what is wanted.

    Raises:
        InputError: naming every figure that is not good.
    """
    faults = [
        Fault(f"the argument {name}", None, None, str(value), wanted)
        for name, value, good, wanted in figures
        if not good
    ]
    if faults:
        raise InputError(faults)
