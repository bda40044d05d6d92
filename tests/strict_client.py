"""What a user of the package writes: `mypy --strict` passes it, and nothing in it is `Any`."""

import numpy as np
import pandas as pd

import orient

campaign: orient.Campaign = orient.read_campaign("sites/aldermoor")
sun: orient.SunPlace = orient.sun_place(np.datetime64("2026-06-21T06:00"), 47.5, 15.0)
field: orient.Field = orient.declination(47.5, 15.0, date=2026.5)
change: orient.DeclinationChange = orient.declination_change(47.5, 15.0, since="1987-06-15")
figures: orient.GridFigures = orient.grid_figures(47.5, 15.0)
marks: orient.Board = orient.board([-250.0], [220.0], 300.0, 47.5, 15.0, date="2026-06-21")
reduced: orient.Reduced = orient.reduce_board(marks)
azimuth: float = reduced.board_azimuth_deg
results: list[orient.SetupResult] = orient.reduce_campaign(campaign)
check: orient.CompassCheck = orient.compass_check(campaign)
notes = pd.DataFrame({"bearing": [120.0], "date": ["2026-06-21"]})
turned: pd.DataFrame = orient.correct(notes, place=(47.5, 15.0))
rig = orient.Rig(rod_mm=250.0, tolerances=orient.Tolerances(mark_sd_mm=0.5))
limits = orient.Limits(target_deg=0.5)
visits: orient.CrewPlan = orient.crew(campaign, "2026-06-21", start="gullbeach", rig=rig)

try:
    orient.declination(95.0, 0.0)
except orient.InputError as fault:
    faults: list[orient.Fault] = fault.faults
