"""Who may speak to the page: this machine, or with the word in the address the local network; nobody from elsewhere.

Every request, and every websocket, passes here before anything else sees it:

* its Host must be a name that this server was started under (a page elsewhere whose name is pointed at this machine is
  refused);
* its Origin, where there is one, must be this server itself, and a browser that says the request was begun by another
  site is refused;
* with a word, the address or the cookie that the address left must have it.
"""

from __future__ import annotations

import hmac
import secrets
import socket
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qsl, urlencode

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
COOKIE, KEY = "wearsim", "key"
LOCAL = ("127.0.0.1", "localhost")
LARGEST_BODY = 64 * 1024
"""Of a request [bytes]: the page sends its words through the websocket."""


@dataclass(frozen=True)
class Door:
    """Where the page listens, and the word that opens it.

    Parameters
    ----------
    port : int
    address : str
        Of this machine in the local network; empty where only this machine may come in.
    word : str
        Empty where none is needed.
    """

    port: int
    address: str = ""
    word: str = ""
    hosts: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        names = (*LOCAL, self.address) if self.address else LOCAL
        object.__setattr__(self, "hosts", frozenset(f"{name}:{self.port}" for name in names))

    @classmethod
    def shared(cls, port: int) -> Door:
        """Open to the local network, with a word drawn by chance."""
        return cls(port, lan_address(), secrets.token_urlsafe(12))

    @property
    def listens_on(self) -> str:
        """Address of the sockets."""
        return "0.0.0.0" if self.address else LOCAL[0]

    def link(self, path: str = "/", host: str = "") -> str:
        """A link to open here, or on the tablet where ``host`` is :attr:`address`."""
        word = "?" + urlencode({KEY: self.word}) if self.word else ""
        return f"http://{host or LOCAL[0]}:{self.port}{path}{word}"


def lan_address() -> str:
    """This machine's address in the local network; no packet is sent for it. The loopback's where there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737
            return str(probe.getsockname()[0])
        except OSError:
            return LOCAL[0]


class Guard:
    """The ASGI application behind the door."""

    def __init__(self, app: Callable[..., Awaitable[None]], door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Any, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        query = dict(parse_qsl(scope.get("query_string", b"").decode("latin-1")))
        refusal = self.refusal(scope, headers, query)
        if refusal:
            await _refuse(scope, send, *refusal)
        else:
            leave = self._is_word(query.get(KEY, "")) and scope["type"] == "http"
            await self.app(scope, receive, _with_headers(send, self.door.word if leave else ""))

    def refusal(self, scope: Scope, headers: dict[str, str], query: dict[str, str]) -> tuple[int, str] | None:
        """Status and reason where a request must not come in; None where it may."""
        scheme = "https" if scope.get("scheme") in ("https", "wss") else "http"
        host = headers.get("host", "").lower()
        if host not in self.door.hosts:
            return 421, "This page does not answer to that name. Open the address that wearsim page showed."
        if headers.get("origin", f"{scheme}://{host}").lower() != f"{scheme}://{host}":
            return 403, "Refused: the request was begun by another site."
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return 403, "Refused: the request was begun by another site. Type the address, or scan it again."
        if not headers.get("content-length", "0").isdecimal() or int(headers.get("content-length", "0")) > LARGEST_BODY:
            return 413, "Too much."
        if self.door.word and not (self._is_word(query.get(KEY, "")) or self._is_word(_cookie(headers))):
            return 403, "The address is not complete: scan the code on the laptop's screen again, or type all of it."
        return None

    def _is_word(self, given: str) -> bool:
        return bool(self.door.word) and hmac.compare_digest(given.encode(), self.door.word.encode())


def _cookie(headers: dict[str, str]) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return "" if found is None else found.value


async def _refuse(scope: Scope, send: Send, status: int, reason: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": reason[:100]})
        return
    body = reason.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


_ALWAYS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


def _with_headers(send: Send, word: str) -> Send:
    """Answers that no other site may frame or read; with a word, the cookie that spares it in further addresses."""

    async def answer(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            headers = [*message.get("headers", ()), *_ALWAYS]
            if word:
                headers.append((b"set-cookie", f"{COOKIE}={word}; Path=/; HttpOnly; SameSite=Strict".encode()))
            message = {**message, "headers": headers}
        await send(message)

    return answer
