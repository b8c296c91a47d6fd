"""analysis."""
