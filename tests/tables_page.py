"""The page of the tables, made from their one home. Run to write it: python tests/tables_page.py"""

from pathlib import Path

from orient.flags import FLAGS
from orient.tables.columns import MARKS, READINGS, SETUPS, SIGHTS, SITES, WATCHES, column_meanings

PAGE = Path(__file__).parents[1] / "docs" / "tables.md"

HEAD = """# The tables of a campaign

A campaign is one folder of plain tables that any spreadsheet opens: UTF-8, comma or semicolon,
decimal point (a decimal comma where the semicolon divides). An .xlsx or .ods is read too; sites may
come as `sites.geojson`, as `sites.gpkg` with a layer `sites`, or from a GPS as the waypoints of
`sites.gpx` or the placemarks of `sites.kml`, the name being the site. Columns may stand in any
order; those that are not listed here are passed over. `orient new FOLDER` writes the empty tables.

Azimuths are degrees clockwise from true north. The board's frame has its origin at the foot, the
point plumb under the rod's tip, +x to the right and +y up the sheet; a board direction counts
clockwise from +y. Magnetic declination is plus to the east: magnetic bearing = true azimuth −
declination. Convergence is plus where grid north lies east of true north: grid bearing = true
azimuth − convergence. `*_sd_*` and `*_u_*` are one standard uncertainty; what people are shown is
the 95 % figure.
"""

OPENINGS = {
    "sites": "One row a place. Degrees, or grid coordinates with their CRS, or a point geometry.",
    "setups": "One row each time a board is set up.",
    "marks": "One row a mark of the shadow's tip, by x and y or by length and direction.",
    "sights": "Where there is one: one row a direction read on a graduated circle, toward the sky "
    "or toward a line. The sun itself is never sighted: its shadow is.",
    "readings": "Where there is one: one row a compass reading toward a line of known azimuth.",
    "watches": "Not needed. One row each time a watch was compared with a time signal. They stand "
    "in\nplace of `watch_error_s`, `watch_sd_s` and a running `watch` of every set-up with this\n"
    "timepiece: between comparisons the error runs at a rate that is solved for.",
}


def page() -> str:
    parts = [HEAD]
    for table in (SITES, SETUPS, MARKS, READINGS, WATCHES, SIGHTS):
        parts.append(f"\n## {table.name}.csv\n\n{OPENINGS[table.name]}\n")
        parts.append("\n| column | unit | needed | meaning |\n| --- | --- | --- | --- |\n")
        parts += [
            f"| `{name}` | {unit} | {needed} | {meaning} |\n"
            for name, unit, needed, meaning in column_meanings(table)
        ]
    parts.append("\n## Flags\n\n| flag | what to do |\n| --- | --- |\n")
    parts += [f"| `{flag}` | {sentence} |\n" for flag, sentence in FLAGS.items()]
    return "".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
