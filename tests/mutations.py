"""Thirty and more small wrongs put into the core one at a time: the tests must notice each.

Run: python tests/mutations.py        (a copy of the tree is changed, never the tree itself)
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
        "orient/numbers/sun.py",
        "* 4.0\n\n\ndef time_of",
        "* 3.9\n\n\ndef time_of",
        "published/test_sun",
    ),
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
        "turn / length)[..., None]",
        "turn)[..., None]",
        "test_byhand",
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
        "own[:, WATCH] + ahead_s",
        "own[:, WATCH] - ahead_s",
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
        for file, old, new, tests in MUTATIONS:
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
