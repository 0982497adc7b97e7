"""Imported once by the server that the workers of tests are forked from: all that any of them would import by itself.

A run of the program forks its workers from a server of its own, which loads what reading and judging need; checks, and
Great Expectations for those of whole sites, are imported where they are used. A test process runs the program often.
"""

import gc
import importlib

from checks.registry import catalogue
from checks.site.expectations import get_ready
from pipelines.taking_in.opening import WORKERS_NEED
from schemas.convert.to_pandera import pandera_schema
from schemas.core import TRIALS

for _name in (*WORKERS_NEED, "pipelines.pool.site_checks", "pebble.pool.process"):
    importlib.import_module(_name)
catalogue()
get_ready()
pandera_schema(TRIALS)  # pandera loads what carries a schema out with the first one that is made
gc.freeze()  # what is here stays: no worker need look through it, which would copy every page of it
