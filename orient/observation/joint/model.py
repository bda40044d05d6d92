"""What set-ups share, as unknowns: lines, levels, rods, watches, eyes, places.

Every unknown of a board is tied to what is stated of it, or, where it is shared, to the shared
unknown, by a tolerance of its own: a levelling scatters about its level's bias, a watch is read
to a second. What is shared has its stated tolerance once, however many set-ups there are.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180
from orient.observation.adjustment import Fit
from orient.observation.board import Board
from orient.observation.joint.linear import AZIMUTH, LATITUDE, SCALE, STATE, WATCH

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: The kinds of thing that set-ups share, in the order in which people are told of them.
KINDS = ("timepiece", "rod", "level", "observer", "line", "place")
#: A board's ties: to each of the shared unknowns it can have. The kind of each, and the
#: unknown of the board that it acts on; a watch has its error and its rate.
TIE_KIND = ("line", "level", "level", "rod", "timepiece", "timepiece", "observer", "place", "place")
TIE_ROW = np.array([0, 3, 4, 5, 6, 6, 7, 8, 9])
LINE, ROD, WATCH_ERROR, WATCH_RATE, EDGE = 0, 3, 4, 5, 6

DAY_S = 86400.0
#: A watch's rate before anything is known of it, seconds a day: a quartz watch (*common
#: practice, no source*); and one that comparisons are kept of, which may be of any kind.
RATE_SD_S, COMPARED_RATE_SD_S = 1.0, 60.0
#: What is each set-up's own beside what is shared (*common practice, no source*): a watch is
#: read to a second and a rod stands to 0.1 mm; half the variance of a level is its bias, half
#: scatters from one levelling to the next; a tenth of an eye's habit changes from day to day;
#: set-ups of one site stand within 5 m.
READING_SD_S, STANDING_SD_MM, LEVEL_BIAS_SHARE, HABIT_CHANGE = 1.0, 0.1, 0.5, 0.1
STAND_SD_RAD = 5.0 / 6.371e6
_FLAT_RAD, _FLAT_WATCH_S, _FLAT_PLACE_RAD = 10.0, 86400.0, 1.0
_FIXED = 1e-9


@dataclass(frozen=True)
class Member:
    """A set-up that takes part: its board, its own adjustment, and what it says it shares.

    `shares` gives, by kind, the key of what is shared; a kind that is missing is its own.
    `line_direction_rad` is the board direction of its reference line, known to `line_sd_rad`.
    `place_sd_rad` is how well the place is known, each axis; 0 where that is of no account,
    and `place_stated` whether the crew says so itself; where it is not known at all,
    `longitude_prior` is how much farther east than the board's it is taken to lie beforehand, and
    how well that is known, radians, and nothing is known of its latitude.
    `sd_factor` is how many times the stated tolerance its marks scatter, as far as it tells.
    """

    name: str
    board: Board
    fit: Fit
    shares: dict[str, Hashable]
    line_direction_rad: float = 0.0
    line_sd_rad: float = 1.0
    place_sd_rad: float = 0.0
    place_stated: bool = False
    longitude_prior: tuple[float, float] | None = None
    watch_own_sd_s: float = READING_SD_S
    sd_factor: float = 1.0


@dataclass(frozen=True)
class Comparison:
    """A watch compared with a time signal: watch minus true, seconds."""

    utc_s: float
    error_s: float
    sd_s: float


@dataclass
class Statements:
    """What is known of the shared unknowns beforehand, as observations of them."""

    place: list[int] = field(default_factory=list)
    other: list[int] = field(default_factory=list)
    factor: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    sd: list[float] = field(default_factory=list)

    def add(
        self, place: int, value: float, sd: float, other: int = -1, factor: float = 0.0
    ) -> None:
        """`value` ± `sd` of an unknown, or of it and `factor` times another."""
        for values, each in (
            (self.place, place), (self.other, other), (self.factor, factor),
            (self.value, value), (self.sd, sd),
        ):  # fmt: skip
            cast(list[float], values).append(each)


@dataclass(frozen=True)
class Shared:
    """One shared thing: its kind, its key, its unknowns, and the members that share it.

    `epoch_s` is when a watch has its error, `anew` how many times it was found set anew.
    """

    kind: str
    key: Hashable
    unknowns: tuple[int, ...]
    members: tuple[int, ...]
    epoch_s: float = 0.0
    anew: int = 0


@dataclass(frozen=True)
class Model:
    """The campaign as one adjustment, B boards and m shared unknowns, in units of `SCALE`.

    `nominal` (B, 10) is what each unknown is with every shared unknown zero, `own_var` its
    own variance about that. `column` (B, 9) is the shared unknown of each tie, −1 for none,
    and `factor` (B, 9) what it is multiplied with. `alone_nominal` and `alone_var` are the
    same for a tie that is cut. `first` (m,) are the shared unknowns to begin with.
    """

    members: Sequence[Member]
    things: list[Shared]
    nominal: Array
    own_var: Array
    column: Index
    factor: Array
    alone_nominal: Array
    alone_var: Array
    free: NDArray[np.bool_]
    statements: Statements
    first: Array

    @property
    def size(self) -> int:
        return len(self.first)

    @cached_property
    def of_board(self) -> list[list[Shared]]:
        """The things that each board has a part in."""
        found: list[list[Shared]] = [[] for _ in self.members]
        for thing in self.things:
            for number in dict.fromkeys(thing.members):
                found[number].append(thing)
        return found

    def design(self) -> Array:
        """How each unknown of a board follows its ties: (B, 10, 9)."""
        matrix = np.zeros((len(self.nominal), len(STATE), len(TIE_ROW)))
        matrix[:, TIE_ROW, np.arange(len(TIE_ROW))] = np.where(self.column >= 0, self.factor, 0.0)
        return matrix

    def cut(self, board: int, row: int) -> Model:
        """The same without a board's ties of one of its unknowns."""
        column, nominal, own_var = self.column.copy(), self.nominal.copy(), self.own_var.copy()
        column[board, row == TIE_ROW] = -1
        nominal[board, row] = self.alone_nominal[board, row]
        own_var[board, row] = self.alone_var[board, row]
        return replace(self, column=column, nominal=nominal, own_var=own_var)

    def loosened(self, boards: Sequence[int], row: int, variance: float) -> Model:
        """The same with more variance of some boards' own about what they share."""
        own_var = self.own_var.copy()
        own_var[list(boards), row] += variance
        return replace(self, own_var=own_var)

    def split_watch(self, thing: Shared, after: Sequence[int]) -> Model:
        """The same with another error, at the same rate, of a watch from some board on."""
        column, statements = self.column.copy(), copied(self.statements)
        new = self.size
        column[list(after), WATCH_ERROR] = new
        _state_watch(statements, [self.members[n] for n in after], new, thing)
        first = np.append(self.first, self.first[thing.unknowns[0]])
        before = replace(thing, members=tuple(n for n in thing.members if n not in set(after)))
        unknowns = (new, thing.unknowns[1])
        anew = replace(thing, unknowns=unknowns, members=tuple(after), anew=thing.anew + 1)
        things = [each for each in self.things if each is not thing] + [before, anew]
        return replace(self, things=things, column=column, statements=statements, first=first)

    def freed_place(self, thing: Shared) -> Model:
        """The same with nothing known of where a site lies."""
        statements = copied(self.statements)
        for number, place in enumerate(statements.place):
            if place in thing.unknowns:
                statements.sd[number] = _FLAT_PLACE_RAD / SCALE[LATITUDE]
        return replace(self, statements=statements)


