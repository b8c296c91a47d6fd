"""An answer to standard output, for people or for programs."""

from __future__ import annotations

from contextlib import ExitStack

from analysis.answer import Answer
from trueraster.options.keep import Keeping
from trueraster.output.json import Files, answer_json
from trueraster.output.terminal import put_json, put_text
from trueraster.output.text import answer_text

__all__ = ["put_answer"]


def put_answer(answer: Answer, files: Files | None = None, *, as_json: bool, keeping: Keeping | None = None) -> None:
    """Write what a measurement found, as text or as one JSON object, with the files that were written.

    With `keeping` it goes into a set's record as well, even when nobody reads standard output any more.
    """
    with ExitStack() as after:
        if keeping is not None:
            after.callback(keeping.keep, answer_json(answer, files))
        if as_json:
            put_json(answer_json(answer, files))
        else:
            put_text(answer_text(answer, files))
