"""The manifest of a kit, kit.json: what each file is, what it must show, and the proof that it does."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.placement import patch_area
from patterns.scene import Patch, Scene
from patterns.signal import Signal
from render.produce import Order
from render.proof import Proof, Verdict
from render.writing import placed
from trueraster.kit.plan import Item
from trueraster.options.orders import PROOF_FIGURES, proof_json
from trueraster.output.terminal import number

__all__ = ["MANIFEST_NAME", "Entry", "entry_of", "is_manifest", "read_manifest", "write_manifest"]

MANIFEST_NAME = "kit.json"
MANIFEST_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One finished file of the manifest."""

    path: str
    """Relative to the manifest."""
    told: Mapping[str, Any]
    """All that the manifest says of the order: equal exactly when the same file would be made again."""
    bytes: int
    sha256: str
    proof: Proof

    text: str
    """The entry as JSON on one line. The manifest is written often, so each entry is put into words once."""

    @classmethod
    def of(cls, path: str, told: Mapping[str, Any], size: int, sha256: str, proof: Proof) -> Entry:
        whole = {"path": path, **told, "bytes": size, "sha256": sha256, "proof": proof_json(proof)}
        text = json.dumps(whole, ensure_ascii=False)
        return cls(path=path, told=told, bytes=size, sha256=sha256, proof=proof, text=text)


def entry_of(item: Item, program: str) -> dict[str, Any]:
    """What the manifest says of an order. `program` is the version of the program that carries it out."""
    order = item.order
    signal, fmt = order.signal, order.format
    scene = item.scene
    aspect = fmt.picture_aspect
    return {
        "number": item.number,
        "pattern": order.pattern.id,
        "title": order.pattern.title,
        "options": {name: _option(value) for name, value in order.options.given.items()},
        "format": fmt.id,
        "aspect": f"{aspect.numerator}:{aspect.denominator}",
        "carrier": order.carrier.name,
        "signal": {
            "range": signal.range.value,
            "matrix": None if signal.sampling.is_rgb else signal.matrix.value,
            "bits": signal.bits,
            "sampling": signal.sampling.value,
            "edges": signal.edges.value,
            "components": list(signal.components),
        },
        "seconds": order.seconds,
        "tagged": order.tagged,
        **order.extras.stated,
        "patches": [_patch(patch, fmt, signal) for patch in scene.patches],
        "nodes": len(scene.nodes),
        "program": program,
        "scene_sha256": _fingerprint(scene, order),
    }


def _option(value: object) -> str:
    return "x".join(map(str, value)) if isinstance(value, tuple) else str(value)


def _patch(patch: Patch, fmt: Format, signal: Signal) -> dict[str, Any]:
    colour, drawn = patch.colour, patch_area(fmt, patch, 0, 0)
    return {
        "name": patch.name,
        "level_percent": number(100 * colour.green) if colour.is_neutral else None,
        "rgb_percent": [number(100 * level) for level in (colour.red, colour.green, colour.blue)],
        "codes": list(signal.codes(colour)),
        "sloped": patch.sloped,
        "rectangle": {"left": drawn.left, "top": drawn.top, "right": drawn.right, "bottom": drawn.bottom},
    }


def _fingerprint(scene: Scene, order: Order) -> str:
    """A hash of all that is drawn, so that a file is made again when its pattern or its raster has changed."""
    return hashlib.sha256(repr((scene, order.format, order.signal)).encode()).hexdigest()


def write_manifest(
    folder: Path, entries: Mapping[str, Entry], earlier: Mapping[str, Entry], about: Mapping[str, Any]
) -> None:
    """Write kit.json anew: `about` the whole kit, its finished `entries` in order, files of `earlier` kits."""
    head = json.dumps({"manifest_version": MANIFEST_VERSION, **about}, ensure_ascii=False, indent=1)
    parts = [f"{name}: [{_lines(part.values())}]" for name, part in (('"files"', entries), ('"earlier"', earlier))]
    body = ",\n ".join([head.removesuffix("\n}"), *parts])
    with placed(folder / MANIFEST_NAME) as file:
        file.write(f"{body}\n}}\n".encode())


def _lines(entries: Iterable[Entry]) -> str:
    lines = ",\n  ".join(entry.text for entry in entries)
    return f"\n  {lines}\n " if lines else ""


def read_manifest(folder: Path) -> dict[str, Entry]:
    """The files that the manifest in a folder lists, by path. What is no manifest of ours lists none."""
    try:
        manifest = json.loads((folder / MANIFEST_NAME).read_text(encoding="utf-8"))
        if manifest["manifest_version"] != MANIFEST_VERSION:
            return {}
        listed = [*manifest["files"], *manifest["earlier"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
    found: dict[str, Entry] = {}
    for item in listed:
        with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):
            entry = _entry(item)
            found.setdefault(entry.path, entry)
    return found


def is_manifest(folder: Path) -> bool:
    """Whether the folder has a whole manifest of ours, of any version."""
    try:
        manifest = json.loads((folder / MANIFEST_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(manifest, dict) and "manifest_version" in manifest


def _entry(item: dict[str, Any]) -> Entry:
    rest = dict(item)
    path, size, sha256, proof = (rest.pop(name) for name in ("path", "bytes", "sha256", "proof"))
    # A manifest may come from anywhere; only a plain name can be a file of the kit.
    if not isinstance(path, str) or path in ("", ".", "..") or "/" in path or "\\" in path or "\0" in path:
        raise ValueError(path)
    if not (isinstance(size, int) and isinstance(sha256, str)):
        raise TypeError(path)
    return Entry.of(path, rest, size, sha256, _proof(proof))


_KINDS: dict[str, tuple[type, ...]] = {"int": (int,), "float": (int, float), "str": (str,)}
"""What JSON gives for a figure that is declared so; anything else in a proof is a list of words."""


def _proof(told: dict[str, Any]) -> Proof:
    figures: dict[str, Any] = {
        name: tuple(told[name]) if isinstance(told[name], list) else told[name] for name in PROOF_FIGURES
    }
    for field in fields(Proof):
        if field.name in figures and not isinstance(figures[field.name], _KINDS.get(str(field.type), (tuple,))):
            raise TypeError(field.name)
    return Proof(verdict=Verdict(told["verdict"]), **figures)
