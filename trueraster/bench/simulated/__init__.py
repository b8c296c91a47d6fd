"""SIMULATION: an invented set that is turned, photographed and read on a page, for learning the job without a tube.

It imports nothing of `analysis`: what measures it must not be what made it.
"""
