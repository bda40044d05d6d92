"""The page for a telephone at the board, as one HTML file that asks nothing of any network."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from orient.fieldpage.table import MOST_SITE_DAYS, field_table
from orient.flags import CAUTIONS
from orient.numbers.tolerances import Tolerances
from orient.pages import lookup, page_template, page_text, panel_style, sealed, shared_style
from orient.pages.span import check_size, span_text
from orient.planning.hours import Limits
from orient.planning.rig import Rig

#: What this page says that it is.
KIND = "orient field page"


def field_page(
    name: str,
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig,
    limits: Limits,
    advance: Callable[[int], None] = lambda _: None,
) -> str:
    """The page for some sites and days.

    Args:
        name: of the campaign.
        sites: the sites table; its texts are escaped here.
        dates: local dates, datetime64[D], one after the other.
        rig, limits: what the good hours of the panel are planned for.
        advance: told after each site, for a progress bar.

    Returns:
        The page's text.

    Raises:
        orient.pages.span.TooLarge: more than `MOST_SITE_DAYS`, or days than a page has.
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    check_size(len(sites), days.size, MOST_SITE_DAYS)
    span = span_text(days)
    page = str(
        page_template("fieldpage", "field.html.j2").render(
            name_of_campaign=name,
            span=span,
            first=str(days[0]),
            last=str(days[-1]),
            sites=[{"name": site} for site in sites.index],
            rig=rig,
            cautions=CAUTIONS,
            defaults=Tolerances(),
            shortest_shadow=lookup.SHORTEST_SHADOW,
            table=field_table(name, span, sites, days, rig, limits, advance),
            style=Markup(shared_style() + panel_style() + page_text("fieldpage", "field.css")),
            script=Markup(page_text("fieldpage", "field.js")),
        )
    )
    return sealed(page, KIND)
