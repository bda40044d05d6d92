"""Campaigns of a simulated crew on file, and the best that anybody could make of them.

The boards come from `orient.simulate`. The yardstick is linear theory of its own: differences of
the simulator's shadows for every error of a board, in one full normal matrix with every error's
true variance; its inverse is the least variance that any unbiased estimate can have.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd
from click.testing import CliRunner

from orient import simulate
from orient.cli import orient

PRESSURE_HPA, TEMPERATURE_C = 1013.25, 10.0
DAY_S = 86400.0
MARK_SD = 0.7
#: What a board's errors are drawn with: its own, and those of what it shares.
OWN = {
    "tilt_x_deg": 0.1, "tilt_y_deg": 0.1, "foot_x_mm": 0.7, "foot_y_mm": 0.7,
    "height_mm": 0.5, "watch_fast_s": 30.0, "edge_lift_deg": 4 / 60,
}  # fmt: skip
#: What is a set-up's own beside what is shared.
BESIDE = {"height_mm": 0.1, "watch_fast_s": 1.0, "edge_lift_deg": 0.4 / 60}
LEVEL_PART = np.sqrt(0.5)
#: Single marks scatter along the shadow by this part of the width of its soft edge.
SOFT_PART = 0.08
_ERRORS = ("board_azimuth_deg", *OWN)
_STEP = np.array([0.01, 0.01, 0.01, 0.1, 0.1, 0.1, 5.0, 0.01])


@dataclass
class Crew:
    """Boards of one crew as they truly stood, with the tables they would write."""

    truth: list[simulate.TrueBoard] = field(default_factory=list)
    setups: list[dict] = field(default_factory=list)
    marks: list[pd.DataFrame] = field(default_factory=list)
    sites: dict[str, tuple[float, float]] = field(default_factory=dict)
    utc_s: list[np.ndarray] = field(default_factory=list)
    line_deg: dict[str, float] = field(default_factory=dict)
    tables: dict[str, str] = field(default_factory=dict)
    position_sd_m: float | None = None

    def errors_deg(self, rows: list[dict], key: str = "board_azimuth_deg") -> np.ndarray:
        """What each row's azimuth is off by; NaN where it has none."""
        found = np.array([np.nan if row[key] is None else row[key] for row in rows])
        return (found - [board.board_azimuth_deg for board in self.truth] + 180.0) % 360.0 - 180.0

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        sites = [
            {"site": site, "latitude_deg": lat, "longitude_deg": lon, "timezone": "UTC",
             "pressure_hpa": PRESSURE_HPA, "position_sd_m": self.position_sd_m}
            for site, (lat, lon) in self.sites.items()
        ]  # fmt: skip
        pd.DataFrame(sites).to_csv(folder / "sites.csv", index=False)
        pd.DataFrame(self.setups).to_csv(folder / "setups.csv", index=False)
        pd.concat(self.marks).to_csv(folder / "marks.csv", index=False)
        for name, text in self.tables.items():
            (folder / name).write_text(text, "utf-8")
        return folder

    def reduce(self, folder: Path, *options: str) -> list[dict]:
        """The rows of `orient reduce` of these tables."""
        command = ["reduce", str(self.write(folder)), "--format", "json", *options]
        ran = CliRunner().invoke(orient, command)
        assert ran.exit_code == 0, ran.output
        return json.loads(ran.stdout)


