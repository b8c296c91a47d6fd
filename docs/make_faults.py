"""Pictures and table of the faults for the page on capturing: our own patterns, each fault made by plain arithmetic.

The words come from `analysis.frame.faults.remedies`; `docs/make_docs.py` calls this module.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import make_analogue_faults as analogue
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analysis.frame.faults.remedies import fault_words
from analysis.frame.picture.marked import marked_picture
from analysis.frame.picture.marks import Heading, Mark, Note
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from patterns.placement import patch_area
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.raster import draw_frame, frames_per_period
from render.tags import tags_for

__all__ = ["GROUPS", "PICTURES", "fault_table", "write_fault_pictures"]

Floats = NDArray[np.floating[Any]]
"""R'G'B' fractions, (row, column, component)."""

FORMAT = FORMATS["576i"]
PANEL = 208, 156
"""Samples across and down of each half; 4:3."""
GAP = 8
BETWEEN = 222, 166, 60
"""A colour that no pattern has, so that black and white halves are seen to end."""
GAMMA = 2.4
"""Of the light that a code makes: ITU-R BT.1886, as for the other pictures of the pages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultPicture:
    """How a fault is shown, and the figures that stand in its words."""

    pattern: str
    make: Callable[[Floats], Floats]
    """From the frame as it was sent to the frame as it arrives."""
    values: Mapping[str, str] = field(default_factory=dict)
    detail: tuple[int, int, int] | None = None
    """Left, top and width of the part that is shown, enlarged; None: the whole picture."""
    shown: tuple[float, float] = (0, 1)
    """The levels that the page shows as black and white, where the page could not show them else."""
    note: str = ""


def sent(pattern: str, options: Options | None = None) -> Floats:
    """The whole raster of a pattern; of a moving one the middle of its way."""
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=16, sampling=Sampling.RGB)
    scene = PATTERNS[pattern].scene(FORMAT, options, signal)
    planes = draw_frame(scene, FORMAT, signal, frames_per_period(scene, FORMAT) // 2)
    zero = signal.fraction_of(0, 0)
    step = signal.fraction_of(0, 1) - zero
    return np.stack([plane * step + zero for plane in planes], axis=-1).astype(np.float64)


# --- What each fault does -------------------------------------------------------------------------------


def levels(gain: float, offset: float) -> Callable[[Floats], Floats]:
    return lambda rgb: rgb * gain + offset


def weighed(rgb: Floats, matrix: Matrix) -> Floats:
    """Y', C'B, C'R as fractions."""
    kr, kb = (float(weight) for weight in matrix.weights)
    luma = rgb @ np.array([kr, 1 - kr - kb, kb])
    return np.stack([luma, (rgb[..., 2] - luma) / (2 - 2 * kb), (rgb[..., 0] - luma) / (2 - 2 * kr)], axis=-1)


def unweighed(ycc: Floats, matrix: Matrix) -> Floats:
    kr, kb = (float(weight) for weight in matrix.weights)
    luma, blue, red = np.moveaxis(ycc, -1, 0)
    r, b = luma + (2 - 2 * kr) * red, luma + (2 - 2 * kb) * blue
    return np.stack([r, (luma - kr * r - kb * b) / (1 - kr - kb), b], axis=-1)


TO_BT709 = ((0.93954, 0.05018, 0.01028), (0.01777, 0.96579, 0.01643), (-0.00162, -0.00437, 1.00599))
"""Light of SMPTE 170M's primaries in those of BT.709: colour-science, matrix_RGB_to_RGB."""


def managed(rgb: Floats) -> Floats:
    """What a viewer shows that takes the levels for those of a BT.1886 display with SMPTE 170M's primaries."""
    light = np.clip(np.clip(rgb, 0, 1) ** GAMMA @ np.array(TO_BT709).T, 0, 1)
    # IEC 61966-2-1.
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def read_as(coded: Matrix, decoded: Matrix) -> Callable[[Floats], Floats]:
    return lambda rgb: unweighed(weighed(rgb, coded), decoded)


