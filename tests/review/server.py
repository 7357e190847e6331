"""A studio with photos, and the server's application without its pages, for the tests."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from PIL import Image
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket

from grader.record.add import take_photos
from grader.record.studio import Studio, init_studio
from grader.review.codes import Codes
from grader.review.gate import Gate
from grader.review.guard import guards

HERE = "http://127.0.0.1:8741"
LAN = "192.168.7.5"
"""An address of a home network (RFC 1918); no test connects to it."""


def a_picture(path: Path, *, seed: int = 0, size: tuple[int, int] = (240, 180)) -> Path:
    """Write a small photo of noise, in the kind that its ending says."""
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 256, (size[1] // 6, size[0] // 6, 3), dtype=np.uint8)
    Image.fromarray(pixels).resize(size).save(path)
    return path


def a_studio(folder: Path, photos: Iterable[tuple[str, str]] = (("K01", "front.jpg"),)) -> Studio:
    """Make a studio with one photo for each (piece, file name); the name's stem is the view."""
    studio = init_studio(folder / "studio", name="Ormsedge Pottery")
    source = folder / "source"
    source.mkdir(parents=True, exist_ok=True)
    for seed, (code, name) in enumerate(photos):
        path = a_picture(source / name, seed=seed)
        take_photos(studio, code, [(path, path.stem)], label="20 November")
    return studio


async def _socket(websocket: WebSocket) -> None:
    await websocket.accept()
    await websocket.send_text("the record")
    await websocket.close()


def an_app(routes: Iterable[BaseRoute], *, codes: Codes | None = None) -> Starlette:
    """Put routes, a websocket and a page behind the guards, and behind the gate with `codes`."""
    middleware = guards(shared_as=[LAN] if codes else [])
    if codes:
        middleware.append(Middleware(Gate, codes=codes))
    return Starlette(
        routes=[
            *routes,
            Route("/", lambda request: PlainTextResponse("the record"), methods=["GET", "POST"]),
            WebSocketRoute("/_stcore/stream", _socket),
        ],
        middleware=middleware,
    )


def a_browser(app: Starlette, *, base: str = HERE, peer: str = "127.0.0.1") -> TestClient:
    """Return a client that asks as a browser of the machine `peer` would."""
    return TestClient(app, base_url=base, client=(peer, 50000), follow_redirects=False)


def over_socket(app: Starlette, headers: dict[str, str], *, base: str = HERE) -> str:
    """Return what the websocket of the pages says, or raise where it is refused."""
    url = base.replace("http", "ws", 1) + "/_stcore/stream"
    with a_browser(app, base=base).websocket_connect(url, headers=headers) as socket:
        return socket.receive_text()
