"""What several test files share: hypothesis without deadlines, the vector files, and colour-science as a judge."""

from __future__ import annotations

import signal
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
