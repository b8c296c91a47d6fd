"""How far the cells of a drawn grid are from equal squares, for people and for programs."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from patterns.areas.cells import CELL_TOLERANCE, CellErrors, drawn_cells
from patterns.formats import Format
from patterns.scene import Scene
from trueraster.output.terminal import number

__all__ = ["cells_json", "cells_words"]


def cells_json(fmt: Format, scene: Scene) -> dict[str, Any] | None:
    """Counts of a grid's cells, their errors in %, and words where they are not equal squares; None without a grid."""
    errors = drawn_cells(fmt, scene)
    if errors is None:
        return None
    return {
        "columns": errors.columns,
        "rows": errors.rows,
        "equal_squares": errors.are_equal_squares,
        "width_error_percent": number(100 * errors.widths, 4),
        "height_error_percent": number(100 * errors.heights, 4),
        "square_error_percent": number(100 * errors.square, 4),
        "note": cells_words(fmt, scene) or None,
    }


def cells_words(fmt: Format, scene: Scene) -> str:
    """How far a grid's cells are from equal squares, and whose error that is; nothing where they are equal squares."""
    errors = drawn_cells(fmt, scene)
    if errors is None or errors.are_equal_squares:
        return ""
    return (
        f"the {errors.columns} x {errors.rows} cells {' and '.join(_parts(errors))}. This error is the file's, not the"
        " set's; 'measure' uses the cells as drawn"
    )


def _parts(errors: CellErrors) -> list[str]:
    parts = [
        f"differ in {name} by up to {_percent(error)} from their mean"
        for name, error in (("width", errors.widths), ("height", errors.heights))
        if error > CELL_TOLERANCE
    ]
    if abs(errors.square) > CELL_TOLERANCE:
        parts.append(f"are {_percent(abs(errors.square))} too {'wide' if errors.square > 0 else 'high'} for squares")
    return parts


def _percent(share: Fraction) -> str:
    return f"{float(100 * share):.2f} %"
