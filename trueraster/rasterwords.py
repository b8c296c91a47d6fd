"""How `measure geometry`, `measure convergence` and `measure raster` tell what they found: as JSON and as text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.answer import SERVICE
from analysis.raster.advice import Advice, Item
from analysis.raster.convergence import Convergence
from analysis.raster.findings import convergence_finding, linearity_finding, shape_finding
from analysis.raster.geometry.figures import Geometry
from analysis.rounding import decimals
from trueraster.output.cautions import CAUTIONS
from trueraster.output.terminal import counted, wrapped
from trueraster.rasterphoto import Measured
from trueraster.rastertables import Table, convergence_tables, geometry_tables, table_text, untold

__all__ = ["INSIDE", "Step", "findings", "heading", "raster_json", "raster_text", "steps", "tables_of"]

Files = Mapping[str, Path | list[Path]]

_DIGITS = 6
INSIDE = f"Work inside the set: {SERVICE[0].lower()}{SERVICE[1:]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to adjust, in words."""

    title: str
    """What, which way and by how much."""
    seen: str
    where: str
    inside: bool
    """Whether it is work inside the set."""
    remains: str
    """What is left when it is done, or nothing."""


def findings(found: Geometry | Convergence) -> list[str]:
    """The main finding, and perhaps another."""
    if isinstance(found, Convergence):
        return [convergence_finding(found)]
    told = found.figures["linearity_h_percent"] is not None
    return [shape_finding(found), linearity_finding(found)] if told else [shape_finding(found)]


def heading(measured: Measured, found: Geometry | Convergence) -> str:
    """What was measured, in one line without the file."""
    nodes = found.grid.nodes[found.gun if isinstance(found, Geometry) else 1]
    seen = int(np.isfinite(nodes).all(axis=-1).sum())
    width, height = measured.photo.size
    kind = "crossings" if measured.request.scene.nodes else "dots"
    return (
        f"{measured.request.shown_words}, {seen} of {nodes[..., 0].size} {kind} seen, {width}x{height} pixels, "
        f"{measured.marks_words}"
    )


def tables_of(found: Geometry | Convergence) -> list[Table]:
    """All figures."""
    return convergence_tables(found) if isinstance(found, Convergence) else geometry_tables(found)


def steps(advice: Advice) -> list[Step]:
    """What to adjust, the largest effect first."""
    return [_step(item, "mm" if advice.placed else "% of the picture height") for item in advice.items]


def _step(item: Item, unit: str) -> Step:
    control = item.control
    outside = control.has_outside_control
    places = decimals(item.uncertainty, 2)
    size = f"{item.amount:.{places}f} {item.unit}"
    way = control.more if item.direction == control.more.do else control.less
    gun = item.adjust.split()[0].lower() if control.group else ""
    left = "" if item.remains is None else f"Then points are off by {item.remains:.2f} {unit} (root mean square)."
    return Step(
        title=f"{item.adjust}: {item.direction}, by {size} (± {max(item.uncertainty, 10.0**-places):.{places}f})",
        seen=way.seen.format(amount=size, gun=gun),
        where=f"{'Usually' if outside else 'Inside the set, for qualified service'}: {control.where}.",
        inside=not outside,
        remains=left,
    )


def raster_text(
    measured: Measured, found: Geometry | Convergence, advice: Advice, files: Files, *, whole: bool = True
) -> str:
    """The answer for people, with the files that were written; if not `whole`, to go on after another one."""
    first = [str(measured.request.photo), heading(measured, found)] if whole else []
    parts = ["\n".join(_wrapped(words) for words in (*first, *findings(found)))]
    parts += [table_text(table) for table in tables_of(found)]
    missing = untold(found)
    if missing:
        parts.append("Not told\n" + "\n".join(_wrapped(words, hang=True) for words in missing))
    if measured.warnings and whole:
        parts.append("Notes\n" + "\n".join(_wrapped(words, hang=True) for words in measured.warnings))
    parts.append(_advice_text(advice))
    if files:
        parts.append("\n".join(_file_line(name, some) for name, some in files.items()))
    return "\n\n".join(parts)


def _file_line(name: str, some: Path | list[Path]) -> str:
    if isinstance(some, Path):
        return f"{name}: {some}"
    return f"{name}: {counted(len(some), 'file')}{f' in {some[0].parent}' if some else ''}"


def _advice_text(advice: Advice) -> str:
    done = steps(advice)
    lines = ["What to adjust, the largest effect first" if done else "What to adjust"]
    for number, step in enumerate(done, 1):
        lines.append(_wrapped(f"{number}. {step.title}", hang=True))
        lines += [
            _wrapped(words, hang=True, margin="     ") for words in (step.seen, step.where, step.remains) if words
        ]
    lines.append(_wrapped(advice.summary))
    if any(step.inside for step in done):
        lines += ["", _wrapped(f"Caution. {INSIDE} {CAUTIONS[0].title}: {CAUTIONS[0].text}")]
    return "\n".join(lines)


def _wrapped(text: str, *, hang: bool = False, margin: str = "") -> str:
    return wrapped(text, margin or ("  " if hang else ""), margin or ("    " if hang else ""))


def raster_json(measured: Measured, found: Geometry | Convergence, advice: Advice, files: Files) -> dict[str, Any]:
    """The answer for programs: figures in full, what they were measured from, and the files that were written."""
    request = measured.request
    answer = found.to_json(advice.to_json())
    return {
        **{name: _rounded(value) for name, value in answer.items()},
        "finding": ". ".join(findings(found)),
        "summary": advice.summary,
        "warnings": list(measured.warnings),
        "photo": {
            "path": str(request.photo),
            "size_px": list(measured.photo.size),
            "pattern": request.pattern.id,
            "format": request.format.id,
            "aspect": f"{request.format.picture_aspect.numerator}:{request.format.picture_aspect.denominator}",
            "lines": [len(request.grid.u), len(request.grid.v)],
            "marks_mm": None if measured.marks is None else list(measured.marks.size_mm),
            "marks_px": None if measured.marks is None else _rounded(measured.marks.seen.centres.tolist()),
            "lens": None if request.lens is None else str(request.lens),
            "marks_mm_uncertainty": None if measured.marks is None else request.marks_sigma_mm,
            "glass_radius_mm": request.glass_radius_mm,
            "depth_mm": request.depth_mm,
        },
        "files": {
            name: [str(path) for path in some] if isinstance(some, list) else str(some) for name, some in files.items()
        },
    }


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, _DIGITS)
    if isinstance(value, Mapping):
        return {name: _rounded(part) for name, part in value.items()}
    return [_rounded(part) for part in value] if isinstance(value, list | tuple) else value
