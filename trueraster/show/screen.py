"""The window: pixels to the output's framebuffer, keys from its keyboard.

By pygame-ce, a well-kept binding of SDL that has wheels for all common systems. Its software surface goes to the
framebuffer byte by byte: no scaling, no colour management. What the output does behind the framebuffer (range, colour
ramps, dither) cannot be read from here.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from trueraster.errors import UsageError
from trueraster.show.ahead import Ahead
from trueraster.show.deck import Source
from trueraster.show.outputs import Output, open_display, output_of
from trueraster.show.slide import DrawnSlide, Place, Slide

if TYPE_CHECKING:
    import pygame

__all__ = ["KEYS_TEXT", "Screen"]

KEYS_TEXT = (
    "Keys: right, space or page down is the next pattern; left or page up the previous one; a number and Enter that"
    " pattern; b is black; q or Esc ends"
)
_NUMBER_S = 1.0
"""After the last digit a number is taken without Enter."""
_STEP_MS = 200
"""How often the clock is looked at while nothing moves and nobody presses a key."""
_MOVING_MS = 2
_COLOUR_BITS = (24, 32)
_DRAWING_S = 0.05
"""That a slide which is not drawn yet is waited for, before keys are looked at again."""
_TRIES, _TRY_S = 15, 0.2
"""To open the display again."""


class Screen:
    """The full-screen window on one output. All of it is called from the main thread, `wake` apart."""

    def __init__(self, number: int | None, clock: Callable[[], float] = time.monotonic) -> None:
        """Open the window, black.

        Raises:
            UsageError: there is no display, no such output, or one that has fewer than 8 bits a colour.
        """
        open_display()
        self._number = number
        self._clock = clock
        self._ahead = Ahead()
        self._opening = threading.Lock()
        """Held while the display is closed and opened: no thread may wake it then."""
        self._typed, self._typed_at = "", 0.0
        self._shown: tuple[tuple[object, ...] | None, int] | None = None
        self._since = 0.0
        self._up: Slide | None = None
        self.changes = 0
        """How often the framebuffer was written."""
        self._open()

    def _open(self) -> None:
        # As in `open_display`.
        import pygame

        self.output: Output = output_of(self._number)
        size = self.output.width, self.output.height
        self._surface: pygame.Surface = pygame.display.set_mode(
            size, pygame.FULLSCREEN | pygame.NOFRAME, display=self.output.number - 1
        )
        pygame.display.set_caption("trueraster")
        pygame.mouse.set_visible(False)
        pygame.display.set_allow_screensaver(False)
        red, green, blue, _ = self._surface.get_shifts()
        if self._surface.get_bitsize() not in _COLOUR_BITS or any(self._surface.get_losses()[:3]):
            raise UsageError(
                f"output {self.output.words}: it has fewer than 8 bits a colour, so codes cannot be shown as they are"
            )
        if self._surface.get_size() != size:
            got = "{} x {}".format(*self._surface.get_size())
            raise UsageError(f"output {self.output.words}: the system gives a window of {got}, which it would scale")
        self.place = Place(width=size[0], height=size[1], shifts=(red, green, blue))
        self._shown = None

    def reopen(self) -> None:
        """Look at the output anew, after its mode was changed."""
        # As in `open_display`.
        import pygame

        with self._opening:
            pygame.display.quit()
            for left in reversed(range(_TRIES)):
                try:
                    open_display()
                    break
                except UsageError:
                    # A display server that has lost its last window may begin anew, and takes a moment.
                    if not left:
                        raise
                    time.sleep(_TRY_S)
            self._open()

    def wake(self) -> None:
        """Have the window look at once what is to be shown; from any thread."""
        # As in `open_display`.
        import pygame

        with self._opening:
            if pygame.display.get_init():
                pygame.event.post(pygame.event.Event(pygame.USEREVENT))

    def close(self) -> None:
        """Close the window and give the output back."""
        # As in `open_display`.
        import pygame

        self._ahead.close()
        pygame.display.quit()

    def run(self, source: Source, stop: Callable[[], bool] = lambda: False) -> None:
        """Show what `source` wants until quit is pressed or `stop` says so."""
        while not stop():
            wait_ms = self.step(source)
            if not self.keys(source, wait_ms):
                return

    def step(self, source: Source) -> int:
        """Put up what is wanted now. Gives how many ms the next look may wait."""
        slide = source.current()
        self._ahead.want([*([] if slide is None else [slide]), *source.ahead()], self.place)
        if slide is None:
            self._put_black(self._up)
            return _STEP_MS
        now = self._clock()
        drawn = self._ahead.get(slide, _DRAWING_S)
        if drawn is None:
            # What is up stays up meanwhile, and keys are heard.
            return 1
        if self._up is None or self._up.key != slide.key or self._shown is None or self._shown[0] is None:
            self._up, self._since = slide, now
        if now - self._since >= slide.longest_s:
            source.over_time(slide)
            self._put_black(slide)
            return _STEP_MS
        self._put(drawn, drawn.index_at(now - self._since))
        if len(drawn.order) > 1:
            return _MOVING_MS
        return max(1, min(_STEP_MS, int(1000 * (slide.longest_s - (now - self._since)))))

    def _put(self, drawn: DrawnSlide, index: int) -> None:
        which = drawn.slide.key, drawn.order[index]
        if which != self._shown:
            self._flip(drawn.pixels_at(index))
            self._shown = which

    def _put_black(self, last: Slide | None) -> None:
        if self._shown == (None, 0):
            return
        pixels = self.place.black(last.signal) if last else np.zeros((self.place.height, self.place.width), np.uint32)
        self._flip(pixels)
        self._shown = None, 0

    def _flip(self, pixels: np.ndarray[tuple[int, ...], np.dtype[np.uint32]]) -> None:
        # As in `open_display`.
        import pygame

        view = pygame.surfarray.pixels2d(self._surface)
        view[...] = pixels.T
        # The surface is locked for as long as a view of it lives.
        del view
        pygame.display.flip()
        self.changes += 1

    def keys(self, source: Source, wait_ms: int) -> bool:
        """Wait for keys and hand them on; False when the window is to be closed."""
        # As in `open_display`.
        import pygame

        first = pygame.event.wait(wait_ms)
        for event in (first, *pygame.event.get()):
            if event.type == pygame.QUIT:
                return False
            if event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED, pygame.WINDOWSHOWN):
                self._shown = None
            if event.type == pygame.KEYDOWN and not self._key(source, event.key):
                return False
        if self._typed and self._clock() - self._typed_at >= _NUMBER_S:
            self._take_number(source)
        return True

    def _key(self, source: Source, key: int) -> bool:
        # As in `open_display`.
        import pygame

        name = pygame.key.name(key).removeprefix("[").removesuffix("]")
        if name in ("q", "escape"):
            return False
        if name.isdecimal() and len(name) == 1:
            self._typed, self._typed_at = (self._typed + name)[-3:], self._clock()
        elif name in ("return", "enter") and self._typed:
            self._take_number(source)
        elif name in ("right", "down", "space", "page down", "n", "return", "enter"):
            source.press("next")
        elif name in ("left", "up", "backspace", "page up", "p"):
            source.press("previous")
        elif name in ("b", "."):
            source.press("black")
        return True

    def _take_number(self, source: Source) -> None:
        number, self._typed = self._typed, ""
        source.press(number)
