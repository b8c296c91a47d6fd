"""The bench's page in headless Chromium: two phones and the screen follow one another, nothing confirmed is lost."""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tests.bench import PHOTO, Page, bench
from tests.framebuffer import XVFB, Display, display
from tests.pages import CHROMIUM, Browser, browser
from trueraster.cli import run

pytestmark = [
    pytest.mark.skipif(XVFB is None, reason="Debian's package xvfb is not installed"),
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's package chromium is not installed"),
]


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Page, Display]]:
    """The command on a virtual display, set up for 480p."""
    folder = tmp_path_factory.mktemp("phones")
    with display(720, 480) as shown, bench(folder / "set.json", environment=shown.environment) as (page, _):
        page.set_up(job="whole")
        yield page, shown


def drawn(folder: Path, name: str) -> NDArray[np.uint8]:
    path = folder / f"{name}.png"
    assert run(["draw", name, "--format", "480p", "--as", "png", "--range", "full", "--to", str(path)]) == 0
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def until(true: Callable[[], Any], timeout_s: float = 15.0) -> None:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < timeout_s, "it never came"
        time.sleep(0.05)


def title(phone: Browser) -> Any:
    return phone.evaluate("document.querySelector('h1')?.textContent")


def tap(phone: Browser, selector: str) -> None:
    phone.evaluate(f"document.querySelector({json.dumps(selector)}).click()")


def offline(phone: Browser, yes: bool) -> None:
    phone.call("Network.emulateNetworkConditions", offline=yes, latency=0, downloadThroughput=-1, uploadThroughput=-1)


def errors(phone: Browser) -> list[dict[str, Any]]:
    """What a browser complains of, but for requests that a test cut off."""
    of_page = [one for one in phone.events if one.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown")]
    return [one for one in of_page if "INTERNET_DISCONNECTED" not in json.dumps(one)]


@pytest.mark.parametrize("lost_s", [3.0, pytest.param(60.0, marks=pytest.mark.slow)])
def test_two_phones_and_the_screen_follow(running: tuple[Page, Display], tmp_path: Path, lost_s: float) -> None:
    """One taps, the other and the framebuffer change; a lost network and a reload change nothing and lose no tap."""
    page, shown = running
    page.do("go", "480p/alignment")
    bars, split = drawn(tmp_path, "bars"), drawn(tmp_path, "bars-split")
    with browser(page.url) as one, browser(page.url) as two:
        until(lambda: title(one) == title(two) == "Alignment, all in one")
        tap(one, "#later")
        shown.wait_for(bars)
        until(lambda: title(two) == title(one) == "Colour bars")
        tap(two, "#bar form[data-do=black] button")
        shown.wait_for(0 * bars)
        until(lambda: one.evaluate("document.querySelector('#card .big')?.textContent") == "Black")
        tap(one, "#bar form[data-do=black] button")
        shown.wait_for(bars)
        # What is typed on one phone stays while the other goes on; what is tapped without a network is sent later.
        one.evaluate("document.querySelector('#note').value = 'half a note'")
        offline(one, True)
        tap(one, "#later")
        until(lambda: not one.evaluate("document.querySelector('#link').hidden"))
        time.sleep(lost_s)
        assert title(two) == "Colour bars"
        offline(one, False)
        shown.wait_for(split)
        until(lambda: "Split colour bars" in str(title(one)) and "Split colour bars" in str(title(two)))
        until(lambda: one.evaluate("document.querySelector('#link').hidden"))
        assert one.evaluate("document.querySelector('#note').value") == "half a note"
        two.call("Page.reload")
        until(lambda: "Split colour bars" in str(title(two)))
        assert errors(one) == errors(two) == []
        asked = [e["params"]["request"]["url"] for e in one.events if e.get("method") == "Network.requestWillBeSent"]
        assert asked
        assert all(url.startswith((page.url, "data:")) for url in asked)


@pytest.mark.slow
def test_an_upload_is_one_big_line_on_both_phones(running: tuple[Page, Display]) -> None:
    """A photograph chosen on one phone: one line in mm on both, contrast 7:1 (WCAG 2.2, 1.4.6); one tap keeps."""
    page, _ = running
    page.do("go", "480p/crosshatch")
    page.do("marks_mm", "470x360")
    with browser(page.url) as one, browser(page.url) as two:
        one.show(360, 760)
        root = one.call("DOM.getDocument")["root"]["nodeId"]
        field = one.call("DOM.querySelector", nodeId=root, selector="#photo")["nodeId"]
        one.call("DOM.setFileInputFiles", nodeId=field, files=[str(PHOTO)])
        line = "document.querySelector('article.newest .big')?.textContent"
        until(lambda: " mm" in str(one.evaluate(line)) and " mm" in str(two.evaluate(line)), 40)
        assert contrast(one, "article.newest .big") >= 7
        assert (
            one.evaluate("parseFloat(getComputedStyle(document.querySelector('article.newest .big')).fontSize)") >= 24
        )
        assert one.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        tap(one, "article.newest form[data-do=keep] button")
        undo = "document.querySelector('article.newest form[data-do=undo] button')?.textContent"
        until(lambda: two.evaluate(undo) == "Kept as found: undo")
        tap(two, "article.newest form[data-do=undo] button")
        until(lambda: one.evaluate(undo) is None)
        assert errors(one) == errors(two) == []


COUNTED = """(() => {
  window.tones = 0;
  window.shakes = [];
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...given) { window.tones += 1; return start.apply(this, given); };
  Object.defineProperty(navigator, "vibrate", { value: (pattern) => { window.shakes.push(pattern); return true; } });
})()"""
"""Counts what a page asks of a phone's loudspeaker and motor."""


def touch(phone: Browser, selector: str) -> None:
    """A finger on the middle of an element: unlike a click by script it gives the page the right to sound."""
    spot = phone.evaluate(
        f"(() => {{ const at = document.querySelector({json.dumps(selector)}); at.scrollIntoView({{block: 'center'}});"
        " const box = at.getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2]; })()"
    )
    phone.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": spot[0], "y": spot[1]}])
    phone.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])


