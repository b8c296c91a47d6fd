"""Words that are data: tables of sentences in TOML files beside the code, which a technician can proof-read."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

__all__ = ["read_words"]


def read_words(package: str, name: str) -> dict[str, Any]:
    """What the TOML file `name` of a package holds, each text as one line: a line break in it counts as a space."""
    return {key: _flat(value) for key, value in tomllib.loads((files(package) / name).read_text("utf-8")).items()}


def _flat(value: Any) -> Any:
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, list):
        return [_flat(one) for one in value]
    return {key: _flat(one) for key, one in value.items()} if isinstance(value, dict) else value
