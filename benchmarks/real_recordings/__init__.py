"""What becomes of the real recordings beside the repository: numbers beside their truth, and every finding."""
