"""What must be TRUE: one small registered function per rule, one module per subject, one runner.

Checks look at what intake read; they never open files, change their input or know about Dagster.
"""
