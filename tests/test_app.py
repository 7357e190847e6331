"""The door to the pages says what to do, and shows a graded batch."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from grader.output import PAGE_NAME

APP = Path(__file__).parent.parent / "app.py"


def opened(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setattr(sys, "argv", ["app.py", str(folder)])
    app = AppTest.from_file(str(APP), default_timeout=30).run()
    assert not app.exception
    return app


def test_without_a_batch_it_says_how_to_grade(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = opened(tmp_path, monkeypatch)
    assert any("grader grade PHOTOS" in code.value for code in app.code)


def test_a_graded_batch_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / PAGE_NAME).write_text("<!DOCTYPE html><p>Batch</p>")
    app = opened(tmp_path, monkeypatch)
    assert not app.code
    assert app.get("iframe")
