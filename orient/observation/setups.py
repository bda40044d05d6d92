"""A campaign's set-ups reduced: from its tables to true, grid and magnetic bearings."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from orient import site
from orient.flags import Flag
from orient.numbers import grid
from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.advice import advice
from orient.observation.boards import board_from_rows, closing_turn_deg, has_deflection
from orient.observation.byhand import MethodResult, compare_with_hand
from orient.observation.compass.ofsetup import compare_with_model, findings_by_setup
from orient.observation.joint.campaign import Joined, join
from orient.observation.joint.places import Found, find, first_places, placed
from orient.observation.joint.settled import (
    Settled,
    SitePlace,
    alone_there,
    convergence_u_deg,
    describe_found,
    known_places,
    settle,
)
from orient.observation.joint.watches import with_known_watches
from orient.observation.joint.words import place_words
from orient.observation.mistakes.campaign import with_explanations
from orient.observation.reduction import NO_DIRECTION, WIDEST_U_DEG, Reduced, reduce_boards
from orient.tables import clock
from orient.tables.campaign import Campaign
from orient.text import figure, shown_time, signed

#: The methods, in the order in which they are told.
METHODS = ("pairs", "shortest", "timed", "adjustment")

#: The keys of a row, in order.
KEYS = (
    "setup",
    "site",
    "date",
    "method",
    "board_azimuth_deg",
    "board_azimuth_u_deg",
    "north_on_board_deg",
    "reference_name",
    "reference_azimuth_deg",
    "reference_azimuth_u_deg",
    "reference_grid_bearing_deg",
    "reference_magnetic_bearing_deg",
    "declination_deg",
    "declination_u_deg",
    "convergence_deg",
    "compass_reading_deg",
    "compass_difference_deg",
    "compass_difference_u_deg",
    "hand_azimuth_deg",
    "hand_difference_deg",
    "noon_watch",
    "latitude_deg",
    "latitude_u_deg",
    "combined_azimuth_deg",
    "combined_azimuth_u_deg",
    "combined_setups",
    "alone_azimuth_deg",
    "alone_azimuth_u_deg",
    "solved_place",
    "methods",
    "flags",
)


@dataclass(frozen=True)
class SetupResult:
    """One set-up of a campaign, reduced.

    `row` has the keys of `KEYS`, None where a value could not be had. `reduced` is None for a
    set-up without a usable mark. `marks` are those of the table that took part, in the order
    of the board's arrays; `left_out` those with use = no. `place` is the row of
    `site.describe` for its site and date; `setup` the row of the set-ups table. `alone` is the
    reduction of the board by itself, `joined` what the set-ups that share anything with it
    have to say. `laplace_deg` is what was taken off for the deflection of the vertical. `solved` is
    where a site without coordinates was found to lie.
    """

    row: dict[str, Any]
    setup: pd.Series
    place: pd.Series
    reduced: Reduced | None
    marks: pd.DataFrame
    left_out: pd.DataFrame
    laplace_deg: float
    alone: Reduced | None
    joined: Joined
    remarks: list[str]
    solved: SitePlace | None = None

    @property
    def doubts(self) -> list[str]:
        """What the set-up most likely suffers, a line each: its own, then what the others show."""
        own = [self.reduced.doubt, rejected_words(self.marks, self.reduced)] if self.reduced else []
        if self.reduced and NO_DIRECTION in self.reduced.remarks and not self.reduced.doubt:
            own = [NO_DIRECTION]
        named = [f"{self.row['setup']}: {each}" for each in own if each]
        return named + self.joined.findings

    @property
    def unreduced(self) -> str:
        """Why there is nothing at all; "" where the marks were reduced."""
        if self.reduced is not None:
            return ""
        return _NOT_REDUCED if len(self.marks) else _NO_MARK

    def _repr_html_(self) -> str:
        told = {key: self.row[key] for key in _SHOWN if self.row[key] not in (None, [])}
        remarks = "".join(f"<li>{html.escape(remark)}</li>" for remark in self.remarks)
        return f"{pd.Series(told, dtype=object).to_frame('').to_html()}<ul>{remarks}</ul>"


#: What a notebook shows of a set-up.
_SHOWN = (
    "setup",
    "site",
    "date",
    "board_azimuth_deg",
    "board_azimuth_u_deg",
    "reference_name",
    "reference_azimuth_deg",
    "reference_azimuth_u_deg",
    "flags",
)


def reduce_campaign(
    campaign: Campaign,
    workers: int = 1,
    advance: Callable[[int], None] = lambda _: None,
    alone: bool = False,
) -> list[SetupResult]:
    """Reduce every set-up of a campaign, in the order of its table.

    Args:
        campaign: with all three tables.
        workers: processes to share many boards among.
        advance: called with 1 for every board done.
        alone: reduce each set-up by itself; else those that share a watch, a rod, a level, an
            observer or a line are adjusted as one.
    """
    setups = campaign.setups
    as_read, blank = campaign, first_places(campaign)
    campaign = placed(as_read, blank)
    places = site.describe(campaign.sites.loc[setups["site"]], setups["date"].to_numpy())
    setups = with_known_watches(setups, places, campaign)
    campaign = replace(campaign, setups=setups)
    use = campaign.marks["use"].to_numpy(bool)
    in_use = campaign.marks[use]
    # A mark entered twice is no second witness.
    again = in_use.duplicated(_SAME_MARK).to_numpy(bool)
    used = _by_setup(in_use[~again], setups)
    left_out = _by_setup(campaign.marks[~use], setups)
    twice = in_use["setup"][again].value_counts()
    found = find(campaign, blank, used)
    if found:
        about = blank | {name: each.place for name, each in found.items()}
        campaign = replace(campaign, sites=placed(as_read, about).sites)
        places = site.describe(campaign.sites.loc[setups["site"]], setups["date"].to_numpy())
    reduced = _reduced(campaign, places, used, workers, advance)
    reduced = [
        None if name in blank and name not in found else each
        for name, each in zip(setups["site"], reduced, strict=True)
    ]
    settled = _settled(campaign, reduced, used, found, alone)
    sites = known_places(as_read.sites, settled.places)
    results = []
    for (name, setup), (_, place), marks, left, each, joined in zip(
        setups.iterrows(),
        places.iterrows(),
        used,
        left_out,
        settled.alone,
        settled.joined,
        strict=True,
    ):
        site_row, solved = campaign.sites.loc[setup["site"]], None
        if setup["site"] in blank:
            solved = settled.places.get(setup["site"])
            place = describe_found(sites, place, solved)
        result = _result(setup, site_row, place, each, joined, marks, left, int(twice.get(name, 0)))
        results.append(_with_place(result, solved) if setup["site"] in blank else result)
    return _with_compass_findings(replace(campaign, sites=sites), results)


def _reduced(
    campaign: Campaign,
    places: pd.DataFrame,
    used: list[pd.DataFrame],
    workers: int,
    advance: Callable[[int], None],
) -> list[Reduced | None]:
    """Each set-up by itself, at the place of its site; None without a usable mark."""
    boards = [
        board_from_rows(setup, campaign.sites.loc[setup["site"]], place, marks)
        for (_, setup), (_, place), marks in zip(
            campaign.setups.iterrows(), places.iterrows(), used, strict=True
        )
        if len(marks)
    ]
    fresh = iter(reduce_boards(boards, workers, advance, search=False))
    own = [next(fresh) if len(marks) else None for marks in used]
    return with_explanations(campaign, places, used, own, workers)


def _settled(
    campaign: Campaign,
    reduced: list[Reduced | None],
    used: list[pd.DataFrame],
    found: dict[str, Found],
    alone: bool,
) -> Settled:
    """The set-ups together and each alone, where a site's place was found its own too."""
    by_itself = alone_there(campaign, reduced, found)
    told = [each[0] if each else own for each, own in zip(by_itself, reduced, strict=True)]
    together = [Joined() for _ in reduced] if alone else join(campaign, reduced, used, found, told)
    return settle(campaign, found, reduced, by_itself, together)


