"""A campaign's set-ups adjusted as one: who takes part, and what each is told of it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from orient.flags import Flag
from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.shadow import BoardState
from orient.observation.adjustment import Asked, Fit, adjust_all
from orient.observation.advice import advice_together
from orient.observation.joint import words
from orient.observation.joint.copies import copies
from orient.observation.joint.linear import HEIGHT, LATITUDE, LONGITUDE, WATCH
from orient.observation.joint.model import Comparison, Member
from orient.observation.joint.places import Found
from orient.observation.joint.rough import reread
from orient.observation.joint.together import Adjusted, Together, adjust_together
from orient.observation.joint.verdict import STATED, Finding
from orient.observation.joint.watches import comparisons, watch_own_sd_s
from orient.observation.mistakes.weighing import strained_u_rad
from orient.observation.reduction import Reduced, widened
from orient.tables.campaign import Campaign

#: What keeps a set-up out: its own record is in doubt.
_DOUBTFUL = frozenset(
    {
        Flag.WATCH_DOUBTFUL,
        Flag.HEIGHT_DOUBTFUL,
        Flag.LEVEL_DOUBTFUL,
        Flag.BOARD_MOVED,
        Flag.SCATTER_LARGE,
        Flag.RECORD_DOUBTFUL,
    }
)
#: A figure that was widened by more than this part says that something else may be true.
_WIDENED = 1.2
#: Standard uncertainties beyond which a set-up has a line elsewhere: by chance 1 in 1,000.
_ELSEWHERE = 3.29
_EARTH_M = 6.371e6
# How well a site is known where nothing is said: read off a map by eye.
_PLACE_SD_M = 100.0


@dataclass(frozen=True)
class JointLine:
    """A reference line by all the set-ups that bear on it; degrees, astronomic."""

    azimuth_deg: float
    azimuth_u_deg: float
    setups: tuple[str, ...]


@dataclass
class Joined:
    """What the joint adjustment has of one set-up.

    `reduced` is its reduction with the joint azimuth, None where it took no part; `line` its
    reference line where others bear on it too; `apart_deg` how far its own drawing of the line
    lies from theirs where it was set apart. `findings` are what is shared and does not fit;
    they, `remarks` and `flags` are told with the row's.
    `together` is the adjustment that it took part in, the same for all that did, and `adjusted`
    what that has of it.
    """

    reduced: Reduced | None = None
    line: JointLine | None = None
    apart_deg: float = 0.0
    together: Together | None = None
    adjusted: Adjusted | None = None
    flags: list[str] = field(default_factory=list)
    findings: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def join(
    campaign: Campaign,
    reduced: Sequence[Reduced | None],
    marks: Sequence[pd.DataFrame],
    found: Mapping[str, Found],
    alone: Sequence[Reduced | None],
) -> list[Joined]:
    """Adjust the set-ups that share anything as one.

    Args:
        campaign: its tables.
        reduced: of each set-up, by itself, at the place of its site.
        marks: of each set-up, those in use.
        found: where each site without coordinates lies about.
        alone: what is told of each set-up by itself: at such a site its place is its own.

    Returns:
        What the joint adjustment has of each set-up; nothing where it shares nothing.
    """
    joined = [Joined() for _ in reduced]
    copied = copies(marks)
    names = [str(name) for name in campaign.setups.index]
    for number, original in copied.items():
        joined[number].flags.append(Flag.COPIED_MARKS)
        joined[number].remarks.append(words.copied(names[original]))
    spelt = _spelt(campaign)
    observers = [_observer(campaign, number, spelt) for number in range(len(names))]
    doubtful = [each is not None and not _sound(each) for each in reduced]
    again = reread(reduced, observers, doubtful)
    reduced = [again[n][0] if n in again else each for n, each in enumerate(reduced)]
    sound = [
        number
        for number, each in enumerate(reduced)
        if each is not None
        and number not in copied
        and _sound(each)
        and not _elsewhere_too(campaign, number, found)
    ]
    compared = {spelt.get(str(key), key): each for key, each in comparisons(campaign).items()}
    members = [
        _member(
            campaign,
            number,
            reduced[number],
            compared,
            spelt,
            again[number][1] if number in again else None,
            found.get(str(campaign.setups["site"].iloc[number])),
        )
        for number in sound
    ]
    taking = _sharing(members)
    _tell_left_out(campaign, reduced, joined, copied, {sound[n] for n in taking})
    left = sorted({*range(len(names))} - {*sound})
    if not taking:
        _doubt_watches(campaign, reduced, joined, sound)
        _hold_against_lines(campaign, reduced, joined, sound, left)
        return joined
    chosen = [members[n] for n in taking]
    together = adjust_together(chosen, compared, [observers[sound[n]] for n in taking])
    numbers = [sound[n] for n in taking]
    for place, number in enumerate(numbers):
        _fill(joined[number], together, place, reduced[number], alone[number])
    _tell_findings(campaign, joined, numbers, together)
    _doubt_watches(campaign, reduced, joined, sound)
    _hold_against_lines(campaign, reduced, joined, sound, left)
    return joined


def _doubt_watches(
    campaign: Campaign, reduced: Sequence[Reduced | None], joined: list[Joined], sound: list[int]
) -> None:
    """Widen the rest where a watch's set-ups, half of them or more, contradict it by their marks.

    A rest whose own marks do not tell reaches what it has with the watch unknown.
    """
    pieces = [folded(name) for name in campaign.setups["timepiece"]]
    wrong = [
        piece if each is not None and Flag.WATCH_DOUBTFUL in each.flags else ""
        for piece, each in zip(pieces, reduced, strict=True)
    ]
    for number in sound:
        piece, each = pieces[number], joined[number].reduced or reduced[number]
        if not piece or each is None or 2 * wrong.count(piece) < pieces.count(piece):
            continue
        (free,) = adjust_all([Asked(each.board, free_watch=True)])
        turn = free.state.board_azimuth_rad - np.radians(each.board_azimuth_deg)
        u_rad = float(np.hypot(free.azimuth_u_rad, abs(np.angle(np.exp(1j * turn)))))
        joined[number].reduced = widened(each, u_rad)
        joined[number].flags.append(Flag.WATCH_DOUBTFUL)
        joined[number].findings.insert(0, words.WATCH_OF_OTHERS)
        if (line := joined[number].line) is not None:
            widest = max(line.azimuth_u_deg, float(np.degrees(u_rad)))
            joined[number].line = replace(line, azimuth_u_deg=widest)


def _hold_against_lines(
    campaign: Campaign,
    reduced: Sequence[Reduced | None],
    joined: list[Joined],
    sound: list[int],
    left: list[int],
) -> None:
    """Set apart those left out whose line lies elsewhere than the sound set-ups have it."""
    names = list(zip(campaign.setups["site"], campaign.setups["reference_name"], strict=True))
    lines: dict[object, JointLine] = {}
    for number in sound:
        line = joined[number].line or _line_alone(campaign, number, reduced[number])
        if line is not None:
            lines.setdefault(names[number], line)
    for number in left:
        own, line = _line_alone(campaign, number, reduced[number]), lines.get(names[number])
        if own is None or line is None:
            continue
        apart_deg = float(wrap_180(own.azimuth_deg - line.azimuth_deg))
        u_deg = float(np.hypot(own.azimuth_u_deg, line.azimuth_u_deg))
        if abs(apart_deg) > _ELSEWHERE * u_deg:
            called = str(names[number][1])
            said = words.set_apart(own.setups[0], called, np.radians(apart_deg), np.radians(u_deg))
            _set_apart(joined[number], reduced[number], apart_deg, said)


def _line_alone(campaign: Campaign, number: int, reduced: Reduced | None) -> JointLine | None:
    """The reference line of a set-up by itself, where it has one."""
    setup = campaign.setups.iloc[number]
    angle, sd_deg = float(setup["reference_angle_deg"]), float(setup["reference_sd_deg"])
    if reduced is None or not reduced.determined or not np.isfinite(angle):
        return None
    azimuth_deg = float(wrap_360(reduced.board_azimuth_deg + angle))
    u_deg = float(np.hypot(reduced.board_azimuth_u_deg, sd_deg))
    return JointLine(azimuth_deg, u_deg, (str(setup.name),))


def _set_apart(joined: Joined, own: Reduced | None, apart_deg: float, said: str) -> None:
    assert own is not None
    joined.flags.append(Flag.SET_APART)
    joined.findings.insert(0, said)
    joined.apart_deg = abs(apart_deg)
    # Its line, or the board: nothing tells which of the two is wrong.
    u_deg = float(np.hypot(own.board_azimuth_u_deg, apart_deg))
    joined.reduced = widened(own, float(np.radians(u_deg)))


def adjusted_alone(
    campaign: Campaign, number: int, reduced: Reduced, found: Found
) -> tuple[Reduced, Adjusted]:
    """A set-up at a site without coordinates by itself, its place an unknown too."""
    member = _member(campaign, number, reduced, {}, _spelt(campaign), None, found)
    member = replace(member, shares={"place": member.shares["place"]})
    together = adjust_together([member], {}, [None])
    return _with_joint(reduced, member, together.boards[0]), together.boards[0]


def _elsewhere_too(campaign: Campaign, number: int, found: Mapping[str, Found]) -> bool:
    """Whether a set-up's site may lie in quite another place."""
    at = found.get(str(campaign.setups["site"].iloc[number]))
    return at is not None and bool(at.rivals)


