"""The whole investigation of a captured frame that is not simply as it was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.frame.colour_place import colour_faults, held_by_colour
from analysis.frame.expected import WOVEN, Expected, Subject
from analysis.frame.faults.diagnose import LEAST_CONFIDENCE
from analysis.frame.faults.recognise import SMALLEST, likeness
from analysis.frame.faults.spots import sample_noise
from analysis.frame.faults.structure import FieldStructure, field_structure, luma_response
from analysis.frame.faults.twins import Twins
from analysis.frame.faults.unexplained import held_by_filter, unexplained
from analysis.frame.findings import Examination, Fault, OtherPatternError
from analysis.frame.fractions import frame_ycbcr
from analysis.frame.levelfaults import Levels, levels_at
from analysis.frame.levels import check_levels
from analysis.frame.otherpattern import DOUBTFUL, refuse_other
from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.drawn import Plane
from analysis.frame.place.layout import layout_faults
from analysis.frame.place.register import register
from analysis.frame.sharpness import SHARP, SOFT, response_across, sharpness_faults
from analysis.frame.tint import tint_faults
from analysis.frame.uneven import Uneven, covered_mended, find_uneven, torn_mended
from patterns.signal import Range
from render.errors import FileError

__all__ = ["investigate"]

_ALIKE = 1e-4
"""Misfit of a place below which nothing goes better."""


def investigate(subject: Subject) -> Examination:
    """Where the raster lies in the frame, its levels, and the faults that account for what is not as drawn.

    Raises:
        FileError: the frame is too small.
        OtherPatternError: it shows another pattern, or none.
    """
    height, width = subject.luma.shape
    if min(height, width) < SMALLEST:
        raise FileError(f"{subject.frame.path}: {width}x{height} is too small to find a pattern in")
    wide = _over_all_samples(subject)
    found = _prepared(wide or subject)
    levels = _settled_levels(found)
    # What was asked for is judged on the frame as it is, with all that varies in it.
    check = check_levels(subject.frame, found.subject.reference, subject.tolerance, levels.place)
    faults = _likely(_weighed(_named(found, levels), found, levels), levels, check.passed)
    return Examination(check=check, faults=tuple(faults), reasons=_reasons(levels.place), fills_raster=wide is not None)


def _over_all_samples(subject: Subject) -> Subject | None:
    """The subject with a picture as wide as the raster, where the bars go with that clearly better; else None.

    Other generators draw bars so. A picture that was cut by just as much on both sides looks alike.
    """
    fmt = subject.reference.format
    if not subject.pattern.id.startswith("bars") or fmt.picture.width == fmt.width:
        return None
    if subject.luma.shape != (fmt.height, fmt.width):
        return None
    picture = replace(fmt.picture, left=0, width=fmt.width)
    wide = replace(subject, reference=replace(subject.reference, format=replace(fmt, picture=picture)))
    whole = Registration.whole(fmt, fmt.width, fmt.height)
    own, other = (likeness(one.luma, one.drawn, whole).misfit for one in (subject, wide))
    return wide if other < min(own / 4, _WIDE) else None


_WIDE = 2e-3
"""Misfit below which bars go with a picture as wide as the raster."""


@dataclass(frozen=True, kw_only=True)
class _Prepared:
    """A frame without what varies over it, where its raster lies, and how its fields do."""

    subject: Subject
    expected: Expected
    place: Registration
    fields: FieldStructure
    uneven: Uneven


def _prepared(subject: Subject) -> _Prepared:
    torn = torn_mended(subject)
    subject = subject if torn is None else torn[0]
    expected, place, fields = _placed(subject)
    try:
        refuse_other(expected, place)
    except OtherPatternError as error:
        covered = None if error.found or torn else covered_mended(subject)
        if covered is None:
            raise
        subject, torn = covered[0], covered
        expected, place, fields = _placed(subject)
        refuse_other(expected, place)
    place = held_by_filter(subject.luma, expected.luma, held_by_colour(expected, place))
    uneven = find_uneven(expected, _settled(subject, place), None if torn is None else torn[1])
    if uneven.frame is not subject.frame:
        # What varies is no fault of level, of place or of fields, and would be taken for one.
        subject = replace(subject, frame=uneven.frame)
        expected, place, fields = _placed(subject)
    return _Prepared(subject=subject, expected=expected, place=place, fields=fields, uneven=uneven)


def _placed(subject: Subject) -> tuple[Expected, Registration, FieldStructure]:
    fmt, expected = subject.reference.format, Expected(subject=subject)
    place = _likelier(subject, register(subject.luma, expected.rows, fmt, layouts=subject.layouts))
    fields = _fields(expected, place)
    if fields.is_wrong:
        expected = Expected(subject=subject, fields=fields)
        place = register(subject.luma, expected.rows, fmt, layouts=subject.layouts)
    return expected, place, fields


def _settled_levels(found: _Prepared) -> Levels:
    subject = found.subject
    held = held_by_filter(subject.luma, found.expected.luma, held_by_colour(found.expected, found.place))
    levels = levels_at(found.expected, _settled(subject, held), found.uneven)
    if levels.faults and not subject.states_signal and held is found.place:
        # A tone that is bent, or colours that are others, move an edge's middle: the place is found again with the
        # raster as the chain made it.
        likest = _likest(levels.expected, levels.place)
        again = register(subject.luma, likest, subject.reference.format, start=levels.place)
        levels = levels_at(levels.expected, _settled(subject, again), found.uneven)
    return levels


def _named(found: _Prepared, levels: Levels) -> list[Fault]:
    is_tinted = any(fault.id in _TINTS for fault in levels.faults)
    is_dithered = any(fault.id == "dithered" for fault in found.uneven.grain)
    # Where fields are wrong, lines are, and with them what levels are measured by.
    return [
        *_field_faults(found.fields),
        *found.uneven.faults,
        *(fault for fault in levels.faults if fault.id != "bits-lost" or not is_dithered),
        *([] if is_tinted else tint_faults(levels.expected)),
        *_layout_faults(found.subject, levels.place, found.fields),
        *_of_detail(levels, found.uneven),
        *found.uneven.grain,
    ]


_TINTS = frozenset({"channel-gain", "component-missing", "component-inverted", "chroma-lost"})
"""Faults of levels that give greys a tint."""
_LEAVE_MARKS = frozenset({"chroma-delayed", "dithered", "bits-lost", "hum", "tilt", "shading"})
"""Faults of which a part stays in the picture where its codes end, once they are taken out."""
_VARIES = frozenset({"dithered", "hum", "shading", "cross-colour"})
"""Those of them that differ from line to line."""
_UNLIKE = 0.02
"""Deviation of lines drawn alike, in fractions of white, from which they are not alike; where there is noise, or"""
_UNLIKE_NOISE = 0.6
"""so much of it: at edges noise is less certain."""
_UNSCALED = 0.01
_SHAKEN = 0.55
"""What is left of a fault's confidence where the picture has an error of another kind as well."""


