"""`orient skyline`: how high the ground stands round each site."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from orient.commands.common import (
    Column,
    Row,
    campaign_argument,
    emit,
    force_option,
    format_option,
    number,
    progress,
    say,
    tell_written,
)
from orient.commands.planning_options import POSITIVE, check_page, chosen_sites

if TYPE_CHECKING:
    import pandas as pd

    from orient.planning.skyline import Skyline
    from orient.tables.campaign import Campaign


@click.command("skyline")
@campaign_argument
@click.option(
    "--dem",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Terrain model, GeoTIFF or another raster with its grid.",
)
@click.option(
    "--measured",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Altitudes read by clinometer: site, azimuth_deg (true), altitude_deg.",
)
@click.option("--site", "names", multiple=True, metavar="SITE", help="Only this site; repeat.")
@click.option(
    "--reach",
    type=POSITIVE,
    default=30.0,
    show_default=True,
    metavar="KM",
    help="How far ground is looked for.",
)
@click.option(
    "--eye", type=POSITIVE, default=1.2, show_default=True, metavar="M", help="Above the ground."
)
@click.option("--save", is_flag=True, help="Write the skylines into the sites table.")
@click.option(
    "--draw",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.html",
    help="The skylines drawn, with the sun's tracks of the solstices and equinox.",
)
@force_option
@format_option
def skyline(
    campaign: str,
    dem: Path | None,
    measured: Path | None,
    names: tuple[str, ...],
    reach: float,
    eye: float,
    save: bool,
    draw: Path | None,
    force: bool,
    style: str,
) -> None:
    """How high the ground stands round each site.

    From a terrain model, with the earth's curvature and refraction, or from altitudes read by
    clinometer. The plan and the sheet leave out marks behind the skyline. Trees and houses are in
    no terrain model: look at the place itself, and put the table right by hand.
    """
    if (dem is None) == (measured is None):
        raise click.UsageError("Give one of --dem and --measured.")
    sites = chosen_sites(campaign, names)
    if draw:
        from orient.report.skyline_page import KIND, skyline_page

        check_page("--draw", draw, KIND, force)
    if dem is not None:
        found = _from_terrain(dem, sites, 1000.0 * reach, eye)
    else:
        assert measured is not None
        found = _from_readings(measured, sites)
    written = _saved(Path(campaign), found, force) if save else []
    if draw:
        from orient.outputs import write_output

        page = skyline_page(sites.loc[list(found)], found)
        written += write_output(draw.parent, {draw.name: page}, force)
    rows: list[Row] = [_row(name, each) for name, each in found.items()]
    emit(rows, style, _columns(), "Skylines")
    tell_written(written, style)
    if style == "table":
        say("Never look at the sun to read a skyline: read it where the sun is not.")


def _from_terrain(
    dem: Path, sites: pd.DataFrame, reach_m: float, eye_m: float
) -> dict[str, Skyline]:
    from orient.errors import Fault, InputError
    from orient.planning.skyline import NoTerrain, Terrain

    faults, found = [], {}
    try:
        with Terrain(dem) as terrain, progress("Looking round", len(sites)) as advance:
            for name, site in sites.iterrows():
                place = float(site["latitude_deg"]), float(site["longitude_deg"])
                try:
                    found[str(name)] = terrain.skyline(*place, reach_m, eye_m)
                except NoTerrain as fault:
                    wanted = "a model that reaches round every site, or --site for some of them"
                    faults.append(Fault(dem.name, None, None, f"{name}: {fault}", wanted))
                advance(1)
    except NoTerrain as fault:
        raise click.UsageError(f"--dem: {fault}.") from None
    if faults:
        raise InputError(faults)
    return found


def _from_readings(path: Path, sites: pd.DataFrame) -> dict[str, Skyline]:
    from orient.planning.skyline import measured, read_readings

    readings = read_readings(path, list(map(str, sites.index)))
    return {str(name): measured(rows) for name, rows in readings.groupby("site", sort=False)}


def _row(name: str, each: Skyline) -> Row:
    return {
        "site": name,
        "horizon_deg": each.text,
        "highest_deg": float(each.altitude_deg.max()),
        "highest_azimuth_deg": float(each.azimuth_deg[int(each.altitude_deg.argmax())]),
        "ground_m": each.ground_m,
        "known_to_km": each.known_m / 1000.0,
    }


def _columns() -> list[Column]:
    return [
        Column("site", lambda row: row["site"], right=False),
        Column("ground", lambda row: number(row["ground_m"], 0, " m")),
        Column("known to", lambda row: number(row["known_to_km"], 1, " km")),
        Column("highest", lambda row: number(row["highest_deg"], 1, "°")),
        Column("toward", lambda row: number(row["highest_azimuth_deg"], 0, "°")),
    ]


def _saved(folder: Path, found: dict[str, Skyline], force: bool) -> list[Path]:
    """Write the skylines into the sites table.

    Raises:
        InputError: a site has a skyline already and `force` is not given.
    """
    from orient.errors import Fault, InputError
    from orient.tables.cells import with_cells
    from orient.tables.editing import Sitting, table_path

    texts = {name: each.text for name, each in found.items()}

    def change(data: bytes, now: Campaign) -> bytes:
        # Someone else may have saved one, or taken a site out, since they were looked at.
        faults = [
            Fault("sites.csv", None, "site", f"no {name} any more", "the sites as they were")
            for name in set(found) - set(now.sites.index)
        ]
        horizons = now.sites["horizon"].reindex(list(found)).fillna("")
        faults += [
            Fault("sites.csv", None, "horizon_deg", f"a skyline of {name}", "--force to replace it")
            for name in found
            if horizons[name] and not force
        ]
        if faults:
            raise InputError(faults)
        return with_cells(data, "site", texts, "horizon_deg")

    Sitting(folder, needed=("sites",)).change("sites", change)
    return [table_path(folder, "sites")]
