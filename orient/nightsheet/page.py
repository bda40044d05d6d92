"""The nights as one page for a browser: the tables of the sheet, and its pictures."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from typing import cast

import pandas as pd

from orient.flags import CAUTIONS, NIGHT_CAUTIONS
from orient.nightsheet import words
from orient.nightsheet.sheet import STEPS, night_sheet
from orient.pages import SEAL, sealed, shared_style
from orient.planning.night import Night, NightRig

KIND = "orient night"
_STYLE = (
    ".night h3{margin-top:1.3rem}"
    ".sky{background:#fdfcf9;border-radius:.4rem;margin:.6rem 0}"
    ".sky{overflow-x:auto}.sky img{display:block;width:100%;min-width:34rem;height:auto;"
    "max-width:52rem;margin:0 auto}"
    ".night .scroll th:first-child{min-width:0;overflow-wrap:normal}"
    ".night .scroll td:nth-child(2){white-space:normal}"
    "@media print{.night{break-before:page}.night:first-of-type{break-before:auto}}"
)


def night_page(name: str, sites: pd.DataFrame, nights: Sequence[Night], rig: NightRig) -> str:
    """The page of a campaign's nights.

    Args:
        name: of the campaign.
        sites: the sites table.
        nights: planned for them.
        rig: what they were planned for.

    Returns:
        HTML that needs no network and no other file.
    """
    parts = [_night(cast(pd.Series, sites.loc[night.site]), night, rig) for night in nights]
    cautions = "".join(f"<li>{escape(each)} </li>" for each in (*NIGHT_CAUTIONS, *CAUTIONS))
    steps = "".join(f"<li>{escape(step.format(base=rig.base_m))}</li>" for step in STEPS)
    contents = "".join(
        f'<li><a href="#night-{n}">{escape(night.site)}, {night.date}</a></li>'
        for n, night in enumerate(nights, 1)
    )
    numbered = "".join(part.replace("NUMBER", str(n), 1) for n, part in enumerate(parts, 1))
    return sealed(
        f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
{SEAL}
<title>Nights of {escape(name)}</title>
<style>{shared_style()}{_STYLE}</style></head><body><div class="page">
<h1>Nights of {escape(name)}</h1>
<p class="lead">{escape(words.rigging(rig))} Local times; ± are 95&nbsp;% figures.</p>
<div class="cautions"><ul>{cautions}</ul></div>
<nav><ul>{contents}</ul></nav>
<main>{numbered}</main>
<h2>A line by two plumb lines</h2><ol>{steps}</ol>
</div></body></html>
""",
        KIND,
    )


def _night(site: pd.Series, night: Night, rig: NightRig) -> str:
    said = " ".join(
        filter(None, (words.darkness(night), words.moonlight(night), words.nothing(night)))
    )
    parts = [
        f'<section class="night" id="night-NUMBER"><h2>{escape(night.site)}, {night.date}</h2>',
        f"<p>{escape(said)}</p>",
    ]
    if len(night.polaris):
        parts.append(f"<p>{escape(words.events(night))}</p>")
        parts.append(_table("Polaris", words.POLARIS_COLUMNS, words.polaris_rows(night)))
    if len(night.stars):
        title = "Stars, each at its best moment"
        parts.append(_table(title, words.STAR_COLUMNS, words.star_rows(night)))
    if len(night.pairs):
        title = "Two stars in one vertical: no watch needed"
        parts.append(_table(title, words.PAIR_COLUMNS, words.pair_rows(night)))
    if len(night.stars):
        parts.append(_pictures(site, night, rig))
    return "".join(parts) + "</section>"


def _table(title: str, columns: Sequence[str], rows: list[list[str]]) -> str:
    # How good the line is stands beside the time: a telephone's window ends soon after.
    after = columns.index("time") + 1
    columns, *rows = ([*row[:after], row[-1], *row[after:-1]] for row in (columns, *rows))
    head = "".join(f"<th>{escape(name)}</th>" for name in columns)
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        + "".join(f"<td>{escape(cell)}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    return (
        f'<h3>{escape(title)}</h3><div class="scroll"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _pictures(site: pd.Series, night: Night, rig: NightRig) -> str:
    # As an image of its own: a sealed page allows no style but its own.
    svg = night_sheet(site, night, rig).svgs()[-1]
    source = "data:image/svg+xml;base64," + base64.b64encode(svg.encode("utf-8")).decode()
    label = escape(f"Where to find the stars, {night.site}, {night.date}", quote=True)
    return f'<figure class="sky"><img alt="{label}" src="{source}"></figure>'
