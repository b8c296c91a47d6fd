"""Bring invented sets from as found to broadcast tolerance by what the bench's page says, and nothing else.

The script reads the advice on the page as text, looks for the control with that title and that direction on the
panel, and turns it by the steps that the panel's 'a step is about' makes of the amount, up to 15 % wrong either way.
Then it photographs or reads again. Whether the set is in tolerance is judged by the truth of the set, computed here.
"""

from __future__ import annotations

import argparse
import html
import json
import re
import sys
import tempfile
import time
import urllib.parse
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from numpy.typing import NDArray

from analysis.raster.classes import CLASSES, SetClass
from patterns.standards.geometry import LINE_LENGTHS
from tests.bench import Page, bench
from tests.pages import Browser, browser
from trueraster.bench.simulated.model import SimulatedSet

__all__ = ["CARDS", "MOST_ROUNDS", "Chromium", "Http", "Outcome", "adjust", "misses", "set_of"]

Floats = NDArray[np.float64]

MOST_ROUNDS = 4
MOST_AGAIN = 2
"""Of a set whose controls the record has already."""
IMPRECISE = 0.15
CARDS = {"geometry": "480i/crosshatch", "convergence": "480i/dots", "grey": "480i/read/grey/100%"}
_ADVICE = re.compile(r"(?P<title>[^:]+): (?P<way>.+?)(?:, by)? (?P<amount>\d+(?:\.\d+)?) (?P<unit>mm|%)")
_GREY_UV = 0.004
"""Of every step but black: what a report judges greys by."""


class Hand(Protocol):
    """A way to use the page."""

    def set_up(self) -> None: ...
    def go(self, card: str) -> None: ...
    def press(self, form: dict[str, str]) -> None: ...
    def turn(self, name: str, to: int) -> None: ...
    def region(self, name: str) -> str: ...


@dataclass
class Http:
    """By the requests that the page's script sends."""

    page: Page
    regions: dict[str, str] = field(default_factory=dict)

    def _post(self, path: str, form: dict[str, str]) -> None:
        body = urllib.parse.urlencode({"id": uuid.uuid4().hex, **form}).encode()
        status, answer, _ = self.page.ask("POST", path, body, Content_Type="application/x-www-form-urlencoded")
        if status != 200:
            raise RuntimeError(answer.decode())
        self.regions = json.loads(answer)["regions"]

    def set_up(self) -> None:
        self._post("do", {"do": "set-up", "job": "whole", "accepts": "15kHz", "formats": "480i"})

    def go(self, card: str) -> None:
        self._post("do", {"do": "go", "value": card})

    def press(self, form: dict[str, str]) -> None:
        self._post("demo/do" if form["do"] in ("photograph", "read", "another") else "do", form)

    def turn(self, name: str, to: int) -> None:
        self._post("demo/do", {"do": "turn", "value": name, "to": str(to)})

    def region(self, name: str) -> str:
        return self.regions[name]


