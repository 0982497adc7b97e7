"""Checks of breathing gas."""
