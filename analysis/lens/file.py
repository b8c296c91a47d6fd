"""A calibrated lens as a JSON file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from analysis.lens.model import PARAMETERS, Lens
from render.errors import FileError
from render.reading import read_bounded
from render.writing import placed

__all__ = ["load_lens", "save_lens"]

_MOST_BYTES = 100 << 10
_SCHEMA = {
    "lens",
    "width",
    "height",
    "focal_px",
    "principal_px",
    "distortion",
    "red",
    "blue",
    "covariance",
    "rms_px",
    "fringe_sigma",
}


def save_lens(lens: Lens, path: Path) -> None:
    """Write a lens as JSON, whole or not at all.

    Raises:
        OSError: it cannot be written.
    """
    held = {
        "lens": 1,
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
    other = f"{path}: {what}"
    try:
        held = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise FileError(other) from error
    if not isinstance(held, dict) or "lens" not in held:
        raise FileError(other)
    if type(held["lens"]) is not int or held["lens"] != 1:
        raise FileError(f"{path}: a lens file of another version; make it again with 'trueraster measure lens'")
    # Older files do not say how uncertain the fringes are.
    held = {"fringe_sigma": 0.0, **held}
    if held.keys() != _SCHEMA:
        odd = sorted(str(key)[:20] for key in held.keys() ^ _SCHEMA)[0]
        verb = "is missing" if odd in _SCHEMA else "is not expected"
        raise FileError(f"{path}: a broken lens file: {odd!r} {verb}")
    try:
        return _lens_of(held)
    except ValueError as error:
        raise FileError(f"{path}: a broken lens file: {error}") from error


def _lens_of(held: dict[str, Any]) -> Lens:
    def numbers(name: str, count: int, value: Any) -> list[float]:
        if type(value) is not list or len(value) != count or not all(type(v) in (int, float) for v in value):
            raise ValueError(f"{name} should be {count} numbers")
        try:
            return [float(v) for v in value]
        except OverflowError as error:
            raise ValueError(f"{name}: a number without an end") from error

    def side(name: str) -> int:
        if type(held[name]) is not int:
            raise ValueError(f"{name} should be a whole number")
        return int(held[name])

    count = len(PARAMETERS)
    if type(held["covariance"]) is not list or len(held["covariance"]) != count:
        raise ValueError(f"covariance should be {count} rows")
    focal, principal = numbers("focal_px", 2, held["focal_px"]), numbers("principal_px", 2, held["principal_px"])
    k1, k2, p1, p2, k3 = numbers("distortion", 5, held["distortion"])
    red, blue = numbers("red", 2, held["red"]), numbers("blue", 2, held["blue"])
    return Lens(
        width=side("width"),
        height=side("height"),
        fx=focal[0],
        fy=focal[1],
        cx=principal[0],
        cy=principal[1],
        distortion=(k1, k2, p1, p2, k3),
        red=(red[0], red[1]),
        blue=(blue[0], blue[1]),
        covariance=np.array([numbers("covariance", count, row) for row in held["covariance"]]),
        rms_px=numbers("rms_px", 1, [held["rms_px"]])[0],
        fringe_sigma=numbers("fringe_sigma", 1, [held["fringe_sigma"]])[0],
    )
