"""From captured frames, photographs of the glass and meter readings to figures and advice."""

import logging

# The library of plots logs where it cannot write its caches, or where its list of fonts takes long, as on a first run.
# Neither concerns the user's files, and standard error is for the user's own mistakes and notes.
logging.getLogger("matplotlib").setLevel(logging.ERROR)
