"""The commands of the record, as they are typed."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from grader.errors import GraderError, UsageError
from grader.record import looking
from grader.record.bench import piece_view
from grader.record.cli import add_commands
from grader.record.looking import waiting
from grader.record.studio import Studio, open_studio
from tests.record.kit import ANALYSIS, MORNING, a_batch, four_sides, three_pieces


class Shell:
    """Types commands and keeps what they print."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.capsys = capsys
        self.err = ""

    def __call__(self, line: str, *more: str, code: int = 0) -> str:
        parser = argparse.ArgumentParser()
        add_commands(parser.add_subparsers(required=True))
        words = [*line.split(), *more]
        if words[0] != "init":
            words += ["--studio", str(self.folder)]
        values = parser.parse_args(words)
        assert values.command(values) == code
        out, self.err = self.capsys.readouterr()
        return out

    @property
    def studio(self) -> Studio:
        """The studio that was worked on."""
        return open_studio(self.folder)


@pytest.fixture
def shell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Shell:
    """A studio with three pieces; the analysis reads bytes."""
    monkeypatch.setattr(looking, "default_analysis", lambda studio: ANALYSIS)
    a_batch(tmp_path / "b", three_pieces())
    table = "piece,finish,decorated,form,price\n"
    table += "".join(f"K0{n},glazed,yes,beaker,30\n" for n in (1, 2, 3))
    (tmp_path / "b" / "pieces.csv").write_text(table)
    typed = Shell(tmp_path / "studio", capsys)
    typed("init", str(typed.folder), "--name", "Ormsedge Pottery")
    typed("add", str(tmp_path / "b"), "--jobs", "1")
    return typed


def test_adding_tells_what_was_new(shell: Shell, tmp_path: Path) -> None:
    said = shell("add", str(tmp_path / "b"), "--jobs", "1")
    assert said == "3 pieces known, with nothing new: K01, K02, K03\n"
    a_batch(tmp_path / "c", {"K09": four_sides(front=["scorch 800 500 20 0.9"])})
    said = shell("add", str(tmp_path / "c"), "--jobs", "1")
    first, second, third, last = said.splitlines()
    assert last.startswith("Next: ")
    assert first == "1 piece new: K09"
    assert second == "1 piece looked at: 0 first, 0 refire, 1 second, 0 ungraded"
    assert third.startswith("  K09  second    Scorch mark, 20 mm")


