"""The bench record: one JSON file a set, with what it is, what was done, and what was measured at each stage."""
