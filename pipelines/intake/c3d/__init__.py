"""Reading C3D files."""
