"""The JSON against a schema written from its contract, and what must survive the writing."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.findings import FAULT_NAMES
from grader.result import result_json, result_of
from tests.pieces import a_batch, a_finding, a_survey, four_sides, mixed_batch, some_facts


def _closed(**properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _listed(items: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"type": "array", "items": items, **more}


_TEXT = {"type": "string", "minLength": 1}
_MEASURE = {"type": ["number", "null"], "minimum": 0}
_PIXEL = {"type": "integer"}
SCHEMA = _closed(
    version={"const": 1},
    pieces=_listed(
        _closed(
            piece=_TEXT,
            grade={"enum": ["first", "refire", "second", "ungraded"]},
            reasons=_listed(
                _closed(fault={"enum": [*FAULT_NAMES, None]}, rule=_TEXT, text=_TEXT), minItems=1
            ),
            cautions=_listed(_TEXT),
            findings=_listed(
                _closed(
                    fault={"enum": list(FAULT_NAMES)},
                    photo=_TEXT,
                    bbox_px=_listed(_PIXEL, minItems=4, maxItems=4),
                    outline_px=_listed(_listed(_PIXEL, minItems=2, maxItems=2), minItems=3),
                    zone={"enum": ["painted", "clay", "foot", "inside"]},
                    diameter_mm=_MEASURE,
                    area_mm2=_MEASURE,
                    shift_de00=_MEASURE,
                    severity={"enum": ["slight", "marked"]},
                    certainty={"type": "number", "minimum": 0, "maximum": 1},
                )
            ),
            photos=_listed(
                _closed(
                    photo=_TEXT,
                    usable={"type": "boolean"},
                    problems=_listed(_TEXT),
                    px_per_mm=_MEASURE,
                    scale_from={"enum": ["marker", "height", None]},
                    colour_from={"enum": ["chart", "grey", "backdrop", None]},
                    chart_de00=_MEASURE,
                )
            ),
        )
    ),
)


def test_a_batch_with_every_grade_fits_the_schema() -> None:
    result = json.loads(result_json(mixed_batch()))
    jsonschema.validate(result, SCHEMA)
    assert [piece["grade"] for piece in result["pieces"]] == [
        "first",
        "second",
        "refire",
        "ungraded",
    ]
    assert result["pieces"][3]["photos"][3]["usable"] is False


def test_numbers_are_rounded_and_what_was_not_measured_is_null() -> None:
    scorch, flake = result_of(mixed_batch())["pieces"][1]["findings"]
    assert scorch["diameter_mm"] == 22.04
    assert scorch["shift_de00"] == 9.88
    assert flake["diameter_mm"] is None


def test_an_empty_batch_is_a_result() -> None:
    jsonschema.validate(result_of(a_batch()), SCHEMA)


def test_what_a_coloured_glaze_does_by_itself_is_no_finding() -> None:
    flow = a_survey(a_finding("pool_tint", mm=30), a_finding("crawl", mm=5))
    (piece,) = result_of(a_batch((some_facts(finish="coloured"), flow)))["pieces"]
    assert [finding["fault"] for finding in piece["findings"]] == ["crawl"]


@pytest.mark.parametrize("odd", [math.nan, math.inf])
def test_numbers_that_json_does_not_know_become_null(odd: float) -> None:
    photos = four_sides(px_per_mm=odd)
    result = json.loads(result_json(a_batch((some_facts(), a_survey(photos=photos)))))
    assert result["pieces"][0]["photos"][0]["px_per_mm"] is None


@given(st.text(min_size=1, max_size=20))
def test_any_name_comes_back_as_it_was(name: str) -> None:
    survey = dataclasses.replace(a_survey(), piece=name)
    # A lone surrogate cannot be written as UTF-8 and never comes from a file name read as text.
    if any(0xD800 <= ord(sign) <= 0xDFFF for sign in name):
        return
    result = json.loads(result_json(a_batch((some_facts(piece=name), survey))))
    assert result["pieces"][0]["piece"] == name
