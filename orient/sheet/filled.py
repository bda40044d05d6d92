"""What is written on a sheet beforehand: whose it is and, to practise on, marks and a line."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Filled:
    """What is filled in on a sheet before it is handed out; blank where left out.

    `marks_mm` are drawn as a crew would have, in their order, `line_mm` is the end of the line
    to `reference_name`: board millimetres from the foot, +x right, +y up. `times` are the watch
    times of the marks.
    """

    crew: str = ""
    setup: str = ""
    reference_name: str = ""
    marks_mm: tuple[Point, ...] = ()
    times: tuple[str, ...] = ()
    line_mm: Point | None = None

    @property
    def practised(self) -> bool:
        """Whether the marks were computed: nobody stood at this board."""
        return bool(self.marks_mm)


BLANK = Filled()
