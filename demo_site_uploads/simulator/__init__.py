"""Simulates invented runners in two invented laboratories and packs what the laboratories would send.

Order of the modules: runner -> vertical_force, fore_aft, cop -> steps -> body, motion -> trial -> labs, plates,
c3d_writer -> faults, tables, bags -> plan -> generate. Nothing here is used by the pipeline.
"""
