"""A set-up reduced: every method side by side, the one adopted, and what else the board knows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from orient.flags import Flag
from orient.numbers import sun
from orient.numbers.tolerances import COVERAGE_95
from orient.observation import byhand
from orient.observation.adjustment import Asked, Fit
from orient.observation.board import Board
from orient.observation.byhand import MethodResult, NoonShadow, noon_shadow
from orient.observation.mistakes.catalogue import Explanation
from orient.observation.mistakes.record import AS_STATED, Meant, Record
from orient.observation.mistakes.trials import Work, done
from orient.observation.mistakes.weighing import (
    STRAINED,
    Verdict,
    contradicts,
    honest_u_rad,
    opened,
    spared,
    weigh,
)
from orient.observation.solver import HEIGHT, LATITUDE, WATCH
from orient.text import at_95, latitude_text, small_angle

#: Marks within this hour angle of noon tell little of direction: an hour and a bit.
NEAR_NOON_DEG = 18.0
#: A stated tolerance is doubted when the marks pull it this many times its own size.
DOUBTFUL_PULL = 4.0
#: A method by hand this many times its uncertainty away is no chance.
CONTRARY = 4.5
#: An azimuth with a standard uncertainty over this is none.
WIDEST_U_DEG = 30.0
# So many boards are reduced together, and fewer are not worth a second process.
_TOGETHER, _FEW = 128, 300


@dataclass(frozen=True)
class Reduced:
    """What a board's marks give.

    Azimuths in degrees; `fit` is the adjustment adopted, `methods` all that could be had, by
    name. `latitude_deg` is what the board makes of its latitude, the site's own being
    forgotten; `noon_shadow` what its noon shadow alone does, None without marks around noon.
    `watch_error_s` is watch minus true, None where times were not used.
    `remarks` are sentences for people on what was found and done. `contradicted` tells
    that the marks contradict what was stated, and `explanation` what mistake would explain
    that, where one does.
    """

    board: Board
    method: str
    board_azimuth_deg: float
    board_azimuth_u_deg: float
    methods: dict[str, MethodResult]
    fit: Fit
    latitude_deg: float | None
    latitude_u_deg: float | None
    watch_error_s: float | None
    watch_error_u_s: float | None
    noon_altitude_deg: float
    noon_shadow: NoonShadow | None
    flags: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    contradicted: bool = False
    explanation: Explanation | None = None
    doubt: str = ""

    @property
    def determined(self) -> bool:
        """Whether the marks fix a direction at all."""
        return self.board_azimuth_u_deg <= WIDEST_U_DEG


NO_DIRECTION = "These marks do not fix a direction: more are needed, or their times."
_UNEXPLAINED = (
    "The marks contradict what was stated of the board, and no single mistake explains it."
)
_APART = (
    "A method by hand stands farther from the adjustment than chance allows: until that is "
    "explained the line is as uncertain as they are apart."
)
_AS_STATED = Meant("as stated", board=None, kind=AS_STATED)  # type: ignore[arg-type]


def reduce_board(board: Board, record: Record | None = None, search: bool = True) -> Reduced:
    """Reduce one board by every method its marks allow.

    The adjustment is adopted. Where the marks contradict anything that was stated of the
    board, every statement is set free and every slip put right in turn; the likeliest
    reading of the marks as they stand is adopted, its azimuth as uncertain as all the
    readings alive are apart, and flags say what is doubtful (`mistakes.weighing`).

    Args:
        board: with at least one mark.
        record: of the board, where more is known of how it was recorded.
        search: whether a board that contradicts its record is read in other ways; without,
            it is only marked as `contradicted`.
    """
    return done([_reduction(record or Record(board), search)])[0]


@dataclass(frozen=True)
class _Adjusted:
    """A board with the adjustments that its reduction rests on: the one adopted; its kept
    marks, the latitude forgotten; those around noon, as a track without times."""

    board: Board
    fit: Fit
    latitude: Fit | None
    noon: Fit | None


def _completed(board: Board, fit: Fit, reading: Meant) -> Work[_Adjusted]:
    """A board's other adjustments, one being adopted."""
    kept = _believed(board, fit, reading)
    asked = [_latitude_asked(board, fit, reading), byhand.noon_track(kept)]
    fits = iter((yield [each for each in asked if each is not None]))
    latitude, noon = (None if each is None else next(fits) for each in asked)
    return _Adjusted(board, fit, latitude, noon)


