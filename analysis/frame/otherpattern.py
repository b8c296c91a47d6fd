"""Whether a frame shows another pattern than the one that was asked for, a mirrored one, or none."""

from __future__ import annotations

from analysis.frame.expected import Expected, Subject
from analysis.frame.faults.recognise import Look, best_look, is_flat, likeness
from analysis.frame.findings import OtherPatternError
from analysis.frame.place.axes import Registration

__all__ = ["DOUBTFUL", "refuse_other"]

DOUBTFUL = 0.004
"""Share of a frame's changes left unexplained from which another pattern is looked for."""
_MIRRORED = 0.05
"""The same below which a picture that is turned round is taken for the pattern."""
_CLEARLY = 0.3
"""Share of this pattern's misfit below which another one's, or a mirrored one's, counts as better."""
_SNOW = 0.1
"""Deviation of a frame's samples, in fractions of white, above which one that is flat on the whole is mere noise."""


def refuse_other(expected: Expected, place: Registration) -> None:
    """Look for another pattern where this one leaves much unexplained.

    Raises:
        OtherPatternError: it shows another pattern, or none.
    """
    subject = expected.subject
    luma, drawn, asked = subject.luma, subject.drawn, subject.pattern.id
    if is_flat(drawn.luma):
        # A plain field has no marks to go by.
        if not is_flat(luma):
            raise _other(asked, _best_look(subject))
        return
    own = likeness(luma, drawn, place, expected.rows)
    if own.is_like and own.misfit < DOUBTFUL:
        return
    if is_flat(luma):
        is_field = float(luma.mean()) > 0.02 and float(luma.std()) < _SNOW
        raise OtherPatternError(asked, "field" if is_field else None)
    best = _best_look(subject)
    # Some patterns are nearly the mirror image of another.
    _refuse_mirrored(subject, _CLEARLY * min(own.misfit, 1.0 if best is None else best.misfit))
    if best is not None and best.pattern.id != asked and best.misfit < _CLEARLY * own.misfit:
        raise _other(asked, best)
    if not own.is_like:
        raise _other(asked, None)


def _best_look(subject: Subject) -> Look | None:
    return best_look(subject.frame, subject.reference.signal, subject.reference.format, subject.others())


def _other(asked: str, look: Look | None) -> OtherPatternError:
    return OtherPatternError(asked, None if look is None else look.pattern.id)


def _refuse_mirrored(subject: Subject, most: float) -> None:
    """A picture seen as in a mirror is the pattern yet, but nothing in it lies where it is measured."""
    luma, asked = subject.luma, subject.pattern.id
    for words, turned in (
        ("left and right", luma[:, ::-1]),
        ("top and bottom", luma[::-1]),
        ("left and right, top and bottom", luma[::-1, ::-1]),
    ):
        for place in subject.usual_places:
            found = likeness(turned, subject.drawn, place)
            if found.is_like and found.misfit < min(most, _MIRRORED):
                raise OtherPatternError(asked, asked, words)
