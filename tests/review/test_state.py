"""What a window keeps, and that nothing which was said in it is lost."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.runtime.scriptrunner import RerunException
from streamlit.runtime.scriptrunner_utils.script_requests import RerunData

from grader.record.bench import piece_view
from grader.record.studio import init_studio
from grader.review import page_bench, page_clean, page_unload
from grader.review.said import Sitting
from grader.review.state import open_workshop
from tests.record.kit import a_batch, add, three_pieces


class Restless(dict[str, Any]):
    """A session's state that is wished away when it is asked first, as on a busy machine."""

    asked = False

    def _yield(self) -> None:
        if not self.asked:
            self.asked = True
            raise RerunException(RerunData())

    def __getitem__(self, key: str) -> Any:
        self._yield()
        return super().__getitem__(key)

    def get(self, key: str, default: Any = None) -> Any:
        self._yield()
        return super().get(key, default)

    def setdefault(self, key: str, default: Any = None) -> Any:
        self._yield()
        return super().setdefault(key, default)


def restless(monkeypatch: pytest.MonkeyPatch, **kept: Any) -> None:
    monkeypatch.setattr(st, "session_state", Restless(sitting=Sitting("a window"), **kept))


def test_what_is_said_while_the_page_is_to_begin_anew_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio = init_studio(tmp_path / "studio")
    add(studio, a_batch(tmp_path / "20 November", three_pieces()))
    workshop = open_workshop(studio.folder)
    act = {"number": 1, "do": "grade", "code": "K02", "grade": "second", "seen": None}
    restless(monkeypatch, bench={"said": {"load": "x", "acts": [act]}})
    with pytest.raises(RerunException):  # which the framework then follows
        page_bench._carry_out(workshop)
    assert piece_view(studio, "K02").said.grade == "second"

    restless(monkeypatch, clean_sheet={"pass": {"K01": piece_view(studio, "K01").state_id}})
    with pytest.raises(RerunException):
        page_clean._pass(workshop)
    assert piece_view(studio, "K01").said.grade == "first"

    photos = [photo.id for photo in piece_view(studio, "K03").photos]
    act = {"do": "move", "photos": photos[:1], "code": "N9", "turn": 1}
    restless(monkeypatch, sorter={"act": act, "back": {"turn": 2}})
    with pytest.raises(RerunException):
        page_unload._sort(studio)
    page_unload._sort(studio)  # sent again, it is not done again
    assert [photo.id for photo in piece_view(studio, "N9").photos] == photos[:1]
    assert len(st.session_state["sorted"].steps) == 1
    with pytest.raises(RerunException):
        st.session_state.asked = False
        page_unload._unsort(studio)
    assert len(piece_view(studio, "K03").photos) == len(photos)
