"""From a captured frame to its levels, its place and what a chain did to it; `examine` is the entry.

`place` finds the raster in the frame, `faults` names what explains its levels and edges, `fields` finds the order of
two fields in a clip, and `picture` draws the frame with its patches outlined.
"""