def _reduction(record: Record, search: bool) -> Work[Reduced]:
    """One board reduced, from the first adjustment to the last word."""
    board = record.board
    (stated,) = yield [Asked(board)]
    adjusted = yield from _completed(board, stated, _AS_STATED)
    latitude = _latitude(board, adjusted.latitude)
    readings = yield from spared(board, stated)
    contradicted = contradicts(board, stated, readings) or bool(_latitude_remark(*latitude, board))
    adopted, verdict = _AS_STATED, None
    if contradicted and search:
        verdict = yield from weigh(record, stated)
        adopted, readings = verdict.adopted, []
        adjusted = yield from _completed(board, verdict.fit, adopted)
    fit = opened(adjusted.fit, honest_u_rad(adjusted.fit, readings))
    adjusted = replace(adjusted, fit=fit)
    reduced = _reduced(adjusted, adopted, contradicted)
    return _told_apart(_doubted(reduced, verdict)) if search else reduced


def _kept(board: Board, fit: Fit) -> Board:
    return board.of(fit.kept) if fit.kept.any() else board


def _believed(board: Board, fit: Fit, reading: Meant) -> Board:
    """The kept marks, with what the fit found of the watch, and of the height where it was free."""
    return replace(
        _kept(board, fit),
        watch_error_s=float(fit.state.watch_error_s),
        height_mm=float(fit.state.height_mm) if reading.free_height else board.height_mm,
    )


def _reduced(adjusted: _Adjusted, reading: Meant, contradicted: bool) -> Reduced:
    """Everything that the adopted fit and the methods by hand tell."""
    board, fit = adjusted.board, adjusted.fit
    flags: list[str] = []
    remarks: list[str] = []
    half = halves(board, fit)
    kept, believed = _kept(board, fit), _believed(board, fit, reading)
    methods = _by_hand(believed, half[fit.kept] if fit.kept.any() else half, reading, adjusted.noon)
    methods["adjustment"] = MethodResult(
        "adjustment",
        float(fit.state.board_azimuth_rad),
        fit.azimuth_u_rad,
        int(fit.kept.sum()),
        fit.terms,
        fit.kept / max(1, int(fit.kept.sum())),
    )
    latitude = _latitude(board, adjusted.latitude)
    by_shortest = methods.get("shortest")
    noon = None
    if by_shortest is not None and by_shortest.fit is not None:
        noon = noon_shadow(kept, by_shortest.fit)
        remarks.append(_noon_remark(noon))
    flags += _mark_flags(board, fit, half, methods)
    remarks += _fit_remarks(board, fit, methods)
    timed = np.isfinite(board.watch_utc_s).any() and board.watch != "none" and reading.by_time
    return Reduced(
        board=board,
        method="adjustment",
        board_azimuth_deg=float(np.degrees(fit.state.board_azimuth_rad)),
        board_azimuth_u_deg=float(np.degrees(fit.azimuth_u_rad)),
        methods=methods,
        fit=fit,
        latitude_deg=latitude[0],
        latitude_u_deg=latitude[1],
        watch_error_s=float(fit.state.watch_error_s) if timed else None,
        watch_error_u_s=float(np.sqrt(fit.covariance[WATCH, WATCH])) if timed else None,
        noon_altitude_deg=board.noon_light_deg,
        noon_shadow=noon,
        flags=list(dict.fromkeys(flags)),
        remarks=remarks,
        contradicted=contradicted,
    )


def _doubted(reduced: Reduced, verdict: Verdict | None) -> Reduced:
    """What the readings of a board that contradicts its record ask to be said of it."""
    fit, board = reduced.fit, reduced.board
    flags, said = list(reduced.flags), []
    if verdict is None:
        return reduced
    freed = verdict.adopted.sets_aside
    if verdict.explanation is not None:
        flags += [Flag.RECORD_DOUBTFUL, *_statement_flags(verdict)]
        said.append(verdict.explanation.sentence)
    elif verdict.unexplained:
        said.append(_UNEXPLAINED)
    if "watch" in freed or "times" in freed:
        said.append(_watch_remark(board, fit, verdict.adopted))
    if "height" in freed:
        said.append(_height_remark(board, fit))
    # Marks that a mistake explains are not to be stated coarser than they are.
    unexplained = verdict.explanation is None and (verdict.unexplained or fit.spread > 1.0)
    if unexplained or not fit.converged:
        flags.append(Flag.SCATTER_LARGE)
    widened = verdict.fit.azimuth_u_rad > 1.5 * verdict.own_u_rad
    if not reduced.determined:
        said.append("Until it is put right no direction is given.")
        flags.append(Flag.RECORD_DOUBTFUL)
    elif widened and verdict.explanation is None and verdict.adopted.kind == AS_STATED:
        # What is stated is the likeliest all the same: it is not accused.
        said.append(_strain_remark(verdict))
    elif widened:
        said.append(_wide_remark(verdict))
        flags.append(Flag.RECORD_DOUBTFUL)
    if verdict.explanation is not None:
        # What the explanation covers needs no flag of its own.
        covered = {Flag.FEW_PAIRS, Flag.BLUNDER} - ({Flag.BLUNDER} if not fit.kept.all() else set())
        flags = [flag for flag in flags if flag not in covered]
    return replace(
        reduced,
        explanation=verdict.explanation,
        doubt=_doubt(verdict, said),
        flags=list(dict.fromkeys(flags)),
        remarks=[*said, *_but_for_noon(reduced, flags)],
        contradicted=verdict.plain,
    )


