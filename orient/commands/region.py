"""`orient region`: the declination over an area, as lines, as a lattice and as a picture."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from orient.commands.common import force_option, printable, progress, tell_written
from orient.commands.planning_options import chosen_sites

if TYPE_CHECKING:
    from orient.region.lattice import Area, Lattice

_QUANTITIES = ["declination", "change", "grid-magnetic", "inclination", "horizontal"]
_KINDS = ["png", "gpkg", "geojson", "csv", "tif"]


def _when(ctx: click.Context, param: click.Parameter, value: str | None) -> dt.date | int | None:
    from orient.magnetism import read_when

    try:
        return None if value is None else read_when(value)
    except ValueError as fault:
        raise click.BadParameter(str(fault)) from None


class _Signed(click.Command):
    """Bounds may begin with a minus, as a western longitude does."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        joined: list[str] = []
        for arg in args:
            if joined and joined[-1] == "--bounds":
                joined[-1] = f"--bounds={arg}"
            else:
                joined.append(arg)
        return super().parse_args(ctx, joined)


@click.command(cls=_Signed)
@click.option("--bounds", metavar="W,S,E,N", help="Degrees; west may be greater than east.")
@click.option(
    "--around", type=click.Path(file_okay=False), metavar="CAMPAIGN", help="The area of its sites."
)
@click.option("--date", callback=_when, metavar="WHEN", help="A day or a year; today if left out.")
@click.option(
    "--step", type=click.FloatRange(min=1e-4), metavar="DEG", help="Between the lattice's points."
)
@click.option(
    "--what",
    type=click.Choice(_QUANTITIES),
    default="declination",
    show_default=True,
    help="What the lines and the picture show; the lattice has all.",
)
@click.option(
    "--interval",
    type=click.FloatRange(min=1e-6),
    metavar="DEG",
    help="Between lines; of `horizontal` in nanotesla.",
)
@click.option("--grid", metavar="CRS", help="A grid, for the angle from its north to the needle.")
@click.option("--only", type=click.Choice(_KINDS), multiple=True, help="Only these kinds of file.")
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Where the files go.",
)
@force_option
def region(
    bounds: str | None,
    around: str | None,
    date: dt.date | int | None,
    step: float | None,
    what: str,
    interval: float | None,
    grid: str | None,
    only: tuple[str, ...],
    output: Path,
    force: bool,
) -> None:
    """Map the declination, and what goes with it, over an area.

    Writes into FOLDER contour lines (.gpkg, .geojson), the lattice (.csv, .tif) and a picture
    with coastlines and the campaign's sites (.png).
    """
    from orient.outputs import write_output

    area, sites = _area(bounds, around)
    _check_grid(grid, what)
    when = date if date is not None else dt.date.today()
    with progress("Mapping", 3) as advance:
        made = _lattice(area, step, when, grid or "")
        advance(1)
        contents, remarks = _contents(made, what, interval, sites, str(when), only or tuple(_KINDS))
        advance(1)
        written = write_output(output, contents, force)
        advance(1)
    tell_written(written)
    for remark in remarks:
        click.echo(printable(remark), err=True)


def _fault(column: str, found: str, wanted: str) -> Exception:
    from orient.errors import Fault, InputError

    return InputError(Fault("the command line", None, column, found, wanted))


def _area(bounds: str | None, around: str | None) -> tuple[Area, Any]:
    """The area asked for, and the sites to be shown in it, or None."""
    if (bounds is None) == (around is None):
        raise click.UsageError("One of --bounds W,S,E,N and --around CAMPAIGN is wanted.")
    sites = None
    if around is not None:
        sites = chosen_sites(around, ())
        return _around(sites), sites
    return _bounds(str(bounds)), sites


def _bounds(text: str) -> Area:
    from orient.region.lattice import Area

    wanted = "west,south,east,north in degrees, such as 100,42,108,46"
    try:
        west, south, east, north = map(float, text.replace("−", "-").replace(";", ",").split(","))
    except ValueError:
        raise _fault("--bounds", text, wanted) from None
    if not (-90.0 <= south < north <= 90.0 and abs(west) <= 360.0 and abs(east) <= 360.0):
        raise _fault("--bounds", text, f"{wanted}; south below north, both from −90 to 90")
    if east <= west:
        east += 360.0
    if not 0.0 < east - west <= 360.0:
        raise _fault("--bounds", text, f"{wanted}; east of west by at most 360")
    return Area(west, south, east, north)


