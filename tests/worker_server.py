"""Imported once by the server that the workers of tests are forked from: all that any of them would import by itself.

A run of the program forks its workers from a server of its own, which loads what reading and judging need; the checks
of whole sites import Great Expectations only where they look at something. A test process runs the program many times.
"""

import importlib

from checks.site.expectations import get_ready
from pipelines.taking_in.opening import WORKERS_NEED

for _name in WORKERS_NEED:
    importlib.import_module(_name)
get_ready()
