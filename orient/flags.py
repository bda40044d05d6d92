"""The flags: short codes that rows carry, and what each tells a person to do."""

from __future__ import annotations

FLAGS: dict[str, str] = {
    "sun-too-high": "The noon sun stands too high for good marks: mark only in the early "
    "morning and late afternoon, as the plan shows.",
    "sun-too-low": "The sun stays too low for a usable shadow: choose another day or a shorter "
    "rod.",
    "no-window": "No hours of this day meet the target: choose another day, another rod, "
    "better levelling, or accept a wider figure.",
    "near-noon": "The marks lie close to noon, where the shadow's direction races: mark again "
    "two hours and more before and after noon.",
    "few-pairs": "Fewer than three equal-altitude pairs: mark more often, morning and afternoon.",
    "one-sided": "All the marks lie on one side of noon: add marks on the other side, or trust "
    "this line only as far as the watch.",
    "off-board": "The shadow's tip leaves the board: use a shorter rod or a larger board.",
    "blunder": "At least one mark does not fit the others and was left out: look at it on the "
    "sheet before you trust the line.",
    "watch-doubtful": "The marks disagree with the stated watch: check its zone, summer time and "
    "setting.",
    "height-doubtful": "The shadow lengths disagree with the stated rod height or the site's "
    "latitude: measure the rod from the board to the tip again.",
    "record-doubtful": "Another reading of the record fits its marks far better: see which mistake "
    "would explain them, and put the table right.",
    "no-reference-angle": "The reference has a name but no direction on the board: give its "
    "reference_angle_deg, or a point on its line as reference_x_mm and reference_y_mm.",
    "grid-edge": "The site lies near or beyond the edge of its grid zone: make sure that "
    "everyone works in the same zone.",
    "model-expired": "The date lies outside the magnetic model's years: take its declination "
    "with caution.",
    "weak-horizontal-field": "The earth's horizontal field is weak here: a compass is doubtful "
    "or useless.",
    "setups-disagree": "Set-ups of the same reference disagree by more than their uncertainties "
    "allow: find out which board was moved or mis-measured before you use their mean.",
    "compass-differs": "The compass readings show more than a usual compass in usual ground: see "
    "what `orient compass` says of ground, needle and slips.",
}

CAUTIONS: tuple[str, ...] = (
    "Never look at the sun, least of all through an instrument: watch the shadow only.",
    "Cap the rod's tip, so that nobody is hurt by it.",
    "Carry water, cover your skin and rest in the shade: hours at a board mean heat and sunburn.",
    "Keep clear of traffic, and leave open ground when thunder is heard: a rod draws lightning.",
    "Boundary, legal and engineering work belongs to licensed practice and local codes; "
    "this is no navigation aid.",
)
