"""Program of a test: shows patterns on the display that it is given, and compares the framebuffer after each.

    DISPLAY=:1 python show_all.py FRAMEBUFFER.xwd FORMAT RANGE [PATTERN...]

Prints a line for each picture: its pattern, its options, and how many samples differ from the drawn ones.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from patterns.catalogue import PATTERNS
from patterns.formats import parse_format
from patterns.signal import Range
from render.raster import draw_frame
from tests.framebuffer import Display
from trueraster.show.deck import Deck
from trueraster.show.screen import Screen
from trueraster.show.slide import slide_of


def main(file: str, name: str, code_range: str, *only: str) -> None:
    fmt = parse_format(name)
    display = Display("", Path(file))
    slides = [
        slide_of(pattern, options, fmt, Range(code_range))
        for pattern in PATTERNS.values()
        for options in pattern.variants
        if (not only or pattern.id in only) and pattern.scene(fmt, options).is_still
    ]
    screen = Screen(None)
    deck = Deck(slides)
    for one in slides:
        shown = screen.changes
        while screen.changes == shown:
            screen.step(deck)
        screen.keys(deck, 1)
        screen.step(deck)
        wanted = np.stack(draw_frame(one.pattern.scene(fmt, one.options, one.signal), fmt, one.signal), axis=-1)
        differs = int(np.count_nonzero(wanted != display.pixels()))
        sys.stdout.write(f"{one.pattern.id} {one.options.given} {differs}\n")
        deck.press("next")
    screen.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