def sites_found(campaign: Campaign, results: Sequence[SetupResult]) -> pd.DataFrame:
    """The campaign's sites, with the places that its set-ups tell where it has none."""
    places = {result.row["site"]: result.solved for result in results if result.solved}
    return known_places(campaign.sites, places)


def _with_place(result: SetupResult, solved: SitePlace | None) -> SetupResult:
    """What is told of a set-up whose site has no coordinates."""
    row = result.row | {"solved_place": solved.row() if solved else None}
    row["flags"] = [Flag.PLACE_FROM_MARKS, *row["flags"]]
    remarks = [place_words(str(row["site"]), solved)]
    if solved and solved.ellipse:
        u_deg = COVERAGE_95 * convergence_u_deg(result.place, solved)
        remarks.append(
            f"The grid convergence carries ±{u_deg:.2f}° (95 %) of the place, and grid bearings "
            "with it, beside the line's own figure; the declination's figure has it in it."
        )
    told = [each for each in result.remarks if solved or result.reduced or each != _NOT_REDUCED]
    return replace(result, row=row, remarks=[*remarks, *told], solved=solved)


def _geodetic(site_row: pd.Series, reduced: Reduced) -> tuple[float, float]:
    """What to take off an azimuth to make it geodetic, and what that leaves uncertain, degrees.

    With the deflection known the sun was computed for the plumb line and Laplace's equation
    applies. With none, the azimuth is geodetic but for the sun's own small term.
    """
    if has_deflection(site_row):
        off = grid.laplace_correction_deg(
            site_row["latitude_deg"], site_row["xi_arcsec"], site_row["eta_arcsec"]
        )
        return float(off), 0.0
    length = reduced.board.length_mm
    altitude = np.degrees(np.arctan2(reduced.board.height_mm, np.median(length)))
    return 0.0, float(grid.sun_deflection_u_deg(min(float(altitude), 85.0)))


