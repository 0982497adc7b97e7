"""Pure functions from a trial to its outcomes. Nothing here opens files or knows about Dagster."""
