"""Level faults found from codes that plain arithmetic, or a filter of the ffmpeg program, has changed.

What is sent is a pattern's own patches; the codes are worked out here with the equations of BT.601 and BT.709. How near
a parameter has to come is the project's own aim: 0.3 % of a gain and an offset, 0.01 of a power, half a degree.
"""

from __future__ import annotations

import subprocess
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import product
from typing import Any

import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from analysis.frame.faults.diagnose import Diagnosis, Evidence, diagnose_levels
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from patterns.signal import Matrix, Range, Sampling, Signal
from tests.matrix import rest_is_slow

with warnings.catch_warnings():
    # Of plotting, which is not installed.
    warnings.simplefilter("ignore")
    import colour

Floats = NDArray[np.float64]

SD = FORMATS["480i"]
YCC = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_422)
RGB = Signal(range=Range.FULL, matrix=Matrix.BT601, bits=8, sampling=Sampling.RGB)
WEIGHTS = {"601": (0.299, 0.114), "709": (0.2126, 0.0722)}
"""KR and KB: BT.601-7 section 2.5.1, BT.709-6 item 3.2; from memory."""
NEAR = {"gain": 0.003, "offset_percent": 0.3, "power": 0.01, "degrees": 0.5}


# --- Arithmetic: codes as floats, neither rounded nor cut ------------------------------------------------------------


def to_ycc(rgb: Floats, matrix: str = "601") -> Floats:
    kr, kb = WEIGHTS[matrix]
    y = rgb @ np.array([kr, 1 - kr - kb, kb])
    return np.stack([y, (rgb[:, 2] - y) / (2 * (1 - kb)), (rgb[:, 0] - y) / (2 * (1 - kr))], axis=1)


def to_rgb(ycc: Floats, matrix: str = "601") -> Floats:
    kr, kb = WEIGHTS[matrix]
    red, blue = ycc[:, 0] + 2 * (1 - kr) * ycc[:, 2], ycc[:, 0] + 2 * (1 - kb) * ycc[:, 1]
    return np.stack([red, (ycc[:, 0] - kr * red - kb * blue) / (1 - kr - kb), blue], axis=1)


def narrow(ycc: Floats) -> Floats:
    """BT.601-7 Table 3: 219 and 224 codes from 16 and 128."""
    return ycc * [219, 224, 224] + [16, 128, 128]


def whole(codes: Floats) -> Floats:
    return np.clip(np.floor(codes + 0.5), 0, 255)


@cache
def sent(pattern: str, bars: str | None = None) -> Floats:
    """R'G'B' fractions of a pattern's flat patches."""
    patches = PATTERNS[pattern].scene(SD, Options(bars=bars)).patches
    rgb = [[float(part) for part in (p.colour.red, p.colour.green, p.colour.blue)] for p in patches if not p.sloped]
    return np.array(rgb)


def evidence(pattern: str, measured: Floats, signal: Signal, noise: float = 0, bars: str | None = None) -> Evidence:
    used = np.full(measured.shape, noise)
    return Evidence(rgb=sent(pattern, bars), measured=measured, uncertainty=used, signal=signal)


Change = Callable[[Floats], Floats]
"""From R'G'B' fractions to R'G'B' fractions."""


def measured(pattern: str, change: Change, signal: Signal) -> Floats:
    rgb = change(sent(pattern))
    return whole(255 * rgb if signal is RGB else narrow(to_ycc(rgb)))


def luma(change: Change) -> Change:
    return lambda rgb: to_rgb(np.column_stack([change(to_ycc(rgb)[:, :1]), to_ycc(rgb)[:, 1:]]))


def chroma(gain: float = 1, degrees: float = 0) -> Change:
    """C'B toward C'R."""
    cos, sin = gain * np.cos(np.radians(degrees)), gain * np.sin(np.radians(degrees))
    return lambda rgb: to_rgb(to_ycc(rgb) @ np.array([[1, 0, 0], [0, cos, sin], [0, -sin, cos]]))


def power(values: Floats, exponent: float) -> Floats:
    return np.asarray(np.sign(values) * np.abs(values) ** exponent)