def crew(
    generator: np.random.Generator,
    boards: int = 6,
    latitude_deg: float = 45.0,
    watch: str = "trusted",
    watches: int = 1,
    rate_s: float = 0.0,
    rough: float = 1.0,
    one_line: bool = False,
    level: bool = False,
    first_day: int = 100,
    at_a_site: int = 1,
) -> Crew:
    """A crew's campaign: a board a day, sites within a degree or two of each other.

    Args:
        watches: of the crew, used in turn; each runs at `rate_s` a day (1 σ).
        rough: times the stated tolerance that the marks scatter.
        one_line: all boards at one site, each drawing the line to the same mast.
        level: whether all boards are levelled with one level.
        at_a_site: boards at each site.
    """
    made = Crew()
    shared = {name: generator.normal(0.0, OWN[name]) for name in ("height_mm", "edge_lift_deg")}
    bias = generator.normal(0.0, 0.1 * LEVEL_PART, 2)
    setting = 30.0 if watch == "trusted" else 600.0
    fast = generator.normal(0.0, setting, watches)
    rate = generator.normal(0.0, 1.0, watches) * rate_s
    mast = float(generator.uniform(0.0, 360.0))
    for number in range(boards):
        own = simulate.random_board(generator)
        tool, days = number % watches, number - (boards - 1) / 2
        part = LEVEL_PART if level else 1.0
        beside = {name: generator.normal(0.0, sd) for name, sd in BESIDE.items()}
        truth = replace(
            own,
            height_mm=300.0 + shared["height_mm"] + beside["height_mm"],
            edge_lift_deg=shared["edge_lift_deg"] + beside["edge_lift_deg"],
            watch_fast_s=float(fast[tool] + rate[tool] * days + beside["watch_fast_s"]),
            tilt_x_deg=own.tilt_x_deg * part + level * bias[0],
            tilt_y_deg=own.tilt_y_deg * part + level * bias[1],
        )
        site = "A" if one_line else f"S{number // at_a_site}"
        place = (latitude_deg, 5.0)
        if site in made.sites:
            place = made.sites[site]
        elif not one_line:
            place = (
                latitude_deg + float(generator.uniform(-2, 2)),
                5.0 + float(generator.uniform(-2, 2)),
            )
        row = {"timepiece": f"W{tool}", "rod": "R", "observer": "ada", "watch": watch}
        if level:
            row["level"] = "L"
        if one_line:
            row |= {"reference_name": "mast", "reference_sd_deg": 0.1}
            row["reference_angle_deg"] = (
                mast - truth.board_azimuth_deg + generator.normal(0.0, 0.1)
            ) % 360.0
            made.line_deg[site] = mast
        add_board(made, generator, truth, site, place, first_day + number, row, MARK_SD * rough)
    return made


def add_board(made, generator, truth, site, place, day, row, noise_mm, every_s=1200.0):
    """A board's day of marks, put into the crew's tables."""
    date = np.datetime64("2026-01-01") + day
    midnight = float(date.astype("datetime64[s]").astype(float))
    watch_s = np.arange(3 * 3600.0, 21 * 3600.0, every_s)
    utc_s = midnight + watch_s - truth.watch_fast_s
    azimuth, altitude, _ = simulate.sun_seen(utc_s, *place, 0.0, PRESSURE_HPA, TEMPERATURE_C)
    tips = simulate.shadow_tips(azimuth, altitude, truth)
    seen = (altitude > 12.0) & (np.hypot(*tips.T) < 870.0)
    tips = tips[seen]
    outward = tips / np.hypot(*tips.T)[:, None]
    along = generator.normal(0.0, 1.0, len(tips)) * soft_mm(altitude[seen]) * noise_mm / MARK_SD
    tips = tips + generator.normal(0.0, noise_mm, tips.shape) + along[:, None] * outward
    name = f"b{len(made.setups) + 1}"
    clock = [str(np.timedelta64(int(s), "s").astype("datetime64[s]"))[11:] for s in watch_s[seen]]
    made.truth.append(truth)
    made.utc_s.append(utc_s[seen])
    made.sites[site] = place
    made.setups.append(
        # The marks are made at the very second of a whole minute.
        {"setup": name, "site": site, "date": str(date), "gnomon_height_mm": 300, "time_sd_s": 0}
        | row
    )
    made.marks.append(
        pd.DataFrame(
            {"setup": name, "time": clock, "x_mm": tips[:, 0].round(3), "y_mm": tips[:, 1].round(3)}
        )
    )


def soft_mm(altitude_deg):
    """How much marks scatter along the shadow by the soft edge: the sun is 0.0093 wide."""
    return SOFT_PART * 300.0 * 0.0093 / np.sin(np.radians(altitude_deg)) ** 2


