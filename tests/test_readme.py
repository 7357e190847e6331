"""What README.md says is what the program does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from grader.cli import main
from grader.facts import read_facts
from grader.rules import load_rules

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_both_commands_stand_on_lines_of_their_own() -> None:
    """`.ci/run` takes them from there."""
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv ")]
    assert len(lines) == 2
    assert lines[0].endswith("&& grader demo")
    assert lines[1].endswith("&& pytest -n auto")


def test_the_rules_example_is_accepted(tmp_path: Path) -> None:
    (example,) = blocks("toml")
    path = tmp_path / "rules.toml"
    path.write_text(example, encoding="utf-8")
    rules = load_rules(path)
    assert rules.faults["flake"].limits["refire_most"] == 3
    assert rules.faults["one_sided_browning"].marked == "first"


@pytest.mark.parametrize("command", ["grade", "check", "noise", "slips", "demo", "rules"])
def test_every_option_named_is_known(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([command, "--help"])
    known = capsys.readouterr().out
    (line,) = re.findall(rf"^grader {command}.*$", "\n".join(blocks("text")), re.MULTILINE)
    for option in re.findall(r"--[a-z-]+", line):
        assert option in known


def test_every_command_typed_is_known(capsys: pytest.CaptureFixture[str]) -> None:
    """Each ``$ grader COMMAND`` and each ``--option`` of it, in examples and in the overview."""
    typed = re.findall(r"^\$ grader ([a-z]+)(.*)$", "\n".join(blocks("console")), re.MULTILINE)
    typed += re.findall(r"`grader ([a-z]+)([^`]*)`", README)
    listed = "\n".join(blocks("text"))
    typed += re.findall(r"grader ([a-z]+)((?: (?!grader).*?)?)(?=  |$)", listed, re.MULTILINE)
    assert {"grade", "add", "decide", "explain", "review", "export"} <= {name for name, _ in typed}
    for name, rest in typed:
        with pytest.raises(SystemExit) as stop:
            main([name, "--help"])
        assert stop.value.code == 0, name
        known = capsys.readouterr().out
        assert all(option in known for option in re.findall(r"--[a-z-]+", rest)), (name, rest)


def test_every_column_named_is_read(tmp_path: Path) -> None:
    rows = re.findall(r"^\| (`.*?) \|", README, re.MULTILINE)
    columns = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    assert "painted_on" in columns
    values = {
        "finish": "raw",
        "decorated": "yes",
        "painted_on": "bisque",
        "use": "food",
        "height_mm": "90",
        "price": "12",
        "refires": "1",
    }
    table = tmp_path / "pieces.csv"
    cells = ",".join(values.get(column, "x") for column in columns)
    table.write_text(",".join(columns) + "\n" + cells + "\n", encoding="utf-8")
    (facts,) = read_facts(table).values()
    assert not facts.others
    assert all(getattr(facts, column) not in ("", None) for column in columns)


def test_the_pictures_are_there_and_small() -> None:
    names = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert len(names) == 2
    assert all(20_000 < (ROOT / name).stat().st_size < 120_000 for name in names)