def chroma(gain: float = 1, degrees: float = 0, *, swapped: bool = False) -> Callable[[Floats], Floats]:
    """The colour-difference plane stretched and turned from C'B towards C'R, or its axes exchanged."""

    def change(rgb: Floats) -> Floats:
        luma, blue, red = np.moveaxis(weighed(rgb, Matrix.BT601), -1, 0)
        if swapped:
            blue, red = red, blue
        turn = np.exp(1j * np.deg2rad(degrees)) * gain
        turned = (blue + 1j * red) * turn
        return unweighed(np.stack([luma, turned.real, turned.imag], axis=-1), Matrix.BT601)

    return change


def bits(kept: int) -> Callable[[Floats], Floats]:
    return lambda rgb: np.floor(rgb * 2**kept) / 2**kept


def fields_swapped(rgb: Floats) -> Floats:
    return rgb.reshape(-1, 2, *rgb.shape[1:])[:, ::-1].reshape(rgb.shape)


def deinterlaced(rgb: Floats) -> Floats:
    """The even rows are kept, each odd one is the mean of its neighbours."""
    result = rgb.copy()
    result[1:-1:2] = (rgb[:-2:2] + rgb[2::2]) / 2
    return result


def blurred(rgb: Floats, reach: float, *, down: bool = True) -> Floats:
    """Weighted with a Gaussian of that standard deviation, in samples."""
    offsets = np.arange(-int(4 * reach) - 1, int(4 * reach) + 2)
    weights = np.exp(-(offsets**2) / (2 * reach**2))
    weights /= weights.sum()
    for axis in (1, 0)[: 1 + down]:
        room = [(0, 0)] * 3
        room[axis] = (-offsets[0], offsets[-1])
        padded = np.pad(rgb, room, mode="edge")
        size = rgb.shape[axis]
        rgb = sum(w * np.take(padded, range(i, i + size), axis) for i, w in enumerate(weights))
    return rgb


def sharpened(rgb: Floats) -> Floats:
    return rgb + 1.2 * (rgb - blurred(rgb, 1.6))


def chroma_softened(rgb: Floats) -> Floats:
    ycc = weighed(rgb, Matrix.BT601)
    ycc[..., 1:] = blurred(ycc, 12, down=False)[..., 1:]
    return unweighed(ycc, Matrix.BT601)


def placed(scale_x: float, scale_y: float, x: float, y: float) -> Callable[[Floats], Floats]:
    """Frame position = scale * raster position + offset; black where the raster does not reach."""

    def change(rgb: Floats) -> Floats:
        for axis, scale, offset in ((0, scale_y, y), (1, scale_x, x)):
            size = rgb.shape[axis]
            at = (np.arange(size) + 0.5 - offset) / scale - 0.5
            first = np.floor(at).astype(int)
            share = np.expand_dims(at - first, tuple(i for i in range(3) if i != axis))
            near = [np.take(rgb, np.clip(first + i, 0, size - 1), axis) for i in (0, 1)]
            rgb = near[0] * (1 - share) + near[1] * share
            outside = (at < -0.5) | (at > size - 0.5)
            rgb[(slice(None),) * axis + (outside,)] = 0
        return rgb

    return change


def wobbled(rgb: Floats) -> Floats:
    """Each line moved by some samples, slowly more and less."""
    moves = np.rint(9 * np.sin(np.arange(len(rgb)) / 25)).astype(int)
    return np.stack([np.roll(row, move, axis=0) for row, move in zip(rgb, moves, strict=True)])


def other(pattern: str, options: Options | None = None) -> Callable[[Floats], Floats]:
    return lambda rgb: sent(pattern, options)