_SAME_MARK = ["setup", "time_s", "x_mm", "y_mm", "ring", "half"]


def _by_setup(marks: pd.DataFrame, setups: pd.DataFrame) -> list[pd.DataFrame]:
    found = dict(tuple(marks.groupby("setup", sort=False)))
    nothing = marks.iloc[:0]
    return [found.get(name, nothing) for name in setups.index]


_NO_MARK = "No usable mark: nothing to reduce."
_NOT_REDUCED = (
    "The marks could not be reduced: their figures and those of the set-up do not go together. "
    "Look at their units and tolerances."
)
#: Of so many marks that were left out each is named.
_REJECTED_NAMED = 4
#: What follows from the site's place and is set aside with it.
_FROM_THE_PLACE = ("reference_grid_bearing_deg", "reference_magnetic_bearing_deg")


def _result(
    setup: pd.Series,
    site_row: pd.Series,
    place: pd.Series,
    alone: Reduced | None,
    joined: Joined,
    marks: pd.DataFrame,
    left_out: pd.DataFrame,
    twice: int,
) -> SetupResult:
    reduced = joined.reduced or alone
    row: dict[str, Any] = dict.fromkeys(KEYS)
    row |= {
        "setup": str(setup.name),
        "site": str(setup["site"]),
        "date": place["date"],
        "reference_name": setup["reference_name"] or None,
        "declination_deg": _or_none(place["declination_deg"]),
        "declination_u_deg": _or_none(place["declination_u_deg"]),
        "convergence_deg": _or_none(place["convergence_deg"]),
        "compass_reading_deg": _or_none(setup["compass_reading_deg"]),
        "hand_azimuth_deg": _or_none(setup["hand_azimuth_deg"]),
        "methods": dict.fromkeys(METHODS),
        "flags": [flag for flag in place["flags"] if not flag.startswith("sun-")],
    }
    remarks = []
    laplace = 0.0
    if reduced is None:
        remarks.append(_NOT_REDUCED if len(marks) else _NO_MARK)
    else:
        laplace, left = _geodetic(site_row, reduced)
        row |= _azimuths(setup, place, reduced, joined, laplace, left)
        if joined.reduced is not None and alone is not None:
            row |= _alone(alone, laplace, left)
        row["flags"] = joined.flags + reduced.flags + row["flags"]
        remarks += joined.findings + joined.remarks + reduced.remarks
        remarks += filter(None, [rejected_words(marks, reduced)])
        if joined.reduced is None:
            remarks += _what_would_help(setup, reduced)
        if laplace:
            remarks.append(
                f"For the deflection of the vertical {signed(laplace * 3600)}″ (Laplace) was taken "
                "off the astronomic azimuth: the azimuths here are geodetic."
            )
        if Flag.PLACE_DOUBTFUL in joined.flags:
            row |= dict.fromkeys(_FROM_THE_PLACE)
        if reduced.explanation is not None and reduced.explanation.of_place:
            row |= dict.fromkeys(_FROM_THE_PLACE)
            remarks.append(
                "The site's place is in doubt: its grid and compass bearings are left out until it "
                "is put right, and its declination and convergence are those of the place as "
                "written."
            )
        remarks += compare_with_model(setup, row) + compare_with_hand(setup, row)
        remarks += _by_coordinates(setup, place, row)
        if reduced.determined and reduced.watch_error_s is not None:
            noon_watch_s = reduced.board.noon_utc_s + reduced.watch_error_s
            row["noon_watch"] = str(clock.local_iso(noon_watch_s, site_row["timezone"]))[11:19]
    if setup["reference_name"] and not np.isfinite(setup["reference_angle_deg"]):
        row["flags"] = [*row["flags"], Flag.NO_REFERENCE_ANGLE]
    remarks += _closing_remark(setup) + _written_remark(setup, reduced)
    if reduced is not None and not setup["level_checked"]:
        turn_deg = COVERAGE_95 * np.degrees(reduced.fit.terms["level"])
        remarks.append(
            "No level was used: the board is taken to be level to "
            f"±{COVERAGE_95 * setup['level_sd_deg']:.1f}° (95 %), and that alone makes "
            f"±{turn_deg:.2f}° of the line's figure."
        )
    if twice:
        remarks.append(
            f"{twice} mark{'s' * (twice > 1)} entered twice, the same time and place: counted once."
        )
    if len(left_out):
        names = ", ".join(left_out["mark"].astype(str))
        remarks.append(
            f"Left out as the table asks (use = no): mark{'s' * (len(left_out) > 1)} {names}."
        )
    return SetupResult(row, setup, place, reduced, marks, left_out, laplace, alone, joined, remarks)


