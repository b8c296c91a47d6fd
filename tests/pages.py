"""What tests of pages share: a strict reader of HTML, and headless Chromium."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

BROWSERS = ("chromium", "chromium-browser", "chrome")
CHROMIUM = next((found for name in BROWSERS if (found := shutil.which(name))), None)

# The browser reads descriptor 3 and writes 4; the copies lie above, so that neither is lost to the other.
LAUNCH = """
import fcntl, os, sys
ends = [fcntl.fcntl(int(number), fcntl.F_DUPFD, 10) for number in sys.argv[1:3]]
os.dup2(ends[0], 3)
os.dup2(ends[1], 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


class Browser:
    """A page in headless Chromium, driven through its debugging pipe (DevTools protocol: JSON ended by a zero byte)."""

    def __init__(self, to: int, back: int) -> None:
        self._to, self._back, self._rest, self._count = to, back, b"", 0
        self.events: list[dict[str, Any]] = []
        self.session: str | None = None

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send one command and wait for its answer."""
        self._count += 1
        message = {"id": self._count, "method": method, "params": parameters}
        if self.session is not None:
            message["sessionId"] = self.session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result
            self.events.append(answer)

    def wait_for(self, method: str) -> None:
        """Read events until one has this name."""
        while not any(event.get("method") == method for event in self.events):
            self.events.append(self._next())

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            part = os.read(self._back, 1 << 16)
            assert part, "the browser has gone"
            self._rest += part
        one, _, self._rest = self._rest.partition(b"\0")
        answer: dict[str, Any] = json.loads(one)
        return answer

    def evaluate(self, expression: str) -> Any:
        """The value of an expression in the page."""
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in result, result
        return result["result"].get("value")

    def show(self, width: int, height: int) -> None:
        """Give the window a size in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 700
        )

    def screenshot(self, path: Path, top: int, height: int) -> None:
        """Write a piece of the page as PNG."""
        width = self.evaluate("document.documentElement.clientWidth")
        clip = {"x": 0, "y": top, "width": width, "height": height, "scale": 1}
        shot = self.call("Page.captureScreenshot", format="png", clip=clip, captureBeyondViewport=True)
        path.write_bytes(base64.b64decode(shot["data"]))


@contextmanager
def browser(page: Path | str) -> Iterator[Browser]:
    """Chromium with the page open, a file or an address, its console, errors and requests recorded in `events`."""
    assert CHROMIUM is not None
    # Its helpers may still write there for a moment after the end.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        (theirs_in, ours_out), (ours_in, theirs_out) = os.pipe(), os.pipe()
        options = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-quic"),
            "--remote-debugging-pipe",
            f"--user-data-dir={profile}",
        ]
        process = subprocess.Popen(
            [sys.executable, "-c", LAUNCH, str(theirs_in), str(theirs_out), CHROMIUM, *options],
            pass_fds=(theirs_in, theirs_out),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(theirs_in)
        os.close(theirs_out)
        try:
            found = Browser(ours_out, ours_in)
            target = found.call("Target.createTarget", url="about:blank")["targetId"]
            found.session = found.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
            for domain in ("Page", "Runtime", "Log", "Network"):
                found.call(f"{domain}.enable")
            found.call("Page.navigate", url=page if isinstance(page, str) else page.absolute().as_uri())
            found.wait_for("Page.loadEventFired")
            yield found
        finally:
            process.terminate()
            process.wait(30)
            os.close(ours_out)
            os.close(ours_in)


VOID = {"meta", "link", "input", "img", "br", "hr"}


@dataclass(slots=True)
class Element:
    """An element of a page with what is in it."""

    name: str
    given: dict[str, str]
    parent: Element | None
    inside: list[Element | str] = field(default_factory=list)

    def all(self, name: str | None = None, **given: str) -> list[Element]:
        """The elements in it, in order, of this name and with these attributes; `class_` is one class of several."""
        found = []
        for child in self.inside:
            if isinstance(child, Element):
                classes = child.given.get("class", "").split()
                fits = all(v in classes if k == "class_" else child.given.get(k) == v for k, v in given.items())
                if name in (None, child.name) and fits:
                    found.append(child)
                found += child.all(name, **given)
        return found

    @property
    def text(self) -> str:
        """Its words, with single blanks."""
        words = (child if isinstance(child, str) else child.text for child in self.inside)
        return " ".join(" ".join(words).split())


class Reader(HTMLParser):
    """Reads a page strictly: every element that is opened is closed in its turn."""

    def __init__(self) -> None:
        super().__init__()
        self.root = self._at = Element(name="", given={}, parent=None)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs), f"<{tag}> has an attribute twice"
        made = Element(name=tag, given={name: value or "" for name, value in attrs}, parent=self._at)
        self._at.inside.append(made)
        if tag not in VOID:
            self._at = made

    def handle_endtag(self, tag: str) -> None:
        assert self._at.name == tag, f"</{tag}> ends <{self._at.name}>"
        assert self._at.parent is not None
        self._at = self._at.parent

    def handle_data(self, data: str) -> None:
        self._at.inside.append(data)


def forbidden(text: str) -> str:
    """The characters of a text that a page must not hold (HTML Living Standard, 13.2.3.5, from memory)."""
    odd = {one for one in text if unicodedata.category(one) in ("Cc", "Cs") and one not in "\t\n\f\r"}
    return "".join(odd | {one for one in text if ord(one) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(one) <= 0xFDEF})


def read(text: str) -> Element:
    assert not forbidden(text), ascii(forbidden(text))
    reader = Reader()
    reader.feed(text)
    reader.close()
    return reader.root


def check_alone(page: str) -> Element:
    """Check that a page needs nothing from elsewhere: pictures are data, links stay in it, styles load nothing."""
    root = read(page)
    for element in root.all():
        for name in ("src", "href", "srcset", "action", "data", "poster"):
            value = element.given.get(name)
            assert value is None or value.startswith(("data:", "#")), (element.name, name, value[:60])
    assert "://" not in re.sub(r'(src|href)="data:[^"]*"', "", page)
    assert not re.search(r"@import|url\(|fetch\(|XMLHttpRequest|WebSocket", page)
    return root
