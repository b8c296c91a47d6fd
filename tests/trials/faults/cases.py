"""The matrix: which faults, on which patterns, formats and captures, under which conditions.

A case counts only where its fault can be seen.

- Faults of levels: some patch moves by 2 codes of 8 bits, which needs no list of patterns: on neutral patterns a
  swapped channel moves nothing. Ids that move the patches alike are all right answers (`alike.py`).
- Faults of the whole picture: at least 1 sample in 2000 moves by more than 10 codes.
- What moves, scales or cuts up and down is not asked for on bars, steps and the ramp, which do not change that way,
  but where black borders show it; the ramp is not asked for what moves or cuts along the line, which is an offset and a
  gain there; on the crosshatch less than a cell is cut, for a whole cell cannot be told.
- Doubled lines of one field: not on the crosshatch, whose two-line rules they only move by one line.
- Fields: not after rescaling; chroma's softness: not where 4:2:0 softens it too; lost bits: not under noise of their
  own size. Softness and sharpening: not after rescaling, which does both.
- Sharpening of white on black: not in full-range R'G'B', which cuts both halos off.
- A tint of the crosshatch: not in subsampled chroma, whose samples are larger than its lines.
- Interlaced frames are not moved by parts of a line, which would mix the fields.
- Headroom is clipped where a gain or an offset has lifted white into it: a pair.
- A flat frame is no pattern and another pattern at once.
- A frame shifted by a sample or more is a condition and a fault: there 'shifted' may stand beside the right answer.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from tests.trials.faults.alike import CURVES, change, equal_ids
from tests.trials.faults.capture import CAPTURES, base, coding_of, seen_planes
from tests.trials.faults.holdout import HOLDOUT, KNOWN, PATTERNS_AND_FORMATS
from tests.trials.faults.make import Condition, Fault, applied, fault, filtered
from tests.trials.faults.outside import OUTSIDE

__all__ = ["Case", "all_cases", "held_out", "seed_of", "visible"]

MAIN = ("bars", "steps", "pluge", "ramp", "crosshatch")
WITH_FORM = ("pluge", "crosshatch")
"""Patterns that change up and down."""
SD, HD = ("480i", "576i"), ("720p50", "1080i50")
LEAST_CHANGE = 2.0
"""Codes of 8 bits that some patch has to move."""
LEAST_SHARE = 1 / 2000
"""Of the samples have to move by more than 10 codes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One capture and what is to be found in it. `right` lists for each fault the ids that name it."""

    pattern: str
    format: str
    capture: str
    condition: Condition
    faults: tuple[Fault, ...] = ()
    shown: str = ""
    """The pattern that is really there, when it is another one."""
    right: tuple[frozenset[str], ...] = ()
    variant: int = 0
    """Which of the pattern's own variants, its options."""

    @property
    def name(self) -> str:
        found = " + ".join(f.name for f in self.faults) or (f"wrong-pattern:{self.shown}" if self.shown else "clean")
        variant = f" ({self.variant})" if self.variant else ""
        return f"{found} | {self.pattern}{variant} {self.format} {self.capture} | {self.condition.name}"

    @property
    def group(self) -> str:
        if self.shown:
            return "wrong-pattern"
        return " + ".join(f.id for f in self.faults) or "clean"


def seed_of(name: str, seed: int) -> int:
    return zlib.crc32(f"{seed} {name}".encode())


# --- Conditions -----------------------------------------------------------------------------------------------------

CLEAR = Condition()
NOISY = tuple(Condition(name=f"noise {percent} %", noise=percent / 100) for percent in (1, 2, 3))
JPEG = tuple(
    Condition(name=f"jpeg {quality}{' file' if file else ''}", jpeg=quality, jpeg_file=file)
    for quality, file in ((75, False), (80, True), (85, False), (90, True), (95, False), (95, True))
)
SHIFTS = ((0.25, 0.0), (0.5, 0.5), (-1.5, 0.75), (2.5, -1.5))
ROUND_TRIP = Condition(name="4:2:0", round_trip=True)
METHODS = ("area", "linear", "cubic", "lanczos", "ffmpeg")


