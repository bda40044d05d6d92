"""`orient correct`: a whole notebook of compass bearings to true or grid bearings."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import force_option, printable, progress, tell_written

if TYPE_CHECKING:
    from orient.notebook.correct import Options
    from orient.observation.compass import CompassCheck
    from orient.tables.campaign import Campaign


def _day(ctx: click.Context, param: click.Parameter, value: str | None) -> dt.date | None:
    try:
        return None if value is None else dt.date.fromisoformat(value.strip())
    except ValueError:
        raise click.BadParameter(f"{value!r} is not a date written YYYY-MM-DD") from None


@click.command()
@click.argument("table", type=click.Path(dir_okay=False, path_type=Path), metavar="TABLE")
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.csv, .xlsx, .gpkg or .geojson.",
)
@click.option(
    "--bearing",
    "bearings",
    multiple=True,
    metavar="COLUMN",
    help="A column of bearings; those called strike, trend, bearing, azimuth or dip direction "
    "if none is named.",
)
@click.option(
    "--to",
    type=click.Choice(["true", "grid"]),
    default="true",
    show_default=True,
    help="The north that the bearings count from.",
)
@click.option("--grid", default="", metavar="CRS", help="The grid of --to grid; else UTM or UPS.")
@click.option("--crs", default="", metavar="CRS", help="The grid of the table's coordinates.")
@click.option("--place", metavar="LAT,LON", help="The place of rows without one.")
@click.option("--date", callback=_day, metavar="YYYY-MM-DD", help="The date of rows without one.")
@click.option("--compass", default="", metavar="ID", help="The compass of rows without one.")
@click.option(
    "--dial",
    default=0.0,
    metavar="DEG",
    help="Declination that was set on the dial, east plus, of rows without dial_deg.",
)
@click.option(
    "--campaign",
    type=click.Path(file_okay=False),
    metavar="FOLDER",
    help="Whose sites and compass readings count.",
)
@click.option(
    "--strike",
    type=click.Choice(["full", "half"]),
    default=None,
    help="Strikes by a rule round the full circle, or from 0 to 180.",
)
@click.option("--full-circle", is_flag=True, help="Bearings, all under 90, are no quadrants'.")
@click.option(
    "--sd",
    default=1.0,
    show_default=True,
    metavar="DEG",
    type=click.FloatRange(0.01, 45.0),
    help="How well a bearing was read, one standard uncertainty.",
)
@force_option
def correct(table: Path, output: Path, campaign: str | None, force: bool, **given: Any) -> None:
    """Turn the bearings of TABLE, each by its own date, place and compass, to true bearings.

    TABLE is .csv, .xlsx, .gpkg or .geojson, with columns of places (latitude and longitude,
    easting and northing, or a site of the campaign), of dates, and of bearings; compass and
    dial_deg where there are any. Every column is kept; each bearing gains C_true_deg, C_u_deg
    (its standard uncertainty) and C_applied_deg, which undoes it.
    """
    from orient.errors import Fault, InputError
    from orient.notebook.correct import correct as corrected_of
    from orient.notebook.files import ENDINGS, read_notebook, written_notebook
    from orient.outputs import check_output, check_source, write_output
    from orient.tables.cells import Faults

    ending = output.suffix.lower()
    if ending not in ENDINGS:
        raise InputError(Fault(str(output), None, None, ending or "no ending", ", ".join(ENDINGS)))
    check_source(table, output)
    check_output(output.parent, output.name, "orient correct", force)
    options, faults = _options(given), Faults()
    notebook = read_notebook(table, faults)
    faults.stop_if_any()
    assert notebook is not None
    whose, check = _campaign(campaign)
    with progress("Correcting", 1) as advance:
        corrected = corrected_of(notebook.cells, options, whose, check)
        content = written_notebook(notebook, corrected, ending)
        advance(1)
    tell_written(write_output(output.parent, {output.name: content}, force))
    for sentence in corrected.remarks:
        click.echo(printable(sentence), err=True)


def _options(given: dict[str, Any]) -> Options:
    """The options as `correct` takes them, every fault of them at once."""
    import numpy as np

    from orient.errors import Fault, InputError
    from orient.notebook.correct import Options
    from orient.numbers.grid import check_grid
    from orient.tables.coordinates import NotACoordinate, parse_place

    faults = []
    for name in ("grid", "crs"):
        wanted = check_grid(given[name]) if given[name] else None
        if wanted is not None:
            faults.append(Fault("the command line", None, f"--{name}", given[name], wanted))
    place = None
    if given["place"] is not None:
        try:
            place = parse_place(given["place"])
        except NotACoordinate as fault:
            faults.append(Fault("the command line", None, "--place", given["place"], str(fault)))
    if faults:
        raise InputError(faults)
    return Options(
        bearings=given["bearings"],
        to=given["to"],
        grid=given["grid"],
        crs=given["crs"],
        date=None if given["date"] is None else np.datetime64(given["date"], "D"),
        place=place,
        compass=given["compass"],
        dial_deg=given["dial"],
        strike=given["strike"] or "",
        full_circle=given["full_circle"],
        reading_sd_deg=given["sd"],
    )


def _campaign(folder: str | None) -> tuple[Campaign | None, CompassCheck | None]:
    if folder is None:
        return None, None
    from orient.observation.compass import check_compasses
    from orient.observation.setups import reduce_campaign
    from orient.observation.sights.campaign import every_reading
    from orient.tables.campaign import read_campaign

    campaign = read_campaign(folder, unplaced=True)
    with progress("Reducing", len(campaign.setups)) as advance:
        results = reduce_campaign(campaign, workers=os.cpu_count() or 1, advance=advance)
    readings = every_reading(campaign, [result.row for result in results])
    return campaign, check_compasses(readings, advise=False)
