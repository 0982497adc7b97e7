"""Studies of many trials, made by multiplying the results of a small one, and what they cost."""