@lru_cache
def _rescaled(format_id: str) -> tuple[Condition, ...]:
    found = []
    sizes = {"720p50": ((1920, 1080),), "1080i50": ((1280, 720),)}.get(format_id, ((1920, 1080), (640, 480)))
    for method in METHODS:
        for size in sizes:
            found.append(Condition(name=f"rescale {size[0]}x{size[1]} {method}", size=size, method=method))
        if format_id in SD:
            name = f"rescale pillarbox {method}"
            found.append(Condition(name=name, size=(1440, 1080), frame=(1920, 1080), method=method))
    found.append(replace(found[0], name=f"{found[0].name}, noise 1 %", noise=0.01))
    found.append(replace(found[2], name=f"{found[2].name}, jpeg 85", jpeg=85))
    return tuple(found)


def _conditions(format_id: str, capture: str) -> tuple[Condition, ...]:
    """Every condition that the capture can have."""
    still = (*JPEG, ROUND_TRIP) if CAPTURES[capture].kind == "rgb" else ()
    rescaled = [c for c in _rescaled(format_id) if CAPTURES[capture].kind == "rgb" or not c.jpeg]
    # A part of a line would mix the fields, which is another fault.
    shifts = [(x, _whole(y, format_id)) for x, y in SHIFTS]
    moved = [Condition(name=f"shift {x:g},{y:g}", shift=(x, y)) for x, y in shifts]
    return (CLEAR, *NOISY, *still, *moved, *rescaled)


def _whole(lines: float, format_id: str) -> float:
    return float(round(lines)) if FORMATS[format_id].interlaced else lines


def _usual(condition: Condition) -> float:
    """How often it is drawn."""
    return {"none": 12.0, "noise": 4.0, "jpeg": 1.0, "4:2:0": 2.0, "shift": 0.7, "rescale": 0.6}[condition.kind]


# --- Faults ---------------------------------------------------------------------------------------------------------


def level_faults() -> list[Fault]:
    found = [
        fault("range-expanded", "expanded-rgb"),
        fault("range-expanded", "expanded-ycc"),
        filtered(fault("range-expanded", "expanded-ycc"), "scale=in_range=tv:out_range=pc"),
        fault("range-compressed", "compressed-rgb"),
        fault("range-compressed", "compressed-ycc"),
        filtered(fault("range-compressed", "compressed-ycc"), "scale=in_range=pc:out_range=tv"),
        fault("footroom-clipped"),
        fault("headroom-clipped"),
        fault("setup-added", "affine", gain=0.925, offset=7.5),
        fault("setup-removed", "affine", gain=1 / 0.925, offset=-7.5 / 0.925),
    ]
    found += [fault("gain", "affine", {"gain": g}, gain=g) for g in (0.8, 0.9, 0.96, 1.04, 1.08, 1.15)]
    found += [fault("offset", "affine", {"offset_percent": o}, offset=o) for o in (-8.0, -4.0, -2.0, 2.0, 4.0, 8.0)]
    found += [fault("gamma", None, {"power": p}, power=p) for p in (0.8, 0.9, 0.95, 1.06, 1.12, 1.25)]
    return found


def colour_faults() -> list[Fault]:
    found = [
        fault("matrix-601-as-709", "matrix", coded="601", decoded="709"),
        fault("matrix-709-as-601", "matrix", coded="709", decoded="601"),
        fault("components-swapped"),
    ]
    orders = ("RBG", "GRB", "BGR", "GBR", "BRG")
    found += [fault("channels-swapped", None, {"order": order}, order=order) for order in orders]
    found += [_saturation(gain) for gain in (0.5, 0.8, 0.93, 1.08, 1.2, 1.4)]
    turns = (-25.0, -10.0, -4.0, 3.0, 6.0, 14.0, 20.0)
    found += [_hue(degrees) for degrees in turns]
    found += [filtered(_hue(d), f"hue=h={d:g}") for d in (-15.0, 5.0, 25.0)]
    found += [filtered(_saturation(g), f"hue=s={g:g}") for g in (0.7, 1.1, 1.3)]
    found.append(filtered(fault("components-swapped"), "swapuv"))
    found += [
        filtered(fault(f"matrix-{a}-as-{b}", "matrix", coded=a, decoded=b), f"colormatrix=bt{b}:bt{a}")
        for a, b in (("601", "709"), ("709", "601"))
    ]
    found += [
        fault("channel-gain", None, {"channel": letter, "gain": g}, channel=letter, gain=g)
        for letter, gains in (("R", (0.85, 0.95, 1.05)), ("G", (0.9, 0.97, 1.1)), ("B", (0.85, 0.95, 1.08)))
        for g in gains
    ]
    return found


def _hue(degrees: float) -> Fault:
    return fault("hue-rotated", "chroma", {"degrees": degrees}, degrees=degrees)


