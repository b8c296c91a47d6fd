"""Pages that need no other file and no network, filled so that whatever they are given is shown as text."""

from __future__ import annotations

import base64
import re
from importlib.resources import files
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined

from trueraster.output.cautions import CAUTIONS

__all__ = ["data_uri", "minus", "rendered"]

_SHARED = ("base.css", "cautions.html")
"""What a template may include."""


def rendered(name: str, /, **values: Any) -> str:
    """A template with values put in; the cautions are there as `cautions`."""
    shared = {one: _text(one) for one in _SHARED}
    made = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, loader=DictLoader(shared)
    )
    made.filters["css_string"] = _css_string
    made.filters["minus"] = minus
    return made.from_string(_text(name)).render(cautions=CAUTIONS, **values)


def data_uri(media_type: str, data: bytes) -> str:
    """A picture as an address that holds it whole."""
    return f"data:{media_type};base64,{base64.b64encode(data).decode('ascii')}"


def minus(text: str) -> str:
    """With a minus sign as it is set before a level or a vector, as of -I."""
    return re.sub(r"(?<!\S)-(?=[A-Z\d])", "−", text)


def _text(name: str) -> str:
    return (files("trueraster.output") / "templates" / name).read_text(encoding="utf-8")


def _css_string(text: str) -> str:
    """A string in CSS; all but letters, digits and blanks are escaped by number."""
    return '"' + re.sub(r"[^A-Za-z0-9 ]", lambda found: f"\\{ord(found[0]):x} ", text) + '"'
