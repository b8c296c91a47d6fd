"""A small draw of `tests/trials/fuzz_verify.py`, always the same, and every patch of every pattern altered once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analysis.frame.levels import Frame, Reference, check_levels
from analysis.frame.tolerance import Tolerance
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.placement import patch_area
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.raster import draw_frame
from render.tags import Tags
from tests.matrix import quick_and_slow
from tests.trials.fuzz_verify import checked, made

SD = FORMATS["480i"]
SIGNAL = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_444)
MEASURABLE = [name for name, pattern in PATTERNS.items() if pattern.scene(SD).patches]


@pytest.mark.parametrize("seeds", quick_and_slow([range(15)], [range(15, 50)]), ids=["few", "more"])
def test_no_file_ends_in_a_traceback_or_in_a_wrong_pass(tmp_path: Path, seeds: range) -> None:
    """Damaged, odd, huge and altered files: one of three exits, one line, and no pass against arithmetic."""
    wrong = []
    for seed in seeds:
        case = made(seed, tmp_path)
        found = checked(seed, case)
        if found.wrong:
            wrong.append(f"case {seed}, {case.kind} {' '.join(case.words)}: {found.wrong}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("number", [9136, 9244])
def test_a_fit_that_noise_leads_has_an_uncertainty(tmp_path: Path, number: int) -> None:
    """Cases of tests/trials/fuzz_verify.py where the sums of what is left, cut short, were no covariance."""
    outcome = checked(number, made(number, tmp_path))
    assert not outcome.wrong


@pytest.mark.parametrize("name", MEASURABLE)
def test_one_altered_patch_fails_alone(name: str) -> None:
    """3 codes in one component of one patch's own area: that patch fails, whatever the tolerance below 3 codes."""
    scene = PATTERNS[name].scene(SD)
    random = np.random.default_rng(4)
    # Two of a pattern's patches; sloped ones are measured by their mean, which moves alike.
    for i in random.permutation(len(scene.patches))[:2]:
        patch = scene.patches[i]
        planes = [plane.astype(np.int32) for plane in draw_frame(scene, SD, SIGNAL)]
        span, component = patch_area(SD, patch, 0, 0), int(random.integers(0, 3))
        by = 3 if SIGNAL.codes(patch.colour)[component] < 128 else -3
        planes[component][max(span.top, 0) : span.bottom, max(span.left, 0) : span.right] += by
        tags = Tags(width=720, height=480, sampling=Sampling.YCBCR_444, bits=8)
        first, second, third = (plane.astype(np.uint8) for plane in planes)
        picture = Picture(planes=(first, second, third), tags=tags)
        frame = Frame(path=Path("made"), index=0, picture=picture, codec="made", provenance={})
        found = check_levels(frame, Reference(scene=scene, format=SD, signal=SIGNAL), Tolerance(value=2))
        failed = {reading.name for reading in found.readings if not reading.passed}
        assert not found.passed
        assert patch.name in failed
        # Patches that lie in one another may share samples; others are not touched.
        assert len(failed) <= 3
