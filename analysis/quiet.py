"""matplotlib without its remarks on standard error, which belongs to the user's own mistakes and notes."""

from __future__ import annotations

import logging


def quieten_matplotlib() -> None:
    """Keep matplotlib from writing about its caches and fonts; to be called before it is imported.

    Where its folder cannot be written, or its list of fonts takes long to build, it logs warnings. Both happen only on
    the first run or without a home folder, and neither concerns the user's files.
    """
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
