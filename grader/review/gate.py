"""The gate before everything under ``--share``: a code first, then the pages.

It knows nothing of the record. Without a session, whatever is asked for, only the page that asks
for the code is shown.
"""

from __future__ import annotations

import secrets

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from grader.errors import UsageError
from grader.review.codes import SESSION_S, Answer, Codes
from grader.review.guard import refuse
from grader.review.uploads import small_form
from grader.templating import environment

CODE_PATH = "/code"
COOKIE = "grader_session"

_MOST_BYTES = 2048
"""Of the form that carries a code, which needs about thirty."""

_START = "/shoot"
_KNOWN_STARTS = frozenset({_START, "/"})

_SAID: dict[Answer, str] = {
    "wrong": (
        "That is not the code. Look at the window where grader runs: the newest code is the one "
        "that counts, and each code works once."
    ),
    "too many": (
        "There were too many wrong tries, so the code is void. Press Enter in the window where "
        "grader runs to get a new one."
    ),
    "too late": (
        "The code has run out. Press Enter in the window where grader runs to get a new one."
    ),
}


class Gate:
    """Let through who has a session; show the others the page that asks for the code.

    Parameters
    ----------
    app : ASGI application
    codes : Codes
    """

    def __init__(self, app: ASGIApp, *, codes: Codes) -> None:
        self.app = app
        self.codes = codes
        self._page = environment("grader.review").get_template("code.html")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
        elif scope["type"] == "http" and scope["path"] == CODE_PATH:
            request = Request(scope, receive)
            answer = await self._enter(request) if request.method == "POST" else self._ask(request)
            await answer(scope, receive, send)
        elif self.codes.knows(session_of(scope)):
            await self.app(scope, receive, send)
        elif _wants_page(scope):
            await self._ask(Request(scope, receive))(scope, receive, send)
        else:
            await refuse("The code is missing.", scope, receive, send)

    async def _enter(self, request: Request) -> Response:
        try:
            fields = await small_form(request, most_bytes=_MOST_BYTES)
        except UsageError:
            return PlainTextResponse("That is no code.", 413)
        answer, token = self.codes.enter(fields.get("code", ""))
        start = fields.get("start", _START)
        if answer != "right":
            return self._show(start, _SAID[answer])
        # Only to places known here, whatever the form says. 303: what follows is read, not sent.
        response = RedirectResponse(start if start in _KNOWN_STARTS else _START, 303)
        response.headers["Cache-Control"] = "no-store"
        # Not "secure": on the studio's own network there is no certificate that a phone trusts.
        response.set_cookie(
            COOKIE, token, max_age=int(SESSION_S), httponly=True, samesite="strict", path="/"
        )
        return response

    def _ask(self, request: Request) -> Response:
        return self._show(request.url.path, "")

    def _show(self, start: str, said: str) -> Response:
        nonce = secrets.token_urlsafe(16)
        page = self._page.render(
            nonce=nonce,
            said=said,
            start=start if start in _KNOWN_STARTS else _START,
            path=CODE_PATH,
        )
        return HTMLResponse(page, 403, headers=page_headers(nonce))


def page_headers(nonce: str) -> dict[str, str]:
    """Return the headers of a plain page: nothing but its own style and script may run."""
    return {
        "Cache-Control": "no-store",
        "Content-Security-Policy": (
            f"default-src 'none'; style-src 'nonce-{nonce}'; script-src 'nonce-{nonce}'; "
            "img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
        ),
    }


def session_of(scope: Scope) -> str:
    """Return the token that a request shows, or nothing."""
    return HTTPConnection(scope).cookies.get(COOKIE, "")


def _wants_page(scope: Scope) -> bool:
    if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
        return False
    return "text/html" in Headers(scope=scope).get("accept", "")
