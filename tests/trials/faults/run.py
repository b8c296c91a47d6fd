"""Make every case, let `verify` judge it, and print how often it is right.

.venv/bin/python tests/trials/faults/run.py [--quick] [--only REGEX] [--share 5] [--jobs 2] [--keep DIR] [--seed N]
.venv/bin/python tests/trials/faults/run.py --holdout 200 --counts [--seed N]

A single fault is right when it is the first that is named; a pair when both are among the first two; a clean capture
when none is named. `--only` picks cases by their names, `--keep` leaves the files of the wrong ones.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import multiprocessing
import os
import re
import shutil
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import cv2
import numpy as np

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import percent_text
from tests.trials.faults.alike import equal_ids, equal_pair
from tests.trials.faults.capture import CAPTURES, base, coding_of, faulty, levels, write
from tests.trials.faults.cases import Case, all_cases, held_out, seed_of, visible
from tests.trials.faults.coding import codes_of, quantised

__all__ = ["Outcome", "judge", "report", "run_case"]


AIMS = {"gain": 0.3, "offset_percent": 0.3, "power": 0.01, "degrees": 0.5, "crop %": 0.1}
"""How near a parameter has to come: percent, percent of white, a power, degrees, percent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What `verify` answered and whether that is right. `errors` are the parameters' errors by name, and the
    uncertainties stated for them, 0 where none is."""

    case: Case
    answered: tuple[str, ...]
    right: bool
    words: str = ""
    errors: tuple[tuple[str, float, float], ...] = ()
    verdict_wrong: str = ""
    confidence: float = 0
    """Of the first fault."""
    passed: bool = False
    """Whether it passed with nothing named."""
    seconds: float = 0

    @property
    def refused(self) -> bool:
        return self.answered == ("refused",)


def run_case(case: Case, folder: Path, seed: int = 1, keep: Path | None = None) -> Outcome | None:
    """Make the capture, have it judged, and compare; None if the fault cannot be seen in it.

    The file is removed, or kept in `keep` if the answer is wrong.
    """
    if not visible(case):
        return None
    path = make(case, folder, seed)
    started = time.perf_counter()
    code, said, words = verified(case, path)
    outcome = judge(case, code, said, words, time.perf_counter() - started)
    if keep is not None and not outcome.right:
        keep.mkdir(parents=True, exist_ok=True)
        name = re.sub(r"[^\w.,-]+", "_", case.name)
        shutil.move(path, keep / f"{name}{path.suffix}")
        (keep / f"{name}.json").write_text(said or words, encoding="utf-8")
    path.unlink(missing_ok=True)
    return outcome


def make(case: Case, folder: Path, seed: int = 1) -> Path:
    """Write the capture of a case."""
    fmt, capture = FORMATS[case.format], CAPTURES[case.capture]
    rgb = base(case.shown or case.pattern, case.format, capture.drawn, case.variant)
    rgb = faulty(rgb, case.faults, coding_of(fmt, capture))
    random = np.random.default_rng(seed_of(case.name, seed))
    return write(rgb, fmt, capture, case.condition, random, folder / f"capture-{os.getpid()}")


def verified(case: Case, path: Path) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of `verify`."""
    from trueraster.cli import run

    words = ["--pattern", case.pattern, "--format", case.format, *option_words(case)]
    answer, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(answer), contextlib.redirect_stderr(said):
        try:
            code = run(["verify", str(path), *words, "--json"])
        except Exception as error:  # A defect of the code under test is one wrong answer, not the end of the run.
            return 3, "", f"{type(error).__name__}: {error}"
    return code, answer.getvalue(), said.getvalue().strip()


def option_words(case: Case) -> list[str]:
    """The pattern's own options as they are typed."""
    words: list[str] = []
    for name, value in PATTERNS[case.pattern].variants[case.variant].given.items():
        if isinstance(value, Fraction):
            value = percent_text(value)
        words += [f"--{name}", "x".join(map(str, value)) if isinstance(value, tuple) else str(value)]
    return words


