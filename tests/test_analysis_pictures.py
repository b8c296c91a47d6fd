"""Real pictures of a general library, scikit-image: none may be taken for a pattern."""

from __future__ import annotations

from pathlib import Path

import pytest

from patterns.formats import FORMATS
from tests.trials.pictures import FORMAT_IDS, pictures, recognised, ways


@pytest.mark.parametrize("name", ["color", "page"])
def test_a_picture_is_no_pattern(tmp_path: Path, name: str) -> None:
    """A wheel of colours, which is nearly a ramp, and a printed page with shading are refused."""
    size = FORMATS["480i"].width, FORMATS["480i"].height
    for way, frame in ways(pictures()[name], size):
        assert recognised(frame, "480i", tmp_path / f"{way}.png") == ""


@pytest.mark.slow
@pytest.mark.parametrize("format_id", FORMAT_IDS)
@pytest.mark.parametrize("name", sorted(pictures()))
def test_no_picture_is_a_pattern(tmp_path: Path, name: str, format_id: str) -> None:
    """Every picture of the library, whole, cropped and turned, in five formats."""
    fmt = FORMATS[format_id]
    for way, frame in ways(pictures()[name], (fmt.width, fmt.height)):
        assert recognised(frame, format_id, tmp_path / f"{way}.png") == "", way
