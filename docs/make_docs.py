"""Make the parts of the documents that are known elsewhere: patterns and their pictures, formats, constants, examples.

    .venv/bin/python docs/make_docs.py            write them
    .venv/bin/python docs/make_docs.py --check    exit 1 when a page is not up to date

A page holds them between `<!-- generated: NAME -->` and `<!-- end -->`.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import re
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

from make_faults import fault_table, write_fault_pictures
from PIL import Image

from analysis.answer import Kind
from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS, Control
from analysis.rounding import counted
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Area, Options, Pattern
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from patterns.standards import ALL
from patterns.standards.levels import COMPONENT_WHITE_MV
from patterns.tones import Tone, bursts, pulse_half_duration, sweep_tones, wedge_lines
from render.preview import preview, preview_png
from trueraster.cli import run
from trueraster.levels import component_millivolts, distinct_patches
from trueraster.output.json import quantities_in
from trueraster.report.defaults import DEFAULTS
from trueraster.report.tolerancefile import SHOWN, known_figures
from trueraster.report.tolerances import fits, tolerances_of

DOCS = Path(__file__).parent
PICTURE_FORMAT = FORMATS["576i"]
PICTURE_HEIGHT = 360
PICTURE_OPTIONS = {"field": Options(colour="red")}
"""Where the default says little on a page: a white field on white paper."""
CAPTIONS = {
    "pluge": "A screen may not show the stripes. The darker ones are missing here: a picture on a page is full range, "
    "which has nothing below black. The files are narrow range and have them.",
    "steps-near-black": "A screen may not show the lowest steps. They are in the file.",
    "field": "Drawn with `--colour red`.",
    "field-order": "One frame: the bar has moved between its two fields, so its sides are soft here.",
}
"""What a reader should know of a picture on a page; all that the pattern itself knows comes from the catalogue."""


def main() -> int:
    check = "--check" in sys.argv[1:]
    stale = []
    for page in pages():
        old = page.read_text(encoding="utf-8")
        new = filled(old)
        if new != old:
            stale.append(str(page.relative_to(DOCS)))
            if not check:
                page.write_text(new, encoding="utf-8")
    if check:
        for name in stale:
            print(f"docs/{name} is not up to date; run docs/make_docs.py")
        return 1 if stale else 0
    for pattern in PATTERNS.values():
        (DOCS / "pictures" / f"{pattern.id}.png").write_bytes(preview_png(picture(pattern)))
    overview().save(DOCS / "pictures" / "overview.png", optimize=True)
    (DOCS / "pictures" / "scope.png").write_bytes(waveform())
    faults = write_fault_pictures(DOCS / "pictures")
    print(f"{len(stale)} pages changed, {len(PATTERNS) + faults + 2} pictures drawn")
    return 0


def pages() -> list[Path]:
    """Every page: the tasks, then the reference."""
    return [*sorted(DOCS.glob("*.md")), *sorted((DOCS / "reference").glob("*.md"))]


def filled(text: str) -> str:
    """The page with every generated part made again."""

    def part(found: re.Match[str]) -> str:
        return f"<!-- generated: {found[1]} -->\n{generated(found[1])}\n<!-- end -->"

    return re.sub(r"<!-- generated: ([\w-]+) -->\n.*?<!-- end -->", part, text, flags=re.DOTALL)


def generated(name: str) -> str:
    """The text for one mark: a table, an example file, or else an area's patterns."""
    made = {
        "constants": constants,
        "formats": formats,
        "frequencies": frequencies,
        "index": index,
        "greys": greys,
        "colours": colours,
        "example": example,
        "faults": fault_table,
        "geometry-controls": lambda: controls(GEOMETRY_CONTROLS, places=True),
        "tolerances": tolerances,
        **{f"figures-{kind}": lambda kind=kind: figures(kind) for kind in Kind},
        "convergence-controls": lambda: controls(CONVERGENCE_CONTROLS, places=False),
    }
    if name in made:
        return made[name]()
    of_area = [pattern for pattern in PATTERNS.values() if pattern.area is Area(name)]
    # Patterns of one purpose, such as the crosshatches of two guns, have the same words: one entry has them all.
    alike = itertools.groupby(of_area, lambda pattern: (pattern.look, pattern.right))
    return "\n\n".join(entry(list(patterns)) for _, patterns in alike)