def guns(red: float, green: float, blue: float) -> Change:
    return lambda rgb: rgb * [red, green, blue]


def shown_in_srgb(rgb: Floats) -> Floats:
    """A viewer that takes the transfer for that of BT.1886, its black at 0: by colour-science."""
    return np.asarray(colour.models.eotf_inverse_sRGB(colour.models.eotf_BT1886(np.clip(rgb, 0, 1), L_B=0, L_W=1)))


def camera_in_srgb(rgb: Floats) -> Floats:
    """One that takes it for the camera's."""
    return np.asarray(colour.models.eotf_inverse_sRGB(colour.models.oetf_inverse_BT709(np.clip(rgb, 0, 1))))


_LIGHT: dict[str, Change] = {
    "BT.1886": lambda codes: np.asarray(colour.models.eotf_BT1886(codes, L_B=0, L_W=1)),
    "BT.709": lambda codes: np.asarray(colour.models.oetf_inverse_BT709(codes)),
    "sRGB": lambda codes: np.asarray(colour.models.eotf_sRGB(codes)),
}
_SHOWN: dict[str, Change] = {
    "BT.1886": lambda light: np.asarray(colour.models.eotf_inverse_BT1886(light, L_B=0, L_W=1)),
    "BT.709": lambda light: np.asarray(colour.models.oetf_BT709(light)),
    "sRGB": lambda light: np.asarray(colour.models.eotf_inverse_sRGB(light)),
}


def converted(file: str, shown: str, rgb: Floats) -> Floats:
    """Any curve to any other, by colour-science."""
    return _SHOWN[shown](_LIGHT[file](np.clip(rgb, 0, 1)))


def in_light(space: str, gamma: float = 2.4) -> Change:
    """Primaries of one of colour-science's spaces brought to those of BT.709, in light by a power, and cut."""
    matrix = colour.matrix_RGB_to_RGB(space, "ITU-R BT.709", chromatic_adaptation_transform=None)
    return lambda rgb: np.clip((np.clip(rgb, 0, 1) ** gamma) @ np.asarray(matrix).T, 0, 1) ** (1 / gamma)


# --- One fault ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Case:
    id: str
    change: Change
    true: dict[str, Any]
    pattern: str = "bars"
    also: tuple[str, ...] = ()
    """Other names of the same thing: no pattern of these levels tells them apart."""


def expanded(rgb: Floats) -> Floats:
    """Narrow-range codes taken to full range: 16 becomes 0, 235 becomes 255."""
    return (255 * rgb - 16) / 219


def compressed(rgb: Floats) -> Floats:
    return (219 * rgb + 16) / 255


