"""From a captured frame to its levels, its place and what a chain did to it; `examine` is the entry."""
