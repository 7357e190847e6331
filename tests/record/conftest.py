"""A fresh studio for each test."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.record.studio import Studio, init_studio


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    """An empty studio."""
    return init_studio(tmp_path / "studio", name="Ormsedge Pottery")