def _weighed(faults: list[Fault], found: _Prepared, levels: Levels) -> list[Fault]:
    """The faults, with an error of another kind before them where nothing known makes the picture."""
    if found.uneven.spots.id == "torn" or found.subject.states_signal:
        return faults
    ids = {fault.id for fault in faults}
    differs = not ids & _VARIES and _differs_by_lines(found)
    # A filter of a scaler swings on as well.
    rings = found.uneven.rings and abs(found.place.x.scale - 1) < _UNSCALED
    if found.subject.is_coloured and levels.faults:
        # Between colours whose levels are wrong, the tone of an edge is a guess.
        rings = False
    if not (differs or rings) and (found.uneven.spots.id or ids & _LEAVE_MARKS or not _no_filter_makes(found, levels)):
        return faults
    shaken = [replace(fault, confidence=_SHAKEN * fault.confidence) for fault in faults]
    return [Fault(id="other", confidence=0.9), *shaken]


def _differs_by_lines(found: _Prepared) -> bool:
    """Whether lines that were drawn alike are not: no place, no filter along the lines and no wrong level does that."""
    subject, areas = found.subject, found.uneven.areas
    twins = Twins.of((found.expected.rows, *subject.drawn.chroma), found.place.y)
    # What was covered is made up there, without its colours.
    twins = replace(twins, kind=np.where(found.uneven.spots.wrong.any(axis=1), -1, twins.kind))
    planes = frame_ycbcr(subject.frame, subject.reference.signal)
    for plane in planes if subject.is_coloured else planes[:1]:
        noise = sample_noise(plane, areas)
        if twins.unlike(plane, areas.drawn, noise) > max(_UNLIKE, _UNLIKE_NOISE * noise):
            return True
    return False


def _no_filter_makes(found: _Prepared, levels: Levels) -> bool:
    """Whether the edges are made by no filter along the lines and no chain of levels."""
    place = levels.place
    if not (place.x.is_whole and place.y.is_whole):
        return False
    luma, noise = found.subject.luma, found.uneven.noise
    kinds = (levels.expected.luma, *levels.expected.with_other_edges)
    known = [one for drawn in kinds if (one := unexplained(luma, drawn, place, noise)) is not None]
    return bool(known) and min(known, key=lambda one: one.rms).is_another_kind


def _likely(faults: list[Fault], levels: Levels, passed: bool) -> list[Fault]:
    """What is likely enough to be named, and an error of another kind where nothing known does it."""
    likely = _shared([fault for fault in faults if fault.confidence >= LEAST_CONFIDENCE])
    other = 0.0 if levels.expected.diagnosis is None else levels.expected.diagnosis.other
    if not likely and (not passed or other > 0.5):
        likely = [Fault(id="other", confidence=max(other, 0.7))]
    elif other > LEAST_CONFIDENCE and not any(fault.of_levels or fault.id == "other" for fault in likely):
        likely.append(Fault(id="other", confidence=other))
    return likely


