"""The report: one page that people read, and its tables and map layers beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date as Date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from orient import __version__
from orient import site as site_table
from orient.defaults import MAX_ALTITUDE_DEG
from orient.export.layers import (
    anomalies_frame,
    geojson,
    geopackage,
    line_end,
    results_frame,
    sites_frame,
)
from orient.export.rows import csv_rows, json_rows, sites_csv
from orient.flags import CAUTIONS, FLAGS, Flag
from orient.numbers.angles import wrap_360
from orient.numbers.grid import short_name
from orient.numbers.settingout import ReferenceLine
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.compass import CompassCheck, check_compasses
from orient.observation.joint.settled import SitePlace
from orient.observation.joint.words import place_words
from orient.observation.setups import KEYS, SetupResult, reduce_campaign, sites_found
from orient.observation.sights.campaign import every_reading
from orient.outputs import check_set, write_set
from orient.pages import page_template, sealed, shared_style
from orient.pages.slim import drawn_once, slim
from orient.planning import rows as plan_rows
from orient.planning.hours import Limits, plan_chunk
from orient.planning.rig import Rig
from orient.report.board_drawing import board_drawing
from orient.report.compass_part import compass_part
from orient.report.handwork import handwork
from orient.report.norths import norths_diagram
from orient.report.plots import (
    SunDay,
    budget_plot,
    budget_terms,
    day_plot,
    method_plot,
    sun_day,
)
from orient.report.settingout import setting_out_css, setting_out_html
from orient.report.shared import shared_part
from orient.report.sights import sights_part
from orient.report.site_map import MapLine, MapSite, SiteMap, site_map
from orient.report.taping import taping_html
from orient.tables import clock
from orient.tables.campaign import Campaign
from orient.text import clock_text, counted, figure, within_95

#: The page that people open last of all.
FILES = (
    "results.csv",
    "results.json",
    "sites.csv",
    "results.geojson",
    "results.gpkg",
    "index.html",
)
_CARRIERS_NAMED = 12
#: Longer lists than this are folded, and their table on a telephone keeps to the azimuths.
_MOST_OPEN = 20
#: Fewer set-ups than this need no summary.
_FEWEST_SUMMED = 4


def write_report(
    campaign: Campaign,
    folder: Path | str,
    results: Sequence[SetupResult] | None = None,
    max_altitude_deg: float = MAX_ALTITUDE_DEG,
    advance: Callable[[int], None] = lambda _: None,
    workers: int = 1,
    force: bool = False,
) -> list[Path]:
    """Write the report of a campaign: `FILES`, all of them or none.

    Args:
        campaign: with all three tables.
        folder: made where it does not exist; an earlier report of the same campaign in it
            is replaced.
        results: of `reduce_campaign`; reduced here when None.
        max_altitude_deg: a sun above this counts as too high.
        advance: called with 1 for every board reduced and for every set-up drawn.
        workers: processes to share the reduction among.
        force: replace another campaign's report, or other files of these names.

    Returns:
        The paths written, in the order of `FILES`; `contents.json` beside them tells a whole
        report from a broken one (`orient.outputs.is_whole`).

    Raises:
        InputError: the folder holds a campaign's tables, or what is not to be replaced.
        OSError: a file cannot be written; nothing was replaced.
    """
    check_set(folder, FILES, "report", campaign.folder, force)
    if results is None:
        results = reduce_campaign(campaign, workers, advance)
    campaign = replace(campaign, sites=sites_found(campaign, results))
    days = _site_days(campaign, max_altitude_deg, results)
    rows = [result.row for result in results]
    frame = results_frame(results)
    check = check_compasses(every_reading(campaign, rows))
    contents: tuple[str | bytes, ...] = (
        csv_rows(rows, KEYS),
        json_rows(rows),
        sites_csv(days),
        geojson(frame),
        geopackage(frame, sites_frame(days), anomalies_frame(check)),
        _page(campaign, results, days, max_altitude_deg, check, advance),
    )
    files = dict(zip(FILES, contents, strict=True))
    return write_set(folder, files, "report", campaign.folder, force)


def _page(
    campaign: Campaign,
    results: Sequence[SetupResult],
    days: pd.DataFrame,
    max_altitude_deg: float,
    check: CompassCheck,
    advance: Callable[[int], None],
) -> str:
    number_of_site = {name: number for number, name in enumerate(campaign.sites.index, 1)}
    settings_out, out_numbers = _settings_out(results)
    setups = []
    for number, result in enumerate(results, 1):
        setups.append(_setup(number, result, number_of_site, out_numbers[number - 1]))
        advance(1)
    sites = _sites(campaign, results, days, max_altitude_deg)
    circles = sights_part(campaign, results)
    answers = _answers(results)
    page = page_template("report", "report.html.j2").render(
        campaign=campaign.name,
        counts=_counts(campaign, results),
        css=Markup(_style()),
        cautions=CAUTIONS,
        answers=answers,
        summary=_summary(answers),
        most_open=_MOST_OPEN,
        flagged=_flagged(setups, sites, circles),
        map=_map(campaign, results, number_of_site),
        compass=compass_part(check),
        setups=setups,
        circles=circles,
        sites=sites,
        hours_note=_hours_note(max_altitude_deg),
        settings_out=settings_out,
        taping=Markup(taping_html()),
        shared=shared_part(results),
        files=FILES[:-1],
        version=__version__,
    )
    return sealed(slim(drawn_once(page)), "orient report")


def _style() -> str:
    """Of the page; on paper the cautions, written once, stand on every sheet that is carried."""
    first, *others = (caution.replace('"', "\\22 ") for caution in CAUTIONS)
    return shared_style() + setting_out_css() + (
        f'.out .on-paper::before{{content:"{first} ";font-weight:700}}\n'
        f'.out .on-paper::after{{content:"{" ".join(others)}"}}\n'
    )  # fmt: skip


def _counts(campaign: Campaign, results: Sequence[SetupResult]) -> str:
    parts = [counted(len(campaign.sites), "site"), counted(len(results), "set-up")]
    marks = sum(len(result.marks) for result in results)
    parts.append(counted(marks, "mark"))
    dates = sorted({result.row["date"] for result in results})
    if dates:
        parts.append(dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}")
    return ", ".join(parts)


def _within_95(u: float | None) -> float | None:
    return None if u is None or np.isnan(u) else COVERAGE_95 * float(u)


# The first screen -----------------------------------------------------------------------


def _answers(results: Sequence[SetupResult]) -> list[dict[str, Any]]:
    """One row a reference line; lines seen by several set-ups first joined, then apart."""
    answers: list[dict[str, Any]] = []
    for members in _by_line(results):
        joint = len(members) > 1
        if joint:
            answers.append(_joint_answer([results[member] for member in members]))
        answers += [
            _answer(results[member]) | {"number": member + 1, "kind": "member" if joint else ""}
            for member in members
        ]
    return answers


def _summary(answers: Sequence[dict[str, Any]]) -> list[dict[str, str]]:
    """The campaign in a few figures, each with what it leads to; none for a few set-ups."""
    setups = [line for line in answers if line["kind"] != "joint"]
    if len(setups) < _FEWEST_SUMMED:
        return []
    known = sorted((line for line in setups if line["azimuth_deg"] is not None), key=_spread)
    facts = [_fact("set-ups with an azimuth", f"{len(known)} of {len(setups)}")]
    if known:
        middle = float(np.median([_spread(line) for line in known]))
        facts.append(_fact("half of them within", f"±{figure(middle, 2, '°')}"))
        facts += [
            _fact(said, f"±{figure(_spread(line), 2, '°')}", line)
            for said, line in (("the best", known[0]), ("the widest", known[-1]))
        ]
    if flagged := sum(1 for line in setups if line["flags"]):
        fact = _fact("with a flag", f"{flagged}")
        facts.append(fact | {"anchor": "flags", "words": "what to do"})
    off = [line for line in setups if line["difference_deg"] is not None]
    if off:
        worst = max(off, key=lambda line: abs(line["difference_deg"]))
        difference = figure(worst["difference_deg"], 1, "°", plus=True)
        facts.append(_fact("compass, farthest off", difference, worst))
    return facts


def _spread(line: dict[str, Any]) -> float:
    return float(line["azimuth_95_deg"])


def _fact(name: str, shown: str, line: dict[str, Any] | None = None) -> dict[str, str]:
    anchor, words = (f"setup-{line['number']}", line["setup"]) if line else ("", "")
    return {"name": name, "figure": shown, "anchor": anchor, "words": words}


def _by_line(results: Sequence[SetupResult]) -> list[list[int]]:
    """Places of the set-ups that were joined into one line, in the order of the table."""
    lines: dict[Any, list[int]] = {}
    for place, result in enumerate(results):
        key: Any = place
        if result.row["combined_azimuth_deg"] is not None:
            key = (result.row["site"], result.row["reference_name"])
        lines.setdefault(key, []).append(place)
    return list(lines.values())


def _answer(result: SetupResult) -> dict[str, Any]:
    row = result.row
    of = "reference" if _wants_reference(result) else "board"
    return {
        "reference": (row["reference_name"] or "the reference") if of == "reference" else "",
        "setup": row["setup"],
        "site": row["site"],
        "date": row["date"],
        "azimuth_deg": row[f"{of}_azimuth_deg"],
        "azimuth_95_deg": _within_95(row[f"{of}_azimuth_u_deg"]),
        "grid_deg": row["reference_grid_bearing_deg"],
        "magnetic_deg": row["reference_magnetic_bearing_deg"],
        "magnetic_95_deg": _magnetic_95(row["reference_azimuth_u_deg"], row),
        "reading_deg": row["compass_reading_deg"],
        "hand_deg": row["hand_azimuth_deg"],
        "hand_difference_deg": row["hand_difference_deg"],
        "difference_deg": row["compass_difference_deg"],
        "difference_95_deg": _within_95(row["compass_difference_u_deg"]),
        "flags": row["flags"],
        "why_none": _why_none(result),
    }


def _wants_reference(result: SetupResult) -> bool:
    return bool(result.row["reference_name"] or np.isfinite(result.setup["reference_angle_deg"]))


def _why_none(result: SetupResult) -> str:
    """Why a line has no azimuth, "" where it has one."""
    if result.reduced is None:
        return "the marks could not be reduced" if len(result.marks) else "no marks"
    if result.row["board_azimuth_deg"] is None:
        apart = Flag.SET_APART in result.row["flags"]
        return "the others contradict its line" if apart else "the marks fix no direction"
    if _wants_reference(result) and result.row["reference_azimuth_deg"] is None:
        if Flag.SETUPS_DISAGREE in result.row["flags"]:
            return "the set-ups of the line contradict each other"
        return "its direction on the board is not given"
    return ""


def _magnetic_95(azimuth_u_deg: float | None, row: dict[str, Any]) -> float | None:
    if azimuth_u_deg is None or row["declination_u_deg"] is None:
        return None
    return COVERAGE_95 * float(np.hypot(azimuth_u_deg, row["declination_u_deg"]))


def _joint_answer(members: Sequence[SetupResult]) -> dict[str, Any]:
    row = members[0].row
    turn = row["combined_azimuth_deg"] - row["reference_azimuth_deg"]
    grid_deg = row["reference_grid_bearing_deg"]
    magnetic_deg = row["reference_magnetic_bearing_deg"]
    flags = [flag for flag in row["flags"] if flag == "setups-disagree"]
    return {
        "kind": "joint",
        "number": 0,
        "reference": row["reference_name"],
        "setup": " + ".join(member.row["setup"] for member in members),
        "site": row["site"],
        "date": "",
        "count": row["combined_setups"],
        "azimuth_deg": row["combined_azimuth_deg"],
        "azimuth_95_deg": _within_95(row["combined_azimuth_u_deg"]),
        "grid_deg": None if grid_deg is None else float(wrap_360(grid_deg + turn)),
        "magnetic_deg": None if magnetic_deg is None else float(wrap_360(magnetic_deg + turn)),
        "magnetic_95_deg": _magnetic_95(row["combined_azimuth_u_deg"], row),
        "reading_deg": None,
        "difference_deg": None,
        "difference_95_deg": None,
        "flags": flags,
        "why_none": "",
    }


def _flagged(
    setups: Iterable[dict[str, Any]],
    sites: Iterable[dict[str, Any]],
    circles: Iterable[dict[str, Any]],
) -> list[dict[str, Any]]:
    """Each flag with its sentence and who carries it, set-ups first."""
    carriers: dict[str, list[dict[str, Any]]] = {}
    for kind, things in (("setup", setups), ("site", sites), ("circle", circles)):
        for thing in things:
            for flag in thing["flags"]:
                carrier = {"name": thing["name"], "anchor": f"{kind}-{thing['number']}"}
                carriers.setdefault(flag, []).append(carrier)
    return [
        {
            "code": flag,
            "sentence": FLAGS[flag],
            "carriers": named[:_CARRIERS_NAMED],
            "more": max(0, len(named) - _CARRIERS_NAMED),
        }
        for flag, named in carriers.items()
    ]


def _map(
    campaign: Campaign, results: Sequence[SetupResult], number_of_site: dict[str, int]
) -> SiteMap | None:
    table = campaign.sites[campaign.sites["longitude_deg"].notna()]
    ellipses = {result.row["site"]: result.solved.ellipse for result in results if result.solved}
    sites = [
        MapSite(number_of_site[name], name, latitude, longitude, ellipses.get(name))
        for name, latitude, longitude in zip(
            table.index.tolist(),
            table["latitude_deg"].tolist(),
            table["longitude_deg"].tolist(),
            strict=True,
        )
    ]
    lines = []
    for members in _by_line(results):
        row = results[members[0]].row
        azimuth = row["combined_azimuth_deg"] or row["reference_azimuth_deg"]
        if azimuth is not None and row["site"] in table.index:
            end = line_end(results[members[0]])
            lines.append(MapLine(number_of_site[row["site"]], azimuth, end))
    return site_map(sites, lines)


# The set-ups ----------------------------------------------------------------------------


def _setup(
    number: int, result: SetupResult, number_of_site: dict[str, int], out_number: int
) -> dict[str, Any]:
    row, terms = result.row, budget_terms(result)
    return _answer(result) | {
        "number": number,
        "name": row["setup"],
        "site_number": number_of_site[row["site"]],
        "grid": short_name(result.place["grid"]),
        "reference_azimuth_deg": row["reference_azimuth_deg"],
        "reference_azimuth_95_deg": _within_95(row["reference_azimuth_u_deg"]),
        "combined_azimuth_deg": row["combined_azimuth_deg"],
        "combined_azimuth_95_deg": _within_95(row["combined_azimuth_u_deg"]),
        "combined_setups": row["combined_setups"],
        "board_deg": row["board_azimuth_deg"],
        "board_95_deg": _within_95(row["board_azimuth_u_deg"]),
        "north_deg": row["north_on_board_deg"],
        "noon_watch": row["noon_watch"],
        "latitude_deg": row["latitude_deg"],
        "latitude_95_deg": _within_95(row["latitude_u_deg"]),
        "site_latitude_deg": float(result.place["latitude_deg"]),
        "remarks": result.remarks,
        "board": board_drawing(result),
        "methods": method_plot(result),
        "budget": budget_plot(terms) if terms else None,
        "handwork": handwork(result),
        "marks": _marks(result),
        "untimed": bool(result.reduced and result.reduced.watch_error_s is None),
        "stated": _stated(result.setup),
        "out_number": out_number,
    }


def _stated(setup: pd.Series) -> str:
    """What the table states of the set-up, as 95 % figures like all else on the page."""

    def at_95(column: str) -> str:
        return f"±{float(f'{COVERAGE_95 * setup[column]:.2g}'):g}"

    watch = {
        "trusted": f"watch trusted to {at_95('watch_sd_s')} s",
        "running": "watch trusted for its rate only",
        "none": "no watch",
    }[setup["watch"]]
    return (
        f"Stated (95 %): rod {setup['gnomon_height_mm']:g} mm {at_95('height_sd_mm')} mm, marks "
        f"{at_95('mark_sd_mm')} mm, level {at_95('level_sd_deg')}°, foot "
        f"{at_95('plumb_sd_mm')} mm, {watch}, shadow’s edge: {setup['edge']}."
    )


def _marks(result: SetupResult) -> list[dict[str, Any]]:
    rows = [_mark(mark) | {"used": "yes"} for mark in result.marks.to_dict("records")]
    if result.reduced is not None:
        fit = result.reduced.fit
        for row, residual, kept in zip(rows, fit.residual_mm, fit.kept, strict=True):
            row |= _residual(row, residual) | {"used": "yes" if kept else "rejected"}
    left_out = [_mark(mark) | {"used": "left out"} for mark in result.left_out.to_dict("records")]
    return rows + left_out


def _mark(mark: dict[Any, Any]) -> dict[str, Any]:
    return {
        "name": mark["mark"],
        "time": clock_text(mark["time_s"]),
        "x_mm": mark["x_mm"],
        "y_mm": mark["y_mm"],
        "length_mm": float(np.hypot(mark["x_mm"], mark["y_mm"])),
        "ring": mark["ring"],
        "note": mark["note"],
        "along_mm": None,
        "across_mm": None,
        "across_min": None,
    }


def _residual(row: dict[str, Any], residual_mm: Any) -> dict[str, Any]:
    """A residual along the shadow and across it, clockwise plus."""
    length = row["length_mm"]
    if not length > 0:
        return {}
    toward = np.array([row["x_mm"], row["y_mm"]]) / length
    across = float(residual_mm @ [toward[1], -toward[0]])
    return {
        "along_mm": float(residual_mm @ toward),
        "across_mm": across,
        "across_min": float(np.degrees(across / length) * 60.0),
    }


def _settings_out(results: Sequence[SetupResult]) -> tuple[list[dict[str, Any]], list[int]]:
    """The setting-out of every line, and for each set-up the number of its own, 0 for none."""
    settings: list[dict[str, Any]] = []
    numbers = [0] * len(results)
    for members in _by_line(results):
        line = _reference_line([results[member] for member in members])
        if line is None:
            continue
        settings.append(
            {
                "number": len(settings) + 1,
                "reference": line.reference_name,
                "setup": line.setup,
                "setups": [
                    {"number": member + 1, "name": results[member].row["setup"]}
                    for member in members
                ],
                "html": Markup(setting_out_html(line)),
            }
        )
        for member in members:
            numbers[member] = len(settings)
    return settings, numbers


def _reference_line(members: Sequence[SetupResult]) -> ReferenceLine | None:
    row = members[0].row
    azimuth, u = row["combined_azimuth_deg"], row["combined_azimuth_u_deg"]
    if azimuth is None:
        azimuth, u = row["reference_azimuth_deg"], row["reference_azimuth_u_deg"]
    if azimuth is None:
        return None
    return ReferenceLine(
        setup=" + ".join(member.row["setup"] for member in members),
        site=row["site"],
        reference_name=row["reference_name"] or "the reference",
        true_azimuth_deg=azimuth,
        true_azimuth_u_deg=u,
        convergence_deg=_or_nan(row["convergence_deg"]),
        declination_deg=_or_nan(row["declination_deg"]),
        declination_u_deg=_or_nan(row["declination_u_deg"]),
    )


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


# The sites ------------------------------------------------------------------------------


def _site_days(
    campaign: Campaign, max_altitude_deg: float, results: Sequence[SetupResult] = ()
) -> pd.DataFrame:
    """`site.describe` for each site on each of its set-ups' dates, sites in their order.

    A site without a set-up is described on the campaign's first date, or today without any. One
    whose place is not known is left out; of one whose place was found its set-ups know the rest.
    """
    dates = np.datetime_as_string(campaign.setups["date"].to_numpy("datetime64[D]"), unit="D")
    by_site: dict[str, list[str]] = {name: [] for name in campaign.sites.index}
    for name, date in zip(campaign.setups["site"], dates.tolist(), strict=True):
        if date not in by_site[name]:
            by_site[name].append(date)
    other = min(dates.tolist(), default=Date.today().isoformat())
    known = campaign.sites["longitude_deg"].notna()
    pairs = [
        (name, date)
        for name, own in by_site.items()
        if known[name]
        for date in sorted(own) or [other]
    ]
    names = [name for name, _ in pairs]
    days = site_table.describe(
        campaign.sites.loc[names],
        [date for _, date in pairs],
        max_altitude_deg=max_altitude_deg,
    )
    found = {(r.row["site"], r.row["date"]): r.place for r in results if r.solved}
    u_deg = days["declination_u_deg"].tolist()
    return days.assign(
        declination_u_deg=[
            found[pair]["declination_u_deg"] if pair in found else own
            for pair, own in zip(pairs, u_deg, strict=True)
        ],
        flags=[
            [Flag.PLACE_FROM_MARKS] * (pair in found) + own
            for pair, own in zip(pairs, days["flags"], strict=True)
        ],
    )


def _sites(
    campaign: Campaign,
    results: Sequence[SetupResult],
    days: pd.DataFrame,
    max_altitude_deg: float,
) -> list[dict[str, Any]]:
    plan = _planned(campaign, days, max_altitude_deg)
    told = plan_rows.plan_rows(plan, campaign.sites) if len(days) else []
    marked: dict[tuple[str, str], list[float]] = {}
    for result in results:
        if result.reduced is not None and result.reduced.determined:
            key = (result.row["site"], result.row["date"])
            marked.setdefault(key, []).extend(result.reduced.fit.utc_s.tolist())
    sites = []
    for number, (name, site) in enumerate(campaign.sites.iterrows(), 1):
        own = np.flatnonzero(days["site"].to_numpy(object) == name).tolist()
        setups = [
            {"number": setup, "name": result.row["setup"]}
            for setup, result in enumerate(results, 1)
            if result.row["site"] == name
        ]
        solved = next((r.solved for r in results if r.row["site"] == name and r.solved), None)
        if not own:
            sites.append(_unplaced_site(number, str(name), site, solved) | {"setups": setups})
            continue
        first = days.iloc[own[0]]
        svg, note = norths_diagram(first)
        drawn = [
            _day(
                site,
                days.iloc[place],
                plan.iloc[place],
                told[place],
                marked.get((str(name), days.iloc[place]["date"]), []),
                max_altitude_deg,
            )
            for place in own
        ]
        flags = dict.fromkeys(flag for place in own for flag in days.iloc[place]["flags"])
        sites.append(
            _site(number, str(name), first)
            | _solved(str(name), solved)
            | {"norths": svg, "norths_note": note, "days": drawn, "flags": list(flags)}
            | {"setups": setups}
        )
    return sites


def _planned(campaign: Campaign, days: pd.DataFrame, max_altitude_deg: float) -> pd.DataFrame:
    """The plan of each site-day, in their order, for the rod that was used there."""
    rods = {
        (setup["site"], str(np.datetime64(setup["date"], "D"))): float(setup["gnomon_height_mm"])
        for _, setup in campaign.setups[::-1].iterrows()
    }
    used = np.array(
        [rods.get(key, Rig.rod_mm) for key in zip(days["site"], days["date"], strict=True)]
    )
    index = campaign.sites.index.get_indexer(pd.Index(days["site"]))
    dates = days["date"].to_numpy("datetime64[D]")
    limits = Limits(max_altitude_deg=max_altitude_deg)
    parts = []
    for rod_mm in np.unique(used):
        places = np.flatnonzero(used == rod_mm)
        rig = Rig(rod_mm=float(rod_mm))
        part = plan_chunk(campaign.sites, index[places], dates[places], rig, limits)
        parts.append(part.set_index(places))
    return pd.concat(parts).sort_index() if parts else pd.DataFrame()


def _solved(name: str, solved: SitePlace | None) -> dict[str, Any]:
    """What the page says of a site whose place was found from its set-ups."""
    if solved is None:
        return {}
    return {
        "place": place_words(name, solved),
        "latitude_95_deg": _within_95(solved.latitude_u_deg),
        "longitude_95_deg": _within_95(solved.longitude_u_deg),
    }


def _unplaced_site(
    number: int, name: str, site: pd.Series, solved: SitePlace | None
) -> dict[str, Any]:
    """A site whose longitude, and all that follows from it, is not known."""
    return {
        "number": number,
        "name": name,
        "latitude_deg": solved.latitude_deg if solved else None,
        "longitude_deg": None,
        "elevation_m": site["elevation_m"],
        "place": place_words(name, solved),
        "latitude_95_deg": _within_95(solved.latitude_u_deg) if solved else None,
        "longitude_95_deg": None,
        "declination_deg": None,
        "flags": [Flag.PLACE_FROM_MARKS],
        "days": [],
    }


def _site(number: int, name: str, place: pd.Series) -> dict[str, Any]:
    return {
        "number": number,
        "name": name,
        "place": "",
        "latitude_deg": place["latitude_deg"],
        "longitude_deg": place["longitude_deg"],
        "elevation_m": place["elevation_m"],
        "declination_deg": place["declination_deg"],
        "declination_95_deg": _within_95(place["declination_u_deg"]),
        "rate_deg": place["declination_rate_deg_per_year"],
        "model": place["magnetic_model"],
        "grid": short_name(place["grid"]),
        "convergence_deg": place["convergence_deg"],
        "scale": place["scale_factor"],
        "grid_to_magnetic_deg": place["grid_to_magnetic_deg"],
        "horizontal_nt": place["horizontal_intensity_nt"],
    }


def _day(
    site: pd.Series,
    place: pd.Series,
    planned: pd.Series,
    told: dict[str, Any],
    marked_utc_s: Sequence[float],
    max_altitude_deg: float,
) -> dict[str, Any]:
    sun = sun_day(site, place, planned, max_altitude_deg)
    noon = place["noon_local"][11:19]
    label = f"Altitude and azimuth of the sun through {place['date']}"
    words = [f"Local noon {noon}, the sun {figure(place['noon_altitude_deg'], 1, '°')} high."]
    if not ("sun-too-high" in told["flags"] and told["morning"]):
        words += _avoid(sun)
    words.append(_hours_sentence(told))
    if marked_utc_s:
        words.append("Dots: the marks.")
    return {"date": place["date"], "svg": day_plot(sun, label, marked_utc_s), "words": words}


def _avoid(sun: SunDay) -> list[str]:
    spans = sun.too_high
    if not spans:
        return []
    times = " and ".join(
        "–".join(clock.local_clock(np.array(span), sun.timezone).tolist()) for span in spans
    )
    return [f"Too high above {sun.max_altitude_deg:g}°: make no marks {times}."]


def _hours_sentence(told: dict[str, Any]) -> str:
    text = plan_rows.sentence(told)
    return text[:1].upper() + text[1:] + "."


def _hours_note(max_altitude_deg: float) -> str:
    rig, limits = Rig(), Limits(max_altitude_deg=max_altitude_deg)
    return (
        "Good hours, shaded: when an equal-altitude pair gives the meridian to "
        f"{within_95(limits.target_deg)}, the sun {limits.min_altitude_deg:g}° to "
        f"{limits.max_altitude_deg:g}° high, with the rod used there ({rig.rod_mm:g} mm where "
        f"none was) on a board of {rig.board_width_mm:g} × {rig.board_depth_mm:g} mm. The plan "
        "is for another rod, board or target."
    )
