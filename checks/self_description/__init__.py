"""Whether what a recording's files say about themselves agrees."""
