"""Damaged and hostile files in large numbers, all from seeds: nothing may crash, hang or take the memory."""
