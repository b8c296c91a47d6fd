"""A colour meter's readings, from CSV or CGATS text."""
