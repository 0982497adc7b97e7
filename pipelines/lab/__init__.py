"""What a laboratory runs on its own machine: check, pack, profile, look, scrub."""