def _shared(faults: list[Fault]) -> list[Fault]:
    """Faults with the pattern that would decide, where several of levels account for the same."""
    rivals = [fault for fault in faults if fault.of_levels and fault.confidence < 0.9]
    if len(rivals) < 2:
        return faults
    return [
        replace(fault, parameters={**fault.parameters, "decide": "steps"}) if fault in rivals else fault
        for fault in faults
    ]


def _of_detail(levels: Levels, uneven: Uneven) -> list[Fault]:
    """What is wrong with edges and fine detail, of luma and of colour."""
    colour = colour_faults(levels.expected, levels.place, uneven)
    found = sharpness_faults(levels.expected, levels.place)
    if any(fault.id == "chroma-delayed" for fault in colour):
        # What lies beside its place looks softer there.
        found = [fault for fault in found if fault.id != "chroma-softened"]
    return colour + found


def _likelier(subject: Subject, place: Registration) -> Registration:
    """A usual place where that goes better with the frame.

    Swapped guns lead a search by luma astray, and so do words of a signal that the frame need not have.
    """
    if not (subject.is_coloured or subject.states_signal):
        return place
    own = likeness(subject.luma, subject.drawn, place).misfit
    others = [(likeness(subject.luma, subject.drawn, other).misfit, other) for other in subject.usual_places]
    misfit, other = min(others, key=lambda pair: pair[0])
    if subject.is_coloured and own > _ALIKE and misfit < own / 4:
        # A gun that is missing makes neighbouring bars alike, which go together a bar on as well.
        return other
    return other if own > DOUBTFUL and misfit < (own if subject.states_signal else own / 2) else place


def _fields(expected: Expected, place: Registration) -> FieldStructure:
    if not expected.subject.reference.format.interlaced:
        return WOVEN
    across = response_across(expected, place)
    filtered = across is not None and not SOFT < across.factor < SHARP
    return field_structure(expected.subject.luma, _likest(expected, place), place, filtered)


def _likest(expected: Expected, place: Registration) -> Plane:
    """The expected raster with the kind of edges that goes best with the frame."""
    signal = expected.subject.reference.signal
    if not (signal.sampling.is_rgb or signal.range is Range.FULL):
        return expected.luma
    planes = [expected.luma, *expected.with_other_edges]
    found = [luma_response(expected.subject.luma, plane, place) for plane in planes]
    plain = [(one.plain, i) for i, one in enumerate(found) if one is not None]
    return planes[min(plain)[1]] if plain else expected.luma


def _settled(subject: Subject, place: Registration) -> Registration:
    """The identity where nothing speaks against it: then every sample is taken for the raster's own."""
    identity = Registration.whole(subject.reference.format, *reversed(subject.luma.shape))
    usual = subject.usual_places
    place = Registration(x=_usual(place.x, [one.x for one in usual]), y=_usual(place.y, [one.y for one in usual]))
    if not identity.is_identity:
        return place
    moved = [
        axis.found
        and max(abs(axis.start), abs(axis.stop - axis.frame)) > 0.2 + 3 * max(axis.offset_error, axis.stop_error)
        for axis in (place.x, place.y)
    ]
    if any(moved):
        return place
    return Registration(
        x=replace(identity.x, softness=place.x.softness), y=replace(identity.y, softness=place.y.softness)
    )


def _usual(axis: Axis, usual: Sequence[Axis]) -> Axis:
    """What nothing shows exactly is not guessed: of the usual places the nearest one is taken."""
    if axis.found:
        return axis
    nearest = min(usual, key=lambda one: abs(one.start - axis.start) + abs(one.stop - axis.stop))
    return replace(axis, scale=nearest.scale, offset=nearest.offset)


def _field_faults(fields: FieldStructure) -> list[Fault]:
    if not fields.is_wrong:
        return []
    id = "fields-swapped" if fields.kind == "swapped" else "deinterlaced"
    return [Fault(id=id, confidence=1 - 1 / (1 + fields.gain), parameters={"way": fields.kind})]


def _layout_faults(subject: Subject, place: Registration, fields: FieldStructure) -> list[Fault]:
    near = abs(place.y.offset) < 1.5 and abs(place.x.offset) < 0.75
    figures = {
        "scale_x": place.x.scale if place.x.found else None,
        "scale_y": place.y.scale if place.y.found else None,
        "offset_x": place.x.offset if place.x.found else None,
        "offset_y": place.y.offset if place.y.found else None,
    }
    return [
        Fault(id=found.id, confidence=found.confidence, parameters={"sides": list(found.sides), **figures})
        for found in layout_faults(place, subject.layouts)
        # Fields that were dropped or swapped move lines by one.
        if not (fields.is_wrong and found.id == "shifted" and near)
    ]


def _reasons(place: Registration) -> dict[str, str]:
    names = (("x", place.x), ("y", place.y))
    text = "the pattern has no edge in this direction, so scale and place are taken as the likeliest"
    return {f"registration.{name}": text for name, axis in names if not axis.found}
