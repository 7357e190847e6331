"""Pages show values as text, and never leave one out silently."""

from __future__ import annotations

import pytest
from jinja2 import UndefinedError

from grader.templating import environment


def test_values_are_escaped() -> None:
    page = environment().from_string("<p>{{ name }}</p>").render(name="<b>x</b>")
    assert page == "<p>&lt;b&gt;x&lt;/b&gt;</p>"


def test_a_value_that_is_missing_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        environment("grader.review").from_string("{{ name }}").render()