def _sound(reduced: Reduced) -> bool:
    """Whether a set-up's own record is such that it can bear on others."""
    if not reduced.determined or not reduced.fit.converged or not reduced.fit.kept.any():
        return False
    # A board that only strains what was stated takes part: together it shows what is wrong.
    own_rad = float(np.sqrt(sum(term**2 for term in reduced.fit.terms.values())))
    own_u = float(np.degrees(strained_u_rad(reduced.fit, own_rad)))
    return not _DOUBTFUL & set(reduced.flags) and reduced.board_azimuth_u_deg < _WIDENED * own_u


def _member(
    campaign: Campaign,
    number: int,
    reduced: Reduced | None,
    compared: dict[Hashable, list[Comparison]],
    spelt: dict[str, str],
    coarser: float | None,
    found: Found | None,
) -> Member:
    assert reduced is not None
    setup = campaign.setups.iloc[number]
    board, fit = reduced.board, reduced.fit
    if coarser is not None:
        stated = board.tolerances
        board = replace(
            board,
            tolerances=replace(
                stated,
                mark_sd_mm=stated.mark_sd_mm / coarser,
                edge_scatter=stated.edge_scatter / coarser,
            ),
        )
    shares: dict[str, Hashable] = {
        kind: spelt[folded(setup[kind])] for kind in ("timepiece", "level") if setup[kind]
    }
    if board.watch == "none" or not np.isfinite(board.watch_utc_s[fit.kept]).any():
        shares.pop("timepiece", None)
    if setup["rod"]:
        shares["rod"] = (spelt[folded(setup["rod"])], round(float(setup["gnomon_height_mm"]), 3))
    if setup["observer"]:
        shares["observer"] = (spelt[folded(setup["observer"])], board.edge)
    angle = float(setup["reference_angle_deg"])
    if np.isfinite(angle):
        shares["line"] = (str(setup["site"]), str(setup["reference_name"]))
    place_sd_m = float(campaign.sites.loc[setup["site"]].get("position_sd_m", np.nan))
    shares["place"] = str(setup["site"])
    return Member(
        name=str(setup.name),
        board=board,
        fit=fit,
        shares=shares,
        line_direction_rad=float(np.radians(np.nan_to_num(angle))),
        line_sd_rad=float(np.radians(np.nan_to_num(setup["reference_sd_deg"], nan=1.0))),
        place_sd_rad=float(np.nan_to_num(place_sd_m, nan=_PLACE_SD_M)) / _EARTH_M,
        place_stated=bool(np.isfinite(place_sd_m)) or found is not None,
        longitude_prior=None if found is None else found.prior_from(board.longitude_deg),
        sd_factor=fit.spread * (coarser or 1.0),
        watch_own_sd_s=watch_own_sd_s(compared.get(shares.get("timepiece"), []), board.noon_utc_s),
    )