@dataclass
class Chromium:
    """By the page itself: what is tapped, typed and slid there."""

    phone: Browser
    page: Page

    def _until(self, true: str, timeout_s: float = 60) -> None:
        begun = time.monotonic()
        while not self.phone.evaluate(true):
            said = self.phone.evaluate("document.querySelector('#said').textContent")
            if said:
                raise RuntimeError(said)
            if time.monotonic() - begun > timeout_s:
                raise TimeoutError(true)
            time.sleep(0.03)

    def _settled(self, code: str) -> None:
        """Run code that has a form sent, and wait for what comes of it."""
        before = self.phone.evaluate("version")
        self.phone.evaluate(code)
        self._until(f"version !== {json.dumps(before)} && !document.querySelector('form.busy')")

    def set_up(self) -> None:
        self.phone.evaluate("document.querySelector('input[value=whole]').checked = true")
        self.phone.evaluate("document.querySelector('#accepts').value = '15kHz'")
        self.phone.evaluate(
            "for (const b of document.querySelectorAll('[name=formats]')) b.checked = b.value == '480i'"
        )
        self._settled("document.querySelector('form[data-do=set-up] button.main').click()")

    def go(self, card: str) -> None:
        there = f"document.querySelector('#give form[data-card={json.dumps(card)}]') !== null"
        while not self.phone.evaluate(there):
            self._settled("document.querySelector('#later').click()")

    def press(self, form: dict[str, str]) -> None:
        if form["do"] in ("photograph", "read"):
            # The page may be made anew meanwhile, so only the next answer says that this one is done.
            newest = "document.querySelector('article.newest a.button')?.getAttribute('href')"
            before = json.dumps(self.phone.evaluate(newest))
            self.phone.evaluate(f"document.querySelector('#{form['do']}').click()")
            self._until(f"({newest} ?? null) !== {before} && !document.querySelector('form.busy')", 180)
        elif form["do"] == "another":
            self.phone.evaluate(f"document.querySelector('#another').value = {form['value']!r}")
            self._settled("document.querySelector('form[data-do=another] button').click()")
        elif form["do"] == "stage":
            self.phone.evaluate(f"document.querySelector('#stage').value = {form['value']!r}")
            self._settled("document.querySelector('#stage').dispatchEvent(new Event('change', {bubbles: true}))")
        else:
            self._settled(
                f"document.querySelector('form[data-do={form['do']}] input[value=\"{form['value']}\"]').form"
                ".querySelector('button').click()"
            )

    def turn(self, name: str, to: int) -> None:
        slider = json.dumps("#turn-" + name.replace(" ", "-").replace("/", "\\/"))
        self._settled(
            f"(() => {{ const one = document.querySelector({slider}); one.value = {to};"
            "one.dispatchEvent(new Event('change', {bubbles: true})); })()"
        )

    def region(self, name: str) -> str:
        return str(self.phone.evaluate(f"document.querySelector('#{name}').innerHTML"))


@dataclass(frozen=True, kw_only=True)
class OnPanel:
    """A control as the panel shows it."""

    name: str
    title: str
    step: float
    unit: str
    stands: int
    negative: str
    positive: str


@dataclass
class Outcome:
    """What came of one set."""

    number: int
    most: int = MOST_ROUNDS
    rounds: dict[str, int] = field(default_factory=dict)
    needed: dict[str, int | None] = field(default_factory=dict)
    """Rounds after which the card's figures were in tolerance, though the page may have gone on; None: never."""
    before: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    not_followed: list[str] = field(default_factory=list)
    """Advice for which the panel has no control or no such direction."""
    strange: list[str] = field(default_factory=list)
    """What the page says of turns that did nothing, or the opposite."""
    seconds: float = 0.0

    @property
    def is_in(self) -> bool:
        return not self.after and all(count <= self.most for count in self.rounds.values())


def advice_of(answers: str) -> list[str]:
    """The advice of the newest answer, as the page has it."""
    newest = answers.partition("</article>")[0]
    listed = re.search(r'<ol class="next">(.*?)</ol>', newest, re.DOTALL)
    return [html.unescape(one) for one in re.findall(r"<li>(.*?)</li>", listed[1], re.DOTALL)] if listed else []


def steps_of(answers: str) -> dict[str, int]:
    """Steps by the control's name that the newest answer advises, where the set's controls are learnt."""
    newest = answers.partition("</article>")[0]
    found = re.findall(r'data-control="(.*?)" data-steps="(-?\d+)"', newest)
    return {html.unescape(name): int(steps) for name, steps in found}


def panel_of(demo: str) -> list[OnPanel]:
    """The controls of the panel."""
    made = []
    for part in demo.split('data-control="')[1:]:
        head = re.search(r"<b>(.*?)</b> (.*?); a step is about ([\d.]+) (\S+)</p>", part)
        ways = re.findall(r"<small>(.*?)</small>", part)
        stands = re.search(r"<output>(-?\d+)</output>", part)
        assert head
        assert stands
        name, title, step, unit = (html.unescape(one) for one in head.groups())
        negative, positive = (html.unescape(one) for one in ways[:2])
        made.append(
            OnPanel(
                name=name,
                title=title,
                step=float(step),
                unit=unit,
                stands=int(stands[1]),
                negative=negative,
                positive=positive,
            )
        )
    return made


