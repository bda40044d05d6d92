"""What every page for a browser shares: its style."""

from __future__ import annotations

from importlib.resources import files


def shared_style() -> str:
    """The style sheet that every page begins with: light, dark and paper."""
    return (files("orient.pages") / "style.css").read_text(encoding="utf-8")
