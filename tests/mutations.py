"""Fifty and more small wrongs put into a copy one at a time: the tests must notice each.

Run: python tests/mutations.py [WORD]   (a copy of the tree is changed, never the tree itself;
with a word, only files with it in their name)
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]

#: File, what stands there, what is put instead, and the tests that should notice.
MUTATIONS: list[tuple[str, str, str, str]] = [
    ("orient/numbers/sun.py", "y = -equatorial * sin_h", "y = equatorial * sin_h", "test_sun"),
    (
        "orient/numbers/sun.py",
        "z = distance_au * sin_d - axes.position_au[2]",
        "z = distance_au * sin_d",
        "test_sun",
    ),
    (
        "orient/numbers/sun.py",
        "return east + axes.speed_over_light * range_au",
        "return east",
        "test_sun",
    ),
    ("orient/numbers/sun.py", "_TT_MINUS_TAI_S = 32.184", "_TT_MINUS_TAI_S = 31.184", "test_sun"),
    ("orient/numbers/sun.py", "1.02 / np.tan", "1.12 / np.tan", "test_sun"),
    ("orient/numbers/sun.py", "959.63 / 3600.0", "859.63 / 3600.0", "test_reduction"),
    ("orient/numbers/sun.py", "offsets_s[0] - 1.0", "offsets_s[0]", "test_sun"),
    (
        "orient/numbers/shadow.py",
        "right = east * cos_b - north * sin_b",
        "right = east * cos_b + north * sin_b",
        "test_shadow",
    ),
    (
        "orient/numbers/shadow.py",
        "drop = up - state.slope_x * right",
        "drop = up + state.slope_x * right",
        "test_shadow",
    ),
    (
        "orient/numbers/shadow.py",
        "up * cos_shift + north * sin_shift",
        "up * cos_shift - north * sin_shift",
        "test_shadow",
    ),
    ("orient/numbers/shadow.py", "moved_light(later)", "moved_light(rate)", "test_shadow"),
    (
        "orient/numbers/shadow.py",
        "(-right / drop, -ahead / drop)",
        "(-right, -ahead)",
        "test_shadow",
    ),
    (
        "orient/numbers/propagation.py",
        "(y * turn + x) / square",
        "(y * turn - x) / square",
        "test_propagation",
    ),
    (
        "orient/numbers/propagation.py",
        "[-y / square, x / square]",
        "[y / square, x / square]",
        "test_propagation",
    ),
    ("orient/observation/byhand.py", "share**2 @ own", "share @ own", "test_propagation"),
    (
        "orient/observation/byhand.py",
        "0.5 * (1 - part), 0.5 * part",
        "0.5 * part, 0.5 * (1 - part)",
        "test_propagation",
    ),
    (
        "orient/observation/byhand.py",
        "times_of_lengths(board.length_mm, half > 0)",
        "times_of_lengths(board.length_mm, half < 0)",
        "test_byhand",
    ),
    (
        "orient/observation/solver.py",
        "long.watch_utc_s - values[:, [WATCH]]",
        "long.watch_utc_s + values[:, [WATCH]]",
        "test_adjustment",
    ),
    (
        "orient/observation/solver.py",
        "(SCALE / many.prior_sd) ** 2",
        "(SCALE / many.prior_sd)",
        "test_adjustment",
    ),
    (
        "orient/observation/solver.py",
        "[-along[..., 1], along[..., 0]]",
        "[along[..., 1], along[..., 0]]",
        "test_adjustment",
    ),
    (
        "orient/observation/adjustment.py",
        "covariance[AZIMUTH, AZIMUTH] += square / likelihood",
        "covariance[AZIMUTH, AZIMUTH] += 0.0",
        "test_adjustment",
    ),
    (
        "orient/observation/joint/solve.py",
        "direct - missed",
        "direct + missed",
        "test_joint",
    ),
    (
        "orient/observation/joint/linear.py",
        "marks.long.watch_utc_s - own[:, WATCH]",
        "marks.long.watch_utc_s + own[:, WATCH]",
        "test_joint",
    ),
    (
        "orient/observation/setups.py",
        'azimuth - place["declination_deg"]',
        'azimuth + place["declination_deg"]',
        "test_setups",
    ),
    (
        "orient/observation/setups.py",
        "reduced.board_azimuth_deg - laplace_deg",
        "reduced.board_azimuth_deg + laplace_deg",
        "test_setups",
    ),
    (
        "orient/observation/setups.py",
        "wrap_360(-board_azimuth)",
        "wrap_360(board_azimuth)",
        "test_setups",
    ),
    (
        "orient/observation/board.py",
        "true = apparent - sun.refraction_deg",
        "true = apparent + sun.refraction_deg",
        "test_adjustment test_byhand test_planpage",
    ),
    (
        "orient/numbers/tolerances.py",
        "level_sd_deg: float = 0.1",
        "level_sd_deg: float = 0.05",
        "test_adjustment",
    ),
    (
        "orient/numbers/tolerances.py",
        "np.tan(np.radians(self.level_sd_deg))",
        "np.radians(self.level_sd_deg) / 2",
        "test_adjustment",
    ),
    (
        "orient/numbers/magnetic.py",
        "_DECLINATION_U_DEG_NT = 5417.0",
        "_DECLINATION_U_DEG_NT = 4517.0",
        "published/test_magnetic",
    ),
    (
        "orient/numbers/grid.py",
        "np.asarray(true_azimuth_deg) - np.asarray(convergence_deg)",
        "np.asarray(true_azimuth_deg) + np.asarray(convergence_deg)",
        "test_grid",
    ),
    (
        "orient/numbers/grid.py",
        "* np.tan(np.radians(latitude_deg))\n    return (level +",
        "* np.sin(np.radians(latitude_deg))\n    return (level +",
        "test_grid",
    ),
    (
        "orient/numbers/grid.py",
        "longitude_deg, float) + eastward / np.cos",
        "longitude_deg, float) - eastward / np.cos",
        "test_grid",
    ),
    ("orient/site.py", "43200.0, timezone", "0.0, timezone", "test_site"),
    (
        "orient/tables/clock.py",
        "return civil_s - _lookup",
        "return civil_s + _lookup",
        "test_clock",
    ),
    # Beyond the core: joint lines, sights, compasses, plans, pages, paper and exports.
    (
        "orient/observation/setups.py",
        "joined.line.azimuth_deg - laplace_deg",
        "joined.line.azimuth_deg + laplace_deg",
        "test_setups",
    ),
    (
        "orient/observation/setups.py",
        "_grid_bearing(setup, place, azimuth)",
        "_grid_bearing(setup, place, board_azimuth)",
        "test_setups",
    ),
    (
        "orient/observation/sights/campaign.py",
        'wrap_360(azimuth - place["declination_deg"])',
        'wrap_360(azimuth + place["declination_deg"])',
        "test_sights",
    ),
    (
        "orient/observation/compass/prepare.py",
        'table["true_azimuth_deg"] - table["declination_deg"]',
        'table["true_azimuth_deg"] + table["declination_deg"]',
        "test_compass",
    ),
    (
        "orient/notebook/correct.py",
        "self.declination + self.anomaly",
        "self.declination - self.anomaly",
        "test_correct",
    ),
    (
        "orient/numbers/settingout.py",
        '("grid", line.convergence_deg, 0.0)',
        '("grid", -line.convergence_deg, 0.0)',
        "test_settingout",
    ),
    (
        "orient/numbers/settingout.py",
        "line.true_azimuth_deg - line.declination_deg",
        "line.true_azimuth_deg + line.declination_deg",
        "test_settingout",
    ),
    (
        "orient/report/settingout.py",
        "line.true_azimuth_deg - line.convergence_deg",
        "line.true_azimuth_deg + line.convergence_deg",
        "test_settingout",
    ),
    (
        "orient/planning/rows.py",
        'plan["best_u_deg"].where(good)',
        'plan["best_u_deg"]',
        "test_plan_command",
    ),
    (
        "orient/planning/rows.py",
        'grouped["median_u_deg"].median()',
        'grouped["median_u_deg"].mean()',
        "test_plan_command",
    ),
    (
        "orient/planning/rows.py",
        'grouped["least_u_deg"].min()',
        'grouped["least_u_deg"].max()',
        "test_plan_command",
    ),
    (
        "orient/pages/onsite.py",
        'for side in ("morning", "afternoon")',
        'for side in ("afternoon", "morning")',
        "test_planpage",
    ),
    (
        "orient/planpage/page.py",
        'utc_s + clock.offset_s(utc_s, self.site["timezone"])',
        'utc_s - clock.offset_s(utc_s, self.site["timezone"])',
        "test_planpage",
    ),
    (
        "orient/report/norths.py",
        "return length * sin(radians(angle_deg)), ",
        "return -length * sin(radians(angle_deg)), ",
        "test_report",
    ),
    (
        "orient/report/board_drawing.py",
        "return length * sin(radians(direction_deg)), ",
        "return -length * sin(radians(direction_deg)), ",
        "test_report",
    ),
    (
        "orient/report/board_drawing.py",
        "_toward(float(angle), (0.6",
        "_toward(-float(angle), (0.6",
        "test_report",
    ),
    (
        "orient/report/site_map.py",
        "start[0] + length * sin(radians(azimuth_deg))",
        "start[0] - length * sin(radians(azimuth_deg))",
        "test_report",
    ),
    ("orient/export/layers.py", "azimuth, SYMBOLIC_M", "-azimuth, SYMBOLIC_M", "test_geodata"),
    (
        "orient/export/layers.py",
        "(limit - west) / (unrolled - west)",
        "(limit + west) / (unrolled - west)",
        "test_geodata",
    ),
    (
        "orient/fieldpage/table.py",
        "grid.laplace_correction_deg(where",
        "-grid.laplace_correction_deg(where",
        "test_field_engine",
    ),
]


def noticed(copy: Path, tests: str) -> bool:
    files = [f"tests/{name}.py" for name in tests.split()]
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *files],
        cwd=copy,
        capture_output=True,
        timeout=900,
        check=False,
    )
    return run.returncode == 1


def main() -> None:
    tried = survived = 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "tree"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "*cache*"))
        word = sys.argv[1] if len(sys.argv) > 1 else ""
        for file, old, new, tests in (each for each in MUTATIONS if word in each[0]):
            path = copy / file
            text = path.read_text("utf-8")
            if text.count(old) == 0:
                print(f"NOT FOUND {file}: {old}")
                continue
            path.write_text(text.replace(old, new, 1), "utf-8")
            caught = noticed(copy, tests)
            path.write_text(text, "utf-8")
            tried += 1
            survived += not caught
            print(f"{'caught  ' if caught else 'SURVIVED'} {file}: {new!r}", flush=True)
    print(f"{tried - survived} of {tried} caught")


if __name__ == "__main__":
    main()