def adjust(
    hand: Hand, number: int, rng: np.random.Generator, truth: Callable[[], SimulatedSet], most: int = MOST_ROUNDS
) -> Outcome:
    """Take the invented set of that number, and bring it in order card by card, in `most` rounds each."""
    begun = time.monotonic()
    found = Outcome(number=number, most=most)
    hand.press({"do": "another", "value": str(number)})
    hand.set_up()
    found.before = misses(truth())
    for kind, card in CARDS.items():
        hand.go(card)
        found.rounds[kind] = 0
        if kind != "geometry":
            hand.press({"do": "stage", "value": "as-found"})
        measure = {"do": "read", "value": "all"} if kind == "grey" else {"do": "photograph"}
        found.needed[kind] = None if _out(truth(), kind) else 0
        hand.press(measure)
        _keep(hand)
        while (advice := advice_of(hand.region("answers"))) or steps_of(hand.region("answers")):
            if found.rounds[kind] == most or not _followed(hand, advice, rng, found):
                break
            found.rounds[kind] += 1
            if found.needed[kind] is None and not _out(truth(), kind):
                found.needed[kind] = found.rounds[kind]
            hand.press(measure)
            newest = hand.region("answers").partition("</article>")[0]
            found.strange += re.findall(r'<p class="warn">([^<]*did (?:nothing|the opposite)[^<]*)</p>', newest)
        hand.press({"do": "stage", "value": "after-adjustment"})
        _keep(hand)
    found.after = misses(truth())
    found.seconds = time.monotonic() - begun
    return found


def _out(made: SimulatedSet, kind: str) -> list[str]:
    """What of a card's own figures is outside the tolerance."""
    cards = {"grey": "grey", "red": "convergence", "blue": "convergence"}
    return [one for one in misses(made) if cards.get(one.split()[0], "geometry") == kind]


def _keep(hand: Hand) -> None:
    """Tap 'Keep' on the newest answer, unless it is kept."""
    newest = hand.region("answers").partition("</article>")[0]
    value = re.search(r'data-do="keep"><input type="hidden" name="value" value="(\d+)"', newest)
    if value:
        hand.press({"do": "keep", "value": value[1]})


def _followed(hand: Hand, advice: list[str], rng: np.random.Generator, found: Outcome) -> bool:
    """Turn what the advice names; whether anything was turned."""
    turned = False
    stands = {one.name: one.stands for one in panel_of(hand.region("demo"))}
    for name, wanted in steps_of(hand.region("answers")).items():
        went = round(wanted * rng.uniform(1 - IMPRECISE, 1 + IMPRECISE)) or wanted
        hand.turn(name, int(np.clip(stands[name] + went, -127, 127)))
        turned = True
    for line in advice:
        # What is optional is followed too, while there are rounds left.
        said = _ADVICE.match(line.removeprefix("Optional: "))
        panel = panel_of(hand.region("demo"))
        control = next((one for one in panel if said and one.title == said["title"]), None)
        if said is None or control is None or said["way"] not in (control.negative, control.positive):
            found.not_followed.append(line)
            continue
        sign = 1 if said["way"] == control.positive else -1
        steps = round(sign * float(said["amount"]) / control.step * rng.uniform(1 - IMPRECISE, 1 + IMPRECISE))
        if steps:
            hand.turn(control.name, int(np.clip(control.stands + steps, -127, 127)))
            turned = True
    return turned


# --- the truth -----------------------------------------------------------------------------------------------------


def set_of(journal: Path) -> SimulatedSet:
    """The invented set as a session's journal has it."""
    made = SimulatedSet(0)
    for line in journal.read_text(encoding="utf-8").splitlines():
        event = json.loads(line)
        if event["do"] == "demo":
            made = SimulatedSet(event["value"])
        elif event["do"] == "turned":
            made.turn(event["value"], event["steps"])
    return made


