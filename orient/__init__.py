"""True north from the shadow of a plumbed rod: plan, reduce, report.

The names of `__all__` come from `orient.api`, which is loaded when one of them is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from orient.api import Board as Board
    from orient.api import Campaign as Campaign
    from orient.api import CompassCheck as CompassCheck
    from orient.api import CrewPlan as CrewPlan
    from orient.api import DeclinationChange as DeclinationChange
    from orient.api import Fault as Fault
    from orient.api import Field as Field
    from orient.api import GridFigures as GridFigures
    from orient.api import InputError as InputError
    from orient.api import Limits as Limits
    from orient.api import Reduced as Reduced
    from orient.api import Rig as Rig
    from orient.api import SetupResult as SetupResult
    from orient.api import SunPlace as SunPlace
    from orient.api import Tolerances as Tolerances
    from orient.api import Work as Work
    from orient.api import board as board
    from orient.api import bring as bring
    from orient.api import check_compasses as check_compasses
    from orient.api import compass_check as compass_check
    from orient.api import correct as correct
    from orient.api import crew as crew
    from orient.api import declination as declination
    from orient.api import declination_change as declination_change
    from orient.api import describe_sites as describe_sites
    from orient.api import grid_figures as grid_figures
    from orient.api import new_campaign as new_campaign
    from orient.api import plan as plan
    from orient.api import read_campaign as read_campaign
    from orient.api import reduce as reduce
    from orient.api import reduce_board as reduce_board
    from orient.api import reduce_campaign as reduce_campaign
    from orient.api import rings as rings
    from orient.api import sun_place as sun_place
    from orient.api import write_report as write_report
    from orient.api import write_sheet as write_sheet

__all__ = [
    "Board",
    "Campaign",
    "CompassCheck",
    "CrewPlan",
    "DeclinationChange",
    "Fault",
    "Field",
    "GridFigures",
    "InputError",
    "Limits",
    "Reduced",
    "Rig",
    "SetupResult",
    "SunPlace",
    "Tolerances",
    "Work",
    "board",
    "bring",
    "check_compasses",
    "compass_check",
    "correct",
    "crew",
    "declination",
    "declination_change",
    "describe_sites",
    "grid_figures",
    "new_campaign",
    "plan",
    "read_campaign",
    "reduce",
    "reduce_board",
    "reduce_campaign",
    "rings",
    "sun_place",
    "write_report",
    "write_sheet",
]

if not TYPE_CHECKING:
    # Type checkers know the names above alone: a typing mistake is an error to them.
    def __getattr__(name):
        if name in __all__:
            return getattr(import_module("orient.api"), name)
        raise AttributeError(f"module 'orient' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
