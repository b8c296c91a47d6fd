"""What tests of the bench share: a session with its page, in this process or as the command, and a client of HTTP."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.parse
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.framebuffer import ROOT

COMMAND = [sys.executable, "-c", "from trueraster.cli import main; main()", "bench"]
PHOTO = ROOT / "docs" / "examples" / "simulation.jpg"


@dataclass(frozen=True)
class Page:
    """A page's address, asked by the standard library's client."""

    url: str

    @property
    def host(self) -> str:
        return urllib.parse.urlsplit(self.url).netloc

    @property
    def path(self) -> str:
        return urllib.parse.urlsplit(self.url).path

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str
    ) -> tuple[int, bytes, dict[str, str]]:
        """One request: status, body and headers (names small); `path` that begins with / is sent as it is."""
        connection = http.client.HTTPConnection(self.host, timeout=60)
        try:
            sent = {name.replace("_", "-"): value for name, value in headers.items()}
            if method == "POST":
                sent.setdefault("Origin", f"http://{self.host}")
            connection.request(method, path if path.startswith("/") else self.path + path, body, sent)
            answer = connection.getresponse()
            return answer.status, answer.read(), {name.lower(): value for name, value in answer.getheaders()}
        finally:
            connection.close()

    def do(self, kind: str, value: str = "", **more: str) -> dict[str, Any]:
        """Ask for one thing; it has to be done."""
        status, body = self.tried(kind, value, **more)
        assert status == 200, body
        answer: dict[str, Any] = json.loads(body)
        return answer

    def tried(self, kind: str, value: str = "", **more: str) -> tuple[int, bytes]:
        form = {"do": kind, "value": value, "id": uuid.uuid4().hex, **more}
        kind_of_body = {"Content_Type": "application/x-www-form-urlencoded"}
        status, body, _ = self.ask("POST", "do", urllib.parse.urlencode(form).encode(), **kind_of_body)
        return status, body

    def upload(self, what: str, card: str, *files: tuple[str, bytes], number: str = "") -> tuple[int, bytes]:
        body, mark = b"", "5e8a1d"
        for name, value in (("what", what), ("card", card), ("id", number or uuid.uuid4().hex)):
            body += f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, data in files:
            head = f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
            body += head.encode() + b"Content-Type: application/octet-stream\r\n\r\n" + data + b"\r\n"
        body += f"--{mark}--\r\n".encode()
        kind = {"Content_Type": f"multipart/form-data; boundary={mark}"}
        status, answer, _ = self.ask("POST", "upload", body, **kind)
        return status, answer

    def set_up(self, formats: str = "480p", job: str = "geometry", accepts: str = "31kHz") -> dict[str, Any]:
        return self.do("set-up", job=job, accepts=accepts, formats=formats)


END = signal.SIGTERM if signal.getsignal(signal.SIGINT) is signal.SIG_IGN else signal.SIGINT


@contextmanager
def bench(record: Path, *words: str, environment: dict[str, str] | None = None) -> Iterator[tuple[Page, Any]]:
    """The command, running; its page and its process. It is ended with Ctrl-C, unless this process ignores that (as
    a shell's background jobs do, and the command then inherits it)."""
    started = environment or {**os.environ, "PYTHONPATH": str(ROOT)}
    # A file for what it says: a full pipe would stop it.
    with tempfile.NamedTemporaryFile("w+") as said:
        process = subprocess.Popen([*COMMAND, str(record), *words], stderr=said, env=started)
        try:
            until = time.monotonic() + 60
            while "Ctrl-C ends" not in (lines := Path(said.name).read_text()):
                assert process.poll() is None, lines
                assert time.monotonic() < until, lines
                time.sleep(0.02)
            found = re.search(r"The page: (http\S+)", lines)
            assert found is not None, lines
            yield Page(found[1]), process
        finally:
            if process.poll() is None:
                process.send_signal(END)
            process.wait(30)