def _around(sites: Any) -> Area:
    """The sites' own area and a seventh more on every side, at least half a degree."""
    import numpy as np

    from orient.region.lattice import Area

    latitude = sites["latitude_deg"].to_numpy(float)
    longitude = np.sort(sites["longitude_deg"].to_numpy(float) % 360.0)
    # The widest gap between sites is what lies outside.
    gaps = np.diff(longitude, append=longitude[0] + 360.0)
    west = longitude[(int(np.argmax(gaps)) + 1) % len(longitude)]
    width, height = 360.0 - gaps.max(), latitude.max() - latitude.min()
    margin = max(0.5, 0.15 * max(width * np.cos(np.radians(latitude.mean())), height))
    aside = margin / max(np.cos(np.radians(np.abs(latitude).max())), 0.1)
    west = (west - aside + 180.0) % 360.0 - 180.0
    return Area(
        float(west),
        float(max(latitude.min() - margin, -90.0)),
        float(west + min(width + 2 * aside, 360.0)),
        float(min(latitude.max() + margin, 90.0)),
    )


def _check_grid(grid: str | None, what: str) -> None:
    from orient.numbers.grid import check_grid

    if grid is None and what == "grid-magnetic":
        raise _fault("--grid", "nothing", "a grid such as EPSG:32648, for --what grid-magnetic")
    wanted = check_grid(grid) if grid else None
    if wanted is not None:
        raise _fault("--grid", str(grid), wanted)


def _lattice(area: Area, step: float | None, when: dt.date | int, crs: str) -> Lattice:
    from orient.numbers import magnetic
    from orient.region.lattice import lattice

    year = when + 0.5 if isinstance(when, int) else float(magnetic.decimal_year(when))
    extent = max(area.east_deg - area.west_deg, area.north_deg - area.south_deg)
    try:
        return lattice(area, step or extent / 120.0, year, crs)
    except magnetic.OutsideModels as fault:
        raise _fault("--date", str(when), str(fault)) from None
    except ValueError as fault:
        raise _fault("--step", str(step), str(fault)) from None


def _contents(
    made: Lattice, what: str, interval: float | None, sites: Any, date: str, kinds: tuple[str, ...]
) -> tuple[dict[str, str | bytes], list[str]]:
    from orient.region import files
    from orient.region.contours import contours, interval_of
    from orient.region.picture import picture

    contents: dict[str, str | bytes] = {}
    remarks = []
    if set(kinds) & {"png", "gpkg", "geojson"}:
        space = interval or interval_of(made, what)
        lines = contours(made, what, space)
        frame = files.lines_frame(lines, what)
        about = f"{what}, {date}, {made.model}, lines every {space:g}; east and down plus"
        if "png" in kinds:
            contents[f"{what}.png"] = picture(made, what, lines, sites, date)
        if "geojson" in kinds:
            contents[f"{what}.geojson"] = files.geojson_of(frame, about)
        if "gpkg" in kinds:
            contents[f"{what}.gpkg"] = files.geopackage_of(frame, _points(sites), about)
        if not lines:
            remarks.append("No line of that interval crosses the area: give a smaller --interval.")
    if "csv" in kinds:
        contents["lattice.csv"] = files.csv_of(made)
    if "tif" in kinds:
        try:
            contents["lattice.tif"] = files.geotiff_of(made)
        except ModuleNotFoundError:
            remarks.append(
                "No GeoTIFF: it is written with rasterio (pip install 'orient[raster]')."
            )
    return contents, remarks


def _points(sites: Any) -> Any:
    if sites is None:
        return None
    import geopandas

    table = sites.reset_index()[["site", "latitude_deg", "longitude_deg", "elevation_m"]]
    places = geopandas.points_from_xy(table["longitude_deg"], table["latitude_deg"])
    return geopandas.GeoDataFrame(table, geometry=places, crs="EPSG:4326")
