"""What all pictures that are drawn over a frame or a photograph share: their colours, and their face."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import as_file, files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import ImageFont

__all__ = ["BLUE", "DARK", "GROUND", "ORANGE", "QUIET", "RULE", "TEXT", "Rgb", "font", "plain"]

Rgb = tuple[int, int, int]
GROUND: Rgb = (22, 25, 31)
RULE: Rgb = (74, 81, 94)
TEXT: Rgb = (240, 242, 245)
QUIET: Rgb = (170, 178, 190)
DARK: Rgb = (0, 0, 0)
BLUE: Rgb = (120, 200, 255)
ORANGE: Rgb = (255, 140, 20)
"""Blue and orange differ for every kind of colour vision, and in lightness too."""

_FACE = "DejaVuSansMono-Bold.ttf"


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The face of all pictures, `size` pixels high."""
    # A good frame is verified without a picture, and 20 ms sooner without this library.
    from PIL import ImageFont

    with as_file(files("render") / "data" / _FACE) as path:
        return ImageFont.truetype(path, size)


def plain(text: str) -> str:
    """On one line, and nothing that the face cannot show as itself."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
