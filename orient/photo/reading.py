"""A photograph read: which sheet it shows, and the marks on it in board millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.photo.codes import read_code
from orient.photo.edge import printed_scale
from orient.photo.flat import Flat, lay_flat
from orient.photo.marks import find_marks
from orient.photo.picture import Picture, refusal
from orient.photo.targets import blur_px, find_targets
from orient.photo.view import View, fit_view
from orient.sheet.code import SheetCode
from orient.sheet.document import marking_print
from orient.sheet.geometry import BoardPage, board_pages

Array = NDArray[np.float64]
FEWEST_TARGETS = 4
#: What paper does between its targets, and a printer within its page, mm.
PAPER_MM = 0.015
#: How well a page is glued to the one with the foot, where that is not in the picture, mm.
UNSEEN_FOOT_MM = 0.8
_NO_GLARE = (
    "a picture without flash, out of the sun's reflection, exposed less; or a scan in which the "
    "paper is grey"
)
_SHARP = "a sharp one: hold still, more light, tap on the sheet to focus, wipe the lens"
#: Pencil strokes are 0.3 to 0.6 mm wide: what blurs them by more than this loses them, mm.
MOST_BLUR_MM = 0.42
_WHOLE_SHEET = "the whole sheet, from above, all its black targets in the picture"


@dataclass(frozen=True)
class Mark:
    """A mark: board millimetres from the foot, +x right, +y up; `u_mm` one standard deviation."""

    page: int
    x_mm: float
    y_mm: float
    u_mm: float
    confidence: float
    kind: str


@dataclass(frozen=True)
class Reading:
    """What one photograph gave; `scale` is a printed millimetre by the paper's edges, if seen."""

    picture: str
    code: SheetCode
    pages: tuple[int, ...]
    marks: tuple[Mark, ...]
    flats: tuple[Flat, ...]
    view: View
    scale: float | None


def read_photograph(
    picture: Picture, known: Callable[[], SheetCode | None] = lambda: None
) -> Reading:
    """Read the marks of one photograph.

    Args:
        picture: the photograph.
        known: gives the sheet that it is said to show, asked where its code cannot be read.

    Raises:
        InputError: no sheet, too few targets, a code that cannot be read, too dark, blurred,
            glare, a track sheet; each with what to do.
    """
    seen = find_targets(picture.grey)
    if len(seen) < FEWEST_TARGETS:
        raise _too_few(picture, len(seen))
    code = read_code(picture, seen) or known()
    if code is None:
        raise refusal(
            picture.name,
            "a sheet whose square code cannot be read",
            "a sharper picture with the code in it, or --setup to say which sheet it is",
        )
    if code.kind != "marking":
        found = "the track sheet, which is not to be marked on"
        raise refusal(picture.name, found, "a photograph of the marking sheet")
    boards = board_pages(code)
    printed, page_of = _printed(boards)
    view = fit_view(seen, printed, page_of, picture.grey.shape[::-1])
    if view is None:
        raise _too_few(picture, len(set(seen) & set(printed)))
    middle, page = view.middle_mm[None], np.array([view.pages[0]])
    blur_mm = blur_px(picture.grey, seen) / float(view.scale_px_mm(middle, page)[0])
    if blur_mm > MOST_BLUR_MM:
        raise refusal(picture.name, f"a picture blurred over {blur_mm:.1f} mm of paper", _SHARP)
    flats = _flats(picture, view, code, boards)
    _check_light(picture, flats, view)
    foot_page = next(board.number for board in boards if board.has_foot)
    marks = [mark for flat in flats for mark in _placed(flat, view, foot_page)]
    return Reading(
        picture.name, code, tuple(flat.page for flat in flats), tuple(_once(marks)), tuple(flats),
        view, printed_scale(picture, view, boards[0]),
    )  # fmt: skip


def _too_few(picture: Picture, count: int) -> Exception:
    import cv2

    level = float(picture.grey.mean())
    if level < 40:
        return refusal(picture.name, "a picture too dark", "more light, or a longer exposure")
    if float((picture.grey >= 252).mean()) > 0.4:
        return refusal(picture.name, "glare or too much light", _NO_GLARE)
    if count == 0 and float(cv2.Laplacian(picture.grey, cv2.CV_32F).std()) < 4.0:
        return refusal(picture.name, "a blurred picture", _SHARP)
    found = f"{count or 'no'} printed target{'' if count == 1 else 's'} that can be read"
    return refusal(picture.name, found, f"at least {FEWEST_TARGETS}: {_WHOLE_SHEET}, sharp, lit")