def copied(statements: Statements) -> Statements:
    """The same, to be changed."""
    return Statements(*(list(values) for values in vars(statements).values()))


def model(members: Sequence[Member], compared: dict[Hashable, list[Comparison]]) -> Model:
    """Lay out what is shared.

    Args:
        members: the set-ups that take part.
        compared: of each timepiece, by its key, its comparisons with a time signal.
    """
    count = len(members)
    build = _Building(
        nominal=np.array([np.asarray(member.board.nominal()) for member in members]),
        own_var=np.array([_own_var(member) for member in members]),
        column=np.full((count, len(TIE_ROW)), -1, dtype=np.intp),
        factor=np.zeros((count, len(TIE_ROW))),
    )
    build.nominal = np.column_stack([build.nominal, np.zeros(count)])
    alone_nominal, alone_var = build.nominal.copy(), build.own_var.copy()
    for kind in KINDS:
        for key, numbers in _sharers(members, kind).items():
            if len(numbers) > 1 or kind == "place":
                _TIES[kind](build, key, numbers, members, compared.get(key, []))
    scaled_var = SCALE**2
    return Model(
        members,
        build.things,
        build.nominal / SCALE,
        build.own_var / scaled_var,
        build.column,
        build.factor,
        alone_nominal / SCALE,
        alone_var / scaled_var,
        build.own_var > _FIXED**2,
        build.statements,
        np.array(build.first),
    )


