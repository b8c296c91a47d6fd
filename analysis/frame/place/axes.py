"""Where a pattern's raster lies in a frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

from patterns.formats import Format

__all__ = ["Axis", "Registration"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One direction of a registration: frame position = scale * raster position + offset, in samples."""

    scale: float
    offset: float
    raster: int
    """Samples, or lines, of the raster and of the frame."""
    frame: int
    scale_error: float = 0.0
    offset_error: float = 0.0
    """Standard uncertainties."""
    covariance: float = 0.0
    """Of scale and offset."""
    found: bool = True
    """False where the picture has no edge to tell it, and the likeliest is taken."""
    fit: float = 1.0
    """Share of the slopes' energy that the fit accounts for."""
    softness: float = 0.0
    """Standard deviation of the blur that was found, in frame samples; 0 where there is none."""

    @property
    def start(self) -> float:
        """Where the raster begins, in frame samples: below 0 that part is cut off, above 0 a border is before it."""
        return self.offset

    @property
    def stop(self) -> float:
        """Where the raster ends."""
        return self.scale * self.raster + self.offset

    @property
    def crop_start(self) -> float:
        """Share of the raster that is cut off at its beginning."""
        return max(0.0, -self.offset / (self.scale * self.raster))

    @property
    def crop_stop(self) -> float:
        return max(0.0, (self.stop - self.frame) / (self.scale * self.raster))

    @property
    def nominal(self) -> float:
        """The scale with which the raster fills the frame."""
        return self.frame / self.raster

    @property
    def is_identity(self) -> bool:
        """Whether every sample of the frame is one of the raster's, as far as is told."""
        return self.frame == self.raster and self.scale == 1 and self.offset == 0

    @property
    def is_whole(self) -> bool:
        """Whether the frame's samples are the raster's own, if perhaps moved by whole ones or cut."""
        moved = abs(self.offset - round(self.offset))
        return abs(self.scale - 1) * self.raster < 0.1 and moved < 0.1

    @property
    def stop_error(self) -> float:
        """Standard uncertainty of `stop`."""
        square = (self.raster * self.scale_error) ** 2 + self.offset_error**2 + 2 * self.raster * self.covariance
        return math.sqrt(max(square, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """Where the raster lies in the frame."""

    x: Axis
    y: Axis

    @classmethod
    def whole(cls, fmt: Format, width: int, height: int) -> Registration:
        """The whole raster scaled to the frame."""
        return cls(
            x=Axis(scale=width / fmt.width, offset=0.0, raster=fmt.width, frame=width),
            y=Axis(scale=height / fmt.height, offset=0.0, raster=fmt.height, frame=height),
        )

    @property
    def is_identity(self) -> bool:
        return self.x.is_identity and self.y.is_identity
