"""SIMULATION: what a camera sees besides the tube's light: the marks on their paper, the bezel, the room's light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["PAPER", "Marks", "Reflection", "Shot", "mark_textures"]

Singles = NDArray[np.float32]
Floats = NDArray[np.float64]

PAPER, INK, BEZEL, GLASS = 0.85, 0.04, 0.07, 0.02
"""What they throw back of the room's light."""
_DICTIONARY = cv2.aruco.DICT_4X4_50
_MODULES = 6
"""Across a mark's black square: four bits and the black edge."""


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Four ArUco marks, ids 0 to 3 at the corners top left, top right, bottom right, bottom left of a rectangle."""

    width_mm: float = 460.0
    """Between the middles of the marks."""
    height_mm: float = 360.0
    side_mm: float = 30.0
    """Of the black square."""
    border_mm: float = 7.5
    """White paper around it."""
    hidden: tuple[int, ...] = ()
    """Ids of marks that something covers."""
    moved_mm: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),) * 4
    """By how much each mark lies beside its place: right, down, behind."""
    lean_deg: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),) * 4
    """How each leans out of their plane about x and about y, and is turned in it."""
    print_scale: tuple[float, float] = (1.0, 1.0)
    """How much wider and higher the marks came out of the printer."""

    @property
    def corner(self) -> tuple[float, float]:
        """The bottom right mark's middle, in mm."""
        return self.width_mm / 2, self.height_mm / 2

    @property
    def middles(self) -> tuple[tuple[float, float], ...]:
        """Of the marks by id, in mm."""
        x, y = self.corner
        return (-x, -y), (x, -y), (x, y), (-x, y)

    def sheet(self, number: int) -> tuple[Floats, Floats]:
        """A mark's middle (3,) and the axes (2, 3) of its paper, a printed mm long."""
        middle = np.array([*self.middles[number], 0.0]) + self.moved_mm[number]
        turns = (
            cv2.Rodrigues(axis * np.radians(angle))[0]
            for axis, angle in zip(np.eye(3), self.lean_deg[number], strict=True)
        )
        about_x, about_y, about_z = turns
        axes = (about_z @ about_x @ about_y)[:, :2].T
        return middle, np.asarray(axes / np.array(self.print_scale)[:, None], np.float64)

    def corners(self, number: int) -> Floats:
        """(4, 3): a mark's corners in mm, clockwise from its top left."""
        middle, axes = self.sheet(number)
        half = self.side_mm / 2
        around = np.array([[-half, -half], [half, -half], [half, half], [-half, half]]) * np.square(self.print_scale)
        return np.asarray(middle + around @ axes, np.float64)

    @property
    def reach(self) -> float:
        """From a mark's middle to its paper's edge, in mm."""
        return self.side_mm / 2 + self.border_mm


@dataclass(frozen=True, kw_only=True)
class Reflection:
    """A soft bright rectangle on the glass, such as a window in the room."""

    x_mm: float
    y_mm: float
    half_mm: tuple[float, float] = (40.0, 60.0)
    soft_mm: float = 8.0
    light: tuple[float, float, float] = (0.2, 0.2, 0.2)
    """Of each channel, as a share of full scale."""


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One photograph: its exposure and the room."""

    exposure: float = 0.85
    """Where the brightest of the tube's light comes to lie, as a share of full scale (its 99.9th percentile)."""
    tube_lit: bool = True
    room: float = 0.3
    """Level of white paper in linear light, as a share of full scale; 0 is a dark room."""
    room_slope: tuple[float, float] = (0.2, 0.1)
    """How much the room's light changes from the middle to the edges of the photograph, right and down."""
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Gains of the channels."""
    halo: float = 0.004
    """Share of the light that the glass and the lens spread widely."""
    fields: float | None = None
    """Fields that are drawn while the shutter is open; None sees every line as often as the others."""
    start: float = 0.0
    """When it opens, in fields."""
    rolling: float = 0.0
    """How much later it opens at the bottom of the glass, in fields."""
    is_phone: bool = False
    """Whether the picture comes of a filter array and is sharpened, its colours smoothed, as a phone does."""
    reflections: tuple[Reflection, ...] = ()
    covered: tuple[tuple[float, float, float], ...] = ()
    """Discs (x, y, radius) mm of the glass from which no light comes: missing dots, or something before the glass."""


def mark_textures(marks: Marks, number: int, texel_mm: float) -> tuple[Singles, Singles, float]:
    """A mark on its paper and the paper's shape, as textures around the mark's middle, and the texels' size in mm.

    A texel is what the camera resolves or less: read between texels, an edge becomes a ramp one texel wide, with its
    middle in the right place.
    """
    per_module = int(np.clip(np.ceil(marks.side_mm / _MODULES / texel_mm), 4, 400))
    texel = marks.side_mm / _MODULES / per_module
    bits = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(_DICTIONARY), number, _MODULES)
    black = np.kron(np.where(bits > 127, PAPER, INK), np.ones((per_module, per_module)))
    border = round(marks.border_mm / texel)
    paper = np.pad(black, border, constant_values=PAPER)
    # A ring of bezel lets the paper's own edge be a ramp too.
    shape = np.pad(np.ones_like(paper), 2)
    return np.pad(paper, 2, mode="edge").astype(np.float32), shape.astype(np.float32), texel