def entry(patterns: list[Pattern]) -> str:
    """Patterns with the same words, mostly one: pictures, words and patches."""
    pattern = patterns[0]
    lines = [*(heading(one) for one in patterns), ""]
    lines += [f"![{one.title}](../pictures/{one.id}.png)" for one in patterns]
    lines += ["", *((f"*{CAPTIONS[pattern.id]}*", "") if pattern.id in CAPTIONS else ())]
    lines += [f"- Look at: {lowered(pattern.look)}", f"- Correct: {lowered(pattern.right)}"]
    adjust = dict.fromkeys(one.adjust for one in patterns)
    lines.append(f"- Adjust: {lowered(' '.join(adjust))}")
    lines.append(f"- Leave up: at most {counted(pattern.dwell_minutes, 'minute')}.")
    if pattern.takes:
        lines.append(f"- Options: {', '.join(f'`--{name}`' for name in pattern.takes)}.")
    scene = pattern.scene(PICTURE_FORMAT)
    patches = distinct_patches(scene)
    if pattern.id == "field-order":
        lines.append("- `verify` finds in a captured clip which field comes first, and whether both are there.")
    elif not scene.patches:
        lines.append("- `verify` measures nothing on it: judge it by eye.")
    elif len(patches) > 2:
        lines.append(f"- Patches, in %: {patches_text(patches)}.")
    lines += [f"- Caution: {lowered(caution)}" for caution in pattern.cautions_in(PICTURE_FORMAT)]
    return "\n".join(lines)


def heading(pattern: Pattern) -> str:
    return f"### {pattern.title}: `{pattern.id}`"


def anchor(pattern: Pattern) -> str:
    """Of its heading: lower case, marks dropped, blanks to dashes."""
    return re.sub(r"[^\w\- ]", "", f"{pattern.title}: {pattern.id}".lower()).replace(" ", "-")


def lowered(sentence: str) -> str:
    """A sentence behind a colon; names of standards and guns' letters keep their capitals."""
    first = sentence.split()[0]
    return sentence if len(first) > 1 and not first[1:].islower() else sentence[0].lower() + sentence[1:]


def patches_text(patches: dict[Colour, str]) -> str:
    """The flat patches with their levels: of greys one figure, of colours R'G'B'."""
    cells = []
    for colour, name in patches.items():
        level = f"{float(100 * colour.green):.4g}" if colour.is_neutral else rgb_text(colour)
        # Many a patch is called by its level, such as 'near black 2'.
        cells.append(name if name.split()[-1] == level else f"{name} {level}")
    return ", ".join(cells)


def rgb_text(colour: Colour) -> str:
    return "/".join(f"{float(100 * level):.4g}" for level in (colour.red, colour.green, colour.blue))


def patch_colours() -> list[Colour]:
    """Every flat colour of every pattern, each once."""
    seen = {colour for pattern in PATTERNS.values() for colour in distinct_patches(pattern.scene(PICTURE_FORMAT))}
    return sorted(seen, key=lambda colour: (colour.green, colour.red, colour.blue))


def greys() -> str:
    """The greys of all patterns: %, narrow-range codes and millivolts."""
    rows = ["| % | 8 bit | 10 bit | mV |", "| ---: | ---: | ---: | ---: |"]
    for colour in patch_colours():
        if colour.is_neutral:
            codes = [signal(bits, Matrix.BT709, Sampling.RGB).codes(colour)[0] for bits in (8, 10)]
            level = float(colour.green)
            rows.append(f"| {100 * level:.4g} | {codes[0]} | {codes[1]} | {level * COMPONENT_WHITE_MV.value:.1f} |")
    return "\n".join(rows)


