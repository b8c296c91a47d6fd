"""Planes of codes: flat patches exact in every component, and shapes measured from the samples that were drawn."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import resample

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Family, FieldOrder, Format, parse_format
from patterns.pattern import COLOURS, Options
from patterns.placement import Span, column, line, patch_area, rule_area
from patterns.scene import Box, Mover, Patch, Ring, Rule, Scene
from patterns.signal import DEPTHS, Colour, Edges, Matrix, Range, Sampling, Signal
from render.quantise import Planes, quantise
from render.raster import check_raster, draw, draw_frame, frames_per_period
from tests.matrix import quick_and_slow, rest_is_slow

Floats = NDArray[np.float64]

MARGIN_X, MARGIN_Y = 6, 4
BLACK, WHITE = COLOURS["black"], COLOURS["white"]
FAR = Fraction(2)
"""A coordinate beyond any raster's edge."""
RASTERS = {(fmt.width, fmt.height, fmt.interlaced): fmt for fmt in FORMATS.values()}
ONE_EACH = [fmt.id for fmt in RASTERS.values()]
"""The last named format of each raster and scan."""
FEW = ["240p", "480i", "576p", "720p60", "1080i50"]
ROUND = ["480i", "576i", "720p60", "1080i50", "240p"]

every_edge = pytest.mark.parametrize("edges", list(Edges))


def signal(fmt: Format, **choices: Any) -> Signal:
    """10 bits, narrow, 4:4:4, shaped, by the usual weights of the format, but for the choices."""
    matrix = Matrix.BT601 if fmt.family in (Family.SD525, Family.SD625) else Matrix.BT709
    usual = {"range": Range.NARROW, "matrix": matrix, "bits": 10, "sampling": Sampling.YCBCR_444}
    return Signal(**{**usual, **choices})


def light(plane: NDArray[Any], video: Signal) -> Floats:
    """Luma as a share of the way from black to white."""
    black, white = video.codes(BLACK)[0], video.codes(WHITE)[0]
    return (plane.astype(np.float64) - black) / (white - black)


# --- Flat patches -------------------------------------------------------------------------------------------


