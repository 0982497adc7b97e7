"""Checks of a delivery and its tables."""
