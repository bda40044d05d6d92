"""Marks read from photographs of a marking sheet."""
