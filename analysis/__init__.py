"""From files to figures, and from figures to faults and advice.

`frame` examines a picture or a clip: where the raster is, what its levels are, and which faults explain them.
`waveform` gives a frame's signal over time. `photo` and `lens` bring a photograph to millimetres; `raster` and
`uniformity` measure the tube in it. `meter` measures the grey scale and the colours from a colour meter's readings.
`controls` learns what a set's own controls do from answers before and after a turn. `drawing` is what all pictures and
plots are drawn with. Each measurement answers with an `Answer`.
"""

import logging

# The library of plots logs where it cannot write its caches, or where its list of fonts takes long, as on a first run.
# Neither concerns the user's files, and standard error is for the user's own mistakes and notes.
logging.getLogger("matplotlib").setLevel(logging.ERROR)