SINGLE: dict[str, Case] = {
    "gain of all": Case(id="gain", change=lambda rgb: 0.9 * rgb, true={"gain": 0.9}),
    "gain of luma": Case(id="gain", change=luma(lambda y: 0.93 * y), true={"gain": 0.93}),
    "offset": Case(id="offset", change=lambda rgb: rgb + 0.04, true={"offset_percent": 4.0}),
    "offset down": Case(id="offset", change=lambda rgb: rgb - 0.025, true={"offset_percent": -2.5}, pattern="pluge"),
    "gamma of R'G'B'": Case(
        id="gamma", change=lambda rgb: power(rgb, 1.15), true={"power": 1.15}, pattern="bars-split"
    ),
    "gamma of luma": Case(id="gamma", change=luma(lambda y: power(y, 0.9)), true={"power": 0.9}, pattern="steps"),
    # SMPTE 170M: black at 7.5 IRE, white stays at 100.
    "setup added": Case(id="setup-added", change=lambda rgb: 0.075 + 0.925 * rgb, true={}, pattern="steps"),
    "setup removed": Case(id="setup-removed", change=lambda rgb: (rgb - 0.075) / 0.925, true={}),
    "expanded": Case(id="range-expanded", change=expanded, true={}, pattern="steps"),
    "compressed": Case(id="range-compressed", change=compressed, true={}),
    "footroom": Case(id="footroom-clipped", change=lambda rgb: np.maximum(rgb, 0), true={}, pattern="pluge"),
    "a viewer's transfer": Case(
        id="colour-managed",
        change=shown_in_srgb,
        true={"transfer": "BT.1886 to sRGB", "primaries": "not shown by greys"},
        pattern="steps",
    ),
    "the camera's transfer": Case(
        id="colour-managed",
        change=camera_in_srgb,
        true={"transfer": "BT.709 to sRGB", "primaries": "kept"},
        pattern="bars-split",
    ),
    "525 lines' primaries": Case(
        id="colour-managed",
        change=in_light("SMPTE C"),
        true={"transfer": "kept", "primaries": "SMPTE 170M to BT.709"},
    ),
    "625 lines' primaries": Case(
        id="colour-managed",
        change=in_light("ITU-R BT.470 - 625"),
        true={"transfer": "kept", "primaries": "BT.470 BG to BT.709"},
    ),
    "primaries, then transfer": Case(
        id="colour-managed",
        change=lambda rgb: shown_in_srgb(in_light("SMPTE C")(rgb)),
        true={"transfer": "BT.1886 to sRGB", "primaries": "SMPTE 170M to BT.709"},
    ),
    "709 for 601": Case(id="matrix-601-as-709", change=lambda rgb: to_rgb(to_ycc(rgb, "601"), "709"), true={}),
    "601 for 709": Case(id="matrix-709-as-601", change=lambda rgb: to_rgb(to_ycc(rgb, "709"), "601"), true={}),
    "C'B and C'R": Case(id="components-swapped", change=lambda rgb: to_rgb(to_ycc(rgb)[:, [0, 2, 1]]), true={}),
    "B'G'R'": Case(id="channels-swapped", change=lambda rgb: rgb[:, ::-1], true={"order": "BGR"}),
    "saturation": Case(id="chroma-gain", change=chroma(gain=0.85), true={"gain": 0.85}),
    "hue": Case(id="hue-rotated", change=chroma(degrees=8), true={"degrees": 8.0}),
    "hue the other way": Case(id="hue-rotated", change=chroma(degrees=-12), true={"degrees": -12.0}),
    "red": Case(id="channel-gain", change=guns(0.9, 1, 1), true={"channel": "R", "gain": 0.9}),
    "blue": Case(id="channel-gain", change=guns(1, 1, 1.1), true={"channel": "B", "gain": 1.1}, pattern="steps"),
}
IN_RGB_TOO = ("gain of all", "gamma of R'G'B'", "red", "saturation", "a viewer's transfer", "primaries, then transfer")


def check_found(found: Diagnosis, case: Case) -> None:
    assert [fault.id for fault in found.faults] == [case.id], found
    (fault,) = found.faults
    assert fault.confidence > 0.5
    check_parameters(fault.parameters, case.true)


def check_parameters(told: dict[str, Any], true: dict[str, Any]) -> None:
    for name, value in true.items():
        if isinstance(value, str):
            assert told[name] == value
        else:
            assert told[name] == pytest.approx(value, abs=NEAR[name]), name


SLOWER = (
    *("gain of luma", "offset down", "gamma of luma", "601 for 709", "hue the other way", "blue", "setup removed"),
    *("the camera's transfer", "625 lines' primaries"),
)
"""What is like another one of the list."""


@pytest.mark.parametrize("name", [pytest.param(n, marks=[pytest.mark.slow] * (n in SLOWER)) for n in SINGLE])
def test_one_fault_is_told_with_its_size(name: str) -> None:
    """Narrow-range Y'CbCr of 8 bits."""
    case = SINGLE[name]
    check_found(diagnose_levels(evidence(case.pattern, measured(case.pattern, case.change, YCC), YCC)), case)


@pytest.mark.slow
@pytest.mark.parametrize("name", IN_RGB_TOO)
def test_one_fault_in_a_computers_picture(name: str) -> None:
    """The same in full-range R'G'B' of 8 bits, cut at both ends."""
    case = SINGLE[name]
    check_found(diagnose_levels(evidence(case.pattern, measured(case.pattern, case.change, RGB), RGB)), case)


