"""When a foot touches the ground and leaves it: from force, from switches, from markers."""
