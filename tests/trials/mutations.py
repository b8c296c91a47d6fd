"""Change the arithmetic at random, one place at a time, and see whether the quick tests notice.

    .venv/bin/python tests/trials/mutations.py [--count 300] [--seed N] [--only REGEX] [--map FILE] [--list]

A change turns one operator, comparison, boolean operator or number of `patterns`, `render` or `analysis` into another
one. It is made in a copy of the tree. There the quick tests run that reach its line, and when none of them fails, the
whole files they are in, since what one test works out may be kept for the next. Which tests reach a line is known from
one run of all quick tests under `coverage`; it is kept in the file of `--map` until a source or a test changes. What
tests run in another process is not counted. A line that runs at import time is reached by all files that import it.

Prints the changes that no test noticed, and the share that was noticed. Changes in `mutations_equivalent.txt` change
nothing that can be seen, and are left out. Exit 1 where less than 85 % were noticed.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import coverage

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("patterns", "render", "analysis")
EQUIVALENT = Path(__file__).with_name("mutations_equivalent.txt")
AT_ONCE = 2
AIM_PERCENT = 85
MAP = Path(tempfile.gettempdir()) / "trueraster-tests-by-line.json"

OPERATORS: dict[type[ast.AST], tuple[str, tuple[str, ...]]] = {
    ast.Add: ("+", ("-",)),
    ast.Sub: ("-", ("+",)),
    ast.Mult: ("*", ("/",)),
    ast.Div: ("/", ("*",)),
    ast.FloorDiv: ("//", ("/",)),
    ast.Mod: ("%", ("*",)),
    ast.Pow: ("**", ("*",)),
    ast.LShift: ("<<", (">>",)),
    ast.RShift: (">>", ("<<",)),
    ast.BitAnd: ("&", ("|",)),
    ast.Lt: ("<", ("<=", ">")),
    ast.LtE: ("<=", ("<", ">=")),
    ast.Gt: (">", (">=", "<")),
    ast.GtE: (">=", (">", "<=")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.And: ("and", ("or",)),
    ast.Or: ("or", ("and",)),
}
"""What is written in the source, and what it may become; `|` is left alone, since it mostly joins types."""
LOOKS = {
    "linewidth",
    "alpha",
    "zorder",
    "fontsize",
    "labelpad",
    "pad",
    "markersize",
    "ncols",
    "dpi",
    "indent",
    "rotation",
}
"""Arguments that say how a plot or a file looks, and calculate nothing."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One place of a file, and what is written there instead."""

    path: str
    """From the root of the project."""
    start: int
    """Bytes from the beginning of the file."""
    end: int
    text: str
    lines: frozenset[int]
    """The lines of the changed expression and the first line of its statement: reached when one of them is."""

    def applied(self) -> bytes:
        source = (ROOT / self.path).read_bytes()
        return source[: self.start] + self.text.encode() + source[self.end :]

    def before_and_after(self) -> tuple[int, str, str]:
        """The number of the line that changes, and the line before and after, without indentation."""
        source = (ROOT / self.path).read_bytes()
        row = source[: self.start].count(b"\n")
        before, after = (text.decode().splitlines()[row].strip() for text in (source, self.applied()))
        return row + 1, before, after

    def shown(self) -> str:
        row, before, after = self.before_and_after()
        return f"{self.path}:{row}\n  - {before}\n  + {after}"


@dataclass(frozen=True, kw_only=True)
class Reach:
    """Which quick tests reach which line, and how long each test file takes."""

    tests: dict[str, dict[str, list[str]]]
    """By file and line number: ids of tests, or the name of a whole test file for what imports and fixtures reach."""
    seconds: dict[str, float]

    def of(self, change: Change) -> tuple[list[str], list[str]]:
        """Ids of single tests and names of whole test files, the quickest files first; none for a line none reaches."""
        lines = self.tests.get(change.path, {})
        found = sorted({test for line in change.lines for test in lines.get(str(line), ())})
        files = sorted({_file(test) for test in found}, key=self.seconds.__getitem__)
        return sorted((test for test in found if "::" in test), key=lambda test: files.index(_file(test))), files


def _file(test: str) -> str:
    return test.partition("::")[0]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument(
        "--seed", type=int, default=random.randrange(1_000_000), help="another one each time if not given"
    )
    parser.add_argument("--only", default="", help="a regular expression that the file's path has to match")
    parser.add_argument("--map", type=Path, default=MAP, help="where the tests of each line are kept")
    parser.add_argument("--list", action="store_true", help="only print the changes")
    given = parser.parse_args()
    known, stale = equivalent()
    for path, before, _ in stale:
        print(f"{EQUIVALENT.name} names a line that is not in {path} any more: {before}")
    changes = [change for change in all_changes() if re.search(given.only, change.path)]
    drawn = random.Random(given.seed).sample(changes, min(given.count, len(changes)))
    left = [change for change in drawn if (change.path, *change.before_and_after()[1:]) not in known]
    print(f"seed {given.seed}: {len(left)} of {len(changes)} changes; {len(drawn) - len(left)} left out as equivalent")
    if given.list:
        print("\n".join(change.shown() for change in left))
        return 0
    survivors = tried(left, reach_of_tests(given.map))
    for change, why in survivors:
        print(f"\n{change.shown()}\n  {why}")
    share = 100 * (1 - len(survivors) / max(len(left), 1))
    print(f"\n{len(left) - len(survivors)} of {len(left)} noticed: {share:.1f} % (the aim is {AIM_PERCENT} %)")
    return 0 if share >= AIM_PERCENT else 1


