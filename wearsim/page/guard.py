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
from dataclasses import dataclass, field
from urllib.parse import urlencode

from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

COOKIE, KEY = "wearsim", "key"
LOCAL = ("127.0.0.1", "localhost")
LARGEST_BODY = 64 * 1024
"""Largest size of a request [bytes]: the page sends its words through the websocket."""


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

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        request = HTTPConnection(scope)
        refusal = self.refusal(request)
        if refusal is None:
            leave = self._is_word(request.query_params.get(KEY, "")) and scope["type"] == "http"
            await self.app(scope, receive, _with_headers(send, self.door.word if leave else ""))
        elif scope["type"] == "websocket":
            await WebSocketClose(1008, refusal[1][:100])(scope, receive, send)
        else:
            await PlainTextResponse(refusal[1], refusal[0])(scope, receive, send)

    def refusal(self, request: HTTPConnection) -> tuple[int, str] | None:
        """Status and reason where a request must not come in; None where it may."""
        headers = request.headers
        scheme = "https" if request.scope.get("scheme") in ("https", "wss") else "http"
        host, length = headers.get("host", "").lower(), headers.get("content-length", "0")
        if host not in self.door.hosts:
            return 421, "The page is not served under this host name. Open the address that wearsim page printed."
        is_own = headers.get("origin", f"{scheme}://{host}").lower() == f"{scheme}://{host}"
        if not is_own or headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return 403, "Refused: the request came from another site. Type the address, or scan it again."
        if "transfer-encoding" in headers or not length.isdecimal() or int(length) > LARGEST_BODY:
            return 413, "The request is too large."
        if request.scope["type"] == "http" and request.scope.get("path", "").startswith("/_nicegui_ws/"):
            return 404, "Input is accepted only through the page's own connection."
        given = request.query_params.get(KEY, ""), request.cookies.get(COOKIE, "")
        if self.door.word and not any(map(self._is_word, given)):
            return 403, "The address is not complete: scan the code on the laptop's screen again, or type all of it."
        return None

    def _is_word(self, given: str) -> bool:
        return bool(self.door.word) and hmac.compare_digest(given.encode(), self.door.word.encode())


_ALWAYS = {
    "x-content-type-options": "nosniff", "x-frame-options": "DENY", "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin", "cross-origin-resource-policy": "same-origin",
}  # fmt: skip


def _with_headers(send: Send, word: str) -> Send:
    """Answers that no other site may frame or read; with a word, the cookie that spares it in further addresses."""

    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.update(_ALWAYS)
            if word:
                headers.append("set-cookie", f"{COOKIE}={word}; Path=/; HttpOnly; SameSite=Strict")
        await send(message)

    return answer
