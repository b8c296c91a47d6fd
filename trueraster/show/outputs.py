"""The outputs of this computer, and the format that one of them sends."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import FORMATS, Format, parse_format
from trueraster.errors import UsageError

__all__ = ["Output", "format_for", "open_display", "output_of", "outputs"]

NO_DISPLAY = (
    "there is no display that this computer can show patterns on; 'trueraster bench --player' works without one, with"
    " a media player that shows a kit's files"
)
_RATE_IF_UNKNOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """One output in the mode that it has now."""

    number: int
    """As `--output` takes it, from 1."""
    width: int
    height: int
    rate_hz: int
    """As the system gives it, in whole Hz; 0 where it does not say."""

    @property
    def words(self) -> str:
        """'1: 720 x 480, 60 Hz'."""
        rate = f"{self.rate_hz} Hz" if self.rate_hz else "rate not known"
        return f"{self.number}: {self.width} x {self.height}, {rate}"


def open_display() -> None:
    """Start the display, without a window.

    Raises:
        UsageError: there is none.
    """
    # Each is a wish; what the user has set stays. The software path hands pixels over as they are; the words that the
    # library greets with would go to standard output.
    for name, value in (
        ("PYGAME_HIDE_SUPPORT_PROMPT", "1"),
        ("SDL_FRAMEBUFFER_ACCELERATION", "0"),
        ("SDL_WINDOWS_DPI_AWARENESS", "permonitorv2"),
        ("SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS", "0"),
        ("SDL_NO_SIGNAL_HANDLERS", "1"),
    ):
        os.environ.setdefault(name, value)
    # Only what shows patterns needs it: 100 ms.
    import pygame

    chosen = os.environ.get("SDL_VIDEODRIVER", "") or os.environ.get("SDL_VIDEO_DRIVER", "")
    try:
        with _quiet():
            pygame.display.init()
    except pygame.error as error:
        raise UsageError(NO_DISPLAY) from error
    # Where there is no display the library takes a driver that shows nothing; asked for by name it is for trials.
    if pygame.display.get_driver() in ("offscreen", "dummy") and not chosen:
        pygame.display.quit()
        raise UsageError(NO_DISPLAY)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what system libraries write themselves from standard error; what went wrong is said in our own words."""
    sys.stderr.flush()
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def outputs() -> tuple[Output, ...]:
    """All outputs; the display has to be open."""
    # As in `open_display`.
    import pygame

    sizes = pygame.display.get_desktop_sizes()
    rates = pygame.display.get_desktop_refresh_rates()
    return tuple(
        Output(number=i, width=size[0], height=size[1], rate_hz=max(0, rate))
        for i, (size, rate) in enumerate(zip(sizes, rates, strict=True), 1)
    )


def output_of(number: int | None) -> Output:
    """The output with a number; without one the only one, or of several the last: the first has the desktop.

    Raises:
        UsageError: there is no such output.
    """
    found = outputs()
    if number is None:
        return found[-1]
    if not 1 <= number <= len(found):
        listed = "; ".join(one.words for one in found)
        raise UsageError(f"--output: there is no output {number}; there are {listed}")
    return found[number - 1]


def format_for(output: Output) -> tuple[Format, str]:
    """The format of an output's size and rate, and words that say which it is and why.

    A computer's output sends whole frames, so of two formats of one size the progressive one is taken. The system gives
    a rate in whole Hz, so 59.94 and 60 Hz cannot be distinguished; for still patterns they are the same picture.
    """
    size = output.width, output.height
    rate = output.rate_hz or _RATE_IF_UNKNOWN
    alike = [one for one in FORMATS.values() if (one.width, one.height) == size and not one.interlaced]
    near = [one for one in alike if abs(one.frame_rate - rate) <= 1]
    if near:
        best = min(near, key=lambda one: abs(one.frame_rate - rate))
        return best, f"format {best.id}, by the output's size{' and rate' if output.rate_hz else ''}"
    fmt = parse_format(f"{output.width}x{output.height}@{Fraction(rate)}")
    why = "no named format has the output's size and rate" if alike else "no named format has the output's size"
    return fmt, f"format {fmt.id}: {why}"