def _saturation(gain: float) -> Fault:
    return fault("chroma-gain", "chroma", {"gain": gain}, gain=gain)


def managed_faults(pattern: str) -> list[Fault]:
    """What viewers and players convert; greys show of the primaries nothing."""
    found = [_managed(file, shown, "", pattern) for file, shown in product(CURVES, CURVES) if file != shown]
    if pattern.startswith("bars"):
        for primaries in ("SMPTE 170M", "BT.470 BG"):
            for file in ("BT.1886", "BT.709"):
                found += [_managed(file, shown, primaries, pattern) for shown in ("sRGB", file)]
    return found


def _managed(file: str, shown: str, primaries: str, pattern: str) -> Fault:
    true = {"transfer": "kept" if shown == file else f"{file} to {shown}"}
    if pattern.startswith("bars"):
        true["primaries"] = f"{primaries} to BT.709" if primaries else "kept"
    return fault("colour-managed", None, true, file=file, shown=shown, primaries=primaries)


def bit_faults() -> list[Fault]:
    return [
        fault("bits-lost", None, {"bits": 8 - lost}, lost=lost, nearest=nearest)
        for lost in (2, 3, 4)
        for nearest in (False, True)
    ]


def field_faults() -> list[Fault]:
    found = [fault("fields-swapped"), fault("fields-swapped", "filter", words="il=luma_swap=1:chroma_swap=1")]
    found.append(fault("deinterlaced", "blended"))
    found += [fault("deinterlaced", "one-field", kept=kept, between=b) for kept in (0, 1) for b in (False, True)]
    found += [
        fault("deinterlaced", "filter", words=words) for words in ("yadif", "w3fdif", "estdif", "kerndeint=thresh=0")
    ]
    return found


def _shapes(format_id: str) -> list[Fault]:
    """Faults of place, for a pattern that changes both ways."""
    return [
        fault("scaled", size=(0.95, 0.95)),
        fault("scaled", size=(0.9, 0.9)),
        fault("scaled", size=(0.98, 0.98)),
        fault("scaled", size=(0.93, 1.0)),
        fault("scaled", size=(1.0, 0.95)),
        fault("shifted", by=(4.0, 0.0)),
        fault("shifted", by=(-12.0, 6.0)),
        fault("shifted", by=(0.0, 3.0)),
        fault("shifted", by=(2.5, _whole(-5.5, format_id))),
        fault("shifted", by=(-3.0, 0.0)),
        *_crops(format_id, ((5, 0, 0, 0), (0, 0, 4, 4), (2.5, 2.5, 2.5, 2.5), (0, 3, 0, 6), (1, 1, 1, 1))),
    ]


def _crops(format_id: str, shares: Sequence[tuple[float, float, float, float]]) -> Iterator[Fault]:
    fmt = FORMATS[format_id]
    for share in shares:
        for how in ("stretched", "cut"):
            sides, true = _sides(share, fmt.width, fmt.height)
            yield fault("cropped", how, {"crop_percent": true}, sides=sides)


def _sides(
    share: tuple[float, float, float, float], width: int, height: int
) -> tuple[tuple[int, ...], tuple[float, ...]]:
    # A multiple of four, so that every sampling can hold what is left.
    extents = (width, width, height, height)
    sides = tuple(4 * round(s / 100 * extent / 4) for s, extent in zip(share, extents, strict=True))
    return sides, tuple(100 * n / extent for n, extent in zip(sides, extents, strict=True))


def _line_shapes(format_id: str) -> list[Fault]:
    """Faults of place along the line, for bars and steps."""
    return [
        fault("scaled", size=(0.95, 0.95)),
        fault("scaled", size=(0.9, 0.9)),
        fault("scaled", size=(0.97, 1.0)),
        fault("shifted", by=(5.0, 0.0)),
        fault("shifted", by=(-12.0, 0.0)),
        fault("shifted", by=(3.5, 0.0)),
        *_crops(format_id, ((5, 0, 0, 0), (2.5, 2.5, 0, 0), (0, 8, 0, 0), (1.5, 1.5, 0, 0))),
    ]


def place_faults(pattern: str, format_id: str) -> list[Fault]:
    if pattern == "ramp":
        return [fault("scaled", size=(0.9, 0.9)), fault("scaled", size=(0.95, 0.95))]
    return _shapes(format_id) if pattern in WITH_FORM else _line_shapes(format_id)


