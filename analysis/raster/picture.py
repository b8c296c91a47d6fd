"""The photograph with what was measured in it: `measure geometry --picture` and `measure convergence --picture`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analysis.answer import Answer
from analysis.drawing.canvas import GREEN, GUN_INK, Canvas, Line, Plate, stacked, words_strip
from analysis.drawing.palette import BLUE, ORANGE, QUIET
from analysis.lens.model import Lens
from analysis.photo.file import Photo
from analysis.photo.marks import SeenMarks
from analysis.photo.notes import read_notes
from analysis.raster.answer import amount, convergence_finding, linearity_finding, shape_finding, worst_zone
from analysis.raster.backdrop import Backdrop, backdrop
from analysis.raster.convergence import AGAINST_GREEN, Convergence, zones
from analysis.raster.geometry.figures import Geometry
from analysis.raster.geometry.overscan import SIDES
from analysis.raster.ideal import MOST_LARGER, MOST_LARGER_GUNS, Ideal, exaggeration, ideal_of, to_photo
from analysis.raster.measure import RasterPhoto
from analysis.raster.placing import OnGlass
from analysis.raster.unplaced import GREEN as GREEN_GUN
from analysis.rounding import decimals, unsigned

__all__ = ["Sighting", "convergence_picture", "geometry_picture"]

Floats = NDArray[np.float64]

_FINE = 41
"""Points along a line that a lens may bend."""
_ROOM = (19, 5)
"""Characters and lines of the widest and highest plate."""
_ARROW_ROOM = 2.2
"""Sizes of type between arrows, at least."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Sighting:
    """What a page is drawn from besides the figures."""

    photo: Photo
    on: OnGlass
    marks: SeenMarks | None
    lens: Lens | None
    """That of just this photograph; None where none is known."""
    title: str
    """The file, and what was shown."""
    notes: tuple[str, ...] = ()

    @classmethod
    def of(cls, seen: RasterPhoto, answer: Answer) -> Sighting:
        """What an answer was measured in."""
        photo, lens = seen.photo, seen.lens
        return cls(
            photo=photo,
            on=seen.on,
            marks=None if seen.marks is None else seen.marks.seen,
            lens=None if lens is None else lens.for_photo(photo.size, read_notes(photo.path).orientation),
            title=": ".join(answer.subject),
            notes=answer.remarks,
        )


def geometry_picture(sight: Sighting, found: Geometry) -> Image.Image:
    """The ideal grid, the found crossings, and their errors as arrows; figures at the sides. Mode RGB."""
    heading = [Line(shape_finding(found), larger=1.35)]
    if found.grid.placed:
        heading.append(Line(linearity_finding(found)))
    if found.smooth is None:
        return _without(sight, heading, found.reasons["terms"])
    ideal = ideal_of(found.grid, found.gun, found.picture_aspect)
    drawing = _Drawing.of(sight, ideal)
    errors = ideal.errors()
    every = drawing.every()
    factor = exaggeration(errors, ideal.cell * every, MOST_LARGER)
    drawing.grid(BLUE)
    drawing.back.outline_marks(sight.marks)
    drawing.arrows(ideal.wanted(), errors * factor, ORANGE, every)
    drawing.crossings(sight.on.seen.nodes[found.gun])
    drawing.back.canvas.plates(_side_plates(drawing, found))
    heading += [Line(_size_words(found)), Line(sight.title, QUIET)]
    key = _Key(drawing, factor, every)
    parts = [key.ideal("where lines would be if straight, square and even, at the measured place, size and turn")]
    parts.append(key.crossing("a crossing that was found" if ideal.grid.placed else "a crossing, as it was found"))
    parts.append(key.arrow(ORANGE, "a crossing's error"))
    if sight.marks is not None:
        parts.append(key.mark())
    return stacked([_strip(drawing, heading), _image(drawing), *parts, *_notes(drawing, sight)])


