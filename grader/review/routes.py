"""The photos of the record, as the browser asks for them.

Only numbers come in: a photo's id in the record and a size. The record says which file that is,
and every file is held inside the studio folder.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from grader.errors import GraderError
from grader.record.bench import photo_by_id
from grader.record.pieces import PlacedPhoto
from grader.record.previews import SCREEN_PX, THUMB_PX, full_file, preview_file
from grader.record.studio import Studio

SMALL_PX = 320
"""Long side for rows of thumbnails on a phone: 160 px at twice the density of a plain screen."""

LONG_SIDES_PX = (SMALL_PX, THUMB_PX, SCREEN_PX)
"""Sizes that can be asked for; any number would fill the disk with copies."""

_MAKERS = ThreadPoolExecutor(2, thread_name_prefix="copies")
"""Who decodes photos: two at a time, since one of 12 megapixels takes some 150 MB meanwhile; and
always the same two, since what a thread has freed stays set aside for that thread, so that the
server would grow with each of the many that answer requests."""

_KNOWN_COPIES = 4096
"""Copies whose place is remembered, so that a ready one need not wait for one being made: twice
the photos of a large load."""

_LARGEST_PX = 16383
"""The most that a WebP picture can be wide or high."""

_LARGEST_ID = 2**63 - 1
"""The largest number that the record can hold."""

_FRESH = "private, max-age=31536000, immutable"  # RFC 8246; a year is the most RFC 9111 expects
_ASK_AGAIN = "private, no-cache"

# How the kinds that every browser shows begin. The ending of a name is not to be trusted.
_KINDS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


def photo_routes(studio: Studio) -> list[Route]:
    """Return the routes ``/photo/ID`` and ``/photo/ID/LONG_SIDE``.

    The first gives the upright photo in full resolution, in a kind that browsers show; the second
    a WebP copy with one of `LONG_SIDES_PX`. Unknown ids and sizes are answered with 404.

    Parameters
    ----------
    studio : Studio
        Need not exist yet; until it does, every id is unknown.
    """

    def photo(request: Request) -> Response:
        return _answer(studio, request)

    return [
        Route("/photo/{photo_id:int}", photo),
        Route("/photo/{photo_id:int}/{long_side:int}", photo),
    ]


def photo_url(photo: PlacedPhoto, long_side: int | None = None) -> str:
    """Return the address of a photo, or of its copy with a long side from `LONG_SIDES_PX`.

    The address names the content and the turn, so that a browser may keep what it has without
    asking again, and yet shows no other studio's photo of the same number.
    """
    size = "" if long_side is None else f"/{long_side}"
    return f"/photo/{photo.id}{size}?v={_version(photo)}"


def _answer(studio: Studio, request: Request) -> Response:
    photo_id: int = request.path_params["photo_id"]
    long_side: int | None = request.path_params.get("long_side")
    if long_side is not None and long_side not in LONG_SIDES_PX:
        return PlainTextResponse("There is no copy of this size.", 404)
    try:
        photo = photo_by_id(studio, photo_id) if photo_id <= _LARGEST_ID else None
    except GraderError:
        photo = None  # no record yet, or it cannot be read: the pages say which
    if photo is None:
        return PlainTextResponse("There is no such photo in the record.", 404)
    asked = request.query_params.get("v")
    headers = {
        "ETag": f'"{photo.sha256}-{photo.turn_deg}-{long_side or "full"}"',
        "Cache-Control": _FRESH if asked == _version(photo) else _ASK_AGAIN,
    }
    if _has_it(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    try:
        path = _file(studio, photo, long_side)
        kind = _kind(path)
        if kind is None:
            # Its name claims to be what it is not. Never enlarged, so this is full size.
            path, kind = _file(studio, photo, _LARGEST_PX), "image/webp"
    except (GraderError, OSError):
        # 404 and not 500: whoever moved the file away can put it back.
        return PlainTextResponse("The file of this photo is missing or cannot be read.", 404)
    return FileResponse(path, media_type=kind, headers=headers)


def _version(photo: PlacedPhoto) -> str:
    # 64 bit of the digest: two photos of one number that agree in it do not happen.
    return f"{photo.sha256[:16]}-{photo.turn_deg}"


def _has_it(request: Request, etag: str) -> bool:
    # RFC 9110, 13.1.2: a list, each perhaps marked weak, or a star.
    known = request.headers.get("if-none-match", "")
    tags = [tag.strip().removeprefix("W/") for tag in known.split(",")]
    return etag in tags or "*" in tags


def _file(studio: Studio, photo: PlacedPhoto, long_side: int | None) -> Path:
    path = _made(studio, photo.file, long_side, photo.turn_deg)
    if not path.is_file():  # swept away since
        _made.cache_clear()
        path = _made(studio, photo.file, long_side, photo.turn_deg)
    return path


@lru_cache(maxsize=_KNOWN_COPIES)
def _made(studio: Studio, file: str, long_side: int | None, turn_deg: int) -> Path:
    if long_side is None:
        made = _MAKERS.submit(full_file, studio, file, turn_deg=turn_deg)
    else:
        made = _MAKERS.submit(preview_file, studio, file, edge_px=long_side, turn_deg=turn_deg)
    return made.result()


def _kind(path: Path) -> str | None:
    with path.open("rb") as file:
        head = file.read(16)
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for start, kind in _KINDS if head.startswith(start)), None)
