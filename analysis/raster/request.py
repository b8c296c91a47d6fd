"""What is to be measured in photographs of a grid, checked as far as that needs no photograph."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis.errors import InputError
from analysis.photo.face import Face
from analysis.photo.marks import SeenMarks
from analysis.raster.bundle.asked import FEWEST_PHOTOS, MOST_PHOTOS
from analysis.raster.classes import SetClass
from analysis.raster.grid import ShownGrid
from patterns.formats import Format, format_words
from patterns.pattern import Options, Pattern
from patterns.scene import Scene

__all__ = ["HOW_FAR", "GridShown", "KnownLength", "KnownMarks", "RasterRequest", "check_without_marks"]

_FEWEST_LINES = 4
_DARK = 0.5
"""Level of the background from which a pattern's lines are the dark part of it."""
_LARGEST_RADIUS_MM = 100_000.0
_LARGEST_DEPTH_MM = 200.0
HOW_FAR = (
    "how far apart are the marks' centres, across x down in mm, as 412x309? measure on the glass with a ruler; without "
    "it no length can be measured"
)


@dataclass(frozen=True, eq=False, kw_only=True)
class GridShown:
    """The grid that was on the screen."""

    pattern: str
    """The pattern's name."""
    format: Format
    scene: Scene
    grid: ShownGrid

    @classmethod
    def of(cls, pattern: Pattern, fmt: Format, cells: tuple[int, int] | None = None) -> GridShown:
        """The grid of a pattern, drawn with its usual number of cells or with columns and rows of them.

        Raises:
            InputError: the pattern has no grid that can be measured; one line.
        """
        scene = pattern.scene(fmt, Options(cells=cells))
        grid = ShownGrid.of(scene, fmt.picture.height if fmt.interlaced else 0, float(fmt.field_rate))
        if grid is None or len(scene.nodes or scene.dots) != len(grid.u) * len(grid.v):
            raise InputError(f"{pattern.id} has no grid to measure; crosshatch and dots have one", fields=("pattern",))
        if min(len(grid.u), len(grid.v)) < _FEWEST_LINES:
            raise InputError(
                f"the grid is too coarse, {_FEWEST_LINES} lines each way are needed at least", fields=("cells",)
            )
        if max(scene.background.red, scene.background.green, scene.background.blue) > _DARK:
            raise InputError(
                f"{pattern.id} has dark lines; bright ones on black are measured, such as those of crosshatch",
                fields=("pattern",),
            )
        return cls(pattern=pattern.id, format=fmt, scene=scene, grid=grid)

    @property
    def aspect(self) -> float:
        """The picture's width over its height."""
        return float(self.format.picture_aspect)

    @property
    def words(self) -> str:
        """'crosshatch of 16 x 12 cells in 480i'."""
        columns, rows = len(self.grid.u), len(self.grid.v)
        many = f"{columns - 1} x {rows - 1} cells" if self.scene.nodes else f"{columns} x {rows}"
        return f"{self.pattern} of {many} in {format_words(self.format)}"


