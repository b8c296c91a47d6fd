"""The bench: a session with the screen, a page for the phone beside the set, and the record."""
