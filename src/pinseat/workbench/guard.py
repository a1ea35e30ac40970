"""What keeps the page to the person at this machine: who may ask, from where, and how much they may send."""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, urlencode

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; worker-src 'self'; media-src 'self'; manifest-src 'none'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'"
)
"""Nothing inline, nothing evaluated, nothing from elsewhere."""

HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-embedder-policy", b"require-corp"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=(), serial=()"),
)
_OWN_CACHE = b"cache-control"


@dataclass(frozen=True)
class Door:
    """Who is let in.

    Attributes
    ----------
    port : int
    token : str
        Made anew for each run of the server; printed, never stored.
    """

    port: int
    token: str

    @property
    def hosts(self) -> tuple[str, ...]:
        """The only names the page answers to: a name of elsewhere that leads here is not one."""
        return (f"127.0.0.1:{self.port}", f"localhost:{self.port}")

    @property
    def cookie(self) -> str:
        """Name of the cookie; cookies do not know ports, so two servers need two names."""
        return f"pinseat-{self.port}"


class Guard:
    """Stands before the application and answers what it refuses itself.

    A request needs the right ``Host``, and the token: once in the address, then in a cookie that no script
    can read and no other site sends along. What changes anything needs the page's own ``Origin``; what says
    it comes from another site is refused whatever it asks. There is no WebSocket: none is opened.
    """

    def __init__(self, app: App, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Let in or refuse."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await _close(receive, send)
            return
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        refused = self._refused(scope, headers)
        if refused:
            await _answer(send, *refused)
        elif (token := self._in_address(scope)) is not None:
            await self._welcome(scope, send, token)
        elif not self._known(headers):
            await _answer(send, 403, "Open the page by the address that pinseat printed: it holds the key.")
        else:
            await self.app(scope, receive, self._with_headers(send))

    def _refused(self, scope: Message, headers: dict[str, str]) -> tuple[int, str] | None:
        if headers.get("host", "").lower() not in self.door.hosts:
            return 421, "This page answers only to 127.0.0.1 and localhost."
        own = {f"http://{host}" for host in self.door.hosts}
        origin = headers.get("origin")
        if (origin is not None and origin not in own) or headers.get("sec-fetch-site") == "cross-site":
            return 403, "This was asked by another site."
        if scope["method"] not in ("GET", "HEAD") and origin is None:
            return 403, "What changes a case must come from the page itself."
        return None

    def _in_address(self, scope: Message) -> str | None:
        if scope["method"] != "GET":
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key")
        return given[0] if given else None

    def _known(self, headers: dict[str, str]) -> bool:
        try:
            held = SimpleCookie(headers.get("cookie", "")).get(self.door.cookie)
        except CookieError:
            return False
        return held is not None and hmac.compare_digest(held.value.encode(), self.door.token.encode())

    async def _welcome(self, scope: Message, send: Send, token: str) -> None:
        """Put the key into a cookie and take it out of the address, so that no history keeps it."""
        if not hmac.compare_digest(token.encode(), self.door.token.encode()):
            await _answer(send, 403, "This key is of another run. Use the address that pinseat printed last.")
            return
        query = parse_qs(scope["query_string"].decode("latin-1"))
        query.pop("key")
        rest = urlencode(query, doseq=True)
        where = scope["path"] + (f"?{rest}" if rest else "")
        where = "/" + where.lstrip("/")
        cookie = f"{self.door.cookie}={self.door.token}; Path=/; HttpOnly; SameSite=Strict"
        await _answer(
            send, 303, "", ((b"location", where.encode("latin-1")), (b"set-cookie", cookie.encode()))
        )

    def _with_headers(self, send: Send) -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                held = list(message.get("headers", []))
                if not any(key.lower() == _OWN_CACHE for key, _ in held):
                    held.append((_OWN_CACHE, b"no-store"))
                message = {**message, "headers": [*held, *HEADERS]}
            await send(message)

        return sending


class TooLargeError(Exception):
    """More was sent than may be."""


async def limited(receive: Receive, most: int) -> Any:
    """The body of a request, part by part, as far as `most` bytes.

    Parameters
    ----------
    receive : callable
        Of the request.
    most : int
        Bytes.

    Yields
    ------
    bytes

    Raises
    ------
    TooLargeError
        At the first byte too many: the rest is not taken in.
    """
    held = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ConnectionError("the sender went away")
        part = message.get("body", b"")
        held += len(part)
        if held > most:
            raise TooLargeError
        yield part
        if not message.get("more_body", False):
            return


async def _answer(send: Send, status: int, says: str, more: tuple[tuple[bytes, bytes], ...] = ()) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (_OWN_CACHE, b"no-store"), *more, *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": says.encode()})


async def _close(receive: Receive, send: Send) -> None:
    await receive()
    await send({"type": "websocket.close", "code": 1008})
