"""The server of the review: this machine only, unless sharing was asked for.

The pages (Streamlit), the photos and the plain pages for taking photos are one ASGI application,
with the guards before all of it.
"""

from __future__ import annotations

import errno
import os
import socket
import webbrowser
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from threading import Thread
from typing import Any

from starlette.middleware import Middleware

from grader.console import plain
from grader.errors import GraderError, UsageError
from grader.record.studio import PLACE_VARIABLE, Studio, default_place, open_studio
from grader.review.codes import Codes
from grader.review.gate import Gate
from grader.review.guard import OWN_NAMES, guards, in_address
from grader.review.routes import photo_routes
from grader.review.share import (
    SHARED_VARIABLE,
    code_lines,
    new_code_on_enter,
    own_address,
    say,
    share_lines,
)
from grader.review.shoot import shoot_routes

PORT = 8741
"""Where the pages are by default: registered for nothing with IANA (from memory)."""

SCRIPT = Path(__file__).parent / "entry" / "script.py"

_HERE = "127.0.0.1"

_UPLOAD_MB = 400
"""Most that the pages take of one dropped file. A photo of 50 megapixels has 30 MB as JPEG and
150 MB as TIFF."""

_MESSAGE_BYTES = 25 * 1024 * 1024
"""Most that a window may send at a time: what Streamlit itself allows the state of a page to
have (`server.maxWidgetStateSize`)."""

_LAST_WORDS_S = 3
"""How long an open window is waited for at the end."""


def app_parts(words: Sequence[str] = (), *, shared_as: str = "", codes: Codes | None = None) -> Any:
    """Return what `streamlit.App` takes: the script, the routes, and the guards before them.

    Parameters
    ----------
    words : sequence of str
        Of the command line; the first names the studio folder.
    shared_as : str
        Address under which other machines are answered; none are without it.
    codes : Codes, optional
        What lets them in; needed with `shared_as`.
    """
    folder = Path(words[0]).expanduser() if words else default_place()
    folder = folder.resolve()
    # The script of the pages, and the processes that look at photos, find the studio by this.
    os.environ[PLACE_VARIABLE] = str(folder)
    studio = Studio(folder)  # may not be made yet; then the pages say how to
    middleware = guards(shared_as=[shared_as] if shared_as else [])
    if shared_as:
        if codes is None:
            raise ValueError("nothing is shared without codes")
        middleware.append(Middleware(Gate, codes=codes))
    return {
        "script_path": SCRIPT,
        "routes": [*photo_routes(studio), *shoot_routes(studio)],
        "middleware": middleware,
    }


def review(
    folder: Path | None = None,
    *,
    port: int = PORT,
    share: bool = False,
    address: str | None = None,
    browser: bool = True,
) -> None:
    """Show the review until Ctrl-C.

    Parameters
    ----------
    folder : Path, optional
        The studio folder; `grader.record.studio.default_place` where None.
    port : int
        0 takes any that is free.
    share : bool
        True lets other machines of the same network in, with a code.
    address : str, optional
        Of this machine, where it is in several networks.
    browser : bool
        False opens no window.

    Raises
    ------
    RecordError
        There is no studio, or its record cannot be used.
    UsageError
        The port is taken, or there is no network to share with.
    """
    studio = open_studio(folder)
    shared_as = own_address(address) if share else ""
    with ExitStack() as open_sockets:
        sockets = [open_sockets.enter_context(_listen(_HERE, port))]
        port = sockets[0].getsockname()[1]
        if shared_as and shared_as != _HERE:
            sockets.append(open_sockets.enter_context(_listen(shared_as, port)))
        here, there = f"http://{_HERE}:{port}/", f"http://{in_address(shared_as)}:{port}/shoot"
        # Read by the page that says how to take photos with a phone.
        os.environ[SHARED_VARIABLE] = there if share else ""
        codes = Codes(used=lambda code: say(["", *code_lines(there, code, why=_NEXT)]))
        _configure(port, shared_as)
        app = _app(studio, shared_as, codes)
        say([f"Review of {plain(str(studio.folder))}", f"Here      {here}", "Ctrl-C ends it."])
        if share:
            say(["", *share_lines(there, codes.issue(), enter=new_code_on_enter(codes, there))])
            here += f"#{codes.issue_key()}"
        # Ctrl-C is how this ends, from when that was said.
        with suppress(KeyboardInterrupt):
            Thread(target=_load_what_looks, name="load", daemon=True).start()
            _run(app, sockets, opened=here if browser else None)
    say(["", "Ended. All that was said is kept."])


_NEXT = "A device was let in. For another one:"


def _app(studio: Studio, shared_as: str, codes: Codes) -> Any:
    from streamlit import App

    return App(**app_parts([str(studio.folder)], shared_as=shared_as, codes=codes))


def _load_what_looks() -> None:
    # The image libraries take a second or more: not while somebody waits for a first photo.
    import grader.checkup  # noqa: F401


def _listen(address: str, port: int) -> socket.socket:
    # Only of a socket that is said to be TCP does the event loop send small packets at once; else
    # the end of each photo waits 40 ms for the browser to confirm what came before it.
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name != "nt":  # there it would let two programs listen at one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise _not_listening(error, address, port) from error
    return listening


def _not_listening(error: OSError, address: str, port: int) -> GraderError:
    if error.errno == errno.EADDRINUSE:
        return UsageError(
            f"port {port} is taken, perhaps by another window with this command",
            where=address,
            remedy=f"Use that window, or choose another port: --port {port + 1}",
        )
    if error.errno == errno.EACCES:
        return UsageError(
            f"port {port} is not for everybody's use", where=address, remedy=f"Use --port {PORT}"
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return UsageError(
            "this is not an address of this machine",
            where=address,
            remedy="Leave --address out, or name one that the settings of the network show",
        )
    return UsageError(f"nothing can be served here ({error})", where=f"{address}:{port}")


def _configure(port: int, shared_as: str) -> None:
    """Set what the pages' server would otherwise take from files of the user."""
    from streamlit.web import bootstrap

    bootstrap.load_config_options(
        {
            "browser_gatherUsageStats": False,
            "browser_serverAddress": shared_as or _HERE,
            "browser_serverPort": port,
            # The rest goes to the terminal: places on this machine are not a phone's business.
            "client_showErrorDetails": "type",
            "client_toolbarMode": "minimal",
            "global_developmentMode": False,
            "logger_hideWelcomeMessage": True,
            "server_address": _HERE,
            "server_allowedHosts": [*OWN_NAMES, *([shared_as] if shared_as else [])],
            "server_baseUrlPath": "",
            "server_corsAllowedOrigins": [],
            "server_enableCORS": True,
            "server_enableStaticServing": False,
            "server_enableXsrfProtection": True,
            "server_fileWatcherType": "none",
            "server_headless": True,
            "server_maxUploadSize": _UPLOAD_MB,
            "server_port": port,
        }
    )


def _run(app: Any, sockets: list[socket.socket], *, opened: str | None) -> None:
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if opened is not None and self.started:
                # Some browsers, such as those of a terminal, only return when they are closed.
                Thread(target=webbrowser.open, args=[opened], name="browser", daemon=True).start()

    config = uvicorn.Config(
        app,
        lifespan="on",
        log_level="warning",
        access_log=False,
        server_header=False,
        # Whoever speaks for somebody else is not believed: there is no proxy.
        proxy_headers=False,
        timeout_graceful_shutdown=_LAST_WORDS_S,
        ws="websockets-sansio",
        ws_max_size=_MESSAGE_BYTES,
    )
    Server(config).run(sockets=sockets)
