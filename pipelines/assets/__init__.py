"""Dagster assets: they load, call a stage, store."""