def _own_var(member: Member) -> Array:
    """Variance of a board's unknowns that shares nothing, in their own units."""
    sd = np.append(member.board.tolerances.prior_sd(), 0.0)
    sd[AZIMUTH] = _FLAT_RAD
    if member.board.watch == "running":
        sd[WATCH] = _FLAT_WATCH_S
    return np.asarray(np.maximum(sd, _FIXED) ** 2)


def _sharers(members: Sequence[Member], kind: str) -> dict[Hashable, list[int]]:
    keys: dict[Hashable, list[int]] = {}
    for number, member in enumerate(members):
        if kind in member.shares:
            keys.setdefault(member.shares[kind], []).append(number)
    return keys


@dataclass
class _Building:
    nominal: Array
    own_var: Array
    column: Index
    factor: Array
    things: list[Shared] = field(default_factory=list)
    statements: Statements = field(default_factory=Statements)
    first: list[float] = field(default_factory=list)

    def unknowns(self, count: int) -> tuple[int, ...]:
        start = len(self.first)
        self.first += [0.0] * count
        return tuple(range(start, start + count))

    def tie(self, numbers: Sequence[int], tie: int, unknown: int, own_sd: Array | float) -> None:
        row = TIE_ROW[tie]
        self.column[numbers, tie] = unknown
        self.factor[numbers, tie] = 1.0
        self.own_var[numbers, row] = np.maximum(own_sd, _FIXED) ** 2


_Tie = Callable[
    [_Building, Hashable, list[int], Sequence[Member], list[Comparison]], None
]  # fmt: skip


def _tie_line(
    build: _Building, key: Hashable, numbers: list[int], members: Sequence[Member], _: object
) -> None:
    (unknown,) = build.unknowns(1)
    build.nominal[numbers, AZIMUTH] = [-members[n].line_direction_rad for n in numbers]
    build.tie(numbers, LINE, unknown, np.array([members[n].line_sd_rad for n in numbers]))
    seen = np.array(
        [members[n].fit.state.board_azimuth_rad + members[n].line_direction_rad for n in numbers]
    )
    apart = np.radians(wrap_180(np.degrees(seen - seen[0])))
    build.first[unknown] = float(seen[0] + np.median(apart)) / SCALE[AZIMUTH]
    build.statements.add(unknown, build.first[unknown], _FLAT_RAD / SCALE[AZIMUTH])
    build.things.append(Shared("line", key, (unknown,), tuple(numbers)))


def _tie_level(
    build: _Building, key: Hashable, numbers: list[int], members: Sequence[Member], _: object
) -> None:
    sd = np.array([members[n].board.tolerances.prior_sd()[3] for n in numbers])
    unknowns = build.unknowns(2)
    for tie, unknown in zip((1, 2), unknowns, strict=True):
        build.tie(numbers, tie, unknown, sd * np.sqrt(1.0 - LEVEL_BIAS_SHARE))
        bias = float(np.median(sd)) * np.sqrt(LEVEL_BIAS_SHARE)
        build.statements.add(unknown, 0.0, bias / SCALE[TIE_ROW[tie]])
    build.things.append(Shared("level", key, unknowns, tuple(numbers)))


def _tie_rod(
    build: _Building, key: Hashable, numbers: list[int], members: Sequence[Member], _: object
) -> None:
    (unknown,) = build.unknowns(1)
    build.tie(numbers, ROD, unknown, STANDING_SD_MM)
    sd = min(members[n].board.tolerances.height_sd_mm for n in numbers)
    build.statements.add(unknown, 0.0, max(sd, _FIXED) / SCALE[5])
    build.things.append(Shared("rod", key, (unknown,), tuple(numbers)))


