"""The skylines of the sites, drawn with the sun's tracks of the solstices and the equinox."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from orient.flags import CAUTIONS
from orient.numbers import sun
from orient.numbers.light import Places, light_altitude_deg, light_at_board
from orient.pages import page_template, sealed, shared_style
from orient.planning.skyline import Skyline
from orient.report.drawing import WIDTH, Drawing, Frame, bottom_axis, edge, left_axis, plain
from orient.tables import clock

#: The stamp of the page.
KIND = "orient skyline"
#: Days whose tracks are drawn; the year hardly matters.
_DAYS = {"20 June": "2026-06-20", "20 March": "2026-03-20", "21 December": "2026-12-21"}
#: Half the width of the longest label.
_LABEL = 36.0


def skyline_page(sites: pd.DataFrame, skylines: Mapping[str, Skyline]) -> str:
    """The skylines as one page of HTML.

    Args:
        sites: rows of the sites table.
        skylines: of each of them, by id.
    """
    shown = [
        {
            "name": name,
            "drawing": _drawn(str(name), site, skylines[str(name)]),
            "text": skylines[str(name)].text,
        }
        for name, site in sites.iterrows()
    ]
    page = page_template("report", "skyline.html.j2").render(
        sites=shown, cautions=CAUTIONS, style=shared_style()
    )
    return sealed(page, KIND)


def _drawn(name: str, site: pd.Series, skyline: Skyline) -> Any:
    south = float(site["latitude_deg"]) < 0.0
    middle = 0.0 if south else 180.0
    frame = Frame(36.0, 18.0, WIDTH - 46.0, 170.0, (middle - 180.0, middle + 180.0), (0.0, 90.0))
    drawing = Drawing(f"Skyline of {name} and the sun's tracks", WIDTH, frame.bottom + 34.0)
    azimuths = np.arange(middle - 180.0, middle + 181.0, 45.0)
    names = {0: "N", 90: "E", 180: "S", 270: "W"}
    marks = [(float(a), names.get(int(a) % 360, "")) for a in azimuths]
    bottom_axis(drawing, frame, marks, "true azimuth")
    left_axis(drawing, frame, [(v, plain(v)) for v in (0.0, 30.0, 60.0, 90.0)], "altitude, °")
    every = np.arange(middle - 180.0, middle + 180.5, 1.0)
    height = np.interp(every % 360.0, skyline.azimuth_deg, skyline.altitude_deg, period=360.0)
    outline = [frame.at(float(a), float(h)) for a, h in zip(every, height, strict=True)]
    corners = [(frame.right, frame.bottom), (frame.left, frame.bottom)]
    drawing.path([*outline, *corners], "ground", closed=True)
    for label, date in _DAYS.items():
        azimuth, altitude = _track(site, date)
        turned = (azimuth - middle + 180.0) % 360.0 + middle - 180.0
        jump = np.abs(np.diff(turned, append=turned[-1])) > 180.0
        points = zip(turned.tolist(), np.where(jump, np.nan, altitude).tolist(), strict=True)
        for run in frame.runs(points):
            drawing.path(run, "sun")
        top = int(np.argmax(altitude))
        if altitude[top] > 4.0:
            # Beside the track's own highest point: behind the observer within the tropics.
            x, y = frame.at(float(turned[top]), float(altitude[top]))
            x = min(max(x, frame.left + _LABEL), frame.right - _LABEL)
            drawing.text(
                (x, y - 4.0 if y > frame.top + 14.0 else y + 32.0), label, "note", "middle"
            )
    edge(drawing, frame)
    return drawing.markup()


def _track(site: pd.Series, date: str) -> tuple[Any, Any]:
    """Azimuth and apparent altitude of the sun through a day, degrees."""
    noon = sun.transit(
        clock.utc_s(np.datetime64(date), 43200.0, str(site["timezone"])),
        float(site["longitude_deg"]),
    )
    instants = float(noon) + np.arange(-720.0, 721.0, 5.0) * 60.0
    light = light_at_board(instants, Places(*(float(site[name]) for name in Places._fields)))
    return np.degrees(np.arctan2(light[0], light[1])) % 360.0, light_altitude_deg(light)