def sharpness_faults(pattern: str) -> list[Fault]:
    if pattern == "ramp":
        return []
    found = [fault("softened", sigma=s) for s in (0.8, 1.2, 1.8, 2.5)]
    found += [
        fault("sharpened", amount=amount, sigma=sigma, luma=luma)
        for amount, sigma, luma in ((0.6, 1.5, False), (1.0, 1.2, False), (1.5, 1.0, True), (1.0, 2.0, True))
    ]
    found += [fault("softened", "filter", words=f"gblur=sigma={sigma}") for sigma in (1, 2)]
    found.append(fault("sharpened", "filter", words="unsharp=5:5:1.2:5:5:1.2"))
    if pattern == "bars":
        found += [fault("chroma-softened", sigma=s) for s in (2.0, 3.0, 5.0)]
    return found


def analogue_faults(pattern: str) -> list[Fault]:
    """What analogue ways and computers do, that the pattern can show."""
    found = [fault("noise", percent=percent) for percent in (2.0, 4.0, 8.0)]
    found += [fault("dropouts", count=count, level=level) for count, level in ((6, 0.95), (14, 0.5))]
    found += [fault("overlay", words=words, at=at) for words, at in (("CH 7", (0.6, 0.1)), ("PLAY", (0.1, 0.7)))]
    found += [fault("torn", share=share, kind=kind) for share, kind in ((0.6, "other"), (0.35, "moved"))]
    found += [fault("tilt", percent=percent) for percent in (5.0, -8.0)]
    found.append(fault("hum", percent=7.0, periods=1.0, phase=0.2, gain=False))
    if pattern in ("bars", "steps", "multiburst"):
        found.append(fault("hum", percent=8.0, periods=2.0, phase=0.6, gain=True))
        found += [fault("shading", percent=percent) for percent in (8.0, 15.0)]
    if pattern in ("bars", "steps", "ramp"):
        found += [fault("dithered", bits=bits, kind=kind) for bits, kind in ((5, "bayer"), (6, "random"))]
        found += [fault("range-converted-twice", "twice", way=way) for way in ("expanded", "compressed")]
        found.append(fault("white-compressed", knee=0.6, slope=0.4))
    if pattern in ("steps", "ramp"):
        found += [fault("black-crushed", knee=knee, depth=depth) for knee, depth in ((0.3, 1.0), (0.2, 2.0))]
    if pattern not in ("ramp", "pluge"):
        found += [fault("echo", samples=samples, percent=percent) for samples, percent in ((14.0, 12.0), (40.0, 9.0))]
        found += [fault("band-limited", cut=cut) for cut in ((0.2, 0.3) if pattern == "multiburst" else (0.18,))]
    if pattern == "multiburst":
        found.append(fault("comb-decoded", kind="notch"))
        found.append(fault("cross-colour", amount=0.8))
    if pattern == "bars":
        found.append(fault("chroma-lost"))
        found += [fault("chroma-delayed", samples=samples) for samples in (2.0, -4.0)]
        found += [
            fault("component-missing", "component", name=name, factor=0.0) for name in ("R", "G", "B", "PB", "PR")
        ]
        found += [fault("component-inverted", "component", name=name, factor=-1.0) for name in ("PB", "PR")]
    return found


def outside_faults() -> list[Fault]:
    """Those that the catalogue does not hold."""
    return [fault("outside", name, **size) for name, (_, sizes) in OUTSIDE.items() for size in sizes]


EMPTY = tuple(fault("no-pattern", "nothing", kind=k) for k in ("photograph", "plasma", "text", "grey", "snow", "black"))


# --- What can be seen -----------------------------------------------------------------------------------------------


def _can_be(found: Fault, format_id: str, capture: str) -> bool:
    kind = CAPTURES[capture]
    if found.how in ("expanded-rgb", "compressed-rgb"):
        return kind.kind == "rgb"
    if found.id in ("footroom-clipped", "headroom-clipped"):
        return kind.kind != "rgb"
    if found.id in ("fields-swapped", "deinterlaced"):
        return FORMATS[format_id].interlaced
    if found.id.startswith("matrix") and kind.kind != "rgb":
        # A file can be read with its own matrix only: there just what was coded with the other one is natural.
        return True
    return not (found.id == "chroma-softened" and (kind.kind == "420" or kind.drawn == "420"))