def folded(name: object) -> str:
    """An id by which capitals and spaces make no difference."""
    return "".join(str(name).split()).casefold()


def _spelt(campaign: Campaign) -> dict[str, str]:
    """Each id as it is first spelt in the table, by its folded form."""
    names: dict[str, str] = {}
    for kind in ("timepiece", "rod", "level", "observer"):
        for name in campaign.setups[kind].unique():
            names.setdefault(folded(name), str(name))
    return names


def _observer(campaign: Campaign, number: int, spelt: dict[str, str]) -> str | None:
    name = campaign.setups["observer"].iloc[number]
    return spelt[folded(name)] if name else None


def _sharing(members: Sequence[Member]) -> list[int]:
    """The members that share anything with another, or whose place is uncertain."""
    users: dict[tuple[str, Hashable], int] = {}
    for member in members:
        for item in member.shares.items():
            users[item] = users.get(item, 0) + (item[0] != "place")
    return [
        number
        for number, member in enumerate(members)
        if member.place_stated or any(users[item] > 1 for item in member.shares.items())
    ]


def _tell_left_out(
    campaign: Campaign,
    reduced: Sequence[Reduced | None],
    joined: list[Joined],
    copied: dict[int, int],
    taking: set[int],
) -> None:
    """Say of a set-up whose own record is in doubt that it does not bear on the others."""
    setups = campaign.setups
    for number, each in enumerate(reduced):
        if each is None or number in taking or number in copied or _sound(each):
            continue
        row = setups.iloc[number]
        if any(
            row[kind] and (setups[kind] == row[kind]).sum() > 1
            for kind in ("timepiece", "rod", "level", "observer")
        ):
            joined[number].remarks.append(words.LEFT_OUT)


