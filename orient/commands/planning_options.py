"""Options that the planning commands share: the span, the sites, the rig."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from orient.commands.common import LocalDate, force_option, printable
from orient.defaults import BOARD_MM, MAX_ALTITUDE_DEG, MIN_ALTITUDE_DEG, ROD_MM, TARGET_U_DEG
from orient.numbers.tolerances import COVERAGE_95, Tolerances
from orient.text import at_95 as at_95
from orient.text import did_you_mean

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from orient.planning.hours import Limits
    from orient.planning.rig import Rig

Command = TypeVar("Command", bound=Callable[..., Any])
Options = tuple[Callable[[Any], Any], ...]


class Positive(click.ParamType):
    """A number above 0 that some length, angle or time of this work might have."""

    name = "number"
    least = 1e-6

    def __init__(self, most: float = 1e6) -> None:
        self.most = most

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            found = float(value)
        except ValueError:
            found = math.nan
        if not self.least <= found <= self.most:
            span = f"{self.least:f} to {self.most:,.0f}"
            self.fail(f"{value!r} is no number above 0, from {span}.", param, ctx)
        return found


POSITIVE = Positive()


class Rod(click.ParamType):
    """A rod's height, mm, in the bounds of the set-ups table."""

    name = "rod"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        found: float = click.FLOAT.convert(value, param, ctx)
        if not 20.0 <= found <= 5000.0:
            self.fail(f"a rod is 20 to 5000 mm tall, found {value}", param, ctx)
        return found


ROD = Rod()


class Target(click.ParamType):
    """What a line must meet: `±0.5` as people are shown it (95 %), `0.25` one standard."""

    name = "target"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        text = str(value).strip()
        plain = re.sub(r"^(±|\+/?-)\s*", "", text)
        found: float = POSITIVE.convert(plain.removesuffix("°"), param, ctx)
        return found / COVERAGE_95 if plain != text else found


span_options = (
    click.option("--from", "first", type=LocalDate(), required=True, help="First local date."),
    click.option("--to", "last", type=LocalDate(), help="Last local date; the first if left out."),
    click.option("--site", "names", multiple=True, metavar="SITE", help="Only this site; repeat."),
    click.option(
        "--target",
        type=Target(),
        default=TARGET_U_DEG,
        show_default="0.25, which is ±0.49",
        metavar="DEG",
        help="What a pair must meet, degrees: ±0.5 is a 95 % figure, 0.25 a standard uncertainty.",
    ),
)
board_options = (
    click.option(
        "--rod", type=ROD, default=ROD_MM, show_default=True, metavar="MM", help="Rod height."
    ),
    click.option(
        "--board",
        type=POSITIVE,
        nargs=2,
        default=BOARD_MM,
        show_default=True,
        metavar="MM MM",
        help="Width and depth of the board; the width lies east and west.",
    ),
    click.option(
        "--reach",
        type=POSITIVE,
        metavar="MM",
        help="Longest shadow that counts as on the board, in place of its width and depth.",
    ),
)
limit_options = (
    click.option(
        "--min-altitude",
        type=float,
        default=MIN_ALTITUDE_DEG,
        show_default=True,
        metavar="DEG",
        help="Lowest sun to mark by.",
    ),
    click.option(
        "--max-altitude",
        type=float,
        default=MAX_ALTITUDE_DEG,
        show_default=True,
        metavar="DEG",
        help="Highest sun to mark by.",
    ),
    click.option(
        "--step",
        type=click.FloatRange(0.5, 60.0),
        default=10.0,
        show_default=True,
        metavar="MIN",
        help="Minutes between the hours looked at.",
    ),
)


def output_options(page: str, calendar: str) -> Options:
    """The page, what lets it replace a file, and the rows, a calendar among their forms."""
    forms = click.Choice(["table", "csv", "json", "ics"])
    rows = "How the rows are written to standard output; ics is a calendar of"
    return (
        click.option(
            "--page",
            type=click.Path(dir_okay=False, path_type=Path),
            metavar="FILE.html",
            help=f"Write the {page}.",
        ),
        force_option,
        click.option(
            "--format", "style", type=forms, default="table", show_default=True,
            help=f"{rows} {calendar}.",
        ),
    )  # fmt: skip


_CARE = {
    "mark_sd_mm": "one mark, each axis, mm",
    "level_sd_deg": "the board's level, each axis, degrees",
    "plumb_sd_mm": "the foot, each axis, mm",
    "height_sd_mm": "the rod's height, mm",
    "watch_sd_s": "the watch, seconds",
}


def care_options(command: Command) -> Command:
    """An option for each tolerance of the set-up, its default that of `Tolerances`."""
    for name, what in reversed(_CARE.items()):
        flag = f"--{name.rsplit('_', 1)[0].replace('_', '-')}"
        command = click.option(
            flag,
            name,
            type=POSITIVE,
            default=getattr(Tolerances(), name),
            show_default=True,
            metavar="NUMBER",
            help=f"Standard uncertainty of {what}.",
        )(command)
    return command


