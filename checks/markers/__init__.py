"""Checks of markers and of standing trials."""
