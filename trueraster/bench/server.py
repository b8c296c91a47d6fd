"""The page's server: Starlette by uvicorn, in a thread of its own beside the screen."""

from __future__ import annotations

import contextlib
import logging
import socket
import threading
import time
from collections.abc import Callable
from functools import lru_cache
from importlib.resources import files
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from render.preview import preview, preview_png
from trueraster.bench.folder import Address
from trueraster.bench.given import Given, Giving
from trueraster.bench.guard import Door, Guard
from trueraster.bench.pages import page, regions
from trueraster.bench.session import Session
from trueraster.errors import UsageError
from trueraster.visible import visible

__all__ = ["Serving", "application", "bound", "lan_addresses"]

_STATIC = {"bench.css": "text/css", "bench.js": "text/javascript"}
_ANSWER_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"
"""Of an answer's page, which is one file with its own style and pictures, and no script."""
_MOST_FILES, _MOST_FIELDS, _MOST_NAME = 4, 16, 80
_PREVIEW_HEIGHT = 192


class _Pages:
    """What is answered, request by request."""

    def __init__(self, session: Session, giving: Giving) -> None:
        self._session, self._giving = session, giving
        # A number alone would be the same again after the bench was begun anew.
        self._begun = f"{time.time_ns():x}"

    def _version(self) -> str:
        # Others may have changed the record.
        record = "-".join(f"{part:x}" for part in self._session.kept.mark())
        return f"{self._begun}-{self._session.version}-{record}"

    def whole(self, request: Request) -> Response:
        return HTMLResponse(page(self._session, self._version()))

    def _state(self, have: str) -> dict[str, Any]:
        version = self._version()
        changed = {} if have == version else {"regions": regions(self._session)}
        return {"version": version, "now": time.time(), **changed}

    def state(self, request: Request) -> Response:
        return JSONResponse(self._state(request.query_params.get("have", "")))

    async def do(self, request: Request) -> Response:
        async with request.form(max_files=0, max_fields=_MOST_FIELDS) as form:
            ask = {name: value for name, value in form.items() if isinstance(value, str)}
        await run_in_threadpool(self._session.do, ask)
        return JSONResponse(await run_in_threadpool(self._state, ""))

    async def upload(self, request: Request) -> Response:
        async with request.form(max_files=_MOST_FILES, max_fields=_MOST_FIELDS) as form:
            words = {name: value for name, value in form.items() if isinstance(value, str)}
            given = [
                Given(name=_name(one.filename), data=await one.read())
                for one in form.getlist("file")
                if isinstance(one, UploadFile)
            ]
        what, card, number = (words.get(name, "") for name in ("what", "card", "id"))
        await run_in_threadpool(self._giving.measure, what, card, given, number)
        return JSONResponse(await run_in_threadpool(self._state, ""))

    def answer(self, request: Request) -> Response:
        number = request.path_params["number"]
        if all(one.number != number for one in self._session.state.answers):
            raise HTTPException(404, "there is no such answer")
        held = self._session.folder.answer(number, ".html").read_bytes()
        return HTMLResponse(held, headers={"content-security-policy": _ANSWER_POLICY})

    def picture(self, request: Request) -> Response:
        index = request.path_params["index"]
        if index >= len(self._session.cards) or self._session.cards[index].pattern is None:
            raise HTTPException(404, "there is no such card")
        return Response(_preview(self._session.cards[index]), media_type="image/png")


@lru_cache(maxsize=64)
def _preview(card: Any) -> bytes:
    return preview_png(preview(card.pattern, card.format, card.options, height=_PREVIEW_HEIGHT))


@lru_cache(maxsize=8)
def _static_file(name: str) -> bytes:
    return (files("trueraster.bench") / "static" / name).read_bytes()


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _STATIC:
        raise HTTPException(404, "there is no such file")
    return Response(_static_file(name), media_type=_STATIC[name])


def _name(text: str | None) -> str:
    """A file's name on the phone, as words for people."""
    plain = visible(" ".join((text or "").replace("\\", "/").rpartition("/")[2].split()))
    return plain[-_MOST_NAME:] or "a file"


def _line(request: Request, error: Exception) -> Response:
    """A refusal as one line."""
    if isinstance(error, HTTPException):
        return PlainTextResponse(f"{error.detail}\n", error.status_code)
    words = visible(" ".join(str(error).split())) or type(error).__name__
    return PlainTextResponse(f"{words}\n", 422 if isinstance(error, ValueError) else 500)


def application(session: Session, giving: Giving, token: str) -> Guard:
    """The ASGI application of a session."""
    pages = _Pages(session, giving)
    routes = [
        Route("/", pages.whole, methods=["GET"]),
        Route("/state", pages.state, methods=["GET"]),
        Route("/static/{name}", _static, methods=["GET"]),
        Route("/cards/{index:int}.png", pages.picture, methods=["GET"]),
        Route("/answers/{number:int}", pages.answer, methods=["GET"]),
        Route("/do", pages.do, methods=["POST"]),
        Route("/upload", pages.upload, methods=["POST"]),
    ]
    handlers: dict[Any, Callable[[Request, Exception], Response]] = dict.fromkeys(
        (HTTPException, ValueError, OSError, UsageError, Exception), _line
    )
    return Guard(Starlette(routes=routes, exception_handlers=handlers), token)


def lan_addresses() -> list[str]:
    """The addresses of this computer in its networks, likeliest first; nothing is sent."""
    found = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # An address for documentation (RFC 5737): the system only chooses a way to it.
        probe.connect(("192.0.2.1", 9))
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if not one.startswith("127.")]


def bound(address: Address, *, lan: bool) -> socket.socket:
    """The socket that is listened on: of this computer alone, or of all its networks.

    The port of the last time is taken where it is free.

    Raises:
        UsageError: no port can be had.
    """
    host = "0.0.0.0" if lan else "127.0.0.1"
    last: OSError | None = None
    for port in dict.fromkeys((address.port, 0)):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, port))
        except OSError as error:
            made.close()
            last = error
            continue
        return made
    raise UsageError(f"the page cannot be served: {last}")


class Serving:
    """The server in its thread."""

    def __init__(self, app: Guard, listening: socket.socket) -> None:
        # What went wrong in a request is the line of its answer; its terminal is for the user.
        logging.getLogger("uvicorn").addHandler(logging.NullHandler())
        logging.getLogger("uvicorn").propagate = False
        config = uvicorn.Config(
            app,
            http=Door,
            ws="none",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            date_header=False,
            timeout_keep_alive=30,
            h11_max_incomplete_event_size=16 << 10,
            backlog=64,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [listening]}, name="page", daemon=True
        )

    def start(self) -> None:
        """Begin to serve; returns when it does."""
        self._thread.start()
        until = time.monotonic() + 20
        while not self._server.started:
            if not self._thread.is_alive() or time.monotonic() > until:
                raise UsageError("the page cannot be served: its server did not start")
            time.sleep(0.01)

    @property
    def is_up(self) -> bool:
        """Whether it still serves."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """End it, requests that run included."""
        self._server.should_exit = self._server.force_exit = True
        self._thread.join(5)
