"""The notebook of the docs: python tests/make_notebook.py writes it, without any output."""

from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

PAGE = Path(__file__).parents[1] / "docs" / "notebook.ipynb"

CELLS = [
    ("md", "# A campaign in a notebook\n\nRun it in the folder of the project. Never look at the sun."),
    ("py", "import orient\n\ncampaign = orient.read_campaign(\"sites/aldermoor\")\ncampaign"),
    ("md", "The three norths of each site on a day:"),
    ("py", "places = orient.describe_sites(campaign, \"2026-06-21\")\n"
           "places[[\"declination_deg\", \"convergence_deg\", \"noon_local\", \"flag_codes\"]].round(2)"),
    ("md", "Which hours will work, with a rod of 250 mm and a careful mark:"),
    ("py", "hours = orient.plan(\n    campaign, \"2026-06-21\", rod_mm=250.0,\n"
           "    tolerances=orient.Tolerances(mark_sd_mm=0.4),\n)\n"
           "hours[[\"site\", \"morning_from\", \"morning_to\", \"best_expected_u_deg\"]]"),
    ("md", "Marks to true north. `_u_` columns are standard uncertainties; 1.96 times is 95 %."),
    ("py", "norths = orient.reduce(campaign)\n"
           "norths[[\"reference_name\", \"reference_azimuth_deg\", \"reference_azimuth_u_deg\", \"flag_codes\"]]"),
    ("py", "one = orient.reduce_campaign(campaign)[0]\none"),
    ("md", "Marks of your own, without a campaign:"),
    ("py", "import numpy as np\n\n"
           "times = np.datetime64(\"2026-06-21T07:00\") + np.arange(8) * np.timedelta64(75, \"m\")\n"
           "sun = orient.sun_place(times, 47.5, 15.0, pressure_hpa=1013.25)\n"
           "length_mm = 300.0 / np.tan(np.radians(sun.altitude_deg))\n"
           "toward = np.radians(sun.azimuth_deg + 180.0 - 30.0)  # the board's +y at azimuth 30°\n"
           "marks = orient.board(\n    length_mm * np.sin(toward), length_mm * np.cos(toward),\n"
           "    rod_mm=300.0, latitude_deg=47.5, longitude_deg=15.0, times=times,\n)\n"
           "found = orient.reduce_board(marks)\n"
           "assert abs(found.board_azimuth_deg - 30.0) < 0.01\n"
           "round(found.board_azimuth_deg, 3), round(1.96 * found.board_azimuth_u_deg, 2)"),
    ("md", "What the compasses say, of themselves and of the ground:"),
    ("py", "for sentence in orient.compass_check(campaign).sentences:\n    print(sentence)"),
]  # fmt: skip


def notebook() -> nbformat.NotebookNode:
    made = new_notebook(
        cells=[
            (new_code_cell if kind == "py" else new_markdown_cell)(text, id=f"cell-{number}")
            for number, (kind, text) in enumerate(CELLS)
        ]
    )
    made.metadata["kernelspec"] = {
        "display_name": "Python 3",
        "language": "python",
        "name": "python3",
    }
    return made


if __name__ == "__main__":
    nbformat.write(notebook(), PAGE)
