"""An H.264 writer whose decoded pictures equal its input in every sample, by construction.

A macroblock is sent in one of three ways, and none of them codes a residual:

- intra-predicted, where the prediction alone already equals the samples;
- skipped in a P picture, where the macroblock did not change;
- as I_PCM, the samples themselves, wherever neither of the two holds.

The deblocking filter is off. So nothing is rounded, and no quantiser matters. The price is bits: fine detail is
sent nearly raw. The bit rate and the buffer size of the level are not looked at.

The stream is High profile, 8 bits, 4:2:0, CAVLC, one slice a picture, one closed group: an IDR picture, then P
pictures. "H.264, clause" means Rec. ITU-T H.264; all such references and values are from memory.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["StreamTags", "encode"]

Plane: TypeAlias = NDArray[np.uint8]
Planes: TypeAlias = tuple[Plane, Plane, Plane]
Mask: TypeAlias = NDArray[np.bool_]
Modes: TypeAlias = NDArray[np.int8]
Sums: TypeAlias = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamTags:
    """What the stream says about its pictures; every field is written as it stands.

    width, height: in luma samples, even; the height a multiple of 4 when interlaced.
    rate: frames per second, above 0.
    sample_aspect: width of a sample over its height, above 0.
    interlaced: a frame is two interleaved fields; top_field_first is read only then.
    full_range: codes 0 to 255 rather than the narrow range.
    primaries, transfer, matrix: code points of Rec. ITU-T H.273, 0 to 255.
    """

    width: int
    height: int
    rate: Fraction
    sample_aspect: Fraction
    interlaced: bool
    top_field_first: bool
    full_range: bool
    primaries: int
    transfer: int
    matrix: int


class _Luma(IntEnum):
    """Intra16x16PredMode (H.264, table 8-4). Plane prediction, 3, is left out."""

    VERTICAL = 0
    HORIZONTAL = 1
    DC = 2


class _Chroma(IntEnum):
    """intra_chroma_pred_mode (H.264, table 7-16). Plane prediction, 3, is left out."""

    DC = 0
    HORIZONTAL = 1
    VERTICAL = 2


class _Nal(IntEnum):
    """nal_unit_type (H.264, table 7-1)."""

    P_SLICE = 1
    IDR_SLICE = 5
    SEI = 6
    SPS = 7
    PPS = 8


_INEXACT = -1  # No prediction gives the samples: the macroblock goes as I_PCM.

# mb_type in an I slice: I_PCM; I_16x16_m_0_0 is 1 + m (H.264, table 7-11). In a P slice the intra types follow
# five inter types (table 7-13).
_I_PCM = 25
_INTRA_IN_P = 5

# Size of a macroblock in the planes Y, Cb, Cr of 4:2:0 (H.264, clause 6.2).
_SIZES = (16, 8, 8)

# level_idc, MaxMBPS (macroblocks per second), MaxFS (macroblocks per frame): H.264, table A-1. Levels 1b, 2 and
# 4.1 are left out: they have these two limits from the level before.
_LEVELS = (
    *((10, 1_485, 99), (11, 3_000, 396), (12, 6_000, 396), (13, 11_880, 396), (21, 19_800, 792)),
    *((22, 20_250, 1_620), (30, 40_500, 1_620), (31, 108_000, 3_600), (32, 216_000, 5_120)),
    *((40, 245_760, 8_192), (42, 522_240, 8_704), (50, 589_824, 22_080), (51, 983_040, 36_864)),
    *((52, 2_073_600, 36_864), (60, 4_177_920, 139_264), (61, 8_355_840, 139_264), (62, 16_711_680, 139_264)),
)
# The levels that allow frame_mbs_only_flag equal to 0: 2.1 to 4.1 (H.264, table A-4).
_INTERLACED_LEVELS = range(21, 42)

# aspect_ratio_idc 1 and up (H.264, table E-1).
_RATIOS = "1/1, 12/11, 10/11, 16/11, 40/33, 24/11, 20/11, 32/11, 80/33, 18/11, 15/11, 64/33, 160/99, 4/3, 3/2, 2"
_ASPECT_RATIO_IDC = {Fraction(ratio): idc for idc, ratio in enumerate(_RATIOS.split(","), 1)}
_EXTENDED_SAR = 255

# Width of frame_num and of pic_order_cnt_lsb. Any from 4 to 16 would do: a picture refers to the one before it.
_COUNT_BITS = 8

# In a NAL unit no byte below 4 may follow two zeros; a 3 goes between (H.264, clause 7.4.1.1). A match takes the
# two zeros alone, so the search goes on at the third byte with no zero counted, as it must after the 3.
_EMULATION = re.compile(rb"\x00\x00(?=[\x00-\x03])")


def encode(
    frames: Sequence[tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]],
    tags: StreamTags,
    *,
    idr_pic_id: int = 0,
) -> bytes:
    """Write the frames as one closed group; the decoded frames equal them in every sample.

    Each frame is (Y, Cb, Cr), uint8: Y of shape (height, width), Cb and Cr of (height / 2, width / 2). Every
    code passes unchanged, 0 and 255 too. When interlaced, the rows of the two fields alternate in all planes.
    Returns an Annex B byte stream. It may be repeated, byte for byte, for a longer clip.

    idr_pic_id, 0 to 65535, matters for a group of one frame only: two IDR pictures in a row must carry different
    ids (H.264, clause 7.4.3), so give every second such group another id. In a longer group a P picture stands
    between any two IDR pictures, and the ids may be equal.

    Raises ValueError for no frame, a wrong shape or type, or a tag that the syntax or the levels cannot carry.
    """
    if len(frames) == 0:
        raise ValueError("frames is empty; at least one frame is needed")
    if not 0 <= idr_pic_id <= 65535:
        raise ValueError(f"idr_pic_id is {idr_pic_id}; allowed: 0 to 65535")
    _check_tags(tags)
    grid = _grid(tags)
    units = [_nal(_Nal.SPS, _closed(_sequence_bits(tags))), _nal(_Nal.PPS, _closed(_picture_bits(tags)))]
    before = sent = None
    for index, frame in enumerate(frames):
        _check_frame(frame, tags, index)
        if before is None or sent is None:
            sent, changed = _padded(frame, grid), np.ones(grid, np.bool_)
        elif all(map(np.array_equal, frame, before)):
            changed = np.zeros(grid, np.bool_)
        else:
            now = _padded(frame, grid)
            sent, changed = now, _changed(now, sent)
        before = frame
        if tags.interlaced:
            units.append(_nal(_Nal.SEI, _field_order(tags)))
        body = _slice(_slice_header(tags, index, idr_pic_id), sent, changed, is_p=index > 0)
        units.append(_nal(_Nal.P_SLICE if index else _Nal.IDR_SLICE, body))
    return b"".join(units)


def _check_tags(tags: StreamTags) -> None:
    if tags.width < 2 or tags.width % 2:
        raise ValueError(f"width is {tags.width}; allowed: even numbers above 0")
    step = 4 if tags.interlaced else 2
    if tags.height < step or tags.height % step:
        # CropUnitY is 4 where frame_mbs_only_flag is 0 (H.264, clause 7.4.2.1.1).
        raise ValueError(f"height is {tags.height}; allowed: multiples of {step}, as cropping goes in such steps")
    if tags.rate <= 0 or max(2 * tags.rate.numerator, tags.rate.denominator) >= 2**32:
        raise ValueError(f"rate is {tags.rate}; allowed: above 0, twice the rate in terms of at most 32 bits")
    aspect = tags.sample_aspect
    if aspect <= 0 or max(aspect.numerator, aspect.denominator) >= 2**16:
        raise ValueError(f"sample_aspect is {aspect}; allowed: above 0, in terms of at most 16 bits")
    for name in ("primaries", "transfer", "matrix"):
        if not 0 <= getattr(tags, name) <= 255:
            raise ValueError(f"{name} is {getattr(tags, name)}; allowed: 0 to 255")


def _check_frame(frame: Planes, tags: StreamTags, index: int) -> None:
    luma, chroma = (tags.height, tags.width), (tags.height // 2, tags.width // 2)
    for name, plane, shape in zip(("Y", "Cb", "Cr"), frame, (luma, chroma, chroma), strict=True):
        if plane.shape != shape or plane.dtype != np.uint8:
            raise ValueError(f"frame {index}: {name} is {plane.shape} {plane.dtype}; needed: {shape} uint8")


# --- Macroblocks: which are unchanged, which are predicted exactly ---


def _grid(tags: StreamTags) -> tuple[int, int]:
    """(rows, columns) of macroblocks; the rows go in pairs when interlaced (map units)."""
    tall = 32 if tags.interlaced else 16
    return -(-tags.height // tall) * tall // 16, -(-tags.width // 16)


def _padded(frame: Planes, grid: tuple[int, int]) -> Planes:
    """The planes over whole macroblocks. The edge samples go on: most likely prediction gives them."""

    def pad(plane: Plane, size: int) -> Plane:
        rows, columns = grid[0] * size - plane.shape[0], grid[1] * size - plane.shape[1]
        return np.pad(plane, ((0, rows), (0, columns)), mode="edge") if rows or columns else plane

    y, cb, cr = map(pad, frame, _SIZES)
    return y, cb, cr


def _whole(equal: Mask, size: int) -> Mask:
    """Per block of `size` (8 or 16) rows and columns of a mask: is it true all over?"""
    # Eight truth bytes at a time: far quicker than a reduction of booleans over two axes.
    words = np.ascontiguousarray(equal).view(np.uint64)
    rows = np.bitwise_and.reduce(words.reshape(-1, size, words.shape[1]), axis=1)
    whole: Mask = (rows.reshape(len(rows), -1, size // 8) == 0x0101010101010101).all(axis=2)
    return whole


def _changed(now: Planes, before: Planes) -> Mask:
    """Which macroblocks differ from those of the picture before, in any plane."""
    y, cb, cr = (_whole(a == b, size) for a, b, size in zip(now, before, _SIZES, strict=True))
    return ~(y & cb & cr)


def _exact_modes(planes: Planes, wanted: Mask) -> tuple[Modes, Modes]:
    """Luma and chroma prediction mode that gives each wanted macroblock exactly, or _INEXACT.

    The values of the other macroblocks mean nothing.
    """
    luma, chroma = (np.full(wanted.shape, _INEXACT, np.int8) for _ in range(2))
    if not wanted.any():
        return luma, chroma
    # Look only at the box round the wanted macroblocks, with one row above and one column to the left of it:
    # prediction reads no further. There that row and column seem to lie at the picture's edge, which does no
    # harm, as nothing in them is wanted. Where the box has no such row or column, the edge is the picture's own.
    rows, columns = np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0))
    top, left = max(int(rows[0]) - 1, 0), max(int(columns[0]) - 1, 0)
    bottom, right = int(rows[-1]) + 1, int(columns[-1]) + 1
    y, cb, cr = (
        plane[top * size : bottom * size, left * size : right * size]
        for plane, size in zip(planes, _SIZES, strict=True)
    )
    inside = np.s_[top:bottom, left:right]
    # Written from the last choice to the first, so that the first that is exact stands.
    luma[inside][_dc_luma(y)] = _Luma.DC
    luma[inside][_whole(_as_left(y), 16)] = _Luma.HORIZONTAL
    luma[inside][_whole(_as_above(y), 16)] = _Luma.VERTICAL
    chroma[inside][_whole(_as_above(cb) & _as_above(cr), 8)] = _Chroma.VERTICAL
    chroma[inside][_whole(_as_left(cb) & _as_left(cr), 8)] = _Chroma.HORIZONTAL
    chroma[inside][_dc_chroma(cb) & _dc_chroma(cr)] = _Chroma.DC
    return luma, chroma


def _as_above(plane: Plane) -> Mask:
    """Which samples equal the one above; none in the first row, where vertical prediction is not allowed.

    A block of such samples alone repeats the row above it: H.264, clauses 8.3.3.1 and 8.3.4.3.
    """
    equal = np.zeros(plane.shape, np.bool_)
    np.equal(plane[1:], plane[:-1], out=equal[1:])
    return equal


def _as_left(plane: Plane) -> Mask:
    """The same for the sample to the left: H.264, clauses 8.3.3.2 and 8.3.4.2."""
    equal = np.zeros(plane.shape, np.bool_)
    np.equal(plane[:, 1:], plane[:, :-1], out=equal[:, 1:])
    return equal


def _edge_sums(plane: Plane, size: int, run: int) -> tuple[Sums, Sums]:
    """Sums over runs of `run` samples just above each macroblock, and just left of it.

    Shapes: (rows, columns, size / run) each. Where there is no neighbour the sum is -1.
    """
    rows, columns, runs = plane.shape[0] // size, plane.shape[1] // size, size // run
    above, left = (np.full((rows, columns, runs), -1, np.int64) for _ in range(2))
    above[1:] = plane[size - 1 : -1 : size].reshape(rows - 1, columns, runs, run).sum(axis=3)
    ends = plane[:, size - 1 : -1 : size].reshape(rows, runs, run, columns - 1)
    left[:, 1:] = ends.sum(axis=2).transpose(0, 2, 1)
    return above, left


def _mean(first: Sums, second: Sums, count: int, *, both: bool) -> Plane:
    """Rounded mean of two edges of `count` samples each, or of the first that exists; 128 where none does.

    Without `both` the first alone counts where both exist.
    """
    mean = np.where(second >= 0, (second + count // 2) // count, 128)
    mean = np.where(first >= 0, (first + count // 2) // count, mean)
    if both:
        mean = np.where((first >= 0) & (second >= 0), (first + second + count) // (2 * count), mean)
    return mean.astype(np.uint8)


def _dc_luma(plane: Plane) -> Mask:
    """Which macroblocks equal their DC prediction: H.264, clause 8.3.3.3."""
    above, left = _edge_sums(plane, 16, 16)
    value = _mean(above[..., 0], left[..., 0], 16, both=True)
    blocks = plane.reshape(value.shape[0], 16, value.shape[1], 16)
    return _whole((blocks == value[:, None, :, None]).reshape(plane.shape), 16)


def _dc_chroma(plane: Plane) -> Mask:
    """The same for chroma, where each 4 x 4 quarter has its own prediction: H.264, clause 8.3.4.1."""
    above, left = _edge_sums(plane, 8, 4)
    value = np.empty((above.shape[0], 2, above.shape[1], 2), np.uint8)
    # The quarters on the diagonal take both edges; each of the other two prefers the edge that it touches.
    value[:, 0, :, 0] = _mean(above[..., 0], left[..., 0], 4, both=True)
    value[:, 0, :, 1] = _mean(above[..., 1], left[..., 0], 4, both=False)
    value[:, 1, :, 0] = _mean(left[..., 1], above[..., 0], 4, both=False)
    value[:, 1, :, 1] = _mean(above[..., 1], left[..., 1], 4, both=True)
    quarters = plane.reshape(value.shape[0], 2, 4, value.shape[2], 2, 4)
    return _whole((quarters == value[:, :, None, :, :, None]).reshape(plane.shape), 8)


# --- Slice: one picture ---


def _slice_header(tags: StreamTags, index: int, idr_pic_id: int) -> str:
    """H.264, clause 7.3.3."""
    # first_mb_in_slice; slice_type 7 or 5: I or P, as every slice of the picture (table 7-6); set id; frame_num.
    bits = [_ue(0), _ue(5 if index else 7), _ue(0), _u(index % 2**_COUNT_BITS, _COUNT_BITS)]
    bits += ["0"] if tags.interlaced else []  # field_pic_flag
    bits += [] if index else [_ue(idr_pic_id)]
    if tags.interlaced:
        # The earlier field of frame n counts 2n, the later 2n + 1. The top field's count is written, then how far
        # the bottom field's is from it (clause 8.2.1.1). In an IDR picture the lesser must be 0.
        top, bottom = (0, 1) if tags.top_field_first else (1, 0)
        bits += [_u((2 * index + top) % 2**_COUNT_BITS, _COUNT_BITS), _se(bottom - top)]
    # P: no override of the reference count, no reordering, sliding-window marking. IDR: earlier pictures are
    # still put out; no long-term reference.
    bits.append("000" if index else "00")
    return "".join([*bits, _se(0), _ue(1)])  # slice_qp_delta; disable_deblocking_filter_idc


def _slice(header: str, planes: Planes, changed: Mask, *, is_p: bool) -> bytes:
    """The slice: changed macroblocks are intra, the others skipped (H.264, clauses 7.3.4 and 7.3.5).

    A skipped macroblock copies the picture before at the predicted vector (H.264, clause 8.4.1.1). That vector is
    always zero here. It is zero at the picture's top and left edges. Elsewhere it comes from the vectors of
    neighbours before it: intra ones count as zero, skipped ones have zero by the same argument.
    """
    luma, chroma = _exact_modes(planes, changed)
    raw = changed & ((luma == _INEXACT) | (chroma == _INEXACT))
    beside_raw = np.zeros_like(raw)
    beside_raw[1:] |= raw[:-1]
    beside_raw[:, 1:] |= raw[:, :-1]
    first_type = _INTRA_IN_P if is_p else 0
    # coeff_token for no coefficient (H.264, table 9-5). An I_PCM neighbour counts as 16 coefficients, any other
    # here as 0 (clause 9.2.1): nC is 0 with no I_PCM to the left or above, else 8 or 16.
    tokens = {False: "1", True: "000011"}
    # mb_type, intra_chroma_pred_mode, mb_qp_delta, coeff_token
    predicted = {
        (mode, chroma_mode, beside): _ue(first_type + 1 + mode) + _ue(chroma_mode) + _se(0) + token
        for mode in _Luma
        for chroma_mode in _Chroma
        for beside, token in tokens.items()
    }
    addresses = np.flatnonzero(changed)
    skips = np.diff(addresses, prepend=-1) - 1
    samples = _raw_samples(planes, raw)
    out, pending = bytearray(), [header]
    lists = (a.tolist() for a in (skips, luma[changed], chroma[changed], beside_raw[changed], raw[changed]))
    for skip, mode, chroma_mode, beside, is_raw in zip(*lists, strict=True):
        if is_p:
            pending.append(_ue(skip))  # mb_skip_run
        if is_raw:
            pending.append(_ue(first_type + _I_PCM))
            out += _whole_bytes("".join(pending))  # The zeros at its end are pcm_alignment_zero_bit.
            out += next(samples)
            pending.clear()
        else:
            pending.append(predicted[mode, chroma_mode, beside])
    skipped_last = changed.size - 1 - (int(addresses[-1]) if len(addresses) else -1)
    if skipped_last:
        pending.append(_ue(skipped_last))
    return bytes(out + _closed("".join(pending)))


def _raw_samples(planes: Planes, raw: Mask) -> Iterator[bytes]:
    """The 384 bytes of each I_PCM macroblock: Y, Cb, Cr, each row by row (H.264, clause 7.3.5).

    A code of 0 is allowed: clause 7.4.5 forbids it only in the profiles below High.
    """
    rows, columns = np.nonzero(raw)
    parts = []
    for plane, size in zip(planes, _SIZES, strict=True):
        blocks = plane.reshape(raw.shape[0], size, raw.shape[1], size).swapaxes(1, 2)
        parts.append(blocks[rows, columns].reshape(len(rows), size * size))
    return map(bytes, np.concatenate(parts, axis=1))


# --- Parameter sets and the field order message ---


def _level(tags: StreamTags) -> int:
    """level_idc: the first level that holds the frame size and the macroblock rate (H.264, clause A.3.1)."""
    rows, columns = _grid(tags)
    for level, most_per_second, most_per_frame in _LEVELS:
        fits = rows * columns <= most_per_frame and max(rows, columns) ** 2 <= 8 * most_per_frame
        allowed = level in _INTERLACED_LEVELS or not tags.interlaced
        if fits and allowed and rows * columns * tags.rate <= most_per_second:
            return level
    size = f"{tags.width} x {tags.height} at {tags.rate} frames per second"
    raise ValueError(f"{size} is more than any level {'with fields ' if tags.interlaced else ''}holds")


def _sequence_bits(tags: StreamTags) -> str:
    """H.264, clause 7.3.2.1.1."""
    rows, columns = _grid(tags)
    bits = [_u(100, 8), _u(0, 8), _u(_level(tags), 8), _ue(0)]  # High profile (clause A.2.4); no constraint; id
    bits += [_ue(1), _ue(0), _ue(0), "00"]  # 4:2:0; 8 bits, 8 bits; no bypass, no scaling matrix
    bits.append(_ue(_COUNT_BITS - 4))
    # Output order is decoding order, and order type 2 says just that. But type 2 gives both fields of a frame one
    # count, and a pic_struct of one field after the other asks for two (table D-1). So fields take type 0.
    bits += [_ue(0), _ue(_COUNT_BITS - 4)] if tags.interlaced else [_ue(2)]
    bits += [_ue(1), "0", _ue(columns - 1)]  # max_num_ref_frames; no gaps in frame_num; width
    # Height in map units; frame_mbs_only_flag; where that is 0, no adaptive frame and field macroblocks.
    bits += [_ue(rows // 2 - 1), "00"] if tags.interlaced else [_ue(rows - 1), "1"]
    bits.append("1")  # direct_8x8_inference_flag
    right = (columns * 16 - tags.width) // 2
    bottom = (rows * 16 - tags.height) // (4 if tags.interlaced else 2)
    bits += ["1", _ue(0), _ue(right), _ue(0), _ue(bottom)] if right or bottom else ["0"]
    return "".join([*bits, "1", _usability_bits(tags)])


def _usability_bits(tags: StreamTags) -> str:
    """The VUI parameters: H.264, clause E.1.1."""
    aspect = _ASPECT_RATIO_IDC.get(tags.sample_aspect, _EXTENDED_SAR)
    bits = ["1", _u(aspect, 8)]
    if aspect == _EXTENDED_SAR:
        bits += [_u(tags.sample_aspect.numerator, 16), _u(tags.sample_aspect.denominator, 16)]
    bits += ["0", "1", _u(5, 3), _u(tags.full_range, 1)]  # no overscan_info; video_format 5: unspecified
    bits += ["1", _u(tags.primaries, 8), _u(tags.transfer, 8), _u(tags.matrix, 8)]
    bits += ["1", _ue(0), _ue(0)]  # chroma_sample_loc_type 0 for both fields: left (figure E-1)
    # A tick is half a frame, whether or not there are fields; then fixed_frame_rate_flag (clause E.2.1).
    bits += ["1", _u(tags.rate.denominator, 32), _u(2 * tags.rate.numerator, 32), "1"]
    bits += ["00", _u(tags.interlaced, 1)]  # no HRD parameters; pic_struct_present_flag
    bits += ["1", "0", _ue(0), _ue(0), _ue(0), _ue(0)]  # vectors: inside, zero; bytes, bits: no limit stated
    return "".join([*bits, _ue(0), _ue(1)])  # max_num_reorder_frames; max_dec_frame_buffering


def _picture_bits(tags: StreamTags) -> str:
    """H.264, clause 7.3.2.2."""
    bits = [_ue(0), _ue(0), "0", _u(tags.interlaced, 1)]  # ids; CAVLC; two order counts a frame
    bits += [_ue(0), _ue(0), _ue(0), "000"]  # one slice group; one reference; no weights
    bits += [_se(0), _se(0), _se(0)]  # quantisers, which no residual uses
    bits.append("100")  # deblocking_filter_control; intra may lean on skipped macroblocks; nothing redundant
    return "".join([*bits, "10", _se(0)])  # transform_8x8_mode_flag, which High alone has, and what goes with it


def _field_order(tags: StreamTags) -> bytes:
    """The picture timing message: H.264, clauses 7.3.2.3.1, D.1.1 and D.1.3."""
    # pic_struct 3: top, bottom; 4: bottom, top (table D-1). Then no clock timestamp for either field.
    payload = _closed(_u(3 if tags.top_field_first else 4, 4) + "00")
    return bytes([1, len(payload), *payload, 0x80])  # payloadType, payloadSize; trailing bits


# --- Bits and NAL units ---


def _u(value: int, width: int) -> str:
    """Unsigned, of fixed width: H.264, clause 7.2."""
    return f"{value:0{width}b}"


@lru_cache(maxsize=4096)
def _ue(value: int) -> str:
    """Unsigned Exp-Golomb code: H.264, clause 9.1."""
    code = f"{value + 1:b}"
    return "0" * (len(code) - 1) + code


def _se(value: int) -> str:
    """Signed Exp-Golomb code: H.264, clause 9.1.1."""
    return _ue(2 * value - 1 if value > 0 else -2 * value)


def _whole_bytes(bits: str) -> bytes:
    """The bits, filled up with zeros to a whole byte."""
    size = -(-len(bits) // 8)
    return int(bits.ljust(8 * size, "0"), 2).to_bytes(size, "big")


def _closed(bits: str) -> bytes:
    """The bits and the trailing bits, a one and zeros to a whole byte: H.264, clause 7.3.2.11."""
    return _whole_bytes(bits + "1")


def _nal(unit_type: _Nal, payload: bytes) -> bytes:
    """A NAL unit after its start code: H.264, clauses 7.3.1 and B.1.1."""
    # nal_ref_idc is above 0 for all but the message: each picture is read by the next (clause 7.4.1).
    header = (0 if unit_type is _Nal.SEI else 3 << 5) | unit_type
    return b"\x00\x00\x00\x01" + bytes([header]) + _EMULATION.sub(b"\x00\x00\x03", payload)
