"""`orient card`: what to add to a compass reading, on cards to cut out and keep."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from orient.commands.common import (
    LocalDate,
    campaign_argument,
    force_option,
    progress,
    tell_written,
)
from orient.commands.planning_options import placed
from orient.commands.sheet import paper_option, unprinted

if TYPE_CHECKING:
    from orient.observation.compass import CompassCheck
    from orient.tables.campaign import Campaign


#: On the card of a site that its own boards put elsewhere.
_DOUBTED = "The marks contradict this place: do not use."


@click.command()
@campaign_argument
@click.option("--site", "only", multiple=True, metavar="SITE", help="Only this site; repeat.")
@click.option("--date", "day", type=LocalDate(), help="Local date; today if left out.")
@paper_option
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.pdf.",
)
@force_option
def card(
    campaign: str, only: tuple[str, ...], day: dt.date | None, paper: str, output: Path, force: bool
) -> None:
    """Cards at true scale, one a site of CAMPAIGN: declination, grid, and what to add.

    Each has its date and until when it holds, one worked bearing, and the compasses' own
    corrections where readings have shown them.
    """
    import numpy as np

    from orient.errors import Fault, InputError
    from orient.outputs import check_output, write_output
    from orient.sheet.card import cards
    from orient.sheet.paper import paper_named
    from orient.site import describe

    if output.suffix.lower() != ".pdf":
        raise InputError(Fault(str(output), None, None, output.suffix or "no ending", ".pdf"))
    check_output(output.parent, output.name, "orient", force)
    try:
        sheet = paper_named(paper)
    except ValueError as fault:
        raise InputError(Fault("--paper", None, None, repr(paper), str(fault))) from None
    read, check, doubted = _campaign(campaign)
    sites = read.sites
    unknown = [name for name in only if name not in sites.index]
    if unknown:
        raise InputError(
            Fault("--site", None, None, repr(name), "a site of the campaign") for name in unknown
        )
    chosen = placed(campaign, sites.loc[list(only)] if only else sites, only)
    when = np.datetime64(day or dt.date.today(), "D")
    made = dt.datetime(1970, 1, 1) + dt.timedelta(days=int(when.astype(int)))
    with progress("Drawing", 1) as advance:
        content = cards(
            describe(chosen, when),
            read.name,
            _compasses(check),
            _pulled(check) | doubted,
            sheet,
            made,
        )
        advance(1)
    tell_written(write_output(output.parent, {output.name: content}, force))
    for sentence in unprinted(map(str, chosen.index)):
        click.echo(sentence, err=True)


def _campaign(folder: str) -> tuple[Campaign, CompassCheck | None, dict[str, str]]:
    """The campaign; of one with boards, what its readings say, and a word on doubtful places."""
    from orient.tables.campaign import read_campaign

    if not any(path.stem.lower() == "setups" for path in Path(folder).glob("*")):
        return read_campaign(folder, tables=("sites",), unplaced=True), None, {}
    from orient.observation.compass import check_compasses, misplaced
    from orient.observation.setups import reduce_campaign
    from orient.observation.sights.campaign import every_reading

    campaign = read_campaign(folder, unplaced=True)
    with progress("Reducing", len(campaign.setups)) as advance:
        results = reduce_campaign(campaign, workers=os.cpu_count() or 1, advance=advance)
    rows = [result.row for result in results]
    check = check_compasses(every_reading(campaign, rows), advise=False)
    return campaign, check, dict.fromkeys(misplaced(rows)[1], _DOUBTED)


def _compasses(check: CompassCheck | None) -> list[tuple[str, str]]:
    """Each compass and what its readings have shown, those that were shown something first."""
    if check is None:
        return []
    shown, unsure = [], []
    for name, row in check.compasses.iterrows():
        title = f"Compass {name}" if name else "The compass"
        if row["verdict"] == "shown":
            half = (row["correction_high_deg"] - row["correction_low_deg"]) / 2
            way = "subtract" if row["correction_deg"] < 0 else "add"
            size = f"{abs(row['correction_deg']):.1f}°"
            shown.append((title, f": first {way} {size} (±{half:.1f}°)"))
        else:
            unsure.append((title, ": no correction is sure"))
    return shown + unsure


def _pulled(check: CompassCheck | None) -> dict[str, str]:
    if check is None:
        return {}
    pulled = check.places[check.places["verdict"] == "pulled"]
    return {
        str(row["site"]): f"The ground pulls by {abs(row['anomaly_deg']):.0f}°: no compass here."
        for _, row in pulled.iterrows()
    }