def test_an_answer_and_a_timer_sound_and_shake(running: tuple[Page, Display]) -> None:
    """After the first tap of a finger: a tone and a vibration when an answer comes and when a time is over."""
    page, _ = running
    page.do("go", "480p/bars")
    with browser(page.url) as phone:
        phone.call("Emulation.setTouchEmulationEnabled", enabled=True)
        phone.show(390, 760)
        until(lambda: title(phone) == "Colour bars")
        phone.evaluate(COUNTED)
        assert phone.evaluate("sound === null")
        touch(phone, "#card form[data-do=tick] button")
        until(lambda: phone.evaluate("sound && sound.state === 'running'"))
        assert phone.evaluate("tones") == 0
        page.do("readings", "20 0.313 0.329 4.1\n80 0.313 0.329 60")
        assert page.upload("grey", "480p/bars")[0] == 200
        until(lambda: phone.evaluate("tones") == 1)
        assert phone.evaluate("shakes.length") == 1
        phone.evaluate(
            "document.querySelector('#card').insertAdjacentHTML('beforeend',"
            " `<b data-until=${Math.ceil(Date.now() / 1000 + ahead) + 1} data-over=over></b>`)"
        )
        until(lambda: phone.evaluate("tones") == 2)
        assert phone.evaluate("shakes") == [[120, 80, 120]] * 2
        assert errors(phone) == []


def contrast(phone: Browser, selector: str) -> float:
    """Contrast ratio of an element's text with the ground that it lies on (WCAG 2.2, relative luminance of sRGB)."""
    found = phone.evaluate(
        f"""(() => {{ let at = document.querySelector({json.dumps(selector)}); const ink = getComputedStyle(at).color;
        let ground; while (at && /0\\)$/.test(ground = getComputedStyle(at).backgroundColor)) at = at.parentElement;
        return [ink, at ? ground : getComputedStyle(document.documentElement).backgroundColor]; }})()"""
    )

    def light(text: str) -> float:
        parts = [float(part) / 255 for part in text[text.index("(") + 1 : -1].split(",")[:3]]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    low, high = sorted(map(light, found))
    return (high + 0.05) / (low + 0.05)


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The source of axe-core, from npm's registry by npm itself."""
    if shutil.which("npm") is None:
        pytest.skip("npm is not installed")
    folder = tmp_path_factory.mktemp("npm")
    words = ["npm", "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4"]
    try:
        subprocess.run(words, cwd=folder, check=True, capture_output=True, timeout=120)
    except (subprocess.SubprocessError, OSError):
        pytest.skip("npm cannot reach its registry")
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.slow
def test_every_page_passes_axe_core(running: tuple[Page, Display], axe: str, tmp_path: Path) -> None:
    """axe-core finds nothing serious or critical on any kind of card, at 360, 390 and 1000 px, nor in the set-up."""
    page, _ = running
    cards = ("cautions", "warm-up", "degauss", "480p/change", "480p/pluge", "480p/crosshatch", "480p/read/grey/20%")
    with ExitStack() as stack:
        phone = stack.enter_context(browser(page.url))
        fresh, _ = stack.enter_context(bench(tmp_path / "new.json", "--player"))
        demo, _ = stack.enter_context(bench(tmp_path / "demo.json", "--demo"))
        for number, name in enumerate((*cards, "end", "set-up", "demo: set-up", "demo: 480i/dots", "demo: end")):
            if name == "set-up":
                phone.call("Page.navigate", url=fresh.url)
            elif name == "demo: set-up":
                phone.call("Page.navigate", url=demo.url)
            elif name.startswith("demo: "):
                demo.set_up("480i", "whole", "15kHz")
                demo.do("go", name.removeprefix("demo: "))
            else:
                index = page.do("go", name)["regions"]["bar"]
                assert index
            until(lambda: phone.evaluate("document.querySelector('h1') !== null"))
            time.sleep(1.3)
            phone.show((360, 390, 1000)[number % 3], 760)
            phone.evaluate(axe + "; 0")
            answer = phone.call(
                "Runtime.evaluate", expression="axe.run().then(JSON.stringify)", awaitPromise=True, returnByValue=True
            )
            found = json.loads(answer["result"]["value"])
            assert found["passes"], "axe-core looked at nothing"
            bad = [one for one in found["violations"] if one["impact"] in ("serious", "critical")]
            assert bad == [], (name, [(one["id"], [node["html"] for node in one["nodes"]]) for one in bad])