def colours() -> str:
    """The colours of all patterns: R'G'B' in %, then codes and millivolts by each matrix."""
    rows = [
        "| R'G'B' % | BT.601, 8 bit | 10 bit | mV | BT.709, 8 bit | 10 bit | mV |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for colour in reversed(patch_colours()):
        if not colour.is_neutral:
            cells = [rgb_text(colour)]
            for matrix in (Matrix.BT601, Matrix.BT709):
                of = [signal(bits, matrix, Sampling.YCBCR_422).codes(colour) for bits in (8, 10)]
                cells += ["/".join(map(str, codes)) for codes in of] + [millivolts(colour, matrix)]
            rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows)


def millivolts(colour: Colour, matrix: Matrix) -> str:
    """Y', P'B, P'R of a component interface without setup."""
    values = component_millivolts(colour, matrix)
    return "/".join(f"{float(value):.1f}".replace("-0.0", "0.0") for value in values)


def signal(bits: int, matrix: Matrix, sampling: Sampling) -> Signal:
    return Signal(range=Range.NARROW, matrix=matrix, bits=bits, sampling=sampling)


def constants() -> str:
    """Every constant under its document, those of one place and one check together."""
    documents: dict[str, dict[tuple[str, str], list[str]]] = {}
    for constant in ALL:
        source = constant.source
        check = f"{source.mark}: {source.note}" if source.note else str(source.mark)
        places = documents.setdefault(source.document, {})
        unit = "" if constant.unit == "ratio" else f" {constant.unit}"
        places.setdefault((source.where, check), []).append(f"{constant.name} = {shown(constant.value)}{unit}")
    lines = []
    for document, places in documents.items():
        lines += ["", f"### {document[0].upper()}{document[1:]}", ""]
        for (place, check), values in places.items():
            lines.append(f"- {f'{place}: ' if place else ''}{'; '.join(values)}. *{check[0].upper()}{check[1:]}.*")
    return "\n".join(lines[1:])


def example() -> str:
    """The user's pattern that the page speaks of, as it stands in its file."""
    return f"```toml\n{(DOCS / 'examples' / 'two-boxes.toml').read_text(encoding='utf-8').rstrip()}\n```"


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
    rows = ["| format | raster | sample aspect | line rate kHz | field order |", "| --- | --- | --- | ---: | --- |"]
    for fmt in FORMATS.values():
        assert fmt.timing is not None
        aspect = f"{fmt.sample_aspect.numerator}:{fmt.sample_aspect.denominator}"
        rate = f"{float(fmt.timing.line_rate_hz) / 1000:.3f}"
        rows.append(f"| `{fmt.id}` | {fmt.width}x{fmt.height} | {aspect} | {rate} | {fmt.field_order.value} |")
    return "\n".join(rows)


def frequencies() -> str:
    """What the response patterns hold in each kind of format."""
    rows = [
        "| format | multiburst, MHz | TV lines | sweep, MHz | 2T pulse, ns | wedges, TV lines across, down |",
        "| --- | --- | --- | --- | ---: | --- |",
    ]
    seen: dict[tuple[str, ...], list[str]] = {}
    for fmt in FORMATS.values():
        tones, ends = bursts(fmt), sweep_tones(fmt)
        across, down = (wedge_lines(fmt, vertical=vertical) for vertical in (True, False))
        _, nanoseconds = pulse_half_duration(fmt)
        cells = (
            ", ".join(megahertz(tone) for tone in tones),
            ", ".join(f"{float(tone.tv_lines):.0f}" for tone in tones),
            f"{megahertz(ends[0])}-{megahertz(ends[-1])}",
            f"{float(nanoseconds or 0):.4g}",
            f"{across[0]}-{across[-1]}, {down[0]}-{down[-1]}",
        )
        seen.setdefault(cells, []).append(f"`{fmt.id}`")
    return "\n".join([*rows, *(f"| {' '.join(names)} | {' | '.join(cells)} |" for cells, names in seen.items())])


