"""The cue sheet of a kit: one page to work by, on paper, on a phone or at the bench, with nothing to load."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from analysis.waveform.reading import line_times
from patterns.formats import FieldOrder, Format, format_words
from patterns.pattern import Area, Stage
from patterns.signal import Colour, Range, Signal
from patterns.timing import Timing
from render.preview import preview, preview_png
from trueraster.kit.plan import Item
from trueraster.kit.rates import LineRates, ranges_text
from trueraster.kit.wave import wave_svg
from trueraster.kit.words import given_words
from trueraster.levels import component_millivolts, distinct_patches
from trueraster.options.cells import cells_words
from trueraster.output.cautions import CAUTIONS, cautions_for
from trueraster.output.page import data_uri, minus, rendered

__all__ = ["STAGES", "cue_sheet", "levels_of", "stage_of"]

STAGES = {
    Stage.SIGNAL: "Signal",
    Stage.RESPONSE: "Response",
    Stage.BLACK_AND_CONTRAST: "Black level and contrast",
    Stage.FOCUS: "Focus",
    Stage.PURITY: "Purity",
    Stage.GEOMETRY: "Geometry",
    Stage.CONVERGENCE: "Convergence",
    Stage.GREY_SCALE: "Grey scale",
    Stage.MOTION: "Motion and flicker",
}
"""The stages of the order of work, as headings."""

_WAYS = {
    Stage.CONVERGENCE: "Static first, in the middle; then dynamic, at the edges and corners; then static again.",
    Stage.GREY_SCALE: "Low first (steps near black), then high (steps near white); repeat until both stay.",
}
"""How to go about a stage. Common practice, no source."""

_MOST_DETAILED = 14
"""Files whose rows on the first page say what a correct picture looks like, and what to adjust; more have no room."""
_PICTURE_HEIGHT = 180
"""Of the small pictures; enough for 45 mm on paper."""


def stage_of(order: int) -> int:
    """The stage that a place in the order of work belongs to."""
    return max(stage for stage in STAGES if stage <= order)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """The measurable levels of a file as a table of words.

    `groups` are the headings over one or several columns each, after that of the patch; `columns` the names in them.
    """

    groups: tuple[tuple[str, int], ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def is_narrow(self) -> bool:
        """Whether each group is one column."""
        return all(span == 1 for _, span in self.groups)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One file on the sheet."""

    item: Item
    title: str
    picture: str
    """A data: URI."""
    size: tuple[int, int]
    wave: tuple[str, str] | None
    """An inline SVG of the line in the picture's middle, and its caption."""
    levels: Levels | None
    same_levels: str | None
    """The number of the earlier step that has the same table."""
    cells: str
    """How far a grid's cells are from equal squares, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One format on the sheet."""

    index: int
    format: Format
    name: str
    line_rate: str | None
    """For the heading; None where the player chooses it."""
    facts: tuple[tuple[str, str], ...]
    stages: tuple[tuple[str, str, tuple[_Step, ...]], ...]
    """Heading, how to go about it (or nothing), files."""


def cue_sheet(title: str, items: Sequence[Item], program: str, accepted: Sequence[LineRates] | None = None) -> str:
    """The page as HTML; it needs no other file and no network.

    `accepted` are the line rates that the set takes, if they were stated.
    """
    parts = tuple(_parts(items))
    identity = hashlib.sha256("\n".join(item.name for item in items).encode()).hexdigest()[:16]
    return rendered(
        "cue-sheet.html",
        title=title,
        program=program,
        parts=parts,
        count=len(items),
        carrier=items[0].order.carrier,
        seconds=items[0].order.seconds,
        identity=identity,
        proving=_proving(items),
        proving_aspect=_aspect_option(_proving(items).order.format),
        accepted=None if accepted is None else ranges_text(accepted),
        cautions=cautions_for(moves=any(_moves(item) for item in items)),
        danger=CAUTIONS[0],
        detailed=len(items) <= _MOST_DETAILED,
    )


def _moves(item: Item) -> bool:
    return not item.scene.is_still or item.order.pattern.area is Area.MOTION


def _proving(items: Sequence[Item]) -> Item:
    """The file that proves the signal best: the first with levels of many colours, else the first of all."""
    return next((item for item in items if item.order.pattern.id == "bars"), items[0])


def _aspect_option(fmt: Format) -> str:
    """What a command needs to be told beside the format's name, with a blank before it."""
    aspect = format_words(fmt).removeprefix(fmt.id).strip()
    return f" --aspect {aspect}" if aspect else ""


def _parts(items: Sequence[Item]) -> Iterator[_Part]:
    # Only identical tables are not repeated, whatever the format.
    seen: dict[Levels, str] = {}
    for index, (_, group) in enumerate(groupby(items, key=lambda item: item.order.format.id), 1):
        own = list(group)
        # The slate heads the format, whatever its place in the order of work.
        stages = tuple(
            (STAGES[stage], _WAYS.get(stage, ""), tuple(_step(item, seen) for item in of_stage))
            for stage, of_stage in groupby(own, key=lambda item: stage_of(item.order.pattern.order))
        )
        fmt = own[0].order.format
        facts = tuple(_facts(fmt, own[0].order.signal))
        rate = None if fmt.timing is None else _khz(fmt.timing)
        yield _Part(index=index, format=fmt, name=format_words(fmt), line_rate=rate, facts=facts, stages=stages)


