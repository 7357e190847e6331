"""The command line: exit codes, one-line errors, nothing half-written."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import grader
from grader.batch import PieceEntry
from grader.cli import main
from grader.findings import PieceSurvey
from grader.noise import NoiseFloor
from grader.rules import load_rules
from tests.pieces import SIDES, a_finding, a_survey, renamed
from tests.samples import SAMPLES, halve


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    """Two pieces of four sides; what the pictures show does not matter."""
    folder = tmp_path / "Load 7"
    for piece in ("K01", "K02"):
        (folder / piece).mkdir(parents=True)
        for side in SIDES:
            picture = np.full((300, 400, 3), 120, np.uint8)
            Image.fromarray(picture).save(folder / piece / f"{side}.jpg")
    rows = ("piece,form,finish,price", "K01,beaker,glazed,20", "K02,jug,raw,")
    (folder / "pieces.csv").write_text("\n".join(rows))
    return folder


@pytest.fixture
def looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Surveys made by hand: K01 is sound, K02 has a scorch."""

    def survey(entry: PieceEntry, *, marker_mm: float, session_colour: object) -> PieceSurvey:
        assert marker_mm == 20
        findings = (a_finding("scorch", mm=20),) if entry.code == "K02" else ()
        return renamed(a_survey(*findings), entry.code)

    monkeypatch.setattr("grader.run.survey_piece", survey)


Said = Callable[[], tuple[str, str]]


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Said:
    def read() -> tuple[str, str]:
        captured = capsys.readouterr()
        return captured.out, captured.err

    return read


def one_line(error: str) -> bool:
    return error.startswith("grader: ") and error.count("\n") == 1 and "Traceback" not in error


@pytest.mark.usefixtures("looked_at")
def test_a_batch_is_graded_into_a_folder(photos: Path, tmp_path: Path, said: Said) -> None:
    out, result = tmp_path / "out", tmp_path / "deep" / "r.json"
    code = main(["grade", str(photos), "--out", str(out), "--json", str(result), "--jobs", "1"])
    words, errors = said()
    assert code == 0
    assert errors == ""
    assert words.startswith("2 pieces: 1 first, 1 second, 0 refire, 0 ungraded\n")
    assert re.search(r"K02 +second +Scorch mark, 20 mm", words)
    assert "K01 " not in words
    assert sorted(path.name for path in out.iterdir()) == [
        "batch.html",
        "firsts.csv",
        "refire.csv",
        "seconds.csv",
    ]
    grades = [piece["grade"] for piece in json.loads(result.read_text())["pieces"]]
    assert grades == ["first", "second"]
    assert "Batch Load 7" in (out / "batch.html").read_text()


def test_firsts_with_something_uncertain_are_named(
    photos: Path, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    def survey(entry: PieceEntry, *, marker_mm: float, session_colour: object) -> PieceSurvey:
        findings = (a_finding("flake", certainty=0.3),) if entry.code == "K02" else ()
        return renamed(a_survey(*findings), entry.code)

    monkeypatch.setattr("grader.run.survey_piece", survey)
    assert main(["grade", str(photos), "--jobs", "1"]) == 0
    assert "Firsts with something uncertain to look at: K02\n" in said()[0]


@pytest.mark.usefixtures("looked_at")
def test_photos_are_never_changed(photos: Path, tmp_path: Path) -> None:
    def state() -> dict[Path, tuple[bytes, int]]:
        files = [path for path in photos.rglob("*") if path.is_file()]
        return {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in files}

    before = state()
    main(["grade", str(photos), "--out", str(tmp_path / "out"), "--jobs", "1"])
    assert state() == before


@pytest.mark.usefixtures("looked_at")
def test_the_studios_rules_are_used(photos: Path, tmp_path: Path, said: Said) -> None:
    rules = tmp_path / "our.toml"
    rules.write_text('name = "ours"\n[views]\nrequired = ["front", "foot"]\n')
    assert main(["grade", str(photos), "--rules", str(rules), "--jobs", "1"]) == 3
    words, errors = said()
    assert "1 second, 0 refire, 1 ungraded" in words
    assert "grader: K01: not graded: The foot was not photographed" in errors


def test_unusable_photos_are_named_and_the_exit_code_says_so(
    photos: Path, tmp_path: Path, said: Said
) -> None:
    (photos / "K01" / "front.jpg").write_text("no picture")
    (photos / "K02" / "left.jpg").write_bytes(b"")
    result = tmp_path / "r.json"
    assert main(["grade", str(photos), "--json", str(result), "--jobs", "1"]) == 3
    _, errors = said()
    assert "grader: K01/front.jpg: cannot be used" in errors
    assert "grader: K02/left.jpg: cannot be used" in errors
    assert "Traceback" not in errors
    pieces = json.loads(result.read_text())["pieces"]
    assert [piece["grade"] for piece in pieces] == ["ungraded", "ungraded"]


def test_a_truncated_photo_is_a_problem_and_not_a_crash(photos: Path, said: Said) -> None:
    path = photos / "K01" / "front.jpg"
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert main(["grade", str(photos), "--jobs", "1"]) == 3
    assert "Traceback" not in said()[1]


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda folder: None, 1),
        (lambda folder: folder.mkdir(), 1),
        (lambda folder: folder.write_text("a file"), 1),
        (lambda folder: (folder.mkdir(), (folder / "notes.txt").write_text("x")), 1),
    ],
    ids=["missing", "empty", "a file", "without photos"],
)
def test_a_folder_without_photos_is_one_line(
    make: Callable[[Path], object], code: int, tmp_path: Path, said: Said
) -> None:
    folder = tmp_path / "batch"
    make(folder)
    out, result = tmp_path / "out", tmp_path / "r.json"
    assert main(["grade", str(folder), "--out", str(out), "--json", str(result)]) == code
    assert one_line(said()[1])
    assert not out.exists() and not result.exists()


