"""Checks of the weekly log."""
