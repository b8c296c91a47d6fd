"""The bench: a session with the screen, a page for the phone beside the set, and the record.

- `simulated`: an invented set to learn and test it on.
"""
