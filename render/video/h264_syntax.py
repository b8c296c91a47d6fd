"""The syntax of an H.264 stream around its macroblocks: parameter sets, the field order message, bits and NAL units.

"H.264, clause" means Rec. ITU-T H.264; all such references and values are from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction
from functools import lru_cache

from render.video.h264_levels import Shape

__all__ = [
    "COUNT_BITS",
    "Nal",
    "StreamTags",
    "check_tags",
    "closed",
    "field_order_message",
    "macroblock_grid",
    "nal_unit",
    "picture_bits",
    "se",
    "sequence_bits",
    "shape_of",
    "u",
    "ue",
    "whole_bytes",
]


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


class Nal(IntEnum):
    """nal_unit_type (H.264, table 7-1)."""

    P_SLICE = 1
    IDR_SLICE = 5
    SEI = 6
    SPS = 7
    PPS = 8


# aspect_ratio_idc 1 and up (H.264, table E-1).
_RATIOS = "1/1, 12/11, 10/11, 16/11, 40/33, 24/11, 20/11, 32/11, 80/33, 18/11, 15/11, 64/33, 160/99, 4/3, 3/2, 2"
_ASPECT_RATIO_IDC = {Fraction(ratio): idc for idc, ratio in enumerate(_RATIOS.split(","), 1)}
_EXTENDED_SAR = 255

# Width of frame_num and of pic_order_cnt_lsb. Any from 4 to 16 would do: a picture refers to the one before it.
COUNT_BITS = 8

# In a NAL unit no byte below 4 may follow two zeros; a 3 goes between (H.264, clause 7.4.1.1). A match takes the
# two zeros alone, so the search goes on at the third byte with no zero counted, as it must after the 3.
_EMULATION = re.compile(rb"\x00\x00(?=[\x00-\x03])")


def check_tags(tags: StreamTags) -> None:
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


def macroblock_grid(tags: StreamTags) -> tuple[int, int]:
    """(rows, columns) of macroblocks; the rows go in pairs when interlaced (map units)."""
    tall = 32 if tags.interlaced else 16
    return -(-tags.height // tall) * tall // 16, -(-tags.width // 16)


def shape_of(tags: StreamTags, references: int = 1) -> Shape:
    """What the level is chosen by."""
    rows, columns = macroblock_grid(tags)
    return Shape(rows=rows, columns=columns, rate=tags.rate, interlaced=tags.interlaced, references=references)


# --- Parameter sets and the field order message ---


def sequence_bits(tags: StreamTags, level: int, references: int) -> str:
    """H.264, clause 7.3.2.1.1."""
    rows, columns = macroblock_grid(tags)
    bits = [u(100, 8), u(0, 8), u(level, 8), ue(0)]  # High profile (clause A.2.4); no constraint; id
    bits += [ue(1), ue(0), ue(0), "00"]  # 4:2:0; 8 bits, 8 bits; no bypass, no scaling matrix
    bits.append(ue(COUNT_BITS - 4))
    # Output order is decoding order, and order type 2 says just that. But type 2 gives both fields of a frame one
    # count, and a pic_struct of one field after the other asks for two (table D-1). So fields take type 0.
    bits += [ue(0), ue(COUNT_BITS - 4)] if tags.interlaced else [ue(2)]
    bits += [ue(references), "0", ue(columns - 1)]  # max_num_ref_frames; no gaps in frame_num; width
    # Height in map units; frame_mbs_only_flag; where that is 0, no adaptive frame and field macroblocks.
    bits += [ue(rows // 2 - 1), "00"] if tags.interlaced else [ue(rows - 1), "1"]
    bits.append("1")  # direct_8x8_inference_flag
    right = (columns * 16 - tags.width) // 2
    bottom = (rows * 16 - tags.height) // (4 if tags.interlaced else 2)
    bits += ["1", ue(0), ue(right), ue(0), ue(bottom)] if right or bottom else ["0"]
    return "".join([*bits, "1", _usability_bits(tags, references)])


def _usability_bits(tags: StreamTags, references: int) -> str:
    """The VUI parameters: H.264, clause E.1.1."""
    aspect = _ASPECT_RATIO_IDC.get(tags.sample_aspect, _EXTENDED_SAR)
    bits = ["1", u(aspect, 8)]
    if aspect == _EXTENDED_SAR:
        bits += [u(tags.sample_aspect.numerator, 16), u(tags.sample_aspect.denominator, 16)]
    bits += ["0", "1", u(5, 3), u(tags.full_range, 1)]  # no overscan_info; video_format 5: unspecified
    bits += ["1", u(tags.primaries, 8), u(tags.transfer, 8), u(tags.matrix, 8)]
    bits += ["1", ue(0), ue(0)]  # chroma_sample_loc_type 0 for both fields: left (figure E-1)
    # A tick is half a frame, whether or not there are fields; then fixed_frame_rate_flag (clause E.2.1): players that
    # heed it do not guess the rate. The ordinary encoder is asked for it with force-cfr (`h264_clip`).
    bits += ["1", u(tags.rate.denominator, 32), u(2 * tags.rate.numerator, 32), "1"]
    bits += ["00", u(tags.interlaced, 1)]  # no HRD parameters; pic_struct_present_flag
    bits += ["1", "0", ue(0), ue(0), ue(0), ue(0)]  # vectors: inside, zero; bytes, bits: no limit stated
    return "".join([*bits, ue(0), ue(references)])  # max_num_reorder_frames; max_dec_frame_buffering


def picture_bits(tags: StreamTags) -> str:
    """H.264, clause 7.3.2.2."""
    bits = [ue(0), ue(0), "0", u(tags.interlaced, 1)]  # ids; CAVLC; two order counts a frame
    bits += [ue(0), ue(0), ue(0), "000"]  # one slice group; one reference; no weights
    bits += [se(-26), se(0), se(0)]  # pic_init_qp_minus26: the finest quantiser
    bits.append("100")  # deblocking_filter_control; intra may lean on skipped macroblocks; nothing redundant
    return "".join([*bits, "00", se(0)])  # no transform_8x8_mode_flag, no scaling matrix; second chroma quantiser


def field_order_message(tags: StreamTags) -> bytes:
    """The picture timing message: H.264, clauses 7.3.2.3.1, D.1.1 and D.1.3."""
    # pic_struct 3: top, bottom; 4: bottom, top (table D-1). Then no clock timestamp for either field.
    payload = closed(u(3 if tags.top_field_first else 4, 4) + "00")
    return bytes([1, len(payload), *payload, 0x80])  # payloadType, payloadSize; trailing bits


# --- Bits and NAL units ---


def u(value: int, width: int) -> str:
    """Unsigned, of fixed width: H.264, clause 7.2."""
    return f"{value:0{width}b}"


@lru_cache(maxsize=4096)
def ue(value: int) -> str:
    """Unsigned Exp-Golomb code: H.264, clause 9.1."""
    code = f"{value + 1:b}"
    return "0" * (len(code) - 1) + code


def se(value: int) -> str:
    """Signed Exp-Golomb code: H.264, clause 9.1.1."""
    return ue(2 * value - 1 if value > 0 else -2 * value)


def whole_bytes(bits: str) -> bytes:
    """The bits, filled up with zeros to a whole byte."""
    size = -(-len(bits) // 8)
    return int(bits.ljust(8 * size, "0"), 2).to_bytes(size, "big")


def closed(bits: str) -> bytes:
    """The bits and the trailing bits, a one and zeros to a whole byte: H.264, clause 7.3.2.11."""
    return whole_bytes(bits + "1")


def nal_unit(unit_type: Nal, payload: bytes) -> bytes:
    """A NAL unit after its start code: H.264, clauses 7.3.1 and B.1.1."""
    # nal_ref_idc is above 0 for all but the message: each picture is read by the next (clause 7.4.1).
    header = (0 if unit_type is Nal.SEI else 3 << 5) | unit_type
    return b"\x00\x00\x00\x01" + bytes([header]) + _EMULATION.sub(b"\x00\x00\x03", payload)
