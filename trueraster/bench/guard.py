"""What stands between the network and the page: the token, Host and Origin, and bounds of everything.

The token stops strangers, not eavesdroppers: this is plain HTTP. A refusal is one line of plain text.
"""

from __future__ import annotations

import asyncio
import hmac
import time
from collections.abc import Mapping

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["CONNECTIONS", "FROM_ONE", "MOST_BYTES", "Door", "Guard"]

MOST_BYTES = {"upload": 64 << 20, "do": 64 << 10}
"""Of a request's body, by the last part of its path; others have none. A raw photograph has 30 MB."""
CONNECTIONS = 128
"""Open at once; a phone holds two or three."""
FROM_ONE = 48
"""Of them from one address: nobody alone takes the places of the phones."""
_REQUESTS = 24
"""Answered at once."""
_UPLOADS = 4
_BODY_S = {"upload": 90.0, "do": 10.0}
"""Until a body has arrived."""
_HEAD_S = 10.0
"""Until the first request of a connection has arrived."""
_HEADERS = (
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)
_POLICY = (
    b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action"
    b" 'self'; base-uri 'none'; frame-ancestors 'none'"
)


class RefusedError(HTTPException):
    """A request that is refused, with its status and its line; also while the page's application reads its body."""


class Guard:
    """An ASGI application around the page's: what it lets through has the token and keeps to all bounds."""

    def __init__(self, app: ASGIApp, token: str) -> None:
        self._app = app
        self._token = token.encode()
        self._open = {"": 0, "upload": 0}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        begun = False

        async def sent(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = list(message.get("headers", ()))
                names = {name for name, _ in headers}
                headers += [pair for pair in _HEADERS if pair[0] not in names]
                if message["status"] >= 400 and b"connection" not in names:
                    # What is still to come of a refused request is not waited for.
                    headers.append((b"connection", b"close"))
                if b"content-security-policy" not in names:
                    headers.append((b"content-security-policy", _POLICY))
                message = {**message, "headers": headers}
            await send(message)

        try:
            await self._let_through(scope, receive, sent)
        except RefusedError as refusal:
            if not begun:
                await _answer(sent, refusal.status_code, refusal.detail)

    async def _let_through(self, scope: Scope, receive: Receive, send: Send) -> None:
        rest = self._checked(scope)
        kind = rest.rpartition("/")[2]
        inner = {**scope, "path": f"/{rest}", "raw_path": f"/{rest}".encode(), "root_path": ""}
        if self._open[""] >= _REQUESTS or (kind == "upload" and self._open["upload"] >= _UPLOADS):
            raise RefusedError(503, "too many requests at once; try again in a moment")
        counted = ["", "upload"] if kind == "upload" else [""]
        for name in counted:
            self._open[name] += 1
        try:
            await self._app(inner, _Bounded(receive, scope, kind).receive, send)
        finally:
            for name in counted:
                self._open[name] -= 1

    def _checked(self, scope: Scope) -> str:
        """The path behind the token.

        Raises:
            RefusedError: it is not for this session.
        """
        headers = _headers(scope)
        host = headers.get(b"host", b"")
        if host not in _hosts(scope):
            raise RefusedError(421, "this address is not that of the bench")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise RefusedError(405, "only GET and POST are answered")
        origin = headers.get(b"origin")
        if (origin is None and scope["method"] == "POST") or origin not in (None, b"http://" + host):
            raise RefusedError(403, "the request comes from a page of another origin")
        _, _, path = scope["path"].partition("/")
        token, _, rest = path.partition("/")
        if not hmac.compare_digest(token.encode("utf-8", "replace"), self._token):
            raise RefusedError(403, "the session's token is missing or wrong; open the address that the terminal shows")
        if ".." in rest or "\\" in rest or "\0" in rest:
            raise RefusedError(404, "there is no such page")
        return str(rest)


class _Bounded:
    """A request's body within its bounds of bytes and time."""

    def __init__(self, receive: Receive, scope: Scope, kind: str) -> None:
        self._receive = receive
        self._most = MOST_BYTES.get(kind, 0) if scope["method"] == "POST" else 0
        self._until = time.monotonic() + _BODY_S.get(kind, 5.0)
        self._size, self._whole = 0, False
        said = _headers(scope).get(b"content-length", b"0")
        if not said.isdigit() or int(said) > self._most:
            raise RefusedError(413, f"the request is too large; at most {self._most} bytes are taken")

    async def receive(self) -> Message:
        if self._whole:
            return await self._receive()
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, self._until - time.monotonic()))
        except TimeoutError:
            raise RefusedError(408, "the request took too long to arrive") from None
        self._size += len(message.get("body", b""))
        if self._size > self._most:
            raise RefusedError(413, f"the request is too large; at most {self._most} bytes are taken")
        self._whole = message["type"] != "http.request" or not message.get("more_body", False)
        return message


def _headers(scope: Scope) -> Mapping[bytes, bytes]:
    return dict(scope["headers"])


def _hosts(scope: Scope) -> set[bytes]:
    """How this end of the connection may be called: by its own address, never by a name that others could lend it."""
    address, port = scope["server"]
    names = {f"[{address}]" if ":" in address else address}
    if address in ("127.0.0.1", "::1"):
        names.add("localhost")
    return {f"{name}:{port}".encode() for name in names}


async def _answer(send: Send, status: int, words: str) -> None:
    body = words.encode() + b"\n"
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


class Door(H11Protocol):
    """A connection, one of a bounded number, which has to say soon what it wants."""

    _busy = (
        b"HTTP/1.1 503 Service Unavailable\r\ncontent-type: text/plain\r\nconnection: close\r\n\r\n"
        b"too many connections at once; try again in a moment\n"
    )

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        peer = (transport.get_extra_info("peername") or ("",))[0]
        same = sum(one.client is not None and one.client[0] == peer for one in self.connections)  # type: ignore[union-attr]
        if len(self.connections) >= CONNECTIONS or same >= FROM_ONE:
            transport.write(self._busy)
            transport.close()
            self._closed = True
            return
        self._closed = False
        self._asked = False
        super().connection_made(transport)
        self._timer = self.loop.call_later(_HEAD_S, self._too_slow)

    def data_received(self, data: bytes) -> None:
        if not self._closed:
            super().data_received(data)
            self._asked = self._asked or self.cycle is not None

    def eof_received(self) -> None:
        if not self._closed:
            super().eof_received()

    def connection_lost(self, exc: Exception | None) -> None:
        if not self._closed:
            self._timer.cancel()
            super().connection_lost(exc)

    def _too_slow(self) -> None:
        if not self._asked:
            self.transport.close()

    def pause_writing(self) -> None:
        if not self._closed:
            super().pause_writing()

    def resume_writing(self) -> None:
        if not self._closed:
            super().resume_writing()
