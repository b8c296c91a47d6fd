"""The manifest of a kit, kit.json: what each file is, what it must show, and the proof that it does."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from math import inf
from pathlib import Path
from typing import Any

from patterns import keys
from patterns.formats import Format
from patterns.placement import patch_area
from patterns.scene import Patch, Scene
from patterns.signal import Signal
from render.produce import Order
from render.proof import Proof, Verdict
from render.reading import read_bounded
from render.writing import placed
from trueraster.kit.plan import Item
from trueraster.options.orders import PROOF_FIGURES, proof_json
from trueraster.output.terminal import number

__all__ = ["MANIFEST_NAME", "Entry", "entry_of", "is_manifest", "read_finished", "read_manifest", "write_manifest"]

MANIFEST_NAME = "kit.json"
MANIFEST_VERSION = 1
_MOST_BYTES = 256 << 20
"""Of a manifest: one of ten thousand files has some 50 million."""


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
    manifest = _manifest(folder)
    lists: list[Any] = [manifest.get("files"), manifest.get("earlier")]
    if manifest.get("manifest_version") != MANIFEST_VERSION or not all(isinstance(part, list) for part in lists):
        return {}
    return _listed(item for part in lists for item in part)


def read_finished(folder: Path) -> tuple[dict[str, Entry], bool]:
    """The kit's own files of a manifest, without those of earlier kits, and whether the kit is complete.

    What is no manifest of ours lists none.

    Raises:
        FileError: the manifest is missing, is no plain file, or is larger than one can be.
    """
    text = read_bounded(folder / MANIFEST_NAME, _MOST_BYTES, "no manifest of a kit")
    try:
        manifest = json.loads(text)
        if manifest["manifest_version"] != MANIFEST_VERSION:
            return {}, False
        return _listed(manifest["files"]), manifest["complete"] is True
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}, False


def _listed(items: Iterable[Any]) -> dict[str, Entry]:
    found: dict[str, Entry] = {}
    for item in items:
        with contextlib.suppress(keys.EntryError):
            own = _ENTRY(item)
            rest = {key: value for key, value in item.items() if key not in _OWN}
            entry = Entry.of(own["path"], rest, own["bytes"], own["sha256"], own["proof"])
            found.setdefault(entry.path, entry)
    return found


def is_manifest(folder: Path) -> bool:
    """Whether the folder has a whole manifest of ours, of any version."""
    return "manifest_version" in _manifest(folder)


def _manifest(folder: Path) -> dict[str, Any]:
    """What kit.json holds; nothing where it is no plain file, or no object of JSON."""
    try:
        held = json.loads(read_bounded(folder / MANIFEST_NAME, _MOST_BYTES, "no manifest of a kit"))
    except (ValueError, RecursionError):
        return {}
    return held if isinstance(held, dict) else {}


def _name(held: Any) -> str:
    # A manifest may come from anywhere; only a plain name can be a file of the kit.
    if not isinstance(held, str) or held in ("", ".", "..") or any(letter in held for letter in "/\\\0"):
        raise keys.unwanted("the plain name of a file", held)
    return held


_KINDS: dict[str, keys.Kind] = {
    "int": keys.whole("a whole number"),
    "float": keys.number(-inf, inf, "a number"),
    "str": keys.text,
}
"""For a figure that is declared so; anything else in a proof is a list of words."""
_FIGURES = {field.name: str(field.type) for field in fields(Proof) if field.name in PROOF_FIGURES}
_PROOF = keys.Table(
    keys={
        "verdict": keys.Key(lambda held: Verdict(keys.one_of(*Verdict)(held)), required=True),
        **{
            name: keys.Key(_KINDS.get(kind, keys.Items(read=keys.text)), required=True)
            for name, kind in _FIGURES.items()
        },
    },
    make=Proof,
)
_OWN = {
    "path": keys.Key(_name, required=True),
    "bytes": keys.Key(keys.whole("a whole number", 0), required=True),
    "sha256": keys.Key(keys.text, required=True),
    "proof": keys.Key(_PROOF, required=True),
}
_ENTRY = keys.Table(keys=_OWN)
