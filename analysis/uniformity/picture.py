"""Photographs of plain fields with the zones, their figures and the blotches drawn in: `measure uniformity --picture`.

One panel for each field, one below the other: a heading, the lit area of the photograph, and a key of its blotches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from analysis.answer import SERVICE
from analysis.drawing.canvas import Canvas, Line, Plate, plate_size, stacked, words_strip
from analysis.drawing.palette import BLUE, DARK, ORANGE, QUIET, RULE
from analysis.photo.file import Photo
from analysis.uniformity.answer import advise_uniformity, field_finding
from analysis.uniformity.map import Floats
from analysis.uniformity.measure import Blotch, Field, Uniformity, Zone

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

    canvas: Canvas
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
        parts += [_strip(_heading(field)), _shown(field, _panel(field, photo_of(field))), _strip(_key(field))]
    return stacked([*parts, _strip([Line("What to do", larger=1.2), *_advice(uniformity)])])


def _strip(lines: Sequence[Line]) -> Image.Image:
    return words_strip(lines, _WIDTH, _TEXT_SIZE)


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
    return _Panel(Canvas(np.asarray(shown, np.uint8), _TEXT_SIZE), (left - 0.5, top - 0.5), scale)


def _shown(field: Field, panel: _Panel) -> Image.Image:
    canvas = panel.canvas
    outlines = [panel.place(blotch.outline_px) for blotch in field.blotches]
    for line in _grid(field):
        canvas.line(panel.place(line), BLUE, 1)
    for outline in outlines:
        canvas.line(outline, ORANGE, 2 * canvas.thin, closed=True)
    taken = [_around(outline) for outline in outlines]
    plates = []
    for zone in field.zones:
        plates.append(_zone_plate(zone, field, panel, taken))
        taken.append(_box(plates[-1]))
    for number, outline in enumerate(outlines, 1):
        plates.append(_number_plate(number, outline, canvas.size, taken))
        taken.append(_box(plates[-1]))
    canvas.plates(plates)
    return Image.fromarray(canvas.samples)


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


def _zone_plate(zone: Zone, field: Field, panel: _Panel, taken: Sequence[Box]) -> Plate:
    """A zone's figures: in its middle, or in the corner of it where the least of a blotch is hidden."""
    lines, marked = _zone_words(zone, field)
    frame, weight = (ORANGE, 3) if marked else (RULE, 1)
    tried = []
    for du, dv in ((0.0, 0.0), (0.0, -0.11), (0.0, 0.11), (-0.06, -0.11), (0.06, -0.11), (-0.06, 0.11), (0.06, 0.11)):
        x, y = panel.place(_to_photo(field, np.array([zone.u + du, zone.v + dv])))
        tried.append(Plate(lines, (float(x), float(y)), frame, weight=weight))
    return min(tried, key=lambda plate: sum(_common(_box(plate), other) for other in taken))


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


def _number_plate(number: int, outline: Floats, size: tuple[int, int], taken: Sequence[Box]) -> Plate:
    """A blotch's number beside its outline."""
    wide, high = plate_size([str(number)], _TEXT_SIZE)
    left, top, right, bottom = _around(outline)
    middles = [(x, y) for x in (right + 4 + wide / 2, left - 4 - wide / 2) for y in (top - high / 2, bottom + high / 2)]
    tried = [Plate([str(number)], middle, DARK, ground=ORANGE) for middle in middles]
    within = [plate for plate in tried if _is_within(_box(plate), size)] or tried[:1]
    return min(within, key=lambda plate: sum(_common(_box(plate), other) for other in taken))


def _box(plate: Plate) -> Box:
    (x, y), (wide, high) = plate.middle, plate_size(plate.lines, _TEXT_SIZE)
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _is_within(box: Box, size: tuple[int, int]) -> bool:
    return box[0] >= 0 and box[1] >= 0 and box[2] < size[0] and box[3] < size[1]


def _around(points: Floats) -> Box:
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _common(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)


# --- Words ----------------------------------------------------------------------------------------------


def _heading(field: Field) -> list[Line]:
    second = "Δ: difference in u'v'"
    if field.purity is not None:
        second = "below it how the share of another gun's light differs, in % of all light"
    return [
        Line(field_finding(field), larger=1.2),
        Line(str(field.path), QUIET),
        Line(
            f"In each zone: luminance in % of the centre's; {second}. Of the camera's colour; framed: the farthest.",
            QUIET,
        ),
    ]


def _key(field: Field) -> list[Line]:
    lines = [Line(f"{i} {_blotch_words(blotch)}", ORANGE) for i, blotch in enumerate(field.blotches, 1)]
    lines = lines or [Line("No blotches were found.")]
    return [*lines, *(Line(f"Note: {words}", QUIET) for words in field.warnings)]


def _blotch_words(blotch: Blotch) -> str:
    return (
        f"{blotch.kind}: {blotch.delta_uv:.4f} u'v', {_signed(blotch.luminance_percent)} % of light, on "
        f"{blotch.area_percent:.2g} % of the area"
    )


def _advice(uniformity: Uniformity) -> list[Line]:
    lines: list[Line] = []
    for advice in advise_uniformity(uniformity):
        why = f"{advice.why} {SERVICE}" if advice.inside else advice.why
        lines += [Line(advice.adjust, BLUE), Line(why)]
    return lines