def best_possible_deg(made: Crew, rough: float = 1.0, rate_s: float = 0.0) -> np.ndarray:
    """The least standard uncertainty that each board's azimuth can have, degrees."""
    boards, kinds = len(made.truth), len(_ERRORS)
    timepieces = sorted({row["timepiece"] for row in made.setups})
    # Each board's errors, then the shared ones: rod, eye, level's two, each watch's two.
    at = {name: boards * kinds + n for n, name in enumerate(("rod", "eye", "level_x", "level_y"))}
    for name in timepieces:
        at[name], at[name + "/rate"] = len(at) + boards * kinds, len(at) + boards * kinds + 1
    size = boards * kinds + len(at) + 1
    matrix = np.zeros((size, size))

    def state(row: np.ndarray, sd: float) -> None:
        matrix[:] += np.outer(row, row) / sd**2

    for number, row in enumerate(made.setups):
        own = slice(number * kinds, (number + 1) * kinds)
        partials = _partials(made, number)
        matrix[own, own] += partials.T @ partials / rough**2
        days = number - (boards - 1) / 2
        ties = {
            "height_mm": [("rod", 1.0)],
            "watch_fast_s": [(row["timepiece"], 1.0), (row["timepiece"] + "/rate", days)],
            "edge_lift_deg": [("eye", 1.0)],
        }
        if "level" in row:
            ties |= {"tilt_x_deg": [("level_x", 1.0)], "tilt_y_deg": [("level_y", 1.0)]}
        for place, name in enumerate(OWN, start=1):
            unit = np.zeros(size)
            unit[number * kinds + place] = 1.0
            sd = OWN[name]
            if name in ties:
                sd = BESIDE.get(name, 0.1 * LEVEL_PART)
                for other, factor in ties[name]:
                    unit[at[other]] = -factor
            state(unit, sd)
        if "reference_angle_deg" in row:
            unit = np.zeros(size)
            unit[number * kinds], unit[-1] = 1.0, -1.0
            state(unit, row["reference_sd_deg"])
    for name, place in at.items():
        unit = np.zeros(size)
        unit[place] = 1.0
        running = made.setups[0]["watch"] == "running"
        setting = 1e5 if running else 30.0
        level = 0.1 * LEVEL_PART
        known = {"rod": 0.5, "eye": 4 / 60, "level_x": level, "level_y": level}
        state(unit, known.get(name, max(rate_s, 1e-3) if name.endswith("/rate") else setting))
    matrix[-1, -1] += 1e-9
    scale = 1.0 / np.sqrt(np.diag(matrix))
    inverse = np.linalg.inv(matrix * np.outer(scale, scale)) * np.outer(scale, scale)
    return np.sqrt(np.diag(inverse)[: boards * kinds : kinds])


def _partials(made: Crew, number: int) -> np.ndarray:
    """Standard uncertainties of every mark for a unit of each error, by differences."""
    truth, utc_s = made.truth[number], made.utc_s[number]
    place = made.sites[made.setups[number]["site"]]
    count = len(utc_s)
    late = _STEP[6]
    instants = np.concatenate([utc_s, utc_s + late, utc_s - late])
    azimuth, altitude, _ = simulate.sun_seen(instants, *place, 0.0, PRESSURE_HPA, TEMPERATURE_C)
    columns = []
    for name, step in zip(_ERRORS, _STEP, strict=True):
        if name == "watch_fast_s":
            tips = simulate.shadow_tips(azimuth, altitude, truth)
            difference = tips[2 * count :] - tips[count : 2 * count]
        else:
            sides = [
                simulate.shadow_tips(
                    azimuth[:count],
                    altitude[:count],
                    replace(truth, **{name: getattr(truth, name) + sign * step}),
                )
                for sign in (1.0, -1.0)
            ]
            difference = sides[0] - sides[1]
        columns.append(difference.ravel() / (2.0 * step))
    plain = np.stack(columns, axis=-1).reshape(count, 2, -1)
    tips = simulate.shadow_tips(azimuth[:count], altitude[:count], truth)
    outward = tips / np.hypot(*tips.T)[:, None]
    soft = soft_mm(altitude[:count])
    covariance = MARK_SD**2 * np.eye(2) + np.einsum("n,ni,nj->nij", soft**2, outward, outward)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    return (whiten @ plain).reshape(2 * count, -1)
