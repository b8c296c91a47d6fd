"""From a scene to planes of codes.

Drawing is done in linear steps, in codes before rounding: areas and marks are composed at the luma raster with hard
edges, transitions are shaped along the lines by a short filter, chroma is taken at its own sites, waves and pulses are
added as their equations have them. Rounding comes last and once. Rows that are alike are drawn once: a pattern of bars
has one row, a crosshatch two.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patterns.formats import FieldOrder, Format
from patterns.placement import area, rule_area
from patterns.scene import Box, Disc, Gradient, Pulse, Ring, Rule, Scene, Segment, Shape, Text, Wave
from patterns.signal import Colour, Edges, Sampling, Signal
from patterns.standards.timing import EDGE_HALF_DURATION_CHROMA, EDGE_HALF_DURATION_LUMA
from render.marks import Coverage, cover_all
from render.quantise import Plane, Planes, quantise, sample_type
from render.waves import wave_shares

__all__ = ["check_raster", "draw", "draw_frame", "frames_per_period"]

Floats = NDArray[np.float64]
Ints = NDArray[np.signedinteger[Any]]


def check_raster(fmt: Format, sampling: Sampling) -> str | None:
    """Why `fmt` cannot be sampled so, in words, or None when it can."""
    step_x, step_y = sampling.chroma_step
    step_y *= fmt.fields_per_frame if step_y > 1 else 1
    name = ":".join(sampling.value)
    if fmt.width % step_x:
        return f"{name} needs an even width, {fmt.id} is {fmt.width} wide"
    if fmt.height % step_y:
        multiple = "a multiple of 4" if step_y == 4 else "an even number"
        return f"{name} needs {multiple} of lines, {fmt.id} has {fmt.height}"
    return None


def frames_per_period(scene: Scene, fmt: Format) -> int:
    """Whole frames after which a moving scene repeats; 1 for a still one."""
    return 1 if scene.period is None else max(1, round(scene.period * fmt.frame_rate))


def draw_frame(scene: Scene, fmt: Format, signal: Signal, index: int = 0) -> Planes:
    """Frame `index` of the scene. In an interlaced format each field is drawn at its own time."""
    if scene.is_still:
        return draw(scene.at(Fraction(0)), scene.background, fmt, signal)
    count = frames_per_period(scene, fmt) * fmt.fields_per_frame
    first = index * fmt.fields_per_frame
    fields = [
        draw(scene.at(Fraction((first + i) % count, count)), scene.background, fmt, signal)
        for i in range(fmt.fields_per_frame)
    ]
    if len(fields) == 1:
        return fields[0]
    # Rows 0, 2, 4 ... belong to the top field; chroma rows of 4:2:0 alternate in the same way.
    earlier = 0 if fmt.field_order is FieldOrder.TOP else 1
    woven = fields[0]
    for plane, later in zip(woven, fields[1], strict=True):
        plane[1 - earlier :: 2] = later[1 - earlier :: 2]
    return woven


def draw(shapes: tuple[Shape, ...], background: Colour, fmt: Format, signal: Signal) -> Planes:
    """One moment of a scene as planes of codes.

    Raises:
        ValueError: the raster cannot be sampled as `signal` asks.
    """
    reason = check_raster(fmt, signal.sampling)
    if reason:
        raise ValueError(reason)
    moment = _Moment(
        background=background,
        is_neutral=all(colour.is_neutral for colour in Scene(background=background, shapes=shapes).colours),
        ground=_Ground.of(shapes, fmt),
        marks=_Marks.of(shapes, fmt),
        waves=[shape for shape in shapes if isinstance(shape, Wave | Pulse)],
    )
    first, second, third = (_plane(moment, _Part(index=i, fmt=fmt, signal=signal)) for i in range(3))
    return first, second, third


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One of the three components."""

    index: int
    fmt: Format
    signal: Signal

    @property
    def is_chroma(self) -> bool:
        return self.index > 0 and not self.signal.sampling.is_rgb

    @property
    def step(self) -> tuple[int, int]:
        """Luma samples and lines for each of its own."""
        return self.signal.sampling.chroma_step if self.is_chroma else (1, 1)

    def code(self, colour: Colour) -> float:
        """What a colour has of it, before rounding."""
        return float(self.signal.exact(colour)[self.index])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moment:
    """What is shown at one time."""

    background: Colour
    is_neutral: bool
    ground: _Ground
    marks: _Marks
    waves: list[Wave | Pulse]


