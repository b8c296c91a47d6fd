"""Where the raster lies in a frame: scale, offset and crop of each direction."""
