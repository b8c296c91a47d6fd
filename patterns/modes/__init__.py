"""The timing of any raster, by the formulas that computers use and by one for 15 kHz sets."""