@pytest.mark.parametrize("lost", [2, 4])
def test_lost_bits(lost: int) -> None:
    """The low bits of a ramp's codes cut off: the same low bits in every sample of the frame."""
    rgb = sent("steps-near-black")
    clean = narrow(to_ycc(rgb))
    cut = np.floor(whole(clean) / 2**lost) * 2**lost
    cut[:, 1:] = 128
    found = diagnose_levels(
        Evidence(
            rgb=rgb,
            measured=cut,
            uncertainty=np.zeros_like(cut),
            signal=YCC,
            comb=lost,
            levels=len(np.unique(cut[:, 0])),
        )
    )
    assert [fault.id for fault in found.faults] == ["bits-lost"]
    assert found.faults[0].parameters["bits"] == 8 - lost


def test_what_a_browser_was_seen_to_show() -> None:
    """A full-range PNG of grey steps that is tagged BT.709: 13 for 26, 40 for 51, 121 for 128, read off a screenshot;
    the other steps by the same rule."""
    seen = whole(255 * shown_in_srgb(whole(255 * sent("steps")) / 255))
    told = dict(zip(whole(255 * sent("steps"))[:, 0], seen[:, 0], strict=True))
    assert [told[code] for code in (26, 51, 128)] == [13, 40, 121]
    (fault,) = diagnose_levels(evidence("steps", seen, RGB)).faults
    assert (fault.id, fault.parameters["transfer"]) == ("colour-managed", "BT.1886 to sRGB")
    # On ten greys a gain of 1.055 with an offset of -5.5 % is nearly the same (the scale and the toe of sRGB's curve).
    assert 0.75 < fault.confidence < 0.99


def test_what_a_player_was_seen_to_show() -> None:
    """480i bars, read off a frame that a general-purpose player wrote: it dithers, so a code is a code off."""
    seen = [[255, 255, 255], [191, 190, 0], [59, 190, 190], [55, 188, 0]]
    seen += [[186, 47, 192], [187, 36, 0], [28, 34, 192], [0, 0, 0]]
    (fault,) = diagnose_levels(evidence("bars", np.array(seen, np.float64), RGB)).faults
    assert (fault.id, fault.parameters) == (
        "colour-managed",
        {"transfer": "kept", "primaries": "SMPTE 170M to BT.709"},
    )
    assert fault.confidence > 0.95


@pytest.mark.parametrize("pattern", ["bars", "bars-split", "steps", pytest.param("pluge", marks=pytest.mark.slow)])
def test_an_analogue_gamma_is_no_conversion(pattern: str) -> None:
    """Powers from 0.85 to 1.25, by numpy: never a conversion, unless with the doubt that this pattern leaves."""
    for signal, exponent in product((RGB, YCC), (0.85, 0.95, 1.06, 1.08, 1.15, 1.25)):
        bent = measured(pattern, partial(power, exponent=exponent), signal)
        for fault in diagnose_levels(evidence(pattern, bent, signal)).faults:
            assert fault.id != "colour-managed" or fault.confidence < 0.7, (exponent, fault)


DIRECTIONS = [pair for pair in product(_LIGHT, _SHOWN) if pair[0] != pair[1]]
RANGES: dict[str, tuple[str, Change, Change]] = {
    "alone": ("", np.copy, np.copy),
    "stretched before": ("range-expanded", expanded, np.copy),
    "stretched after": ("range-expanded", np.copy, expanded),
    "squeezed before": ("range-compressed", compressed, np.copy),
    "squeezed after": ("range-compressed", np.copy, compressed),
}
QUICK_RANGES = {("sRGB", "BT.1886", "alone"), ("BT.709", "sRGB", "stretched after")}


@pytest.mark.parametrize(
    ("file", "shown", "range_error"),
    rest_is_slow([(*pair, name) for pair, name in product(DIRECTIONS, RANGES)], QUICK_RANGES),
)
def test_every_direction_of_a_conversion_with_and_without_a_range_error(
    file: str, shown: str, range_error: str
) -> None:
    """Each of three curves to each other, on ten grey steps, and a range stretched or squeezed before or after it: both
    are named, with the direction, in Y'CbCr and in R'G'B'."""
    id, before, after = RANGES[range_error]
    for signal in (YCC, RGB):
        seen = measured("steps", lambda rgb: after(converted(file, shown, before(rgb))), signal)
        faults = {fault.id: fault.parameters for fault in diagnose_levels(evidence("steps", seen, signal)).faults}
        assert set(faults) == {"colour-managed", id} - {""}, signal
        assert faults["colour-managed"]["transfer"] == f"{file} to {shown}", signal


