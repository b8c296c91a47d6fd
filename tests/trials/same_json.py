"""Compare every command's `--json` on the examples with an earlier state of the project, key by key and value by value.

    .venv/bin/python tests/trials/same_json.py REVISION

Both are read from the golden files: those of the revision by git, those of now from `tests/golden`. Prints what was
removed, what changed, what was added and which sentences are worded anew; exit 1 where anything was removed or changed.
Figures may differ by one in their last digit, as `tests/golden/commands.py` says. `docs/changes.md` lists additions.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

GOLDEN = Path(__file__).resolve().parents[1] / "golden"
SENTENCES = {
    "finding",
    "why",
    "words",
    "name",
    "summary",
    "warnings",
    "reasons",
    "reason",
    "findings",
    "explanation",
    "notes",
}
"""Keys whose text is for people; so are those of what is in them."""
NEAR = 2e-6


def main(revision: str) -> int:
    said: dict[str, list[str]] = {"removed": [], "changed": [], "added": [], "worded anew": []}
    for path in sorted(GOLDEN.glob("*.json")):
        shown = subprocess.run(
            ["git", "show", f"{revision}:./{path.name}"], cwd=GOLDEN, capture_output=True, text=True, check=False
        )
        if shown.returncode or shown.stdout.startswith("exit"):
            continue
        for what, words in _differences(
            json.loads(shown.stdout), json.loads(path.read_text(encoding="utf-8")), "", False
        ):
            said[what].append(f"{path.stem}: {words}")
    for what, listed in said.items():
        print(f"{what}: {len(listed) or 'nothing'}")
        print("".join(f"  {words[:200]}\n" for words in listed), end="")
    return 1 if said["removed"] or said["changed"] else 0


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
        # What had no reason, or one sentence fewer, has it now.
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
