"""Make the parts of the documents that the code already knows: the patterns' words, their pictures, the constants.

    .venv/bin/python docs/make_docs.py            write them
    .venv/bin/python docs/make_docs.py --check    exit 1 when a page is not up to date

A page holds them between `<!-- generated: NAME -->` and `<!-- end -->`.
"""

from __future__ import annotations

import re
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Area, Pattern, percent_text
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from patterns.standards import ALL, COMPONENT_WHITE_MV
from render.raster import draw_frame

DOCS = Path(__file__).parent
PICTURE_FORMAT = FORMATS["576i"]
PICTURE_SIZE = (480, 360)


def main() -> int:
    check = "--check" in sys.argv[1:]
    stale = []
    for page in sorted(DOCS.glob("*.md")):
        old = page.read_text(encoding="utf-8")
        new = filled(old)
        if new != old:
            stale.append(page.name)
            if not check:
                page.write_text(new, encoding="utf-8")
    if check:
        for name in stale:
            print(f"docs/{name} is not up to date; run docs/make_docs.py")
        return 1 if stale else 0
    for pattern in PATTERNS.values():
        picture(pattern).save(DOCS / "pictures" / f"{pattern.id}.png", optimize=True)
    overview().save(DOCS / "pictures" / "overview.png", optimize=True)
    print(f"{len(stale)} pages changed, {len(PATTERNS)} pictures drawn")
    return 0


def filled(text: str) -> str:
    """The page with every generated part made again."""

    def part(found: re.Match[str]) -> str:
        return f"<!-- generated: {found[1]} -->\n{generated(found[1])}\n<!-- end -->"

    return re.sub(r"<!-- generated: ([\w-]+) -->\n.*?<!-- end -->", part, text, flags=re.DOTALL)


def generated(name: str) -> str:
    """The text for one mark: an area's patterns, the table of constants, or the table of formats."""
    if name == "constants":
        return constants()
    if name == "formats":
        return formats()
    return "\n\n".join(entry(pattern) for pattern in PATTERNS.values() if pattern.area is Area(name))


def entry(pattern: Pattern) -> str:
    """One pattern: its picture and its words, and the levels that can be measured on it."""
    lines = [
        f"## {pattern.title}: `{pattern.id}`",
        "",
        f"![{pattern.title}](pictures/{pattern.id}.png)",
        "",
        "| | |",
        "| --- | --- |",
        f"| look at | {pattern.look} |",
        f"| adjust | {pattern.adjust} |",
        f"| leave up | at most {pattern.dwell_minutes} minutes (common practice, no source) |",
    ]
    if pattern.takes:
        lines.append(f"| options | {', '.join(f'`--{name}`' for name in pattern.takes)} |")
    lines += [f"| caution | {caution} |" for caution in pattern.cautions]
    levels = levels_table(pattern)
    return "\n".join(lines) + (f"\n\n{levels}" if levels else "")


def levels_table(pattern: Pattern) -> str:
    """The levels of the flat patches: %, narrow-range codes and millivolts; nothing where there are only two."""
    scene = pattern.scene(PICTURE_FORMAT)
    seen: dict[Colour, str] = {}
    for patch in scene.patches:
        if not patch.sloped:
            seen.setdefault(patch.colour, re.sub(r" (left|right)$", "", patch.name))
    if len(seen) < 3:
        return ""
    grey = all(colour.is_neutral for colour in seen)
    if grey:
        rows = ["| patch | % | 8 bit | 10 bit | mV |", "| --- | ---: | ---: | ---: | ---: |"]
        rows += [grey_row(name, colour.green) for colour, name in seen.items()]
    else:
        rows = [
            "| patch | R'G'B' % | BT.601, 8 bit | BT.601, 10 bit | BT.709, 8 bit | BT.709, 10 bit |",
            "| --- | --- | --- | --- | --- | --- |",
        ]
        rows += [colour_row(name, colour) for colour, name in seen.items()]
    return "\n".join(rows)