# --- Judging --------------------------------------------------------------------------------------------------------


def judge(case: Case, code: int, said: str, words: str, seconds: float = 0) -> Outcome:
    # A frame with no pattern, or another one, is bad input, and is answered all the same.
    if code not in (0, 1, 2) or not said:
        kind = "crashed" if code == 3 else "refused"
        return Outcome(case=case, answered=(kind,), right=False, words=words, seconds=seconds)
    answer = json.loads(said)
    faults = answer["faults"]
    ids = tuple(found["id"] for found in faults)
    counted = ids
    if case.condition.noise >= 0.01 and not any(f.id == "noise" for f in case.faults):
        # A hundredth is 40 dB: noise may be named there, and is more than is usual above it.
        counted = tuple(name for name in counted if name != "noise")
    if max(map(abs, case.condition.shift)) >= 1 and not any(f.id == "shifted" for f in case.faults):
        counted = tuple(name for name in counted if name != "shifted")
    return Outcome(
        case=case,
        answered=ids,
        right=_is_right(counted, case),
        errors=tuple(_errors(case, faults, answer)),
        verdict_wrong=_verdict(case, answer["verdict"]),
        confidence=faults[0]["confidence"] if faults else 0.0,
        passed=not faults and answer["verdict"] == "pass",
        seconds=seconds,
    )


def _is_right(answered: Sequence[str], case: Case) -> bool:
    if not case.right:
        return not answered
    if len(answered) < len(case.right):
        return False
    if len(case.right) == 1:
        return _names(answered[0], case, 0)
    if any(_names(answered[i], case, 0) and _names(answered[1 - i], case, 1) for i in (0, 1)):
        return True
    # Another pair may give the very same levels.
    levels_only = not any(f.spatial for f in case.faults)
    return levels_only and equal_pair(case.pattern, case.format, case.capture, case.faults, answered[:2])


def _names(answered: str, case: Case, index: int) -> bool:
    """Whether the answer is the fault's id, or that of a fault which gives the same levels."""
    if answered in case.right[index]:
        return True
    if case.shown or case.faults[index].spatial:
        return False
    return answered in equal_ids(case.pattern, case.format, case.capture, (case.faults[index],))


def _errors(case: Case, faults: list[dict[str, Any]], answer: dict[str, Any]) -> Iterable[tuple[str, float, float]]:
    for true in case.faults:
        said = next((found.get("parameters") or {} for found in faults[:2] if found["id"] == true.id), None)
        if said is None:
            continue
        kind = "single" if len(case.faults) == 1 else "pair"
        for name, value in true.true:
            if name == "crop_percent" and answer["registration"] is None:
                continue
            if name == "crop_percent":
                got = answer["registration"]["crop_percent"]
                sides = ("left", "right", "top", "bottom")
                yield f"crop % ({kind})", max(abs((got[s] or 0) - v) for s, v in zip(sides, value, strict=True)), 0.0
            elif name not in said:
                yield f"{true.id} {name} left out ({kind})", 1, 0.0
            elif isinstance(value, str):
                yield f"{true.id} {name} ({kind})", float(said[name] != value), 0.0
            else:
                factor = 100 if name == "gain" else 1
                unsure = said.get(f"{name}_uncertainty", 0.0)
                yield f"{true.id} {name} ({kind})", factor * abs(said[name] - value), factor * unsure