@dataclass(frozen=True, eq=False, kw_only=True)
class KnownMarks:
    """What is known of the corner marks before they are looked for."""

    size_mm: tuple[float, float] | None = None
    """Between their centres, across and down."""
    size_sigma_mm: float = 0.0
    """Standard uncertainty of both."""
    given: SeenMarks | None = None
    """Where they are, if somebody has read that off the photograph."""
    photo: Path | None = None
    """A second photograph from the same place, in which they are looked for."""
    unused: bool = False
    """Whether nothing is to be measured by them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLength:
    """A length on the glass, other than between the marks."""

    height_mm: float | None = None
    """Of the whole picture."""
    glass_mm: tuple[float, float] | None = None
    """Width and height of the opening through which the glass is seen, between the middles of its sides."""
    sigma_mm: float = 0.0
    """Standard uncertainty."""


@dataclass(frozen=True, eq=False, kw_only=True)
class RasterRequest:
    """What is to be measured, checked as far as that needs no photograph.

    Raises:
        InputError: values that do not go together, or that nothing can be measured with; one line.
    """

    photo: Path
    shown: GridShown
    more: tuple[Path, ...] = ()
    """Other photographs of the same picture, which are solved together with the first."""
    known: KnownLength = KnownLength()
    marks: KnownMarks = KnownMarks()
    lens: Path | None = None
    face: Face | None = None
    """How the glass is curved; None where nobody knows."""
    depth_mm: float | None = None
    """How far the picture lies behind the marks; None where nobody knows."""
    hidden: tuple[int, int] | None = None
    """Lines of the grid that are hidden on the left and above, where somebody has counted them."""
    size_mm: tuple[float, float] | None = None
    """Width and height that the picture should have."""
    set_class: SetClass = SetClass.BROADCAST
    """By whose tolerances advice is given."""

    def __post_init__(self) -> None:
        marks = self.marks
        given = {"marks": marks.given, "marks_mm": marks.size_mm, "marks_photo": marks.photo}
        for name, value in given.items():
            if marks.unused and value is not None:
                raise InputError("give one or the other", fields=("no_marks", name))
        if marks.given is not None and marks.photo is not None:
            raise InputError("the marks are typed or looked for, not both", fields=("marks", "marks_photo"))
        if marks.size_mm is None and (marks.given is not None or marks.photo is not None):
            raise InputError(HOW_FAR, fields=("marks_mm",))
        if self.more:
            _check_together(self)
        elif self.known != KnownLength():
            names = ("height_mm",) if self.known.height_mm is not None else ("glass_mm",)
            raise InputError(
                f"one photograph alone is measured by marks; {FEWEST_PHOTOS} or more of one picture, hand-held from "
                "10 to 25 degrees on all sides, by one length",
                fields=names,
            )
        elif marks.unused:
            check_without_marks(self)
        if self.face is not None and not self.face.is_flat and not self.face.radius_mm <= _LARGEST_RADIUS_MM:
            raise InputError(
                f"got {self.face.words}, the radius of the face in mm is expected, up to {_LARGEST_RADIUS_MM:.0f}, "
                "or flat",
                fields=("glass_radius_mm",),
            )
        if self.depth_mm is not None and not 0 <= self.depth_mm <= _LARGEST_DEPTH_MM:
            raise InputError(
                f"got {self.depth_mm:g}, how far the picture lies behind the marks in mm is expected, 0 to "
                f"{_LARGEST_DEPTH_MM:.0f}",
                fields=("depth_mm",),
            )

    @property
    def inputs(self) -> list[Path]:
        """The files that are read."""
        return [path for path in (self.photo, *self.more, self.marks.photo, self.lens) if path is not None]


def _check_together(request: RasterRequest) -> None:
    """Refuse what means nothing for several photographs.

    Raises:
        InputError: it was given.
    """
    photos = (request.photo, *request.more)
    if not FEWEST_PHOTOS <= len(photos) <= MOST_PHOTOS:
        raise InputError(
            f"{len(photos)} photographs, {FEWEST_PHOTOS} to {MOST_PHOTOS} of one picture are solved together, or one "
            "alone is measured",
            fields=("photos",),
        )
    if len({path.resolve() for path in photos}) < len(photos):
        raise InputError("one photograph is given twice", fields=("photos",))
    if request.marks.given is not None or request.marks.photo is not None:
        raise InputError(
            "in several photographs marks are looked for in each",
            fields=("marks" if request.marks.given else "marks_photo",),
        )
    known = request.known
    given = {"marks_mm": request.marks.size_mm, "height_mm": known.height_mm, "glass_mm": known.glass_mm}
    names = [name for name, value in given.items() if value is not None]
    if len(names) > 1:
        raise InputError("give one of them, the one that is measured best", fields=tuple(names))


def check_without_marks(request: RasterRequest) -> None:
    """Refuse what means nothing without marks.

    Raises:
        InputError: it was given.
    """
    if request.face is not None and not request.face.is_flat:
        raise InputError("without marks nothing shows how the camera sees a curved glass", fields=("glass_radius_mm",))
    if request.depth_mm:
        raise InputError("without marks there is nothing that the picture lies behind", fields=("depth_mm",))
    if request.size_mm is not None:
        raise InputError("without marks nothing shows what size the picture has", fields=("size_mm",))
