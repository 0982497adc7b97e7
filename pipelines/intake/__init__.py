"""From a delivery on disk to trials in memory: bags, tables, C3D files, axes and units."""
