"""Photographs of plain fields with the zones, their figures and the blotches drawn in: `measure uniformity --picture`.

One panel for each field, one below the other: a heading, the lit area of the photograph, and a key of its blotches.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image, ImageDraw

from analysis.answer import SERVICE
from analysis.drawing.labels import ADVANCE, line_height, padding, wrapped
from analysis.drawing.palette import BLUE, DARK, GROUND, ORANGE, QUIET, RULE, TEXT, Rgb, font, plain
from analysis.photo.file import Photo
from analysis.uniformity.answer import advise_uniformity, field_finding
from analysis.uniformity.map import Floats
from analysis.uniformity.measure import Blotch, Field, Uniformity, Zone

if TYPE_CHECKING:
    from PIL import Image, ImageDraw

__all__ = ["uniformity_picture"]

_WIDTH = 1600
"""Of the page, in samples."""
_TALLEST = 1300
"""Of a shown photograph."""
_BORDER = 0.07
"""Shown around the lit area, as a share of its size."""
_TEXT_SIZE = 20

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class _Panel:
    """A part of a photograph at its size on the page."""

    image: Image.Image
    corner: tuple[float, float]
    """Pixel of the photograph at the left upper corner."""
    scale: float

    def place(self, points: Floats) -> Floats:
        """(..., 2) of the page's panel for pixels of the photograph."""
        return np.asarray((points - self.corner) * self.scale, np.float64)


