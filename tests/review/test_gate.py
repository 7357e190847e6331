"""Under --share nothing but the page that asks for the code is shown without it."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from grader.review.codes import CODE_S, DIGITS, TRIES, Codes
from grader.review.gate import CODE_PATH, COOKIE
from grader.review.routes import photo_routes
from tests.review.server import LAN, a_browser, a_studio, an_app, over_socket

BASE = f"http://{LAN}:8741"
ORIGIN = {"Origin": BASE}


class Shared:
    """A shared studio, and a phone that asks for it."""

    def __init__(self, folder: Path) -> None:
        self.now = 0.0
        self.codes = Codes(clock=lambda: self.now)
        self.app = an_app(photo_routes(a_studio(folder)), codes=self.codes)
        self.phone = self.another_phone()

    def another_phone(self) -> TestClient:
        return a_browser(self.app, base=BASE, peer="192.168.7.20")

    def enter(self, code: str, **fields: str) -> tuple[int, str]:
        answer = self.phone.post(CODE_PATH, data={"code": code, **fields}, headers=ORIGIN)
        return answer.status_code, answer.headers.get("location", answer.text)

    def listen(self, session: str = "") -> str:
        return over_socket(self.app, ORIGIN | {"Cookie": f"{COOKIE}={session}"}, base=BASE)


@pytest.fixture
def shared(tmp_path: Path) -> Shared:
    return Shared(tmp_path)


def test_without_the_code_there_is_only_the_page_that_asks_for_it(shared: Shared) -> None:
    for path in ("/", "/shoot", CODE_PATH, "/photo/1", "/static/js/index.js"):
        answer = shared.phone.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 403
        assert "The code, please" in answer.text
        assert "Ormsedge" not in answer.text and "K01" not in answer.text
        assert answer.headers["cache-control"] == "no-store"
    for path in ("/photo/1", "/photo/1/320"):
        assert shared.phone.get(path).text == "The code is missing."
    assert shared.phone.post("/", headers=ORIGIN).text == "The code is missing."
    with pytest.raises(WebSocketDisconnect):
        shared.listen()


def test_this_machine_is_asked_as_well(shared: Shared) -> None:
    browser = a_browser(shared.app)
    assert browser.get("/photo/1").status_code == 403


def test_the_code_opens(shared: Shared) -> None:
    answer = shared.phone.post(CODE_PATH, data={"code": shared.codes.issue()}, headers=ORIGIN)
    assert (answer.status_code, answer.headers["location"]) == (303, "/shoot")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    for word in ("HttpOnly", "SameSite=strict", "Path=/", "Max-Age="):
        assert word in cookie
    assert shared.phone.get("/photo/1").headers["content-type"] == "image/jpeg"
    assert shared.phone.get("/photo/1/320").status_code == 200
    assert shared.listen(answer.cookies[COOKIE]) == "the record"
    with pytest.raises(WebSocketDisconnect):
        shared.listen("made up")
    assert shared.another_phone().get("/photo/1").status_code == 403


def test_a_used_code_does_not_open_again(shared: Shared) -> None:
    code = shared.codes.issue()
    assert shared.enter(code)[0] == 303
    shared.phone = shared.another_phone()
    status, text = shared.enter(code)
    assert status == 403 and "each code works once" in text
    assert shared.phone.get("/photo/1").status_code == 403


def test_a_code_that_ran_out_does_not_open(shared: Shared) -> None:
    code = shared.codes.issue()
    shared.now += CODE_S
    status, text = shared.enter(code)
    assert status == 403 and "has run out" in text


def test_too_many_wrong_codes_need_a_new_one(shared: Shared) -> None:
    code = shared.codes.issue()
    wrong = f"{(int(code) + 7) % 10**DIGITS:0{DIGITS}d}"
    for _ in range(TRIES - 1):
        assert "That is not the code" in shared.enter(wrong)[1]
    assert "too many wrong tries" in shared.enter(wrong)[1]
    assert "too many wrong tries" in shared.enter(code)[1]
    assert shared.enter(shared.codes.issue())[0] == 303


@pytest.mark.parametrize("cookie", ["", "x", "ü", "a" * 5000, '"', "; ;=", "None"])
def test_a_made_up_session_does_not_open(shared: Shared, cookie: str) -> None:
    shared.codes.issue()
    sent = {b"cookie": f"{COOKIE}={cookie}".encode("latin-1")}
    assert shared.phone.get("/photo/1", headers=sent).status_code == 403


def test_the_code_is_not_taken_from_another_page(shared: Shared) -> None:
    code = shared.codes.issue()
    for headers in ({}, {"Origin": "http://studio.example"}, {"Origin": "null"}):
        assert shared.phone.post(CODE_PATH, data={"code": code}, headers=headers).status_code == 403
    assert shared.enter(code)[0] == 303  # nor did that count as a try


@pytest.mark.parametrize(
    ("asked", "led_to"),
    [
        ("/", "/"),
        ("/shoot", "/shoot"),
        ("https://studio.example", "/shoot"),
        ("//studio.example", "/shoot"),
        ("/photo/1", "/shoot"),
        ("javascript:alert(1)", "/shoot"),
    ],
)
def test_it_leads_only_to_its_own_pages(shared: Shared, asked: str, led_to: str) -> None:
    assert shared.enter(shared.codes.issue(), start=asked) == (303, led_to)


def test_what_is_asked_for_stands_on_the_page_as_text(shared: Shared) -> None:
    answer = shared.phone.post(CODE_PATH, data={"code": "1", "start": '"><b>x</b>'}, headers=ORIGIN)
    assert "<b>x</b>" not in answer.text


def test_a_flood_is_not_kept(shared: Shared) -> None:
    shared.codes.issue()
    for content in (b"x" * 100_000, b"code=" + b"1" * 100_000, b"&".join([b"a=1"] * 30_000)):
        answer = shared.phone.post(CODE_PATH, content=content, headers=ORIGIN)
        assert answer.status_code == 413


@pytest.mark.parametrize("content", [b"", b"code", b"code=%ff%00", b"\xff\xfe", b"code=&code=1"])
def test_a_broken_form_is_a_wrong_code(shared: Shared, content: bytes) -> None:
    shared.codes.issue()
    assert shared.phone.post(CODE_PATH, content=content, headers=ORIGIN).status_code == 403
