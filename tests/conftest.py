"""What several test files share: hypothesis without deadlines, the vector files, and colour-science as a judge."""

from __future__ import annotations

import hashlib
import os
import re
import signal
import subprocess
import sys
import time
import tomllib
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings
from numpy.typing import ArrayLike, NDArray

settings.register_profile("trueraster", deadline=None)
settings.load_profile("trueraster")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts what runs in its background so, and what the tests start would be deaf to Ctrl-C too.
    signal.signal(signal.SIGINT, signal.default_int_handler)

SLOW_TESTS_END = float(os.environ.get("SLOW_TESTS_END", "inf"))
"""Seconds since 1970 after which no slow test is begun: CI gives them the time that it has left."""
SLOW_TESTS_ORDER = os.environ.get("SLOW_TESTS_ORDER", "")
"""Any word: files are run in an order of its own, so that other words reach other tests in the same time."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if SLOW_TESTS_ORDER:
        items.sort(key=lambda item: hashlib.sha256(f"{SLOW_TESTS_ORDER} {item.path.name}".encode()).digest())


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("slow") and time.time() > SLOW_TESTS_END:
        pytest.skip("no time is left")


Memory = Callable[..., int]
"""A program and its arguments to the megabytes that were resident at most."""


@pytest.fixture(scope="session")
def most_megabytes() -> Memory:
    """What a program of Python holds of memory at most; it has to end by itself.

    The kernel's own figure (proc(5), VmHWM): getrusage(2) would tell that of the process which starts it, where that is
    more.
    """
    if not Path("/proc/self/status").exists():
        pytest.skip("the system does not tell how much memory a process took")
    root = str(Path(__file__).parents[1])

    def run(code: str, *words: str) -> int:
        program = f"{code}\nprint(open('/proc/self/status').read())"
        done = subprocess.run(
            [sys.executable, "-c", program, *words],
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
            env={**os.environ, "PYTHONPATH": root},
        )
        found = re.search(r"VmHWM:\s*(\d+) kB", done.stdout)
        assert found is not None
        return int(found[1]) // 1000

    return run


Vectors = dict[str, Any]
Judge = Callable[[ArrayLike, str, int, bool], NDArray[np.int64]]


@pytest.fixture(scope="session")
def bars() -> Vectors:
    """Codes of the colour bars: part, bar, then `rgb_8`, `601_10` and so on."""
    return _read("bars.toml")


@pytest.fixture(scope="session")
def greys() -> Vectors:
    """Codes of grey levels: `greys` or `steps`, depth, then the code by percentage."""
    return _read("greys.toml")


def _read(name: str) -> Vectors:
    return tomllib.loads((Path(__file__).parent / "vectors" / name).read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def judge() -> Judge:
    """Y'CbCr codes by colour-science: R'G'B' fractions (..., 3), "601" or "709", bits, narrow range or not."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that no plotting library is installed
        import colour

    def codes(rgb: ArrayLike, matrix: str, bits: int, narrow: bool) -> NDArray[np.int64]:
        found = colour.RGB_to_YCbCr(
            rgb,
            K=colour.WEIGHTS_YCBCR[f"ITU-R BT.{matrix}"],
            in_bits=bits,
            in_int=False,
            in_legal=False,
            out_bits=bits,
            out_int=True,
            out_legal=narrow,
        )
        return np.asarray(found, dtype=np.int64)

    return codes
