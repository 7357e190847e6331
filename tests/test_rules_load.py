"""A studio's own rules file: laid over the shipped one, or refused with the key's name."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.errors import RulesError
from grader.rules import default_rules_text, grade_piece, load_rules
from tests.pieces import a_finding, a_survey, some_facts


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "our rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_studios_keys_replace_only_themselves(tmp_path: Path) -> None:
    rules = load_rules(written(tmp_path, "[faults.flake]\nrefire_most = 3\n"))
    shipped = load_rules()
    assert rules.faults["flake"].limits["refire_most"] == 3
    assert rules.faults["flake"].limits["marked_mm"] == shipped.faults["flake"].limits["marked_mm"]
    assert rules.faults["pit"] == shipped.faults["pit"]
    assert rules.version != shipped.version


def test_the_same_values_have_the_same_version(tmp_path: Path) -> None:
    assert load_rules(written(tmp_path, default_rules_text())).version == load_rules().version
    assert load_rules(written(tmp_path, "")).version == load_rules().version


def test_the_shipped_file_is_its_own_example(tmp_path: Path) -> None:
    """Every shipped key passes the checks that a studio's file has to pass."""
    load_rules(written(tmp_path, default_rules_text()))


def test_a_studio_may_like_a_toasted_side_and_demand_the_foot(tmp_path: Path) -> None:
    rules = load_rules(
        written(
            tmp_path,
            """
            [views]
            required = ["front", "right", "back", "left", "foot"]
            [faults.one_sided_browning]
            slight = "first"
            marked = "first"
            """,
        )
    )
    side = a_finding("one_sided_browning", mm=70, share=0.9, zone="clay")
    verdict = grade_piece(some_facts(finish="raw"), a_survey(side), rules)
    assert verdict.grade == "ungraded"
    assert "foot" in verdict.reasons[0].text
    lenient = load_rules(
        written(tmp_path, '[faults.one_sided_browning]\nslight="first"\nmarked="first"')
    )
    assert grade_piece(some_facts(finish="raw"), a_survey(side), lenient).grade == "first"


def test_the_most_particular_exception_wins(tmp_path: Path) -> None:
    rules = load_rules(
        written(
            tmp_path,
            """
            [faults.pit.where.narrow]
            use = ["plant"]
            zone = ["foot"]
            slight = "first"
            marked = "first"
            [faults.pit.where.wide]
            use = ["plant"]
            marked = "discard"
            """,
        )
    )
    facts = some_facts(use="plant")
    foot = grade_piece(facts, a_survey(a_finding("pit", zone="foot", mm=3)), rules)
    wall = grade_piece(facts, a_survey(a_finding("pit", mm=3)), rules)
    assert (foot.grade, foot.reasons[0].rule) == ("first", "faults.pit.where.narrow.marked")
    assert wall.discard
    assert wall.reasons[0].rule == "faults.pit.where.wide.marked"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[faults.flake]\nmarkd_mm = 2",
            "unknown key faults.flake.markd_mm.*faults.flake.marked_mm",
        ),
        ("[fautls.flake]\nmarked_mm = 2", "unknown key fautls.*Did you mean faults"),
        ("marked_mm = 2", "unknown key marked_mm.*nearest known key"),
        ("zzzz = 2", "unknown key zzzz"),
        ('[faults.pit]\nmarked_mm = "1 mm"', "faults.pit.marked_mm must be a number"),
        ("[faults.pit]\nmarked_mm = true", "must be a number"),
        ("[faults.pit]\nmarked_count = 1.5", "must be a whole number"),
        ("[faults.pit]\nmarked_mm = -1", "must be from 0"),
        ("[faults.pit]\nremark_below_mm = 5.0", "remark_below_mm.*above marked_mm"),
        ("[faults.pool_tint]\nmarked_height_share = 1.5", "must be from 0 to 1"),
        ("[seconds]\nmarked = 1.2", "seconds.marked must be from 0 to 1"),
        ("[seconds]\nseveral = 0.9", "must not rise"),
        ("[refire]\nmost = 3", "refire.most must be from 0 to 2"),
        ('[faults.crack]\nslight = "refire"', "faults.crack.slight must not be 'refire'"),
        (
            '[faults.crack.where.x]\nuse = ["decor"]\nslight = "first"',
            "faults.crack.where.x.slight must not be 'first'",
        ),
        ('[faults.pit]\nslight = "discard"', "faults.pit.slight .discard. is harder"),
        ('[faults.pit]\nslight = "third"', "must be one of first, refire"),
        ("[faults.pit]\nsafety = 1", "must be true or false"),
        ('[views]\nrequired = ["bottom"]', "'bottom', which is not one of"),
        ("[views]\nrequired = 4", "must be a list of texts"),
        ('[faults.pit.where.x]\nmarked = "second"', "does not say where it holds"),
        ('[faults.pit.text]\nfirst = "{size}"', "fills in {size}"),
        ('[faults.pit.text]\nfirst = "{"', "single"),
        ("faults = 3", "faults must be a table"),
        ("[views\n", "is not sound TOML"),
    ],
)
def test_a_bad_file_is_refused_and_the_key_named(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RulesError, match=said) as error:
        load_rules(written(tmp_path, text))
    assert "our rules.toml" in str(error.value)


def test_files_that_are_no_rules_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RulesError, match="no such rules file"):
        load_rules(tmp_path / "missing.toml")
    with pytest.raises(RulesError, match="cannot be read"):
        load_rules(tmp_path)
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff\xe0" * 100)
    with pytest.raises(RulesError, match="UTF-8"):
        load_rules(photo)
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * 2_000_000)
    with pytest.raises(RulesError, match="too large"):
        load_rules(large)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "bom.toml"
    path.write_bytes(b"\xef\xbb\xbf[refire]\nmost = 2\n")
    assert load_rules(path).most_refires == 2
