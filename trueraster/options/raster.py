"""What is typed for `measure geometry`, `measure convergence` and `measure raster`, turned into a request."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from analysis.photo.face import FLAT, Face
from analysis.photo.marks import SeenMarks, marks_at
from analysis.raster.classes import SetClass
from analysis.raster.request import GridShown, KnownLength, KnownMarks, RasterRequest
from trueraster.errors import UsageError
from trueraster.options.declared import file_option, option
from trueraster.options.setclass import set_class_option
from trueraster.options.values import cells_of, format_of, pattern_of

__all__ = ["GridOptions", "ShapeOptions", "face_of", "marks_of", "request_of", "ruler_sigma_mm", "sides_mm"]

_WHOLE_MM, _TENTH_MM = 0.3, 0.1
"""Standard uncertainty of a distance that is read in whole millimetres, 1 / sqrt(12), and of one read in tenths, as a
steel rule or a caliper laid to a printed cross allows (common practice, no source)."""
_SIZES_MM = (20.0, 3000.0)
"""Believed distances between marks, and sides of a picture."""


@dataclass(frozen=True, kw_only=True)
class GridOptions:
    """Options that all three have."""

    format: Annotated[
        str, option("--format", "-f", help="What was played, as in draw.", default="480i", show_default=True)
    ]
    aspect: Annotated[str | None, option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")]
    pattern: Annotated[
        str, option("--pattern", "-p", help="What is shown: a grid or dots.", default="crosshatch", show_default=True)
    ]
    cells: Annotated[str | None, option("--cells", help="Columns x rows of the grid, if it was drawn with them.")]
    marks_mm: Annotated[
        str | None,
        option(
            "--marks-mm", help="Millimetres between the marks' centres, such as 460x360 or 460.2x360.1.", metavar="WxH"
        ),
    ]
    marks: Annotated[
        str | None,
        option("--marks", help="Their pixels, if they are not found: from top left, clockwise.", metavar="X,Y,..."),
    ]
    marks_photo: Annotated[
        Path | None,
        file_option("--marks-photo", "PHOTO", "The same view with the light on, where the marks are seen better."),
    ]
    no_marks: Annotated[bool, option("--no-marks", help="Only what can be measured without marks.", is_flag=True)]
    lens: Annotated[Path | None, file_option("--lens", "FILE", "The camera's lens, from 'measure lens'.")]
    glass_radius_mm: Annotated[
        str | None,
        option(
            "--glass-radius-mm",
            help="The face: flat, a sphere as 1000, a cylinder as 1000xflat.  [default: not known]",
            metavar="R",
        ),
    ]
    depth_mm: Annotated[
        float | None,
        option(
            "--depth-mm",
            help="How far the picture lies behind the marks.  [default: not known, 15 ± 10]",
            type=float,
            metavar="E",
        ),
    ]
    height_mm: Annotated[
        str | None,
        option("--height-mm", help="Mean height of the whole picture, for several photographs.", metavar="H"),
    ]
    glass_mm: Annotated[
        str | None,
        option("--glass-mm", help="Width and height of the visible glass, for the same.", metavar="WxH"),
    ]
    set_class: Annotated[str, set_class_option()]
    hidden: Annotated[
        str | None,
        option("--hidden", help="Lines hidden on the left and above, if it is asked for.", metavar="LEFT,ABOVE"),
    ]


@dataclass(frozen=True, kw_only=True)
class ShapeOptions(GridOptions):
    """Those of commands that measure the raster's shape."""

    size_mm: Annotated[
        str | None,
        option("--size-mm", help="Size that the picture should have.  [default: as high as it is]", metavar="WxH"),
    ]


def request_of(photos: Sequence[Path], typed: GridOptions) -> RasterRequest:
    """What is to be measured in a photograph, or in several that are solved together.

    Raises:
        ValueError: something typed cannot be meant; one line. An `InputError` where values do not go together.
    """
    wanted = typed.size_mm if isinstance(typed, ShapeOptions) else None
    return RasterRequest(
        photo=photos[0],
        more=tuple(photos[1:]),
        known=_known_length(typed),
        shown=GridShown.of(pattern_of(typed.pattern), format_of(typed.format, typed.aspect), cells_of(typed.cells)),
        marks=KnownMarks(
            size_mm=None
            if typed.marks_mm is None
            else sides_mm("--marks-mm", typed.marks_mm, "width x height between the marks' centres in mm", "412x309"),
            size_sigma_mm=0.0 if typed.marks_mm is None else ruler_sigma_mm(typed.marks_mm),
            given=None if typed.marks is None else marks_of(typed.marks),
            photo=typed.marks_photo,
            unused=typed.no_marks,
        ),
        lens=typed.lens,
        face=None if typed.glass_radius_mm is None else face_of(typed.glass_radius_mm),
        depth_mm=typed.depth_mm,
        set_class=SetClass(typed.set_class),
        hidden=None if typed.hidden is None else _hidden(typed.hidden),
        size_mm=None if wanted is None else sides_mm("--size-mm", wanted, "width x height in mm", "400x300"),
    )


