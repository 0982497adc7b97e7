"""One trial: a job in, a verdict out; and the trials of one delivery together."""