def grey_row(name: str, level: Fraction) -> str:
    codes = [signal(bits, Matrix.BT709, Sampling.RGB).codes(Colour.grey(level))[0] for bits in (8, 10)]
    return (
        f"| {name} | {percent_text(level)} | {codes[0]} | {codes[1]} | {float(level * COMPONENT_WHITE_MV.value):.1f} |"
    )


def colour_row(name: str, colour: Colour) -> str:
    levels = " ".join(percent_text(level) for level in (colour.red, colour.green, colour.blue))
    cells = [
        "-".join(map(str, signal(bits, matrix, Sampling.YCBCR_422).codes(colour)))
        for matrix in (Matrix.BT601, Matrix.BT709)
        for bits in (8, 10)
    ]
    return f"| {name} | {levels} | {' | '.join(cells)} |"


def signal(bits: int, matrix: Matrix, sampling: Sampling) -> Signal:
    return Signal(range=Range.NARROW, matrix=matrix, bits=bits, sampling=sampling)


def constants() -> str:
    """Every constant with its document and how far it was checked."""
    rows = ["| what | value | unit | document | checked |", "| --- | --- | --- | --- | --- |"]
    for constant in ALL:
        source = constant.source
        place = f"{source.document}, {source.where}" if source.where else source.document
        note = f": {source.note}" if source.note else ""
        rows.append(f"| {constant.name} | {shown(constant.value)} | {constant.unit} | {place} | {source.mark}{note} |")
    return "\n".join(rows)


def shown(value: object) -> str:
    """A constant's value as a reader would write it."""
    if isinstance(value, Fraction):
        # Only twos and fives below the line make an ending decimal.
        return f"{float(value):.9g}" if 10**9 % value.denominator == 0 else str(value)
    if isinstance(value, range):
        return str(value.start) if len(value) == 1 else f"{value.start} to {value.stop - 1}"
    if isinstance(value, tuple):
        return ", ".join(shown(item) for item in value)
    return str(getattr(value, "name", value))


def formats() -> str:
    """Every named format."""
    rows = [
        "| format | raster | sample aspect | line rate kHz | field order | source |",
        "| --- | --- | --- | ---: | --- | --- |",
    ]
    for fmt in FORMATS.values():
        assert fmt.timing is not None
        aspect = f"{fmt.sample_aspect.numerator}:{fmt.sample_aspect.denominator}"
        rate = f"{float(fmt.timing.line_rate_hz) / 1000:.3f}"
        document = fmt.timing.source.document
        size = f"{fmt.width} x {fmt.height}"
        rows.append(f"| `{fmt.id}` | {size} | {aspect} | {rate} | {fmt.field_order.value} | {document} |")
    return "\n".join(rows)


def picture(pattern: Pattern) -> Image.Image:
    """A small picture with square samples: one frame of the pattern, a moving one in the middle of its way."""
    full = Signal(range=Range.FULL, matrix=Matrix.BT601, bits=8, sampling=Sampling.RGB)
    planes = draw_frame(pattern.scene(PICTURE_FORMAT, None, full), PICTURE_FORMAT, full, 50)
    inside = PICTURE_FORMAT.picture
    frame = np.stack(planes, axis=-1)[:, inside.left : inside.right]
    image = Image.fromarray(frame).resize(PICTURE_SIZE, Image.Resampling.LANCZOS)
    return image.quantize(128, dither=Image.Dither.NONE)


def overview() -> Image.Image:
    """Four patterns side by side, for the first page."""
    width, height = PICTURE_SIZE[0] // 2, PICTURE_SIZE[1] // 2
    sheet = Image.new("RGB", (4 * width + 24, height), (96, 96, 96))
    for i, name in enumerate(("circles", "steps", "bars", "dots")):
        small = picture(PATTERNS[name]).convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
        sheet.paste(small, (i * (width + 8), 0))
    return sheet


if __name__ == "__main__":
    sys.exit(main())
