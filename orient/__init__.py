"""True north from the shadow of a plumbed rod: plan, reduce, report.

The names of `PUBLIC` come from `orient.api`, which is loaded when one of them is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

PUBLIC = [
    "Campaign",
    "Fault",
    "Field",
    "InputError",
    "SetupResult",
    "SunPlace",
    "declination",
    "describe_sites",
    "new_campaign",
    "plan",
    "read_campaign",
    "reduce",
    "reduce_campaign",
    "sun_place",
    "write_report",
]

if TYPE_CHECKING:
    from orient.api import *  # noqa: F403


def __getattr__(name: str) -> Any:
    if name in PUBLIC:
        return getattr(import_module("orient.api"), name)
    raise AttributeError(f"module 'orient' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *PUBLIC])
