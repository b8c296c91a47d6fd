"""Compare every command's `--json` on the examples with an earlier state of the project, key by key and value by value.

    .venv/bin/python tests/trials/same_json.py REVISION

The cases of `tests/golden/commands.py` are run by the code of that revision, in a checkout of its own, and by that of
this tree. Prints how many answers were compared, what was removed, what changed, what was added, and which
sentences are worded anew; exit 1 where anything was removed or changed, 2 where nothing could be compared.
Figures may differ by one in their last digit, as `tests/golden/commands.py` says. `docs/changes.md` lists additions.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SENTENCES = {
    *("finding", "findings", "why", "words", "name", "summary", "warnings", "reasons", "reason", "explanation", "notes")
}
"""Keys whose text is for people; so are those of what is in them."""
NEAR = 2e-6

_ANSWERS = """
import json, sys, tempfile
from pathlib import Path
import trueraster
sys.path.append(sys.argv[1])
from tests.golden.commands import CASES, json_of, prepared
assert not Path(trueraster.__file__).is_relative_to(sys.argv[1]) or sys.argv[1] == sys.argv[2], trueraster.__file__
with tempfile.TemporaryDirectory() as folder, prepared(Path(folder)):
    print("ANSWERS" + json.dumps({case.name: json_of(case) for case in CASES if not case.slow}))
"""
"""Run with the code to be tried first on the path; the cases and their examples are those of this tree."""


def main(revision: str) -> int:
    with tempfile.TemporaryDirectory() as folder:
        made = subprocess.run(["git", "archive", revision], cwd=ROOT, capture_output=True, check=False)
        if made.returncode:
            print(f"{revision}: {made.stderr.decode().strip()}", file=sys.stderr)
            return 2
        subprocess.run(["tar", "-x", "-C", folder], input=made.stdout, check=True)
        before, now = _answers(Path(folder)), _answers(ROOT)
    said: dict[str, list[str]] = {"removed": [], "changed": [], "added": [], "worded anew": []}
    compared = 0
    for name, text in before.items():
        if text.startswith("exit"):
            continue
        compared += 1
        for what, words in _differences(json.loads(text), json.loads(now[name]), "", False):
            said[what].append(f"{name}: {words}")
    print(f"compared: {compared} answers of {len(before)} commands; the others are refusals")
    for what, listed in said.items():
        print(f"{what}: {len(listed) or 'nothing'}")
        print("".join(f"  {words[:200]}\n" for words in listed), end="")
    if not compared:
        return 2
    return 1 if said["removed"] or said["changed"] else 0


def _answers(code: Path) -> dict[str, str]:
    """What each case prints with --json, by the code in a folder."""
    ran = subprocess.run(
        [sys.executable, "-P", "-c", _ANSWERS, str(ROOT), str(code)],
        env={**os.environ, "PYTHONPATH": str(code)},
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode:
        raise SystemExit(f"{code}: {ran.stderr[-600:]}")
    found: dict[str, str] = json.loads(ran.stdout.split("ANSWERS", 1)[1])
    return found


def _differences(old: Any, new: Any, path: str, is_sentence: bool) -> Iterator[tuple[str, str]]:
    old, new = (_by_id(value) for value in (old, new))
    if isinstance(old, dict) and isinstance(new, dict):
        for key in old | new:
            at = f"{path}.{key}".lstrip(".")
            if key not in new:
                yield "removed", at
            elif key not in old:
                yield "added", at
            else:
                yield from _differences(old[key], new[key], at, is_sentence or key in SENTENCES)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for i, (a, b) in enumerate(zip(old, new, strict=True)):
            yield from _differences(a, b, f"{path}.{i}", is_sentence)
    elif isinstance(old, float | int) and isinstance(new, float | int) and not isinstance(old, bool):
        if abs(old - new) > NEAR:
            yield "changed", f"{path}: {old} to {new}"
    elif old != new:
        yield ("worded anew" if is_sentence else "changed"), f"{path}: {str(old)[:80]!r} to {str(new)[:80]!r}"


def _by_id(value: Any) -> Any:
    """A list of objects with ids as an object of them: one that has come between the others is an addition."""
    if isinstance(value, list) and value and all(isinstance(one, dict) and "id" in one for one in value):
        return {one["id"]: one for one in value}
    return value


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1]))
