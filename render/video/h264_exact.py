"""An H.264 writer whose decoded pictures equal its input in every sample, by construction.

A macroblock is sent in one of four ways:

- skipped in a P picture, where it did not change;
- intra-predicted whole, where the prediction alone already equals the samples;
- intra-predicted in 4 x 4 blocks of luma, with coefficients that give the rest exactly;
- as I_PCM, the samples themselves, where that takes fewer bits, or where no prediction gives the chroma.

The deblocking filter is off, so what is coded exactly stays exact. The level is the first whose limits are all kept.

The stream is High profile, 8 bits, 4:2:0, CAVLC, one slice a picture, in closed groups: an IDR picture, then P
pictures. "H.264, clause" means Rec. ITU-T H.264; all such references and values are from memory.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from render.video.h264_blocks import RAW_BITS, Tokens, code_blocks, tokens_of
from render.video.h264_cavlc import coeff_token
from render.video.h264_levels import Load, level_for
from render.video.h264_predict import (
    INEXACT,
    SIZES,
    ChromaMode,
    LumaMode,
    Mask,
    Modes,
    Planes,
    changed_blocks,
    exact_modes,
    padded,
)
from render.video.h264_syntax import (
    COUNT_BITS,
    Nal,
    StreamTags,
    check_tags,
    closed,
    field_order_message,
    macroblock_grid,
    nal_unit,
    picture_bits,
    se,
    sequence_bits,
    shape_of,
    u,
    ue,
    whole_bytes,
)

__all__ = ["encode", "group_length"]

# mb_type in an I slice: I_NxN, here of 4 x 4 blocks; I_PCM; I_16x16_m_0_0 is 1 + m (H.264, table 7-11).
# In a P slice the intra types follow five inter types (table 7-13).
_I_NXN = 0
_I_PCM = 25
_INTRA_IN_P = 5


def encode(
    frames: Sequence[tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]],
    tags: StreamTags,
    *,
    idr_pic_id: int = 0,
    period: int | None = None,
    references: int = 1,
) -> bytes:
    """Write the frames as closed groups; the decoded frames equal them in every sample.

    Each frame is (Y, Cb, Cr), uint8: Y of shape (height, width), Cb and Cr of (height / 2, width / 2). Every
    code passes unchanged, 0 and 255 too. When interlaced, the rows of the two fields alternate in all planes.
    Returns an Annex B byte stream. It may be repeated, byte for byte, for a longer clip. A group starts with an IDR
    picture, and one every `group_length` frames. `period` is the number of frames after which the first one
    comes again in a clip that is long enough, for the level's limits; None is a group's length. Frames that are fewer
    are taken to go on as they do. `references` is how many pictures a decoder keeps: a frame that equals the one so
    many before it costs next to nothing.

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
    length, shape = group_length(tags.rate), shape_of(tags, references)
    whole = max(length if period is None else period, len(frames))
    pictures: list[bytes] = []
    kept: deque[Planes] = deque(maxlen=references)
    for index, frame in enumerate(frames):
        _check_frame(frame, tags, index)
        group, number = divmod(index, length)
        if not number:
            kept.clear()
        picture = _slice_of(frame, kept, _Place(tags, number, (idr_pic_id + group) % 65536))
        message = nal_unit(Nal.SEI, field_order_message(tags)) if tags.interlaced else b""
        pictures.append(message + nal_unit(Nal.P_SLICE if number else Nal.IDR_SLICE, picture))
        kept.append(frame)
        if len(pictures) in _TRIED:
            # What no level holds is known before all of it is coded.
            level_for(shape, _load(pictures, whole))
    level = level_for(shape, _load(pictures, whole))
    sequence = nal_unit(Nal.SPS, closed(sequence_bits(tags, level, references)))
    return b"".join([sequence, nal_unit(Nal.PPS, closed(picture_bits(tags))), *pictures])


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a picture stands."""

    tags: StreamTags
    number: int
    """In its group; 0 is an IDR picture."""
    idr_pic_id: int


def _slice_of(frame: Planes, kept: Sequence[Planes], place: _Place) -> bytes:
    """The slice of a frame after those that a decoder keeps, the latest of them last."""
    grid, whole = macroblock_grid(place.tags), np.ones(macroblock_grid(place.tags), np.bool_)
    if not kept:
        return _slice(_slice_header(place, 1), padded(frame, grid), whole, is_p=False)
    for back in dict.fromkeys((1, len(kept))):
        if frame is kept[-back] or all(map(np.array_equal, frame, kept[-back])):
            return closed(_slice_header(place, back) + ue(whole.size))  # mb_skip_run over all of it
    now = padded(frame, grid)
    return _slice(_slice_header(place, 1), now, changed_blocks(now, padded(kept[-1], grid)), is_p=True)


def group_length(rate: Fraction) -> int:
    """Frames from one IDR picture to the next: five seconds at most, so that a player soon finds its way in."""
    return max(2, int(_LONGEST_GROUP_S * rate))


_LONGEST_GROUP_S = 5
_TRIED = (2, 8, 64)
"""After how many pictures the level is looked for, so that a clip that none holds is given up soon."""


def _load(pictures: Sequence[bytes], whole: int) -> Load:
    return Load(sizes=tuple(8 * len(picture) for picture in pictures), whole=whole)


def _check_frame(frame: Planes, tags: StreamTags, index: int) -> None:
    luma, chroma = (tags.height, tags.width), (tags.height // 2, tags.width // 2)
    for name, plane, shape in zip(("Y", "Cb", "Cr"), frame, (luma, chroma, chroma), strict=True):
        if plane.shape != shape or plane.dtype != np.uint8:
            raise ValueError(f"frame {index}: {name} is {plane.shape} {plane.dtype}; needed: {shape} uint8")


# --- Slice: one picture ---


def _slice_header(place: _Place, back: int) -> str:
    """H.264, clause 7.3.3. A P picture is predicted from the one `back` before it."""
    tags, index = place.tags, place.number
    # first_mb_in_slice; slice_type 7 or 5: I or P, as every slice of the picture (table 7-6); set id; frame_num.
    bits = [ue(0), ue(5 if index else 7), ue(0), u(index % 2**COUNT_BITS, COUNT_BITS)]
    bits += ["0"] if tags.interlaced else []  # field_pic_flag
    bits += [] if index else [ue(place.idr_pic_id)]
    if tags.interlaced:
        # The earlier field of frame n counts 2n, the later 2n + 1. The top field's count is written, then how far
        # the bottom field's is from it (clause 8.2.1.1). In an IDR picture the lesser must be 0.
        top, bottom = (0, 1) if tags.top_field_first else (1, 0)
        bits += [u((2 * index + top) % 2**COUNT_BITS, COUNT_BITS), se(bottom - top)]
    if index:
        # No override of the reference count; which picture comes first in the list, if not the latest (clause 8.2.4.3:
        # so much less than this one's number, then the end); sliding-window marking.
        bits += ["0", "0" if back == 1 else "1" + ue(0) + ue(back - 1) + ue(3), "0"]
    else:
        bits.append("00")  # Earlier pictures are still put out; no long-term reference.
    return "".join([*bits, se(0), ue(1)])  # slice_qp_delta; disable_deblocking_filter_idc


def _slice(header: str, planes: Planes, changed: Mask, *, is_p: bool) -> bytes:
    """The slice: changed macroblocks are intra, the others skipped (H.264, clauses 7.3.4 and 7.3.5).

    A skipped macroblock copies the picture before at the predicted vector (H.264, clause 8.4.1.1). That vector is
    always zero here. It is zero at the picture's top and left edges. Elsewhere it comes from the vectors of
    neighbours before it: intra ones count as zero, skipped ones have zero by the same argument.
    """
    first_type = _INTRA_IN_P if is_p else 0
    ways = _ways(planes, changed, first_type)
    # mb_type, intra_chroma_pred_mode, mb_qp_delta, coeff_token of no coefficient
    predicted = {
        (mode, chroma_mode, table): ue(first_type + 1 + mode) + ue(chroma_mode) + se(0) + coeff_token(0, 0, table)
        for mode in LumaMode
        for chroma_mode in ChromaMode
        for table in range(4)
    }
    addresses = np.flatnonzero(changed)
    skips = np.diff(addresses, prepend=-1) - 1
    samples, blocks = _raw_samples(planes, ways.raw), iter(ways.blocks)
    out, pending = bytearray(), [header]
    maps = (ways.luma, ways.chroma, ways.tokens[::4, ::4], ways.by_blocks, ways.raw)
    lists = (a.tolist() for a in (skips, *(each[changed] for each in maps)))
    for skip, mode, chroma_mode, table, is_by_blocks, is_raw in zip(*lists, strict=True):
        if is_p:
            pending.append(ue(skip))  # mb_skip_run
        if is_raw:
            pending.append(ue(first_type + _I_PCM))
            out += whole_bytes("".join(pending))  # The zeros at its end are pcm_alignment_zero_bit.
            out += next(samples)
            pending.clear()
        elif is_by_blocks:
            pending.append(next(blocks))
        else:
            pending.append(predicted[mode, chroma_mode, table])
    skipped_last = changed.size - 1 - (int(addresses[-1]) if len(addresses) else -1)
    if skipped_last:
        pending.append(ue(skipped_last))
    return bytes(out + closed("".join(pending)))


@dataclass(frozen=True, slots=True)
class _Ways:
    """How the macroblocks of a picture are sent."""

    luma: Modes
    chroma: Modes
    by_blocks: Mask
    raw: Mask
    tokens: Tokens
    blocks: list[str]
    """Those that go as 4 x 4 blocks, in their order."""


def _ways(planes: Planes, changed: Mask, first_type: int) -> _Ways:
    luma, chroma = exact_modes(planes, changed)
    by_blocks = changed & (luma == INEXACT) & (chroma != INEXACT)
    coded, fits = code_blocks(planes[0], by_blocks)
    while True:
        coded, by_blocks = coded.only(fits), _only(by_blocks, fits)
        raw = changed & ~by_blocks & ((luma == INEXACT) | (chroma == INEXACT))
        tokens = tokens_of(coded, by_blocks, raw)
        blocks = coded.bits(first_type + _I_NXN, chroma[by_blocks].tolist(), by_blocks, tokens)
        fits = np.array([len(bits) < RAW_BITS for bits in blocks], np.bool_)
        if fits.all():
            return _Ways(luma, chroma, by_blocks, raw, tokens, blocks)


def _only(where: Mask, kept: Mask) -> Mask:
    """The marked places that are kept."""
    left = np.zeros_like(where)
    left[where] = kept
    return left


def _raw_samples(planes: Planes, raw: Mask) -> Iterator[bytes]:
    """The 384 bytes of each I_PCM macroblock: Y, Cb, Cr, each row by row (H.264, clause 7.3.5).

    A code of 0 is allowed: clause 7.4.5 forbids it only in the profiles below High.
    """
    rows, columns = np.nonzero(raw)
    parts = []
    for plane, size in zip(planes, SIZES, strict=True):
        blocks = plane.reshape(raw.shape[0], size, raw.shape[1], size).swapaxes(1, 2)
        parts.append(blocks[rows, columns].reshape(len(rows), size * size))
    return map(bytes, np.concatenate(parts, axis=1))
