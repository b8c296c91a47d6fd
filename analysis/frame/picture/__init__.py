"""The frame with its patches outlined."""
