"""A reader of H.264 in MP4, from the bytes alone, and the limits of the level that a stream declares.

Of its own: nothing here imports the project or a decoder. Boxes: ISO/IEC 14496-12 and 14496-15. NAL units, parameter
sets and levels: Rec. ITU-T H.264, clauses 7.3, E.1.1 and Annex A. All from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

# level_idc: MaxMBPS, MaxFS, MaxDpbMbs, MaxBR and MaxCPB in units of 1250 bits (High profile), MinCR. Table A-1.
LEVELS = {
    10: (1485, 99, 396, 64, 175, 2),
    11: (3000, 396, 900, 192, 500, 2),
    12: (6000, 396, 2376, 384, 1000, 2),
    13: (11880, 396, 2376, 768, 2000, 2),
    20: (11880, 396, 2376, 2000, 2000, 2),
    21: (19800, 792, 4752, 4000, 4000, 2),
    22: (20250, 1620, 8100, 4000, 4000, 2),
    30: (40500, 1620, 8100, 10000, 10000, 2),
    31: (108000, 3600, 18000, 14000, 14000, 4),
    32: (216000, 5120, 20480, 20000, 20000, 4),
    40: (245760, 8192, 32768, 20000, 25000, 4),
    41: (245760, 8192, 32768, 50000, 62500, 2),
    42: (522240, 8704, 34816, 50000, 62500, 2),
}


@dataclass(frozen=True)
class Parameters:
    """What a sequence parameter set says."""

    profile: int
    level: int
    references: int
    columns: int
    rows: int
    """Of macroblocks, in a frame."""
    progressive: bool
    rate: Fraction | None
    """Frames a second: time_scale over twice num_units_in_tick."""
    fixed_rate: bool
    buffered: int | None
    """max_dec_frame_buffering."""


@dataclass(frozen=True)
class Picture:
    """An access unit of one picture."""

    is_idr: bool
    coded: int
    """Bytes of its NAL units of slices."""
    size: int
    """Bytes of all its NAL units."""


class Bits:
    """Bits of a NAL unit's payload, its emulation prevention bytes taken out."""

    def __init__(self, payload: bytes) -> None:
        plain = payload.replace(b"\0\0\3", b"\0\0")
        self._bits, self._at = "".join(f"{byte:08b}" for byte in plain), 0

    def u(self, width: int) -> int:
        value = int(self._bits[self._at : self._at + width] or "0", 2)
        self._at += width
        return value

    def ue(self) -> int:
        zeros = self._bits.index("1", self._at) - self._at
        self._at += zeros
        return self.u(zeros + 1) - 1

    def se(self) -> int:
        value = self.ue()
        return (value + 1) // 2 if value % 2 else -value // 2


def boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Name and content of each box."""
    at = 0
    while at + 8 <= len(data):
        length, name = struct.unpack(">I4s", data[at : at + 8])
        head = 8
        if length == 1:
            length, head = struct.unpack(">Q", data[at + 8 : at + 16])[0], 16
        yield name, data[at + head : at + length]
        at += length


def inside(data: bytes, *names: bytes) -> bytes:
    """The content of the first box along a path of names."""
    for name in names:
        data = next(content for found, content in boxes(data) if found == name)
    return data


def samples(file: bytes) -> tuple[bytes, list[bytes]]:
    """The configuration record (avcC) and every sample of the only track, in order."""
    table = inside(file, b"moov", b"trak", b"mdia", b"minf", b"stbl")
    entry = inside(table, b"stsd")[8:]
    avcc = inside(entry[8 + 78 :], b"avcC")  # a visual sample entry has 78 bytes before its boxes
    sizes = inside(table, b"stsz")
    same, count = struct.unpack(">II", sizes[4:12])
    lengths = [same] * count if same else list(struct.unpack(f">{count}I", sizes[12 : 12 + 4 * count]))
    wide = any(name == b"co64" for name, _ in boxes(table))
    places = inside(table, b"co64" if wide else b"stco")
    (chunks,) = struct.unpack(">I", places[4:8])
    offsets = struct.unpack(f">{chunks}{'Q' if wide else 'I'}", places[8 : 8 + (8 if wide else 4) * chunks])
    runs = inside(table, b"stsc")
    (entries,) = struct.unpack(">I", runs[4:8])
    firsts = [struct.unpack(">III", runs[8 + 12 * i : 20 + 12 * i]) for i in range(entries)]
    found, index = [], 0
    for chunk, at in enumerate(offsets, 1):
        per_chunk = next(each for first, each, _ in reversed(firsts) if first <= chunk)
        for _ in range(per_chunk):
            found.append(file[at : at + lengths[index]])
            at += lengths[index]
            index += 1
    assert index == count
    return avcc, found


def nal_units(sample: bytes) -> Iterator[bytes]:
    """NAL units, each after its length in four bytes."""
    at = 0
    while at < len(sample):
        (length,) = struct.unpack(">I", sample[at : at + 4])
        yield sample[at + 4 : at + 4 + length]
        at += 4 + length
    assert at == len(sample)


def parameters_of(unit: bytes) -> Parameters:
    """A sequence parameter set of High profile (H.264, clause 7.3.2.1.1)."""
    bits = Bits(unit[1:])
    profile, _, level = bits.u(8), bits.u(8), bits.u(8)
    assert profile == 100
    bits.ue()
    assert (bits.ue(), bits.ue(), bits.ue()) == (1, 0, 0)  # 4:2:0, 8 bits
    assert bits.u(2) == 0  # no bypass, no scaling matrix
    bits.ue()
    kind = bits.ue()
    if kind == 0:
        bits.ue()
    assert kind in (0, 2)
    references, _ = bits.ue(), bits.u(1)
    columns, units = bits.ue() + 1, bits.ue() + 1
    progressive = bool(bits.u(1))
    if not progressive:
        bits.u(1)
    bits.u(1)
    if bits.u(1):
        for _ in range(4):
            bits.ue()
    rate, fixed, buffered = usability(bits) if bits.u(1) else (None, False, None)
    rows = units if progressive else 2 * units
    return Parameters(profile, level, references, columns, rows, progressive, rate, fixed, buffered)


def usability(bits: Bits) -> tuple[Fraction | None, bool, int | None]:
    """Rate, fixed_frame_rate_flag and max_dec_frame_buffering (H.264, clause E.1.1)."""
    if bits.u(1) and bits.u(8) == 255:
        bits.u(32)
    if bits.u(1):
        bits.u(1)
    if bits.u(1):
        bits.u(4)
        if bits.u(1):
            bits.u(24)
    if bits.u(1):
        bits.ue()
        bits.ue()
    rate, fixed = None, False
    if bits.u(1):
        tick, scale, fixed = bits.u(32), bits.u(32), bool(bits.u(1))
        rate = Fraction(scale, 2 * tick)
    hypothetical = [hypothetical_decoder(bits) for _ in range(2) if bits.u(1)]
    if hypothetical:
        bits.u(1)
    bits.u(1)
    if not bits.u(1):
        return rate, fixed, None
    bits.u(1)
    for _ in range(5):
        bits.ue()
    return rate, fixed, bits.ue()


def hypothetical_decoder(bits: Bits) -> bool:
    """Pass over HRD parameters (H.264, clause E.1.2)."""
    count = bits.ue() + 1
    bits.u(8)
    for _ in range(count):
        bits.ue()
        bits.ue()
        bits.u(1)
    bits.u(20)
    return True


def read(path: Path) -> tuple[Parameters, list[Picture]]:
    """The parameters and the pictures of a file."""
    avcc, coded = samples(path.read_bytes())
    assert avcc[5] & 31 == 1
    (length,) = struct.unpack(">H", avcc[6:8])
    parameters = parameters_of(avcc[8 : 8 + length])
    pictures = []
    for sample in coded:
        units = list(nal_units(sample))
        kinds = [unit[0] & 31 for unit in units]
        assert not {2, 3, 4} & set(kinds)
        for unit, kind in zip(units, kinds, strict=True):
            assert kind != 7 or parameters_of(unit) == parameters
        slices = [len(unit) for unit, kind in zip(units, kinds, strict=True) if kind in (1, 5)]
        pictures.append(Picture(5 in kinds, sum(slices), sum(map(len, units))))
    return parameters, pictures


def broken(path: Path, rate: Fraction, *, longest_s: Fraction = Fraction(5)) -> list[str]:
    """Every limit that a file does not keep, in words. `rate`: frames a second as the format has them."""
    said, pictures = read(path)
    columns, rows = said.columns, said.rows
    frame, faults = columns * rows, []
    if said.level not in LEVELS:
        return [f"level {said.level} is not one of ordinary players"]
    per_second, per_frame, held, units, buffered, compression = LEVELS[said.level]

    def check(kept: bool, words: str) -> None:
        if not kept:
            faults.append(f"level {said.level}: {words}")

    check(said.rate == rate, f"says {said.rate} frames a second, not {rate}")
    check(said.fixed_rate, "fixed_frame_rate_flag is 0")
    fast = rows >= 67 and rate > 30
    check(said.level <= (42 if fast else 41), "is above 4.1")
    check(said.progressive or 21 <= said.level <= 41, "has no fields (table A-4)")
    check(frame <= per_frame, f"{frame} macroblocks, MaxFS is {per_frame}")
    check(max(rows, columns) ** 2 <= 8 * per_frame, "is too long or too high for MaxFS")
    check(frame * rate <= per_second, f"{float(frame * rate):.0f} macroblocks a second, MaxMBPS is {per_second}")
    keeps = min(16, held // frame)
    check(
        max(said.references, said.buffered or 0) <= keeps, f"keeps {said.references} pictures, MaxDpbFrames is {keeps}"
    )
    check(flows(pictures, rate, 1250 * units, 1250 * buffered), "MaxBR or MaxCPB: a picture comes too late")
    mean = 8 * sum(picture.size for picture in pictures) * rate / len(pictures)
    check(mean <= 1250 * units, f"{float(mean):.0f} bits a second, MaxBR is {1250 * units}")
    # Clause A.3.3: the first picture of a stream, which may start at any IDR picture; and the others.
    first = 384 * max(Fraction(frame), Fraction(per_second, 172)) / compression
    later = 384 * per_second / rate / compression
    worst_first = max(picture.coded for picture in pictures if picture.is_idr) / first
    worst = max(picture.coded for picture in pictures) / later
    check(worst_first <= 1, f"MinCR: a first picture is {float(worst_first):.2f} times too large")
    check(worst <= 1, f"MinCR: a picture is {float(worst):.2f} times too large")
    check(pictures[0].is_idr, "does not start with an IDR picture")
    apart = [i for i, picture in enumerate([*pictures, Picture(True, 0, 0)]) if picture.is_idr]
    longest = max(b - a for a, b in pairwise(apart)) / rate
    check(longest <= longest_s, f"{float(longest):.2f} s from one IDR picture to the next")
    return faults


def flows(pictures: list[Picture], rate: Fraction, speed: int, buffer: int) -> bool:
    """Whether a buffer that is full at first, filled at `speed` bits a second, has every picture in time (Annex C)."""
    level = Fraction(buffer)
    for picture in pictures:
        level -= 8 * picture.size
        if level < 0:
            return False
        level = min(Fraction(buffer), level + speed / rate)
    return True
