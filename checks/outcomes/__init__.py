"""Checks of what was computed."""
