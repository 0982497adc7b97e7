"""Nothing leaves the machine: switches off what the libraries would send or fetch on their own.

Lives here: the switches, one per library, each tested against the installed library. Called before any of those
libraries is imported by the command line and by the Dagster definitions. pandera and pyarrow have nothing
to switch off.
"""

from __future__ import annotations

import os

#: Environment variable -> value, and why.
SWITCHES = {
    "DAGSTER_DISABLE_TELEMETRY": "yes",  # stops the upload thread, whatever the instance's settings say
    "GX_ANALYTICS_ENABLED": "false",  # Great Expectations' usage statistics
}

#: For every DuckDB connection: extensions are never fetched or loaded by themselves.
DUCKDB_CONFIG = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "allow_community_extensions": "false",
}


def switch_off() -> None:
    """Set the environment so that no library used here sends anything."""
    os.environ.update(SWITCHES)
