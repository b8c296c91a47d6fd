"""What a pattern cannot show in a capture, so that nobody takes a pass for more than it is."""

from __future__ import annotations

from fractions import Fraction

from analysis.frame.findings import Blind
from analysis.frame.levels import Frame, Reference
from analysis.frame.place.axes import Registration
from patterns.formats import FORMATS, FieldOrder
from patterns.scene import Box, Gradient, Pulse, Rule, Scene, Shape, Wave
from patterns.signal import Range

__all__ = ["cannot_show"]


def cannot_show(frame: Frame, reference: Reference, place: Registration) -> tuple[Blind, ...]:
    """What the reference's scene does not show in this frame, whose raster lies at `place`."""
    scene, fmt = reference.scene, reference.format
    shapes = scene.at(Fraction(0))
    return (
        *_levels(reference),
        *([Blind.PLACE_ACROSS] if not _changes(scene, shapes, across=True) else []),
        *([Blind.PLACE_DOWN] if not _changes(scene, shapes, across=False) else []),
        *_detail(reference, shapes),
        *_scan(frame, reference, has_lines=_changes(scene, shapes, across=False)),
        *([Blind.SCALED] if _is_resampled(place, (fmt.width, fmt.height)) else []),
    )


def _levels(reference: Reference) -> list[Blind]:
    scene, signal = reference.scene, reference.signal
    levels = [
        float(part) for patch in scene.patches for part in (patch.colour.red, patch.colour.green, patch.colour.blue)
    ]
    full = signal.range is Range.FULL
    found = []
    if min(levels, default=0.0) < 0:
        found += [Blind.BELOW_BLACK_FULL] if full else []
    else:
        found.append(Blind.BELOW_BLACK)
    if max(levels, default=0.0) > 1:
        found += [Blind.ABOVE_WHITE_FULL] if full else []
    else:
        found.append(Blind.ABOVE_WHITE)
    if not reference.has_colour:
        found.append(Blind.COLOURS)
    greys = {float(patch.colour.green) for patch in scene.patches if patch.colour.is_neutral}
    sloped = any(patch.sloped for patch in scene.patches)
    if len(greys) < 4 and not sloped:
        found.append(Blind.GREYS)
    return found


def _changes(scene: Scene, shapes: tuple[Shape, ...], *, across: bool) -> bool:
    """Whether anything in the picture changes along the lines, or from line to line."""
    for shape in shapes:
        if isinstance(shape, Box | Gradient | Wave | Pulse):
            if isinstance(shape, Gradient | Pulse) and across:
                return True
            first, last = (
                (shape.top, shape.bottom)
                if not across
                else (Fraction(0), Fraction(1))
                if isinstance(shape, Gradient | Pulse)
                else (shape.left, shape.right)
            )
            if first > 0 or last < 1:
                return True
        elif not isinstance(shape, Rule) or shape.vertical is across or shape.start > 0 or shape.stop < 1:
            return True
    return False


def _detail(reference: Reference, shapes: tuple[Shape, ...]) -> list[Blind]:
    found = []
    if not _changes(reference.scene, shapes, across=True) or all(isinstance(shape, Gradient) for shape in shapes):
        found.append(Blind.DETAIL)
    elif not any(isinstance(shape, Wave) for shape in shapes):
        found.append(Blind.DETAIL_LIMITED)
    levels = {
        part for patch in reference.scene.patches for part in (patch.colour.red, patch.colour.green, patch.colour.blue)
    }
    if reference.signal.range is Range.FULL and levels <= {Fraction(0), Fraction(1)} and Blind.DETAIL not in found:
        found.append(Blind.HALOS)
    return found


def _scan(frame: Frame, reference: Reference, *, has_lines: bool) -> list[Blind]:
    fmt, tags = reference.format, frame.picture.tags
    found = []
    if fmt.interlaced:
        found += [Blind.FIELDS_IN_TIME] if has_lines else [Blind.FIELDS]
    alike = {one.interlaced for one in FORMATS.values() if (one.width, one.height) == (tags.width, tags.height)}
    # A file that has fields, or says that it has none, is no mere size.
    says = tags.field_order is not None and tags.field_order is not FieldOrder.PROGRESSIVE
    if len(alike) > 1 and not (says and fmt.interlaced) and "format" not in frame.provenance:
        found.append(Blind.SCAN)
    return found


def _is_resampled(place: Registration, raster: tuple[int, int]) -> bool:
    """Whether the frame is no frame of the format: its samples were computed anew, by the player or by the capture."""
    if (place.x.frame, place.y.frame) == raster:
        return False
    return any(abs(axis.scale - 1) * axis.raster > 1.5 for axis in (place.x, place.y))
