"""What a photograph of the tube's face tells: where the raster lies on the glass, how the guns meet, how even it is.

Positions in a photograph are (x, y) in its pixels, right and down, pixel centres at whole numbers. Positions on the
glass are millimetres in the plane of the marks, x right, y down, from the marks' centre. Guns come in the order red,
green, blue.
"""
