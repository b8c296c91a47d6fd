"""Still pictures and raw video, written sample by sample."""