def rejected_words(marks: pd.DataFrame, reduced: Reduced) -> str:
    """Which marks the adjustment left out, and how far they lie off; "" where none.

    Args:
        marks: that took part, in the order of the board's arrays.
        reduced: the set-up's reduction.
    """
    out = np.flatnonzero(~reduced.fit.kept)
    said = []
    for number in out[:_REJECTED_NAMED]:
        mark, off_mm = marks.iloc[number], np.hypot(*reduced.fit.residual_mm[number])
        at = f" ({shown_time(mark['time_s'])})" if np.isfinite(mark["time_s"]) else ""
        where = f"{figure(off_mm)} mm from there" if np.isfinite(off_mm) else "when the sun is down"
        said.append(f"mark {mark['mark']}{at}, {where}")
    if not said:
        return ""
    more = f"; and {len(out) - len(said)} more" if len(out) > len(said) else ""
    return f"Left out, as the others put the tip elsewhere: {'; '.join(said)}{more}."


def _closing_remark(setup: pd.Series) -> list[str]:
    turn_deg, sd_deg = closing_turn_deg(setup)
    if not np.isfinite(turn_deg):
        return []
    verdict = "within" if abs(turn_deg) <= COVERAGE_95 * sd_deg else "outside"
    return [
        f"Drawn again at the end, the reference line lies {signed(turn_deg, 2)}° from the first, "
        f"{verdict} what drawing both allows (±{COVERAGE_95 * sd_deg:.2f}°, 95 %)."
    ]


def _written_remark(setup: pd.Series, reduced: Reduced | None) -> list[str]:
    if reduced is None or np.isfinite(setup["time_sd_s"]) or reduced.board.watch == "none":
        return []
    written_s = reduced.board.tolerances.time_sd_s
    if not written_s:
        return []
    minutes = round(written_s * np.sqrt(12.0) / 60.0)
    step = "minutes" if minutes == 1 else f"steps of {minutes} min"
    return [
        f"The times are written in whole {step}: each is taken to be good to "
        f"±{COVERAGE_95 * written_s:.0f} s (95 %), and so is the watch's setting. Write the "
        "seconds, or state time_sd_s."
    ]


def _what_would_help(setup: pd.Series, reduced: Reduced) -> list[str]:
    if not reduced.determined or reduced.contradicted or reduced.doubt:
        return []
    has_line = np.isfinite(setup["reference_angle_deg"])
    said = advice(reduced.board, reduced.fit, float(setup["reference_sd_deg"]) if has_line else 0.0)
    return [said] if said else []


def _latitude_u_deg(reduced: Reduced) -> float | None:
    """How well the marks tell the latitude; of a record in doubt it reaches the site's too."""
    found, u_deg = reduced.latitude_deg, reduced.latitude_u_deg
    if found is None or u_deg is None or Flag.RECORD_DOUBTFUL not in reduced.flags:
        return u_deg
    return max(u_deg, abs(found - reduced.board.latitude_deg) / COVERAGE_95)