def _tie_watch(
    build: _Building,
    key: Hashable,
    numbers: list[int],
    members: Sequence[Member],
    compared: list[Comparison],
) -> None:
    noon = np.array([members[n].board.noon_utc_s for n in numbers])
    epoch = float(np.mean(noon))
    error, rate = build.unknowns(2)
    own = np.array([members[n].watch_own_sd_s for n in numbers])
    build.nominal[numbers, WATCH] = 0.0
    build.tie(numbers, WATCH_ERROR, error, own)
    build.tie(numbers, WATCH_RATE, rate, own)
    build.factor[numbers, WATCH_RATE] = (noon - epoch) / DAY_S
    build.first[error] = (
        float(np.median([members[n].fit.state.watch_error_s for n in numbers])) / SCALE[WATCH]
    )
    thing = Shared("timepiece", key, (error, rate), tuple(numbers), epoch)
    rate_sd = COMPARED_RATE_SD_S if len(compared) > 1 else RATE_SD_S
    build.statements.add(rate, 0.0, rate_sd / SCALE[WATCH])
    for each in compared:
        build.statements.add(
            error,
            each.error_s / SCALE[WATCH],
            each.sd_s / SCALE[WATCH],
            rate,
            (each.utc_s - epoch) / DAY_S,
        )
    if not compared:
        _state_watch(build.statements, [members[n] for n in numbers], error, thing)
    build.things.append(thing)


def _state_watch(
    statements: Statements, members: Sequence[Member], error: int, thing: Shared
) -> None:
    """What the set-ups state of their watch: the same figure again is the same statement."""
    said: dict[tuple[float, float], list[float]] = {}
    for member in members:
        if member.board.watch == "trusted":
            stated = (member.board.watch_error_s, member.board.tolerances.watch_sd_s)
            said.setdefault(stated, []).append(member.board.noon_utc_s)
    for (error_s, sd_s), noons in said.items():
        statements.add(
            error,
            error_s / SCALE[WATCH],
            max(sd_s, _FIXED) / SCALE[WATCH],
            thing.unknowns[1],
            (float(np.mean(noons)) - thing.epoch_s) / DAY_S,
        )
    if not said:
        statements.add(error, 0.0, _FLAT_WATCH_S / SCALE[WATCH])


def _tie_observer(
    build: _Building, key: Hashable, numbers: list[int], members: Sequence[Member], _: object
) -> None:
    (unknown,) = build.unknowns(1)
    sd = np.array([members[n].board.tolerances.prior_sd()[7] for n in numbers])
    build.tie(numbers, EDGE, unknown, sd * HABIT_CHANGE)
    build.statements.add(unknown, 0.0, float(np.median(sd)) / SCALE[7])
    build.things.append(Shared("observer", key, (unknown,), tuple(numbers)))


def _tie_place(
    build: _Building, key: Hashable, numbers: list[int], members: Sequence[Member], _: object
) -> None:
    first = members[numbers[0]]
    sd = first.place_sd_rad
    if not sd:
        return
    unknowns = build.unknowns(2)
    per_longitude = 1.0 / max(np.cos(np.radians(first.board.latitude_deg)), 1e-3)
    known = [(0.0, sd), (0.0, sd * per_longitude)]
    if first.longitude_prior is not None:
        known = [(0.0, _FLAT_PLACE_RAD), first.longitude_prior]
    for tie, unknown, widen, (value, own) in zip(
        (7, 8), unknowns, (1.0, per_longitude), known, strict=True
    ):
        build.tie(numbers, tie, unknown, STAND_SD_RAD * widen)
        scale = float(SCALE[TIE_ROW[tie]])
        build.statements.add(unknown, value / scale, own / scale)
    build.things.append(Shared("place", key, unknowns, tuple(numbers)))


_TIES: dict[str, _Tie] = {
    "timepiece": _tie_watch,
    "rod": _tie_rod,
    "level": _tie_level,
    "observer": _tie_observer,
    "line": _tie_line,
    "place": _tie_place,
}
