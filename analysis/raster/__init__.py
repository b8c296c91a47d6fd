"""The raster's shape and convergence from a photograph of a crosshatch or dots."""
