"""The kinds of file that a pattern can be written as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from patterns.formats import Family, Format
from patterns.signal import DEPTHS, Edges, Matrix, Range, Sampling, Signal
from render.raster import check_raster

__all__ = ["CARRIERS", "Carrier", "CarrierError"]

_YCBCR = (Sampling.YCBCR_422, Sampling.YCBCR_420, Sampling.YCBCR_444)


class CarrierError(ValueError):
    """A signal that a carrier cannot hold; the message says what it can."""


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
    may_be_off: int = 0
    """Most codes by which a sample may differ from the drawn one, where the file cannot hold it exactly."""

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
        reason = check_raster(fmt, sampling)
        if reason:
            raise CarrierError(f"{self.name}: {reason}; 'png' takes any raster")
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
                may_be_off=1,
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
            ),
        )
    }
)
"""Every kind of file by name."""
