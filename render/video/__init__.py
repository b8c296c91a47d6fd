"""Coded video: what starts the encoder, and the exact coder."""
