"""A record's pictures, as a page holds them: before and after side by side, and no larger than a page needs."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

from PIL import Image

from trueraster.output.page import data_uri
from trueraster.record.pictures import jpeg
from trueraster.record.schema import AttachedPicture, Record, Stage

__all__ = ["Shown", "pictures_of"]

_MOST_BYTES = 8 << 20
"""Of all pictures of a page; beyond it they are made smaller."""
_SMALL = 1000
"""Samples of the longer side of such a one: half the width of A4 at 280 to the inch."""
_QUALITY = 82
_MOST_PIXELS = 50_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One picture."""

    stage: Stage
    name: str
    caption: str
    date: str
    source: str
    """A data: URI; empty where it cannot be shown."""
    size: tuple[int, int]


def pictures_of(record: Record) -> list[list[Shown]]:
    """Pictures in groups: those with one caption together, in the order of stages."""
    groups: dict[str, list[tuple[Stage, AttachedPicture]]] = {}
    for stage, content in record.stages.items():
        for one in content.pictures:
            # Without a caption nothing says that two show the same.
            key = one.caption or f"{stage.value} {one.name}"
            groups.setdefault(key, []).append((stage, one))
    whole = sum(len(one.data) for held in groups.values() for _, one in held)
    return [[_shown(stage, one, whole > _MOST_BYTES) for stage, one in held] for held in groups.values()]


def _shown(stage: Stage, one: AttachedPicture, small: bool) -> Shown:
    kept = _kept(one, small)
    source = "" if kept is None else data_uri(*kept[:2])
    size = one.size_px if kept is None else kept[2]
    return Shown(stage=stage, name=one.name, caption=one.caption, date=one.date, source=source, size=size)


def _kept(one: AttachedPicture, small: bool) -> tuple[str, bytes, tuple[int, int]] | None:
    """Kind, bytes and size as a page has them; None where they are no such picture."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(one.data), formats=("JPEG", "PNG")) as opened:
                if Image.MIME.get(opened.format or "") != one.media_type or opened.width * opened.height > _MOST_PIXELS:
                    return None
                # Decoded whole: a picture that breaks off would be shown half.
                opened.load()
                if not small or max(opened.size) <= _SMALL:
                    return one.media_type, one.data, opened.size
                picture = opened.convert("L" if opened.mode in ("1", "L") else "RGB")
    except Exception:
        # A broken file raises anything that can be raised.
        return None
    picture.thumbnail((_SMALL, _SMALL), Image.Resampling.LANCZOS)
    if one.media_type != "image/png":
        return one.media_type, jpeg(picture, _QUALITY), picture.size
    file = io.BytesIO()
    picture.save(file, "PNG", optimize=True)
    return one.media_type, file.getvalue(), picture.size
