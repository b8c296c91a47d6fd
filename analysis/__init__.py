"""From a file to figures: the levels of a captured or rendered frame."""
