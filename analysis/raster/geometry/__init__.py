"""The shape of the raster: one smooth map of the picture onto the glass, and its figures."""
