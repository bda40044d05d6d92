"""What compass readings toward lines of known azimuth say of the compass and of the ground.

A reading differs from what the model expects, true azimuth less declination, for these reasons:
the compass's own index error and its deviation by heading, the same wherever that compass
goes; the local anomaly of declination, the same for every compass at that place; a slip; and
the errors of reading and of azimuth. One compass at one place shows only the sum.
"""

from orient.observation.compass.check import CompassCheck, check_compasses, no_check
from orient.observation.compass.lines import compass_readings, left_out_words, misplaced
from orient.observation.compass.prepare import COLUMNS, combined_u_deg, difference_deg

__all__ = [
    "COLUMNS",
    "CompassCheck",
    "check_compasses",
    "combined_u_deg",
    "compass_readings",
    "difference_deg",
    "left_out_words",
    "misplaced",
    "no_check",
]
