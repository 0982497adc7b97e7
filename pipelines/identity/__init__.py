"""Finding and removing text that tells who was recorded: patterns, where text stands, masking, cleaned copies."""