def _step(item: Item, seen: dict[Levels, str]) -> _Step:
    order = item.order
    levels = levels_of(item)
    same = None if levels is None else seen.setdefault(levels, item.number)
    picture = preview(order.pattern, order.format, order.options, height=_PICTURE_HEIGHT, signal=order.signal)
    return _Step(
        item=item,
        title=", ".join([order.pattern.title, *given_words(order).values()]),
        picture=data_uri("image/png", preview_png(picture)),
        size=picture.size,
        wave=wave_svg(item),
        levels=levels if same == item.number else None,
        same_levels=same if same != item.number else None,
        cells=cells_words(order.format, item.scene),
    )


def _facts(fmt: Format, signal: Signal) -> Iterator[tuple[str, str]]:
    timing = fmt.timing
    yield "Line rate", "fixed by the player" if timing is None else _khz(timing)
    yield "Field rate" if fmt.interlaced else "Frame rate", f"{float(fmt.field_rate):.3f} Hz"
    if fmt.field_order is FieldOrder.PROGRESSIVE:
        scan = "progressive"
    else:
        scan = f"interlaced, {fmt.field_order.value} field first"
    if timing is not None:
        yield "Line", _line_words(fmt)
    yield "Raster", f"{fmt.width} × {fmt.height}, {scan}"
    yield "Picture", f"{fmt.picture_aspect.numerator}:{fmt.picture_aspect.denominator}"
    black, white = (signal.codes(Colour.grey(level))[0] for level in (0, 1))
    coding = "R′G′B′" if signal.sampling.is_rgb else f"Y′CbCr {':'.join(signal.sampling.value)}, BT.{signal.matrix}"
    yield "Files", f"{coding}, {signal.bits} bits, {signal.range} range: black {black}, white {white}"


def _khz(timing: Timing) -> str:
    return f"{float(timing.line_rate_hz) / 1000:.3f} kHz"


def _line_words(fmt: Format) -> str:
    """What an oscilloscope shows of one line, in the order of the trace; of tri-level sync both halves."""
    at = line_times(fmt)
    lasts = {
        "front porch": at.line + at.sync_start - at.active_stop,
        "sync": at.sync_stop - at.sync_start,
        "back porch": at.active_start - at.sync_stop,
        "active": at.active_stop - at.active_start,
    }
    return f"{at.line:.2f} µs: {', '.join(f'{name} {value:.2f}' for name, value in lasts.items())}"


def levels_of(item: Item) -> Levels | None:
    """The measurable levels of a file: in %, in 8-bit codes of a narrow-range interface, in the file's own codes
    where they are others, and in millivolts of a component interface without setup. None where there are none.
    """
    found = distinct_patches(item.scene)
    if not found:
        return None
    signal = item.order.signal
    narrow = replace(signal, range=Range.NARROW, bits=8)
    depths = [("8 bits", narrow)]
    if (signal.range, signal.bits) != (narrow.range, narrow.bits):
        depths.append((f"{signal.bits} bits, {signal.range}", signal))
    grey = all(colour.is_neutral for colour in found)
    span = 1 if grey else 3
    groups = [("%", ("R′", "G′", "B′"))]
    groups += [(name, signal.components) for name, _ in depths]
    groups.append(("mV", ("Y′", "P′B", "P′R")))
    rows = []
    for colour, name in found.items():
        levels = (colour.red, colour.green, colour.blue)
        row = [_plain(name, alone=len(found) == 1), *(_short(100 * level) for level in levels[:span])]
        for _, coded in depths:
            row += [str(code) for code in coded.codes(colour)[:span]]
        row += [_number(f"{float(value):.1f}") for value in component_millivolts(colour, signal.matrix)[:span]]
        rows.append(tuple(row))
    return Levels(
        groups=tuple((name, span) for name, _ in groups),
        columns=() if grey else tuple(letter for _, letters in groups for letter in letters),
        rows=tuple(rows),
    )


_PLACES = r"above|below|top|bottom|upper|lower|inside"


def _plain(name: str, alone: bool) -> str:
    """A patch's name without its place; what has no other name is the ground, or all there is."""
    kind = re.sub(rf",? ({_PLACES}|\d+,\d+|row \d+)$|(?<=^line) \d+$", "", name)
    return ("whole picture" if alone else "ground") if re.fullmatch(_PLACES, kind) else minus(kind)


def _short(percent: Fraction) -> str:
    return _number(f"{float(percent):.2f}".rstrip("0").rstrip("."))


def _number(text: str) -> str:
    """With a minus sign as it is set, and no negative nought."""
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", "−")
