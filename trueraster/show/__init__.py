"""Patterns on the output that feeds the set: one sample of the pattern to one pixel, codes untouched."""