@pytest.mark.parametrize(
    "table",
    [
        "code,form\nK01,cup\n",
        "piece,height_mm\nK01,tall\n",
        "piece\nK01\nK01\n",
        "",
        "piece,use\nK01,x\n",
    ],
    ids=["wrong header", "bad number", "piece twice", "empty", "unknown use"],
)
def test_a_broken_list_of_pieces_is_one_line(photos: Path, table: str, said: Said) -> None:
    (photos / "pieces.csv").write_text(table)
    assert main(["grade", str(photos)]) == 1
    assert one_line(said()[1])


@pytest.mark.usefixtures("looked_at")
@pytest.mark.parametrize("option", ["--out", "--json"])
def test_a_place_that_cannot_be_written_is_one_line_and_leaves_nothing(
    photos: Path, tmp_path: Path, option: str, said: Said
) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("mine")
    assert main(["grade", str(photos), option, str(in_the_way / "below")]) == 1
    assert one_line(said()[1])
    assert in_the_way.read_text() == "mine"


@pytest.mark.usefixtures("looked_at")
def test_results_never_replace_originals(photos: Path, said: Said) -> None:
    photo = photos / "K01" / "front.jpg"
    before = photo.read_bytes()
    assert main(["grade", str(photos), "--json", str(photo), "--jobs", "1"]) == 1
    assert one_line(said()[1])
    assert main(["grade", str(photos), "--out", str(photos), "--jobs", "1"]) == 2
    assert one_line(said()[1])
    assert photo.read_bytes() == before


def test_a_broken_rules_file_is_one_line(photos: Path, tmp_path: Path, said: Said) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text("[faults.flake]\nmarkd_mm = 2\n")
    assert main(["grade", str(photos), "--rules", str(rules)]) == 1
    error = said()[1]
    assert one_line(error)
    assert "faults.flake.markd_mm" in error and "marked_mm" in error


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["glaze"],
        ["grade"],
        ["grade", "x", "--marker-mm", "0"],
        ["grade", "x", "--marker-mm", "nan"],
        ["grade", "x", "--marker-mm", "wide"],
        ["grade", "x", "--jobs", "0"],
        ["grade", "x", "--jobs", "1.5"],
    ],
)
def test_wrong_use_is_code_two(arguments: list[str], said: Said) -> None:
    with pytest.raises(SystemExit) as stop:
        main(arguments)
    assert stop.value.code == 2
    assert "error:" in said()[1]


