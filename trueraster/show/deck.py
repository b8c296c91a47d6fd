"""What is to be on the screen now: a list of slides, a place in it, and black. No window, no clock of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from trueraster.show.slide import Slide

__all__ = ["Deck", "Source"]


class Source(Protocol):
    """Who says what is shown: the list of `show`, or the session of the bench. Called from the screen's thread."""

    def current(self) -> Slide | None:
        """What is to be up; None is black."""

    def ahead(self) -> Sequence[Slide]:
        """What may be asked for next, most likely first."""

    def press(self, key: str) -> None:
        """A key of the screen: 'next', 'previous', 'black' or a number."""

    def over_time(self, slide: Slide) -> None:
        """A slide has been up for its longest time; `current` has to be None afterwards."""


class Deck:
    """The slides of `show`, one after another."""

    def __init__(self, slides: Sequence[Slide]) -> None:
        self.slides = list(slides)
        self.index = 0
        self.is_black = False

    def current(self) -> Slide | None:
        return None if self.is_black else self.slides[self.index]

    def ahead(self) -> Sequence[Slide]:
        near = (self.index, self.index + 1, self.index - 1)
        return [self.slides[i] for i in near if 0 <= i < len(self.slides)]

    def press(self, key: str) -> None:
        if key == "black":
            self.is_black = not self.is_black
            return
        step = {"next": 1, "previous": -1}.get(key)
        wanted = self.index + step if step is not None else int(key) - 1
        if 0 <= wanted < len(self.slides):
            # After black the same picture comes back first: nobody has looked at it for its time.
            self.index, self.is_black = wanted, False

    def over_time(self, slide: Slide) -> None:
        self.is_black = True
