"""What a chain did to a frame, and what to do about it."""