def misses(made: SimulatedSet) -> list[str]:
    """What of a set's truth is outside the tolerance of a broadcast set, by the definitions of the design."""
    limits = CLASSES[SetClass.BROADCAST]
    bad = []

    def judge(name: str, value: float, limit: float) -> None:
        if abs(value) > limit:
            bad.append(f"{name} {value:+.3g} of {limit:g}")

    for name, value in _shape(made).items():
        judge(
            name,
            value,
            {
                "centre": limits.position,
                "rotation": limits.rotation,
                "parallelogram": limits.rotation,
                "aspect": limits.shape,
                "linearity": limits.linearity,
                "sag": limits.bend,
                "bow": limits.bend,
                "keystone": 100 * float(LINE_LENGTHS.value),
            }[name.split()[0]],
        )
    for name, value in _convergence(made).items():
        judge(name, value, limits.convergence.centre if "centre" in name else limits.convergence.outside)
    for level, value in _greys(made).items():
        judge(f"grey {level:g} %", value, _GREY_UV)
    return bad


_U, _V = np.linspace(-1, 1, 17), np.linspace(-1, 1, 13)


def _shape(made: SimulatedSet) -> dict[str, float]:
    """Figures of geometry of green's grid of 16 x 12 cells: percent of the height, degrees, percent."""
    u, v = np.meshgrid(_U, _V)
    nodes = made.raster().places(u, v, 1)
    design = np.stack((np.ones(u.size), u.ravel(), v.ravel()), axis=-1)
    fit = np.linalg.lstsq(design, nodes.reshape(-1, 2), rcond=None)[0]
    width, height = 2 * np.hypot(*fit[1]), 2 * np.hypot(*fit[2])
    turn, lean = np.degrees(np.arctan2(fit[1, 1], fit[1, 0])), np.degrees(np.arctan2(-fit[2, 0], fit[2, 1]))
    cells = np.diff(nodes[6, :, 0]), np.diff(nodes[:, 8, 1])
    lines = {"left": nodes[:, 0], "right": nodes[:, -1], "top": nodes[0], "bottom": nodes[-1]}
    inward = {"left": (0, 1), "right": (0, -1), "top": (1, 1), "bottom": (1, -1)}
    sag = {side: inward[side][1] * _bent(line)[inward[side][0]] for side, line in lines.items()}
    length = {side: float(np.hypot(*(line[-1] - line[0]))) for side, line in lines.items()}
    share = 100 / height
    return {
        "centre x": share * fit[0, 0],
        "centre y": share * fit[0, 1],
        "rotation": turn,
        "parallelogram": lean - turn,
        "aspect": 100 * (width / height / (4 / 3) - 1),
        **{f"linearity {way}": 100 * np.abs(one / one.mean() - 1).max() for way, one in zip("hv", cells, strict=True)},
        **{f"sag {side}": share * value for side, value in sag.items()},
        "bow h": share * (sag["left"] - sag["right"]) / 2,
        "bow v": share * (sag["top"] - sag["bottom"]) / 2,
        "keystone h": 200 * (length["top"] - length["bottom"]) / (length["top"] + length["bottom"]),
        "keystone v": 200 * (length["left"] - length["right"]) / (length["left"] + length["right"]),
    }


