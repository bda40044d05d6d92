"""Campaigns on disk for the tests of reports: simulated boards, odd names, things missing."""

import csv

import numpy as np
from simulated import simulated

from orient.tables import clock

TAGGED = "\"Quoted\" 'site' <b>bold</b>"
RIGHT_TO_LEFT = "موقع <script>alert(1)</script>"
LONG = "w" * 200
FORMULA = "=1+1|cmd"
DATED = "2026-03-01"
CLOSING = "</svg></title><script>alert(2)</script>"


def write_campaign(folder, sites, setups, marks):
    """Write three tables from lists of mappings."""
    folder.mkdir(parents=True)
    for name, rows, first in (
        ("sites", sites, ["site", "latitude_deg", "longitude_deg"]),
        ("setups", setups, ["setup", "site", "date", "gnomon_height_mm"]),
        ("marks", marks, ["setup", "time", "x_mm", "y_mm"]),
    ):
        keys = list(dict.fromkeys([*first, *(key for row in rows for key in row)]))
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, keys)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def setup(name, site, day=80, **more):
    date = str(np.datetime64("2026-01-01") + day)
    return {"setup": name, "site": site, "date": date, "gnomon_height_mm": 300, **more}


def marks_of(name, made, **more):
    """The marks of a simulated board as a crew in UTC would write them."""
    board = made.board
    times = clock.local_iso(board.watch_utc_s, "UTC")
    return [
        {"setup": name, "time": str(time)[11:19], "x_mm": round(x, 1), "y_mm": round(y, 1), **more}
        for time, x, y in zip(times, board.x_mm.tolist(), board.y_mm.tolist(), strict=True)
    ]


def place(name, latitude_deg, longitude_deg):
    return {
        "site": name,
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "timezone": "UTC",
    }


def sound_campaign(folder):
    """Two sites far apart; one line seen twice, one with its end known, one rejected mark."""
    generator = np.random.default_rng(11)
    north, south = (47.3, 12.4), (-33.0, 18.9)
    first = simulated(generator, *north, 80)
    second = simulated(generator, *north, 81)
    third = simulated(generator, *south, 20)
    line = 214.0
    angles = [(line - made.truth.board_azimuth_deg) % 360 for made in (first, second)]
    marks = marks_of("N1", first) + marks_of("N2", second) + marks_of("S1", third)
    marks[5] = marks[5] | {"x_mm": marks[5]["x_mm"] + 20.0, "note": "smudged"}
    marks[-1] = marks[-1] | {"use": "no"}
    return write_campaign(
        folder,
        [place("fell", *north), place("dune", *south)],
        [
            setup("N1", "fell", 80, reference_name="cairn", reference_angle_deg=angles[0]),
            setup(
                "N2",
                "fell",
                81,
                reference_name="cairn",
                reference_angle_deg=angles[1],
                turned="yes",
                compass_reading_deg=212.5,
            ),
            setup(
                "S1",
                "dune",
                20,
                reference_name="pillar",
                reference_angle_deg=77.0,
                reference_easting_m=310000,
                reference_northing_m=6346000,
            ),
        ],
        marks,
    )


def odd_campaign(folder):
    """Odd names and missing things: no marks, no reference, one mark, no angle, a wild mark."""
    generator = np.random.default_rng(12)
    sites = [
        place(TAGGED, 47.3, 12.001),
        place(RIGHT_TO_LEFT, 47.301, 12.004),
        place(LONG, 47.2995, 12.0065),
        place(FORMULA, 47.3042, 12.002),
        place("idle & <i>", 47.3012, 12.009),
    ]
    made = simulated(generator, 47.3, 12.0, 80)
    wild = marks_of("no-angle", made)
    wild[3] = wild[3] | {"x_mm": 8400}
    return write_campaign(
        folder,
        sites,
        [
            setup("<img src=x>", TAGGED, reference_name=CLOSING, reference_angle_deg=33),
            setup("بلا", RIGHT_TO_LEFT, reference_name="برج", reference_angle_deg=12),
            setup(DATED, LONG),
            setup("v" * 200, LONG, reference_name="R" * 200, reference_angle_deg=359.99),
            setup("=SUM(A1:A9)", FORMULA, reference_name="@x", reference_angle_deg=100),
            setup("one-mark", FORMULA, watch="none", reference_name="far", reference_angle_deg=1),
            setup("no-angle", TAGGED, reference_name="x"),
        ],
        marks_of("<img src=x>", made, note="<b>n</b>")
        + marks_of(DATED, made)
        + marks_of("v" * 200, made)
        + marks_of("=SUM(A1:A9)", made)
        + marks_of("one-mark", made)[:1]
        + wild,
    )
