"""The flags: short codes that rows carry, and what each tells a person to do."""

from __future__ import annotations

from enum import StrEnum


class Flag(StrEnum):
    """A flag is its code, a text; beside it stand its sentence and who deals with it.

    `sentence` tells a person what to do, `raised_by` names the modules that raise it, under
    `orient`, `shown_by` the commands that show it. A flag without one of these cannot be
    written down: the class does not come into being.
    """

    sentence: str
    raised_by: tuple[str, ...]
    shown_by: tuple[str, ...]

    def __new__(cls, code: str, sentence: str, raised_by: str, shown_by: str) -> Flag:
        if not (code and sentence and raised_by and shown_by):
            raise ValueError(f"the flag {code!r} lacks a sentence, a raiser or a command")
        flag = str.__new__(cls, code)
        flag._value_ = code
        flag.sentence = sentence
        flag.raised_by, flag.shown_by = tuple(raised_by.split()), tuple(shown_by.split())
        return flag

    def __repr__(self) -> str:
        return repr(self.value)

    SUN_TOO_HIGH = (
        "sun-too-high",
        "The noon sun stands too high for good marks: mark only in the early "
        "morning and late afternoon, as the plan shows.",
        "site planning.hours",
        "sites plan bring sheet",
    )
    SUN_TOO_LOW = (
        "sun-too-low",
        "The sun stays below the lowest sun to mark by, or behind the skyline, all "
        "day: choose another day; the plan of one site names what else was found to do.",
        "site planning.hours",
        "sites plan bring sheet",
    )
    NO_WINDOW = (
        "no-window",
        "No hours of this day meet the target: choose another day, or accept a wider "
        "figure; the plan of one site names what else was found to do.",
        "planning.hours",
        "plan bring crew",
    )
    NEAR_NOON = (
        "near-noon",
        "The marks lie close to noon, where the shadow turns fastest: mark again "
        "two hours and more before and after noon.",
        "observation.reduction",
        "reduce report",
    )
    FEW_PAIRS = (
        "few-pairs",
        "Fewer than three equal-altitude pairs: mark more often, morning and afternoon.",
        "observation.reduction",
        "reduce report",
    )
    ONE_SIDED = (
        "one-sided",
        "All the marks lie on one side of noon: add marks on the other side, or trust "
        "this line only as far as the watch.",
        "observation.reduction",
        "reduce report",
    )
    OFF_BOARD = (
        "off-board",
        "The tip's shadow leaves the board in the good hours: `orient bring` finds the "
        "rod and the board that serve.",
        "planning.hours observation.marking",
        "plan bring sheet mark",
    )
    BLUNDER = (
        "blunder",
        "At least one mark does not fit the others and was left out: look at it on the "
        "sheet before you trust the line.",
        "observation.reduction",
        "reduce report",
    )
    WATCH_DOUBTFUL = (
        "watch-doubtful",
        "The marks disagree with the stated watch: check its zone, summer time and setting.",
        "observation.reduction observation.sights.campaign",
        "reduce report sights",
    )
    HEIGHT_DOUBTFUL = (
        "height-doubtful",
        "The shadow lengths disagree with the stated rod height or the site's "
        "latitude: measure the rod from the board to the tip again.",
        "observation.reduction",
        "reduce report",
    )
    LEVEL_DOUBTFUL = (
        "level-doubtful",
        "The marks disagree with the stated level or foot: level the board again, and find the "
        "point plumb under the rod's tip again.",
        "observation.reduction",
        "reduce report",
    )
    BOARD_MOVED = (
        "board-moved",
        "The board moved between two marks: write no in `use` of the marks that were not made "
        "while the reference line stood as drawn, and leave the line drawn again at the end "
        "blank. Next time fix the board better.",
        "observation.reduction",
        "reduce report",
    )
    SCATTER_LARGE = (
        "scatter-large",
        "The marks scatter more than the stated tolerances allow: state them as they are, or "
        "mark more finely.",
        "observation.reduction",
        "reduce report",
    )
    RECORD_DOUBTFUL = (
        "record-doubtful",
        "The marks contradict what was recorded of the board: see which mistake would explain "
        "them, and put the table right.",
        "observation.reduction",
        "reduce report",
    )
    NO_REFERENCE_ANGLE = (
        "no-reference-angle",
        "The reference has a name but no direction on the board: give its "
        "reference_angle_deg, or a point on its line as reference_x_mm and reference_y_mm.",
        "observation.setups",
        "reduce report",
    )
    GRID_EDGE = (
        "grid-edge",
        "The site lies near or beyond the edge of its grid zone: make sure that "
        "everyone works in the same zone.",
        "site",
        "sites reduce report",
    )
    MODEL_EXPIRED = (
        "model-expired",
        "The date lies outside the magnetic model's years: take its declination with caution.",
        "magnetism",
        "sites declination reduce report",
    )
    WEAK_HORIZONTAL_FIELD = (
        "weak-horizontal-field",
        "The earth's horizontal field is weak here: a compass is doubtful or useless.",
        "magnetism",
        "sites declination reduce report",
    )
    SETUPS_DISAGREE = (
        "setups-disagree",
        "Set-ups of the same reference disagree by more than their uncertainties allow, and "
        "nothing tells which is wrong: find out which board was moved or mis-measured.",
        "observation.joint.campaign",
        "reduce report",
    )
    SET_APART = (
        "set-apart",
        "This set-up contradicts the others of its line and is set apart from them: look at its "
        "reference, and whether its board was moved.",
        "observation.joint.campaign",
        "reduce report",
    )
    NOT_SHARED = (
        "not-shared",
        "The marks reject that this set-up shares what its row says (a watch set anew, another "
        "rod): it is taken for another; see which, and put the table right.",
        "observation.joint.campaign",
        "reduce report",
    )
    PLACE_DOUBTFUL = (
        "place-doubtful",
        "The marks of the site's set-ups put it elsewhere than its coordinates do: look at the "
        "coordinates, the zone and the date. Grid and compass bearings are left out until then.",
        "observation.joint.campaign",
        "reduce report",
    )
    PLACE_FROM_MARKS = (
        "place-from-marks",
        "The site has no coordinates: where it lies was found from its set-ups' marks, and what "
        "follows from the place is as sure as that. Give the coordinates when they are known.",
        "observation.setups",
        "reduce report",
    )
    COPIED_MARKS = (
        "copied-marks",
        "The marks of this set-up are those of another: one board entered twice counts once; put "
        "the table right.",
        "observation.joint.campaign",
        "reduce report",
    )
    COMPASS_DIFFERS = (
        "compass-differs",
        "The compass readings show more than a usual compass in usual ground: see "
        "what `orient compass` says of ground, needle and slips.",
        "observation.setups observation.sights.campaign",
        "reduce report compass sights",
    )
    SIGHT_MISFIT = (
        "sight-misfit",
        "At least one sight does not fit the others and counts for little: look at its "
        "reading, time and target before you trust the line.",
        "observation.sights.campaign",
        "sights report",
    )
    SIGHTS_UNCHECKED = (
        "sights-unchecked",
        "One sight toward the sky alone shows no mistake: take a second one, of another body "
        "or some minutes later.",
        "observation.sights.campaign",
        "sights report",
    )
    SIGHTS_CONTRADICT = (
        "sights-contradict",
        "The sights of this circle contradict each other, and the figure given is as wide as "
        "what they leave open: sight again.",
        "observation.sights.campaign",
        "sights report",
    )
    LINES_DISAGREE = (
        "lines-disagree",
        "Sights and boards give this line azimuths that differ by more than they allow, and "
        "the joint figure reaches each of them: find out which was mis-read.",
        "observation.sights.campaign",
        "sights report",
    )


