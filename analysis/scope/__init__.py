"""The waveform that an oscilloscope should show, from a frame's own samples."""
