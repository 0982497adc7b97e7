"""Checks of muscle signals."""
