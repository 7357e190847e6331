"""Other machines, other hosts and other pages are refused before anything is looked at."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.websockets import WebSocketDisconnect

from grader.review.codes import Codes
from grader.review.guard import guards
from tests.review.server import HERE, LAN, a_browser, an_app, over_socket

FOREIGN_HOSTS = (
    "studio.example",
    "127.0.0.1.studio.example",
    "localhost.studio.example",
    "studio.example:8741",
    "0.0.0.0",
    "",
    LAN,
)
FOREIGN_ORIGINS = (
    "http://studio.example",
    "http://127.0.0.1:8742",
    "http://127.0.0.1",
    "https://127.0.0.1:8741",
    "http://127.0.0.1:8741.studio.example",
    "null",
    "",
)


@pytest.fixture
def app() -> Starlette:
    return an_app([])


def test_this_machine_is_answered(app: Starlette) -> None:
    for base in (HERE, "http://localhost:8741", "http://127.0.0.1"):
        assert a_browser(app, base=base).get("/").text == "the record"


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
def test_a_foreign_host_is_refused(app: Starlette, host: str) -> None:
    """A page whose name was bound anew to this machine (DNS rebinding) still says its name."""
    answer = a_browser(app).get("/", headers={"Host": host})
    assert answer.status_code in (400, 403)
    assert "the record" not in answer.text
    with pytest.raises(WebSocketDisconnect):
        over_socket(app, {"Host": host, "Origin": f"http://{host}"})
    with pytest.raises(WebSocketDisconnect):
        over_socket(app, {"Host": host, "Origin": HERE})


@pytest.mark.parametrize("peer", [LAN, "203.0.113.9", "::2", "testclient"])
def test_another_machine_is_refused_whatever_host_it_says(app: Starlette, peer: str) -> None:
    answer = a_browser(app, peer=peer).get("/")
    assert (answer.status_code, answer.text) == (403, "Only this machine is answered.")


def test_another_machine_is_answered_when_shared() -> None:
    codes = Codes()
    app = an_app([], codes=codes)
    browser = a_browser(app, base=f"http://{LAN}:8741", peer="192.168.7.20")
    assert browser.get("/").status_code == 403
    origin = {"Origin": f"http://{LAN}:8741"}
    assert browser.post("/code", data={"code": codes.issue()}, headers=origin).status_code == 303
    assert browser.get("/").text == "the record"
    assert browser.get("/", headers={"Host": "studio.example"}).status_code == 400
    outside = a_browser(app, base=f"http://{LAN}:8741", peer="9.8.7.6")
    assert outside.get("/").text == "Only this machine is answered."


@pytest.mark.parametrize("origin", [*FOREIGN_ORIGINS, None])
def test_what_another_page_sends_is_refused(app: Starlette, origin: str | None) -> None:
    headers = {} if origin is None else {"Origin": origin}
    assert a_browser(app).post("/", headers=headers).status_code == 403
    with pytest.raises(WebSocketDisconnect):
        over_socket(app, headers)


def test_what_its_own_page_sends_is_taken(app: Starlette) -> None:
    assert a_browser(app).post("/", headers={"Origin": HERE}).text == "the record"
    assert over_socket(app, {"Origin": HERE}) == "the record"


@pytest.mark.parametrize("path", ["/_stcore/metrics", "/_stcore/agent/interact"])
def test_doors_that_nobody_needs_are_shut(app: Starlette, path: str) -> None:
    assert a_browser(app).get(path).status_code == 404


def test_every_answer_keeps_the_browser_here(app: Starlette) -> None:
    for path, headers in (("/", {}), ("/nothing", {}), ("/", {"Host": "studio.example"})):
        answer = a_browser(app).get(path, headers=headers)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "http:" not in policy and "https:" not in policy and "*" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("host", ["127.0.0.1; script-src *", "a b", "x'y", "evil,ws://b"])
def test_a_host_cannot_write_the_policy(app: Starlette, host: str) -> None:
    policy = a_browser(app).get("/", headers={"Host": host}).headers["content-security-policy"]
    assert "connect-src 'self' ; " in policy
    assert "*" not in policy


def test_an_address_of_the_longer_kind_is_answered() -> None:
    base = "http://[fd00::5]:8741"  # a unique local address, RFC 4193
    app = Starlette(
        routes=[Route("/", lambda request: PlainTextResponse("the record"))],
        middleware=guards(shared_as=["fd00::5"]),
    )
    assert a_browser(app, base=base, peer="fd00::9").get("/").text == "the record"
    assert a_browser(app, base="http://[fd00::6]:8741", peer="fd00::9").get("/").status_code == 400
