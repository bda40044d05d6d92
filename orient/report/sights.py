"""The report's part on directions read against the sky."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from orient.numbers.tolerances import COVERAGE_95
from orient.observation.setups import SetupResult
from orient.observation.sights.campaign import reduce_sights
from orient.observation.sights.words import sentences
from orient.tables.campaign import Campaign


def sights_part(campaign: Campaign, boards: Sequence[SetupResult]) -> list[dict[str, Any]]:
    """What the page shows of every circle.

    Args:
        campaign: with its sights, if it has any.
        boards: its set-ups, reduced.

    Returns:
        One mapping a circle: `number`, `name`, `site`, `date`, `flags`, `rows` (one a line: the
        keys of `sights.KEYS` with `azimuth_95_deg` and `orientation_95_deg`), and `remarks`.
    """
    return [
        {
            "number": number,
            "name": result.name,
            "site": result.rows[0]["site"],
            "date": result.rows[0]["date"],
            "flags": sorted({str(flag) for row in result.rows for flag in row["flags"]}),
            "rows": [_with_95(row) for row in result.rows],
            "remarks": [said.split(": ", 1)[-1] for said in sentences(result)],
        }
        for number, result in enumerate(reduce_sights(campaign, boards), 1)
    ]


def _with_95(row: dict[str, Any]) -> dict[str, Any]:
    return row | {
        f"{name}_95_deg": None if row[key] is None else COVERAGE_95 * row[key]
        for name, key in (
            ("azimuth", "reference_azimuth_u_deg"),
            ("orientation", "orientation_u_deg"),
        )
    }
