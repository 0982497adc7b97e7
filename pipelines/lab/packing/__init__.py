"""Makes a delivery out of a laboratory's working folder: what lies where, what must be asked, and the bag itself."""