def uniformity_picture(uniformity: Uniformity, photo_of: Callable[[Field], Photo]) -> Image.Image:
    """The page, mode RGB. `photo_of` gives the photograph of a field again: they are shown one by one."""
    parts: list[Image.Image] = []
    for field in uniformity.fields:
        parts.append(_words(_heading(field)))
        parts.append(_shown(field, _panel(field, photo_of(field))))
        parts.append(_words(_key(field)))
    parts.append(_words([_Line("What to do", TEXT, _TEXT_SIZE + 4), *_advice(uniformity)]))
    page = Image.new("RGB", (_WIDTH, sum(part.height for part in parts)), GROUND)
    top = 0
    for part in parts:
        page.paste(part, ((_WIDTH - part.width) // 2, top))
        top += part.height
    return page


# --- The photograph -------------------------------------------------------------------------------------


def _panel(field: Field, photo: Photo) -> _Panel:
    low, high = field.corners_px.min(axis=0), field.corners_px.max(axis=0)
    border = _BORDER * (high - low)
    left, top = (int(value) for value in np.maximum(low - border, 0))
    right, bottom = (int(value) for value in np.minimum(high + border + 1, photo.size))
    scale = min(_WIDTH / (right - left), _TALLEST / (bottom - top))
    codes = photo.codes[top:bottom, left:right]
    if codes.dtype == np.uint16:
        codes = (codes >> 8).astype(np.uint8)
    size = max(1, round((right - left) * scale)), max(1, round((bottom - top) * scale))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    shown = cv2.resize(np.ascontiguousarray(codes), size, interpolation=how)
    return _Panel(Image.fromarray(np.asarray(shown, np.uint8)), (left - 0.5, top - 0.5), scale)


def _shown(field: Field, panel: _Panel) -> Image.Image:
    draw = ImageDraw.Draw(panel.image)
    outlines = [panel.place(blotch.outline_px) for blotch in field.blotches]
    for line in _grid(field):
        _stroke(draw, panel.place(line), BLUE, 2)
    for outline in outlines:
        _stroke(draw, np.vstack([outline, outline[:1]]), ORANGE, 4)
    taken = [_around(outline) for outline in outlines]
    taken += [_zone_label(draw, zone, field, panel, taken) for zone in field.zones]
    for number, outline in enumerate(outlines, 1):
        _number(draw, number, outline, panel.image.size, taken)
    return panel.image


def _to_photo(field: Field, points: Floats) -> Floats:
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32)
    turn = np.asarray(cv2.getPerspectiveTransform(square, field.corners_px.astype(np.float32)), np.float64)
    over = np.concatenate([points, np.ones((*points.shape[:-1], 1))], axis=-1) @ turn.T
    return np.asarray(over[..., :2] / over[..., 2:], np.float64)


def _grid(field: Field) -> list[Floats]:
    """The zones' borders as lines in the photograph: straight ones, since perspective keeps them so."""
    steps = (-1.0, -0.6, -0.2, 0.2, 0.6, 1.0)
    lines = [np.array([[u, -1.0], [u, 1.0]]) for u in steps] + [np.array([[-1.0, v], [1.0, v]]) for v in steps]
    return [_to_photo(field, line) for line in lines]


def _stroke(draw: ImageDraw.ImageDraw, points: Floats, ink: Rgb, weight: int) -> None:
    path = [(float(x), float(y)) for x, y in points]
    # A dark seam, so that the line is seen on a ground of its own colour.
    draw.line(path, DARK, weight + 4, "curve")
    draw.line(path, ink, weight, "curve")


def _zone_label(draw: ImageDraw.ImageDraw, zone: Zone, field: Field, panel: _Panel, taken: Sequence[Box]) -> Box:
    """Draws a zone's figures, and gives where."""
    lines, marked = _zone_words(zone, field)
    size = _TEXT_SIZE
    pad = padding(size)
    wide = math.ceil(max(len(line) for line in lines) * size * ADVANCE) + 2 * pad
    high = len(lines) * line_height(size) + 2 * pad
    # In the middle, or in the corner of the zone where the least of a blotch is hidden.
    tried: list[tuple[float, int, Box]] = []
    for du, dv in ((0.0, 0.0), (0.0, -0.11), (0.0, 0.11), (-0.06, -0.11), (0.06, -0.11), (-0.06, 0.11), (0.06, 0.11)):
        x, y = panel.place(_to_photo(field, np.array([zone.u + du, zone.v + dv])))
        box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
        tried.append((sum(_common(box, other) for other in taken), len(tried), box))
    _, _, (left, top, right, bottom) = min(tried)
    draw.rectangle((left, top, right, bottom), GROUND, ORANGE if marked else RULE, 3 if marked else 1)
    for i, line in enumerate(lines):
        ink = TEXT if i == 0 else QUIET
        draw.text((left + pad, top + pad + i * line_height(size)), line, ink, font(size), "la")
    return left, top, right, bottom


def _zone_words(zone: Zone, field: Field) -> tuple[list[str], bool]:
    """The lines of a zone's label, and whether it is the one with the largest difference, beyond its uncertainty."""
    if zone.luminance_percent is None or zone.delta_uv is None:
        return ["no figure"], False
    if zone.name == "centre":
        return ["centre", "100 %"], False
    second = f"Δ {zone.delta_uv:.4f}"
    farthest = field.delta_uv
    if zone.purity is not None and field.purity is not None:
        second = f"{zone.purity.channel[0].upper()} {_signed(zone.purity.percent)} %"
        farthest = field.purity
    marked = zone.name == farthest.zone and abs(farthest.value) > 2 * farthest.sigma
    return [f"{zone.luminance_percent:.1f} %", second], marked


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−")


def _number(draw: ImageDraw.ImageDraw, number: int, outline: Floats, size: tuple[int, int], taken: list[Box]) -> None:
    """A blotch's number beside its outline."""
    text, pad = str(number), padding(_TEXT_SIZE)
    wide, high = math.ceil(len(text) * _TEXT_SIZE * ADVANCE) + 2 * pad, line_height(_TEXT_SIZE) + 2 * pad
    left, top, right, bottom = _around(outline)
    places = [(right + 4, top - high), (left - wide - 4, top - high), (right + 4, bottom), (left - wide - 4, bottom)]
    boxes = [(x, y, x + wide, y + high) for x, y in places]
    within = [b for b in boxes if b[0] >= 0 and b[1] >= 0 and b[2] < size[0] and b[3] < size[1]] or boxes[:1]
    box = min(within, key=lambda one: sum(_common(one, other) for other in taken))
    taken.append(box)
    draw.rectangle(box, ORANGE, DARK, 1)
    draw.text((box[0] + pad, box[1] + pad), text, DARK, font(_TEXT_SIZE), "la")


def _around(points: Floats) -> Box:
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _common(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)


# --- Words ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Line:
    text: str
    ink: Rgb
    size: int = _TEXT_SIZE


def _words(lines: Sequence[_Line]) -> Image.Image:
    """A strip of the page with these lines, wrapped."""
    margin = _TEXT_SIZE
    rows = [
        _Line(part, line.ink, line.size)
        for line in lines
        for part in wrapped(plain(line.text), int((_WIDTH - 2 * margin) / (line.size * ADVANCE)))
    ]
    strip = Image.new("RGB", (_WIDTH, sum(line_height(row.size) for row in rows) + margin), GROUND)
    draw = ImageDraw.Draw(strip)
    y = margin // 2
    for row in rows:
        draw.text((margin, y), row.text, row.ink, font(row.size), "la")
        y += line_height(row.size)
    return strip


def _heading(field: Field) -> list[_Line]:
    second = "Δ: difference in u'v'"
    if field.purity is not None:
        second = "below it how the share of another gun's light differs, in % of all light"
    return [
        _Line(field_finding(field), TEXT, round(_TEXT_SIZE * 1.2)),
        _Line(str(field.path), QUIET),
        _Line(
            f"In each zone: luminance in % of the centre's; {second}. Of the camera's colour; framed: the farthest.",
            QUIET,
        ),
    ]


def _key(field: Field) -> list[_Line]:
    lines = [_Line(f"{i} {_blotch_words(blotch)}", ORANGE) for i, blotch in enumerate(field.blotches, 1)]
    lines = lines or [_Line("No blotches were found.", TEXT)]
    return [*lines, *(_Line(f"Note: {words}", QUIET) for words in field.warnings)]


def _blotch_words(blotch: Blotch) -> str:
    return (
        f"{blotch.kind}: {blotch.delta_uv:.4f} u'v', {_signed(blotch.luminance_percent)} % of light, on "
        f"{blotch.area_percent:.2g} % of the area"
    )


def _advice(uniformity: Uniformity) -> list[_Line]:
    lines: list[_Line] = []
    for advice in advise_uniformity(uniformity):
        why = f"{advice.why} {SERVICE}" if advice.inside else advice.why
        lines += [_Line(advice.adjust, BLUE), _Line(why, TEXT)]
    return lines
