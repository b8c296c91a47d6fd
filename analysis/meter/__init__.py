"""From a colour meter's readings to figures, and which control to turn.

`readings` reads them from a file, `grey` is the grey scale, `primaries` the colours against a standard.
"""
