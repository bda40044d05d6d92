"""What is taken where nothing is said: one home for the figures that commands and API share.

The tolerances of a set-up have theirs in `orient.numbers.tolerances`.
"""

from __future__ import annotations

#: Height of the rod, mm (*common practice, no source*).
ROD_MM = 300.0
#: Width and depth of the board, mm: the usual one for an A2 sheet (*from memory*).
BOARD_MM = (650.0, 470.0)
#: Standard uncertainty that a pair of marks must meet, degrees.
TARGET_U_DEG = 0.25
#: The sun between these altitudes makes good marks, degrees (*common practice, no source*).
MIN_ALTITUDE_DEG, MAX_ALTITUDE_DEG = 12.0, 60.0
