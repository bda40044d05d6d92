"""What every page for a browser shares: its style and its parts."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Any


def shared_style() -> str:
    """The style sheet that every page begins with: light, dark and paper."""
    return page_text("pages", "style.css")


def panel_style() -> str:
    """The style of the panel for use on site; it takes its colours --u1 and --u3 from the page."""
    return page_text("pages", "panel.css")


def page_text(room: str, name: str) -> str:
    """A style or script as the package carries it.

    Args:
        room: the product that it belongs to, such as `planpage`.
        name: of the file there.
    """
    return (files(f"orient.{room}") / name).read_text(encoding="utf-8")


@lru_cache(maxsize=8)
def page_template(room: str, name: str) -> Any:
    """A page's template, which may include what pages share.

    Args:
        room: the product whose template it is, such as `planpage`.
        name: of the template's file there.
    """
    from jinja2 import ChoiceLoader, Environment, PackageLoader

    loader = ChoiceLoader([PackageLoader("orient", room), PackageLoader("orient", "pages")])
    return Environment(loader=loader, autoescape=True, trim_blocks=True).get_template(name)
