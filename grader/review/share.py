"""What ``--share`` says at the start, and where on the studio's own network this machine is."""

from __future__ import annotations

import io
import ipaddress
import socket
import sys
import threading

import segno

from grader.errors import UsageError
from grader.review.codes import CODE_S, DIGITS, SESSION_S, TRIES, Codes

SHARED_VARIABLE = "GRADER_SHARED_AT"
"""Environment variable by which the pages find the address that phones are told; unset where
nothing is shared. Only the server itself sets it."""

_NOWHERE = ("192.0.2.1", 9)
"""An address that belongs to nobody (RFC 5737, TEST-NET-1) and the port that throws away what it
gets (RFC 863). Nothing is sent: a UDP socket that is connected only looks up the way."""

_NAME_A_PLACE = "Join the studio's Wi-Fi, or name this machine's address: --address 192.168.1.5"


def own_address(named: str | None = None) -> str:
    """Return the address of this machine on the network it is in, without sending anything.

    Parameters
    ----------
    named : str, optional
        The one to take, where the machine is in several networks.

    Raises
    ------
    UsageError
        It is in no network, the named one is not its own, or the network is the open internet.
    """
    address = named or _way_out() or _by_name()
    if not address:
        raise UsageError(
            "this machine is in no network, so there is nobody to share with", remedy=_NAME_A_PLACE
        )
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        raise UsageError(f"{address!r} is no address", remedy=_NAME_A_PLACE) from None
    if parsed.is_unspecified or parsed.is_multicast:
        raise UsageError(f"{address} is not the address of one machine", remedy=_NAME_A_PLACE)
    if parsed.is_global:
        raise UsageError(
            f"{address} can be reached from the whole internet, and this is made for a studio's "
            "own network",
            remedy="Connect through a router, or name an address of the studio's own network",
        )
    return address


def share_lines(url: str, code: str, *, enter: bool = True) -> list[str]:
    """Return what to print when sharing begins: what it means, the address, the code.

    Parameters
    ----------
    url, code : str
    enter : bool
        False where nobody can press Enter for a new code.
    """
    how = "Press Enter" if enter else "Start the command again"
    return [
        "Sharing on this network until you press Ctrl-C here.",
        "Whoever is in this network and has a code can see all of the record, add photos and",
        "change what was decided. What is sent is not encrypted: share only in a network that you",
        "trust, not in that of a fair or a market hall.",
        "",
        f"Address   {url}",
        *code_lines(url, code),
        "",
        f"A code works once and for {CODE_S / 60:.0f} minutes; after {TRIES} wrong tries it is "
        "void. A device stays",
        f"let in until sharing ends, {SESSION_S / 3600:.0f} hours at most. {how} for a new code.",
    ]


def code_lines(url: str, code: str, *, why: str = "") -> list[str]:
    """Return what to print with each new code: the code, and a QR code of address and code."""
    half = DIGITS // 2
    heading = [why] if why else []
    return [*heading, f"Code      {code[:half]} {code[half:]}", "", *_qr_lines(f"{url}#{code}")]


def new_code_on_enter(codes: Codes, url: str) -> bool:
    """Print a new code whenever Enter is pressed.

    Returns
    -------
    bool
        False where nobody can press it.
    """
    if not sys.stdin or not sys.stdin.isatty():
        return False

    def listen() -> None:
        for _ in sys.stdin:
            say(code_lines(url, codes.issue(), why="A new code; the one before is void."))

    threading.Thread(target=listen, name="enter", daemon=True).start()
    return True


def say(lines: list[str]) -> None:
    """Print lines at once, whatever stdout is connected to."""
    print("\n".join(lines), flush=True)


def _qr_lines(text: str) -> list[str]:
    """Draw a QR code (ISO/IEC 18004) with half blocks, two rows of it in one of the terminal."""
    try:
        "\u2580\u2584\u2588".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return []  # a console without these signs; the address can be typed
    drawn = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(drawn, border=2, compact=True)
    lines = drawn.getvalue().rstrip("\n").splitlines()
    if sys.stdout.isatty():
        # White on black whatever the terminal's own colours are: many cameras read no negative.
        lines = [f"\x1b[97;40m{line}\x1b[0m" for line in lines]
    return lines


def _way_out() -> str | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
        except OSError:  # no way out: not in a network, or in one without a router
            return None
        address = str(probe.getsockname()[0])
    return None if ipaddress.ip_address(address).is_loopback else address


def _by_name() -> str | None:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        return None
    addresses = [str(each[4][0]) for each in found]
    return next((a for a in addresses if not ipaddress.ip_address(a).is_loopback), None)
