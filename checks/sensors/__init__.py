"""Checks of foot-contact sensors."""
