"""Clips within the limits of disc players: encode the distinct frames as fine as they go, repeat them as coded."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from patterns.standards.timing import DISC_BUFFER_BITS, DISC_GROUP_PICTURES, DISC_MUX_RATE, DISC_VIDEO_RATE
from render.quantise import Planes
from render.tags import Tags
from render.video.encoder import WriteError, encode_frames, to_program_stream
from render.video.mpeg2 import (
    fits_buffer,
    repeat_picture,
    split_pictures,
    stream,
    write_rate,
)

__all__ = ["CLOCKED_RATE", "disc_pictures", "write_disc"]

_RATE = DISC_VIDEO_RATE.value - 800_000
"""Bits per second of video: room is left for the program stream's headers (common practice, no source)."""
CLOCKED_RATE = 10_030_800
"""Bits per second by the packs' clocks. The program counts whole ticks of 90 kHz: 147 for a pack of 2048 bytes, where
146.3 would be the highest rate and it would take 146, which is above."""
_WORDS = (
    *("-c:v", "mpeg2video", "-flags", "+ildct+ilme+cgop", "-sc_threshold", "1000000000", "-bf", "0"),
    # The finest that the profile has: all weights 8 (the first has to be), fine steps, intra DC of 10 bits.
    *("-intra_matrix", ",".join(["8"] * 64), "-non_linear_quant", "1", "-intra_dc_precision", "2"),
    *("-intra_vlc", "1", "-seq_disp_ext", "1", "-qmin", "1", "-qmax", "28"),
    *("-maxrate", str(_RATE), "-bufsize", str(DISC_BUFFER_BITS.value)),
    # The first picture may nearly fill the decoder's buffer.
    *("-rc_init_occupancy", str(DISC_BUFFER_BITS.value * 15 // 16)),
)
_QUANTISERS = (2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28)
"""At 1 the largest coefficients are clipped."""


def disc_pictures(frames: Callable[[], Iterable[Planes]], distinct: int, tags: Tags, group: Path) -> list[bytes]:
    """The coded pictures of the `distinct` frames, made to be repeated, at the finest quantiser within the limits.

    One frame is a still: it becomes a whole group. `group` is a file to work with.

    Raises:
        WriteError: the program failed, or the frames do not go into the bit rate.
    """
    assert tags.rate is not None
    length = DISC_GROUP_PICTURES.value[tags.height]
    for quantiser in _QUANTISERS:
        words = (*_WORDS, "-g", str(length), "-qscale:v", str(quantiser), "-f", "mpeg2video")
        encode_frames(frames(), tags, words, group)
        pictures = split_pictures(group.read_bytes())
        if distinct == 1:
            # A still repeats its one picture exactly; an encoder would go on changing it.
            pictures += [repeat_picture(tags.width, tags.height, i) for i in range(1, length)]
        if fits_buffer([len(picture) for picture in pictures], tags.rate, _RATE):
            return pictures
    raise WriteError(f"it moves too much for the {_RATE / 1e6:g} Mbit/s of a disc")


def write_disc(pictures: Sequence[bytes], tags: Tags, raw: Path, path: Path) -> None:
    """Repeat coded pictures up to `tags.frames` into the program stream `path`; `raw` is a file to work with.

    Raises:
        WriteError: the program failed.
    """
    assert tags.rate is not None
    with raw.open("wb") as file:
        file.writelines(stream(pictures, tags.frames or 1, tags.rate))
    to_program_stream(raw, path, tags.rate, CLOCKED_RATE)
    write_rate(path, DISC_MUX_RATE.value)
