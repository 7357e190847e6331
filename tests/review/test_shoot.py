"""The plain pages for taking photos: a form for each side, advice at once, words as words."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from grader.record.bench import aside_photos
from grader.record.queries import batches, piece_list
from grader.record.studio import Studio, init_studio
from grader.review import uploads
from grader.review.codes import Codes
from grader.review.routes import photo_routes
from grader.review.shoot import piece_url, shoot_routes
from tests.review.server import HERE, LAN, a_browser, a_picture, an_app

SENT = {"Origin": HERE}


class Phone:
    """A phone that takes photos into a studio."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.studio: Studio = init_studio(folder / "studio", name="Ormsedge Pottery")
        self.app = an_app([*photo_routes(self.studio), *shoot_routes(self.studio)])
        self.browser: TestClient = a_browser(self.app)
        self.taken = 0

    def page(self, url: str) -> str:
        answer = self.browser.get(url)
        assert answer.status_code == 200
        return answer.text

    def token(self, url: str = "/shoot/piece?code=K07") -> str:
        found = re.search(r'name="token" value="([0-9a-f]{64})"', self.page(url))
        assert found
        return found[1]

    def send(self, code: str, view: str, content: bytes | None = None, **fields: str) -> TestClient:
        self.taken += 1
        if content is None:
            content = a_picture(self.folder / "x.jpg", seed=self.taken).read_bytes()
        self.answer = self.browser.post(
            "/shoot/photo",
            data={"token": fields.pop("token", None) or self.token(), "code": code, "view": view}
            | fields,
            files={"photo": ("IMG_0001.JPG", content, "image/jpeg")},
            headers=SENT,
        )
        return self.browser


@pytest.fixture
def phone(tmp_path: Path) -> Phone:
    return Phone(tmp_path)


def shown(page: str) -> str:
    """The text of a page as it is read."""
    body = page.partition("<body>")[2].partition("<script")[0]
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", body)))


def test_an_empty_record_says_how_to_begin(phone: Phone) -> None:
    text = shown(phone.page("/shoot"))
    assert "No piece is photographed yet" in text
    assert "wear gloves" in text


def test_a_new_piece_offers_its_sides(phone: Phone) -> None:
    page = phone.page("/shoot/piece?code=K07")
    assert "Next: front" in shown(page)
    assert page.count('accept="image/*" capture="environment"') == 6
    for view in ("front", "right", "back", "left", "inside", "foot"):
        assert f'name="view" value="{view}"' in page


def test_a_photo_is_kept_and_looked_at_at_once(phone: Phone) -> None:
    phone.send("K07", "front")
    assert phone.answer.status_code == 303
    assert phone.answer.headers["location"] == "/shoot/piece?code=K07&kept=1"
    text = shown(phone.page(phone.answer.headers["location"]))
    assert "Front is kept." in text
    assert "Take it again:" in text or "Advice:" in text  # noise is no pot
    assert "Take the front again" in text
    assert "Next: right" in text
    listed = shown(phone.page("/shoot"))
    assert "K07 1 photo, still to take: right, back, left" in listed
    assert "Take again: front" in listed


def test_a_retake_replaces_and_loses_nothing(phone: Phone) -> None:
    phone.send("K07", "front")
    phone.send("K07", "front", instead="1")
    assert [photo.id for photo in aside_photos(phone.studio)] == [1]
    page = phone.page("/shoot/piece?code=K07")
    assert "/photo/2/320" in page and "/photo/1/320" not in page


def test_the_next_piece_follows(phone: Phone) -> None:
    phone.send("K07", "front")
    assert "Next piece, K08" in shown(phone.page("/shoot/piece?code=K07"))
    assert 'value="K08"' in phone.page("/shoot")


def test_a_batch_is_finished(phone: Phone) -> None:
    phone.send("K07", "front")
    assert "All pieces are photographed" in shown(phone.page("/shoot"))
    form = {"token": phone.token(), "batch": "1"}
    assert phone.browser.post("/shoot/done", data=form, headers=SENT).status_code == 303
    assert "This batch is complete" in shown(phone.page("/shoot"))
    assert batches(phone.studio)[0].complete
    form["batch"] = "77"
    assert phone.browser.post("/shoot/done", data=form, headers=SENT).status_code == 400


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "No photo was chosen"),
        (b"%PDF-1.7", "not a photo that can be read"),
        (b"<svg onload=alert(1)>", "not a photo that can be read"),
        (b"\xff\xd8\xff\xe0 cut short", "damaged or was cut short"),
    ],
)
def test_what_is_no_photo_is_said_and_not_kept(phone: Phone, content: bytes, said: str) -> None:
    phone.send("K07", "front", content)
    assert phone.answer.status_code == 400
    assert said in shown(phone.answer.text)
    assert "Back to K07" in shown(phone.answer.text)
    assert piece_list(phone.studio) == ()
    assert not list((phone.studio.folder / ".incoming").iterdir())