def convergence_picture(sight: Sighting, found: Convergence) -> Image.Image:
    """Where red and blue lie against green at every node, as arrows. Mode RGB."""
    heading = [Line(convergence_finding(found), larger=1.35)]
    if found.height is None:
        return _without(sight, heading, found.reasons["parts"])
    ideal = ideal_of(found.grid, GREEN_GUN, found.picture_aspect)
    drawing = _Drawing.of(sight, ideal)
    every = drawing.every()
    factor = exaggeration(found.offsets, ideal.cell * every, MOST_LARGER_GUNS)
    drawing.circle(found.picture_aspect)
    drawing.back.outline_marks(sight.marks)
    for k, gun in enumerate(AGAINST_GREEN):
        drawing.arrows(ideal.nodes, found.offsets[k] * factor, GUN_INK[gun], every, hollow=gun == "blue")
    drawing.back.canvas.plates(_worst_plates(drawing, found, factor))
    heading += [Line(_most_words(found)), Line(sight.title, QUIET)]
    key = _Key(drawing, factor, every)
    parts = [
        key.arrow(GUN_INK[gun], f"{gun} against green", hollow=gun == "blue")
        for gun in AGAINST_GREEN
        if gun in found.maps
    ]
    parts.append(key.circle())
    if sight.marks is not None:
        parts.append(key.mark())
    return stacked([_strip(drawing, heading), _image(drawing), *parts, *_notes(drawing, sight)])


