"""How a result was measured, as far as its own keys tell it: names and what stands beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from analysis.answer import Kind, number_at
from analysis.meter.readings.types import level_text
from analysis.rounding import counted
from trueraster.record.schema import Attached

__all__ = ["method_of"]

Json = Mapping[str, Any]


def method_of(one: Attached) -> list[tuple[str, str]]:
    """Names and words, in the order of reading; what a result does not tell is left out."""
    ways = {
        Kind.VERIFY: _signal,
        Kind.GEOMETRY: _photograph,
        Kind.CONVERGENCE: _photograph,
        Kind.GREY: _meter,
        Kind.COLOUR: _meter,
        Kind.UNIFORMITY: _fields,
        Kind.LENS: _lens,
    }
    if one.kind not in set(Kind):
        return []
    kind = Kind(one.kind)
    command = "trueraster verify" if kind is Kind.VERIFY else f"trueraster measure {kind.value}"
    rows = [("command", command), *ways[kind](one.result)]
    return [(name, " ".join(words.split())) for name, words in rows if words.strip()]


def _signal(held: Json) -> Iterator[tuple[str, str]]:
    yield "pattern", _shown(held)
    signal = _inner(held, "signal")
    bits, matrix = number_at(signal, "bits"), _text(signal, "matrix")
    sampling, span = _text(signal, "sampling"), _text(signal, "range")
    yield (
        "expected",
        _together(
            f"{bits:g} bits" if bits else "",
            f"{span} range" if span else "",
            f"matrix of BT.{matrix}" if matrix else "",
            "R'G'B'" if sampling == "rgb" else sampling,
        ),
    )
    yield "capture", _text(held, "capture")
    limit, unit = number_at(held, "tolerance.value"), _text(_inner(held, "tolerance"), "unit")
    yield "tolerance", "" if limit is None else f"{limit:g} {unit.replace('codes', 'code') if limit == 1 else unit}"


def _photograph(held: Json) -> Iterator[tuple[str, str]]:
    photo = _inner(held, "photo")
    yield "pattern", _shown(photo)
    yield "grid", _sides(photo, "lines", "lines across and down")
    yield "photograph", _with_size(_name(photo, "path"), _sides(photo, "size_px", "px"))
    marks = _sides(photo, "marks_mm", "mm")
    yield "marks", f"four, {marks} apart" if marks else "none: bends and convergence only"
    yield "lens", _name(photo, "lens") or "no lens file"
    radius = number_at(photo, "glass_radius_mm")
    yield "glass", "" if radius is None else f"curved, radius {radius:g} mm"


def _meter(held: Json) -> Iterator[tuple[str, str]]:
    readings = _inner(held, "readings")
    count = number_at(readings, "count")
    yield "readings", _together(_name(readings, "path"), "" if count is None else counted(int(count), "reading"))
    light, colour = number_at(readings, "meter_luminance_percent"), number_at(readings, "meter_xy")
    yield (
        "meter",
        _together(
            "" if light is None else f"± {light:g} % in luminance",
            "" if colour is None else f"± {colour:g} in x and y",
        ),
    )
    target = _inner(held, "target")
    white = _inner(target, "white") or target
    x, y = number_at(white, "x"), number_at(white, "y")
    place = "" if x is None or y is None else f"x {x:g}, y {y:g}"
    name = _text(white, "name").upper() if _text(white, "name") in ("d65", "d93") else _text(white, "name")
    yield "target white", _with_size(name, place)
    yield "held against", _text(target, "title")
    yield "primaries", _primaries(held)
    level = number_at(held, "level_percent")
    yield "level", "" if level is None else f"{level_text(level)} %"


_PRIMARIES = {
    "readings": "the tube's own, as read",
    "smpte-c": "SMPTE C",
    "ebu-3213": "EBU 3213",
    "bt709": "BT.709",
}
"""As --primaries names them, in words."""


def _primaries(held: Json) -> str:
    """Of grey: which primaries the guns' balance is told by. Of colour they are what was measured."""
    if "steps" not in held:
        return ""
    told = _inner(held, "primaries")
    name = _text(told, "title") or _text(told, "name")
    return _PRIMARIES.get(name, name)


def _fields(held: Json) -> Iterator[tuple[str, str]]:
    fields = [one for one in _list(held, "fields") if isinstance(one, Mapping)]
    yield "fields", ", ".join(filter(None, (_text(one, "colour") for one in fields)))
    yield "photographs", ", ".join(filter(None, (_name(one, "path") for one in fields)))
    for key, title in (("flat_field", "the camera's own fall-off"), ("ambient", "the room's light")):
        yield title, "removed" if held.get(key) is True else "not removed"


def _lens(held: Json) -> Iterator[tuple[str, str]]:
    yield (
        "photographs",
        ", ".join(
            f"{len(_list(held, key))} {words}"
            for key, words in (("used", "used"), ("left_out", "left out"))
            if _list(held, key)
        ),
    )


def _shown(held: Json) -> str:
    words = " in ".join(text for text in (_text(held, "pattern"), _text(held, "format")) if text)
    aspect = _text(held, "aspect")
    return f"{words}, {aspect}" if words and aspect else words


def _text(held: Json, key: str) -> str:
    value = held.get(key)
    return value if isinstance(value, str) else ""


def _name(held: Json, key: str) -> str:
    """A file without its folder, which is nobody's business."""
    return _text(held, key).replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]


def _inner(held: Json, key: str) -> Json:
    value = held.get(key)
    return value if isinstance(value, Mapping) else {}


def _list(held: Json, key: str) -> Sequence[Any]:
    value = held.get(key)
    return value if isinstance(value, list) else []


def _sides(held: Json, key: str, unit: str) -> str:
    across, down = number_at(held, f"{key}.0"), number_at(held, f"{key}.1")
    return "" if across is None or down is None else f"{across:g} × {down:g} {unit}"


def _together(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _with_size(name: str, more: str) -> str:
    return f"{name} ({more})" if name and more else name or more