# Figures of the words are those of the pictures.
PICTURES: Mapping[str, FaultPicture] = {
    "range-expanded": FaultPicture(pattern="steps", make=levels(255 / 219, -16 / 219)),
    "range-compressed": FaultPicture(pattern="steps", make=levels(219 / 255, 16 / 255)),
    "footroom-clipped": FaultPicture(
        pattern="pluge",
        make=lambda rgb: np.maximum(rgb, 0),
        shown=(-0.06, 0.06),
        note="Made brighter, or the page could not show it.",
    ),
    "headroom-clipped": FaultPicture(
        pattern="window",
        make=lambda rgb: np.minimum(rgb, 1),
        shown=(0.9, 1.1),
        note="Made darker, or the page could not show it: a window of 105 % in a field of white.",
    ),
    "setup-added": FaultPicture(pattern="steps", make=levels(0.925, 0.075)),
    "setup-removed": FaultPicture(pattern="steps", make=levels(1 / 0.925, -0.075 / 0.925)),
    "gain": FaultPicture(pattern="steps", make=levels(0.7, 0), values={"gain": "0.70"}),
    "offset": FaultPicture(pattern="steps", make=levels(1, -0.1), values={"offset_percent": "−10"}),
    "gamma": FaultPicture(pattern="steps", make=lambda rgb: np.abs(rgb) ** 1.5, values={"power": "1.50"}),
    "colour-managed": FaultPicture(
        pattern="bars",
        make=managed,
        values={"transfer": "BT.1886 to sRGB", "primaries": "SMPTE 170M to BT.709"},
    ),
    "matrix-601-as-709": FaultPicture(pattern="bars", make=read_as(Matrix.BT601, Matrix.BT709)),
    "matrix-709-as-601": FaultPicture(pattern="bars", make=read_as(Matrix.BT709, Matrix.BT601)),
    "components-swapped": FaultPicture(pattern="bars", make=chroma(swapped=True)),
    "channels-swapped": FaultPicture(pattern="bars", make=lambda rgb: rgb[..., ::-1].copy(), values={"order": "BGR"}),
    "chroma-gain": FaultPicture(pattern="bars", make=chroma(0.5), values={"gain": "0.50"}),
    "hue-rotated": FaultPicture(pattern="bars", make=chroma(degrees=25), values={"degrees": "+25"}),
    "channel-gain": FaultPicture(
        pattern="steps", make=lambda rgb: rgb * np.array([1, 1, 0.75]), values={"channel": "B", "gain": "0.75"}
    ),
    "bits-lost": FaultPicture(
        pattern="ramp", make=bits(4), values={"bits": "4"}, note="Few bits, so that a page shows it."
    ),
    "fields-swapped": FaultPicture(pattern="circles", make=fields_swapped, detail=(190, 60, 90)),
    "deinterlaced": FaultPicture(pattern="wedge", make=deinterlaced, detail=(500, 188, 110)),
    "scaled": FaultPicture(
        pattern="crosshatch",
        make=placed(0.9, 0.94, 36, 17),
        values={"scale_x": "0.900", "scale_y": "0.940"},
    ),
    "shifted": FaultPicture(
        pattern="crosshatch", make=placed(1, 1, 22, -19), values={"offset_x": "+22", "offset_y": "−19"}
    ),
    "cropped": FaultPicture(
        pattern="overscan",
        make=placed(1 / 0.88, 1 / 0.9, -0.08 * 720 / 0.88, -0.05 * 576 / 0.9),
        values={"sides": "left, right, top and bottom"},
        note="What is left is blown up to the whole frame: cropped and scaled.",
    ),
    "chroma-softened": FaultPicture(
        pattern="bars", make=chroma_softened, values={"response": "0.3"}, detail=(300, 200, 160)
    ),
    "sharpened": FaultPicture(pattern="steps", make=sharpened, values={"response": "1.5"}, detail=(330, 440, 120)),
    "softened": FaultPicture(
        pattern="steps", make=lambda rgb: blurred(rgb, 2.2), values={"response": "0.4"}, detail=(330, 440, 120)
    ),
    "chroma-lost": FaultPicture(pattern="bars", make=chroma(0)),
    "component-missing": FaultPicture(
        pattern="bars", make=lambda rgb: rgb * np.array([1, 1, 0]), values={"component": "B"}
    ),
    "component-inverted": FaultPicture(
        pattern="bars",
        make=lambda rgb: unweighed(weighed(rgb, Matrix.BT601) * np.array([1, 1, -1]), Matrix.BT601),
        values={"component": "C'R"},
    ),
    "black-crushed": FaultPicture(pattern="steps", make=analogue.crushed, values={"below_percent": "40"}),
    "white-compressed": FaultPicture(
        pattern="steps",
        make=lambda rgb: np.where(rgb > 0.6, 0.6 + (rgb - 0.6) * 0.3, rgb),
        values={"knee_percent": "60", "slope": "0.30"},
    ),
    "range-converted-twice": FaultPicture(
        pattern="steps",
        make=lambda rgb: levels(255 / 219, -16 / 219)(np.clip(levels(255 / 219, -16 / 219)(rgb), 0, 1)),
        values={"way": "expanded"},
    ),
    "band-limited": FaultPicture(
        pattern="multiburst", make=analogue.banded, values={"cutoff_mhz": "2.50", "cutoff_tv_lines": "195"}
    ),
    "comb-decoded": FaultPicture(pattern="multiburst", make=analogue.notched, values={"carrier_mhz": "4.434"}),
    "cross-colour": FaultPicture(pattern="multiburst", make=analogue.crossed, values={"percent": "20"}),
    "chroma-delayed": FaultPicture(
        pattern="bars", make=analogue.late_colour, values={"delay_ns": "+889"}, detail=(60, 200, 160)
    ),
    "echo": FaultPicture(pattern="pulse-bar", make=analogue.echoed, values={"delay_us": "2.22", "percent": "25"}),
    "noise": FaultPicture(pattern="bars", make=analogue.noisy, values={"snr_db": "24.4"}, detail=(120, 200, 70)),
    "dithered": FaultPicture(pattern="steps", make=analogue.dithered, values={"bits": "2"}, detail=(260, 440, 160)),
    "hum": FaultPicture(
        pattern="steps", make=analogue.hummed, values={"of": "level", "swing_percent": "20", "periods": "2"}
    ),
    "tilt": FaultPicture(pattern="steps", make=analogue.tilted, values={"of": "level", "swing_percent": "30"}),
    "shading": FaultPicture(pattern="bars", make=analogue.shaded, values={"of": "gain", "swing_percent": "25"}),
    "dropouts": FaultPicture(pattern="bars", make=analogue.dropped, values={"count": "12"}),
    "overlay": FaultPicture(pattern="bars", make=analogue.laid_over, values={"area_percent": "3.7"}),
    "torn": FaultPicture(pattern="bars", make=analogue.torn, values={"line": "345"}),
    "other": FaultPicture(pattern="circles", make=wobbled, note="One of many: lines that are longer by turns."),
    "wrong-pattern": FaultPicture(
        pattern="bars", make=other("crosshatch"), values={"pattern": "bars", "looks_like": "crosshatch"}
    ),
    "no-pattern": FaultPicture(pattern="bars", make=other("field", Options(colour="blue"))),
}

