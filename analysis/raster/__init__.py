"""The raster's shape and convergence from a photograph of a crosshatch or dots.

`lattice` finds the shown lines or dots and where each gun draws them, `geometry` the shape of the raster.
`bundle` solves several photographs of one grid together.
"""
