"""Simulated boards as a campaign's tables and as the rows that the field page takes."""

from __future__ import annotations

import numpy as np
import pandas as pd
from simulated import noon_of

from orient import simulate
from orient.fieldpage.page import field_page
from orient.planning.hours import Limits
from orient.planning.rig import Rig
from orient.tables import clock
from orient.tables.campaign import campaign_files, read_campaign

WATCHES = ("trusted", "running", "none")


def sites_table(latitudes, zone="UTC"):
    """A row of sites; one in three has a deflection of the vertical, one in four stands high."""
    count = len(latitudes)
    return pd.DataFrame(
        {
            "site": [f"place {number}" for number in range(count)],
            "latitude_deg": latitudes,
            "longitude_deg": [(37.0 * number + 5.0) % 60.0 - 30.0 for number in range(count)],
            "elevation_m": [2200.0 if number % 4 == 3 else 0.0 for number in range(count)],
            "timezone": zone,
            "xi_arcsec": [8.0 if number % 3 == 2 else np.nan for number in range(count)],
            "eta_arcsec": [-11.0 if number % 3 == 2 else np.nan for number in range(count)],
        }
    )


def simulated_boards(
    sites, days, count, seed, blunders=0.03, watches=WATCHES, fewest=5, true=False
):
    """Set-ups and marks of boards by the simulator, each watch in turn, at random places.

    With `true` their true azimuths too, by set-up.
    """
    generator = np.random.default_rng(seed)
    setups, marks, azimuths = [], [], {}
    while len(setups) < count:
        number = len(setups)
        site = sites.iloc[int(generator.integers(len(sites)))]
        day = str(generator.choice(days))
        watch_sd_s = [30.0, 5.0, 1.0][number // 3 % 3]
        made, truth = _marks(generator, site, day, blunders, watch_sd_s)
        if len(made) < fewest:
            continue
        name = f"board {number}"
        azimuths[name] = truth.board_azimuth_deg
        setups.append(
            {
                "setup": name,
                "site": site["site"],
                "date": day,
                "gnomon_height_mm": 300.0,
                "watch": watches[number % len(watches)],
                "watch_sd_s": watch_sd_s,
                "reference_name": f"cairn {number}",
                "reference_angle_deg": round(float(generator.uniform(0, 360)), 2),
            }
        )
        marks.append(made.assign(setup=name, mark=[str(n + 1) for n in range(len(made))]))
    tables = pd.DataFrame(setups), pd.concat(marks, ignore_index=True)
    return (*tables, azimuths) if true else tables


def _marks(generator, site, day, blunders, watch_sd_s):
    noon = noon_of(site["longitude_deg"], _day_of_year(day))
    step_s = float(generator.choice([600.0, 1200.0, 1800.0]))
    start, end = np.sort(generator.uniform(-6.0, 6.0, 2)) * 3600.0
    instants = np.round(np.arange(noon + start, noon + end, step_s), 1)
    azimuth, altitude, _ = simulate.sun_seen(
        instants, site["latitude_deg"], site["longitude_deg"], site["elevation_m"], 1013.25, 10.0
    )
    truth = simulate.random_board(generator, watch_sd_s=watch_sd_s)
    tips = simulate.shadow_tips(azimuth, altitude, truth)
    seen = (altitude > 12.0) & (np.hypot(*tips.T) < 870.0)
    tips, instants = tips[seen], instants[seen]
    tips = tips + generator.normal(0.0, 0.7, tips.shape)
    wrong = generator.uniform(size=len(tips)) < blunders
    tips[wrong] += generator.uniform(8.0, 25.0, (int(wrong.sum()), 2))
    time_s = clock.DAY_S * (instants / clock.DAY_S % 1.0) + truth.watch_fast_s
    marks = pd.DataFrame(
        {
            "time": np.round(time_s % 86400.0, 1),
            "x_mm": tips[:, 0].round(1),
            "y_mm": tips[:, 1].round(1),
        }
    )
    return marks, truth


def _day_of_year(day):
    return int((np.datetime64(day, "D") - np.datetime64("2026-01-01", "D")).astype(int))


def written(folder, sites, setups, marks):
    """The campaign on disk, read again, as a crew's would be."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in campaign_files(sites, setups, marks).items():
        (folder / name).write_text(text, encoding="utf-8")
    return read_campaign(folder)


def page_of(folder, campaign, days):
    """The field page of a campaign, as a file."""
    path = folder / "field.html"
    text = field_page(campaign.name, campaign.sites, days, Rig(), Limits())
    path.write_text(text, encoding="utf-8")
    return path


def rows_for_page(folder):
    """Rows of the tables as text, for each set-up, as `orient.reduce` takes them."""
    tables = {
        name: pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        for name in ("sites", "setups", "marks")
    }
    sites = {row["site"]: row for row in tables["sites"].to_dict("records")}
    by_setup = dict(tuple(tables["marks"].groupby("setup", sort=False)))
    return [
        {
            "site": {"site": row["site"], "latitude_deg": sites[row["site"]]["latitude_deg"]},
            "setup": row,
            "marks": by_setup[row["setup"]].to_dict("records"),
        }
        for row in tables["setups"].to_dict("records")
    ]
