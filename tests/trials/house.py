"""Print the shape of the packages: rooms and files of each folder, what is too large to read, and import circles.

    .venv/bin/python tests/trials/house.py

Exit 1 where there is an import circle; imports for type checkers and those inside functions count like all others.
"""

from __future__ import annotations

import ast
import graphlib
import sys
from collections.abc import Iterator
from pathlib import Path

import grimp

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("patterns", "render", "analysis", "trueraster")
MOST_FILES, MOST_LINES, MOST_FUNCTION_LINES, MOST_PARAMETERS = 20, 400, 60, 6


def main() -> int:
    sys.path.insert(0, str(ROOT))
    print(f"{'folder':32} {'rooms':>5} {'files':>5} {'lines':>6}")
    files = 0
    lines = 0
    for folder in _folders():
        modules = [path for path in sorted(folder.glob("*.py")) if path.name != "__init__.py"]
        rooms = [path for path in folder.iterdir() if (path / "__init__.py").is_file()]
        count = sum(_lines(path) for path in folder.glob("*.py"))
        files, lines = files + len(modules), lines + count
        mark = "  more than 20 files" if len(modules) > MOST_FILES else ""
        print(f"{folder.relative_to(ROOT)!s:32} {len(rooms):5} {len(modules):5} {count:6}{mark}")
    print(f"{'in all':38} {files:5} {lines:6}\n")
    for title, found in (
        (f"files over {MOST_LINES} lines", _long_files()),
        (f"functions over {MOST_FUNCTION_LINES} lines or {MOST_PARAMETERS} parameters", _long_functions()),
    ):
        listed = list(found)
        print(f"{title}: {len(listed) or 'none'}")
        print("".join(f"  {words}\n" for words in listed))
    circles = _circle()
    print(f"import circles: {' -> '.join(circles) if circles else 'none'}")
    return 1 if circles else 0


def _folders() -> list[Path]:
    return sorted(path.parent for name in PACKAGES for path in (ROOT / name).rglob("__init__.py"))


def _sources() -> Iterator[Path]:
    for folder in _folders():
        yield from sorted(folder.glob("*.py"))


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def _long_files() -> Iterator[str]:
    for path in _sources():
        if _lines(path) > MOST_LINES:
            yield f"{path.relative_to(ROOT)}: {_lines(path)} lines"


def _long_functions() -> Iterator[str]:
    for path in _sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef):
                continue
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            taken = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            many = sum(one.arg not in ("self", "cls") for one in taken)
            # What Click calls has a parameter for each option.
            called_by_click = any(
                "option" in ast.unparse(one) or "command" in ast.unparse(one) for one in node.decorator_list
            )
            if length > MOST_FUNCTION_LINES or (many > MOST_PARAMETERS and not called_by_click):
                yield f"{path.relative_to(ROOT)}: {node.name}: {length} lines, {many} parameters"


def _circle() -> list[str]:
    """The modules of an import circle, from the first to the first again; none where there is no circle."""
    graph = grimp.build_graph(*PACKAGES, cache_dir=None)
    try:
        graphlib.TopologicalSorter(
            {module: graph.find_modules_directly_imported_by(module) for module in graph.modules}
        ).prepare()
    except graphlib.CycleError as error:
        return [str(module) for module in error.args[1]]
    return []


if __name__ == "__main__":
    sys.exit(main())