def _fill(
    joined: Joined,
    together: Together,
    place: int,
    reduced: Reduced | None,
    alone: Reduced | None,
) -> None:
    assert reduced is not None
    assert alone is not None
    adjusted = together.boards[place]
    joined.reduced = _with_joint(reduced, together.members[place], adjusted)
    joined.adjusted = adjusted
    joined.together = together
    line = adjusted.line
    if line is not None and len(line.members) > 0:
        joined.line = JointLine(
            float(wrap_360(np.degrees(line.azimuth_rad))),
            float(np.degrees(line.azimuth_u_rad)),
            tuple(together.members[n].name for n in line.members),
        )
    if joined.line is None or together.members[place].name in joined.line.setups:
        joined.remarks.append(words.gained(together, place, alone, joined.reduced))
    if 2.0 * adjusted.strain_rad**2 > adjusted.azimuth_u_rad**2:
        joined.remarks.append(words.STRAINED)
    if not any(place in finding.boards for finding in together.findings):
        joined.remarks += _what_would_help(joined, together, place)


def _what_would_help(joined: Joined, together: Together, place: int) -> list[str]:
    assert joined.reduced is not None
    factors = {name: float(each[place]) for name, each in together.better.items()}
    if joined.line is not None:
        said = advice_together(factors, joined.line.azimuth_u_deg)
    else:
        member, u_deg = together.members[place], joined.reduced.board_azimuth_u_deg
        drawn_deg = float(np.degrees(member.line_sd_rad)) if "line" in member.shares else 0.0
        whole_deg = float(np.hypot(u_deg, drawn_deg))
        factors = {n: float(np.hypot(f * u_deg, drawn_deg)) / whole_deg for n, f in factors.items()}
        factors["reference"] = float(np.hypot(u_deg, drawn_deg / 2)) / whole_deg
        said = advice_together(factors, whole_deg)
    return [said] if said else []


