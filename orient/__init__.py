"""True north from the shadow of a plumbed rod: plan, reduce, report."""

__version__ = "0.1.0"
