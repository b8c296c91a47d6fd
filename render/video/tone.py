"""A tone of 1 kHz beside the picture: put into a finished clip, whose coded frames stay as they are, and read back.

0 dB of full scale is a sine whose peaks reach the ends of the codes, as EBU R 68 and SMPTE RP 155 count.
"""

from __future__ import annotations

import math
import wave
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from patterns.formats import Family, Format
from patterns.standards.levels import SOUND_RATE_HZ, TONE_525_DBFS, TONE_625_DBFS, TONE_HZ
from patterns.standards.timing import DISC_MUX_RATE
from render.proof import Proof, Verdict
from render.tags import Tags
from render.video.disc import CLOCKED_RATE
from render.video.encoder import add_sound
from render.video.mpeg2 import write_rate

__all__ = ["SHORTEST_S", "SOUND", "Heard", "add_tone", "hear_tone", "prove_tone", "tone_dbfs", "tone_fault"]

SOUND = {
    "h264": ("-c:a", "aac", "-b:a", "192k"),
    "mpeg2": ("-c:a", "ac3", "-b:a", "192k", "-muxrate", str(CLOCKED_RATE), "-f", "dvd"),
    "prores": ("-c:a", "pcm_s24le"),
    "v210": ("-c:a", "pcm_s24le"),
    "ffv1": ("-c:a", "pcm_s24le"),
}
"""The kinds of file that take sound, with the ffmpeg program's words for its coding.

Disc players of both line standards decode AC-3.
"""
SHORTEST_S = 0.5
"""A shorter tone cannot be measured beside a lossy coder's start and end."""
_OFF_HZ, _OFF_DB = 0.1, 0.1
"""How far off the tone may be when it is read back."""
_EDGE_S = 0.1
"""What is left out at the start and at the end."""
_CHANNELS = 2


@dataclass(frozen=True, slots=True)
class Heard:
    """The tone of a file, of the channel that is furthest off."""

    hz: float
    dbfs: float
    seconds: float
    """How long the sound is."""
    rate: int
    """Samples a second."""


def tone_dbfs(fmt: Format) -> int:
    """Its level: of EBU R 68 for 625 lines and for rates that 25 goes into, else of SMPTE RP 155."""
    is_european = fmt.family is Family.SD625 or fmt.frame_rate % 25 == 0
    return TONE_625_DBFS.value if is_european else TONE_525_DBFS.value


def add_tone(silent: Path, path: Path, tags: Tags, carrier: str, dbfs: int) -> None:
    """Write the clip `silent` into `path` with the tone beside its picture, as long as that lasts.

    Raises:
        WriteError: the program failed.
    """
    sound = path.with_name("tone.wav")
    _write_sine(sound, _seconds(tags), dbfs)
    add_sound(silent, sound, path, tags.rate, SOUND[carrier])
    if carrier == "mpeg2":
        write_rate(path, DISC_MUX_RATE.value)


def _seconds(tags: Tags) -> Fraction:
    assert tags.rate is not None
    return (tags.frames or 1) / tags.rate


def _write_sine(path: Path, seconds: Fraction, dbfs: int) -> None:
    """A WAV file of 24 bits, a sine of whole periods a second, so that one second is written again and again."""
    rate = SOUND_RATE_HZ.value
    peak = 10 ** (dbfs / 20) * ((1 << 23) - 1)
    sine = np.rint(peak * np.sin(2 * np.pi * TONE_HZ.value * np.arange(rate) / rate)).astype("<i4")
    # The three low bytes of each sample, for each channel.
    second = np.repeat(sine.view(np.uint8).reshape(-1, 4)[:, :3], _CHANNELS, axis=0).tobytes()
    left = round(seconds * rate)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(_CHANNELS)
        file.setsampwidth(3)
        file.setframerate(rate)
        while left > 0:
            file.writeframes(second[: 3 * _CHANNELS * left])
            left -= rate


def hear_tone(path: Path) -> Heard | None:
    """The tone of a file as a decoder gives it, or None where it has no sound, or too little of it to measure."""
    with av.open(str(path)) as container:
        if not container.streams.audio:
            return None
        rate = int(container.streams.audio[0].rate)
        resampler = av.AudioResampler(format="dblp", layout="stereo", rate=rate)
        parts = [part.to_ndarray() for frame in container.decode(audio=0) for part in resampler.resample(frame)]
    samples = np.concatenate(parts, axis=1) if parts else np.zeros((_CHANNELS, 0))
    edge = round(_EDGE_S * rate)
    middle = samples[:, edge:-edge]
    if middle.shape[1] < rate // 10:
        return None
    heard = [_sine_of(channel, rate) for channel in middle]
    hz, dbfs = max(heard, key=lambda one: abs(one[0] - TONE_HZ.value) + abs(one[1]))
    return Heard(hz, dbfs, samples.shape[1] / rate, rate)


def _sine_of(channel: NDArray[np.float64], rate: int) -> tuple[float, float]:
    """Frequency and level of a sine near the tone's frequency: turned down by it, what is left is one slow vector."""
    half = len(channel) // 2
    turned = channel * np.exp(-2j * np.pi * TONE_HZ.value * np.arange(len(channel)) / rate)
    window = np.hanning(half)
    first, second = (np.sum(window * part) / np.sum(window) for part in (turned[:half], turned[half : 2 * half]))
    drift = float(np.angle(second * np.conj(first))) / (2 * math.pi) * rate / half
    return TONE_HZ.value + drift, 20 * math.log10(max(2 * abs(first), 1e-9))


def prove_tone(path: Path, proof: Proof, tags: Tags, dbfs: int) -> Proof:
    """The proof of a clip with what was read back of its tone; failed where that is not the one that was asked for."""
    heard = hear_tone(path)
    fault = tone_fault(heard, tags, dbfs)
    if fault or heard is None:
        return replace(proof, verdict=Verdict.FAILED, reason=fault)
    return replace(proof, tone_hz=round(heard.hz, 2), tone_dbfs=round(heard.dbfs, 2))


def tone_fault(heard: Heard | None, tags: Tags, dbfs: int) -> str:
    """What is wrong with the tone of a clip, in words, or nothing."""
    if heard is None:
        return "the file has no sound that can be measured"
    if heard.rate != SOUND_RATE_HZ.value:
        return f"the sound has {heard.rate} samples a second, {SOUND_RATE_HZ.value} were written"
    if abs(heard.hz - TONE_HZ.value) > _OFF_HZ or abs(heard.dbfs - dbfs) > _OFF_DB:
        return f"the tone is {heard.hz:.2f} Hz at {heard.dbfs:.2f} dB, written {TONE_HZ.value} Hz at {dbfs} dB"
    if abs(heard.seconds - float(_seconds(tags))) > _EDGE_S:
        return f"the sound lasts {heard.seconds:.2f} s, the picture {float(_seconds(tags)):.2f} s"
    return ""