@dataclass(frozen=True, slots=True)
class _Ground:
    """The areas and rules, as distinct rows."""

    group: Ints
    """(height,) which distinct row each row of the raster is."""
    rows: list[list[tuple[int, int, Box | Gradient | Rule]]]
    """For each distinct row, first and last column and shape, in drawing order."""

    @classmethod
    def of(cls, shapes: tuple[Shape, ...], fmt: Format) -> _Ground:
        spans = [
            (rule_area(fmt, shape) if isinstance(shape, Rule) else area(fmt, shape), shape)
            for shape in shapes
            if isinstance(shape, Box | Gradient | Rule)
        ]
        spans = [(span, shape) for span, shape in spans if not span.is_empty]
        cuts = sorted({0, fmt.height, *(edge for span, _ in spans for edge in (span.top, span.bottom))})
        group = np.zeros(fmt.height, np.int64)
        known: dict[tuple[int, ...], int] = {}
        rows: list[list[tuple[int, int, Box | Gradient | Rule]]] = []
        for top, bottom in itertools.pairwise(cuts):
            present = tuple(i for i, (span, _) in enumerate(spans) if span.top <= top < span.bottom)
            if present not in known:
                known[present] = len(rows)
                rows.append([(spans[i][0].left, spans[i][0].right, spans[i][1]) for i in present])
            group[top:bottom] = known[present]
        return cls(group, rows)

    def paint(self, background: Colour, part: _Part) -> Floats:
        """(distinct rows, width) values of a component, hard edges."""
        values = np.full((len(self.rows), part.fmt.width), part.code(background))
        for row, runs in zip(values, self.rows, strict=True):
            for left, right, shape in runs:
                row[left:right] = (
                    _slope(shape, left, right, part) if isinstance(shape, Gradient) else part.code(shape.colour)
                )
        return values


def _slope(shape: Gradient, left: int, right: int, part: _Part) -> Floats:
    # The slope runs over the shape's own extent, part of which the raster may cut off.
    picture = part.fmt.picture
    origin = float(picture.left + shape.left * picture.width)
    extent = float((shape.right - shape.left) * picture.width)
    share = (np.arange(left, right) + 0.5 - origin) / extent
    return part.code(shape.start) * (1 - share) + part.code(shape.stop) * share


@dataclass(frozen=True, slots=True)
class _Marks:
    """The anti-aliased shapes, and all samples that any of them touches."""

    covers: list[tuple[Coverage, Colour]]
    touched: Ints
    """Sorted flat indices (row * width + column)."""

    @classmethod
    def of(cls, shapes: tuple[Shape, ...], fmt: Format) -> _Marks:
        covers = cover_all(fmt, [shape for shape in shapes if isinstance(shape, Disc | Ring | Segment | Text)])
        flats = [coverage.flat for coverage, _ in covers]
        return cls(covers, _union(flats) if flats else np.zeros(0, np.int64))

    def difference(self, under: Floats, part: _Part) -> Floats:
        """What the marks add to the values `under` them, for each touched sample."""
        values = under.copy()
        for coverage, colour in self.covers:
            at = np.searchsorted(self.touched, coverage.flat)
            values[at] = values[at] * (1 - coverage.weights) + part.code(colour) * coverage.weights
        return values - under


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """A component without its marks and waves, as distinct rows."""

    hard: Floats
    """At the luma raster, with hard edges."""
    hard_of: Ints
    """(lines of the raster,) which of them each line is."""
    shaped: Floats
    """At the component's own samples, filtered."""
    shaped_of: Ints
    """(lines of the plane,) which of them each line is."""
    pairs: tuple[Ints, Ints, Floats] | None
    """How its lines follow from the raster's (`_line_pairs`), where it has fewer."""
    taps: Floats

    @classmethod
    def of(cls, moment: _Moment, part: _Part) -> _Rows:
        step_x, step_y = part.step
        hard, group = moment.ground.paint(moment.background, part), moment.ground.group
        rows, shaped_of, pairs = hard, group, None
        if step_y == 2:
            pairs = upper, lower, weight = _line_pairs(part.fmt)
            keys, shaped_of = np.unique(
                np.stack([group[upper], group[lower], upper % 2 * part.fmt.interlaced]), axis=1, return_inverse=True
            )
            # The weight differs between the fields, so the field is part of what makes a row distinct.
            share = np.array([weight[shaped_of == i][0] for i in range(keys.shape[1])])[:, None]
            rows = hard[keys[0]] * share + hard[keys[1]] * (1 - share)
        taps = shaping_taps(part.is_chroma, part.signal)
        shaped = _filter(rows, taps)[:, ::step_x]
        return cls(hard=hard, hard_of=group, shaped=shaped, shaped_of=shaped_of, pairs=pairs, taps=taps)


