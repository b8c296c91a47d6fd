"""Playlists of a kit, in two open formats: M3U with UTF-8 and XSPF.

A playlist stands beside its files and names them by their bare names, so the folder can be copied anywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote
from xml.etree import ElementTree

__all__ = ["Track", "m3u8", "xspf"]

_XSPF = "http://xspf.org/ns/0/"
"""The namespace of XSPF version 1 (specification at xspf.org; from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One file: its name in the playlist's own folder, its title, its length (None for a still)."""

    name: str
    title: str
    seconds: float | None


def m3u8(title: str, tracks: Sequence[Track]) -> str:
    """Extended M3U. Names stand as they are: its readers take a line for a path, not for a URI. -1 is no length."""
    lines = ["#EXTM3U", f"#PLAYLIST:{_line(title)}"]
    for track in tracks:
        seconds = "-1" if track.seconds is None else f"{track.seconds:.3f}".rstrip("0").rstrip(".")
        lines += [f"#EXTINF:{seconds},{_line(track.title)}", track.name]
    return "\n".join(lines) + "\n"


def _line(text: str) -> str:
    return " ".join(text.split())


def xspf(title: str, tracks: Sequence[Track]) -> str:
    """XSPF version 1. A location is a relative URI reference, a length is in whole milliseconds."""
    ElementTree.register_namespace("", _XSPF)
    root = ElementTree.Element(f"{{{_XSPF}}}playlist", version="1")
    _add(root, "title", title)
    listed = ElementTree.SubElement(root, f"{{{_XSPF}}}trackList")
    for i, track in enumerate(tracks, 1):
        entry = ElementTree.SubElement(listed, f"{{{_XSPF}}}track")
        _add(entry, "location", quote(track.name, safe=""))
        _add(entry, "title", track.title)
        _add(entry, "trackNum", str(i))
        if track.seconds is not None:
            _add(entry, "duration", str(round(1000 * track.seconds)))
    ElementTree.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _add(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, f"{{{_XSPF}}}{name}").text = text
