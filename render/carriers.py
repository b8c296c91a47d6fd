"""The kinds of file that a pattern can be written as."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from patterns.formats import Family, Format
from patterns.signal import DEPTHS, Edges, Matrix, Range, Sampling, Signal
from patterns.standards.colour import Transfer
from patterns.standards.geometry import PICTURE_601_SAMPLES
from render.raster import check_raster
from render.tags import Tags

__all__ = ["CARRIERS", "Carrier", "CarrierError", "Rule"]

_YCBCR = (Sampling.YCBCR_422, Sampling.YCBCR_420, Sampling.YCBCR_444)


class CarrierError(ValueError):
    """A signal that a carrier cannot hold; the message says what it can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What a file's samples have to be, read back: not more than `codes` away from the drawn ones."""

    codes: int = 0
    patches_only: bool = False
    """Whether it binds the patches alone: every sample inside one, or where one is beyond, the patch's median.

    Where nothing can be measured, in a moving pattern or one without patches, it binds the mean over each frame.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """A kind of file, what it can hold, and what it holds when nothing else is asked."""

    name: str
    suffix: str
    title: str
    samplings: tuple[Sampling, ...]
    """The first is the default."""
    depths: tuple[int, ...]
    default_bits: int
    default_range: Range
    default_seconds: int | None
    """Length of a clip; None for a still."""
    ranges: tuple[Range, ...] = tuple(Range)
    formats: tuple[str, ...] = ()
    """The formats that it is made for; none named are all."""
    rule: Rule = Rule()
    """What its proof asks."""
    moving_rule: Rule | None = None
    """What it asks of a moving pattern, if that is something else."""
    note: str = ""
    """What a user should know of each of its files."""
    colour_on_request: bool = False
    """Whether a full-range file has its primaries, transfer and matrix only where they are asked for.

    A colour-managed viewer converts a picture that says BT.709 or BT.601 transfer: the 10 % step shows at half its
    level. A file without these tags is shown as it is.
    """
    lacks: tuple[str, ...] = ()
    """The tags (names in `Tags`) that its files have no place for."""
    instead: Callable[[Tags], Tags] = lambda tags: tags
    """The tags as its files say them, where that is something else than what was asked."""

    def usual_tags(self, tags: Tags) -> Tags:
        """The tags that a file says when nobody asks for its colour tags."""
        if self.colour_on_request and tags.range is Range.FULL:
            return replace(tags, primaries=None, transfer=None, matrix=None)
        return tags

    def held(self, tags: Tags) -> Tags:
        """The tags as reading a file back has to show them: None where it has no place."""
        nothing: dict[str, Any] = dict.fromkeys(self.lacks)
        return replace(self.instead(tags), **nothing)

    def signal(
        self,
        fmt: Format,
        *,
        code_range: Range | None = None,
        matrix: Matrix | None = None,
        bits: int | None = None,
        sampling: Sampling | None = None,
        edges: Edges | None = None,
    ) -> Signal:
        """The signal to write `fmt` with; None is the default of this carrier and format.

        Raises:
            CarrierError: this carrier or the raster cannot hold it.
        """
        sampling = sampling or self.samplings[0]
        bits = self.default_bits if bits is None else bits
        if sampling not in self.samplings:
            raise CarrierError(_refusal(self, "sampling", sampling.value, [s.value for s in self.samplings]))
        if bits not in self.depths:
            raise CarrierError(_refusal(self, "bits", bits, self.depths))
        if code_range is not None and code_range not in self.ranges:
            raise CarrierError(_refusal(self, "range", code_range.value, [r.value for r in self.ranges]))
        if self.formats and fmt.id not in self.formats:
            raise CarrierError(f"{self.name} is for {' and '.join(self.formats)} only, not {fmt.id}; use h264")
        reason = check_raster(fmt, sampling)
        if reason:
            raise CarrierError(f"{self.name}: {reason}; use png, which accepts any raster")
        # Computer rasters are looked at sample by sample; video goes on to a converter that would ring.
        hard = fmt.family is Family.COMPUTER or sampling.is_rgb
        return Signal(
            range=code_range or self.default_range,
            matrix=matrix or default_matrix(fmt),
            bits=bits,
            sampling=sampling,
            edges=edges or (Edges.HARD if hard else Edges.SHAPED),
        )


def default_matrix(fmt: Format) -> Matrix:
    """BT.601 for standard definition, BT.709 for the rest."""
    return Matrix.BT601 if fmt.family in (Family.SD525, Family.SD625) else Matrix.BT709


def _dpx_tags(tags: Tags) -> Tags:
    """DPX has no code of the sRGB transfer function."""
    return replace(tags, transfer=None) if tags.transfer == Transfer.SRGB else tags


def _disc_tags(tags: Tags) -> Tags:
    """MPEG-2 has the display's aspect, 4:3 or 16:9 of the whole raster, for the sample's."""
    assert tags.sample_aspect is not None
    picture = tags.sample_aspect * PICTURE_601_SAMPLES.value / tags.height
    return replace(tags, sample_aspect=picture * tags.height / tags.width)


def _refusal(carrier: Carrier, what: str, got: object, allowed: object) -> str:
    choices = ", ".join(str(value) for value in allowed)  # type: ignore[attr-defined]
    return f"--{what}: {carrier.name} cannot hold {got}, it holds {choices}"


CARRIERS: Mapping[str, Carrier] = MappingProxyType(
    {
        carrier.name: carrier
        for carrier in (
            Carrier(
                name="h264",
                suffix=".mp4",
                title="H.264 High profile, 8-bit 4:2:0: plays on ordinary media players",
                samplings=(Sampling.YCBCR_420,),
                depths=(8,),
                default_bits=8,
                default_range=Range.NARROW,
                default_seconds=60,
                rule=Rule(codes=1),
                # Fine detail that moves, without loss, comes faster than players read.
                moving_rule=Rule(codes=1, patches_only=True),
            ),
            Carrier(
                name="mpeg2",
                suffix=".mpg",
                title="MPEG-2 within the limits of disc players, 8-bit 4:2:0, 480i and 576i: to author a disc",
                samplings=(Sampling.YCBCR_420,),
                depths=(8,),
                default_bits=8,
                default_range=Range.NARROW,
                default_seconds=60,
                ranges=(Range.NARROW,),
                formats=("480i", "576i"),
                rule=Rule(codes=1, patches_only=True),
                note="the file states the shape of all 720 samples (4:3 or 16:9), and the picture is on the middle 704."
                " A 13.5 MHz output shows it right; a player that scales by the file's shape, 2.2 % too narrow",
                instead=_disc_tags,
            ),
            Carrier(
                name="prores",
                suffix=".mov",
                title="10-bit 4:2:2 with light loss, each frame alone: for editing systems and playout",
                samplings=(Sampling.YCBCR_422,),
                depths=(10,),
                default_bits=10,
                default_range=Range.NARROW,
                default_seconds=10,
                ranges=(Range.NARROW,),
                rule=Rule(codes=2, patches_only=True),
            ),
            Carrier(
                name="v210",
                suffix=".mov",
                title="uncompressed 10-bit 4:2:2: for playout cards",
                samplings=(Sampling.YCBCR_422,),
                depths=(10,),
                default_bits=10,
                default_range=Range.NARROW,
                default_seconds=10,
                ranges=(Range.NARROW,),
                # QuickTime's colour atom has no range; 10-bit video is narrow.
                lacks=("range",),
            ),
            Carrier(
                name="ffv1",
                suffix=".mkv",
                title="FFV1, lossless, any sampling and depth: for playout and archives",
                samplings=(*_YCBCR, Sampling.RGB),
                depths=DEPTHS,
                default_bits=10,
                default_range=Range.NARROW,
                default_seconds=10,
            ),
            Carrier(
                name="y4m",
                suffix=".y4m",
                title="raw Y'CbCr frames with a header line, also to standard output",
                samplings=_YCBCR,
                depths=DEPTHS,
                default_bits=10,
                default_range=Range.NARROW,
                default_seconds=1,
            ),
            Carrier(
                name="png",
                suffix=".png",
                title="still picture, R'G'B'",
                samplings=(Sampling.RGB,),
                depths=DEPTHS,
                default_bits=8,
                default_range=Range.FULL,
                default_seconds=None,
                lacks=("field_order", "rate"),
                colour_on_request=True,
            ),
            Carrier(
                name="tiff",
                suffix=".tif",
                title="still picture, R'G'B', uncompressed",
                samplings=(Sampling.RGB,),
                depths=DEPTHS,
                default_bits=8,
                default_range=Range.FULL,
                default_seconds=None,
                lacks=("field_order", "rate", "transfer"),
            ),
            Carrier(
                name="dpx",
                suffix=".dpx",
                title="still picture, R'G'B', for film and video post-production",
                samplings=(Sampling.RGB,),
                depths=DEPTHS,
                default_bits=10,
                default_range=Range.FULL,
                default_seconds=None,
                lacks=("field_order", "rate"),
                instead=_dpx_tags,
            ),
        )
    }
)
"""Every kind of file by name."""
