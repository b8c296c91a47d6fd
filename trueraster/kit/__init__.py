"""A check-up kit: every pattern that suits a format, in the order of work, with playlists, manifest and cue sheet."""
