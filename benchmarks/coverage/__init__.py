"""Whole studies with known answers, and how often the intervals hold them."""
