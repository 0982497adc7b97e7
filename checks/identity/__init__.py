"""Checks of texts that may identify a person."""