def _verdict(case: Case, got: str) -> str:
    """What is wrong with the verdict, where arithmetic tells what it has to be: flat patches without any noise."""
    if not case.condition.is_exact or case.shown or case.pattern not in ("bars", "steps", "pluge"):
        return ""
    if any(f.spatial for f in case.faults) or (case.capture == "png-422" and case.faults):
        return ""
    fmt, capture = FORMATS[case.format], CAPTURES[case.capture]
    coding = coding_of(fmt, capture)
    wanted = quantised(codes_of(levels(case.pattern, fmt, capture, exact=True), coding))
    made = faulty(levels(case.pattern, fmt, capture), [f.arithmetic for f in case.faults], coding)
    got_codes = codes_of(made, coding)
    # A value next to a half may be rounded either way, and what the ffmpeg program computes is off by up to one.
    nudge = 1.0 if any(f.like for f in case.faults) else 2e-3
    sides = {bool(np.abs(quantised(got_codes + by) - wanted).max() <= 1) for by in (-nudge, nudge)}
    if len(sides) > 1:
        return ""
    right = "pass" if sides.pop() else "fail"
    return "" if right == got else f"{got}, arithmetic says {right}"


# --- Reporting ------------------------------------------------------------------------------------------------------


def report(outcomes: Sequence[Outcome]) -> str:
    lines: list[str] = []

    def table(title: str, key: Callable[[Outcome], str], among: Sequence[Outcome]) -> None:
        rows: dict[str, list[bool]] = defaultdict(list)
        for outcome in among:
            rows[key(outcome)].append(outcome.right)
        lines.append(f"\n{title:<44} cases  right      %")
        for name in sorted(rows):
            right = sum(rows[name])
            lines.append(f"{name:<44} {len(rows[name]):>5}  {right:>5}  {100 * right / len(rows[name]):>5.1f}")

    singles = [o for o in outcomes if len(o.case.right) == 1]
    pairs = [o for o in outcomes if len(o.case.right) == 2]
    clean = [o for o in outcomes if not o.case.right]
    table("single fault", lambda o: o.case.group, singles)
    table("pair", lambda o: o.case.group, pairs)
    table("clean, by condition", lambda o: o.case.condition.name.rsplit(" ", 0)[0], clean)
    table("clean, by pattern", lambda o: o.case.pattern, clean)
    for word, key in (
        ("condition", lambda o: o.case.condition.kind),
        ("pattern", lambda o: o.case.pattern),
        ("format", lambda o: o.case.format),
        ("capture", lambda o: o.case.capture),
    ):
        table(f"single fault, by {word}", key, singles)
    table("pairs, by pattern", lambda o: o.case.pattern, pairs)

    lines.append("\nwrong")
    for outcome in outcomes:
        if not outcome.right:
            said = ", ".join(outcome.answered) or "nothing"
            lines.append(f"  {outcome.case.name}  ->  {said}{f' ({outcome.words})' if outcome.words else ''}")
    lines += ["\nverdicts that contradict the arithmetic"]
    lines += [f"  {o.case.name}  ->  {o.verdict_wrong}" for o in outcomes if o.verdict_wrong]

    errors: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for outcome in outcomes:
        for name, value, unsure in outcome.errors:
            errors[name].append((value, unsure))
    lines.append(f"\n{'error of what was recovered':<44} cases   95th  worst    aim  within  or within 3 uncertainties")
    for name in sorted(errors):
        values = [value for value, _ in errors[name]]
        aim = next((AIMS[word] for word in AIMS if f"{word} (" in name), 0.0)
        within = np.mean([value <= aim for value in values])
        honest = np.mean([value <= max(aim, 3 * unsure) for value, unsure in errors[name]])
        lines.append(
            f"{name:<44} {len(values):>5}  {np.percentile(values, 95):>5.2f}  {max(values):>5.2f}  {aim:>5.2f}"
            f"  {100 * within:>5.1f}%  {100 * honest:>5.1f}%"
        )

    lines += _calibration(outcomes)
    passed = [o for o in singles + pairs if o.passed]
    lines.append(f"\nfalse passes: {len(passed)} of {len(singles + pairs)}")
    lines += [f"  {o.case.name}" for o in passed]
    refused = sum(o.refused for o in clean)
    false = sum(not o.right and not o.refused for o in clean)
    seconds = sum(o.seconds for o in outcomes)
    lines.append("\ntotals")
    lines += [_total("single faults", singles), _total("pairs", pairs)]
    if clean:
        lines.append(
            f"  clean: {len(clean)} cases, false alarms {false} ({100 * false / len(clean):.1f} %), refused {refused}"
        )
    lines.append(f"  verify took {seconds:.0f} s for {len(outcomes)} cases")
    return "\n".join(lines)