def chroma_span(span: Span, step_x: int, step_y: int) -> Span:
    """The chroma samples whose luma samples all lie in `span`: rounded inward."""
    return Span(
        left=-(-span.left // step_x),
        top=-(-span.top // step_y),
        right=span.right // step_x,
        bottom=span.bottom // step_y,
    )


def samples(planes: Planes, fmt: Format, patch: Patch, video: Signal) -> Iterator[NDArray[Any]]:
    """The samples of a patch inside the margins, plane by plane."""
    luma = patch_area(fmt, patch, MARGIN_X, MARGIN_Y)
    for i, plane in enumerate(planes):
        span = luma if i == 0 else chroma_span(luma, *video.sampling.chroma_step)
        yield plane[span.top : span.bottom, span.left : span.right]


def check_patches(pattern: str, fmt: Format, video: Signal, options: Options | None = None) -> int:
    """Every flat patch is its code in all its samples, every slope its mean; returns how many samples were read."""
    scene = PATTERNS[pattern].scene(fmt, options, video)
    planes = draw_frame(scene, fmt, video)
    count = 0
    for patch in scene.patches:
        for name, code, found in zip(
            video.components, video.codes(patch.colour), samples(planes, fmt, patch, video), strict=True
        ):
            count += found.size
            if found.size == 0:
                continue
            step_x, step_y = video.sampling.chroma_step
            if name != video.components[0] and ((patch.thin and step_y > 1) or (patch.core and step_x > 1)):
                continue  # A chroma sample reaches beyond the line, or round the middle of a dot.
            where = f"{pattern} {fmt.id} {video} {patch.name} {name}: {np.unique(found)}, expected {code}"
            if patch.sloped:
                assert abs(float(found.mean()) - code) <= {8: 1, 10: 3}[video.bits], where
            else:
                assert int(found.min()) == int(found.max()) == code, where
    return count


def check_all(pattern: str, fmt: Format, signals: Iterator[Signal]) -> None:
    scene = PATTERNS[pattern].scene(fmt)
    for video in signals:
        if check_raster(fmt, video.sampling) is None:
            count = check_patches(pattern, fmt, video)
            assert count > 0 or not scene.patches


def every_signal(fmt: Format) -> Iterator[Signal]:
    for code_range, bits, sampling in itertools.product(Range, (8, 10), Sampling):
        yield signal(fmt, range=code_range, bits=bits, sampling=sampling)


def some_signals(fmt: Format) -> Iterator[Signal]:
    """Each sampling once, each range and depth twice."""
    yield signal(fmt, sampling=Sampling.RGB, bits=8, range=Range.FULL, edges=Edges.HARD)
    yield signal(fmt, sampling=Sampling.YCBCR_444, bits=10, range=Range.FULL)
    yield signal(fmt, sampling=Sampling.YCBCR_422, bits=10)
    yield signal(fmt, sampling=Sampling.YCBCR_420, bits=8)


@pytest.mark.parametrize("name", rest_is_slow(FEW, ["240p", "480i", "720p60"]))
@pytest.mark.parametrize("pattern", PATTERNS)
def test_flat_patches_are_exact(pattern: str, name: str) -> None:
    """Every flat patch equals its code in all samples of all planes, every slope its mean."""
    check_all(pattern, FORMATS[name], some_signals(FORMATS[name]))


@pytest.mark.slow
@pytest.mark.parametrize("name", ONE_EACH)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_flat_patches_are_exact_everywhere(pattern: str, name: str) -> None:
    """The same in every raster, range, depth and sampling."""
    check_all(pattern, FORMATS[name], every_signal(FORMATS[name]))


@pytest.mark.parametrize("name", ["480i", "720p60"])
@pytest.mark.parametrize(
    ("pattern", "options"),
    [
        ("bars", Options(bars="100/0/100/0")),
        ("bars", Options(bars="75/0/75/0")),
        *(("field", Options(colour=colour, level=Fraction(3, 4))) for colour in COLOURS),
        ("field", Options(colour="white", level=Fraction(109, 100))),
        ("window", Options(area=Fraction(1, 4), level=Fraction(1, 2))),
        ("crosshatch", Options(cells=(7, 5), level=Fraction(3, 5))),
        ("dots", Options(cells=(8, 6))),
    ],
)
def test_flat_patches_of_options_are_exact(pattern: str, options: Options, name: str) -> None:
    """What the user chooses is drawn as exactly as the defaults."""
    for video in some_signals(FORMATS[name]):
        assert check_patches(pattern, FORMATS[name], video, options) > 0


def check_tables(name: str, bars: dict[str, Any], greys: dict[str, Any]) -> None:
    fmt = FORMATS[name]
    for bits, sampling in itertools.product((8, 10), Sampling):
        video = signal(fmt, bits=bits, sampling=sampling)
        key = f"{'rgb' if sampling.is_rgb else video.matrix.value}_{bits}"
        expected = {"white": bars["full"]["white"][key], "black": bars["full"]["black"][key]}
        expected |= {bar: row[key] for bar, row in bars["three_quarters"].items() if bar != "white"}
        check_against("bars", fmt, video, expected)
        centre = 1 << (bits - 1)
        rows = greys["greys"][str(bits)]
        check_against(
            "steps",
            fmt,
            video,
            {
                name: [code, *([code] * 2 if sampling.is_rgb else [centre] * 2)]
                for percent, code in rows.items()
                for name in (percent, f"{percent} lower")
            },
        )


def check_against(pattern: str, fmt: Format, video: Signal, expected: dict[str, list[int]]) -> None:
    scene = PATTERNS[pattern].scene(fmt, None, video)
    planes = draw_frame(scene, fmt, video)
    assert {patch.name for patch in scene.patches} == expected.keys()
    for patch in scene.patches:
        found = [np.unique(part).tolist() for part in samples(planes, fmt, patch, video)]
        assert found == [[code] for code in expected[patch.name]], (pattern, fmt.id, video, patch.name)


@pytest.mark.parametrize("name", rest_is_slow(FEW, ["240p", "480i", "720p60"]))
def test_bars_and_steps_carry_the_tables_codes(name: str, bars: dict[str, Any], greys: dict[str, Any]) -> None:
    """What is drawn for bars and grey steps is the standards' table, with no arithmetic of this project between."""
    check_tables(name, bars, greys)


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in FORMATS if name not in FEW])
def test_bars_and_steps_carry_the_tables_codes_everywhere(
    name: str, bars: dict[str, Any], greys: dict[str, Any]
) -> None:
    """The same in the other named formats."""
    check_tables(name, bars, greys)


@given(st.sampled_from(DEPTHS), st.sampled_from(Sampling), st.sampled_from(Range), st.data())
def test_quantising_floats_is_quantising_exactly(
    bits: int, sampling: Sampling, code_range: Range, data: st.DataObject
) -> None:
    """Samples in float64 get the codes that exact arithmetic gives, ties and clipped levels among them."""
    video = Signal(range=code_range, matrix=Matrix.BT709, bits=bits, sampling=sampling)
    level = st.fractions(min_value=Fraction(-1, 5), max_value=Fraction(13, 10), max_denominator=1000)
    colour = Colour(data.draw(level), data.draw(level), data.draw(level))
    found = quantise(np.array([float(value) for value in video.exact(colour)]), video)
    assert found.tolist() == list(video.codes(colour))
    assert found.dtype == (np.uint8 if bits == 8 else np.uint16)