def _allows(found: Fault, condition: Condition) -> bool:
    """Whether the fault can still be told under the condition."""
    kind = condition.kind
    if found.id in ("fields-swapped", "deinterlaced"):
        return kind in ("none", "noise") or (kind == "jpeg" and condition.jpeg >= 85)
    if found.id == "chroma-softened":
        return kind == "none" or (kind == "noise" and condition.noise <= 0.02)
    if found.id in ("softened", "sharpened"):
        return kind in ("none", "noise", "4:2:0") or (kind == "jpeg" and condition.jpeg >= 85)
    if found.id == "bits-lost":
        lost = dict(found.size)["lost"]
        return kind == "none" or (kind == "noise" and condition.noise <= 0.01 and lost >= 3)
    if found.id in ("shifted", "scaled", "cropped"):
        return not (kind == "shift" or condition.frame or (kind == "rescale" and found.changes_size))
    return True


def visible(case: Case) -> bool:
    """Whether each fault of the whole picture moves enough samples, and a pair of levels is a code away from one alone.

    Asked when the case is run, since it needs the picture or takes a search.
    """
    if len(case.faults) == 2 and not any(f.spatial for f in case.faults):
        where = case.pattern, case.format, case.capture, case.faults
        if change(*where) < LEAST_CHANGE or equal_ids(*where, within=1.0):
            return False
    drawn = case.shown or case.pattern
    asked = [f for f in case.faults if f.spatial and f.how in _BY_PICTURE]
    return all(_moves_samples(f, drawn, case.format, case.capture) for f in asked)


_BY_PICTURE = frozenset(
    {*("fields-swapped", "one-field", "blended", "filter", "scaled", "shifted", "stretched")}
    | {"chroma-softened", "softened", "sharpened", *OUTSIDE, *HOLDOUT}
    | {"overlay", "dropouts", "echo", "tilt", "hum"}
)


@lru_cache(maxsize=512)
def _moves_samples(found: Fault, pattern: str, format_id: str, capture: str) -> bool:
    kind = CAPTURES[capture]
    coding = coding_of(FORMATS[format_id], kind)
    clean = base(pattern, format_id, kind.drawn)
    apart = np.abs(seen_planes(applied(found, clean, coding), coding) - seen_planes(clean, coding))
    return float((apart.max(axis=2) > 10).mean()) >= LEAST_SHARE


def _seen(found: Fault, pattern: str, format_id: str, capture: str) -> frozenset[str]:
    """The ids that are right for the fault on this pattern; none where it cannot be seen."""
    if not _can_be(found, format_id, capture):
        return frozenset()
    if found.id == "sharpened" and pattern in WITH_FORM and CAPTURES[capture].kind == "rgb":
        return frozenset()
    if found.id == "channel-gain" and pattern == "crosshatch" and CAPTURES[capture].kind in ("422", "420"):
        return frozenset()
    if found.spatial:
        if found.how == "nothing":
            flat = dict(found.size)["kind"] in ("grey", "black")
            return frozenset({found.id, "wrong-pattern"} if flat else {found.id})
        if found.how == "one-field" and not dict(found.size)["between"] and pattern == "crosshatch":
            return frozenset()
        return frozenset({found.id})
    if change(pattern, format_id, capture, (found,)) < LEAST_CHANGE:
        return frozenset()
    return frozenset({found.id})


# --- The draw -------------------------------------------------------------------------------------------------------

SOURCES = ("png", "png-444", "png-422", "y4m-422", "y4m-420", "y4m-444", "ffv1-422", "ffv1-420")


class _Draw:
    """A seeded choice of formats, captures and conditions."""

    def __init__(self, seed: int, quick: bool) -> None:
        self.random = np.random.default_rng(seed)
        self.quick = quick

    def format(self) -> str:
        names, often = (*SD, *HD), (0.45, 0.3, 0.15, 0.1)
        if self.quick:
            often = (0.6, 0.34, 0.04, 0.02)
        return str(self.random.choice(names, p=often))

    def condition(self, format_id: str, capture: str, *faults: Fault) -> Condition:
        usable = [c for c in _conditions(format_id, capture) if all(_allows(f, c) for f in faults)]
        often = np.array([_usual(c) for c in usable])
        return usable[int(self.random.choice(len(usable), p=often / often.sum()))]

    def single(self, found: Fault, pattern: str, format_id: str | None = None) -> Case | None:
        for _ in range(4):
            fmt, capture = format_id or self.format(), str(self.random.choice(SOURCES))
            right = _seen(found, pattern, fmt, capture)
            if right:
                condition = self.condition(fmt, capture, found)
                return Case(
                    pattern=pattern,
                    format=fmt,
                    capture=capture,
                    condition=condition,
                    faults=(found,),
                    right=(right,),
                )
        return None

    def pair(self, first: Fault, second: Fault, pattern: str, format_id: str) -> Case | None:
        for _ in range(3):
            capture = str(self.random.choice(SOURCES))
            right = tuple(_seen(f, pattern, format_id, capture) for f in (first, second))
            if second.id in ("headroom-clipped", "footroom-clipped") and _can_be(second, format_id, capture):
                right = right[0], frozenset({second.id})
            if not all(right):
                continue
            condition = self.condition(format_id, capture, first, second)
            return Case(
                pattern=pattern,
                format=format_id,
                capture=capture,
                condition=condition,
                faults=(first, second),
                right=right,
            )
        return None


