"""Ratios of two things measured in the same run, so that the machine cancels out. ``python -m benchmarks``."""
