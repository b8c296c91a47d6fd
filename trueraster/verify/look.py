"""One of many files, looked at in a process of its own: whatever happens to it is an answer."""

from __future__ import annotations

import base64
import hashlib
import io
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from render.reading import check_plain
from trueraster.errors import line_of
from trueraster.output.json import answer_json
from trueraster.verify.one import OtherShownError, Request, Verified, thumbnail, verify_file

__all__ = ["Job", "WrongVersionError", "digest", "look"]

_WIDTH, _QUALITY = 320, 80
"""Of a thumbnail: samples, and of its JPEG file."""


class WrongVersionError(Exception):
    """This process has another version of the program than the one that asks; its only argument is that version."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A file and what is asked of it; can be sent to another process."""

    path: str
    request: Request
    shown: bool
    """Whether a small picture of what failed is wanted."""
    version: str
    """Of the program that asks."""


def look(job: Job) -> dict[str, Any]:
    """The answer of `verify` to one file, as JSON, with `path`, `exit`, `sha256`, and `error` where exit is 2.

    Raises:
        WrongVersionError: this process has another version of the program.
    """
    if job.version != version("trueraster"):
        raise WrongVersionError(version("trueraster"))
    held: dict[str, Any] = {"path": job.path, "exit": 2, "sha256": None}
    try:
        held["sha256"] = digest(Path(job.path))
        verified = verify_file(Path(job.path), job.request)
    except OtherShownError as error:
        return {**held, "error": str(error), **answer_json(error.answer)}
    except Exception as error:
        # One file that nobody thought of must not stop a thousand others.
        line = line_of(error) or f"{type(error).__name__}: {error}"
        return {**held, "error": line if line.startswith(job.path) else f"{job.path}: {line}"}
    held |= {"exit": 0 if verified.passed else 1, **answer_json(verified.answer)}
    if job.shown and not verified.passed:
        held["thumbnail"] = _jpeg(verified)
    return held


def digest(path: Path) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal digits.

    Raises:
        FileError: it is no plain file.
        OSError: it cannot be read.
    """
    check_plain(path)
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _jpeg(verified: Verified) -> str | None:
    image = thumbnail(verified, _WIDTH)
    if image is None:
        return None
    file = io.BytesIO()
    image.save(file, "JPEG", quality=_QUALITY)
    return base64.b64encode(file.getvalue()).decode("ascii")