@lru_cache
def all_cases(seed: int = 1, quick: bool = False) -> tuple[Case, ...]:
    """The whole matrix, or a draw of about 300 cases."""
    draw = _Draw(seed, quick)
    # By a draw of their own, so that cases which came before them stay the same.
    managed = _colour_managed(_Draw(seed + 1000, quick))
    overviews = _overviews(_Draw(seed + 2000, quick))
    more = [*_analogue(_Draw(seed + 4000, quick)), *_outside(_Draw(seed + 3000, quick))]
    found = [*_clean(draw), *_singles(draw), *_pairs(draw), *_others(draw), *managed, *overviews, *more]
    unlike = list({case.name: case for case in found}.values())
    # Cases of one pattern and format stand together: its frame is drawn once.
    return tuple(sorted(unlike, key=lambda case: (case.format, case.shown or case.pattern, case.capture)))


def _clean(draw: _Draw) -> Iterator[Case]:
    for format_id in (*SD, *HD):
        for pattern in MAIN:
            kinds = ("png", "png-422", "y4m-420", "ffv1-422") if format_id in SD else ("png", "y4m-422")
            for capture in kinds:
                for condition in _conditions(format_id, capture):
                    often = 0.24 if format_id in SD else 0.16
                    if draw.random.random() < (often / 8 if draw.quick else often):
                        yield Case(pattern=pattern, format=format_id, capture=capture, condition=condition)
        for pattern in PATTERNS:
            suits = PATTERNS[pattern].suits(FORMATS[format_id]) and PATTERNS[pattern].scene(FORMATS[format_id]).patches
            if not suits or pattern in MAIN or (draw.quick and format_id != "480i"):
                continue
            for variant in range(len(PATTERNS[pattern].variants)):
                capture = str(draw.random.choice(SOURCES))
                conditions = [CLEAR] if draw.quick else [CLEAR, draw.condition(format_id, capture)]
                for condition in conditions:
                    yield Case(pattern=pattern, format=format_id, capture=capture, condition=condition, variant=variant)


def _singles(draw: _Draw) -> Iterator[Case]:
    def some(found: Fault, pattern: str, times: int, format_id: str | None = None) -> Iterator[Case]:
        if draw.quick and draw.random.random() > 0.28:
            return
        for _ in range(1 if draw.quick else times):
            case = draw.single(found, pattern, format_id)
            if case:
                yield case

    for pattern in MAIN:
        for found in level_faults():
            yield from some(found, pattern, 8 if found.id == "footroom-clipped" else 3)
        for found in colour_faults():
            # Most of them can be seen on the bars only.
            yield from some(found, pattern, 6 if pattern == "bars" else 1)
        for found in bit_faults():
            yield from some(found, pattern, 2)
        for found in sharpness_faults(pattern):
            yield from some(found, pattern, 4)
        for format_id in (*SD, *HD):
            for found in place_faults(pattern, format_id):
                if format_id in SD or draw.random.random() < 0.5:
                    yield from some(found, pattern, 1, format_id)
    for pattern in ("crosshatch", "pluge", "steps", "circles", "centre", "wedge"):
        for found in field_faults():
            for format_id, times in (("480i", 1), ("576i", 1), ("1080i50", 0 if pattern == "steps" else 1)):
                yield from some(found, pattern, times, format_id)