# --- In the photograph ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, kw_only=True)
class _Drawing:
    """A canvas with the photograph, on which places on the glass can be found."""

    back: Backdrop
    ideal: Ideal
    sight: Sighting

    @classmethod
    def of(cls, sight: Sighting, ideal: Ideal) -> _Drawing:
        pixels = to_photo(sight.on, ideal, sight.lens)
        corners = pixels(ideal.at(*np.meshgrid(np.array([-1.0, 0, 1]), np.array([-1.0, 0, 1]))).reshape(-1, 2))
        seen = [part.reshape(-1, 2) for part in (sight.on.seen.nodes, sight.on.seen.level_ends, corners)]
        return cls(back=backdrop(sight.photo, np.concatenate(seen), sight.marks, _ROOM), ideal=ideal, sight=sight)

    def place(self, glass: Floats) -> Floats:
        """(..., 2) of the canvas for places on the glass."""
        return self.back.place(to_photo(self.sight.on, self.ideal, self.sight.lens)(glass))

    def grid(self, ink: tuple[int, int, int]) -> None:
        along = np.linspace(-1, 1, _FINE)
        for u in self.ideal.shown.u:
            self.back.canvas.line(self.place(self.ideal.at(np.full(_FINE, u), along)), ink)
        for v in self.ideal.shown.v:
            self.back.canvas.line(self.place(self.ideal.at(along, np.full(_FINE, v))), ink)

    def every(self) -> int:
        """Of how many lines one has its errors drawn: arrows need room."""
        return max(1, math.ceil(_ARROW_ROOM * self.back.canvas.base / self.longest(self.ideal.cell)))

    def arrows(
        self, starts: Floats, ways: Floats, ink: tuple[int, int, int], every: int, *, hollow: bool = False
    ) -> None:
        begin, end = self.place(starts), self.place(starts + ways)
        head = 0.35 * every * self.longest(self.ideal.cell)
        # The middle lines are among those that are drawn.
        rows, columns = (np.arange(size) % every == size // 2 % every for size in starts.shape[:2])
        drawn = np.isfinite(begin + end).all(axis=-1) & rows[:, None] & columns
        for i, j in np.argwhere(drawn):
            self.back.canvas.arrow(begin[i, j], end[i, j], ink, head=head, hollow=hollow)

    def crossings(self, pixels: Floats) -> None:
        radius = min(0.22 * self.back.canvas.base, 0.12 * self.longest(self.ideal.cell))
        for place in self.back.place(pixels[np.isfinite(pixels).all(axis=-1)]):
            self.back.canvas.ring(place, radius, (255, 255, 255), max(1, self.back.canvas.thin // 2))

    def circle(self, aspect: float) -> None:
        """The circle whose diameter is the picture height, as it lies on the glass."""
        turn = np.linspace(0, 2 * np.pi, 181)
        around = self.ideal.smooth.at(np.cos(turn) / aspect, np.sin(turn))
        self.back.canvas.line(self.place(around), (235, 235, 235))

    def longest(self, length: float) -> float:
        """Samples of the canvas that a length on the glass takes, level, in the picture's middle."""
        way = self.ideal.across / np.hypot(*self.ideal.across) * length / 2
        ends = self.place(np.stack([self.ideal.centre - way, self.ideal.centre + way]))
        return float(np.hypot(*(ends[1] - ends[0])))


def _side_plates(drawing: _Drawing, found: Geometry) -> list[Plate]:
    """The figures of each side beside its middle, outside the picture."""
    unit, key = ("mm", "edge_sag_mm") if found.grid.placed else ("%", "edge_sag_percent")
    plates: list[Plate] = []
    canvas = drawing.back.canvas
    out = {"left": (-1, 0), "right": (1, 0), "top": (0, -1), "bottom": (0, 1)}
    for side in SIDES:
        lines = [side]
        sag, uncertainty = found.figures[f"{key}.{side}"], found.uncertainty[f"{key}.{side}"]
        bend = amount(sag, uncertainty, unit)
        straight = abs(sag) < 2 * uncertainty
        lines.append(
            f"straight within {amount(max(2 * uncertainty, 0.01), None, unit)}"
            if straight
            else f"bends {'in' if sag > 0 else 'out'} {bend}"
        )
        hidden = f"overscan_percent.{side}"
        if hidden in found.figures:
            lines.append(f"hidden {unsigned(found.figures[hidden], decimals(found.uncertainty[hidden], 2))} %")
        u, v = out[side]
        x, y = drawing.place(drawing.ideal.at(np.array(float(u)), np.array(float(v))))
        wide, high = (max(len(line) for line in lines) * 0.62 * canvas.base, len(lines) * 1.2 * canvas.base)
        gap = 1.2 * canvas.base
        plates.append(Plate(lines, (x + u * (wide / 2 + gap), y + v * (high / 2 + gap)), BLUE))
    return plates


def _worst_plates(drawing: _Drawing, found: Convergence, factor: int) -> list[Plate]:
    """The distance of each gun where it is largest, beside the longest arrow of that zone."""
    unit = "mm" if found.grid.placed else "%"
    shown = found.grid.shown
    places = zones(*np.meshgrid(shown.u, shown.v), found.picture_aspect)
    plates: list[Plate] = []
    canvas = drawing.back.canvas
    sizes = np.hypot(found.offsets[..., 0], found.offsets[..., 1])
    for k, gun in enumerate(AGAINST_GREEN):
        worst = worst_zone(found, gun)
        if worst is None:
            continue
        zone, most, uncertainty = worst
        inside = np.where(places[zone] & np.isfinite(sizes[k]), sizes[k], -1.0)
        i, j = np.unravel_index(int(np.argmax(inside)), inside.shape)
        x, y = drawing.place(drawing.ideal.nodes[i, j])
        if sizes[k, i, j] * factor > 0.1 * drawing.ideal.cell:
            words = f"{gun} {amount(most, uncertainty, unit)}"
            # Beside it on the way out, red's above and blue's below: they may stand at the same crossing.
            out = -1 if x < drawing.place(drawing.ideal.centre)[0] else 1
            away = (0.31 * len(words) + 1.2) * canvas.base
            below = (-0.8 if k == 0 else 0.8) * canvas.base
            plates.append(Plate([words], (x + out * away, y + below), GUN_INK[gun]))
    return plates


# --- Above and below --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Key:
    """The signs that are drawn, each with its words, as strips of the page."""

    drawing: _Drawing
    factor: int
    every: int

    @property
    def _width(self) -> int:
        return self.drawing.back.canvas.size[0]

    def _row(self, draw: Sequence[tuple[str, tuple[int, int, int]]], text: str, length: float = 0.0) -> Image.Image:
        base = self.drawing.back.canvas.base
        reach = max(3.0 * base, length)
        margin = round(base + reach + base)
        strip = words_strip([Line(text)], self._width, base, margin=margin, space=0.5)
        canvas = Canvas(np.array(strip), base)
        y = strip.height / 2
        start, end = np.array([float(base), y]), np.array([base + reach, y])
        for sign, ink in draw:
            if sign == "line":
                canvas.line(np.array([start, end]), ink)
            elif sign == "ring":
                canvas.ring((start + end) / 2, 0.22 * base, ink, max(1, canvas.thin // 2))
            elif sign == "mark":
                half = np.full(2, 0.45 * base)
                canvas.line(
                    np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half + (start + end) / 2,
                    ink,
                    2 * canvas.thin,
                    closed=True,
                )
            elif sign == "cross":
                canvas.cross((start + end) / 2, ink)
            elif sign == "circle":
                canvas.ring((start + end) / 2, 0.5 * base, ink)
            else:
                canvas.arrow(start, start + np.array([length, 0.0]), ink, hollow=sign == "hollow")
        return Image.fromarray(canvas.samples)

    def ideal(self, text: str) -> Image.Image:
        return self._row([("line", BLUE)], text)

    def crossing(self, text: str) -> Image.Image:
        return self._row([("ring", (255, 255, 255))], text)

    def mark(self) -> Image.Image:
        marks = self.drawing.sight.marks
        sign = "cross" if marks is None or marks.corners is None else "mark"
        return self._row([(sign, GREEN)], "a corner mark")

    def circle(self) -> Image.Image:
        return self._row([("circle", (235, 235, 235))], "the centre zone: its diameter is the picture's height")

    def arrow(self, ink: tuple[int, int, int], text: str, *, hollow: bool = False) -> Image.Image:
        """With the length that the arrow has for a round error."""
        unit = "mm" if self.drawing.ideal.grid.placed else "% of the picture's height"
        room = 0.9 * self.every * self.drawing.ideal.cell
        shown = _round_below(room / self.factor)
        length = self.drawing.longest(shown * self.factor)
        often = {1: "", 2: ", at every second line"}.get(self.every, f", at every {self.every}th line")
        return self._row(
            [("hollow" if hollow else "full", ink)],
            f"{text}, drawn {self.factor} times as large{often}; this long it is {shown:g} {unit}",
            length,
        )


def _round_below(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above the value."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1, 2, 5) if step * power <= value * 1.0001)


def _size_words(found: Geometry) -> str:
    figures, uncertainty = found.figures, found.uncertainty
    if found.grid.straight and not found.grid.placed:
        return "No length is known: all is in % of the picture's height"
    if not found.grid.placed:
        return "Without marks: bends in % of the picture's height, and what is hidden; all else needs marks"

    sides = " x ".join(unsigned(figures[name], decimals(uncertainty[name])) for name in ("width_mm", "height_mm"))
    if "centre_mm.0" not in figures:
        return f"Picture {sides} mm"
    (x, y), (dx, dy) = ((some["centre_mm.0"], some["centre_mm.1"]) for some in (figures, uncertainty))
    across = f"{unsigned(abs(x), decimals(dx))} mm {'right' if x > 0 else 'left'} of"
    down = f"{unsigned(abs(y), decimals(dy))} mm {'below' if y > 0 else 'above'}"
    turn, doubt = figures["rotation_deg"], uncertainty["rotation_deg"]
    way = "clockwise" if turn > 0 else "anticlockwise"
    of = "marks' or glass's" if found.grid.straight else "marks'"
    return (
        f"Picture {sides} mm; its middle {across} and {down} the {of} middle; turned "
        f"{unsigned(abs(turn), decimals(doubt))} degrees {way}"
    )


def _most_words(found: Convergence) -> str:
    kind, unit = ("mm", "mm") if found.grid.placed else ("percent", "% of the picture's height")
    places = {f"centre_max_{kind}": "in the centre zone", f"overall_max_{kind}": "anywhere"}
    sizes = (
        f"{amount(found.figures[name], found.uncertainty[name], unit)} {where}"
        for name, where in places.items()
        if name in found.figures
    )
    return f"At most {', '.join(sizes)}"


def _strip(drawing: _Drawing, lines: Sequence[Line]) -> Image.Image:
    return words_strip(lines, drawing.back.canvas.size[0], drawing.back.canvas.base)


def _image(drawing: _Drawing) -> Image.Image:
    return Image.fromarray(drawing.back.canvas.samples)


def _notes(drawing: _Drawing, sight: Sighting) -> list[Image.Image]:
    return [_strip(drawing, [Line(f"Note: {words}", QUIET) for words in sight.notes])] if sight.notes else []


def _without(sight: Sighting, heading: Sequence[Line], reason: str) -> Image.Image:
    """The photograph alone, where there is nothing to draw."""
    width, height = sight.photo.size
    edges = np.array([[0.0, 0.0], [width - 1.0, height - 1.0]])
    back = backdrop(sight.photo, edges, sight.marks, (0, 0))
    back.outline_marks(sight.marks)
    lines = [*heading, Line(reason), Line(sight.title, QUIET)]
    above = words_strip(lines, back.canvas.size[0], back.canvas.base)
    return stacked([above, Image.fromarray(back.canvas.samples)])
