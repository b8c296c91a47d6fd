"""A calibrated lens as a JSON file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from analysis.lens.model import PARAMETERS, Lens
from patterns.keys import Items, Key, Table, number, whole
from render.errors import FileError
from render.reading import read_bounded
from render.writing import placed

__all__ = ["load_lens", "save_lens"]

_MOST_BYTES = 100 << 10
_VERSION = 1
_LARGEST = 1e300


def save_lens(lens: Lens, path: Path) -> None:
    """Write a lens as JSON, whole or not at all.

    Raises:
        OSError: it cannot be written.
    """
    held = {
        "lens": _VERSION,
        "width": lens.width,
        "height": lens.height,
        "focal_px": [lens.fx, lens.fy],
        "principal_px": [lens.cx, lens.cy],
        "distortion": list(lens.distortion),
        "red": list(lens.red),
        "blue": list(lens.blue),
        "rms_px": lens.rms_px,
        "fringe_sigma": lens.fringe_sigma,
        "covariance": lens.covariance.tolist(),
    }
    with placed(path) as file:
        file.write((json.dumps(held, indent=1) + "\n").encode())


def load_lens(path: Path) -> Lens:
    """Read what `save_lens` wrote.

    Raises:
        FileError: it cannot be read, or is anything else; one line.
    """
    what = "not a lens file; 'trueraster measure lens' makes one"
    data = read_bounded(path, _MOST_BYTES, what)
    try:
        held = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise FileError(f"{path}: {what}") from error
    if not isinstance(held, dict) or "lens" not in held:
        raise FileError(f"{path}: {what}")
    if type(held["lens"]) is not int or held["lens"] != _VERSION:
        raise FileError(f"{path}: a lens file of another version; make it again with 'trueraster measure lens'")
    try:
        lens: Lens = _LENS(held)
    except ValueError as error:
        raise FileError(f"{path}: a broken lens file: {error}") from error
    return lens


def _lens(
    *, lens: int, focal_px: tuple[float, ...], principal_px: tuple[float, ...], covariance: object, **rest: Any
) -> Lens:
    (fx, fy), (cx, cy) = focal_px, principal_px
    return Lens(fx=fx, fy=fy, cx=cx, cy=cy, covariance=np.array(covariance, dtype=float), **rest)


def _float(held: Any) -> float:
    return float(number(-_LARGEST, _LARGEST, "a finite number")(held))


def _numbers(count: int) -> Key:
    return Key(Items(read=_float, count=count, wanted=f"a list of {count} numbers"), required=True)


_SIDE = Key(whole("a whole number"), required=True)
_ROWS = len(PARAMETERS)
_LENS = Table(
    name="a lens file",
    keys={
        "lens": _SIDE,
        "width": _SIDE,
        "height": _SIDE,
        "focal_px": _numbers(2),
        "principal_px": _numbers(2),
        "distortion": _numbers(5),
        "red": _numbers(2),
        "blue": _numbers(2),
        "covariance": Key(
            Items(read=_numbers(_ROWS).read, count=_ROWS, wanted=f"a list of {_ROWS} rows"), required=True
        ),
        "rms_px": Key(_float, required=True),
        # Older files do not say how uncertain the fringes are.
        "fringe_sigma": Key(_float, 0.0),
    },
    make=_lens,
)
