"""What `timing` prints: rates, the set's limits, mode lines and EDID."""
