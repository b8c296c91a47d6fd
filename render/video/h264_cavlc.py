"""Transform coefficients as bits: the CAVLC codes of H.264, clause 9.2, of 4 x 4 luma blocks.

Tables as of Rec. ITU-T H.264, tables 9-5, 9-7, 9-8 and 9-10, from memory; the tests decode what they write with
libavcodec. Each table holds (length, value) of a code.
"""

from __future__ import annotations

from functools import lru_cache

__all__ = ["coeff_token", "luma_block", "token_class"]

# By class of nC (0-1, 2-3, 4-7), then 4 * total coefficients + trailing ones. From nC 8 on the code has 6 bits.
_TOKEN_LENGTHS = (
    "1000 6200 8630 9875 a986 ba97 dba8 ddb9 ddda eedb eeed ffee fffe gfff gggf gggg gggg",
    "2000 6200 6530 7664 8664 8775 9886 b996 bbb7 cbb9 cccb cccb dddc dddd dedd eeed eeee",
    "4000 6400 6540 6554 7554 7554 7664 7664 8775 8876 9887 9988 9998 a999 aaaa aaaa aaaa",
)
_TOKEN_VALUES = (
    "1000 5100 7410 7653 7653 7654 f654 be54 8ad4 fe94 badc fe9c bad8 f19c bed8 7a9c 4658",
    "3000 b200 7730 7a95 7654 4656 7658 f654 bed4 fa94 bedc 8a98 fedc ba9c 7b68 98a1 7654",
    "f000 fe00 bfd0 8cec fabb b89a 9ed9 8a98 fedd beac fadc be9c 8ad8 d79c 9cba 5876 1432",
)
_TOTAL_ZEROS_LENGTHS = (
    *("1334455667788999", "333334444556666", "43334433455656", "5344333434555", "444333334545", "65333333436"),
    *("6533323436", "645322336", "66422325", "5532224", "443313", "44213", "3312", "221", "11"),
)
_TOTAL_ZEROS_VALUES = (
    *("1323232323232321", "765435432323210", "57654343232110", "3754654332210", "543765432110", "11765432110"),
    *("1154332110", "111332210", "10132111", "1013211", "011213", "01111", "0111", "011", "01"),
)
_RUN_LENGTHS = ("11", "122", "2222", "22233", "223333", "2333333", "333333345678 9ab".replace(" ", ""))
_RUN_VALUES = ("10", "110", "3210", "32110", "323210", "3013254", "765432111111111"[:15])


def _codes(lengths: str, values: str) -> list[str]:
    pairs = zip(lengths.replace(" ", ""), values.replace(" ", ""), strict=True)
    return [f"{int(value, 17):0{int(length, 17)}b}" if length != "0" else "" for length, value in pairs]


_TOKENS = [_codes(*both) for both in zip(_TOKEN_LENGTHS, _TOKEN_VALUES, strict=True)]
# 0000 11 is no coefficient; else total - 1 and the trailing ones, 4 and 2 bits.
_TOKENS.append([f"{4 * (i // 4 - 1) + i % 4:06b}" if i >= 4 else "000011" for i in range(68)])
_TOTAL_ZEROS = [_codes(*both) for both in zip(_TOTAL_ZEROS_LENGTHS, _TOTAL_ZEROS_VALUES, strict=True)]
_RUNS = [_codes(*both) for both in zip(_RUN_LENGTHS, _RUN_VALUES, strict=True)]


def token_class(count: int) -> int:
    """Which table of coeff_token goes with nC: 0 to 3."""
    return 0 if count < 2 else 1 if count < 4 else 2 if count < 8 else 3


def coeff_token(total: int, ones: int, table: int) -> str:
    """coeff_token of `total` coefficients, the last `ones` of them trailing ones."""
    return _TOKENS[table][4 * total + ones]


@lru_cache(maxsize=1 << 16)
def luma_block(levels: tuple[int, ...], table: int) -> str:
    """A block of 16 coefficients in scan order: H.264, clause 7.3.5.3.2."""
    places = [i for i, level in enumerate(levels) if level]
    if not places:
        return coeff_token(0, 0, table)
    coded = [levels[i] for i in reversed(places)]
    ones = next((i for i, level in enumerate(coded[:3]) if abs(level) != 1), min(3, len(coded)))
    bits = [coeff_token(len(coded), ones, table), *("1" if level < 0 else "0" for level in coded[:ones])]
    length = 1 if len(coded) > 10 and ones < 3 else 0
    for i in range(ones, len(coded)):
        bits.append(_level(coded[i], length, lifted=i == ones < 3))
        length = max(length, 1)
        if abs(coded[i]) > 3 << (length - 1) and length < 6:
            length += 1
    zeros = places[-1] + 1 - len(places)
    if len(coded) < 16:
        bits.append(_TOTAL_ZEROS[len(coded) - 1][zeros])
    for place, before in zip(reversed(places), [*reversed(places[:-1])], strict=False):
        if not zeros:
            break
        run = place - before - 1
        bits.append(_RUNS[min(zeros, 7) - 1][run])
        zeros -= run
    return "".join(bits)


def _level(level: int, length: int, *, lifted: bool) -> str:
    """level_prefix and level_suffix of a coefficient: H.264, clause 9.2.2.1. `length` is suffixLength.

    `lifted`: the first one after fewer than three trailing ones is no 1 or -1, so it counts from 2.
    The escape has 12 bits, as profiles up to High know no longer one: levels up to about 2000 can be coded.
    """
    code = (2 * level - 2 if level > 0 else -2 * level - 1) - (2 if lifted else 0)
    if length == 0:
        if code < 14:
            return "0" * code + "1"
        if code < 30:
            return "0" * 14 + f"1{code - 14:04b}"
        return "0" * 15 + f"1{code - 30:012b}"
    if code < 15 << length:
        return "0" * (code >> length) + f"1{code & ((1 << length) - 1):0{length}b}"
    return "0" * 15 + f"1{code - (15 << length):012b}"