def _but_for_noon(reduced: Reduced, flags: Sequence[str]) -> list[str]:
    """The remarks; the latitude at noon only where nothing but the watch is in doubt."""
    noon = reduced.noon_shadow
    if noon is None or Flag.RECORD_DOUBTFUL not in flags or Flag.WATCH_DOUBTFUL in flags:
        return reduced.remarks
    return [said for said in reduced.remarks if said != _noon_remark(noon)]


def _doubt(verdict: Verdict, said: list[str]) -> str:
    """What the board most likely suffers, in one line."""
    if verdict.explanation is not None:
        return f"This would explain the marks: {verdict.explanation.short}."
    return " ".join(said)


def _strain_remark(verdict: Verdict) -> str:
    """Why a line is wider though nothing stated is set aside: the reading farthest from it."""
    azimuth = verdict.fit.state.board_azimuth_rad
    other = max(verdict.living, key=lambda each: each.apart_rad(azimuth)).meant
    also = f"they fit nearly as well if {other.words}"
    if other.kind == AS_STATED:
        also = "they can be read in other ways"
    return (
        f"The marks strain what was stated of the board, and {also}: the line is as uncertain as "
        "the readings are apart."
    )


def _wide_remark(verdict: Verdict) -> str:
    """Why a line is wider than its adjustment; the likeliest reading where none explains it."""
    words = verdict.adopted.words
    if verdict.explanation is None and not verdict.unexplained and words:
        return (
            f"The marks fit best if {words}; other readings are nearly as likely, and the line is "
            "as uncertain as they are apart."
        )
    return "Until it is put right the line is as uncertain as the readings are apart."


def _statement_flags(verdict: Verdict) -> list[str]:
    """Flags of the statements that every reading told of sets aside."""
    explanation = verdict.explanation
    if explanation is None:
        return []
    shared = set.intersection(*(set(each) for each in explanation.sets_aside))
    return list(dict.fromkeys(flag for kind, flag in _FLAG_OF_STATEMENT.items() if kind in shared))


_FLAG_OF_STATEMENT = {
    "watch": Flag.WATCH_DOUBTFUL,
    "times": Flag.WATCH_DOUBTFUL,
    "rounding": Flag.WATCH_DOUBTFUL,
    "height": Flag.HEIGHT_DOUBTFUL,
    "latitude": Flag.HEIGHT_DOUBTFUL,
    "level": Flag.LEVEL_DOUBTFUL,
    "foot": Flag.LEVEL_DOUBTFUL,
    "corner": Flag.LEVEL_DOUBTFUL,
    "moved": Flag.BOARD_MOVED,
    "marking": Flag.SCATTER_LARGE,
    "edge": Flag.SCATTER_LARGE,
}


def _told_apart(reduced: Reduced) -> Reduced:
    """A method by hand far from the adjustment contradicts it: the line is as wide as that."""
    azimuth = float(np.radians(reduced.board_azimuth_deg))
    own = reduced.methods["adjustment"].azimuth_u_rad
    worst = 0.0
    for name in ("pairs", "timed"):
        other = reduced.methods.get(name)
        if other is None:
            continue
        apart = abs(float(np.angle(np.exp(1j * (other.azimuth_rad - azimuth)))))
        if apart > CONTRARY * np.hypot(other.azimuth_u_rad, own):
            worst = max(worst, apart)
    if not worst or worst / COVERAGE_95 <= own:
        return reduced
    return replace(
        widened(reduced, worst / COVERAGE_95),
        flags=list(dict.fromkeys([*reduced.flags, Flag.RECORD_DOUBTFUL])),
        doubt=reduced.doubt or _APART,
        remarks=[_APART, *reduced.remarks],
    )


