"""Several photographs of one grid solved together: cameras, lens, the face and the grid's places on it."""