GROUPS = {
    "Levels": (
        "range-expanded range-compressed footroom-clipped headroom-clipped setup-added setup-removed gain offset gamma "
        "black-crushed white-compressed range-converted-twice bits-lost dithered"
    ),
    "Colours": (
        "colour-managed matrix-601-as-709 matrix-709-as-601 components-swapped channels-swapped chroma-gain "
        "hue-rotated channel-gain chroma-lost component-missing component-inverted chroma-delayed cross-colour"
    ),
    "Scan, place and size": "fields-swapped deinterlaced scaled shifted cropped",
    "Sharpness": "chroma-softened sharpened softened band-limited comb-decoded echo",
    "What varies, or is wrong in parts": "noise hum tilt shading dropouts overlay torn",
    "Not the pattern": "other wrong-pattern no-pattern",
}


# --- The page -------------------------------------------------------------------------------------------


def fault_table() -> str:
    """Every fault: picture, what is seen, what does it, what to change."""
    parts = []
    for group, ids in GROUPS.items():
        rows = [f"### {group}", "", "| sent, and as it arrives | what it is, and what to change |", "| :---: | --- |"]
        rows += [_row(id) for id in ids.split()]
        parts.append("\n".join(rows))
    return "\n\n".join(parts)


def _row(id: str) -> str:
    words, shown = fault_words()[id], PICTURES[id]
    note = f"<br>*{shown.note}*" if shown.note else ""
    cells = (
        f"![{words.title}](pictures/fault-{id}.png){note}",
        f"**{words.title}** (`{id}`)<br>{words.seen.format(**shown.values)}<br>*What does it:* {words.cause}<br>"
        f"*What to change:* {words.remedy}",
    )
    return f"| {' | '.join(cells)} |"


