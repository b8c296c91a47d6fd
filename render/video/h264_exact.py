"""An H.264 writer whose decoded pictures equal its input in every sample, by construction.

A macroblock is sent in one of three ways, and none of them codes a residual:

- intra-predicted, where the prediction alone already equals the samples;
- skipped in a P picture, where the macroblock did not change;
- as I_PCM, the samples themselves, wherever neither of the two holds.

The deblocking filter is off. So nothing is rounded, and no quantiser matters. The price is bits: fine detail is
sent nearly raw, and the level is chosen for the bits too.

The stream is High profile, 8 bits, 4:2:0, CAVLC, one slice a picture, one closed group: an IDR picture, then P
pictures. "H.264, clause" means Rec. ITU-T H.264; all such references and values are from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import IntEnum
from fractions import Fraction
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from render.video.h264_syntax import (
    COUNT_BITS,
    BitsError,
    LevelError,
    Load,
    Nal,
    StreamTags,
    check_tags,
    closed,
    field_order_message,
    level_for,
    macroblock_grid,
    nal_unit,
    picture_bits,
    se,
    sequence_bits,
    u,
    ue,
    whole_bytes,
)

__all__ = ["BitsError", "LevelError", "StreamTags", "encode"]

Plane: TypeAlias = NDArray[np.uint8]
Planes: TypeAlias = tuple[Plane, Plane, Plane]
Mask: TypeAlias = NDArray[np.bool_]
Modes: TypeAlias = NDArray[np.int8]
Sums: TypeAlias = NDArray[np.int64]


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


_INEXACT = -1  # No prediction gives the samples: the macroblock goes as I_PCM.

# mb_type in an I slice: I_PCM; I_16x16_m_0_0 is 1 + m (H.264, table 7-11). In a P slice the intra types follow
# five inter types (table 7-13).
_I_PCM = 25
_INTRA_IN_P = 5

# Size of a macroblock in the planes Y, Cb, Cr of 4:2:0 (H.264, clause 6.2).
_SIZES = (16, 8, 8)


def encode(
    frames: Sequence[tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]],
    tags: StreamTags,
    *,
    idr_pic_id: int = 0,
    period: int | None = None,
) -> bytes:
    """Write the frames as one closed group; the decoded frames equal them in every sample.

    Each frame is (Y, Cb, Cr), uint8: Y of shape (height, width), Cb and Cr of (height / 2, width / 2). Every
    code passes unchanged, 0 and 255 too. When interlaced, the rows of the two fields alternate in all planes.
    Returns an Annex B byte stream. It may be repeated, byte for byte, for a longer clip. `period` is the number of
    frames after which the first one comes again in a clip that is long enough, for the level's bit rate; None is a
    second. A group that is shorter is taken to go on as it does.

    idr_pic_id, 0 to 65535, matters for a group of one frame only: two IDR pictures in a row must carry different
    ids (H.264, clause 7.4.3), so give every second such group another id. In a longer group a P picture stands
    between any two IDR pictures, and the ids may be equal.

    Raises ValueError for no frame, a wrong shape or type, or a tag that the syntax or the levels cannot carry.
    """
    if len(frames) == 0:
        raise ValueError("frames is empty; at least one frame is needed")
    if not 0 <= idr_pic_id <= 65535:
        raise ValueError(f"idr_pic_id is {idr_pic_id}; allowed: 0 to 65535")
    check_tags(tags)
    grid = macroblock_grid(tags)
    units: list[bytes] = []
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
            units.append(nal_unit(Nal.SEI, field_order_message(tags)))
        body = _slice(_slice_header(tags, index, idr_pic_id), sent, changed, is_p=index > 0)
        units.append(nal_unit(Nal.P_SLICE if index else Nal.IDR_SLICE, body))
    sequence = nal_unit(Nal.SPS, closed(sequence_bits(tags, level_for(tags, _load(units, tags, period)))))
    return b"".join([sequence, nal_unit(Nal.PPS, closed(picture_bits(tags))), *units])


def _load(units: Sequence[bytes], tags: StreamTags, period: int | None) -> Load:
    """What the pictures ask of a player: the first as it is, the later ones by their mean up to the whole period."""
    # Each picture of an interlaced stream has a message before it.
    per_picture = 2 if tags.interlaced else 1
    first, count = 8 * sum(map(len, units[:per_picture])), len(units) // per_picture
    later = 8 * sum(map(len, units[per_picture:]))
    whole = max(round(tags.rate) if period is None else period, count)
    bits = first + Fraction(later * (whole - 1), max(1, count - 1))
    return Load(bits=bits, seconds=whole / tags.rate, largest=8 * max(map(len, units)))


def _check_frame(frame: Planes, tags: StreamTags, index: int) -> None:
    luma, chroma = (tags.height, tags.width), (tags.height // 2, tags.width // 2)
    for name, plane, shape in zip(("Y", "Cb", "Cr"), frame, (luma, chroma, chroma), strict=True):
        if plane.shape != shape or plane.dtype != np.uint8:
            raise ValueError(f"frame {index}: {name} is {plane.shape} {plane.dtype}; needed: {shape} uint8")


# --- Macroblocks: which are unchanged, which are predicted exactly ---


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
    bits = [ue(0), ue(5 if index else 7), ue(0), u(index % 2**COUNT_BITS, COUNT_BITS)]
    bits += ["0"] if tags.interlaced else []  # field_pic_flag
    bits += [] if index else [ue(idr_pic_id)]
    if tags.interlaced:
        # The earlier field of frame n counts 2n, the later 2n + 1. The top field's count is written, then how far
        # the bottom field's is from it (clause 8.2.1.1). In an IDR picture the lesser must be 0.
        top, bottom = (0, 1) if tags.top_field_first else (1, 0)
        bits += [u((2 * index + top) % 2**COUNT_BITS, COUNT_BITS), se(bottom - top)]
    # P: no override of the reference count, no reordering, sliding-window marking. IDR: earlier pictures are
    # still put out; no long-term reference.
    bits.append("000" if index else "00")
    return "".join([*bits, se(0), ue(1)])  # slice_qp_delta; disable_deblocking_filter_idc


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
        (mode, chroma_mode, beside): ue(first_type + 1 + mode) + ue(chroma_mode) + se(0) + token
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
            pending.append(ue(skip))  # mb_skip_run
        if is_raw:
            pending.append(ue(first_type + _I_PCM))
            out += whole_bytes("".join(pending))  # The zeros at its end are pcm_alignment_zero_bit.
            out += next(samples)
            pending.clear()
        else:
            pending.append(predicted[mode, chroma_mode, beside])
    skipped_last = changed.size - 1 - (int(addresses[-1]) if len(addresses) else -1)
    if skipped_last:
        pending.append(ue(skipped_last))
    return bytes(out + closed("".join(pending)))


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