def _plane(moment: _Moment, part: _Part) -> Plane:
    fmt, signal, (step_x, step_y) = part.fmt, part.signal, part.step
    if part.is_chroma and moment.is_neutral:
        size = fmt.height // step_y, fmt.width // step_x
        return np.full(size, signal.codes(moment.background)[part.index], sample_type(signal.bits))
    rows = _Rows.of(moment, part)
    plane: NDArray[Any] = quantise(rows.shaped, signal)[rows.shaped_of]
    if len(moment.marks.touched):
        _add_marks(plane, rows, moment.marks, part)
    if not part.is_chroma:
        # Neutral: they change luma, or all of R'G'B'.
        for span, swing, share in wave_shares(moment.waves, fmt):
            lines, columns = slice(span.top, span.bottom), slice(span.left, span.right)
            added = (part.code(Colour.grey(swing)) - part.code(Colour.grey(0))) * share
            plane[lines, columns] = quantise(rows.shaped[rows.shaped_of[lines], columns] + added, signal)
    return plane


def _add_marks(plane: NDArray[Any], drawn: _Rows, marks: _Marks, part: _Part) -> None:
    """Draw the marks into `plane`: filters are linear, so only what they add is filtered, and only where it reaches."""
    fmt, step_x = part.fmt, part.step[0]
    rows, columns = np.divmod(marks.touched, fmt.width)
    added = marks.difference(drawn.hard[drawn.hard_of[rows], columns], part)
    reach = len(drawn.taps) // 2
    # Zeros are not touched until written, so a large sheet of them costs little.
    sheet = np.zeros((fmt.height, fmt.width + 2 * reach))
    sheet[rows, columns + reach] = added
    if drawn.pairs is not None:
        upper, lower, weight = drawn.pairs
        sheet = sheet[upper] * weight[:, None] + sheet[lower] * (1 - weight[:, None])
        rows = rows // 2 if not fmt.interlaced else rows // 4 * 2 + rows % 2
    sheet[:, :reach] = sheet[:, reach : reach + 1]
    sheet[:, reach + fmt.width :] = sheet[:, reach + fmt.width - 1 : reach + fmt.width]
    width = fmt.width // step_x
    near = [
        rows[at % step_x == 0] * width + at[at % step_x == 0] // step_x
        for at in (np.clip(columns + offset, 0, fmt.width - 1) for offset in range(-reach, reach + 1))
    ]
    at_row, at_column = np.divmod(_union(near), width)
    total = drawn.shaped[drawn.shaped_of[at_row], at_column]
    for i, tap in enumerate(drawn.taps):
        total = total + tap * sheet[at_row, at_column * step_x + i]
    plane[at_row, at_column] = quantise(total, part.signal)


def _union(parts: list[Ints]) -> Ints:
    """All indices of the parts, sorted, each once."""
    if len(parts) == 1:
        return parts[0]
    joined = np.sort(np.concatenate(parts), kind="stable")
    first = np.ones(len(joined), bool)
    first[1:] = joined[1:] != joined[:-1]
    return joined[first]


def _line_pairs(fmt: Format) -> tuple[Ints, Ints, Floats]:
    """For each chroma row of 4:2:0 the two luma rows that it lies between, and the weight of the first.

    Progressive: midway. Interlaced: chroma row 0 belongs to the top field, a quarter of the way between its lines;
    row 1 to the bottom field, three quarters of the way (chroma siting figures of Rec. ITU-T H.262; from memory).
    """
    rows = np.arange(fmt.height // 2)
    if not fmt.interlaced:
        return 2 * rows, 2 * rows + 1, np.full(len(rows), 0.5)
    field, pair = rows % 2, rows // 2
    upper = 4 * pair + field
    return upper, upper + 2, np.where(field == 0, 0.75, 0.25)


def shaping_taps(chroma: bool, signal: Signal) -> Floats:
    """Weights of a sample's neighbours along the line; an odd number, symmetric, with the sum 1.

    Shaped edges: the step response is an integrated sine-squared, read at the sample centres; chroma takes twice as
    long. Hard edges: none, and for subsampled chroma the mean over one chroma sample's extent.
    """
    if signal.edges is Edges.HARD:
        subsampled = chroma and signal.sampling.chroma_step[0] == 2
        return np.array([0.25, 0.5, 0.25] if subsampled else [1.0])
    half = float((EDGE_HALF_DURATION_CHROMA if chroma else EDGE_HALF_DURATION_LUMA).value)
    bounds = np.arange(-half - 0.5, half + 1)
    inside = np.clip(bounds / half, -1, 1)
    step = 0.5 + inside / 2 + np.sin(np.pi * inside) / (2 * np.pi)
    return np.diff(step)


def _filter(rows: Floats, taps: Floats) -> Floats:
    """Each row weighted with `taps`, its ends continued."""
    reach = len(taps) // 2
    if reach == 0:
        return rows
    width = rows.shape[1]
    padded = np.pad(rows, ((0, 0), (reach, reach)), mode="edge")
    total = np.zeros_like(rows)
    for i, tap in enumerate(taps):
        total += tap * padded[:, i : i + width]
    return total