def test_add_wants_photos_or_what_waits(shell: Shell, tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        shell("add")
    with pytest.raises(UsageError):
        shell("add --waiting", str(tmp_path / "b"))
    assert shell("add --waiting") == "Nothing waits to be looked at.\n"


def test_pieces_are_listed(shell: Shell) -> None:
    lines = shell("pieces").splitlines()
    assert lines[0].startswith("K01  first, proposed")
    assert lines[-1] == "3 pieces"
    assert "K03" not in shell("pieces --grade refire")
    shell("decide K01 accept")
    assert "K01" not in shell("pieces --undecided")


def test_deciding_judging_and_taking_back(shell: Shell) -> None:
    assert shell("decide K01 accept") == "K01: first (proposed: first)\n"
    said = shell("decide K02 second", "--because", "the newt lost its tail")
    assert said == "K02: second (proposed: refire)\n"
    place = piece_view(shell.studio, "K03").findings[0].stored.place_id
    assert shell(f"judge K03 {place} drawing") == "K03: first (proposed: first)\n"
    assert "taken back: place" in shell("undo K03")
    assert "K02: taken back: grade second" in shell("undo")
    history = shell("history K02")
    assert "you decided: second: the newt lost its tail  (not in force)" in history
    with pytest.raises(GraderError):
        shell("undo K02 --event 9999")


def test_what_became_of_a_piece(shell: Shell) -> None:
    shell("say K01 sold 28,50")
    assert "sold" in shell("pieces --all")
    assert "K01" not in shell("pieces")
    shell("say K02 note", "a fine tail")
    shell("say K02 price 12")
    with pytest.raises(UsageError):
        shell("say K02 price much")


def test_good_examples_of_a_design(shell: Shell) -> None:
    with pytest.raises(GraderError, match="grader set K01 design=NAME"):
        shell("reference K01")
    shell("set K01 K02 design=newt")
    shell("set K03 design=moth")
    shell("reference K01 K03")
    assert shell("reference") == "newt: K01 (first)\nmoth: K03 (second)\n"
    assert shell("reference --design newt") == "newt: K01 (first)\n"
    assert "reference piece: yes" in shell("history K01")
    shell("reference K03 --not")
    assert shell("reference") == "newt: K01 (first)\n"
    shell("undo K03")
    assert "moth: K03" in shell("reference")
    with pytest.raises(UsageError):
        shell("reference --not")


def test_a_verdict_is_explained(shell: Shell) -> None:
    said = shell("explain K03").splitlines()
    verdict = piece_view(shell.studio, "K03").verdict
    assert verdict is not None
    assert said[0].startswith(f"K03: verdict {verdict.id} of ") and said[0].endswith(": second")
    assert "Scorch mark" in said[1]
    assert any("scorch, back, 20.0 mm, certainty 0.95: marked, counts" in line for line in said)
    assert said[-1].endswith("the same.")
    first = verdict.id
    shell("set K03 use=decor")
    assert shell(f"explain K03 {first}").splitlines() == said
    assert "use decor" in shell("explain K03")
    with pytest.raises(GraderError, match="no verdict"):
        shell(f"explain K01 {first}")


def test_another_marker_calls_for_another_look(shell: Shell) -> None:
    shell("init", str(shell.folder), "--marker-mm", "25")
    assert len(waiting(shell.studio)) == 3
    shell("init", str(shell.folder), "--marker-mm", "20")
    assert waiting(shell.studio) == []


def test_facts_for_many_and_as_a_table(shell: Shell, tmp_path: Path) -> None:
    said = shell("set K01 K02 clay=white shelf=2", "glaze=clear matt")
    assert said.splitlines()[-1] == "2 of 2 pieces changed"
    assert piece_view(shell.studio, "K02").words["glaze"] == "clear matt"
    table = tmp_path / "facts.csv"
    shell("set --to", str(table))
    table.write_text(table.read_text().replace("clear matt", "clear"))
    assert shell("set --from", str(table)).splitlines()[-1] == "2 of 3 pieces changed"
    shell("set K01 height_mm=90")
    assert "1 piece waits" in shell.err
    for wrong in ("set", "set K01", "set clay=white"):
        with pytest.raises(UsageError):
            shell(wrong)


def test_firings(shell: Shell) -> None:
    shell("set K01 K02 firing=F12")
    said = shell("firing F12 cone=6", "changed=ten minutes of soak")
    assert said == "F12: 2 pieces; cone 6, changed ten minutes of soak\n"
    assert shell("firing") == said
    with pytest.raises(UsageError):
        shell("firing F12 cone")


def test_refires_are_told(shell: Shell, tmp_path: Path) -> None:
    shell("decide K02 accept")
    from datetime import timedelta

    a_batch(tmp_path / "c", {"K02": four_sides()}, taken=MORNING + timedelta(days=3))
    assert "1 piece back from a refire: K02" in shell("add", str(tmp_path / "c"), "--jobs", "1")
    said = shell("compare K02")
    assert said.count("healed") == 2
    assert "1 of 1 with flake healed" in shell("mended")
    assert "was not refired" in shell("compare K01")


def test_other_rules(shell: Shell, tmp_path: Path) -> None:
    rules = tmp_path / "strict.toml"
    rules.write_text('[faults.flake]\nslight = "second"\nmarked = "second"\n')
    said = shell("regrade --rules", str(rules))
    assert "K02: refire -> second" in said
    assert "1 of 3 pieces would change" in said
    assert shell("pieces --grade refire").splitlines()[-1] == "1 piece"
    assert "No decision was touched" in shell("regrade --keep --rules", str(rules))
    assert shell("pieces --grade refire").splitlines()[-1] == "0 pieces"


def test_batches_and_what_is_chosen_from_them(shell: Shell, tmp_path: Path) -> None:
    a_batch(tmp_path / "Load 8", {"K09": four_sides()})
    shell("add", str(tmp_path / "Load 8"), "--jobs", "1")
    shell("set K02 firing=F12")
    said = shell("batches").splitlines()
    assert said[0].startswith("2  ") and said[0].endswith("Load 8: 1 piece")
    assert said[2].endswith(" b: 3 pieces")
    assert said[3].strip() == "1 first, 1 refire, 1 second, 0 ungraded; 3 wait for your word"
    assert shell("pieces --batch 2").splitlines()[-1] == "1 piece"
    assert shell("pieces --firing F12").startswith("K02 ")


def test_many_findings_of_a_fault_are_not_all_told(shell: Shell, tmp_path: Path) -> None:
    field = [f"flake {100 + 40 * number} 600 {1 + number / 10} 0.9" for number in range(11)]
    a_batch(tmp_path / "c", {"K09": four_sides(front=field)})
    shell("add", str(tmp_path / "c"), "--jobs", "1")
    said = shell("history K09")
    assert "flake, 2.0 mm, front (counts)" in said and "flake, 1.0 mm" not in said
    assert "and 3 smaller of the kind: grader history K09 --all" in said
    assert shell("history K09 --all").count("finding ") == 11
    explained = [line for line in shell("explain K09").splitlines() if "× flake, front" in line]
    assert sum(int(line.split()[0]) for line in explained) == 11
    assert all("certainty 0.90: marked, counts (faults.flake." in line for line in explained)


def test_lists_from_the_record(
    shell: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("grader.page.batch_page", lambda *values, **more: "<p>page")
    shell("say K01 given")
    shell("set K02 firing=F12")
    out = tmp_path / "out"
    assert str(out / "batch.html") in shell("lists", str(out))
    assert (out / "batch.html").read_text() == "<p>page"
    assert "K03" in (out / "seconds.csv").read_text()
    assert "K01" not in (out / "firsts.csv").read_text()
    shell("lists --firing F12", str(out))
    assert "K02" in (out / "refire.csv").read_text()
    assert "K03" not in (out / "seconds.csv").read_text()
    with pytest.raises(UsageError, match="photos of the record"):
        shell("lists", str(shell.studio.photos / "ab"))


def test_everything_comes_out(shell: Shell, tmp_path: Path) -> None:
    shell("export", str(tmp_path / "out"))
    assert (tmp_path / "out" / "record.json").is_file()
    with pytest.raises(GraderError):
        shell("export", str(tmp_path / "out"))


def test_the_record_is_looked_over(shell: Shell) -> None:
    assert "sound" in shell("sound --read-all")
    next(shell.studio.photos.rglob("*.jpg")).unlink()
    with pytest.raises(GraderError, match="not as they were taken in: 1"):
        shell("sound")


def test_a_conflict_is_told(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    from grader.record import commands, decisions

    seen = piece_view(shell.studio, "K02").state_id
    decisions.decide_grade(shell.studio, "K02", "first", window="phone")
    real = decisions.decide_grade

    def stale(*values: object, **more: object) -> object:
        return real(*values, **{**more, "seen": seen})  # type: ignore[arg-type]

    monkeypatch.setattr(commands.decisions, "decide_grade", stale)
    shell("decide K02 second", code=3)
    assert "meanwhile phone said: overrule first" in shell.err
    assert "not in force" in shell.err


def test_an_empty_record_says_how_to_begin(tmp_path: Path, shell: Shell) -> None:
    shell.folder = tmp_path / "empty"
    assert "already" not in shell("init", str(shell.folder))
    assert "(it was there already)" in shell("init", str(shell.folder))
    assert shell("batches") == "No batch yet: grader add PHOTOS\n"
    assert "grader reference PIECE" in shell("reference")
    assert "grader set PIECE firing=NAME" in shell("firing")
    assert "No piece has been refired" in shell("mended")
    assert shell("pieces") == "0 pieces\n"


def test_names_cannot_move_the_cursor(shell: Shell) -> None:
    shell("say K01 note", "red \x1b[31m alert\x07")
    assert "\x1b" not in shell("history K01")
