"""From a colour meter's readings to figures: grey scale, primaries, and which control to turn."""