def equivalent() -> tuple[set[tuple[str, str, str]], list[tuple[str, str, str]]]:
    """Path, line before and line after of changes that change nothing; and those whose line is not there any more."""
    block = re.compile(r"^(\S+\.py)\n- (.+)\n\+ (.+)\n {2}\S", re.MULTILINE)
    known = set(block.findall(EQUIVALENT.read_text(encoding="utf-8")))
    stale = []
    for path, before, after in known:
        source = (ROOT / path).read_text(encoding="utf-8") if (ROOT / path).exists() else ""
        if before not in map(str.strip, source.splitlines()):
            stale.append((path, before, after))
    return known, stale


def all_changes() -> list[Change]:
    """Every change that there is, in the order of files and lines."""
    found = []
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            source = path.read_bytes()
            starts = [0]
            for line in source.splitlines(keepends=True):
                starts.append(starts[-1] + len(line))
            name = str(path.relative_to(ROOT))
            for statement, node in _arithmetic(ast.parse(source)):
                for start, end, text in _texts(node, source, starts):
                    last = getattr(node, "end_lineno", None) or node.lineno
                    lines = frozenset({statement.lineno, *range(node.lineno, last + 1)})
                    found.append(Change(path=name, start=start, end=end, text=text, lines=lines))
    return found


def _arithmetic(tree: ast.Module) -> Iterator[tuple[ast.stmt, ast.expr | ast.AugAssign]]:
    """Expressions with their statements: without annotations, decorators, `raise`, texts, imports and `__all__`."""
    todo: list[tuple[ast.stmt | None, ast.AST]] = [(None, tree)]
    while todo:
        statement, node = todo.pop()
        if isinstance(node, (ast.Raise, ast.Assert, ast.JoinedStr, ast.arg, ast.Import, ast.ImportFrom)):
            continue
        if isinstance(node, ast.keyword) and node.arg in LOOKS:
            continue
        if isinstance(node, ast.Assign) and any(isinstance(to, ast.Name) and to.id == "__all__" for to in node.targets):
            continue
        if isinstance(node, ast.stmt):
            statement = node
        if statement is not None and isinstance(node, (ast.expr, ast.AugAssign)):
            yield statement, node
        for name, value in ast.iter_fields(node):
            if name not in ("annotation", "returns", "decorator_list", "bases"):
                parts = value if isinstance(value, list) else [value]
                todo.extend((statement, part) for part in parts if isinstance(part, ast.AST))


def _texts(node: ast.expr | ast.AugAssign, source: bytes, starts: list[int]) -> Iterator[tuple[int, int, str]]:
    """Where the node's operators or its number are in the source, and what they become."""

    def at(row: int | None, column: int | None) -> int:
        assert row is not None
        assert column is not None
        return starts[row - 1] + column

    def span(part: ast.expr) -> tuple[int, int]:
        return at(part.lineno, part.col_offset), at(part.end_lineno, part.end_col_offset)

    pairs: list[tuple[ast.AST, ast.expr, ast.expr]] = []
    match node:
        case ast.Constant(value=value) if isinstance(value, (int, float)) and not isinstance(value, bool):
            yield *span(node), repr(value + 1)
        case ast.UnaryOp(op=ast.USub() | ast.Not(), operand=operand):
            yield span(node)[0], span(operand)[0], ""
        case ast.BinOp(left=left, op=op, right=right):
            pairs = [(op, left, right)]
        case ast.AugAssign(target=target, op=op, value=right):
            pairs = [(op, target, right)]
        case ast.Compare(left=left, ops=ops, comparators=rest):
            pairs = list(zip(ops, [left, *rest[:-1]], rest, strict=True))
        case ast.BoolOp(op=op, values=values):
            pairs = [(op, values[0], values[1])] if len(values) == 2 else []
    for kind, left, right in pairs:
        if type(kind) not in OPERATORS or any(map(_no_number, (left, right))):
            continue
        old, become = OPERATORS[type(kind)]
        start, end = span(left)[1], span(right)[0]
        between = source[start:end].decode()
        if between.strip("() \n\\=") == old.strip("="):
            place = start + len(between[: between.index(old)].encode())
            yield from ((place, place + len(old), new) for new in become)


def _no_number(node: ast.expr) -> bool:
    """Whether it is a text, list, tuple or set, which operators join rather than calculate."""
    joined = (ast.JoinedStr, ast.List, ast.Tuple, ast.Set, ast.Dict, ast.ListComp)
    return isinstance(node, joined) or (isinstance(node, ast.Constant) and isinstance(node.value, (str, bytes)))


