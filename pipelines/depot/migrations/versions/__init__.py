"""One module for each form of the books."""
