"""Ratios of two things measured in the same run, so that the machine cancels out. ``python -m benchmarks``."""

import os

# What is measured is one worker's work, and a worker has one thread (see pipelines.workers.isolation). Before numpy.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