def reach_of_tests(kept: Path) -> Reach:
    """What the file keeps of this state of the tree, with what it lacks worked out and added to it."""
    digest = hashlib.sha256()
    for path in sorted(path for folder in (*PACKAGES, "trueraster", "tests") for path in (ROOT / folder).rglob("*.py")):
        digest.update(path.read_bytes())
    stored = json.loads(kept.read_text(encoding="utf-8")) if kept.exists() else {}
    if stored.get("digest") != digest.hexdigest():
        stored = {"digest": digest.hexdigest(), "files": {}}
    files = sorted(f"tests/{path.name}" for path in (ROOT / "tests").glob("test_*.py"))
    lacking = [file for file in files if file not in stored["files"]]
    with ThreadPoolExecutor(AT_ONCE) as crew:
        for file, found in zip(lacking, crew.map(_reached, lacking), strict=True):
            stored["files"][file] = found
            kept.write_text(json.dumps(stored), encoding="utf-8")
            words = "fails without any change, and is left out" if found is None else f"{found['seconds']:.0f} s"
            print(f"which lines tests reach: {len(stored['files'])}/{len(files)} {file} {words}", flush=True)
    passing = {file: found for file, found in stored["files"].items() if found is not None}
    tests: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for file, found in passing.items():
        for path, lines in found["lines"].items():
            for line, names in lines.items():
                tests[path][line] += [f"{file}::{name}" if name else file for name in names]
    return Reach(tests=tests, seconds={file: found["seconds"] for file, found in passing.items()})


def _reached(file: str) -> dict[str, Any] | None:
    """Seconds that a test file takes, and its tests by path and line; "" is what imports and fixtures reach.

    None where one of its tests fails.
    """
    lines: dict[str, dict[str, list[str]]] = defaultdict(dict)
    with tempfile.TemporaryDirectory() as folder:
        settings, data = Path(folder) / "settings", Path(folder) / "data"
        sources = "\n  ".join(PACKAGES)
        settings.write_text(f"[run]\ndynamic_context = test_function\nsource =\n  {sources}\n")
        under = [sys.executable, "-m", "coverage", "run", f"--rcfile={settings}", f"--data-file={data}"]
        began = time.monotonic()
        done = subprocess.run([*under, "-m", *_pytest(file)], cwd=ROOT, capture_output=True, check=False)
        seconds = time.monotonic() - began
        if done.returncode not in (0, 5):
            return None
        if data.exists():
            held = coverage.CoverageData(str(data))
            held.read()
            for path in held.measured_files():
                for line, contexts in held.contexts_by_lineno(path).items():
                    names = sorted({context.rpartition(".")[2] for context in contexts})
                    lines[str(Path(path).relative_to(ROOT))][str(line)] = names
    return {"seconds": seconds, "lines": lines}


def _pytest(*tests: str) -> list[str]:
    return ["pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", "-m", "not slow", *tests]


def tried(changes: list[Change], reach: Reach) -> list[tuple[Change, str]]:
    """The changes that no test noticed, each with a word on the tests that ran."""
    survivors = []
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(AT_ONCE) as crew:
        trees: SimpleQueue[Path] = SimpleQueue()
        for number in range(AT_ONCE):
            tree = Path(folder) / str(number) / "tree"
            shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".*", "__pycache__", "outputs", "build", "dist"))
            trees.put(tree)

        def judged(change: Change) -> tuple[Change, str, bool]:
            tests, files = reach.of(change)
            seconds = 60 + 3 * sum(reach.seconds[file] for file in files)
            tree = trees.get()
            try:
                noticed = any(_noticed(change, some, tree, seconds) for some in (tests, files) if some)
            finally:
                trees.put(tree)
            return change, f"reached by {', '.join(files) or 'no quick test'}", noticed

        for number, (change, why, noticed) in enumerate(crew.map(judged, changes)):
            if not noticed:
                survivors.append((change, why))
            row = change.before_and_after()[0]
            word = "noticed " if noticed else "SURVIVED"
            print(f"{number + 1}/{len(changes)} {word} {change.path}:{row}", flush=True)
    return survivors


def _noticed(change: Change, tests: list[str], tree: Path, seconds: float) -> bool:
    """Whether a test fails, or does not end in time, with the change made in a copy of the tree."""
    target = tree / change.path
    original = target.read_bytes()
    try:
        _replace(target, change.applied())
        process = subprocess.Popen(
            [sys.executable, "-m", *_pytest(*tests)],
            cwd=tree,
            env={**os.environ, "PYTHONPATH": str(tree)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            return process.wait(timeout=seconds) not in (0, 5)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            return True
    finally:
        _replace(target, original)


def _replace(target: Path, source: bytes) -> None:
    """Write a module and forget its compiled form, which may look as new as the source."""
    target.write_bytes(source)
    for compiled in (target.parent / "__pycache__").glob(f"{target.stem}.*"):
        compiled.unlink()


if __name__ == "__main__":
    sys.exit(main())
