"""A photo goes to disk while it comes in, whole and small in memory, and nothing stays behind."""

from __future__ import annotations

import asyncio
import os
import time
import tracemalloc
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.requests import ClientDisconnect, Request
from starlette.types import Message

from grader.errors import PhotoError, UsageError
from grader.review import uploads
from grader.review.uploads import received, small_form

_LINE = b"\r\n"
KIND = "multipart/form-data; boundary=line"


def part(name: str, content: bytes, *, file: str | None = None) -> bytes:
    head = f'Content-Disposition: form-data; name="{name}"'
    if file is not None:
        head += f'; filename="{file}"'
    return b"--line\r\n" + head.encode() + _LINE * 2 + content + _LINE


END = b"--line--\r\n"


def a_request(chunks: list[bytes], *, kind: str = KIND, cut: bool = False) -> Request:
    async def stream() -> AsyncIterator[Message]:
        for count, chunk in enumerate(chunks, start=1):
            more = cut or count < len(chunks)
            yield {"type": "http.request", "body": chunk, "more_body": more}
        yield {"type": "http.disconnect"}

    messages = stream()
    headers = [(b"content-type", kind.encode())]
    scope = {"type": "http", "method": "POST", "path": "/", "headers": headers}
    return Request(scope, lambda: anext(messages))  # type: ignore[arg-type]


def take(request: Request, folder: Path) -> tuple[dict[str, str], bytes | None]:
    async def inside() -> tuple[dict[str, str], bytes | None]:
        async with received(request, folder) as form:
            assert form.photo is None or form.photo.resolve().is_relative_to(folder.resolve())
            return dict(form.fields), form.photo.read_bytes() if form.photo else None

    return asyncio.run(inside())


def left_in(folder: Path) -> list[Path]:
    return list(folder.rglob("*")) if folder.exists() else []


def test_words_and_photo_come_in(tmp_path: Path) -> None:
    body = part("code", "K07 é".encode()) + part("photo", b"pixels", file="IMG_1.HEIC") + END
    assert take(a_request([body]), tmp_path / "in") == ({"code": "K07 é"}, b"pixels")
    assert left_in(tmp_path / "in") == []


@given(content=st.binary(min_size=1, max_size=400), sizes=st.lists(st.integers(1, 60), min_size=1))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_however_it_is_cut_it_comes_in_whole(
    tmp_path: Path, content: bytes, sizes: list[int]
) -> None:
    if b"\r\n--line" in content or content.startswith(b"--line"):
        return
    body = part("code", b"K07") + part("photo", content, file="x.jpg") + END
    chunks, at = [], 0
    for count in range(len(body)):
        if at >= len(body):
            break
        size = sizes[count % len(sizes)]
        chunks.append(body[at : at + size])
        at += size
    assert take(a_request(chunks), tmp_path / "in") == ({"code": "K07"}, content)


@pytest.mark.parametrize("name", ["../../x.jpg", "/etc/x", "..\\x", "<b>x</b>.jpg", "=1+1", "."])
def test_the_name_of_the_file_leads_nowhere(tmp_path: Path, name: str) -> None:
    body = part("photo", b"pixels", file=name) + END
    assert take(a_request([body]), tmp_path / "a" / "in") == ({}, b"pixels")
    assert left_in(tmp_path) == [tmp_path / "a", tmp_path / "a" / "in"] or not any(
        path.is_file() for path in left_in(tmp_path)
    )


def test_a_camera_that_was_closed_again_gives_no_photo(tmp_path: Path) -> None:
    body = part("code", b"K07") + part("photo", b"", file="") + END
    assert take(a_request([body]), tmp_path / "in") == ({"code": "K07"}, None)


def test_one_too_large_is_refused_and_not_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "MOST_BYTES", 10_000)
    chunks = [part("photo", b"", file="x.jpg")[:-2], *[b"x" * 1000] * 30, _LINE + END]
    with pytest.raises(PhotoError, match="larger than"):
        take(a_request(chunks), tmp_path / "in")
    assert left_in(tmp_path / "in") == []


def test_a_broken_line_leaves_nothing(tmp_path: Path) -> None:
    chunks = [part("photo", b"half a photo", file="x.jpg")]
    with pytest.raises(ClientDisconnect):
        take(a_request(chunks, cut=True), tmp_path / "in")
    assert left_in(tmp_path / "in") == []


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("application/json", b"{}"),
        ("multipart/form-data", b""),
        ("text/plain", b"x"),
        (KIND, b"no part at all"),
        (KIND, part("photo", b"pixels", file="x.jpg")),  # no end
        (KIND, part("code", b"x" * 5000) + END),
        (KIND, b"".join(part(f"n{k}", b"x") for k in range(40)) + END),
    ],
)
def test_what_is_no_such_form_is_refused(tmp_path: Path, kind: str, body: bytes) -> None:
    with pytest.raises(UsageError):
        take(a_request([body], kind=kind), tmp_path / "in")
    assert left_in(tmp_path / "in") == []


def test_memory_stays_small(tmp_path: Path) -> None:
    chunk = os.urandom(64 * 1024)
    head = part("photo", b"", file="x.jpg")[:-2]

    async def inside() -> int:
        async with received(
            a_request([head, *[chunk] * 480, _LINE + END]), tmp_path / "in"
        ) as form:
            assert form.photo is not None
            return form.photo.stat().st_size

    tracemalloc.start()
    try:
        assert asyncio.run(inside()) == 480 * len(chunk)  # 30 MB
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 2_000_000


def test_what_a_stop_left_is_swept_away(tmp_path: Path) -> None:
    old, new = tmp_path / "in" / "old", tmp_path / "in" / "new"
    for folder in (old, new):
        folder.mkdir(parents=True)
        (folder / "half").write_bytes(b"x")
    before = time.time() - 2 * 24 * 3600
    os.utime(old, (before, before))
    take(a_request([part("photo", b"pixels", file="x.jpg") + END]), tmp_path / "in")
    assert not old.exists() and new.exists()


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        (b"", {}),
        (b"code=1+2&code=3", {"code": "1 2"}),
        (b"code=%3Cb%3E&x=", {"code": "<b>"}),
        (b"\xff=\xfe", {"�": "�"}),
    ],
)
def test_a_small_form(body: bytes, fields: dict[str, str]) -> None:
    assert asyncio.run(small_form(a_request([body]))) == fields


def test_a_small_form_stays_small() -> None:
    with pytest.raises(UsageError):
        asyncio.run(small_form(a_request([b"a=" + b"x" * 1000] * 100)))
