"""A SIMULATION of picture tubes and of a colour meter, for tests: every cut-off, drive, gamma and primary is known.

Nothing here was taken from a real tube or a real meter, and nothing of the product imports it. It imports nothing from
`analysis` but in `run.py`, so that a mistake there cannot repeat itself here. `tube.py` is the tube, `meter.py` the
meter and its file, `cases.py` draws tubes by number, `run.py` adjusts them by the advice.
"""