def test_bars_cannot_tell_a_transfer_from_a_gamma() -> None:
    """75 % is the one level between black and white in R'G'B': a power goes through it as well, and the confidence
    says so; ten steps tell them apart."""
    for change in (shown_in_srgb, camera_in_srgb):
        tied = diagnose_levels(evidence("bars", measured("bars", change, RGB), RGB)).faults
        assert tied
        assert all(0.3 <= fault.confidence < 0.7 for fault in tied)
        assert sum(fault.confidence for fault in tied) <= 1 + 1e-9
        (fault,) = diagnose_levels(evidence("steps", measured("steps", change, RGB), RGB)).faults
        assert fault.id == "colour-managed"
        assert fault.confidence > 0.95


# --- None, and two --------------------------------------------------------------------------------------------------


WITH_LEVELS = [name for name in PATTERNS if len(sent(name))]


TEN = pytest.param(replace(YCC, bits=10), marks=pytest.mark.slow)


@pytest.mark.parametrize("signal", [YCC, RGB, TEN], ids=["ycc", "rgb", "ten bits"])
def test_clean_levels_have_no_fault(signal: Signal) -> None:
    """Rounded as a source rounds them, and up to half a code off in every patch: nothing is told."""
    random = np.random.default_rng(6)
    unit = 1 << (signal.bits - 8)
    for pattern in WITH_LEVELS:
        if pattern.startswith("crosshatch") or pattern in ("overscan", "centre", "circles", "dots"):
            continue
        rgb = sent(pattern)
        codes = 255 * rgb if signal is RGB else narrow(to_ycc(rgb)) * unit
        for off in (0.0, 0.5):
            seen = np.floor(codes + off * unit * random.uniform(-1, 1, codes.shape) + 0.5)
            found = diagnose_levels(evidence(pattern, np.clip(seen, 0, 256 * unit - 1), signal))
            assert found.faults == (), (pattern, off)


def test_what_was_not_measured_is_no_fault() -> None:
    """Patches of which chroma, or all, was not measured."""
    clean = whole(narrow(to_ycc(sent("bars"))))
    clean[:, 1:] = np.nan
    assert diagnose_levels(evidence("bars", clean, YCC)).faults == ()
    assert diagnose_levels(evidence("bars", np.full_like(clean, np.nan), YCC)).faults == ()


@dataclass(frozen=True, kw_only=True)
class Two:
    change: Change
    true: dict[str, dict[str, Any]]
    pattern: str = "bars"


PAIRS: dict[str, Two] = {
    "hue and saturation": Two(
        change=chroma(gain=0.8, degrees=6), true={"hue-rotated": {"degrees": 6.0}, "chroma-gain": {"gain": 0.8}}
    ),
    "gain and offset": Two(
        change=lambda rgb: 0.85 * rgb + 0.03,
        true={"gain": {"gain": 0.85}, "offset": {"offset_percent": 3.0}},
        pattern="steps",
    ),
    "gamma and setup": Two(
        change=lambda rgb: 0.075 + 0.925 * power(rgb, 1.2),
        true={"gamma": {"power": 1.2}, "setup-added": {}},
        pattern="steps",
    ),
    "matrix and gain": Two(
        change=lambda rgb: 0.9 * to_rgb(to_ycc(rgb, "601"), "709"),
        true={"matrix-601-as-709": {}, "gain": {"gain": 0.9}},
    ),
    "red and hue": Two(
        change=lambda rgb: guns(0.85, 1, 1)(chroma(degrees=10)(rgb)),
        true={"channel-gain": {"channel": "R", "gain": 0.85}, "hue-rotated": {"degrees": 10.0}},
    ),
}


FIRST = ("hue and saturation", "gamma and setup")


