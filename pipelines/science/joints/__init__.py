"""Joint angles and moments, and the landmarks and segments they rest on."""
