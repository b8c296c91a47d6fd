"""Slides drawn ahead of time, in a thread of their own, so that the next one is up at once."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from trueraster.show.slide import DrawnSlide, Place, Slide

__all__ = ["Ahead"]

_END_S = 5.0


class Ahead:
    """Draws the slides that are wanted, the first of them first, and forgets the others."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._place: Place | None = None
        self._wanted: list[Slide] = []
        self._drawn: dict[tuple[object, ...], DrawnSlide] = {}
        self._failed: dict[tuple[object, ...], Exception] = {}
        self._closed = False
        self._thread = threading.Thread(target=self._work, name="drawing ahead", daemon=True)
        self._thread.start()

    def want(self, slides: Sequence[Slide], place: Place) -> None:
        """Say what is needed, most urgent first. What was drawn for another place or is not wanted is dropped."""
        with self._changed:
            if place != self._place:
                self._drawn.clear()
                self._place = place
            self._wanted = list({slide.key: slide for slide in slides}.values())
            keys = {slide.key for slide in self._wanted}
            self._drawn = {key: drawn for key, drawn in self._drawn.items() if key in keys}
            self._failed = {key: error for key, error in self._failed.items() if key in keys}
            self._changed.notify_all()

    def get(self, slide: Slide, timeout_s: float | None = 0.0) -> DrawnSlide | None:
        """A slide that was wanted, drawn; None where it is not ready within `timeout_s` (None waits).

        Raises:
            Exception: what went wrong in drawing it.
        """
        with self._changed:
            self._changed.wait_for(lambda: slide.key in self._drawn or slide.key in self._failed, timeout_s)
            if slide.key in self._failed:
                raise self._failed[slide.key]
            return self._drawn.get(slide.key)

    def close(self) -> None:
        """Stop drawing."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
        # It ends between two frames. What it draws then is nothing to wait for: the thread is a daemon.
        self._thread.join(_END_S)

    def _next(self) -> Slide | None:
        return next((one for one in self._wanted if one.key not in self._drawn and one.key not in self._failed), None)

    def _work(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closed or self._next() is not None)
                slide, place = self._next(), self._place
                if self._closed:
                    return
                assert slide is not None
                assert place is not None

            def unwanted(slide: Slide = slide, place: Place = place) -> bool:
                return self._closed or place != self._place or all(one.key != slide.key for one in self._wanted)

            try:
                drawn = DrawnSlide.of(slide, place, unwanted)
            except Exception as error:  # Told to whoever asks for the slide; the thread goes on with the others.
                with self._changed:
                    self._failed[slide.key] = error
                    self._changed.notify_all()
                continue
            with self._changed:
                if not unwanted():
                    self._drawn[slide.key] = drawn
                self._changed.notify_all()
