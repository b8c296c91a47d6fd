"""What is shown: scenes without pixels, the raster formats, and the standards' constants. Standard library only."""
