"""Checks of force plates."""
