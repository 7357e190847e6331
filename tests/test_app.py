"""The door is thin: Streamlit finds the application of the package behind it."""

from __future__ import annotations

import os
import runpy
import sys
from pathlib import Path

import pytest
from streamlit.web.server.app_discovery import discover_asgi_app

from grader.record.studio import PLACE_VARIABLE

APP = Path(__file__).parent.parent / "app.py"


def test_streamlit_finds_the_application() -> None:
    """Else it would run the file as a page, without the photos and without the guards."""
    found = discover_asgi_app(APP)
    assert found.is_asgi_app
    assert found.import_string == "app:app"


def test_it_opens_the_folder_that_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PLACE_VARIABLE, "elsewhere")
    monkeypatch.setattr(sys, "argv", [str(APP), str(tmp_path)])
    app = runpy.run_path(str(APP))["app"]
    assert app.script_path.name == "script.py"
    assert os.environ[PLACE_VARIABLE] == str(tmp_path.resolve())
