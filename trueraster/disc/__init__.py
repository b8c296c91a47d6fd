"""A disc for the players that still have component and R'G'B' outputs: a DVD-Video image of a kit."""
