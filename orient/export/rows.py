"""Rows of results as JSON and as CSV, and the table of sites."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from orient.site import COLUMNS
from orient.tables.cells import csv_text

Row = Mapping[str, Any]


def as_json(value: Any) -> Any:
    """A value as JSON has it: no NaN, no numpy, numbers to 9 decimals."""
    if isinstance(value, Mapping):
        return {str(key): as_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return round(value, 9) if math.isfinite(value) else None
    return value


def json_rows(rows: Sequence[Row]) -> str:
    """Rows as one JSON array with a line end."""
    return json.dumps([as_json(row) for row in rows], ensure_ascii=False, indent=1) + "\n"


def csv_rows(rows: Sequence[Row], columns: Sequence[str] | None = None) -> str:
    """Rows as CSV: mappings and lists of them as JSON text, other lists with spaces between.

    No text in it runs as a formula.

    Args:
        rows: with the keys of `columns`.
        columns: the header, which stands even where there is no row; the keys of the first
            row where left out.
    """
    header = list(rows[0] if columns is None and rows else columns or ())
    flat = [{key: _cell(row[key]) for key in header} for row in rows]
    return csv_text(pd.DataFrame(flat, columns=header))


def _cell(value: Any) -> Any:
    parts = value if isinstance(value, list | tuple) else [value]
    if any(isinstance(part, Mapping) for part in parts):
        return json.dumps(as_json(value), ensure_ascii=False)
    return " ".join(value) if isinstance(value, list | tuple) else value


def sites_csv(described: pd.DataFrame) -> str:
    """Rows of `site.describe` as CSV, its own columns first to last."""
    return csv_text(described[list(COLUMNS)])
