"""A new study from a few answers: its study file, a profile to fill in for each site, and a plan to fill in."""
