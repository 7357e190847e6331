"""``grader review`` as it is started: this machine only, clear words where it cannot start."""

from __future__ import annotations

import argparse
import json
import re
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import httpx2
import numpy as np
import pytest

from grader.errors import GraderError, UsageError
from grader.record.add import take_photos
from grader.record.errors import NewerRecordError, NoRecordError
from grader.record.studio import init_studio
from grader.review.cli import add_commands
from grader.review.codes import Codes
from grader.review.serve import app_parts, review
from tests.review.running import WATCH, Running, running, started
from tests.review.server import a_picture, a_studio

ONLY_A_PAGE = """
from pathlib import Path
serve.SCRIPT = Path({script!r})
"""


@pytest.fixture(autouse=True)
def _environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRADER_STUDIO", "put back after the test")


def a_page(folder: Path) -> str:
    """Return the change that shows a page of the test instead of the review."""
    script = folder / "script.py"
    script.write_text("import streamlit as st\nst.title('A page')\n", encoding="utf-8")
    return ONLY_A_PAGE.format(script=str(script))


def get(command: Running, path: str, **headers: str) -> httpx2.Response:
    return httpx2.get(command.address + path, headers=headers, timeout=30)


def test_it_serves_pages_and_photos_to_this_machine(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    words = ["review", str(studio.folder), "--port", "0", "--no-browser"]
    with running(words, change=a_page(tmp_path)) as command:
        assert command.address.startswith("http://127.0.0.1:")
        assert get(command, "/").status_code == 200
        assert get(command, "/photo/1").headers["content-type"] == "image/jpeg"
        assert get(command, "/photo/1/320").headers["content-type"] == "image/webp"
        assert get(command, "/photo/1", Host="studio.example").status_code == 400
        assert get(command, "/_stcore/metrics").status_code == 404
        assert get(command, "/..%2frecord.sqlite").content[:6] != b"SQLite"
        assert listening(command.process.pid) <= {"127.0.0.1"}
        address = command.address
    assert command.process.returncode == 0
    assert "Ended. All that was said is kept." in command.text
    with pytest.raises(httpx2.HTTPError):
        httpx2.get(address, timeout=5)


def test_it_can_be_ended_as_soon_as_it_has_said_how(tmp_path: Path) -> None:
    words = ["review", str(a_studio(tmp_path).folder), "--port", "0", "--no-browser"]
    # What serves is still being loaded then, on a busy machine for a while.
    slow = "import time\nserve._run = lambda *_, **__: time.sleep(60)\n"
    with running(words, change=slow) as command:
        command.said("Ctrl-C ends it.")
    assert command.process.returncode == 0
    assert "Traceback" not in command.text


def test_shared_it_serves_nothing_without_the_code(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    words = ["review", str(studio.folder), "--port", "0", "--no-browser", "--share"]
    with running([*words, "--address", "127.0.0.1"], change=a_page(tmp_path)) as command:
        code = command.code
        for path in ("/", "/shoot", "/photo/1", "/photo/1/320", "/_stcore/health", "/favicon.png"):
            answer = get(command, path)
            assert answer.status_code == 403 and answer.text == "The code is missing."
        with httpx2.Client(base_url=command.address, timeout=30) as phone:
            sent = {"Origin": command.address}
            assert phone.post("/code", data={"code": code}, headers=sent).status_code == 303
            assert phone.get("/photo/1").status_code == 200
            assert phone.get("/_stcore/health").status_code == 200
        command.said("A device was let in")
        assert command.code != code
    assert "not encrypted" in command.text


def test_nothing_leaves_the_machine(tmp_path: Path) -> None:
    """Streamlit asks the internet for its own address when a foreign page opens a websocket."""
    studio = a_studio(tmp_path)
    words = ["review", str(studio.folder), "--port", "0", "--no-browser"]
    with running(words, change=WATCH + a_page(tmp_path)) as command:
        upgrade = {
            "Connection": "Upgrade",
            "Upgrade": "websocket",
            "Sec-WebSocket-Version": "13",
            "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # the example of RFC 6455, 1.3
        }
        for origin in ("http://studio.example", "null", "https://studio.example"):
            refused = get(command, "/_stcore/stream", Origin=origin, **upgrade)
            assert refused.status_code == 403
        for path in ("/", "/_stcore/health", "/_stcore/host-config", "/photo/1", "/shoot"):
            assert get(command, path).status_code == 200
    assert command.process.returncode == 0
    assert "REACHED" not in command.text


def test_the_watch_would_see_it(tmp_path: Path) -> None:
    reach = "import socket\nsocket.socket(type=socket.SOCK_DGRAM).connect(('192.0.2.1', 9))\n"
    words = ["review", str(tmp_path / "none"), "--no-browser"]
    with running(words, change=WATCH + reach) as command:
        command.said("REACHED socket.connect 192.0.2.1")


_FLAT_MB = 24
"""What the memory may grow by after the first rounds: the photos alone, if they were kept, would
be several times as much."""


_WAIT_S = 0.03
"""Less than the 40 ms for which the other side may put off confirming what it has got (common
practice of TCP): no photo may wait for that."""


def test_memory_stays_flat_and_no_photo_waits_over_five_hundred_pieces(tmp_path: Path) -> None:
    """Each piece: its thumbnail and the photo itself."""
    if not Path("/proc/self/status").is_file():
        pytest.skip("this system does not tell a process's memory so")
    photos = 20
    studio = init_studio(tmp_path / "studio")
    for number in range(photos):
        photo = a_picture(tmp_path / f"{number}.jpg", seed=number, size=(1200, 900))
        take_photos(studio, f"K{number}", [(photo, "front")], label="today")
    words = ["review", str(studio.folder), "--port", "0", "--no-browser"]
    with (
        running(words, change=a_page(tmp_path)) as command,
        httpx2.Client(base_url=command.address, timeout=60) as browser,
    ):
        seen, before, took_s = 0, 0, []
        for piece in range(500):
            number = piece % photos + 1
            for size in ("/320", ""):
                begun = time.perf_counter()
                seen += len(browser.get(f"/photo/{number}{size}").content)
                took_s.append(time.perf_counter() - begun)
            if piece == 2 * photos:
                before, seen = memory_mb(command.process.pid), 0
        assert seen > 4 * _FLAT_MB * 2**20
        assert memory_mb(command.process.pid) - before < _FLAT_MB
        assert np.median(took_s) < _WAIT_S


_WALK = """
import json, re, sys
from starlette.testclient import TestClient, WebSocketDenialResponse
from starlette.routing import Mount, WebSocketRoute
from starlette.websockets import WebSocketDisconnect
from streamlit import App
from grader.review.codes import Codes
from grader.review.serve import app_parts

codes = Codes()
codes.issue()
app = App(**app_parts([sys.argv[1]], shared_as="192.168.7.5", codes=codes))
inner = app._build_starlette_app()
base = "http://192.168.7.5:8741"
phone = TestClient(inner, base_url=base, client=("192.168.7.20", 50000), follow_redirects=False)
answers = []
for route in inner.routes:
    path = re.sub(r"{[^}]*:int}", "1", route.path)
    path = re.sub(r"{[^}]*}", "x", path) or "/"
    if isinstance(route, WebSocketRoute):
        try:
            with phone.websocket_connect("ws" + base[4:] + path, headers={"Origin": base}):
                answers.append((route.path, "WEBSOCKET", 101, ""))
        except WebSocketDisconnect:
            answers.append((route.path, "WEBSOCKET", 403, ""))
        continue
    for method in ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"):
        for accept in ("text/html", "image/*"):
            headers = {"Origin": base, "Accept": accept}
            answer = phone.request(method, path, headers=headers)
            answers.append((route.path, method, answer.status_code, answer.text))
print("ANSWERS" + json.dumps(answers))
"""


def test_no_route_of_all_answers_without_the_code(tmp_path: Path) -> None:
    """Of the pages' server as well, whatever routes its next version brings."""
    studio = a_studio(tmp_path)
    walked = subprocess.run(
        [sys.executable, "-c", _WALK, str(studio.folder)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent.parent.parent,
    )
    answers = json.loads(walked.stdout.partition("ANSWERS")[2])
    paths = {path for path, *_ in answers}
    assert {"/photo/{photo_id:int}", "/shoot/photo", "/_stcore/stream", ""} <= paths
    assert len(paths) > 12
    for path, method, status, text in answers:
        shut = path.startswith(("/_stcore/metrics", "/_stcore/agent"))
        assert status == (404 if shut else 403), (path, method)
        assert (
            text in ("", "The code is missing.", "There is no such page.")
            or "<h1>The code, please</h1>" in text
        ), (path, method)
        assert "K01" not in text and "Ormsedge" not in text and "Streamlit" not in text


@pytest.mark.parametrize("options", [[], ["--server.address", "0.0.0.0"]])
def test_streamlit_run_shows_the_same_to_this_machine_only(
    tmp_path: Path, options: list[str]
) -> None:
    studio = a_studio(tmp_path)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    words = ["streamlit", "run", "app.py", "--server.port", str(port), *options, "--"]
    with started([*words, str(studio.folder)]) as command:
        command.said(r"view your Streamlit app")
        address = f"http://127.0.0.1:{port}"
        transport = httpx2.HTTPTransport(retries=20)
        with httpx2.Client(base_url=address, transport=transport, timeout=30) as browser:
            assert browser.get("/photo/1").headers["content-type"] == "image/jpeg"
            assert browser.get("/").status_code == 200
            refused = browser.get("/photo/1", headers={"Host": "studio.example"})
            assert refused.status_code == 400


def test_without_a_studio_it_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(NoRecordError, match="grader init"):
        review(tmp_path, browser=False)


def test_a_newer_record_is_left_alone(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    with closing(sqlite3.connect(studio.record)) as db:
        db.execute("PRAGMA user_version = 9999")
    with pytest.raises(NewerRecordError, match="Update the program"):
        review(studio.folder, browser=False)


def test_a_taken_port_is_said_with_another_one(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(UsageError, match=f"--port {port + 1}"):
            review(studio.folder, port=port, browser=False)


def test_an_address_of_another_machine_cannot_be_shared(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    with pytest.raises(GraderError, match="not an address of this machine"):
        review(studio.folder, port=0, share=True, address="198.51.100.7", browser=False)


def test_nothing_is_shared_without_codes(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="codes"):
        app_parts([str(tmp_path)], shared_as="192.168.7.5")
    parts = app_parts([str(tmp_path)], shared_as="192.168.7.5", codes=Codes())
    assert [each.cls.__name__ for each in parts["middleware"]] == [
        "Guard",
        "TrustedHostMiddleware",
        "OwnOrigin",
        "Gate",
    ]


@pytest.mark.parametrize("words", [["--port", "70000"], ["--port", "x"], ["--port", "-1"]])
def test_a_port_that_is_none_is_refused(words: list[str]) -> None:
    parser = argparse.ArgumentParser()
    add_commands(parser.add_subparsers())
    with pytest.raises(SystemExit):
        parser.parse_args(["review", *words])


def test_an_address_without_sharing_is_a_mistake() -> None:
    parser = argparse.ArgumentParser()
    add_commands(parser.add_subparsers())
    values = parser.parse_args(["review", "--address", "192.168.7.5"])
    with pytest.raises(UsageError, match="--share"):
        values.command(values)


@pytest.mark.parametrize(
    ("words", "folder"),
    [(["--studio", "a"], Path("a")), (["a"], Path("a")), ([], None)],
)
def test_the_studio_is_named_as_for_every_other_command(
    words: list[str], folder: Path | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = []
    monkeypatch.setattr("grader.review.serve.review", lambda folder, **_: opened.append(folder))
    parser = argparse.ArgumentParser()
    add_commands(parser.add_subparsers())
    values = parser.parse_args(["review", *words])
    values.command(values)
    assert opened == [folder]


def test_two_studios_are_a_mistake() -> None:
    parser = argparse.ArgumentParser()
    add_commands(parser.add_subparsers())
    values = parser.parse_args(["review", "a", "--studio", "b"])
    with pytest.raises(UsageError, match="two studio folders"):
        values.command(values)


def test_the_default_port_is_one_and_the_same() -> None:
    from grader.review import cli, serve

    assert cli._PORT == serve.PORT


def memory_mb(pid: int) -> int:
    """Return the memory that a process holds now (VmRSS of Linux)."""
    found = re.search(r"^VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text(), re.M)
    assert found
    return int(found[1]) // 1024


def listening(pid: int) -> set[str]:
    """Return the addresses at which a process listens, from Linux's table of sockets."""
    table = Path(f"/proc/{pid}/net/tcp")
    if not table.is_file():
        pytest.skip("this system does not show its sockets so")
    own = set()
    for handle in Path(f"/proc/{pid}/fd").iterdir():
        target = str(handle.readlink()) if handle.is_symlink() else ""
        own |= set(re.findall(r"socket:\[(\d+)\]", target))
    found = set()
    for name in ("tcp", "tcp6"):
        for line in Path(f"/proc/{pid}/net/{name}").read_text().splitlines()[1:]:
            columns = line.split()
            if columns[3] == "0A" and columns[9] in own:  # 0A: listening
                host = columns[1].split(":")[0]
                found.add(socket.inet_ntoa(bytes.fromhex(host)[::-1]) if len(host) == 8 else host)
    assert found
    return found
