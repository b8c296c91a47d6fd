"""From a scene to a file: rasterise, quantise, write, read back and prove.

`files` writes still pictures and raw video, `video` coded video.
"""
