"""Simulates invented runners in three invented laboratories and packs what the laboratories would send.

Order of the modules: runner -> vertical_force, fore_aft, cop -> steps -> muscle, sensors, body, motion -> trial ->
angles, sidecar, channels -> labs, plates, c3d_writer -> faults, tables, breathing, weeks, bags -> delivery ->
plan_faults, plan -> generate. Nothing here is used by the pipeline.
"""