@pytest.mark.parametrize(
    ("name", "sampling", "reason"),
    [
        ("641x480@60", Sampling.YCBCR_422, "4:2:2 needs an even width, 641x480p@60 is 641 wide"),
        ("640x481@60", Sampling.YCBCR_420, "4:2:0 needs an even number of lines, 640x481p@60 has 481"),
        ("640x482i@60", Sampling.YCBCR_420, "4:2:0 needs a multiple of 4 of lines, 640x482i@60 has 482"),
        ("640x482@60", Sampling.YCBCR_420, None),
        ("641x481@75", Sampling.YCBCR_444, None),
        ("641x481@75", Sampling.RGB, None),
    ],
)
def test_rasters_that_cannot_be_sampled(name: str, sampling: Sampling, reason: str | None) -> None:
    """A raster that has no whole chroma samples is refused in words, any other is drawn."""
    fmt = parse_format(name)
    assert check_raster(fmt, sampling) == reason
    video = signal(fmt, sampling=sampling)
    scene = PATTERNS["bars"].scene(fmt)
    if reason is None:
        assert draw_frame(scene, fmt, video)[0].shape == (fmt.height, fmt.width)
    else:
        with pytest.raises(ValueError, match=reason):
            draw_frame(scene, fmt, video)


@pytest.mark.parametrize(
    "name",
    quick_and_slow(["2x2@60", "3x5@60", "64x48@60", "2x2048@60"], ["641x481@75", "1024x4@60"]),
)
def test_any_raster_is_drawn_whole(name: str) -> None:
    """From the smallest raster to the longest, every pattern fills every plane with codes that may be written."""
    fmt = parse_format(name)
    for sampling in (Sampling.RGB, Sampling.YCBCR_420):
        video = signal(fmt, sampling=sampling)
        if check_raster(fmt, sampling):
            continue
        for pattern in PATTERNS.values():
            if pattern.id == "dots" and min(fmt.width, fmt.height) < 8:
                continue  # refused: a dot grid needs two cells each way
            planes = draw_frame(pattern.scene(fmt, None, video), fmt, video)
            sizes = [plane.shape for plane in planes]
            step_x, step_y = sampling.chroma_step
            small = fmt.height // step_y, fmt.width // step_x
            assert sizes == [(fmt.height, fmt.width), small, small]
            # Usable 10-bit codes of narrow range: BT.656.
            assert all(4 <= plane.min() <= plane.max() <= 1019 for plane in planes)


# --- Crosshatch ---------------------------------------------------------------------------------------------