def counts(outcomes: Sequence[Outcome]) -> str:
    """The shares alone, for cases that nobody should look at while thresholds change."""
    singles = [o for o in outcomes if len(o.case.right) == 1]
    known = [o for o in singles if not o.case.group.startswith("outside")]
    others = [o for o in singles if o.case.group.startswith("outside")]
    clean = [o for o in outcomes if not o.case.right]
    lines = [
        *_calibration(outcomes),
        _total("faults of the catalogue", known),
        _total("others, named so", others),
        f"  passed: {sum(o.passed for o in known)} of {len(known)} of the catalogue,"
        f" {sum(o.passed for o in others)} of {len(others)} others",
        _total("clean", clean),
    ]
    return "\n".join(lines)


def _calibration(outcomes: Sequence[Outcome]) -> list[str]:
    """How often the first fault is right, by its confidence; outside the catalogue 'other' alone is right."""
    named = [o for o in outcomes if o.answered and o.answered[0] not in ("refused", "crashed")]
    lines = ["\nconfidence of the first fault                cases  right      %   outside the catalogue"]
    for low, high in ((0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        some = [o for o in named if low <= o.confidence < high]
        outside = [o for o in some if o.case.group.startswith("outside")]
        right = sum(o.right for o in some)
        share = 100 * right / max(1, len(some))
        lines.append(
            f"{f'{low:.1f} to {min(high, 1):.1f}':<44} {len(some):>5}  {right:>5}  {share:>5.1f}"
            f"   {sum(o.right for o in outside)} of {len(outside)}"
        )
    return lines


def _total(name: str, among: Sequence[Outcome]) -> str:
    right = sum(o.right for o in among)
    return f"  {name}: {len(among)} cases, {right} right ({100 * right / max(1, len(among)):.1f} %)"


# --- Running --------------------------------------------------------------------------------------------------------


def _work(job: tuple[list[Case], int, Path | None]) -> list[Outcome]:
    cases, seed, keep = job
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        found = [run_case(case, Path(folder), seed, keep) for case in cases]
    return [outcome for outcome in found if outcome is not None]


def _parts(cases: list[Case], length: int = 20) -> list[list[Case]]:
    return [cases[i : i + length] for i in range(0, len(cases), length)]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=int, default=1, help="take every so many-th case only")
    parser.add_argument(
        "--holdout", type=int, default=0, help="so many cases that nothing was tuned with, and no other"
    )
    parser.add_argument("--counts", action="store_true", help="print the shares only, and no case")
    parser.add_argument("--list", action="store_true", help="print the cases' names")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    started = time.perf_counter()
    drawn = held_out(asked.seed, asked.holdout) if asked.holdout else all_cases(asked.seed, asked.quick)
    cases = [case for case in drawn if re.search(asked.only, case.name)]
    cases = cases[:: asked.share]
    if asked.list:
        print("\n".join(case.name for case in cases))
        return
    print(f"{len(cases)} cases, listed in {time.perf_counter() - started:.0f} s", file=sys.stderr)
    jobs = [(part, asked.seed, asked.keep) for part in _parts(cases)]
    outcomes: list[Outcome] = []
    with multiprocessing.get_context("spawn").Pool(asked.jobs) as pool:
        for i, part in enumerate(pool.imap(_work, jobs)):
            outcomes += part
            if sys.stderr.isatty():
                print(f"\r{i + 1}/{len(jobs)}", end="", file=sys.stderr)
    print(counts(outcomes) if asked.counts else report(outcomes))
    print(f"  all: {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