def widened(reduced: Reduced, u_rad: float) -> Reduced:
    adjusted = replace(reduced.methods["adjustment"], azimuth_u_rad=u_rad)
    return replace(
        reduced,
        board_azimuth_u_deg=float(np.degrees(u_rad)),
        methods={**reduced.methods, "adjustment": adjusted},
    )


def _reduce_some(records: Sequence[Record], search: bool) -> list[Reduced | None]:
    """Boards reduced together; one by one where a board's figures cannot be borne."""
    try:
        return list(done([_reduction(each, search) for each in records]))
    except (ArithmeticError, np.linalg.LinAlgError):
        if len(records) == 1:
            return [None]
        return [each for record in records for each in _reduce_some([record], search)]


def reduce_boards(
    boards: list[Board],
    workers: int = 1,
    advance: Callable[[int], None] = lambda _: None,
    search: bool = True,
) -> list[Reduced | None]:
    """Reduce many boards, in the order given, on several processes where that is worth it.

    Args:
        boards, search: as for `reduce_board`; one whose figures no method can bear is None
            and stops no other.
        workers: processes.
        advance: called with the number of boards done.
    """
    return reduce_records([Record(board) for board in boards], workers, advance, search)


def reduce_records(
    records: Sequence[Record],
    workers: int = 1,
    advance: Callable[[int], None] = lambda _: None,
    search: bool = True,
) -> list[Reduced | None]:
    """The same of boards of which more is known of how they were recorded."""
    parts = [records[first : first + _TOGETHER] for first in range(0, len(records), _TOGETHER)]
    work = partial(_reduce_some, search=search)
    if workers <= 1 or len(records) < _FEW:
        return _collected(map(work, parts), advance)
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(workers) as pool:
        return _collected(pool.map(work, parts), advance)


def _collected(
    parts: Iterable[list[Reduced | None]], advance: Callable[[int], None]
) -> list[Reduced | None]:
    reduced: list[Reduced | None] = []
    for part in parts:
        reduced += part
        advance(len(part))
    return reduced


# What was stated, and what the marks say of it ------------------------------------------


def _watch_remark(board: Board, fit: Fit, reading: Meant) -> str:
    if not reading.by_time:
        return (
            "The marks fit the sun's track but not their times: the times were set aside. If they "
            "are worth nothing, put watch = none."
        )
    off_s = float(fit.state.watch_error_s) - board.watch_error_s
    # A clock's face knows no day: 14 h fast is 10 h slow.
    off_s -= 86400.0 * np.trunc(off_s / 43201.0)
    u_s = float(np.sqrt(fit.covariance[WATCH, WATCH]))
    found = f"The watch was {_duration(off_s)} {'fast' if off_s > 0 else 'slow'}"
    found += f" (±{_duration(COVERAGE_95 * u_s)}, 95 %) against what was stated"
    quarter_hours = off_s / 900.0
    near = round(quarter_hours)
    if 0 < abs(near) <= 56 and abs(off_s - 900.0 * near) < max(180.0, 3 * u_s):
        kind = "summer time or the zone next door" if abs(near) == 4 else "set to another time zone"
        if near % 2 == 0:
            found += f": {abs(near) / 4:g} h, as if it were {kind}"
    return found + ". Its setting was solved for from the marks."


def _height_remark(board: Board, fit: Fit) -> str:
    height = float(fit.state.height_mm)
    u_mm = COVERAGE_95 * float(np.sqrt(fit.covariance[HEIGHT, HEIGHT]))
    return (
        f"The shadow lengths ask for a rod {height:.1f} mm ± {u_mm:.1f} mm (95 %) tall, not "
        f"{board.height_mm:.1f} mm. The height was solved for from the marks."
    )


def _duration(seconds: float) -> str:
    seconds = abs(seconds)
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.1f} min"
    return f"{seconds / 3600:.2f} h"


def _latitude_asked(board: Board, fit: Fit, reading: Meant) -> Asked | None:
    """The adjustment of the kept marks with the site's latitude forgotten.

    Args:
        board: with all its marks.
        fit: the adopted fit of them.
        reading: what that fit sets aside; the height is needed here, and taken as stated.
    """
    kept = _kept(board, fit)
    if kept.count < 3 or reading.free_height:
        return None
    near = replace(fit, utc_s=fit.utc_s[fit.kept]) if fit.kept.any() else fit
    return Asked(kept, reading.free_watch, free_latitude=True, by_time=reading.by_time, near=near)


def _latitude(board: Board, free: Fit | None) -> tuple[float | None, float | None]:
    """Latitude by the board alone, where its marks tell it."""
    if free is None:
        return None, None
    u_deg = float(np.degrees(np.sqrt(free.covariance[LATITUDE, LATITUDE])))
    found = board.latitude_deg + float(np.degrees(free.state.latitude_rad))
    if not free.converged or u_deg > 5.0 or abs(found) > 90.0:
        return None, None
    return found, u_deg


