"""The one driver of the command line in tests: it runs in this process, and what it printed comes back."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from trueraster.cli import run

__all__ = ["Ran", "call", "refused"]


class Ran(NamedTuple):
    """What one command line gave."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """The object that it printed, as strict JSON."""
        answer = json.loads(self.out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
        assert isinstance(answer, dict)
        return answer


def call(*words: object, stdin: bytes | None = None) -> Ran:
    """Run a command line, each word as text."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.MonkeyPatch.context() as patch:
        if stdin is not None:
            patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin)))
        code = run([str(word) for word in words])
    return Ran(code, out.getvalue(), err.getvalue())


def refused(*words: str | Path, told: str = "") -> str:
    """The one line that a mistake gives, with exit code 2 and nothing on standard output."""
    ran = call(*words)
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1), ran
    assert "Traceback" not in ran.err
    assert told in ran.err, ran.err
    return ran.err
