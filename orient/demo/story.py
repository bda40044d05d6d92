"""What the invented crew of the demo did: its places, its lines, its days at the board.

Nothing in it happened. The places are in country where nobody lives, under invented names;
they were chosen so that each shows a different face of the work.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

NAME = "aldermoor"
SEED = 2026


@dataclass(frozen=True)
class Place:
    """A site: its zone, its weather, and the cells of its row as the crew wrote them.

    `anomaly_deg` is how far the rock turns the needle to the east of the field model.
    """

    site: str
    timezone: str
    cells: Mapping[str, str | float]
    temperature_c: float
    anomaly_deg: float = 0.0


@dataclass(frozen=True)
class Line:
    """A line that the crew wants the azimuth of; `distance_m` where its far end is mapped."""

    name: str
    true_azimuth_deg: float
    distance_m: float | None = None


@dataclass(frozen=True)
class ClockMarks:
    """Marks at round watch times, `HH:MM`; none while cloud hides the sun."""

    first: str
    last: str
    every_min: int
    clouds: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class RingMarks:
    """Marks where the tip crosses drawn rings, on the way in and on the way out.

    `missed` are the (radius, half) that a cloud hid. `timed` tells whether a watch was read.
    """

    radii_mm: tuple[float, ...]
    missed: tuple[tuple[float, str], ...] = ()
    timed: bool = True


@dataclass(frozen=True)
class Day:
    """One setting up of a board, and what was wrong with it that its crew did not know.

    `cells` go into the set-ups table as they are. `watch_misset_s` is watch minus true beyond
    what the row states; `moved_mm` shifts marks, by their number, to where they should not
    be; `left_out` are marks that the crew itself set aside, with the reason.
    `turned_against` names the set-up that this board stood end for end against.
    """

    setup: str
    site: str
    date: str
    rod_mm: float
    line: Line
    marking: ClockMarks | RingMarks
    cells: Mapping[str, str | float] = field(default_factory=dict)
    compass: str = ""
    watch_misset_s: float = 0.0
    moved_mm: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    left_out: Mapping[int, str] = field(default_factory=dict)
    turned_against: str = ""


@dataclass(frozen=True)
class Watch:
    """A watch of the crew: fast by so much at noon of a date, gaining so much a day.

    `compared` are the dates on which it was held against a time signal, to a second.
    """

    date: str
    fast_s: float
    gains_s: float
    compared: tuple[str, ...] = ()


#: The watches that more than one set-up shares.
WATCHES = {
    "pocket": Watch("2026-05-16", 14.0, 1.1),
    "desk": Watch("2026-05-14", -9.0, 0.6),
    "steel": Watch("2026-09-05", -1274.0, 0.9),
    "wrist": Watch("2026-10-01", 41.0, 1.6, ("2026-09-26", "2026-09-30", "2026-10-05")),
}

#: What each compass reads too much by, wherever it is.
COMPASS_INDEX_DEG = {"brass": 0.2, "old": 2.3}

PLACES = (
    # Mid-latitude north, summer time, a zone half an hour off the full hours.
    Place(
        "alderflat",
        "America/St_Johns",
        {"latitude_deg": "48°33′00″N", "longitude_deg": "56°51′00″W", "elevation_m": 270},
        temperature_c=9.0,
        anomaly_deg=-0.2,
    ),
    # Southern hemisphere: the sun passes north, and the shadows turn the other way.
    Place(
        "thornmesa",
        "America/Argentina/Rio_Gallegos",
        {"latitude_deg": "-48.300", "longitude_deg": "-69.900", "elevation_m": 420},
        temperature_c=12.0,
        anomaly_deg=0.3,
    ),
    # In the tropics, on a day with the sun in the zenith.
    Place(
        "larkdune",
        "Africa/Niamey",
        {
            "latitude_deg": "18 36 00 N",
            "longitude_deg": "10 42 00 E",
            "elevation_m": 450,
            "temperature_c": 38,
        },
        temperature_c=38.0,
        anomaly_deg=0.1,
    ),
    # 65° north in winter.
    Place(
        "frostdell",
        "Atlantic/Reykjavik",
        {
            "latitude_deg": "65°06.0′N",
            "longitude_deg": "19°12.0′W",
            "elevation_m": 640,
            "temperature_c": -8,
        },
        temperature_c=-8.0,
        anomaly_deg=0.4,
    ),
    # Close to the edge of its grid zone, and known by its grid coordinates.
    Place(
        "wormwood",
        "Asia/Almaty",
        {
            "easting_m": 279300.0,
            "northing_m": 5342900.0,
            "crs": "EPSG:32642",
            "elevation_m": 210,
            "timezone": "Asia/Almaty",
        },
        temperature_c=21.0,
        anomaly_deg=-0.1,
    ),
    # Where true and magnetic north stand far apart.
    Place(
        "petreltop",
        "Indian/Kerguelen",
        {"latitude_deg": "S49.350", "longitude_deg": "E69.300", "elevation_m": 380},
        temperature_c=6.0,
        anomaly_deg=-0.4,
    ),
    # Ironstone under the compass; a mountain near that draws the plumb line.
    Place(
        "ironknoll",
        "Asia/Ulaanbaatar",
        {
            "latitude_deg": "43.4000",
            "longitude_deg": "103.1000",
            "elevation_m": 1520,
            "xi_arcsec": 9.5,
            "eta_arcsec": -16.0,
        },
        temperature_c=14.0,
        anomaly_deg=7.4,
    ),
    # Polar day, and a field that hardly turns a needle.
    Place(
        "gullbeach",
        "America/Cambridge_Bay",
        {
            "latitude_deg": "78.600",
            "longitude_deg": "-103.900",
            "elevation_m": 15,
            "temperature_c": 3,
        },
        temperature_c=3.0,
    ),
)

_NORTH_CAIRN = Line("north cairn", 17.260)
_LONE_SPRUCE = Line("lone spruce", 143.815)
_NOTCH = Line("sky notch", 318.440)
_TENT_PEG = Line("pegged line", 92.705)
_PALM_STUMP = Line("palm stump", 201.330)
_POLE = Line("marker pole", 64.125)
_FELL = Line("fell top", 171.980)
_PILLAR = Line("far pillar", 281.375, distance_m=11840.0)
_MAST = Line("bare mast", 36.570)
_STACK = Line("sea stack", 305.190)
_ROCK = Line("pale rock", 128.555)
_SCARP = Line("scarp end", 249.060)
_BEACON = Line("beacon", 355.720)

_MIRA: Mapping[str, str | float] = {"rod": "R300", "observer": "Mira"}
_TAM: Mapping[str, str | float] = {"rod": "R300", "observer": "Tam"}

DAYS = (
    Day(
        "alder-1",
        "alderflat",
        "2026-05-16",
        300.0,
        _NORTH_CAIRN,
        RingMarks((220.0, 300.0, 400.0, 500.0, 620.0), missed=((620.0, "pm"),)),
        {"watch_error_s": 12, "watch_sd_s": 10, "level": "L1", "timepiece": "pocket", **_MIRA},
        compass="brass",
    ),
    # The same line the day after, the board turned end for end.
    Day(
        "alder-2",
        "alderflat",
        "2026-05-17",
        300.0,
        _NORTH_CAIRN,
        ClockMarks("08:00", "18:20", 20, clouds=(("12:30", "13:10"),)),
        {
            "watch_error_s": 14,
            "watch_sd_s": 10,
            "level": "L1",
            "turned": "yes",
            "timepiece": "pocket",
            **_MIRA,
        },
        compass="old",
        turned_against="alder-1",
    ),
    # A watch that was never put forward for summer.
    Day(
        "alder-3",
        "alderflat",
        "2026-05-18",
        300.0,
        _LONE_SPRUCE,
        ClockMarks("07:40", "17:00", 20),
        compass="old",
        watch_misset_s=-3600.0,
    ),
    # One mark read 14 mm wrong, one set aside by the crew.
    Day(
        "thorn-1",
        "thornmesa",
        "2026-03-14",
        300.0,
        _NOTCH,
        ClockMarks("10:00", "17:40", 20),
        {"level": "L1", **_MIRA},
        compass="brass",
        moved_mm={7: (14.0, -4.0), 15: (-31.0, 22.0)},
        left_out={15: "rod knocked by the wind, set plumb again"},
    ),
    # A beginner's board: an hour about noon and no more.
    Day(
        "thorn-2",
        "thornmesa",
        "2026-03-15",
        300.0,
        _TENT_PEG,
        ClockMarks("13:20", "14:20", 5),
        {"watch": "none"},
    ),
    Day(
        "lark-1",
        "larkdune",
        "2026-05-14",
        300.0,
        _PALM_STUMP,
        ClockMarks("07:15", "17:15", 15, clouds=(("10:45", "13:45"),)),
        {**_MIRA, "timepiece": "desk"},
        compass="old",
    ),
    # Dust from ten o'clock on: the morning alone, and so the watch, carries the line.
    Day(
        "lark-2",
        "larkdune",
        "2026-05-15",
        300.0,
        _POLE,
        ClockMarks("07:15", "10:00", 15),
        {"watch_error_s": -8, "watch_sd_s": 5, **_MIRA, "timepiece": "desk"},
        compass="brass",
    ),
    Day(
        "frost-1",
        "frostdell",
        "2026-02-24",
        120.0,
        _FELL,
        ClockMarks("10:40", "15:50", 10),
        {"mark_sd_mm": 0.7, "height_sd_mm": 0.3},
        compass="brass",
    ),
    # A watch that runs well and is set to nothing in particular.
    Day(
        "worm-1",
        "wormwood",
        "2026-09-05",
        300.0,
        _PILLAR,
        ClockMarks("08:30", "17:30", 20),
        {"watch": "running", **_TAM, "timepiece": "steel"},
        compass="old",
    ),
    Day(
        "worm-2",
        "wormwood",
        "2026-09-06",
        300.0,
        _MAST,
        RingMarks((280.0, 350.0, 430.0, 520.0, 640.0)),
        {"watch": "running", **_TAM, "timepiece": "steel"},
        compass="brass",
    ),
    # No watch at all.
    Day(
        "petrel-1",
        "petreltop",
        "2026-11-20",
        300.0,
        _STACK,
        RingMarks((230.0, 300.0, 380.0, 470.0, 580.0), timed=False),
        {"watch": "none"},
        compass="brass",
    ),
    Day(
        "iron-1",
        "ironknoll",
        "2026-10-02",
        250.0,
        _ROCK,
        ClockMarks("08:40", "17:20", 20),
        {"edge": "dark", **_TAM, "rod": "R250", "timepiece": "wrist"},
        compass="brass",
    ),
    Day(
        "iron-2",
        "ironknoll",
        "2026-10-03",
        250.0,
        _SCARP,
        ClockMarks("08:40", "17:00", 20, clouds=(("12:00", "12:45"),)),
        {"edge": "dark", **_TAM, "rod": "R250", "timepiece": "wrist"},
        compass="old",
    ),
    Day(
        "gull-1",
        "gullbeach",
        "2026-07-01",
        150.0,
        _BEACON,
        ClockMarks("05:00", "21:40", 40),
        {"compass_sd_deg": 5},
        compass="brass",
    ),
)
