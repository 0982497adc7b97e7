"""Checks of a recording as a whole: file, rates, channels, clocks."""