def runs(bright: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First sample and the one after the last of each run of bright samples."""
    steps = np.diff(np.concatenate([[0], bright.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True))


def check_grid(found: list[tuple[int, int]], size: int, start: int, cell: int, count: int, thickness: int) -> None:
    """The runs along one axis of the raster are the lines of an equal grid, the outer ones cut by the raster's edge."""
    expected = [start + i * cell for i in range(count + 1)]
    assert len(found) == len(expected)
    for (first, last), middle in zip(found, expected, strict=True):
        assert first == max(0, middle - thickness // 2)
        assert last == min(size, middle + thickness // 2)


@pytest.mark.parametrize("name", rest_is_slow(FORMATS, FEW))
@pytest.mark.parametrize("sampling", [Sampling.RGB, Sampling.YCBCR_444])
def test_crosshatch_lines_in_the_samples(name: str, sampling: Sampling) -> None:
    """With hard edges the lines' middles, read from runs of bright samples, are equal cells apart."""
    fmt = FORMATS[name]
    video = signal(fmt, sampling=sampling, edges=Edges.HARD)
    plane = draw_frame(PATTERNS["crosshatch"].scene(fmt), fmt, video)[0]
    assert set(np.unique(plane)) == {64, 940}  # BT.601-7 Table 3
    columns, rows = (16, 12) if fmt.picture_aspect == Fraction(4, 3) else (32, 18)
    width, height = fmt.picture.width // columns, fmt.picture.height // rows
    assert width * columns == fmt.picture.width
    assert height * rows == fmt.picture.height
    bright = plane == 940
    # Even, and nearest to two lines on the glass: 2.2 or 1.8 samples in SD, 4.4 or 3.7 at half of its lines.
    wide = 4 if fmt.height < 300 else 2
    for row in range(2, fmt.height - 2):
        if not bright[row].all() and row % height not in (0, 1, height - 1):
            check_grid(runs(bright[row]), fmt.width, fmt.picture.left, width, columns, wide)
    check_grid(runs(bright[:, fmt.picture.left + width // 2]), fmt.height, 0, height, rows, 2)


@pytest.mark.parametrize("name", FORMATS)
@every_edge
def test_crosshatch_is_mirror_symmetric(name: str, edges: Edges) -> None:
    """Luma is the same from the left and from the right, from the top and from the bottom, to the sample."""
    fmt = FORMATS[name]
    luma = draw_frame(PATTERNS["crosshatch"].scene(fmt), fmt, signal(fmt, edges=edges))[0]
    assert np.array_equal(luma, luma[:, ::-1])
    assert np.array_equal(luma, luma[::-1])


@pytest.mark.parametrize("name", rest_is_slow([*ONE_EACH, "641x481@75", "1024x768@60"], [*ONE_EACH[:4], "641x481@75"]))
@pytest.mark.parametrize("pattern", [*(p for p in PATTERNS if p.startswith("crosshatch-")), "circles", "dots"])
def test_grids_and_circles_are_mirror_symmetric(name: str, pattern: str) -> None:
    """The other grids, the circles and the dots are mirrored to the sample as well, odd rasters among them."""
    fmt = FORMATS[name] if name in FORMATS else parse_format(name)
    for edges in Edges:
        luma = draw_frame(PATTERNS[pattern].scene(fmt), fmt, signal(fmt, edges=edges))[0]
        assert np.array_equal(luma, luma[:, ::-1])
        assert np.array_equal(luma, luma[::-1])


@pytest.mark.parametrize("name", ["480i", "576i", "1080i50"])
@pytest.mark.parametrize("pattern", ["crosshatch", "crosshatch-fine", "crosshatch-rb", "circles", "overscan", "centre"])
@every_edge
def test_both_lines_of_a_level_line_are_alike(name: str, pattern: str, edges: Edges) -> None:
    """Of a horizontal line in an interlaced picture, the upper and lower field's halves carry the same codes."""
    fmt = FORMATS[name]
    video = signal(fmt, edges=edges)
    scene = PATTERNS[pattern].scene(fmt)
    # Words and slanted lines may cross a rule: only the rules are drawn.
    rules = tuple(shape for shape in scene.shapes if isinstance(shape, Rule) and not shape.vertical)
    luma = draw(rules, scene.background, fmt, video)[0]
    seen = 0
    for rule in rules:
        span = rule_area(fmt, rule)
        if span.top > 0 and span.bottom < fmt.height:
            lines = luma[span.top : span.bottom, span.left : span.right]
            assert len(lines) % 2 == 0
            assert (lines == lines[0]).all()
            seen += 1
    assert seen > 0


# --- Circles and dots ---------------------------------------------------------------------------------------


def ellipse(x: Floats, y: Floats) -> tuple[float, float, float, float]:
    """Centre and the two axes of the least-squares conic through points; the axes are its own, not x and y."""
    a, b, c, d, e = np.linalg.lstsq(np.stack([x * x, x * y, y * y, x, y], axis=1), np.ones(len(x)), rcond=None)[0]
    form = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(2 * form, [-d, -e])
    short, long = sorted(((1 + centre @ form @ centre) / np.linalg.eigvalsh(form)) ** 0.5)
    return float(centre[0]), float(centre[1]), float(short), float(long)


def ring_points(share: Floats, fmt: Format, ring: Ring, near: float, clear: float) -> tuple[Floats, Floats]:
    """Radial centroids of a ring in 120 sectors, in lines on the glass from its centre.

    Only samples within `near` lines of the ring count, and those whose |sin 2a| is above `clear`.
    """
    rows, columns = np.indices(share.shape) + 0.5
    x = (columns - float(column(fmt, ring.x))) * float(fmt.sample_aspect)
    y = rows - float(line(fmt, ring.y))
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    used = (abs(radius - float(ring.radius) * fmt.picture.height) < near) & (abs(np.sin(2 * angle)) >= clear)
    sector = ((angle[used] + np.pi) / (2 * np.pi) * 120).astype(int) % 120
    weight = np.bincount(sector, share[used], 120)
    full = weight > 0.5
    r = np.bincount(sector, (share * radius)[used], 120)[full] / weight[full]
    a = np.bincount(sector, (share * angle)[used], 120)[full] / weight[full]
    return r * np.cos(a), r * np.sin(a)


@pytest.mark.parametrize("name", ROUND)
@every_edge
def test_large_circle_is_round_and_centred(name: str, edges: Edges) -> None:
    """An ellipse fitted to the large ring, as drawn with its square, is round within 0.05 % and centred."""
    fmt = FORMATS[name]
    scene, video = PATTERNS["circles"].scene(fmt), signal(fmt, edges=edges)
    large = max((shape for shape in scene.shapes if isinstance(shape, Ring)), key=lambda ring: ring.radius)
    share = light(draw_frame(scene, fmt, video)[0], video)
    # Clear of the places where the ring touches its square.
    x, y, short, long = ellipse(*ring_points(share, fmt, large, near=5, clear=0.6))
    assert long / short - 1 < 0.0005
    assert abs(x) / float(fmt.sample_aspect) < 0.02
    assert abs(y) < 0.02
    assert (long * short) ** 0.5 == pytest.approx(float(large.radius) * fmt.picture.height, rel=0.0005)


def spread(share: Floats, fmt: Format, video: Signal) -> tuple[float, float, float, float]:
    """Centroid (samples, lines) and root mean squares (lines on the glass) of what is drawn, as if never sampled.

    A sample's own extent spreads light by 1/12 of its square. A shaped edge spreads it by 4 (1/3 - 2/pi^2), the
    variance of the sine-squared pulse whose half-amplitude duration is 2 samples, and by one sample's extent again.
    """
    own = 1 / 12
    shaping = own + 4 * (1 / 3 - 2 / np.pi**2) if video.edges is Edges.SHAPED else 0.0
    rows, columns = np.indices(share.shape) + 0.5
    total = share.sum()
    x, y = (share * columns).sum() / total, (share * rows).sum() / total
    across = (share * (columns - x) ** 2).sum() / total - own - shaping
    down = (share * (rows - y) ** 2).sum() / total - own
    return float(x), float(y), float(across**0.5) * float(fmt.sample_aspect), float(down**0.5)


@pytest.mark.parametrize("name", rest_is_slow(ROUND, ["480i", "720p60"]))
@every_edge
def test_every_ring_is_round_and_centred(name: str, edges: Edges) -> None:
    """Each ring alone, corner circles too, spreads as far across as down within 0.05 %, about its own centre."""
    fmt = FORMATS[name]
    video = signal(fmt, edges=edges, bits=16)
    rings = [shape for shape in PATTERNS["circles"].scene(fmt).shapes if isinstance(shape, Ring)]
    for ring in rings:
        x, y, across, down = spread(light(draw((ring,), BLACK, fmt, video)[0], video), fmt, video)
        assert abs(across / down - 1) < 0.0005, (ring, across / down)
        assert x == pytest.approx(float(column(fmt, ring.x)), abs=0.02)
        assert y == pytest.approx(float(line(fmt, ring.y)), abs=0.02)


def ideal_disc(shape: tuple[int, int], x: float, y: float, radius: float, aspect: float) -> Floats:
    """The share of each sample that a disc covers, from 32 x 32 points a sample; `radius` in lines."""
    points = 32
    rows, columns = ((np.arange(size * points) + 0.5) / points for size in shape)
    inside = ((columns - x) * aspect) ** 2 + ((rows - y) ** 2)[:, None] <= radius**2
    shares: Floats = inside.reshape(shape[0], points, shape[1], points).mean(axis=(1, 3))
    return shares


@pytest.mark.parametrize("name", ROUND)
@every_edge
def test_dots_are_round_and_centred(name: str, edges: Edges) -> None:
    """Dots in the middle and in the corners spread across and down as an ideal disc does within 1 %, and are centred.

    Samples are too coarse to show a small disc as round: at 240 lines even the ideal one spreads 2.8 % further across.
    """
    fmt = FORMATS[name]
    aspect = float(fmt.sample_aspect)
    video = signal(fmt, edges=edges, bits=16)
    scene = PATTERNS["dots"].scene(fmt)
    share = light(draw_frame(scene, fmt, video)[0], video)
    for dot in (scene.dots[0], scene.dots[len(scene.dots) // 2], scene.dots[-1]):
        x, y, radius = float(column(fmt, dot.x)), float(line(fmt, dot.y)), float(dot.radius * fmt.picture.height)
        reach = radius + 4
        left, top = round(x - reach / aspect), round(y - reach)
        around = share[top : round(y + reach), left : round(x + reach / aspect)]
        found_x, found_y, across, down = spread(around, fmt, video)
        assert found_x + left == pytest.approx(x, abs=0.02)
        assert found_y + top == pytest.approx(y, abs=0.02)
        ideal = ideal_disc(around.shape, x - left, y - top, radius, aspect)
        *_, ideal_across, ideal_down = spread(ideal, fmt, replace(video, edges=Edges.HARD))
        assert abs(across / down / (ideal_across / ideal_down) - 1) < 0.01, (across / down, ideal_across / ideal_down)


# --- Edges --------------------------------------------------------------------------------------------------

PLANES = [("444", 0), ("444", 1), ("444", 2), ("422", 0), ("422", 1), ("420", 2)]


def edge(sampling: str, plane: int, edges: Edges, at: int = 960) -> tuple[Floats, int]:
    """A step from black to blue at boundary `at` of a 1080-line picture: a row of shares, and luma samples a sample."""
    fmt = FORMATS["1080p50"]
    video = signal(fmt, sampling=Sampling(sampling), bits=16, edges=edges)
    step = Box(left=Fraction(at, 1920), top=-FAR, right=FAR, bottom=FAR, colour=COLOURS["blue"])
    row = draw((step,), BLACK, fmt, video)[plane][200].astype(np.float64)
    return (row - row[0]) / (row[-1] - row[0]), video.sampling.chroma_step[0] if plane else 1


def reconstructed(row: Floats) -> Floats:
    """The step as band-limited interpolation gives it, 64 points a sample, 20 samples about its middle.

    The row is continued by its mirror image, so that it is periodic without another step.
    """
    half = len(row) // 2
    fine: Floats = resample(np.concatenate([row, row[::-1]]), 128 * len(row))
    return fine[64 * (half - 20) : 64 * (half + 20)]


def crossing(fine: Floats, share: float) -> float:
    """Where the reconstructed step first passes `share`, in samples."""
    i = int(np.flatnonzero((fine[:-1] < share) & (fine[1:] >= share))[0])
    return float((i + (share - fine[i]) / (fine[i + 1] - fine[i])) / 64)


@pytest.mark.parametrize(("sampling", "plane"), PLANES)
def test_shaped_edges_do_not_ring(sampling: str, plane: int) -> None:
    """A shaped step, put together again by band-limited interpolation, overshoots by less than 0.5 %.

    Edges lie between samples, where the integrated sine-squared of 2 samples overshoots by 0.45 % (computed); with a
    sample in its middle it would be 0.1 %.
    """
    fine = reconstructed(edge(sampling, plane, Edges.SHAPED)[0])
    assert max(fine.max() - 1, -fine.min()) < 0.005


def test_hard_edges_ring() -> None:
    """The measurement of ringing sees it: a step from one sample to the next overshoots by about 14 %."""
    # Band-limited interpolation of a one-sample step; computed.
    fine = reconstructed(edge("444", 0, Edges.HARD)[0])
    assert fine.max() - 1 == pytest.approx(0.14, abs=0.005)


@pytest.mark.parametrize(("sampling", "plane"), PLANES)
def test_rise_of_shaped_edges(sampling: str, plane: int) -> None:
    """The rise from 10 to 90 % is 0.964 of the sine-squared pulse's duration: 2 luma samples, chroma twice that."""
    row, step = edge(sampling, plane, Edges.SHAPED)
    fine = reconstructed(row)
    rise = (crossing(fine, 0.9) - crossing(fine, 0.1)) * step
    # 0.964 HAD: computed from the integrated sine-squared.
    assert rise == pytest.approx(0.964 * (4 if plane else 2), rel=0.01)


@pytest.mark.parametrize("at", [960, 961])
@pytest.mark.parametrize(("sampling", "plane"), PLANES)
def test_the_middle_of_an_edge_stays(sampling: str, plane: int, at: int) -> None:
    """Shaped or hard, the step's middle is the boundary that it was drawn at, for luma and for chroma."""
    for edges in Edges:
        row, step = edge(sampling, plane, edges, at)
        # Chroma samples stand over even luma samples, so they reach half a luma sample less to the right.
        middle = 1920 - step * row.sum() - (step - 1) / 2
        assert middle == pytest.approx(at, abs=0.005)


@pytest.mark.parametrize("name", quick_and_slow(["480i"], ["576p", "1080i50"]))
@pytest.mark.parametrize("pattern", ["overscan", "circles", "slate", "centre", "crosshatch-rg", "bars"])
def test_shaping_is_one_filter_along_the_lines(name: str, pattern: str) -> None:
    """Whatever is drawn, a shaped plane is the hard one filtered with the integrated sine-squared's steps."""
    fmt = FORMATS[name]
    usual = signal(fmt, bits=16)
    scene = PATTERNS[pattern].scene(fmt)
    hard = draw_frame(scene, fmt, replace(usual, edges=Edges.HARD))
    for index, (plane, shaped) in enumerate(zip(hard, draw_frame(scene, fmt, usual), strict=True)):
        duration = 4 if index else 2
        at = np.arange(-duration - 0.5, duration + 1)
        inside = np.clip(at, -duration, duration)
        rise = 0.5 + inside / (2 * duration) + np.sin(np.pi * inside / duration) / (2 * np.pi)
        padded = np.pad(plane.astype(np.float64), ((0, 0), (duration, duration)), mode="edge")
        expected = sum(tap * padded[:, i : i + fmt.width] for i, tap in enumerate(np.diff(rise)))
        # Both sides were rounded once.
        assert np.abs(expected - shaped).max() <= 1.01


# --- Ramp and window ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["720p60", "1080i50", "1080p50"])
@every_edge
def test_ramp_has_every_code_equally_often(name: str, edges: Edges) -> None:
    """Where the width allows, each 10-bit code from 64 to 940 has the same whole number of samples of the ramp."""
    fmt = FORMATS[name]
    row = draw_frame(PATTERNS["ramp"].scene(fmt), fmt, signal(fmt, edges=edges))[0][0]
    each = fmt.width // 877  # 940 - 64 + 1
    counts = np.bincount(row, minlength=1024)
    assert each >= 1
    assert counts[65:940].tolist() == [each] * 875
    # Black and white go on outside the ramp, by the same number of samples within one.
    assert counts[64] + counts[940] == fmt.width - 875 * each
    assert abs(int(counts[64]) - int(counts[940])) <= 1
    assert counts[64] >= each


@pytest.mark.parametrize("name", [*ONE_EACH, "641x481@75"])
@pytest.mark.parametrize("bits", DEPTHS)
@every_edge
def test_ramp_never_falls(name: str, bits: int, edges: Edges) -> None:
    """The ramp goes from black to white over the whole raster, alike in every line, and never falls."""
    fmt = FORMATS[name] if name in FORMATS else parse_format(name)
    for code_range in Range:
        video = signal(fmt, bits=bits, range=code_range, edges=edges)
        luma = draw_frame(PATTERNS["ramp"].scene(fmt), fmt, video)[0].astype(np.int64)
        assert (luma == luma[0]).all()
        falls = np.flatnonzero(np.diff(luma[0]) < 0)
        assert not falls.size, [luma[0, at - 1 : at + 3].tolist() for at in falls]
        black, white = video.codes(BLACK)[0], video.codes(WHITE)[0]
        step = (white - black) / fmt.picture.width + 1
        assert abs(luma[0, 0] - black) <= step
        assert abs(luma[0, -1] - white) <= step


@pytest.mark.parametrize("name", FEW)
@pytest.mark.parametrize("percent", [1, 10, 25, 100])
def test_window_area_in_the_samples(name: str, percent: int) -> None:
    """The bright samples of a window are its share of the picture, to within a sample and a line of its sides."""
    fmt = FORMATS[name]
    scene = PATTERNS["window"].scene(fmt, Options(area=Fraction(percent, 100)))
    video = signal(fmt, edges=Edges.HARD)
    bright = draw_frame(scene, fmt, video)[0] == 940  # BT.601-7 Table 3
    side = (percent / 100) ** 0.5
    width, height = side * fmt.picture.width, side * fmt.picture.height
    assert (width - 1) * (height - 1) <= bright.sum() <= (width + 1) * (height + 1)
    assert np.array_equal(bright, bright[:, ::-1])
    assert np.array_equal(bright, bright[::-1])


# --- Fields -------------------------------------------------------------------------------------------------


def bar_middles(fmt: Format, frames: range) -> list[float]:
    """The middle of the field-order bar in each field, in time, in samples: from the luma of that field's own rows."""
    scene, video = PATTERNS["field-order"].scene(fmt), signal(fmt)
    middles = []
    for index in frames:
        luma = light(draw_frame(scene, fmt, video, index)[0], video)
        for field in (0, 1) if fmt.field_order is FieldOrder.TOP else (1, 0):
            rows = luma[field::2]
            assert (rows == rows[0]).all()
            middles.append(float((rows[0] * (np.arange(fmt.width) + 0.5)).sum() / rows[0].sum()))
    return middles


@pytest.mark.parametrize("name", ["480i", "576i", "1080i50"])
@pytest.mark.parametrize("order", [FieldOrder.TOP, FieldOrder.BOTTOM])
def test_field_order_bar_moves_evenly_field_by_field(name: str, order: FieldOrder) -> None:
    """The bar is further on in each field than in the one before it, by its speed, within the snap to whole samples."""
    fmt = replace(FORMATS[name], field_order=order)
    scene = PATTERNS["field-order"].scene(fmt)
    (mover,) = (shape for shape in scene.shapes if isinstance(shape, Mover))
    count = frames_per_period(scene, fmt)
    assert count == round(4 * fmt.frame_rate)
    middles = np.array(bar_middles(fmt, range(count // 3, count // 3 + 8)))
    speed = float(mover.dx) * fmt.picture.width / (2 * count)
    straight = middles[0] + speed * np.arange(len(middles))
    assert speed > 2
    assert np.abs(middles - straight).max() <= 1
    assert (np.diff(middles) > 0).all()


@pytest.mark.parametrize("name", ["480i", "576i", "1080i50"])
def test_field_order_repeats_after_its_period(name: str) -> None:
    """The frame after the last is the first again, and the bar is out of sight there."""
    fmt = FORMATS[name]
    scene, video = PATTERNS["field-order"].scene(fmt), signal(fmt)
    count = frames_per_period(scene, fmt)
    first, again = draw_frame(scene, fmt, video, 0), draw_frame(scene, fmt, video, count)
    assert np.array_equal(first[0], again[0])
    assert (first[0][::2] == 64).all()  # BT.601-7 Table 3
    assert not np.array_equal(first[0], draw_frame(scene, fmt, video, count // 2)[0])


RED_BAR = Scene(
    background=BLACK,
    shapes=(
        Mover(
            shape=Box(left=Fraction(0), top=-FAR, right=Fraction(1, 8), bottom=FAR, colour=COLOURS["red"]),
            dx=Fraction(1),
            dy=Fraction(0),
        ),
    ),
    period=Fraction(4, 50),
)
"""A bar an eighth wide that is a quarter further on in each field of a 50-field picture."""


@pytest.mark.parametrize("sampling", list(Sampling))
@pytest.mark.parametrize("order", [FieldOrder.TOP, FieldOrder.BOTTOM])
def test_fields_are_drawn_at_their_own_times(sampling: Sampling, order: FieldOrder) -> None:
    """Each field of a frame, chroma as well, is that field of the scene drawn alone at its own time."""
    fmt = replace(FORMATS["576i"], field_order=order)
    video = signal(fmt, sampling=sampling)
    assert frames_per_period(RED_BAR, fmt) == 2
    for index in (0, 1):
        frame = draw_frame(RED_BAR, fmt, video, index)
        for turn in (0, 1):
            field = turn if order is FieldOrder.TOP else 1 - turn
            alone = draw(RED_BAR.at(Fraction(2 * index + turn, 4)), BLACK, fmt, video)
            for plane, single in zip(frame, alone, strict=True):
                assert np.array_equal(plane[field::2], single[field::2])


def test_chroma_rows_hold_the_colour_of_their_own_field() -> None:
    """In 4:2:0 a row of one field shows no trace of the bar's place in the other field."""
    fmt = FORMATS["576i"]
    video = signal(fmt, sampling=Sampling.YCBCR_420)
    cr = draw_frame(RED_BAR, fmt, video)[2]
    red, none = video.codes(COLOURS["red"])[2], 512  # BT.601-7 Table 3: zero of 10 bits
    # Picture from sample 8, 704 wide: the bar covers luma samples 8 to 96 in the top field, 184 to 272 in the bottom.
    here, there = slice((8 + 6) // 2, (96 - 6) // 2), slice((184 + 6) // 2, (272 - 6) // 2)
    top, bottom = cr[0::2], cr[1::2]
    assert (top[:, here] == red).all()
    assert (top[:, there] == none).all()
    assert (bottom[:, there] == red).all()
    assert (bottom[:, here] == none).all()


@pytest.mark.parametrize("interlaced", [True, False])
def test_chroma_lies_between_its_lines(interlaced: bool) -> None:
    """At a level edge each 4:2:0 row is the mean of the two lines it lies between, weighted by where it lies."""
    fmt = FORMATS["576i" if interlaced else "576p"]
    shapes = tuple(
        Box(left=-FAR, top=Fraction(i, 576), right=FAR, bottom=FAR, colour=COLOURS["red" if i % 8 == 3 else "blue"])
        for i in (3, 8, 11, 17, 19, 30, 43)
    )
    full = draw(shapes, BLACK, fmt, signal(fmt, bits=16))
    small = draw(shapes, BLACK, fmt, signal(fmt, bits=16, sampling=Sampling.YCBCR_420))
    for plane, sampled in zip(full[1:], small[1:], strict=True):
        for row in range(fmt.height // 2):
            if interlaced:
                # H.262 and H.264 (from memory): a quarter line pitch of the field below the upper line in the top
                # field, a quarter above the lower line in the bottom field.
                upper = row // 2 * 4 + row % 2
                lower, weight = upper + 2, 0.25 if row % 2 else 0.75
            else:
                upper, lower, weight = 2 * row, 2 * row + 1, 0.5
            expected = weight * float(plane[upper, 300]) + (1 - weight) * float(plane[lower, 300])
            assert abs(float(sampled[row, 150]) - expected) <= 1.01, row


@given(st.integers(0, 1079), st.integers(1, 40))
def test_boxes_cover_whole_lines(top: int, height: int) -> None:
    """A box on whole lines covers exactly those lines."""
    fmt = FORMATS["1080p50"]
    bottom = min(1080, top + height)
    box = Box(left=-FAR, top=Fraction(top, 1080), right=FAR, bottom=Fraction(bottom, 1080), colour=WHITE)
    luma = draw((box,), BLACK, fmt, signal(fmt))[0][:, 0]
    assert np.flatnonzero(luma == 940).tolist() == list(range(top, bottom))
