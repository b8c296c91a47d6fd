"""What `verify --picture` tells of a frame: its measured patches, what stands above and below, and in which colours."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.drawing.labels import Box, Words
from analysis.drawing.palette import BLUE, ORANGE, Rgb, plain

__all__ = ["Heading", "Mark", "Note", "ink_of", "words_of"]

_LONGEST_NAME = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A measured patch. `box` is in samples and lines of the frame, which may cut it."""

    name: str
    box: Box
    """Left, top, right, bottom."""
    error_codes: tuple[float | None, ...] | None
    """Measured less expected, for each of `components`, in codes of the frame's depth; None: not measured."""
    components: tuple[str, ...]
    passed: bool
    uncertain: bool = False
    """Whether noise or too few samples leave the verdict open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above the frame."""

    title: str
    """The file and the frame."""
    verdict: str
    """A word or a few; the sign before it follows from `passed`."""
    passed: bool
    lines: tuple[str, ...] = ()
    """Pattern, format, signal, registration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What stands below the frame, as a fault and its remedy: a title, then paragraphs."""

    title: str
    paragraphs: tuple[str, ...] = ()


def words_of(mark: Mark) -> Words:
    """What the label of a mark says."""
    name = plain(mark.name)
    if len(name) > _LONGEST_NAME:
        name = name[: _LONGEST_NAME - 1] + "…"
    errors = mark.error_codes or ()
    given = [(c, e) for c, e in zip(mark.components or ("",) * len(errors), errors, strict=False) if e is not None]
    told = [f"{component} {_signed(error)}".strip() for component, error in given]
    worst = max(given, key=lambda pair: abs(pair[1]), default=None)
    if len({_signed(error) for _, error in given}) == 1 and len(given) > 1:
        # The same in all: grey levels of R'G'B', or nothing at all.
        told = [f"{''.join(component for component, _ in given)} {_signed(given[0][1])}".strip()]
    return Words(
        name=name or "?",
        verdict=_verdict(mark),
        errors=tuple(told),
        worst="" if worst is None else told[0] if len(told) == 1 else f"{worst[0]} {_signed(worst[1])}".strip(),
        sign_tells=mark.passed,
    )


def _verdict(mark: Mark) -> str:
    return ("pass" if mark.passed else "FAIL") + ("?" if mark.uncertain else "")


def _signed(error: float) -> str:
    """An error in codes, as short as it is exact enough."""
    if not math.isfinite(error):
        return "?"
    text = f"{error:+.0f}" if abs(error) >= 99.5 else f"{error:+.1f}" if abs(error) >= 9.95 else f"{error:+.2f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("+0", "-0") else text.replace("-", "−")


def ink_of(passed: bool) -> Rgb:
    return BLUE if passed else ORANGE
