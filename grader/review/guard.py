"""What every request must pass before anything of the record is looked at.

A page of a stranger, open in the same browser, must neither read from this server nor write to
it; and nothing that this server shows may fetch from, or send to, anywhere else.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence

from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OWN_NAMES = ("127.0.0.1", "localhost")
"""Names of this machine that its own browser uses."""

_READING = frozenset({"GET", "HEAD", "OPTIONS"})

_SHUT = ("/_stcore/metrics", "/_stcore/agent")
"""Doors of the page server that nobody here needs: counters, and an interface for programs."""

_POLICY = (
    "default-src 'none'; "
    # Streamlit starts with a script in its page, and compiles some of its widgets in the browser.
    "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
    "style-src 'self' 'unsafe-inline'; font-src 'self' data:; img-src 'self' data: blob:; "
    "connect-src 'self' {socket}; media-src 'self' data: blob:; worker-src 'self' blob:; "
    "frame-src 'self' data: blob:; manifest-src 'self'; form-action 'self'; base-uri 'self'; "
    "frame-ancestors 'self'"
)

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": with that, browsers send "Origin: null" with forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "X-Frame-Options": "SAMEORIGIN",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}


def guards(*, shared_as: Sequence[str] = ()) -> list[Middleware]:
    """Return what stands before all pages and routes, outermost first.

    Parameters
    ----------
    shared_as : sequence of str
        Addresses of this machine, besides its own names, under which it may be asked. Without
        any, nobody but this machine itself is answered.
    """
    return [
        Middleware(Guard, strangers=bool(shared_as)),
        Middleware(
            TrustedHostMiddleware,
            allowed_hosts=[*OWN_NAMES, *map(in_address, shared_as)],
            www_redirect=False,
        ),
        Middleware(OwnOrigin),
    ]


class Guard:
    """Refuse other machines, unless sharing was asked for, and set the headers of every answer.

    Parameters
    ----------
    app : ASGI application
    strangers : bool
        True where other machines of an own network may ask at all.
    """

    def __init__(self, app: ASGIApp, *, strangers: bool) -> None:
        self.app = app
        self.strangers = strangers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        policy = _POLICY.format(socket=_socket(Headers(scope=scope).get("host", "")))

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Content-Security-Policy", policy)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        if not _is_near(scope, strangers=self.strangers):
            await refuse("Only this machine is answered.", scope, receive, with_headers)
        elif scope["path"].startswith(_SHUT):
            await refuse("There is no such page.", scope, receive, with_headers, status=404)
        else:
            await self.app(scope, receive, with_headers)


class OwnOrigin:
    """Refuse what a page of another origin wants to change, and its websockets.

    Browsers say with every such request which page it comes from (RFC 6454). One that does not
    say so is refused as well.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        asks = scope["type"] == "websocket" or (
            scope["type"] == "http" and scope["method"] not in _READING
        )
        if asks:
            headers = Headers(scope=scope)
            if headers.get("origin") != f"http://{headers.get('host')}":
                await refuse("This was sent by another page.", scope, receive, send)
                return
        await self.app(scope, receive, send)


async def refuse(
    text: str, scope: Scope, receive: Receive, send: Send, *, status: int = 403
) -> None:
    """Answer a request, or a websocket before it opens, with a refusal."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": text})  # RFC 6455, 7.4.1
        return
    answer = PlainTextResponse(text, status, headers={"Cache-Control": "no-store"})
    await answer(scope, receive, send)


def _is_near(scope: Scope, *, strangers: bool) -> bool:
    client = scope.get("client")
    try:
        peer = ipaddress.ip_address(client[0] if client else "")
    except ValueError:
        return False
    # Shared means shared in the studio's own network, never with the whole internet.
    return peer.is_loopback or (strangers and not peer.is_global)


def _socket(host: str) -> str:
    """Return the websocket's address, since not every browser counts it to 'self'."""
    # This stands in a header: a host that is not plainly an address gets no say in it.
    return f"ws://{host}" if re.fullmatch(r"[a-z0-9.:\[\]]+", host) else ""


def in_address(host: str) -> str:
    """Return a host as it stands in an address: IPv6 in brackets (RFC 3986, 3.2.2)."""
    return f"[{host}]" if ":" in host else host
