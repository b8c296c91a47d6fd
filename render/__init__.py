"""From a scene to a file: rasterise, quantise, write, read back and prove."""
