"""How much one page holds, and its days in words."""

from __future__ import annotations

from typing import Any

#: A month: hand-outs of more days are of several sheets.
MOST_DAYS = 31


class TooLarge(ValueError):
    """More sites and days than one page is for."""


def check_size(sites: int, days: int, most_site_days: int) -> None:
    """Whether so many sites and days fit one page.

    Raises:
        TooLarge: they do not; the text says what would.
    """
    if days > MOST_DAYS or sites * days > most_site_days:
        raise TooLarge(
            f"one page is for {MOST_DAYS} days and {most_site_days} site-days at most; "
            f"found {days} days at {sites} sites: choose fewer days, or some of the sites"
        )


def span_text(days: Any) -> str:
    """The first and the last of some dates, datetime64[D], for people."""
    first, last = (f"{day.item().day} {day.item():%b %Y}" for day in (days[0], days[-1]))
    return first if first == last else f"{first} to {last}"
