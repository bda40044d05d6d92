"""What the square code on a board page says: enough to know the print again from a picture."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, replace

#: Told by the code; raised when the print of a board page changes.
LAYOUT_VERSION = 1
KINDS = ("marking", "track")
_HEAD = "SHS"
_LONGEST_NAME = 24
_PLAIN = re.compile(r"[A-Za-z0-9 ._()+-]*")


class NotACode(ValueError):
    """A text that is no sheet's code, or of a layout that this program does not know."""


@dataclass(frozen=True)
class SheetCode:
    """A board page: whose it is, and the figures of its print, millimetres.

    `campaign`, `site` and `setup` are names as `code_name` shortens them, `setup` "" on a sheet
    for any set-up of the day. `foot_mm` counts from the
    board's lower left corner, `board_mm` is its width and height, `paper_mm` as it lies.
    """

    campaign: str
    site: str
    date: str
    rod_mm: float
    kind: str
    page: int
    pages: int
    paper_mm: tuple[float, float]
    board_mm: tuple[float, float]
    foot_mm: tuple[float, float]
    rings_mm: tuple[float, ...]
    setup: str = ""

    def of_page(self, page: int) -> SheetCode:
        return replace(self, page=page)

    def text(self) -> str:
        """The code as it is printed: plain ASCII."""
        return "|".join(
            [
                f"{_HEAD}{LAYOUT_VERSION}",
                self.campaign,
                self.site,
                self.date,
                f"{self.rod_mm:g}",
                self.kind[0],
                f"{self.page}/{self.pages}",
                *(_pair(size) for size in (self.paper_mm, self.board_mm, self.foot_mm)),
                ",".join(f"{ring:g}" for ring in self.rings_mm),
                *filter(None, [self.setup]),
            ]
        )

    @classmethod
    def read(cls, text: str) -> SheetCode:
        """Read a printed code.

        Raises:
            NotACode: another code, or of an unknown layout; the message says which.
        """
        parts = text.split("|")
        if not parts[0].startswith(_HEAD):
            raise NotACode("the square code is not one of a shadow sheet")
        version = parts[0].removeprefix(_HEAD)
        if version != str(LAYOUT_VERSION):
            raise NotACode(
                f"the sheet has layout {version}, this program reads layout {LAYOUT_VERSION}"
            )
        try:
            _, campaign, site, date, rod, kind, page, paper, board, foot, rings, *setup = parts
            number, pages = page.split("/")
            return cls(
                campaign,
                site,
                date,
                float(rod),
                next(name for name in KINDS if name.startswith(kind)),
                int(number),
                int(pages),
                _two(paper),
                _two(board),
                _two(foot),
                tuple(float(ring) for ring in rings.split(",") if ring),
                *setup,
            )
        except (ValueError, TypeError, StopIteration):
            raise NotACode("the square code of the sheet was not read whole") from None


def code_name(name: str) -> str:
    """A name as the code holds it: plain and short ones whole, others with a check sum.

    Example:
        >>> code_name("Meadow 3")
        'Meadow 3'
    """
    if len(name) <= _LONGEST_NAME and _PLAIN.fullmatch(name):
        return name
    plain = "".join(sign for sign in name if _PLAIN.fullmatch(sign))[:12]
    return f"{plain}~{zlib.crc32(name.encode('utf-8')):08x}"


def _pair(size: tuple[float, float]) -> str:
    return "x".join(f"{side:.6g}" for side in size)


def _two(text: str) -> tuple[float, float]:
    first, second = text.split("x")
    return float(first), float(second)
