"""Write the golden files again, all or those whose names are given; `git diff` then shows what changed.

.venv/bin/python tests/golden/rewrite.py [NAME...]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.golden.commands import CASES, GOLDEN, answers, prepared


def main(names: list[str]) -> int:
    unknown = set(names) - {case.name for case in CASES}
    if unknown:
        print(f"no case {', '.join(sorted(unknown))}", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as folder, prepared(Path(folder)):
        for case in CASES:
            if names and case.name not in names:
                continue
            for ending, text in answers(case).items():
                (GOLDEN / f"{case.name}.{ending}").write_text(text, encoding="utf-8")
            print(case.name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