def test_one_too_large_is_said(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_BYTES", 3_000_000)
    phone.send("K07", "front", b"\xff\xd8\xff" + b"x" * 4_000_000)
    assert phone.answer.status_code == 400
    assert "The file is larger than 2 MB" in shown(phone.answer.text)


def test_no_place_of_this_machine_is_told(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    phone.studio.record.write_bytes(b"no record any more")
    answer = phone.browser.get("/shoot")
    assert answer.status_code == 400
    assert "damaged" in answer.text
    assert str(phone.folder) not in answer.text


@pytest.mark.parametrize("name", ["<b>x</b>", "=1+1", "../../x", '"><script>alert(1)</script>'])
def test_names_are_words(phone: Phone, name: str) -> None:
    phone.send(name, "front")
    assert phone.answer.status_code == 303
    pages = [phone.page(url) for url in ("/shoot", piece_url(name), piece_url(name, kept=1))]
    for page in pages:
        assert name in shown(page).replace("  ", " ") or html.escape(name) in page
        assert "<b>x</b>" not in page and "<script>alert" not in page
    assert [row.code for row in piece_list(phone.studio)] == [name]
    outside = [path for path in phone.folder.rglob("x") if "studio" not in path.parts]
    assert outside == []


@pytest.mark.parametrize("code", ["", "%20", "x" * 100])
def test_what_is_no_code_is_said(phone: Phone, code: str) -> None:
    answer = phone.browser.get(f"/shoot/piece?code={code}")
    assert answer.status_code == 400
    assert "needs a code" in answer.text


@pytest.mark.parametrize("number", ["", "0", "-1", "x", "9" * 40, "1 OR 1", "٣"])
def test_a_batch_that_is_none_shows_something(phone: Phone, number: str) -> None:
    phone.page(f"/shoot?batch={number}")


@pytest.mark.parametrize("token", ["x", "0" * 64, "ü"])
def test_without_the_token_of_its_page_nothing_is_taken(phone: Phone, token: str) -> None:
    phone.send("K07", "front", token=token)
    assert phone.answer.status_code == 400
    assert "started anew" in phone.answer.text
    assert piece_list(phone.studio) == ()


@pytest.mark.parametrize("origin", [None, "null", "http://studio.example"])
def test_from_another_page_nothing_is_taken(phone: Phone, origin: str | None) -> None:
    token = phone.token()
    content = a_picture(phone.folder / "x.jpg").read_bytes()
    for path in ("/shoot/photo", "/shoot/done"):
        answer = phone.browser.post(
            path,
            data={"token": token, "code": "K07", "view": "front", "batch": "1"},
            files={"photo": ("x.jpg", content)},
            headers={} if origin is None else {"Origin": origin},
        )
        assert answer.status_code == 403
    assert piece_list(phone.studio) == ()


def test_a_token_belongs_to_one_session(tmp_path: Path) -> None:
    studio = init_studio(tmp_path / "studio")
    codes = Codes()
    app = an_app(shoot_routes(studio), codes=codes)
    base = f"http://{LAN}:8741"
    tokens = []
    for _ in range(2):
        phone = a_browser(app, base=base, peer="192.168.7.20")
        assert phone.get("/shoot/piece?code=K07").status_code == 403
        phone.post("/code", data={"code": codes.issue()}, headers={"Origin": base})
        page = phone.get("/shoot/piece?code=K07").text
        tokens += re.findall(r'name="token" value="([0-9a-f]{64})"', page)[:1]
    assert len(set(tokens)) == 2
    content = a_picture(tmp_path / "x.jpg").read_bytes()
    answer = phone.post(
        "/shoot/photo",
        data={"token": tokens[0], "code": "K07", "view": "front"},
        files={"photo": ("x.jpg", content)},
        headers={"Origin": base},
    )
    assert answer.status_code == 400
    assert piece_list(studio) == ()


def test_the_pages_let_nothing_else_run(phone: Phone) -> None:
    for url in ("/shoot", "/shoot/piece?code=K07", "/shoot/piece?code="):
        answer = phone.browser.get(url)
        policy = answer.headers["content-security-policy"]
        found = re.search(r"script-src 'nonce-([\w-]+)'", policy)
        assert found and "unsafe" not in policy and "default-src 'none'" in policy
        assert all(found[1] in tag for tag in re.findall(r"<(?:script|style)[^>]*>", answer.text))
        assert not re.search(r'\son\w+="|style="|(?:src|href|action)="(?!/|data:,)', answer.text)
        assert answer.headers["cache-control"] == "no-store"


def test_without_a_studio_it_says_so(tmp_path: Path) -> None:
    browser = a_browser(an_app(shoot_routes(Studio(tmp_path))))
    answer = browser.get("/shoot")
    assert answer.status_code == 400
    assert "cannot be opened" in answer.text
