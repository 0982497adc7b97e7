"""Frozen, numbered versions of the pooled data."""
