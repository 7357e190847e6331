"""Where this machine is, found without sending anything, and what is said when sharing begins."""

from __future__ import annotations

import io
import re
import socket
import sys
from typing import Any

import pytest

from grader.errors import UsageError
from grader.review import share
from grader.review.codes import Codes
from grader.review.share import code_lines, new_code_on_enter, own_address, share_lines

URL = "http://192.168.7.5:8741/shoot"


class SilentSocket:
    """A socket that knows a way out, and fails the test if anything is sent on it."""

    address = "192.168.7.5"

    def __init__(self, *kind: object) -> None:
        assert kind == (socket.AF_INET, socket.SOCK_DGRAM)

    def __enter__(self) -> SilentSocket:
        return self

    def __exit__(self, *error: object) -> None:
        pass

    def connect(self, to: tuple[str, int]) -> None:
        assert to == ("192.0.2.1", 9)  # documentation addresses, RFC 5737

    def getsockname(self) -> tuple[str, int]:
        return self.address, 50000

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"{name} is not needed to find an address")


class LonelySocket(SilentSocket):
    def connect(self, to: tuple[str, int]) -> None:
        raise OSError("Network is unreachable")


def test_the_address_is_found_without_sending(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(share.socket, "socket", SilentSocket)
    assert own_address() == "192.168.7.5"


def test_without_a_router_the_name_of_the_machine_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(share.socket, "socket", LonelySocket)
    found = [(0, 0, 0, "", (address, 0)) for address in ("127.0.1.1", "10.0.0.7")]
    monkeypatch.setattr(share.socket, "getaddrinfo", lambda *_: found)
    assert own_address() == "10.0.0.7"


def test_without_a_network_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(share.socket, "socket", LonelySocket)
    monkeypatch.setattr(share.socket, "getaddrinfo", lambda *_: [])
    with pytest.raises(UsageError, match="in no network"):
        own_address()


@pytest.mark.parametrize("named", ["192.168.1.5", "10.1.2.3", "172.16.0.9", "169.254.3.4"])
def test_an_address_of_an_own_network_may_be_named(named: str) -> None:
    assert own_address(named) == named  # RFC 1918 and RFC 3927


@pytest.mark.parametrize("named", ["9.8.7.6", "2600::1"])
def test_the_open_internet_is_refused(named: str) -> None:
    with pytest.raises(UsageError, match="whole internet"):
        own_address(named)


@pytest.mark.parametrize("named", ["0.0.0.0", "::", "224.0.0.1", "studio.example", "1.2.3", "-"])
def test_what_is_no_address_of_one_machine_is_refused(named: str) -> None:
    with pytest.raises(UsageError):
        own_address(named)


def test_it_says_what_sharing_means() -> None:
    text = "\n".join(share_lines(URL, "482913"))
    assert "can see all of the record, add photos" in text
    assert "not encrypted" in text
    assert "until you press Ctrl-C" in text
    assert URL in text and "482 913" in text
    assert max(map(len, text.splitlines())) <= 100


def test_the_qr_code_carries_address_and_code() -> None:
    """The drawing is read back with the decoder of OpenCV."""
    import cv2
    import numpy as np

    lines = [line for line in code_lines(URL, "482913") if set(line) & set("▀▄█")]
    light = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    rows = [[light[sign][half] for sign in line] for line in lines for half in (0, 1)]
    modules = np.array(rows, dtype=np.uint8) * 255
    picture = np.pad(np.kron(modules, np.ones((8, 8), np.uint8)), 32, constant_values=255)
    read, *_ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert read == f"{URL}#482913"


def test_a_console_without_blocks_still_gets_the_code(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    assert code_lines(URL, "482913") == ["Code      482 913", ""]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_enter_gives_a_new_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    codes = Codes()
    old = codes.issue()
    monkeypatch.setattr(sys, "stdin", Terminal("\n"))
    assert new_code_on_enter(codes, URL)
    for thread in share.threading.enumerate():
        if thread.name == "enter":
            thread.join(5)
    printed = capsys.readouterr().out
    found = re.search(r"^Code +(\d{3}) (\d{3})$", printed, re.MULTILINE)
    assert found and "the one before is void" in printed
    new = found[1] + found[2]
    if new != old:
        assert codes.enter(old)[0] == "wrong"
    assert codes.enter(new)[0] == "right"


def test_nobody_to_press_enter_is_no_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n"))
    codes = Codes()
    code = codes.issue()
    assert not new_code_on_enter(codes, URL)
    assert "Start the command again for a new code" in share_lines(URL, code, enter=False)[-1]
    assert codes.enter(code)[0] == "right"