def _noon_remark(noon: NoonShadow) -> str:
    return (
        f"At noon the shadow was {noon.length_mm:.0f} mm: the sun {noon.zenith_distance_deg:.2f}° "
        f"from the zenith, which makes the latitude {latitude_text(noon.latitude_deg)} ± "
        f"{at_95(noon.u_deg)} (95 %)."
    )


def _latitude_remark(latitude: float | None, u: float | None, board: Board) -> str:
    if latitude is None or u is None or abs(latitude - board.latitude_deg) <= DOUBTFUL_PULL * u:
        return ""
    return (
        f"By its shadow lengths the board stands at latitude {latitude_text(latitude)} ± "
        f"{at_95(u)} (95 %), not at the site's {latitude_text(board.latitude_deg)}."
    )


# The marks ------------------------------------------------------------------------------


def halves(board: Board, fit: Fit) -> NDArray[np.int8]:
    """Morning or afternoon of each mark: as told, or by the instant the fit found for it."""
    found = np.where(fit.utc_s < board.noon_utc_s, -1, 1).astype(np.int8)
    return np.where(board.half != 0, board.half, found)


def _by_hand(
    board: Board, half: NDArray[np.int8], reading: Meant, noon: Fit | None
) -> dict[str, MethodResult]:
    found: dict[str, MethodResult | None] = {
        "pairs": byhand.pairs(board, half),
        "shortest": byhand.shortest(board, noon),
        "timed": byhand.timed(board) if reading.by_time and not reading.free_watch else None,
    }
    return {name: result for name, result in found.items() if result is not None}


def _mark_flags(
    board: Board, fit: Fit, half: NDArray[np.int8], methods: dict[str, MethodResult]
) -> list[str]:
    flags: list[str] = []
    kept = fit.kept if fit.kept.any() else np.ones(board.count, dtype=bool)
    from_noon_s = fit.utc_s[kept] - board.noon_utc_s
    if np.abs(from_noon_s).max() * sun.SUN_RATE_DEG_PER_S <= NEAR_NOON_DEG:
        flags.append(Flag.NEAR_NOON)
    if abs(int(np.sum(half[kept]))) == int(kept.sum()):
        flags.append(Flag.ONE_SIDED)
    elif "pairs" not in methods or methods["pairs"].n < 3:
        flags.append(Flag.FEW_PAIRS)
    if not fit.kept.all():
        flags.append(Flag.BLUNDER)
    return flags


def _fit_remarks(board: Board, fit: Fit, methods: dict[str, MethodResult]) -> list[str]:
    remarks = []
    if not fit.converged:
        remarks.append("The adjustment did not settle: take its figures with caution.")
    if np.degrees(fit.azimuth_u_rad) > WIDEST_U_DEG:
        remarks.append(NO_DIRECTION)
        return remarks
    if fit.worst_pull > STRAINED:
        remarks.append(
            "The marks pull what was stated of the board (level, foot, height, watch, edge) "
            f"{np.sqrt(fit.worst_pull):.1f} times as far as its tolerances say: the figure takes "
            "them to be too narrow."
        )
    if fit.spread > 1.0:
        remarks.append(
            f"The marks scatter {fit.spread:.1f} times more than the stated tolerances allow; "
            "the uncertainty is widened by as much."
        )
    remarks += _differences(fit, methods)
    return remarks


def _differences(fit: Fit, methods: dict[str, MethodResult]) -> list[str]:
    """A sentence on each method by hand that stands apart from the adjustment."""
    remarks = []
    for name, why in (
        ("pairs", "Pairs use lengths alone and cancel what is steady"),
        ("shortest", "The day's curve laid over the marks around noon, where it turns fast"),
        ("timed", "Timed marks by hand carry the whole error of the watch and of the level"),
    ):
        if name not in methods:
            continue
        other = methods[name]
        apart = float(np.angle(np.exp(1j * (other.azimuth_rad - fit.state.board_azimuth_rad))))
        u = float(np.hypot(other.azimuth_u_rad, fit.azimuth_u_rad))
        verdict = "within" if abs(apart) <= COVERAGE_95 * u else "outside"
        remarks.append(
            f"{name}: {small_angle(np.degrees(apart), plus=True)} from the adjustment, {verdict} "
            f"what the two uncertainties allow (±{small_angle(COVERAGE_95 * np.degrees(u))}, "
            f"95 %). {why}."
        )
    return remarks
