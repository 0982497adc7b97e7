"""Imported once by the server that the workers of tests are forked from: all that any of them would import by itself.

A run of the program forks its workers from a server of its own, which loads what reading and judging need; checks, and
Great Expectations for those of whole sites, are imported where they are used. A test process runs the program often.
"""

import gc
import importlib

from checks.registry import catalogue
from checks.site.expectations import get_ready
from pipelines.taking_in.opening import WORKERS_NEED
from schemas.convert.to_arrow import empty_frame
from schemas.convert.to_pandera import shape_problems
from schemas.delivery import SENT_TRIALS

for _name in (*WORKERS_NEED, "pipelines.pool.site_checks", "pebble.pool.process"):
    importlib.import_module(_name)
catalogue()
get_ready()
# pandera loads what carries a schema out, and all that could make examples of it, with the first table it looks at
shape_problems(SENT_TRIALS, empty_frame(SENT_TRIALS).astype(object), "none")
gc.freeze()  # what is here stays: no worker need look through it, which would copy every page of it
