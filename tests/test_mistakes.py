"""The mistakes people make, each really made in the tables of a campaign, and what is said.

`MISTAKES` is the list that the table of docs/mistakes.md must agree with, row by row.
"""

from __future__ import annotations

import copy
import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from simulated import noon_of, random_day, simulated

from orient import simulate
from orient.errors import InputError
from orient.observation.board import Board
from orient.observation.mistakes.catalogue import Explanation, reread
from orient.observation.mistakes.record import Record
from orient.observation.reduction import reduce_board
from orient.observation.setups import SetupResult, reduce_campaign
from orient.tables.campaign import read_campaign
from orient.text import clock_text

DOCS = Path(__file__).parents[1] / "docs" / "mistakes.md"

READING, MARKS, ASKED, COMPASS, NEVER = (
    "on reading",
    "by the marks",
    "asked as a question",
    "by the compass",
    "cannot be caught",
)


# A campaign without a mistake -----------------------------------------------------------------


@dataclass
class Crew:
    """The tables of a campaign as rows of cells, and as the texts of its files."""

    sites: list[dict[str, object]]
    setups: list[dict[str, object]]
    marks: list[dict[str, object]]
    truth_deg: dict[str, float]

    def texts(self) -> dict[str, str]:
        return {name: _csv(getattr(self, name)) for name in ("sites", "setups", "marks")}

    def site(self, name: str) -> dict[str, object]:
        return next(row for row in self.sites if row["site"] == name)

    def setup(self, name: str) -> dict[str, object]:
        return next(row for row in self.setups if row["setup"] == name)

    def of(self, name: str) -> list[dict[str, object]]:
        return [row for row in self.marks if row["setup"] == name]


