"""What consent does to a delivery: which rows and files leave it, and which words are not shown."""