def _colour_managed(draw: _Draw) -> Iterator[Case]:
    def one_of(faults: Sequence[Fault]) -> Fault:
        return faults[int(draw.random.integers(len(faults)))]

    for pattern in ("bars", "bars-split", "steps", "ramp", "pluge"):
        for found in managed_faults(pattern):
            for _ in range(1 if draw.quick else 4):
                case = draw.single(found, pattern)
                if case:
                    yield case
    ranges = [f for f in level_faults() if f.id in ("range-expanded", "range-compressed")]
    for pattern in ("bars-split", "steps", "ramp", "alignment"):
        for _ in range(3 if draw.quick else 12):
            both = one_of(managed_faults(pattern)), one_of(ranges)
            first, second = both if draw.random.random() < 0.5 else both[::-1]
            case = draw.pair(first, second, pattern, draw.format())
            if case:
                yield case


def _overviews(draw: _Draw) -> Iterator[Case]:
    """The pictures that show many things at once, and large areas, with faults of each kind."""
    for pattern in ("alignment", "checkerboard", "half-field"):
        tinted = colour_faults() if pattern == "alignment" else []
        for found in (*level_faults(), *tinted, *bit_faults(), *_shapes("480i"), *sharpness_faults(pattern)):
            if draw.quick and draw.random.random() > 0.28:
                continue
            # Where a crop or a shift is in whole lines, it is for the format that it was made for.
            case = draw.single(found, pattern, "480i" if found.spatial else None)
            if case:
                yield case


def _analogue(draw: _Draw) -> Iterator[Case]:
    for pattern in ("bars", "steps", "pluge", "crosshatch", "ramp", "multiburst"):
        for found in analogue_faults(pattern):
            for format_id in ("480i",) if draw.quick else ("480i", "576i", "720p50"):
                sources = [s for s in SOURCES if CAPTURES[s].drawn == "rgb"] if found.how == "dithered" else SOURCES
                capture = str(draw.random.choice(sources))
                noisy = draw.random.random() < 0.25 and found.id not in ("noise", "dithered", "cross-colour")
                right = frozenset({found.id, "comb-decoded"} if found.id == "band-limited" else {found.id})
                yield Case(
                    pattern=pattern,
                    format=format_id,
                    capture=capture,
                    condition=NOISY[0] if noisy else CLEAR,
                    faults=(found,),
                    right=(right,),
                )


def _outside(draw: _Draw) -> Iterator[Case]:
    for pattern in ("bars", "steps", "crosshatch", "multiburst"):
        for found in outside_faults():
            for format_id in ("480i",) if draw.quick else ("480i", "576i", "1080i50"):
                yield Case(
                    pattern=pattern,
                    format=format_id,
                    capture=str(draw.random.choice(SOURCES)),
                    condition=NOISY[0] if draw.random.random() < 0.25 else CLEAR,
                    faults=(found,),
                    right=(frozenset({"other"}),),
                )


def held_out(seed: int, count: int) -> tuple[Case, ...]:
    """Cases that nothing was tuned with: half of them faults of the catalogue, half others, some of them clean."""
    random = np.random.default_rng(7_000_000 + seed)
    found = []
    for i in range(count):
        pattern, format_id = PATTERNS_AND_FORMATS[int(random.integers(len(PATTERNS_AND_FORMATS)))]
        capture, noisy = str(random.choice(SOURCES)), random.random() < 0.3
        condition = Condition(name="noise 0.7 %", noise=0.007) if noisy else CLEAR
        case = Case(pattern=pattern, format=format_id, capture=capture, condition=condition)
        if i % 2 == 0:
            name = sorted(HOLDOUT)[int(random.integers(len(HOLDOUT)))]
            made = fault("outside", name, **HOLDOUT[name][1](random))
            case = replace(case, faults=(made,), right=(frozenset({"other"}),))
        elif i % 8 != 7:
            id = sorted(KNOWN)[int(random.integers(len(KNOWN)))]
            how, size = KNOWN[id]
            made = fault(id, how, **size(random))
            right = _seen(made, pattern, format_id, capture)
            if not right:
                continue
            case = replace(case, faults=(made,), right=(right,))
        if all(_is_plain_to_see(made, case) for made in case.faults):
            found.append(case)
    return tuple({case.name: case for case in found}.values())


def _is_plain_to_see(found: Fault, case: Case) -> bool:
    """Whether the whole picture shows it: 2 % of its samples move by more than 6 codes, or any fault of levels."""
    if not found.spatial or found.id == "noise":
        return True
    kind = CAPTURES[case.capture]
    coding = coding_of(FORMATS[case.format], kind)
    clean = base(case.pattern, case.format, kind.drawn)
    apart = np.abs(seen_planes(applied(found, clean, coding), coding) - seen_planes(clean, coding))
    return float((apart.max(axis=2) > 6).mean()) >= (LEAST_SHARE if found.id in KNOWN else 0.02)


