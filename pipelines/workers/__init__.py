"""Worker processes with limits of time and memory, in which hostile files are read."""
