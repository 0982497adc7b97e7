"""Checks of consent."""
