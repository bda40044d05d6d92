"""The mistakes that a campaign's tables show: its boards read again with all that they hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd

from orient import site
from orient.observation.board import Board
from orient.observation.boards import board_from_rows
from orient.observation.mistakes.catalogue import reread
from orient.observation.mistakes.record import Other, Record
from orient.observation.reduction import Reduced, reduce_records
from orient.tables import clock
from orient.tables.campaign import Campaign, zones_at

# Marks are looked for among so many set-ups before and after their own in the table.
_NEIGHBOURS = 10


def with_explanations(
    campaign: Campaign,
    places: pd.DataFrame,
    marks: Sequence[pd.DataFrame],
    reduced: Sequence[Reduced | None],
    workers: int = 1,
) -> list[Reduced | None]:
    """Say of every board that contradicts its record which mistake would explain it.

    Args:
        campaign: with all three tables.
        places: `site.describe` for each set-up.
        marks: of each set-up, those in use.
        reduced: of each set-up, None where it has no mark.
        workers: processes to share many boards among.

    Returns:
        The same reductions; those explained with remarks first that say so, the flag
        `record-doubtful`, and an azimuth as uncertain as the readings are apart.
    """
    table = _Table(campaign, places, marks, reduced)
    done = list(reduced)
    doubtful = [n for n, each in enumerate(reduced) if each is not None and each.contradicted]
    records = [table.record(number, with_others=True) for number in doubtful]
    anew = reduce_records(records, workers)
    for number, record, each in zip(doubtful, records, anew, strict=True):
        if each is None:
            continue
        slips = [] if each.fit.kept.all() else reread(record, each.fit)
        done[number] = replace(each, remarks=_with_slips(each, slips))
    for number, sound in enumerate(reduced):
        if sound is not None and number not in doubtful and not sound.fit.kept.all():
            slips = reread(table.record(number, with_others=True), sound.fit)
            done[number] = replace(sound, remarks=[*slips, *sound.remarks])
    return done


def _with_slips(reduced: Reduced, slips: list[str]) -> list[str]:
    """The explanation comes first, then single marks, then the rest."""
    if reduced.explanation is None:
        return [*slips, *reduced.remarks]
    return [reduced.remarks[0], *slips, *reduced.remarks[1:]]


class _Table:
    """The rows of a campaign by the number of their set-up."""

    def __init__(
        self,
        campaign: Campaign,
        places: pd.DataFrame,
        marks: Sequence[pd.DataFrame],
        reduced: Sequence[Reduced | None],
    ) -> None:
        self.setups, self.sites = campaign.setups, campaign.sites
        self.places, self.marks, self.reduced = places, marks, reduced

    def record(self, number: int, with_others: bool = False) -> Record:
        """What can be read in another way of a set-up."""
        setup, marks = self.setups.iloc[number], self.marks[number]
        site_row, place = self.sites.loc[setup["site"]], self.places.iloc[number]
        board = board_from_rows(setup, site_row, place, marks)
        return Record(
            board=board,
            labels=tuple(marks["mark"].astype(str)),
            by_angle=bool(marks["by_angle"].all()),
            utc_ahead_s=float(clock.offset_s(board.noon_utc_s, site_row["timezone"])),
            date=str(place["date"]),
            latitude_deg=float(site_row["latitude_deg"]),
            longitude_deg=float(site_row["longitude_deg"]),
            rebuilt=partial(_rebuilt, setup, site_row, marks),
            others=tuple(self._others(number)) if with_others else (),
        )

    def _others(self, number: int) -> list[Other]:
        mine = self.setups.iloc[number]
        others = []
        first, last = max(0, number - _NEIGHBOURS), number + _NEIGHBOURS + 1
        for place in range(first, min(last, len(self.setups))):
            theirs, reduced = self.setups.iloc[place], self.reduced[place]
            same_day = bool(mine["site"] == theirs["site"] and mine["date"] == theirs["date"])
            fit = None if reduced is None or reduced.contradicted else reduced.fit
            if place == number or (same_day and fit is None):
                continue
            site_row = self.sites.loc[theirs["site"]]
            board = board_from_rows(theirs, site_row, self.places.iloc[place], self.marks[number])
            others.append(Other(str(theirs.name), board, fit, same_day))
        return others


def _rebuilt(
    setup: pd.Series,
    site_row: pd.Series,
    marks: pd.DataFrame,
    date: str,
    latitude_deg: float,
    longitude_deg: float,
) -> Board:
    """The board on another date or at another place, with the time that is kept there."""
    zone = site_row["timezone"]
    # A zone that was looked up from a wrong place is as wrong.
    if [zone] == zones_at([site_row["latitude_deg"]], [site_row["longitude_deg"]]):
        (zone,) = zones_at([latitude_deg], [longitude_deg])
    site_row = site_row.copy()
    site_row[["latitude_deg", "longitude_deg", "timezone"]] = latitude_deg, longitude_deg, zone
    noon_s = float(site.local_noon(np.datetime64(date), zone, longitude_deg))
    return board_from_rows(setup, site_row, pd.Series({"date": date, "noon_utc_s": noon_s}), marks)