def with_options(*groups: Options) -> Callable[[Command], Command]:
    """Put groups of options on a command, in the order given."""

    def decorate(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return command

    return decorate


def check_amount(sites: int, days: int, most_site_days: int, lead: str = "") -> None:
    """Before the work: whether one page holds so many sites and days.

    Raises:
        click.UsageError: it does not; `lead` stands before the reason.
    """
    from orient.pages.span import TooLarge, check_size

    try:
        check_size(sites, days, most_site_days)
    except TooLarge as fault:
        raise click.UsageError(f"{lead}{fault}.") from None


def check_page(option: str, path: Path, kind: str, force: bool) -> None:
    """Before the work: whether a page of a kind may be written there.

    Raises:
        click.UsageError: another ending than a page has.
        InputError: a file there that it may not replace.
    """
    from orient.outputs import check_output

    if path.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"{option} takes a file ending in .html, found {path.name}")
    check_output(path.parent, path.name, kind, force)


def dates_between(first: date, last: date | None, sites: pd.DataFrame) -> NDArray[np.datetime64]:
    """Every local date of the span, both ends too; standard error tells of one that never was.

    Raises:
        click.UsageError: the span runs backward, or holds no day that the sites had.
    """
    import numpy as np

    from orient.tables import clock

    last = last or first
    if last < first:
        raise click.UsageError(f"--to {last} lies before --from {first}.")
    start, stop = np.datetime64(first, "D"), np.datetime64(last, "D")
    dates = np.arange(start, stop + 1)
    zones = sites["timezone"].to_numpy()
    some = np.unique(zones.astype(str))
    never = clock.left_out(dates[:, None], some).any(axis=1)
    for day in dates[never]:
        without = clock.left_out(day, zones)
        said = _never_was(day, sites.index[without])
        if never.all():
            raise click.UsageError(said)
        others = "" if without.all() else " --site plans the others alone, with that day."
        click.echo(printable(f"{said} It is left out.{others}"), err=True)
    return dates[~never]


def check_day(day: date, sites: pd.DataFrame) -> None:
    """Whether all the sites had a day.

    Raises:
        click.UsageError: the clocks of one went over the date line and left it out.
    """
    dates_between(day, None, sites)


def _never_was(day: Any, names: Sequence[str]) -> str:
    listed = ", ".join(names[:6]) + (", ..." if len(names) > 6 else "")
    return (
        f"{listed} had no {day}: the clocks there went over the date line, and the calendar "
        "left that day out."
    )


def chosen_sites(campaign: str, names: tuple[str, ...]) -> pd.DataFrame:
    """The sites of a campaign, or those named, in the order of the table.

    Those without coordinates are left out, and told of on standard error.

    Raises:
        click.UsageError: a name that the table has not, or of a site without coordinates.
    """
    from orient.tables.campaign import read_campaign

    sites = read_campaign(campaign, tables=("sites",), unplaced=True).sites
    unknown = [name for name in names if name not in sites.index]
    if unknown:
        known = ", ".join(sites.index[:12]) + (", ..." if len(sites) > 12 else "")
        hint = did_you_mean(unknown[0], sites.index) or f" There are: {known}."
        raise click.UsageError(f"The sites table has no site {', '.join(unknown)}.{hint}")
    return placed(campaign, sites[sites.index.isin(names)] if names else sites, names)


def placed(campaign: str, chosen: pd.DataFrame, names: tuple[str, ...]) -> pd.DataFrame:
    """The sites with coordinates; standard error tells of the others.

    Raises:
        click.UsageError: one without was asked for by its name.
        InputError: none has any.
    """
    from orient.tables.campaign import read_campaign

    blank = chosen.index[chosen["latitude_deg"].isna()]
    listed = ", ".join(blank[:12]) + (", ..." if len(blank) > 12 else "")
    if names and len(blank):
        raise click.UsageError(f"No coordinates in the sites table: {listed}.")
    if len(blank) == len(chosen):
        read_campaign(campaign, tables=("sites",))
    if len(blank):
        click.echo(printable(f"Left out, without coordinates: {listed}."), err=True)
    return chosen.drop(blank)


def care_of(told: Mapping[str, Any]) -> dict[str, float]:
    """Of a command's options, the tolerances of `care_options`."""
    return {name: told[name] for name in _CARE}


def the_rig(
    rod: float, board: tuple[float, float], reach: float | None, care: dict[str, float]
) -> Rig:
    """The rig that the options describe."""
    from orient.planning.rig import Rig

    return Rig(rod, max(board), min(board), reach, Tolerances(**care))


def altitude_limits(target: float, min_altitude: float, max_altitude: float) -> Limits:
    """What a pair must meet.

    Raises:
        click.UsageError: no sun can stand between the two altitudes.
    """
    from orient.planning.hours import Limits

    if not 0.0 <= min_altitude < max_altitude <= 90.0:
        raise click.UsageError(
            "--min-altitude must be 0 or more, and less than --max-altitude, 90 at most; "
            f"found {min_altitude:g} and {max_altitude:g}."
        )
    return Limits(target, min_altitude, max_altitude)


def target_text(limits: Limits) -> str:
    """The target as people read it."""
    return f"±{COVERAGE_95 * limits.target_deg:.2f}° (95 %)"