#: The sentence of each flag by its code.
FLAGS: dict[str, str] = {flag.value: flag.sentence for flag in Flag}

CAUTIONS: tuple[str, ...] = (
    "Never look at the sun, least of all through an instrument: watch the shadow only.",
    "Cap the rod's tip, so that nobody is hurt by it.",
    "Never sight toward the sun when you choose a reference line; rest your eyes from white paper.",
    "Carry water, cover your skin and rest in the shade: hours at a board mean heat, sunburn and "
    "dizziness.",
    "Keep clear of traffic. At thunder leave open and high ground, leave the rod, and wait half an "
    "hour: a rod draws lightning.",
    "In remote places and at night: tell someone where you are, and never go alone.",
    "Boundary, legal and engineering work belongs to licensed practice and local codes; "
    "this is no navigation aid.",
)

#: Beside `CAUTIONS`, wherever work by night is planned or begun (*common practice, no source*).
NIGHT_CAUTIONS: tuple[str, ...] = (
    "By night: never alone, and tell someone where you are and when you will be back.",
    "Walk the ground by daylight first; keep away from edges, open water and traffic.",
    "Lamp, warm clothes, and a way home in the dark; light strings and weights, so that nobody "
    "falls over them.",
    "Be gone before sunrise reaches your sights: never sight the sun.",
)