def tolerances() -> str:
    """What figures are judged by where the user says nothing."""
    known, usual = known_figures(), tolerances_of({}, [])
    rows = ["| figure | is | tolerance | source |", "| --- | --- | --- | --- |"]
    for one in DEFAULTS:
        figures = {name: quantity for name, quantity in known.items() if fits(one.name, name)}
        # Of several, such as the four sides, the first that no narrower name has.
        first = next(part for name, part in figures.items() if (found := usual.of(name)) and found.limit is one.limit)
        words = re.sub(", of 1$", "", first.words.replace("50 %: ", "each step: "))
        words += (f", {first.unit}" if first.unit else "") + (", ..." if len(figures) > 1 else "")
        rows.append(f"| `{one.name}` | {words} | {one.limit.words(signed=first.signed)} | {one.source} |")
    return "\n".join(rows)


_REPEATED = r"\b(steps|fields|zones|blotches|limits)\.0\."


def figures(kind: Kind) -> str:
    """Every figure in the JSON of a measurement: where it is, what it is, and its unit; in two units in one row."""
    table = quantities_in(kind, SHOWN.get(kind, {}))
    by_path = {one.path: one for one in table}
    in_column = {one.beside for one in table}
    rows = ["| key | is | unit |", "| --- | --- | --- |"]
    for one in table:
        if one.path in in_column:
            continue
        both = [one, *([by_path[one.beside]] if one.beside else [])]
        # Of what is repeated, such as grey steps, one is shown, and stands for all.
        paths = [
            re.sub(r"\b(steps|fields|zones|blotches|limits)\.0\.", r"\1.N.", each.pattern or each.path) for each in both
        ]
        words = re.sub(", of 1$", "", one.general or one.words).replace("50 %: ", "each step: ")
        words = words.replace("white: ", "each field: ") if ".N." in paths[0] else words
        keys, units = ", ".join(f"`{path}`" for path in paths), ", ".join(each.unit for each in both)
        rows.append(f"| {keys} | {words} | {units} |")
    return "\n".join(dict.fromkeys(rows))


def controls(table: tuple[Control, ...], *, places: bool) -> str:
    """What the advice may name: what is seen of each control's part, and what to do; with `places` where it is."""
    head = ["adjustment", "seen, where its amount is 1", "so turn it", "from outside", *["where"] * places]
    rows = [f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    for control in table:
        unit = "1 %" if control.of_half else "1 mm"
        seen = control.more.seen.format(amount=unit, gun="red")
        title = control.title[0].upper() + control.title[1:]
        cells = [title, seen, control.more.do, "usually" if control.has_outside_control else "no"]
        rows.append(f"| {' | '.join([*cells, *[control.where] * places])} |")
    if not places:
        where = dict.fromkeys(control.where for control in table)
        rows += ["", *(f"- {words[0].upper()}{words[1:]}." for words in where)]
    return "\n".join(rows)


def index() -> str:
    """All patterns in the order of work, with a way to each one's entry."""
    return ",\n".join(f"[`{pattern.id}`](#{anchor(pattern)})" for pattern in PATTERNS.values()) + "."


def megahertz(tone: Tone) -> str:
    return f"{float((tone.hertz or 0) / 10**6):.4g}"


def picture(pattern: Pattern) -> Image.Image:
    """A small picture with square samples: one frame of the pattern, a moving one in the middle of its way."""
    return preview(pattern, PICTURE_FORMAT, PICTURE_OPTIONS.get(pattern.id), height=PICTURE_HEIGHT)


def overview() -> Image.Image:
    """Four patterns side by side, for the first page."""
    height = PICTURE_HEIGHT // 2
    width = round(height * PICTURE_FORMAT.picture_aspect)
    sheet = Image.new("RGB", (4 * width + 24, height), (96, 96, 96))
    for i, name in enumerate(("circles", "steps", "bars", "dots")):
        sheet.paste(preview(PATTERNS[name], PICTURE_FORMAT, height=height).convert("RGB"), (i * (width + 8), 0))
    return sheet


def waveform() -> bytes:
    """The plot of the page on waveforms, by the command that the page shows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scope.png"
        with contextlib.redirect_stdout(io.StringIO()):
            code = run(["scope", "bars", "--format", "576i", "--line", "167", "--to", str(path)])
        if code:
            raise SystemExit(code)
        return path.read_bytes()


if __name__ == "__main__":
    sys.exit(main())
