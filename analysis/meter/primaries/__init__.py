"""Primaries, secondaries and white against a standard."""