def _csv(rows: list[dict[str, object]]) -> str:
    out = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(out, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


#: Set-up: site, latitude, longitude, zone, day of 2026, rod in mm, seed.
BOARDS = {
    "p1": ("Hill", 41.25, -5.5, "Europe/Madrid", 122, 300.0, 5),
    "p2": ("Hill", 41.25, -5.5, "Europe/Madrid", 122, 300.0, 6),
    "p3": ("Moor", -33.59, 151.57, "Australia/Sydney", 97, 250.0, 7),
}


@lru_cache(maxsize=1)
def _clean() -> Crew:
    crew = Crew([], [], [], {})
    for name, (site, latitude, longitude, zone, day, height_mm, seed) in BOARDS.items():
        generator = np.random.default_rng(seed)
        truth = simulate.random_board(generator, height_mm=height_mm)
        made = simulated(generator, latitude, longitude, day, truth=truth, lowest_deg=20.0)
        noon_deg, angle_deg = truth.board_azimuth_deg, 20.0 + 10.0 * seed
        if not any(row["site"] == site for row in crew.sites):
            crew.sites.append({"site": site, "latitude_deg": latitude, "longitude_deg": longitude})
        date = pd.Timestamp("2026-01-01") + pd.Timedelta(days=day)
        crew.setups.append(
            {
                "setup": name,
                "site": site,
                "date": f"{date:%Y-%m-%d}",
                "gnomon_height_mm": f"{height_mm:g}",
                "reference_name": f"mast of {name}",
                "reference_angle_deg": f"{angle_deg:g}",
            }
        )
        for x, y, utc_s in zip(
            made.board.x_mm, made.board.y_mm, made.board.watch_utc_s, strict=True
        ):
            watch = pd.Timestamp(round(utc_s), unit="s", tz="UTC").tz_convert(ZoneInfo(zone))
            crew.marks.append(
                {"setup": name, "time": f"{watch:%H:%M:%S}", "x_mm": f"{x:.1f}", "y_mm": f"{y:.1f}"}
            )
        crew.truth_deg[name] = noon_deg
    return crew


@pytest.fixture
def crew() -> Crew:
    return copy.deepcopy(_clean())


def write(folder: Path, texts: dict[str, str | bytes]) -> Path:
    for name, text in texts.items():
        path = folder / (name if "." in name else f"{name}.csv")
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def outcome(folder: Path) -> tuple[list[str], list[SetupResult]]:
    """Every sentence that reading and reducing a campaign say, and the results."""
    try:
        results = reduce_campaign(read_campaign(folder))
    except InputError as fault:
        return list(map(str, fault.faults)), []
    return [remark for result in results for remark in result.remarks], results


# How a mistake is made ------------------------------------------------------------------------

Texts = dict[str, "str | bytes"]
Make = Callable[[Crew], "Texts | None"]


@dataclass(frozen=True)
class Mistake:
    """A mistake, how it is caught, words of what is said, and a function that makes it.

    `make` changes the rows of a crew, or gives the texts of its files. `says` is "" where
    nothing is to be said: the table is read right, or nobody could know; `why` tells which.
    `holds` is whether the azimuth must then be right within its figure, where one is given.
    """

    name: str
    caught: str
    says: str
    make: Make
    why: str = ""
    holds: bool = True


def timed(name: str, change: Callable[[float], float]) -> Make:
    """Change every watch time of a set-up, in seconds since midnight."""

    def make(crew: Crew) -> None:
        for row in crew.of(name):
            hour, minute, second = map(float, str(row["time"]).split(":"))
            seconds = change(hour * 3600 + minute * 60 + second)
            row["time"] = clock_text(seconds % 86400)

    return make


def marked(name: str, change: Callable[[float, float], tuple[float, float]]) -> Make:
    """Change every x and y of a set-up."""

    def make(crew: Crew) -> None:
        for row in crew.of(name):
            x, y = change(float(str(row["x_mm"])), float(str(row["y_mm"])))
            row["x_mm"], row["y_mm"] = f"{x:.6g}", f"{y:.6g}"

    return make


def by_angle(name: str, change: Callable[[float, float], tuple[float, float]]) -> Make:
    """Record every mark of the campaign as length and angle; change those of one set-up."""

    def make(crew: Crew) -> None:
        for row in crew.marks:
            x, y = float(str(row.pop("x_mm"))), float(str(row.pop("y_mm")))
            length, angle = float(np.hypot(x, y)), float(np.degrees(np.arctan2(x, y)) % 360.0)
            if row["setup"] == name:
                length, angle = change(length, angle)
            row["length_mm"], row["angle_deg"] = f"{length:.2f}", f"{angle:.3f}"

    return make


def stated(table: str, name: str, **cells: object) -> Make:
    """Write other cells in the row of a site or a set-up."""

    def make(crew: Crew) -> None:
        (crew.site(name) if table == "sites" else crew.setup(name)).update(cells)

    return make


def text(table: str, old: str, new: str, count: int = 1) -> Make:
    """Change the text of a table's file."""

    def make(crew: Crew) -> Texts:
        texts: Texts = dict(crew.texts())
        assert old in str(texts[table])
        return texts | {table: str(texts[table]).replace(old, new, count)}

    return make


def bytes_of(table: str, convert: Callable[[str], bytes]) -> Make:
    def make(crew: Crew) -> Texts:
        texts: Texts = dict(crew.texts())
        return texts | {table: convert(str(texts[table]))}

    return make


def workbook(name: str) -> Make:
    def make(crew: Crew) -> Texts:
        texts: Texts = dict(crew.texts())
        out = io.BytesIO()
        pd.read_csv(io.StringIO(str(texts.pop("setups")))).to_excel(out, index=False)
        return texts | {name: out.getvalue()}

    return make


def both(*makes: Make) -> Make:
    def make(crew: Crew) -> None:
        for each in makes:
            each(crew)

    return make


def one_mark(name: str, number: int, **change: Callable[[str], str]) -> Make:
    def make(crew: Crew) -> None:
        row = crew.of(name)[number]
        for column, new in change.items():
            row[column] = new(str(row.get(column, "")))

    return make


def later(hours: float) -> Callable[[float], float]:
    return lambda seconds: seconds + hours * 3600


def compass(off_deg: float | None = None, **cells: object) -> Make:
    """A compass reading toward p3's reference, this much from what the needle showed."""

    def make(crew: Crew) -> None:
        row = crew.setup("p3")
        line = crew.truth_deg["p3"] + float(str(row["reference_angle_deg"]))
        row["compass_reading_deg"] = f"{(line - MOOR_DECLINATION_DEG + (off_deg or 0.0)) % 360:.1f}"
        row.update(cells)

    return make


def moved(crew: Crew) -> None:
    turn = np.radians(4.0)
    for row in crew.of("p1")[8:]:
        x, y = float(str(row["x_mm"])), float(str(row["y_mm"]))
        row["x_mm"] = f"{x * np.cos(turn) + y * np.sin(turn):.1f}"
        row["y_mm"] = f"{y * np.cos(turn) - x * np.sin(turn):.1f}"


def out_of_level(crew: Crew) -> None:
    _again(crew, tilt_x_deg=2.0, tilt_y_deg=-1.5)


def upper_edge(crew: Crew) -> None:
    _again(crew, edge_lift_deg=16.0 / 60.0)


def tilted_east(crew: Crew) -> None:
    azimuth = np.radians(crew.truth_deg["p1"])
    # A turn about the axis toward north, taken apart along the board's own axes.
    _again(crew, tilt_x_deg=-0.3 * np.sin(azimuth), tilt_y_deg=0.3 * np.cos(azimuth))


def _again(crew: Crew, noise_mm: float = 0.7, **faults: float) -> None:
    """p1's marks with the same watch, made anew with a board that stood in another way."""
    _, latitude, longitude, zone, day, height_mm, seed = BOARDS["p1"]
    generator = np.random.default_rng(seed)
    truth = replace(simulate.random_board(generator, height_mm=height_mm), **faults)
    made = simulated(
        generator, latitude, longitude, day, truth=truth, lowest_deg=20.0, noise_mm=noise_mm
    )
    crew.marks = [row for row in crew.marks if row["setup"] != "p1"]
    for x, y, utc_s in zip(made.board.x_mm, made.board.y_mm, made.board.watch_utc_s, strict=True):
        watch = pd.Timestamp(round(utc_s), unit="s", tz="UTC").tz_convert(ZoneInfo(zone))
        crew.marks.append(
            {"setup": "p1", "time": f"{watch:%H:%M:%S}", "x_mm": f"{x:.1f}", "y_mm": f"{y:.1f}"}
        )


def no_watch(crew: Crew) -> None:
    marked("p1", lambda x, y: (-x, y))(crew)
    crew.setup("p1")["watch"] = "none"


def last_marks_elsewhere(crew: Crew) -> None:
    for row in crew.of("p1")[-6:]:
        row["setup"] = "p2"


def ids_exchanged(crew: Crew) -> None:
    other = {"p1": "p3", "p3": "p1"}
    for row in crew.marks:
        row["setup"] = other.get(str(row["setup"]), row["setup"])


def times_reversed(crew: Crew) -> None:
    rows = crew.of("p1")[: -len(crew.of("p1")) // 4]
    for row, time in zip(rows, [row["time"] for row in rows][::-1], strict=True):
        row["time"] = time
    crew.marks = [row for row in crew.marks if row["setup"] != "p1" or row in rows]


def one_row_late(crew: Crew) -> None:
    # Marks left out at uneven intervals, or else it were the same as a watch off by one.
    rows = [row for number, row in enumerate(crew.of("p1")) if number % 3]
    times = [row["time"] for row in rows]
    for row, time in zip(rows[1:], times, strict=False):
        row["time"] = time
    crew.marks = [row for row in crew.marks if row["setup"] != "p1" or row in rows[1:]]


def in_minutes(degrees: float) -> float:
    return np.floor(degrees) + (degrees % 1.0) * 0.6


#: By the official model, in 2026: what `site.describe` gives for Moor (see tests/published).
MOOR_DECLINATION_DEG = 12.8


def careful_minutes(crew: Crew) -> None:
    """A well levelled board and a set watch at 41°58′ N, 5°59′ W, typed as decimals."""
    generator = np.random.default_rng(8)
    truth = simulate.random_board(generator, level_sd_deg=0.01, watch_sd_s=2.0, edge_sd_deg=0.02)
    made = simulated(
        generator, 41 + 58 / 60, -5 - 59 / 60, 122, truth=truth, lowest_deg=20.0, noise_mm=0.4
    )
    crew.site("Hill").update(latitude_deg="41.58", longitude_deg="-5.59")
    crew.setup("p1").update(level_sd_deg="0.02", watch_sd_s="3", mark_sd_mm="0.5")
    crew.marks = [row for row in crew.marks if row["setup"] == "p3"]
    crew.setups = [row for row in crew.setups if row["setup"] != "p2"]
    crew.truth_deg["p1"] = truth.board_azimuth_deg
    for x, y, utc_s in zip(made.board.x_mm, made.board.y_mm, made.board.watch_utc_s, strict=True):
        watch = pd.Timestamp(round(utc_s), unit="s", tz="UTC").tz_convert("Europe/Madrid")
        crew.marks.append(
            {"setup": "p1", "time": f"{watch:%H:%M:%S}", "x_mm": f"{x:.1f}", "y_mm": f"{y:.1f}"}
        )


def _semicolons(table: str) -> bytes:
    return table.replace(",", ";").replace(".", ",").encode()


def _ends_blank(table: str) -> bytes:
    width = table.split("\n", 1)[0].count(",")
    lines = [line + ",," for line in table.splitlines()]
    return "\n".join([*lines, "," * (width + 2), "," * (width + 2), "", ""]).encode()


MISTAKES = [
    # Files and their shape
    Mistake("semicolons between cells and decimal commas", READING, "",
            bytes_of("marks", _semicolons), "read right"),
    Mistake("a spreadsheet's byte-order mark", READING, "",
            bytes_of("marks", lambda table: b"\xef\xbb\xbf" + table.encode()), "read right"),
    Mistake("trailing blank rows and columns", READING, "",
            bytes_of("marks", _ends_blank), "read right"),
    Mistake("headers in mixed case, with blanks about them", READING, "",
            text("setups", "gnomon_height_mm", " Gnomon_Height_MM "), "read right"),
    Mistake("a workbook (.xlsx) in place of a CSV", READING, "", workbook("setups.xlsx"),
            "read right"),
    Mistake("a workbook renamed to .csv", READING, "", workbook("setups.csv"), "read right"),
    Mistake("an old workbook (.xls)", READING, "found an old spreadsheet (.xls), or one with "
            "a password; wanted the table saved as CSV",
            bytes_of("marks", lambda _: b"\xd0\xcf\x11\xe0" + bytes(600))),
    Mistake("text saved as UTF-16 (\u201cUnicode text\u201d)", READING, "found text in UTF-16",
            bytes_of("marks", lambda table: table.encode("utf-16"))),
    Mistake("accents saved in an old encoding", READING, "that is not UTF-8",
            bytes_of("sites", lambda table: table.replace("Hill", "Höhe").encode("latin-1"))),
    Mistake("a table both as .csv and as .xlsx", READING, "found setups.csv and setups.xlsx",
            lambda crew: {**crew.texts(), "setups.xlsx": b"PK\x03\x04"}),
    Mistake("a column name misspelt", READING, "wanted latitude_deg, perhaps",
            text("sites", "latitude_deg", "lattitude_deg")),
    Mistake("a needed column left out", READING, "found no such column",
            text("setups", "date", "day")),
    Mistake("decimal commas in a file with commas between cells", READING,
            "a comma within a cell needs quotes", text("marks", "p1,", "p1,1,")),
    Mistake("a formula that failed (#REF!)", READING, "in digits with a decimal point",
            one_mark("p1", 2, x_mm=lambda _: "#REF!")),
    Mistake("the letter O for a zero", READING, "in digits with a decimal point",
            stated("setups", "p1", gnomon_height_mm="3O0")),
    # Ids
    Mistake("the same set-up id twice", READING, "wanted another id: row 2 has it",
            text("setups", "p2,", "p1,")),
    Mistake("ids that differ by a capital or a blank", READING, "by more than capitals or spaces",
            text("setups", "p2,", "P 1,")),
    Mistake("a set-up of a site that is not there", ASKED, "a site of sites.csv, perhaps 'Hill'",
            stated("setups", "p1", site="Hil")),
    Mistake("marks under an unknown set-up id", ASKED, "a setup of setups.csv, perhaps 'p1'",
            text("marks", "p1,", "p 1,")),
    Mistake("a serial twice on a board", ASKED, "is it another set-up's mark?",
            lambda crew: [row.update(mark="7") for row in crew.of("p1")[:2]] and None),
    # Dates and times as text
    Mistake("a date in day-month order", ASKED, "YYYY-MM-DD: 2026-05-03 or 2026-03-05",
            stated("setups", "p1", date="03/05/2026")),
    Mistake("a date that the calendar has not", READING, "that the calendar has",
            stated("setups", "p1", date="2026-04-31")),
    Mistake("a time with am or pm", ASKED, "24-hour clock, HH:MM or HH:MM:SS: 13:30",
            one_mark("p1", 3, time=lambda _: "1:30 pm")),
    Mistake("a time with a point", ASKED, "24-hour clock, HH:MM or HH:MM:SS: 13:30",
            one_mark("p1", 3, time=lambda _: "13.30")),
    Mistake("a spreadsheet's time that lost its format", ASKED, "HH:MM or HH:MM:SS: 13:30:00",
            one_mark("p1", 3, time=lambda _: "0.5625")),
    Mistake("a half of the day that its time contradicts", ASKED,
            "24-hour clock: 13:30:00, perhaps",
            one_mark("p1", 3, time=lambda _: "01:30:00", half=lambda _: "pm")),
    Mistake("a time zone misspelt", ASKED, "an IANA time zone, Europe/Madrid, perhaps",
            stated("sites", "Hill", timezone="Europe/Madird")),
    # Units and places as numbers
    Mistake("the rod's height in metres", ASKED, "is it in metres? Then write 300",
            stated("setups", "p1", gnomon_height_mm="0.3")),
    Mistake("an angle in gon beyond 360", ASKED, "is it in gon? Then write 342",
            stated("setups", "p1", reference_angle_deg="380")),
    Mistake("the air pressure in inches of mercury", ASKED, "is it in inches of mercury?",
            stated("sites", "Hill", pressure_hpa="29.9")),
    Mistake("the temperature in degrees Fahrenheit", ASKED, "is it in degrees Fahrenheit?",
            stated("sites", "Hill", temperature_c="95")),
    Mistake("the elevation in feet, where it is beyond the highest ground", ASKED,
            "is it in feet?", stated("sites", "Hill", elevation_m="12000")),
    Mistake("minutes of 60 and more", READING, "wanted minutes below 60",
            stated("sites", "Hill", latitude_deg="41 75 N")),
    Mistake("latitude and longitude swapped, beyond 90°", ASKED,
            "are latitude and longitude swapped?",
            stated("sites", "Moor", latitude_deg="151.57", longitude_deg="-33.59")),
    Mistake("latitude and longitude swapped, the time zone given", ASKED,
            "are latitude and longitude swapped?",
            stated("sites", "Hill", latitude_deg="-75.0", longitude_deg="40.7",
                   timezone="America/New_York")),
    Mistake("a west longitude without its sign, the time zone given", ASKED,
            "is the sign of the longitude missing or wrong?",
            stated("sites", "Hill", latitude_deg="39.7", longitude_deg="105.2",
                   timezone="America/Denver")),
    Mistake("a position in both forms", READING, "blank, as x_mm, y_mm are given",
            one_mark("p1", 1, length_mm=lambda _: "300", angle_deg=lambda _: "10")),
    Mistake("a compass reading without the direction of its line", READING,
            "the board direction of the line that the compass was read toward",
            stated("setups", "p1", compass_reading_deg="100", reference_angle_deg="")),
    # The watch
    Mistake("summer time forgotten", MARKS, "the watch was 1 h behind the site's clock: summer "
            "time, or the zone next door", timed("p1", later(-1))),
    Mistake("a watch that keeps another zone's time", MARKS, "the watch was 3.5 h ahead of the "
            "site's clock: it kept another zone's time", timed("p1", later(3.5))),
    Mistake("a watch that shows UTC", MARKS, "the watch was 2 h behind the site's clock: it "
            "showed UTC", timed("p1", later(-2))),
    Mistake("12-hour times after noon", MARKS, "the times after noon are of a 12-hour clock, "
            "typed without adding 12",
            timed("p1", lambda s: s - 43200 if s >= 46800 else s)),
    Mistake("times before noon typed as after it", MARKS, "typed as if they were after it, 12 "
            "hours too much", timed("p1", lambda s: s + 43200 if s < 43200 else s)),
    Mistake("a watch never set", MARKS, "the watch was 17 min slow", timed("p1", later(-17 / 60))),
    Mistake("the watch's error with the wrong sign", MARKS, "the watch's error has the wrong "
            "sign: it is plus when fast",
            both(timed("p1", later(0.2)), stated("setups", "p1", watch_error_s="-720"))),
    Mistake("the watch's error in minutes", MARKS, "the watch's error is in minutes",
            both(timed("p1", later(0.2)), stated("setups", "p1", watch_error_s="12"))),
    Mistake("times in the opposite order to the marks", MARKS, "the times were written in the "
            "opposite order to the marks", times_reversed),
    Mistake("times one row out", MARKS, "each time stands one mark too late in the list",
            one_row_late),
    # Marks as numbers
    Mistake("x and y swapped", MARKS, "x and y are swapped, or all x, or all y, have the wrong "
            "sign", marked("p1", lambda x, y: (y, x))),
    Mistake("x counted to the left", MARKS, "x and y are swapped, or all x, or all y, have the "
            "wrong sign", marked("p1", lambda x, y: (-x, y))),
    Mistake("a mirrored sheet without a watch", MARKS, "x and y are swapped, or all x, or all y, "
            "have the wrong sign", no_watch),
    Mistake("angles counted anticlockwise", MARKS, "the angles were counted anticlockwise",
            by_angle("p1", lambda length, angle: (length, -angle % 360.0))),
    Mistake("angles in gon", MARKS, "the angles are in gon (400 to the circle)",
            by_angle("p1", lambda length, angle: (length, angle / 0.9 if angle < 320 else angle))),
    Mistake("angles in radians", MARKS, "the angles are in radians",
            by_angle("p1", lambda length, angle: (length, np.radians(angle)))),
    Mistake("degrees and minutes of an angle typed as decimals, marks finely made", MARKS,
            "the angles are degrees and minutes typed as decimals",
            both(lambda crew: _again(crew, noise_mm=0.2),
                 by_angle("p1", lambda length, angle: (length, in_minutes(angle))),
                 stated("setups", "p1", mark_sd_mm="0.25"))),
    Mistake("lengths from the rod's tip", MARKS, "the lengths were measured from the rod's tip, "
            "not from its foot", by_angle("p1", lambda length, a: (np.hypot(length, 300), a))),
    Mistake("marks in centimetres", MARKS, "the marks were measured in centimetres, not in "
            "millimetres", marked("p1", lambda x, y: (x / 10, y / 10))),
    Mistake("marks in metres", MARKS, "the marks were measured in metres, not in millimetres",
            marked("p1", lambda x, y: (x / 1000, y / 1000))),
    Mistake("marks in inches", MARKS, "the marks were measured in inches, not in millimetres",
            marked("p1", lambda x, y: (x / 25.4, y / 25.4))),
    Mistake("a mark with the wrong sign", MARKS, "would fit if its x were",
            one_mark("p1", 3, x_mm=lambda x: f"{-float(x):g}")),
    Mistake("a mark's time an hour out", MARKS, "would fit if its time were 1 h later",
            one_mark("p1", 5, time=lambda t: f"{int(t[:2]) - 1:02d}{t[2:]}")),
    Mistake("a hundred misread on the ruler", MARKS, "would fit if its y were",
            one_mark("p1", 4, y_mm=lambda y: f"{float(y) + 100:g}")),
    # The rod, the foot, the board
    Mistake("the rod's height in centimetres", MARKS, "the rod's height is in centimetres: 300 "
            "mm, not 30 mm", stated("setups", "p1", gnomon_height_mm="30")),
    Mistake("the rod's height ten times too large", MARKS, "the rod's height is ten times too "
            "large: 300 mm, not 3000 mm", stated("setups", "p1", gnomon_height_mm="3000")),
    Mistake("the rod's height measured from the ground", MARKS, "the rod's height was measured "
            "from the ground, or from", stated("setups", "p1", gnomon_height_mm="345")),
    Mistake("the foot marked in the wrong place, or a rod that leans", MARKS, "from the point "
            "plumb under the tip", marked("p1", lambda x, y: (x + 20, y - 12))),
    Mistake("a board far out of level", MARKS, "° out of level", out_of_level),
    Mistake("a board moved during the day", MARKS, "° between mark 8 and mark 9", moved),
    # The place and the day
    Mistake("the latitude's sign", MARKS, "the latitude has the wrong sign",
            stated("sites", "Hill", latitude_deg="-41.25")),
    Mistake("the longitude's sign, no time zone given", MARKS, "the longitude has the wrong sign",
            stated("sites", "Hill", longitude_deg="5.5")),
    Mistake("latitude and longitude swapped, no time zone given", MARKS, "latitude and longitude "
            "are swapped", stated("sites", "Hill", latitude_deg="-5.5", longitude_deg="41.25")),
    Mistake("degrees and minutes of the place typed as decimals, board and watch good", MARKS,
            "are degrees and minutes typed as decimals", careful_minutes),
    Mistake("day and month swapped in a date of the right form", MARKS, "day and month of the "
            "date are swapped: 2026-05-03, not 2026-03-05",
            stated("setups", "p1", date="2026-03-05")),
    # Set-ups mixed up
    Mistake("some marks under another set-up's id", MARKS, "belong to set-up p1, whose "
            "line they fit", last_marks_elsewhere),
    Mistake("all the marks under another set-up's id", MARKS, "the marks fit the site, date and "
            "rod of set-up", ids_exchanged),
    # The compass
    Mistake("a compass reading already corrected for declination", COMPASS, "a reading already "
            "corrected for declination", compass(MOOR_DECLINATION_DEG)),
    Mistake("declination applied with the wrong sign", COMPASS, "a reading corrected for "
            "declination with the wrong sign", compass(-MOOR_DECLINATION_DEG)),
    Mistake("a back bearing", COMPASS, "a back bearing", compass(180.0)),
    Mistake("a bearing off the map in place of a compass's", COMPASS, "a grid bearing, as a map "
            "gives it", compass(MOOR_DECLINATION_DEG - 0.8)),
    Mistake("the reference's direction counted anticlockwise", COMPASS, "a reference angle "
            "counted anticlockwise", compass(reference_angle_deg="-90")),
    # What nobody could know
    Mistake("the wrong year", NEVER, "", stated("setups", "p1", date="2025-05-03"),
            "the sun stands within about a tenth of a degree of where it stood a year before: the "
            "line is right all the same, and only the magnetic declination is another year's"),
    Mistake("the end of full shadow marked where the middle was stated", NEVER, "", upper_edge,
            "16′ in altitude hide behind height and level: morning and afternoon cancel, and the "
            "line holds within its figure"),
    Mistake("degrees and minutes of the place typed as decimals, as 41.15 for 41°15′", NEVER, "",
            stated("sites", "Hill", latitude_deg="41.15", longitude_deg="-5.3"),
            "so small a shift hides behind level and watch; the line holds within its figure"),
    Mistake("a board slightly out of level from east to west, with pairs, without a watch or with "
            "one known to half a minute", NEVER, "", tilted_east,
            "nothing tells it from a turned board then: the figure carries the stated level. With "
            "a watch set to the second the marks show the tilt and the line is right; else a "
            "second day with the board end for end shows it"),
    Mistake("the sheet named from its other end", NEVER, "", marked("p1", lambda x, y: (-x, -y)),
            "a line and its opposite look alike on a sheet: a compass reading toward the "
            "reference shows it", False),
    Mistake("the reference's direction misread, no compass reading", NEVER, "",
            stated("setups", "p1", reference_angle_deg="95"),
            "nothing else on the board knows it: read it twice, or take a second set-up"),
]  # fmt: skip


# The tests ------------------------------------------------------------------------------------


def right_or_wide(result: SetupResult, truth_deg: float) -> bool:
    if result.row["board_azimuth_deg"] is None:
        return True
    error = (result.row["board_azimuth_deg"] - truth_deg + 180.0) % 360.0 - 180.0
    return bool(abs(error) < 4.0 * result.row["board_azimuth_u_deg"])


#: Their boards are read in very many ways: the long runs try them.
READ_IN_MANY_WAYS = {
    "latitude and longitude swapped, no time zone given",
    "the latitude's sign",
    "angles in radians",
    "the rod's height ten times too large",
    "the longitude's sign, no time zone given",
    "marks in inches",
    "marks in metres",
    "12-hour times after noon",
    "a watch that keeps another zone's time",
    "the rod's height in centimetres",
}


@pytest.mark.parametrize(
    "mistake",
    [
        pytest.param(each, marks=[pytest.mark.slow] * (each.name in READ_IN_MANY_WAYS))
        for each in MISTAKES
    ],
    ids=lambda mistake: mistake.name,
)
def test_the_mistake_is_caught(mistake: Mistake, crew: Crew, tmp_path: Path) -> None:
    texts = mistake.make(crew) or crew.texts()
    said, results = outcome(write(tmp_path, texts))
    naming = [sentence for sentence in said if mistake.says and mistake.says in sentence]
    accusing = [sentence for sentence in said if "This would explain it" in sentence]
    if mistake.caught in (READING, ASKED) and mistake.says:
        assert naming, said
        assert not results
        assert all("; wanted " in sentence for sentence in naming)
    elif mistake.caught == MARKS:
        assert naming, said
        assert all("This would explain it: " in each or "would fit" in each for each in naming)
        # Some mistakes spoil the site, and so both its boards; none else is accused.
        assert len(accusing) <= 2
        assert all(mistake.says in each for each in accusing)
    else:
        assert len(naming) == (mistake.caught == COMPASS), said
        assert not accusing
        assert results
    if mistake.holds:
        for result in results:
            assert right_or_wide(result, crew.truth_deg[result.row["setup"]])


def test_the_clean_campaign_is_accused_of_nothing(crew: Crew, tmp_path: Path) -> None:
    _, results = outcome(write(tmp_path, dict(crew.texts())))
    for result in results:
        assert result.reduced.explanation is None
        assert result.row["flags"] == []
        assert right_or_wide(result, crew.truth_deg[result.row["setup"]])


def test_tables_are_read_the_same_whatever_the_file(crew: Crew, tmp_path: Path) -> None:
    plain = read_campaign(write(tmp_path, dict(crew.texts())))
    for number, mistake in enumerate(each for each in MISTAKES if each.why == "read right"):
        folder = tmp_path / str(number)
        folder.mkdir()
        again = read_campaign(write(folder, mistake.make(copy.deepcopy(crew)) or crew.texts()))
        pd.testing.assert_frame_equal(plain.marks, again.marks)
        pd.testing.assert_frame_equal(plain.setups, again.setups)


def test_what_is_adopted_stays_and_an_explanation_that_turns_it_widens_it(
    crew: Crew, tmp_path: Path
) -> None:
    marked("p1", lambda x, y: (-x, y))(crew)
    crew.setup("p2")["gnomon_height_mm"] = "345"
    _, (mirrored, tall, good) = outcome(write(tmp_path, dict(crew.texts())))
    assert mirrored.row["board_azimuth_deg"] is None
    assert "record-doubtful" in mirrored.row["flags"]
    assert any("no direction is given" in remark for remark in mirrored.remarks)
    assert mirrored.row["methods"].get("adjustment") is None
    # A rod measured from the ground turns nothing: its figure stays.
    assert tall.row["board_azimuth_u_deg"] < 0.2
    assert {"record-doubtful", "height-doubtful"} <= set(tall.row["flags"])
    assert good.row["flags"] == []


def test_the_gain_is_said_in_millimetres_and_in_squares(crew: Crew, tmp_path: Path) -> None:
    marked("p1", lambda x, y: (x / 10, y / 10))(crew)
    _, (result, *_) = outcome(write(tmp_path, dict(crew.texts())))
    explanation = result.reduced.explanation
    assert explanation.misfit_before_mm > 10 > 1.5 > explanation.misfit_after_mm > 0.3
    assert explanation.cost_before > 1e4 > 100 > explanation.cost_after
    assert (
        f"from {explanation.misfit_before_mm:.1f} mm to {explanation.misfit_after_mm:.1f} mm"
        in explanation.sentence
    )


def explain(board: Board) -> Explanation | None:
    return reduce_board(board).explanation


def accused(boards: int, seed: int, blunder_rate: float) -> tuple[int, int, int]:
    """How many boards without a mistake contradict their record, and are accused; blunders
    that a typing mistake would explain, of a hundred."""
    generator = np.random.default_rng(seed)
    contradicted = explained = blunders = slips = 0
    for number in range(boards):
        watch = ("trusted", "running", "none")[number % 3]
        made = random_day(generator, blunder_rate=blunder_rate, watch=watch)
        reduced = reduce_board(made.board)
        contradicted += reduced.contradicted
        if reduced.contradicted:
            explained += reduced.explanation is not None
        blunders += int(made.blunder.sum())
        slips += len(reread(Record(made.board), reduced.fit))
    return contradicted, explained, 100 * slips // max(blunders, 1)


def test_no_board_without_a_mistake_is_accused() -> None:
    assert accused(30, 1, 0.0) == (0, 0, 0)


@pytest.mark.slow
def test_of_many_boards_none_is_accused() -> None:
    contradicted, explained, _ = accused(300, 1, 0.0)
    assert contradicted <= 4
    assert explained == 0


@pytest.mark.slow
def test_of_boards_with_spoilt_marks_none_is_accused() -> None:
    _, explained, slips = accused(60, 2, 0.06)
    assert explained == 0
    assert slips <= 8


@pytest.mark.parametrize("boards", [1, pytest.param(6, marks=pytest.mark.slow)])
def test_random_points_have_no_explanation(boards: int) -> None:
    generator = np.random.default_rng(17)
    for _ in range(boards):
        made = random_day(generator)
        x, y = generator.uniform(-400, 400, (2, made.board.count))
        assert explain(replace(made.board, x_mm=x, y_mm=y)) is None


@pytest.mark.parametrize("watch", [pytest.param("running", marks=pytest.mark.slow), "none"])
def test_mistakes_of_boards_without_a_set_watch(watch: str) -> None:
    made = simulated(np.random.default_rng(12), 41.0, 5.0, 150, watch=watch)
    small = replace(made.board, x_mm=made.board.x_mm / 10, y_mm=made.board.y_mm / 10)
    assert "the marks were measured in centimetres" in explain(small).sentence
    mirrored = explain(replace(made.board, x_mm=-made.board.x_mm))
    # Without times morning and afternoon look alike; the order of the marks runs backwards.
    assert any("the sheet is mirrored" in words for words in mirrored.words)
    assert any("from the last to the first" in words for words in mirrored.words) == (
        watch == "none"
    )


@pytest.mark.parametrize("watch", ["trusted", "running", "none"])
def test_marks_at_one_point_have_no_explanation(watch: str) -> None:
    made = simulated(np.random.default_rng(12), 41.0, 5.0, 150, watch=watch)
    nowhere = np.zeros(made.board.count)
    assert explain(replace(made.board, x_mm=nowhere, y_mm=nowhere)) is None


def test_few_marks_have_no_explanation() -> None:
    made = random_day(np.random.default_rng(3))
    few = made.board.of(np.arange(3))
    assert explain(replace(few, x_mm=-few.x_mm)) is None


def test_explanations_that_fit_alike_are_all_said() -> None:
    """The times reversed are the sheet mirrored, where the marks lie evenly about noon."""
    generator = np.random.default_rng(4)
    noon = noon_of(5.0, 172)
    utc_s = noon + np.arange(-4, 5) * 3600.0
    made = simulated(generator, 41.0, 5.0, 172, utc_s=utc_s, noise_mm=0.3)
    board = replace(made.board, watch_utc_s=made.board.watch_utc_s[::-1])
    explanation = explain(board)
    assert len(explanation.words) == 2
    assert "; or: " in explanation.sentence
    assert any("opposite order" in words for words in explanation.words)
    assert any("mirrored" in words for words in explanation.words)


def test_every_mistake_stands_in_the_page() -> None:
    page = DOCS.read_text(encoding="utf-8")
    missing = [line for line in map(page_row, MISTAKES) if line not in page.splitlines()]
    assert not missing, "\n".join(missing)
    rows = [line for line in page.splitlines() if line.startswith("| ") and "---" not in line]
    assert len(rows) == len(MISTAKES) + 1 >= 41


def page_row(mistake: Mistake) -> str:
    said = f"“{mistake.says}”" if mistake.says else mistake.why
    return f"| {mistake.name} | {mistake.caught} | {said} |"