@pytest.mark.parametrize("name", [pytest.param(n, marks=[pytest.mark.slow] * (n not in FIRST)) for n in PAIRS])
def test_two_faults_are_told_apart(name: str) -> None:
    """Where one fault cannot do it, two are named, each with its size."""
    two = PAIRS[name]
    found = diagnose_levels(evidence(two.pattern, measured(two.pattern, two.change, YCC), YCC))
    assert {fault.id for fault in found.faults} == set(two.true)
    for fault in found.faults:
        check_parameters(fault.parameters, two.true[fault.id])


def test_one_fault_is_preferred_to_two() -> None:
    """Uncertainties of a code hide the difference that a second fault could account for: one is told.

    Two draws of noise, each on a gain of 0.9.
    """
    random = np.random.default_rng(12)
    seen = measured("bars", SINGLE["gain of all"].change, YCC)
    for _ in range(2):
        noisy = seen + random.normal(0, 0.3, seen.shape)
        found = diagnose_levels(evidence("bars", noisy, YCC, noise=0.3))
        assert [fault.id for fault in found.faults] == ["gain"]
        assert found.faults[0].parameters["gain"] == pytest.approx(0.9, abs=0.01)


@pytest.mark.slow
def test_a_figure_comes_with_its_uncertainty() -> None:
    """Sixty draws of noise of a code on a gain of 0.9 and on a power of 1.15: the errors, in units of the standard
    uncertainty, are about as large as that says. It holds rounding too, so they may be smaller but not much larger."""
    random = np.random.default_rng(5)
    for name, change, true in (
        ("gain", lambda rgb: 0.9 * rgb, 0.9),
        ("power", luma(lambda y: power(y, 1.15)), 1.15),
    ):
        seen = measured("steps", change, YCC)
        ratios = []
        for _ in range(30):
            found = diagnose_levels(evidence("steps", seen + random.normal(0, 1, seen.shape), YCC, noise=1.0))
            told = found.faults[0].parameters
            ratios.append((float(told[name]) - true) / float(told[f"{name}_uncertainty"]))
        assert 0.4 < float(np.sqrt(np.mean(np.square(ratios)))) < 1.4, name
        assert max(map(abs, ratios)) < 4, name


def test_levels_that_tell_nothing_of_a_power_say_so() -> None:
    """Stripes 2 % about black and white alone hardly show a bend: the uncertainty is larger than the aim of 0.01."""
    seen = measured("pluge", luma(lambda y: power(y, 1.25)), YCC)
    (fault,) = diagnose_levels(evidence("pluge", seen, YCC)).faults
    error = abs(float(fault.parameters["power"]) - 1.25)
    assert fault.id == "gamma"
    assert float(fault.parameters["power_uncertainty"]) > 0.02
    assert error < 3 * float(fault.parameters["power_uncertainty"])


NARROW_RGB = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.RGB)
CUT: dict[str, tuple[str, Change]] = {
    # Each from codes to codes; a picture adjustment knows nothing of ranges and bends all codes.
    "gain": ("gain", lambda codes: 16 + 0.9 * (codes - 16)),
    "offset": ("offset", lambda codes: codes + 11),
    "squeezed": ("range-compressed", lambda codes: 16 + codes * 219 / 255),
    "bent": ("gamma", lambda codes: 255 * (codes / 255) ** 1.1),
}


@pytest.mark.parametrize("kind", CUT)
def test_colours_beyond_the_codes_are_cut_when_they_are_drawn(kind: str) -> None:
    """-I and +Q have no R'G'B' codes of 8 bits, so a picture holds what is nearest; no fault is named for that.

    The codes end at 1 and 254 (BT.709-6 item 5.2, timing references); what is sent is cut there by numpy.
    """
    id, change = CUT[kind]
    drawn = np.clip(whole(219 * sent("bars-split") + 16), 1, 254)
    assert drawn.min() == 1, "the pattern has such a colour"
    found = diagnose_levels(evidence("bars-split", whole(change(drawn)), NARROW_RGB))
    assert [fault.id for fault in found.faults] == [id]