def _azimuths(
    setup: pd.Series,
    place: pd.Series,
    reduced: Reduced,
    joined: Joined,
    laplace_deg: float,
    left_u_deg: float,
) -> dict[str, Any]:
    values: dict[str, Any] = {
        "latitude_deg": reduced.latitude_deg,
        "latitude_u_deg": _latitude_u_deg(reduced),
        "methods": {
            name: _method_row(reduced.methods.get(name), laplace_deg, left_u_deg)
            for name in METHODS
        },
    }
    if not reduced.determined:
        return values
    board_azimuth = float(wrap_360(reduced.board_azimuth_deg - laplace_deg))
    board_u = float(np.hypot(reduced.board_azimuth_u_deg, left_u_deg))
    values |= {
        "method": reduced.method,
        "board_azimuth_deg": board_azimuth,
        "board_azimuth_u_deg": board_u,
        "north_on_board_deg": float(wrap_360(-board_azimuth)),
    }
    if np.isfinite(setup["reference_angle_deg"]):
        azimuth = float(wrap_360(board_azimuth + setup["reference_angle_deg"]))
        azimuth_u = float(np.hypot(board_u, setup["reference_sd_deg"]))
        if joined.line is not None and not joined.apart_deg:
            azimuth = float(wrap_360(joined.line.azimuth_deg - laplace_deg))
            azimuth_u = float(np.hypot(joined.line.azimuth_u_deg, left_u_deg))
            if azimuth_u > WIDEST_U_DEG:
                return values
            if joined.line.setups[1:]:
                values |= {
                    "combined_azimuth_deg": azimuth,
                    "combined_azimuth_u_deg": azimuth_u,
                    "combined_setups": len(joined.line.setups),
                }
        values |= {
            "reference_azimuth_deg": azimuth,
            "reference_azimuth_u_deg": azimuth_u,
            "reference_grid_bearing_deg": _grid_bearing(setup, place, azimuth),
            "reference_magnetic_bearing_deg": _or_none(
                wrap_360(azimuth - place["declination_deg"])
            ),
        }
    return values


def _alone(alone: Reduced, laplace_deg: float, left_u_deg: float) -> dict[str, float]:
    return {
        "alone_azimuth_deg": float(wrap_360(alone.board_azimuth_deg - laplace_deg)),
        "alone_azimuth_u_deg": float(np.hypot(alone.board_azimuth_u_deg, left_u_deg)),
    }


def _method_row(
    result: MethodResult | None, laplace_deg: float, left_u_deg: float
) -> dict[str, Any] | None:
    if result is None or np.degrees(result.azimuth_u_rad) > WIDEST_U_DEG:
        return None
    return {
        "board_azimuth_deg": float(wrap_360(np.degrees(result.azimuth_rad) - laplace_deg)),
        "board_azimuth_u_deg": float(np.hypot(np.degrees(result.azimuth_u_rad), left_u_deg)),
        "n": result.n,
    }


def _grid_bearing(setup: pd.Series, place: pd.Series, azimuth_deg: float) -> float | None:
    bend = 0.0
    if _reference_known(setup):
        bend = float(_coordinate_line(setup, place).arc_to_chord_deg)
    on_datum = azimuth_deg + float(place["datum_turn_deg"])
    bearing = grid.grid_bearing(on_datum, place["convergence_deg"], np.nan_to_num(bend))
    return _or_none(bearing)


def _reference_known(setup: pd.Series) -> bool:
    return bool(
        np.isfinite(setup["reference_easting_m"]) and np.isfinite(setup["reference_northing_m"])
    )


def _coordinate_line(setup: pd.Series, place: pd.Series) -> grid.GridLine:
    return grid.line_between(
        place["easting_m"],
        place["northing_m"],
        setup["reference_easting_m"],
        setup["reference_northing_m"],
        place["grid"],
    )


def _by_coordinates(setup: pd.Series, place: pd.Series, row: dict[str, Any]) -> list[str]:
    """Compare with the azimuth that the two ends' own grid coordinates give."""
    if not _reference_known(setup) or row["reference_azimuth_deg"] is None:
        return []
    line = _coordinate_line(setup, place)
    known = float(line.azimuth_deg) - float(place["datum_turn_deg"])
    if not np.isfinite(known):
        return []
    apart = float(wrap_180(row["reference_azimuth_deg"] - known))
    return [
        f"By the coordinates of its two ends the line has true azimuth {wrap_360(known):.3f}°; "
        f"the board gives {signed(apart, 3)}° from it."
    ]


def _with_compass_findings(campaign: Campaign, results: list[SetupResult]) -> list[SetupResult]:
    """Flag the set-ups whose compass readings show more than a usual compass in usual ground."""
    found = findings_by_setup(campaign, [result.row for result in results])
    return [
        replace(
            result,
            row=result.row | {"flags": [*result.row["flags"], Flag.COMPASS_DIFFERS]},
            remarks=[*result.remarks, *found[result.row["setup"]]],
        )
        if result.row["setup"] in found
        else result
        for result in results
    ]


def _or_none(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
