"""Photos come by number, upright, in a kind that browsers show, and no other file does."""

from __future__ import annotations

import io
from pathlib import Path
from urllib.parse import quote

import pillow_heif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image

from grader.record.add import take_photos
from grader.record.bench import photo_by_id
from grader.record.grouping import turn_photo
from grader.record.photos import photo_file
from grader.record.studio import Studio, init_studio
from grader.review.routes import LONG_SIDES_PX, photo_routes, photo_url
from tests.review.server import a_browser, a_picture, a_studio, an_app


def shown(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def url_of(studio: Studio, photo_id: int, long_side: int | None = None) -> str:
    photo = photo_by_id(studio, photo_id)
    assert photo is not None
    return photo_url(photo, long_side)


def test_a_photo_comes_as_it_was_taken_in(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    browser = a_browser(an_app(photo_routes(studio)))
    answer = browser.get("/photo/1")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.content == (tmp_path / "source" / "front.jpg").read_bytes()


@pytest.mark.parametrize("long_side", LONG_SIDES_PX)
def test_copies_have_the_long_side_asked_for(tmp_path: Path, long_side: int) -> None:
    studio = init_studio(tmp_path / "studio")
    path = a_picture(tmp_path / "front.jpg", size=(1800, 1200))
    take_photos(studio, "K01", [(path, "front")], label="today")
    answer = a_browser(an_app(photo_routes(studio))).get(f"/photo/1/{long_side}")
    assert answer.headers["content-type"] == "image/webp"
    assert shown(answer.content).size == (long_side, round(long_side * 2 / 3))


@pytest.mark.parametrize("ending", [".heic", ".tiff"])
def test_what_browsers_cannot_show_is_converted(tmp_path: Path, ending: str) -> None:
    pillow_heif.register_heif_opener()
    studio = a_studio(tmp_path, [("K01", f"front{ending}")])
    answer = a_browser(an_app(photo_routes(studio))).get("/photo/1")
    assert answer.headers["content-type"] == "image/jpeg"
    assert shown(answer.content).size == (240, 180)


def test_a_name_that_claims_another_kind_is_not_believed(tmp_path: Path) -> None:
    pillow_heif.register_heif_opener()
    studio = init_studio(tmp_path / "studio")
    heic = a_picture(tmp_path / "front.heic")
    take_photos(studio, "K01", [(heic.rename(tmp_path / "front.jpg"), "front")], label="today")
    answer = a_browser(an_app(photo_routes(studio))).get("/photo/1")
    assert answer.headers["content-type"] == "image/webp"
    assert shown(answer.content).size == (240, 180)


def test_copies_are_upright(tmp_path: Path) -> None:
    studio = init_studio(tmp_path / "studio")
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # the camera lay on its side
    path = tmp_path / "front.jpg"
    Image.new("RGB", (240, 180), "tan").save(path, exif=exif)
    take_photos(studio, "K01", [(path, "front")], label="today")
    browser = a_browser(an_app(photo_routes(studio)))
    assert shown(browser.get("/photo/1/320").content).size == (180, 240)
    # The original keeps its mark, which every browser heeds.
    assert shown(browser.get("/photo/1").content).getexif()[ExifTags.Base.Orientation] == 6


def test_a_turned_photo_has_another_address(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    browser = a_browser(an_app(photo_routes(studio)))
    before = url_of(studio, 1)
    assert "immutable" in browser.get(before).headers["cache-control"]
    turn_photo(studio, 1, 90)
    after = url_of(studio, 1)
    assert after != before
    answer = browser.get(after)
    assert "immutable" in answer.headers["cache-control"]
    assert shown(answer.content).size == (180, 240)
    # Who still has the old address gets the photo as it is now, and has to ask each time.
    assert "no-cache" in browser.get(before).headers["cache-control"]


def test_another_studio_has_other_addresses(tmp_path: Path) -> None:
    one = a_studio(tmp_path / "one", [("K01", "front.jpg"), ("K01", "back.jpg")])
    two = a_studio(tmp_path / "two", [("K01", "front.jpg"), ("K02", "front.png")])
    assert url_of(one, 1) == url_of(two, 1)  # the same photo may well be kept
    assert url_of(one, 2) != url_of(two, 2)


def test_what_the_browser_has_is_not_sent_again(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    browser = a_browser(an_app(photo_routes(studio)))
    for url in ("/photo/1", "/photo/1/320"):
        first = browser.get(url)
        assert first.headers["cache-control"] == "private, no-cache"
        etag = first.headers["etag"]
        for known in (etag, f'W/{etag}, "other"', "*"):
            again = browser.get(url, headers={"If-None-Match": known})
            assert (again.status_code, again.content) == (304, b"")
            assert again.headers["etag"] == etag
        assert browser.get(url, headers={"If-None-Match": '"other"'}).status_code == 200


def test_unknown_numbers_and_sizes_are_not_found(tmp_path: Path) -> None:
    browser = a_browser(an_app(photo_routes(a_studio(tmp_path))))
    for path in (
        "/photo/2",
        "/photo/0",
        "/photo/1/321",
        "/photo/1/0",
        "/photo/9223372036854775808",
    ):
        assert browser.get(path).status_code == 404


def test_without_a_record_nothing_is_found(tmp_path: Path) -> None:
    browser = a_browser(an_app(photo_routes(Studio(tmp_path))))
    assert browser.get("/photo/1").status_code == 404


def test_a_missing_file_is_said_and_comes_back(tmp_path: Path) -> None:
    studio = a_studio(tmp_path)
    browser = a_browser(an_app(photo_routes(studio)))
    assert browser.get("/photo/1/320").status_code == 200
    photo = photo_by_id(studio, 1)
    assert photo is not None
    file = photo_file(studio, photo.file)
    content = file.read_bytes()
    file.unlink()
    for copy in studio.previews.rglob("*.webp"):
        copy.unlink()
    answer = browser.get("/photo/1/320")
    assert answer.status_code == 404
    assert str(tmp_path) not in answer.text
    assert browser.get("/photo/1").status_code == 404
    file.write_bytes(content)
    assert browser.get("/photo/1/320").status_code == 200


_ODD = st.one_of(
    st.sampled_from(
        [
            "../record.sqlite",
            "..%2frecord.sqlite",
            "1/..%2f..%2frecord.sqlite",
            "1/320/../../record.sqlite",
            "%2e%2e/rules.toml",
            "1%00",
            "-1",
            "1e3",
            "٣",
            "//etc/passwd",
            "..\\..\\record.sqlite",
        ]
    ),
    st.text(max_size=30),
)


@given(rest=_ODD)
@settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_path_leads_out(tmp_path_factory: pytest.TempPathFactory, rest: str) -> None:
    studio = _once(tmp_path_factory)
    browser = a_browser(an_app(photo_routes(studio)), base="http://127.0.0.1:8741")
    answer = browser.get(f"/photo/{quote(rest, safe='/%')}")
    if answer.status_code == 200:
        assert answer.headers["content-type"] in ("image/jpeg", "image/webp")
    else:
        assert answer.status_code in (400, 404, 405)
        assert b"SQLite" not in answer.content


_made: list[Studio] = []


def _once(factory: pytest.TempPathFactory) -> Studio:
    if not _made:
        _made.append(a_studio(factory.mktemp("odd")))
    return _made[0]


@pytest.mark.parametrize("name", ["../../outside.jpg", "/etc/hostname"])
def test_a_record_that_names_a_file_outside_is_not_obeyed(tmp_path: Path, name: str) -> None:
    """Someone may hand over a studio folder with a record made to lead elsewhere."""
    studio = a_studio(tmp_path)
    a_picture(tmp_path / "outside.jpg")
    with studio.writing() as db:
        for (trigger,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'photos'"
        ).fetchall():
            db.execute(f"DROP TRIGGER {trigger}")
        db.execute("UPDATE photos SET file = ?", (name,))
    browser = a_browser(an_app(photo_routes(studio)))
    assert browser.get("/photo/1").status_code == 404
    assert browser.get("/photo/1/320").status_code == 404
