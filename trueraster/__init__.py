"""The command: patterns, formats, levels, draw, verify."""