def write_fault_pictures(folder: Path) -> int:
    """One PNG file for each fault, left as sent and right as it arrives, and a marked frame; how many they are."""
    for id in fault_words():
        fault_picture(id).save(folder / f"fault-{id}.png", optimize=True)
    marked_example().save(folder / "marked.png", optimize=True)
    return len(fault_words()) + 1


def fault_picture(id: str) -> Image.Image:
    shown = PICTURES[id]
    frame = frame_of(id)
    halves = [panel(rgb, shown) for rgb in (frame, shown.make(frame))]
    width, height = PANEL
    sheet = Image.new("RGB", (2 * width + GAP, height), BETWEEN)
    for i, half in enumerate(halves):
        sheet.paste(half, (i * (width + GAP), 0))
    # Without dither: a flat area stays flat, and the file small.
    return sheet.quantize(96, dither=Image.Dither.NONE)


def marked_example() -> Image.Image:
    """What `verify --picture` writes, of split bars whose colours have lost an eighth of their strength."""
    gain, limit = 0.875, 4
    fmt = FORMATS["480i"]
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=10, sampling=Sampling.YCBCR_422)
    scene = PATTERNS["bars-split"].scene(fmt, None, signal)
    luma, *others = draw_frame(scene, fmt, signal)
    blue, red = (np.rint((plane.astype(float) - 512) * gain + 512).astype(plane.dtype) for plane in others)
    marks = []
    for patch in scene.patches:
        area = patch_area(fmt, patch, 0, 0)
        errors = [0.0, *(float(np.rint((code - 512) * (gain - 1))) for code in signal.codes(patch.colour)[1:])]
        mark = Mark(
            name=patch.name,
            box=(area.left, area.top, area.right, area.bottom),
            error_codes=tuple(errors),
            components=signal.components,
            passed=max(map(abs, errors)) <= limit,
        )
        marks.append(mark)
    failed = sum(not mark.passed for mark in marks)
    heading = Heading(
        title="harbour-lane-player-2.mkv, frame 30",
        verdict=f"FAIL: {failed} of {len(marks)} patches not within 4 codes of 10 bits.",
        passed=False,
        lines=(f"{PATTERNS['bars-split'].title}, 480i, Y'CbCr 4:2:2 BT.601, narrow range, 10 bits",),
    )
    words = fault_words()["chroma-gain"]
    told = f"{words.seen.format(gain='0.875')} {words.cause}", f"What to do: {words.remedy}"
    notes = [Note(title=words.title, paragraphs=told)]
    picture = Picture(planes=(luma, blue, red), tags=tags_for(fmt, signal, 1))
    # Without dither, as the others.
    return marked_picture(picture, signal, marks, heading, notes).quantize(96, dither=Image.Dither.NONE)


def frame_of(id: str) -> Floats:
    if id == "headroom-clipped":
        # The window stands on black: put it in a field of white instead.
        return 1 + 0.05 * sent("window")
    return sent(PICTURES[id].pattern)


def panel(rgb: Floats, shown: FaultPicture) -> Image.Image:
    """The part that is shown, at its size on the page: square samples, reduced in light."""
    low, high = shown.shown
    rgb = np.clip((rgb - low) / (high - low), 0, 1)
    inside = FORMAT.picture
    if shown.detail is None:
        part = rgb[inside.top : inside.bottom, inside.left : inside.right]
    else:
        left, top, wide = shown.detail
        lines = round(wide * float(FORMAT.sample_aspect) * PANEL[1] / PANEL[0])
        part = rgb[top : top + lines, left : left + wide]
    enlarged = shown.detail is not None
    filters = Image.Resampling.NEAREST if enlarged else Image.Resampling.BILINEAR
    light = (part**GAMMA).astype(np.float32)
    planes = [np.asarray(Image.fromarray(light[..., i]).resize(PANEL, filters)) for i in range(3)]
    codes = np.rint(np.clip(np.stack(planes, axis=-1), 0, 1) ** (1 / GAMMA) * 255).astype(np.uint8)
    return Image.fromarray(codes)
