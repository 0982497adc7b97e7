"""Metabolic power and cost of a bout of steady running."""