def _pairs(draw: _Draw) -> Iterator[Case]:
    levels, colours = level_faults(), colour_faults()
    random = draw.random

    def one_of(faults: Sequence[Fault]) -> Fault:
        return faults[int(random.integers(len(faults)))]

    def with_id(*ids: str) -> list[Fault]:
        return [f for f in (*levels, *colours) if f.id in ids]

    greys = with_id("gain", "offset", "setup-added", "setup-removed", "range-expanded", "range-compressed")
    tints = with_id("chroma-gain", "hue-rotated", "channel-gain", "matrix-601-as-709", "matrix-709-as-601")
    swaps = with_id("components-swapped", "channels-swapped")
    many = 20 if draw.quick else 75

    def order(first: Fault, second: Fault) -> tuple[Fault, Fault]:
        return (first, second) if random.random() < 0.5 else (second, first)

    wanted: list[tuple[Fault, Fault, str, str]] = []
    for _ in range(many):
        fmt = draw.format()
        wanted.append((one_of(with_id("gain")), one_of(with_id("offset")), one_of_names(random, MAIN), fmt))
        wanted.append((one_of(with_id("gamma")), one_of(greys), one_of_names(random, ("steps", "ramp")), fmt))
        wanted.append((one_of(greys), one_of([*tints, *swaps]), "bars", fmt))
        wanted.append((one_of(with_id("hue-rotated")), one_of(with_id("chroma-gain")), "bars", fmt))
        pattern = one_of_names(random, ("bars", "steps", "pluge", "crosshatch"))
        level = one_of([*greys, *(tints if pattern == "bars" else [])])
        wanted.append((*order(level, one_of(place_faults(pattern, fmt))), pattern, fmt))
        blur = [f for f in sharpness_faults(pattern) if f.id != "chroma-softened"]
        if pattern != "crosshatch":
            wanted.append((one_of(greys), one_of(blur), pattern, fmt))
        up = [f for f in with_id("gain", "offset") if min(dict(f.size).values()) > 1]
        wanted.append((one_of(up), fault("headroom-clipped"), one_of_names(random, ("steps", "ramp", "bars")), fmt))
        down = [f for f in with_id("offset", "setup-removed") if dict(f.size)["offset"] < 0]
        wanted.append((one_of(down), fault("footroom-clipped"), one_of_names(random, ("steps", "bars", "pluge")), fmt))
        smeared = fault("chroma-softened", sigma=float(random.integers(2, 6)))
        wanted.append((one_of([*greys, *tints]), smeared, "bars", fmt))
        wanted.append((one_of([f for f in _shapes(fmt) if f.id == "cropped"]), one_of(blur), "crosshatch", fmt))
        if FORMATS[fmt].interlaced:
            wanted.append((one_of(field_faults()), one_of(greys), "crosshatch", fmt))
        wanted.append((*order(one_of(bit_faults()), one_of(greys)), one_of_names(random, ("ramp", "steps")), fmt))
    for first, second, pattern, fmt in wanted:
        if random.random() < 0.55:
            case = draw.pair(first, second, pattern, fmt)
            if case:
                yield case


def one_of_names(random: np.random.Generator, names: Sequence[str]) -> str:
    return names[int(random.integers(len(names)))]


def _others(draw: _Draw) -> Iterator[Case]:
    """Another pattern, or none."""
    right = (frozenset({"wrong-pattern"}),)
    shown = ("crosshatch", "bars", "steps", "pluge", "circles", "multiburst", "window", "slate", "field", "overscan")
    for pattern in MAIN:
        for other in shown:
            if other == pattern or (draw.quick and draw.random.random() > 0.2):
                continue
            for _ in range(1 if draw.quick else 2):
                fmt, capture = draw.format(), str(draw.random.choice(SOURCES))
                condition = draw.condition(fmt, capture)
                yield Case(
                    pattern=pattern,
                    format=fmt,
                    capture=capture,
                    condition=condition,
                    shown=other,
                    right=(right[0] | {"no-pattern"},) if other == "field" else right,
                )
        for found in EMPTY:
            if draw.quick and draw.random.random() > 0.4:
                continue
            case = draw.single(found, pattern)
            if case:
                yield case