def _known_length(typed: GridOptions) -> KnownLength:
    """A length that is not that of the marks."""
    if typed.height_mm is not None and typed.glass_mm is not None:
        raise UsageError("--height-mm and --glass-mm: give one of them")
    if typed.glass_mm is not None:
        expected = "width x height of the visible glass in mm"
        return KnownLength(
            glass_mm=sides_mm("--glass-mm", typed.glass_mm, expected, "384x288"),
            sigma_mm=ruler_sigma_mm(typed.glass_mm),
        )
    if typed.height_mm is None:
        return KnownLength()
    low, high = _SIZES_MM
    found = re.fullmatch(r"\s*(\d{1,5}(?:\.\d{1,4})?)\s*(?:mm)?\s*", typed.height_mm)
    if found is None or not low <= float(found[1]) <= high:
        raise UsageError(
            f"--height-mm: got {_short(typed.height_mm)}, the picture's height in mm is expected, {low:g} to {high:g}"
        )
    return KnownLength(height_mm=float(found[1]), sigma_mm=ruler_sigma_mm(typed.height_mm))


def sides_mm(name: str, text: str, expected: str, such_as: str) -> tuple[float, float]:
    """Width and height in mm: '412x309'.

    Raises:
        UsageError: it is no such size.
    """
    found = re.fullmatch(r"\s*(\d{1,5}(?:\.\d{1,4})?)\s*[xX×]\s*(\d{1,5}(?:\.\d{1,4})?)\s*(?:mm)?\s*", text)
    low, high = _SIZES_MM
    if found is None or not all(low <= float(side) <= high for side in found.groups()):
        raise UsageError(f"{name}: got {_short(text)}, {expected} is expected, as {such_as}, each {low:g} to {high:g}")
    return float(found[1]), float(found[2])


def face_of(text: str) -> Face:
    """The tube's face: 'flat', '1000' for a sphere, '1000xflat' for a cylinder; in mm.

    Raises:
        UsageError: it is no such face.
    """
    words = text.strip().lower().removesuffix("mm").strip()
    found = re.fullmatch(r"(\d{1,6}(?:\.\d{1,4})?)(\s*[x×]\s*flat)?", words)
    if words == "flat":
        return FLAT
    if found is None or not float(found[1]) > 0:
        raise UsageError(
            f"--glass-radius-mm: got {_short(text)}, the radius of the face in mm is expected, as 1000, 1000xflat for "
            "one that is curved from left to right only, or flat"
        )
    return Face.cylinder(float(found[1])) if found[2] else Face.sphere(float(found[1]))


def ruler_sigma_mm(text: str) -> float:
    """Standard uncertainty in mm of both sides of a size, by the digits that they are written with."""
    return _TENTH_MM if all("." in side for side in re.split("[xX×]", text)) else _WHOLE_MM


def marks_of(text: str) -> SeenMarks:
    """Four points: 'x,y,x,y,x,y,x,y' in pixels, from the top left clockwise.

    Raises:
        ValueError: they are no such points.
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 8 or not all(re.fullmatch(r"[+-]?\d{1,6}(\.\d{1,6})?", part) for part in parts):
        raise UsageError(
            f"--marks: got {_short(text, 60)}, eight numbers are expected: x,y of the top left, top right, bottom "
            "right and bottom left mark, in pixels"
        )
    numbers = [float(part) for part in parts]
    return marks_at(list(zip(numbers[::2], numbers[1::2], strict=True)))


def _hidden(text: str) -> tuple[int, int]:
    """Lines on the left and above: '1,0'.

    Raises:
        UsageError: it is no such pair.
    """
    found = re.fullmatch(r"\s*(\d{1,3})\s*,\s*(\d{1,3})\s*", text)
    if found is None:
        raise UsageError(
            f"--hidden: got {_short(text)}, how many lines are hidden on the left and above is expected, as 1,0"
        )
    return int(found[1]), int(found[2])


def _short(text: str, most: int = 40) -> str:
    return repr(text if len(text) <= most else text[: most - 3] + "...")