def _bent(line: Floats) -> Floats:
    return np.asarray(line[len(line) // 2] - (line[0] + line[-1]) / 2)


def _convergence(made: SimulatedSet) -> dict[str, float]:
    """Largest distances of red and blue from green, in percent of the height."""
    u, v = np.meshgrid(_U, _V)
    raster = made.raster()
    height = 2 * float(raster.terms[1, 1, 2])
    inside = np.hypot(u * 4 / 3, v) <= 1
    found: dict[str, float] = {}
    for gun, name in ((0, "red"), (2, "blue")):
        away = 100 / height * np.hypot(*np.moveaxis(raster.places(u, v, gun) - raster.places(u, v, 1), -1, 0))
        found |= {f"{name} centre": float(away[inside].max()), f"{name} anywhere": float(away.max())}
    return found


def _greys(made: SimulatedSet) -> dict[float, float]:
    """u'v' of grey steps from D65's (CIE 1976); black left out, as a report leaves it out."""
    levels = np.arange(10, 101, 10)
    x, y, z = made.guns().shown(levels[:, None].repeat(3, axis=1) / 100).T
    total = x + 15 * y + 3 * z
    off = np.hypot(4 * x / total - 0.197830, 9 * y / total - 0.468320)
    return dict(zip(levels.tolist(), off.tolist(), strict=True))


# --- running -------------------------------------------------------------------------------------------------------


def run(number: int, *, by_chromium: bool, again: bool = False) -> list[Outcome]:
    """One set in a bench of its own; `again` has it come in once more, with the record of the first time."""
    rng = np.random.default_rng([15, number])
    with tempfile.TemporaryDirectory() as folder:
        first, second = Path(folder) / "first.json", Path(folder) / "second.json"
        found = [_bench_of(first, number, rng, MOST_ROUNDS, by_chromium=by_chromium)]
        if again:
            # The record alone is known then: the first session's journal is not there.
            second.write_bytes(first.read_bytes())
            found.append(_bench_of(second, number, rng, MOST_AGAIN, by_chromium=by_chromium))
        return found


def _bench_of(record: Path, number: int, rng: np.random.Generator, most: int, *, by_chromium: bool) -> Outcome:
    journal = record.with_suffix(".bench") / "journal.jsonl"
    with bench(record, "--demo") as (page, _):
        if not by_chromium:
            return adjust(Http(page), number, rng, lambda: set_of(journal), most)
        with browser(page.url) as phone:
            return adjust(Chromium(phone, page), number, rng, lambda: set_of(journal), most)


def said(found: Outcome) -> Iterator[str]:
    """A set's outcome in words."""
    rounds = ", ".join(f"{kind} {count}" for kind, count in found.rounds.items())
    verdict = "in tolerance" if found.is_in else "OUT"
    yield f"set {found.number}: {verdict}; rounds: {rounds}; {len(found.before)} out as found; {found.seconds:.0f} s"
    yield from (f"    still out: {one}" for one in found.after)
    yield from (f"    strange: {one}" for one in found.strange)
    yield from (f"    not followed: {one}" for one in dict.fromkeys(found.not_followed))


def summary(found: list[Outcome], title: str) -> bool:
    """Say how many rounds each card took and how many sets came into tolerance; whether these are enough."""
    for kind in CARDS:
        counts = np.bincount([one.rounds[kind] for one in found], minlength=MOST_ROUNDS + 1)
        needed = [one.needed[kind] for one in found]
        enough = sum(count is not None and count <= found[0].most for count in needed)
        sys.stdout.write(
            f"rounds of {kind}: "
            + ", ".join(f"{n}: {c}" for n, c in enumerate(counts))
            + f"; in tolerance after at most {found[0].most} of them, though the page went on: {enough}\n"
        )
    good = sum(one.is_in for one in found)
    holds = good >= 0.95 * len(found)
    share = f"{good} of {len(found)} sets in tolerance, at most {found[0].most} rounds a card"
    sys.stdout.write(f"SUMMARY {'HOLDS' if holds else 'MISSED'}: {title}: {share}\n")
    return holds


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument(
        "--chromium", type=int, default=2, help="how many go through headless Chromium, the rest by HTTP"
    )
    parser.add_argument("--again", action="store_true", help="have each set come in once more, with its record")
    parser.add_argument("--jobs", type=int, default=2)
    typed: Any = parser.parse_args()
    numbers = range(typed.first, typed.first + typed.count)
    with ThreadPoolExecutor(typed.jobs) as pool:
        found = []
        for passes in pool.map(
            lambda n: run(n, by_chromium=n < typed.first + typed.chromium, again=typed.again), numbers
        ):
            sys.stdout.write("\n".join(words for one in passes for words in said(one)) + "\n")
            sys.stdout.flush()
            found.append(passes)
    titles = ("the first time", "again, with its record")
    # Each is said, whatever the one before it holds.
    holds = [summary(list(some), title) for title, some in zip(titles, zip(*found, strict=True), strict=False)]
    return 0 if all(holds) else 1


if __name__ == "__main__":
    sys.exit(main())