def test_confidence_falls_where_faults_are_alike() -> None:
    """A white field that is too dark may be gain, offset or gamma: whichever is told is not sure."""
    rgb = np.array([[1.0, 1.0, 1.0]])
    seen = np.array([[215.0, 128.0, 128.0]])
    found = diagnose_levels(Evidence(rgb=rgb, measured=seen, uncertainty=np.zeros_like(seen), signal=YCC))
    assert len(found.faults) <= 1
    assert all(fault.confidence < 0.95 for fault in found.faults)


# --- Filters of the ffmpeg program ----------------------------------------------------------------------------------


def filtered(codes: Floats, kind: str, words: str) -> Floats:
    """Each patch as a square of 16 x 16, through the filter; the middles of the squares."""
    count = len(codes)
    strip = np.repeat(np.repeat(codes[None], 16, axis=0), 16, axis=1).astype(np.uint8)
    planar = np.moveaxis(strip, 2, 0)
    # gbrp has green first.
    order = [1, 2, 0] if kind == "gbrp" else [0, 1, 2]
    raw = ("-f", "rawvideo", "-pix_fmt", kind)
    command = [*raw, "-s", f"{16 * count}x16", "-i", "-", "-vf", words, "-frames:v", "1", *raw, "-"]
    done = subprocess.run(
        [get_ffmpeg_exe(), "-loglevel", "error", *command],
        input=np.ascontiguousarray(planar[order]).tobytes(),
        check=True,
        capture_output=True,
    )
    back = np.frombuffer(done.stdout, np.uint8).reshape(3, 16, 16 * count)
    return np.asarray(back[np.argsort(order)][:, 8, 8::16].T, np.float64)


FILTERS: dict[str, tuple[str, str, str, dict[str, Any]]] = {
    # The filter, the pattern, the fault and its size, from the filter's own formula in its documentation.
    "lutyuv offset": ("lutyuv=y=val+11", "steps", "offset", {"offset_percent": 100 * 11 / 219}),
    "lutyuv gain": ("lutyuv=y=16+(val-16)*0.9", "bars", "gain", {"gain": 0.9}),
    "lutyuv gamma": ("lutyuv=y=16+219*pow(clip((val-16)/219\\,0\\,1)\\,1.2)", "steps", "gamma", {"power": 1.2}),
    "lutyuv saturation": ("lutyuv=u=128+(val-128)*0.8:v=128+(val-128)*0.8", "bars", "chroma-gain", {"gain": 0.8}),
    "eq gamma": ("eq=gamma=1.2", "steps", "gamma", {}),
    "hue saturation": ("hue=s=0.75", "bars", "chroma-gain", {"gain": 0.75}),
    # The filter turns U = C'B, V = C'R clockwise for a positive angle.
    "hue": ("hue=h=10", "bars", "hue-rotated", {"degrees": 10.0}),
    "colorlevels": ("colorlevels=gomax=0.9", "bars", "channel-gain", {"channel": "G", "gain": 0.9}),
    "lutrgb": ("lutrgb=r=val*0.92+0.5", "bars", "channel-gain", {"channel": "R", "gain": 0.92}),
    "colorchannelmixer": ("colorchannelmixer=0:1:0:0:1:0:0:0:0:0:1", "bars", "channels-swapped", {"order": "GRB"}),
}


KEPT = ("lutyuv offset", "hue", "colorlevels", "colorchannelmixer", "eq gamma")


@pytest.mark.parametrize("name", [pytest.param(n, marks=[pytest.mark.slow] * (n not in KEPT)) for n in FILTERS])
def test_filters_of_the_ffmpeg_program(name: str) -> None:
    """Each fault that the program's filters make is told with the size that they were given."""
    words, pattern, id, true = FILTERS[name]
    in_rgb = name in ("colorlevels", "lutrgb", "colorchannelmixer")
    signal, kind = (RGB, "gbrp") if in_rgb else (YCC, "yuv444p")
    seen = filtered(measured(pattern, lambda rgb: rgb, signal), kind, words)
    case = Case(id=id, change=lambda rgb: rgb, true=true, pattern=pattern)
    check_found(diagnose_levels(evidence(pattern, seen, signal)), case)