def _printed(boards: Sequence[BoardPage]) -> tuple[dict[int, Array], dict[int, int]]:
    """Corners of all targets on the nominal board, and the page of each."""
    printed, page_of = {}, {}
    for board in boards:
        for target in board.targets:
            corners = np.array(target.corners_mm)
            x = corners[:, 0] - board.origin_mm[0]
            y = board.paper.height_mm - corners[:, 1] - board.origin_mm[1]
            printed[target.id] = np.stack([x, y], axis=-1)
            page_of[target.id] = board.number
    return printed, page_of


@lru_cache(maxsize=2)
def _drawn(code: SheetCode) -> Any:
    return marking_print(code)[1]


def _flats(
    picture: Picture, view: View, code: SheetCode, boards: Sequence[BoardPage]
) -> list[Flat]:
    pages = _drawn(code.of_page(1))
    seen = [board for board in boards if board.number in view.pages]
    # Tiles are glued in their order: a later one lies over those before it.
    laid = [
        lay_flat(picture, view, board, pages[board.number - 1], seen[place + 1 :])
        for place, board in enumerate(seen)
    ]
    return [flat for flat in laid if flat is not None]


def _placed(flat: Flat, view: View, foot_page: int) -> list[Mark]:
    pieces = find_marks(flat)
    if not pieces:
        return []
    at = np.array([piece.at_mm for piece in pieces]) * flat.px_mm
    nominal = flat.board_mm(at[:, 0], at[:, 1])
    page = np.full(len(pieces), flat.page)
    board = view.on_foot(view.glued(nominal, page), foot_page)
    u_fit = view.u_mm(nominal, page)
    if foot_page not in view.pages:
        u_fit = np.hypot(u_fit, UNSEEN_FOOT_MM)
    return [
        Mark(
            flat.page, float(x), float(y),
            float(np.sqrt(u**2 + piece.u_mm**2 + PAPER_MM**2)), piece.confidence, piece.kind,
        )
        for (x, y), u, piece in zip(board, u_fit, pieces, strict=True)
    ]  # fmt: skip


def _once(marks: Sequence[Mark]) -> list[Mark]:
    """A mark under two pages' overlap is one."""
    kept: list[Mark] = []
    for mark in sorted(marks, key=lambda each: -each.confidence):
        if all(np.hypot(mark.x_mm - other.x_mm, mark.y_mm - other.y_mm) > 1.5 for other in kept):
            kept.append(mark)
    return kept


def _check_light(picture: Picture, flats: Sequence[Flat], view: View) -> None:
    if not flats:
        raise refusal(picture.name, "targets, but none of the board itself", _WHOLE_SHEET)
    light = max(flat.light for flat in flats)
    if light < 38:
        raise refusal(
            picture.name, "a picture too dark to see pencil in", "more light, or a longer exposure"
        )
    if max(flat.glare for flat in flats) > 0.25:
        raise refusal(
            picture.name, "glare: more than a quarter of the sheet is pure white", _NO_GLARE
        )


def joined(readings: Sequence[Reading], bar_mm: float = 100.0) -> list[Mark]:
    """The marks of several photographs of one board, each mark once, in board millimetres.

    Args:
        readings: of one sheet, or of pages glued to one board.
        bar_mm: the printed check bar as measured: 100 where the printer was true.
    """
    groups: list[list[Mark]] = []
    for reading in readings:
        for mark in reading.marks:
            near = [group for group in groups if _apart(group[0], mark) < 1.5]
            near[0].append(mark) if near else groups.append([mark])
    return [_scaled(_mean(group), bar_mm / 100.0) for group in groups]


def _apart(one: Mark, other: Mark) -> float:
    return float(np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm))


def _mean(group: Sequence[Mark]) -> Mark:
    weight = np.array([mark.u_mm**-2 for mark in group])
    at = np.average([(mark.x_mm, mark.y_mm) for mark in group], axis=0, weights=weight)
    best = max(group, key=lambda mark: mark.confidence)
    # The pencil's own unevenness is the same in every picture: no better than by the half.
    u = max(float(weight.sum() ** -0.5), 0.7 * min(mark.u_mm for mark in group))
    return Mark(best.page, float(at[0]), float(at[1]), u, best.confidence, best.kind)


def _scaled(mark: Mark, scale: float) -> Mark:
    return Mark(
        mark.page, mark.x_mm * scale, mark.y_mm * scale, mark.u_mm * scale,
        mark.confidence, mark.kind,
    )  # fmt: skip