def _with_joint(reduced: Reduced, member: Member, adjusted: Adjusted) -> Reduced:
    fit = _joint_fit(reduced.fit, adjusted)
    board = reduced.board
    if member.longitude_prior is not None:
        # The board stands where it was found to stand.
        north, east = (float(adjusted.state[row]) for row in (LATITUDE, LONGITUDE))
        board = board.moved(float(np.degrees(north)), float(np.degrees(east)))
        terms = {("place" if name == "shared" else name): u for name, u in fit.terms.items()}
        fit = replace(fit, state=replace(fit.state, latitude_rad=0.0), terms=terms)
    azimuth_deg = float(np.degrees(fit.state.board_azimuth_rad))
    u_deg = float(np.degrees(fit.azimuth_u_rad))
    methods = dict(reduced.methods)
    methods["adjustment"] = replace(
        methods["adjustment"],
        azimuth_rad=float(fit.state.board_azimuth_rad),
        azimuth_u_rad=fit.azimuth_u_rad,
        terms=fit.terms,
    )
    timed = reduced.watch_error_s is not None
    return replace(
        reduced,
        board=board,
        board_azimuth_deg=azimuth_deg,
        board_azimuth_u_deg=u_deg,
        methods=methods,
        fit=fit,
        watch_error_s=float(fit.state.watch_error_s) if timed else None,
        watch_error_u_s=float(np.sqrt(adjusted.covariance[6, 6])) if timed else None,
    )


def _joint_fit(fit: Fit, adjusted: Adjusted) -> Fit:
    values = adjusted.state[:LONGITUDE].copy()
    values[0] = np.mod(values[0], 2.0 * np.pi)
    return replace(
        fit,
        state=BoardState(*values.tolist()),
        covariance=adjusted.covariance[:LONGITUDE, :LONGITUDE],
        terms=adjusted.terms,
    )


def _tell_findings(
    campaign: Campaign, joined: list[Joined], numbers: list[int], together: Together
) -> None:
    cut: dict[int, set[int]] = {}
    for finding in together.findings:
        if finding.kind == "place":
            # A wrong place is wrong for all that stood there, whoever took part.
            for number in np.flatnonzero(campaign.setups["site"] == finding.key):
                joined[number].flags.append(Flag.PLACE_DOUBTFUL)
                joined[number].findings.insert(0, words.finding(finding, together))
            continue
        if finding.kind == STATED:
            for board in finding.boards:
                each = joined[numbers[board]]
                each.flags.append(_DOUBTED[finding.row])
                each.findings.insert(0, words.finding(finding, together))
            continue
        for board in finding.boards:
            cut.setdefault(board, set()).add(finding.row)
            each = joined[numbers[board]]
            each.flags.append(_flag(finding))
            each.findings.insert(0, words.finding(finding, together))
            if _flag(finding) is Flag.SET_APART:
                each.apart_deg = abs(float(wrap_180(np.degrees(finding.apart))))
    for board, rows in cut.items():
        if len(rows) > 2:
            joined[numbers[board]].flags.append(Flag.SET_APART)
    for each in joined:
        each.flags = list(dict.fromkeys(each.flags))


_DOUBTED = {WATCH: Flag.WATCH_DOUBTFUL, HEIGHT: Flag.HEIGHT_DOUBTFUL}


def _flag(finding: Finding) -> Flag:
    if finding.undecided:
        return Flag.SETUPS_DISAGREE
    return Flag.SET_APART if finding.kind == "line" else Flag.NOT_SHARED
