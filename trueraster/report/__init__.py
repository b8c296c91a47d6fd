"""The sheet that goes with a set: one page from its record."""