def test_a_stop_by_the_keyboard_leaves_nothing(
    photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    def survey(entry: PieceEntry, *, marker_mm: float, session_colour: object) -> PieceSurvey:
        raise KeyboardInterrupt

    monkeypatch.setattr("grader.run.survey_piece", survey)
    out = tmp_path / "out"
    assert main(["grade", str(photos), "--out", str(out), "--jobs", "1"]) == 130
    assert one_line(said()[1])
    assert list(out.iterdir()) == []


@pytest.mark.usefixtures("looked_at")
def test_odd_names_do_not_reach_the_terminal(photos: Path, said: Said) -> None:
    (photos / "K02").rename(photos / "K\x1b[2J02")
    main(["grade", str(photos), "--jobs", "1"])
    words, errors = said()
    assert "\x1b" not in words + errors


def test_a_check_names_what_to_photograph_again(photos: Path, said: Said) -> None:
    (photos / "K01" / "back.jpg").unlink()
    assert main(["check", str(photos), "--jobs", "1"]) == 3
    words, errors = said()
    assert errors == ""
    assert words.startswith("2 pieces: 0 can be graded, 2 to photograph again\n")
    assert "all pieces: The back was not photographed." in words
    assert "K02/front.jpg: " in words


def test_the_cameras_noise_is_told_as_a_rule(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, said: Said
) -> None:
    floor = NoiseFloor(4, 0.41, 1.2, 0.8, 0.11, 95.2, ("d.jpg does not show the same side.",))
    monkeypatch.setattr("grader.noise.measure_noise", lambda folder, marker_mm: floor)
    assert main(["noise", str(tmp_path)]) == 0
    words = said()[0]
    assert "d.jpg does not show the same side." in words
    rules = tmp_path / "ours.toml"
    rules.write_text("".join(line.strip() + "\n" for line in words.splitlines()[-2:]))
    assert load_rules(rules).noise_de00 == 0.41


def test_too_few_shots_for_the_noise_are_one_line(tmp_path: Path, said: Said) -> None:
    assert main(["noise", str(tmp_path)]) == 1
    assert one_line(said()[1])


def test_slips_for_codes_and_for_a_list(photos: Path, tmp_path: Path, said: Said) -> None:
    page = tmp_path / "page.html"
    listed = ["--list", str(photos / "pieces.csv")]
    assert main(["slips", "K02-K04", "N9", *listed, "--out", str(page)]) == 0
    assert said()[0].startswith("5 slips and the cards: ")
    text = page.read_text()
    assert all(code in text for code in ("K01", "K02", "K03", "K04", "N9"))


def test_slips_that_cannot_be_are_one_line(tmp_path: Path, said: Said) -> None:
    page = tmp_path / "page.html"
    assert main(["slips", "K09-K01", "--out", str(page)]) == 2
    assert one_line(said()[1])
    assert main(["slips", "K01", "--out", str(tmp_path / "no" / "page.html")]) == 1
    assert one_line(said()[1])
    assert not page.exists()


def test_the_overview_tells_each_command_on_a_line(said: Said) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["--help"])
    assert stop.value.code == 0
    lines = said()[0].splitlines()
    with pytest.raises(SystemExit):
        main(["no-such-command"])
    known = re.findall(r"[a-z]+", said()[1].split("choose from")[1])
    told = [line.split()[0] for line in lines if re.match(r"  [a-z]+ +\w", line)]
    assert sorted(told) == sorted(known)
    assert max(map(len, lines)) <= 80


def test_a_studio_is_made_and_missed_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    monkeypatch.setenv("GRADER_STUDIO", str(tmp_path / "studio"))
    assert main(["pieces"]) == 1
    error = said()[1]
    assert one_line(error) and "grader init" in error
    assert main(["init"]) == 0
    assert main(["pieces"]) == 0
    assert "0 pieces" in said()[0]


def test_version_and_rules(said: Said) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["--version"])
    assert stop.value.code == 0
    assert said()[0] == f"grader {grader.__version__}\n"
    assert main(["rules"]) == 0
    assert "[faults.flake]" in said()[0]


@pytest.mark.usefixtures("looked_at")
def test_the_demo_leaves_all_that_a_run_can_leave(
    photos: Path, tmp_path: Path, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("grader.cli._sample_batch", lambda: photos)
    out = tmp_path / "out"
    assert main(["demo", "--out", str(out), "--jobs", "1"]) == 0
    names = ["batch.html", "firsts.csv", "refire.csv", "result.json", "seconds.csv"]
    assert sorted(path.name for path in out.iterdir()) == names
    assert f"Result: {out / 'result.json'}" in said()[0]


def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "grader", *arguments]
    source = str(Path(grader.__file__).parent.parent)
    return subprocess.run(
        command,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": source},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def test_a_reader_that_has_enough_is_no_error() -> None:
    program = "import sys; sys.argv[1:] = ['rules']; from grader.cli import main; sys.exit(main())"
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()


def test_the_module_can_be_run(tmp_path: Path) -> None:
    done = run("grade", str(tmp_path / "missing"))
    assert done.returncode == 1
    assert done.stdout == ""
    assert one_line(done.stderr)


@pytest.mark.skipif(not (SAMPLES / "pieces.csv").exists(), reason="no sample batch in this tree")
def test_a_sample_piece_goes_all_the_way(tmp_path: Path) -> None:
    """One real piece, two processes' worth of code paths, from photos to page."""
    piece = next(path for path in sorted(SAMPLES.iterdir()) if (path / "front.jpg").exists())
    (tmp_path / "photos" / piece.name).mkdir(parents=True)
    for photo in piece.glob("*.jpg"):
        halve(photo, tmp_path / "photos" / piece.name / photo.name)
    done = run("grade", "photos", "--out", "out", "--json", "r.json", "--jobs", "1", cwd=tmp_path)
    assert done.returncode in (0, 3)
    assert "Traceback" not in done.stderr
    (graded,) = json.loads((tmp_path / "r.json").read_text())["pieces"]
    assert graded["piece"] == piece.name
    assert all(photo["px_per_mm"] for photo in graded["photos"])
    assert "data:image/jpeg" in (tmp_path / "out" / "batch.html").read_text()
