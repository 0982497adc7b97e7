"""Checks of whole sites."""
