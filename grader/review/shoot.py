"""The plain pages for taking photos straight into a piece, made for a phone in one hand.

They need no script: a form for each side of the piece, which the phone answers with its camera.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from grader.batch import DEFAULT_VIEW_ORDER
from grader.errors import GraderError, UsageError
from grader.record.studio import Studio
from grader.review.gate import page_headers, session_of
from grader.review.routes import SMALL_PX, photo_url
from grader.review.taking import (
    LONGEST_CODE,
    advice_of,
    finish,
    following_code,
    open_batch,
    piece_shots,
    sides_again,
    take,
)
from grader.review.uploads import MOST_BYTES, received, small_form
from grader.templating import environment

_INCOMING = ".incoming"
"""Folder within the studio folder, so on the disk where the photos are to stay."""


def shoot_routes(studio: Studio) -> list[Route]:
    """Return the routes below ``/shoot``.

    Parameters
    ----------
    studio : Studio
    """
    shoot = _Shoot(studio)
    return [
        Route("/shoot", shoot.answer(shoot.batch)),
        Route("/shoot/piece", shoot.answer(shoot.piece)),
        Route("/shoot/photo", shoot.photo, methods=["POST"]),
        Route("/shoot/done", shoot.answer(shoot.done), methods=["POST"]),
    ]


def piece_url(code: str, **more: object) -> str:
    """Return the address of the page that takes photos into a piece."""
    return "/shoot/piece?" + urlencode({"code": code, **more})


class _Shoot:
    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self._secret = secrets.token_bytes(32)
        templates = environment("grader.review")
        templates.globals.update(
            photo_url=photo_url,
            piece_url=piece_url,
            small_px=SMALL_PX,
            views=DEFAULT_VIEW_ORDER,
            longest_code=LONGEST_CODE,
        )
        self._templates = templates

    def answer(self, page: Callable[[Request, Any], Response]) -> Callable[[Request], Any]:
        """Return an endpoint that works beside the others and says what went wrong."""

        async def endpoint(request: Request) -> Response:
            try:
                form = await small_form(request) if request.method == "POST" else None
            except GraderError as error:
                return await run_in_threadpool(self._sorry, request, error)
            return await run_in_threadpool(self._told, request, partial(page, request, form))

        return endpoint

    # --- pages ------------------------------------------------------------------------------

    def batch(self, request: Request, _: None) -> Response:
        """Show the pieces of a batch, and where to begin a new one."""
        number = request.query_params.get("batch", "")
        batch = open_batch(self.studio, int(number) if _is_id(number) else None)
        codes = [piece.code for piece in batch.pieces]
        return self._page(
            request,
            "shoot.html",
            batch=batch,
            again={piece.code: sides_again(self.studio, piece) for piece in batch.pieces},
            following=following_code(codes),
        )

    def piece(self, request: Request, _: None) -> Response:
        """Show a piece: what was taken, what to do better, what comes next."""
        shots = piece_shots(self.studio, request.query_params.get("code", ""))
        kept = request.query_params.get("kept", "")
        batch = open_batch(self.studio)
        codes = [piece.code for piece in batch.pieces]
        return self._page(
            request,
            "piece.html",
            piece=shots,
            advice=advice_of(self.studio, shots),
            kept=next((each for each in shots.photos if str(each.id) == kept), None),
            following=following_code(codes or [shots.code]),
            most_bytes=MOST_BYTES,
        )

    def done(self, request: Request, form: Mapping[str, str]) -> Response:
        """Take note that the whole batch is photographed."""
        self._check(request, form)
        number = str(form.get("batch", ""))
        finish(self.studio, int(number) if _is_id(number) else 0)
        return RedirectResponse("/shoot", 303)

    async def photo(self, request: Request) -> Response:
        """Take one photo in."""
        try:
            async with received(request, self.studio.folder / _INCOMING) as form:
                work = partial(self._take, request, form)
                code = form.fields.get("code", "")
                return await run_in_threadpool(self._told, request, work, code)
        except GraderError as error:
            return await run_in_threadpool(self._sorry, request, error)
        except ClientDisconnect:
            return PlainTextResponse("Nobody is listening.", 400)

    # --- what they share --------------------------------------------------------------------

    def _take(self, request: Request, form: Any) -> Response:
        self._check(request, form.fields)
        if form.photo is None:
            raise UsageError("no photo was chosen", remedy="Take one, then press Keep")
        instead = form.fields.get("instead", "")
        taken = take(
            self.studio,
            form.fields.get("code", ""),
            form.fields.get("view", ""),
            form.photo,
            instead=int(instead) if _is_id(instead) else None,
        )
        return RedirectResponse(piece_url(form.fields["code"], kept=taken.photo.id), 303)

    def _told(self, request: Request, work: Callable[[], Response], code: str = "") -> Response:
        try:
            return work()
        except GraderError as error:
            return self._sorry(request, error, code)

    def _sorry(self, request: Request, error: GraderError, code: str = "") -> Response:
        # Without the place: that may be a path of this machine, and a phone needs none.
        said = f"{error.what[:1].upper()}{error.what[1:]}."
        return self._page(request, "sorry.html", 400, said=said, remedy=error.remedy, code=code)

    def _page(self, request: Request, name: str, status: int = 200, **values: Any) -> Response:
        nonce = secrets.token_urlsafe(16)
        page = self._templates.get_template(name).render(
            nonce=nonce, token=self._token(request), **values
        )
        return HTMLResponse(page, status, headers=page_headers(nonce))

    def _token(self, request: Request) -> str:
        """Return what a form of these pages carries: only they can know it, for this session."""
        session = session_of(request.scope).encode("utf-8", "replace")
        return hmac.new(self._secret, session, hashlib.sha256).hexdigest()

    def _check(self, request: Request, form: Mapping[str, Any]) -> None:
        said = str(form.get("token", "")).encode("utf-8", "replace")
        if not hmac.compare_digest(said, self._token(request).encode()):
            raise UsageError(
                "this page is from before the program was started anew",
                remedy="Go back to the pieces, and take the photo from there",
            )


def _is_id(text: str) -> bool:
    # Fifteen digits: every number of a record, and none that it could not hold.
    return text.isascii() and text.isdecimal() and len(text) <= 15
