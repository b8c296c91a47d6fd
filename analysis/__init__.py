"""From files to figures, and from figures to faults and advice.

The modules of this package examine a frame of a picture or video file: where the raster lies, what its levels are,
which faults explain them, and in which order its fields come. `scope` gives the waveform of a frame. `glass` measures
photographs of the tube: geometry, convergence and uniformity, and the lens of the camera. `meter` measures the grey
scale and the primaries from the readings of a colour meter.
"""
