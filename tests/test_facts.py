"""Lists of pieces as spreadsheets write them, and as hands spoil them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import FactsError
from grader.facts import read_facts

FULL = (
    "piece,design,form,clay,finish,decorated,painted_on,glaze,use,height_mm,shelf,place,firing,"
    "price,refires,maker's mark\n"
    "K07,newts,bowl,speckled,glazed,yes,bisque,clear dip,food,92.5,2,left,41,24.00,1,O\n"
)


def _write(folder: Path, text: str | bytes, name: str = "pieces.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_every_column_is_read(tmp_path: Path) -> None:
    (facts,) = read_facts(_write(tmp_path, FULL)).values()
    assert facts.piece == "K07"
    assert (facts.design, facts.form, facts.clay) == ("newts", "bowl", "speckled")
    assert (facts.finish, facts.decorated, facts.painted_on) == ("glazed", True, "bisque")
    assert (facts.glaze, facts.use, facts.height_mm) == ("clear dip", "food", 92.5)
    assert (facts.shelf, facts.place, facts.firing, facts.price) == ("2", "left", "41", 24.0)
    assert facts.refires == 1
    assert dict(facts.others) == {"maker's mark": "O"}


@pytest.mark.parametrize(
    "data",
    [
        FULL.encode("utf-8-sig"),
        FULL.encode("utf-16"),
        FULL.replace(",", ";").encode(),
        FULL.replace(",", "\t").encode(),
        FULL.replace("\n", "\r\n").encode(),
        FULL.replace("piece,", " Piece ,", 1).replace("height_mm", "Height (mm)").encode(),
        ("\n\n" + FULL + ",,,\n\n").encode(),
    ],
)
def test_what_spreadsheets_do_to_a_list(tmp_path: Path, data: bytes) -> None:
    (facts,) = read_facts(_write(tmp_path, data)).values()
    assert (facts.piece, facts.height_mm, facts.price) == ("K07", 92.5, 24.0)


def test_windows_letters(tmp_path: Path) -> None:
    path = _write(tmp_path, "piece,glaze\nK07,céladon\n".encode("cp1252"))
    assert read_facts(path)["K07"].glaze == "céladon"


@pytest.mark.parametrize(
    ("text", "height"),
    [("92,5", 92.5), ("92.5", 92.5), ("92 mm", 92.0), ("92,5mm", 92.5), ("", None)],
)
def test_numbers_as_people_write_them(tmp_path: Path, text: str, height: float | None) -> None:
    path = _write(tmp_path, f"piece;height_mm;price\nK07;{text};£24\n")
    facts = read_facts(path)["K07"]
    assert facts.height_mm == height
    assert facts.price == 24.0


def test_short_rows_and_empty_cells_are_unknown(tmp_path: Path) -> None:
    path = _write(tmp_path, "piece,finish,decorated,use\nK07\nK08,,,\n")
    facts = read_facts(path)
    assert list(facts) == ["K07", "K08"]
    for one in facts.values():
        assert one.finish is None and one.decorated is None and one.use is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["empty"]),
        ("\n\n", ["empty"]),
        ("name,form\nK07,bowl\n", ["piece", "name, form"]),
        ("piece,form,Form\nK07,bowl,bowl\n", ["twice"]),
        ("piece\nK07\nK08\nk07\n", ["row 4", "row 2"]),
        ("piece,height_mm\nK07,tall\n", ["row 2", "height_mm", "tall"]),
        ("piece,height_mm\nK07,-5\n", ["row 2", "height_mm"]),
        ("piece,height_mm\nK07,0\n", ["height_mm"]),
        ("piece,height_mm\nK07,nan\n", ["height_mm"]),
        ("piece,height_mm\nK07,1e9\n", ["height_mm"]),
        ('piece,price\nK07,"1,200"\n', ["price"]),
        ("piece,finish\nK07,shiny\n", ["row 2", "finish", "raw, glazed, coloured"]),
        ("piece,painted_on\nK07,paper\n", ["painted_on", "bisque"]),
        ("piece,decorated\nK07,perhaps\n", ["decorated", "yes"]),
        ("piece,form\n,bowl\n", ["row 2", "missing"]),
        ("piece,form\nK07,bowl,big,blue\n", ["row 2", "4 cells"]),
        ('piece,form\nK07,"bowl\n', ["quotation"]),
        (b"piece\0\1\2", ["text file"]),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", ["text file"]),
    ],
)
def test_a_broken_list_names_place_and_remedy(
    tmp_path: Path, text: str | bytes, words: list[str]
) -> None:
    with pytest.raises(FactsError) as caught:
        read_facts(_write(tmp_path, text))
    assert caught.value.remedy
    assert "pieces.csv" in caught.value.where
    for word in words:
        assert word in str(caught.value)


def test_a_missing_list(tmp_path: Path) -> None:
    with pytest.raises(FactsError):
        read_facts(tmp_path / "gone.csv")
    with pytest.raises(FactsError):
        read_facts(tmp_path)


@given(st.binary(max_size=200))
def test_any_bytes_give_facts_or_a_facts_error(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = _write(tmp_path_factory.mktemp("any"), data)
    try:
        facts = read_facts(path)
    except FactsError:
        return
    assert all(code and code == one.piece for code, one in facts.items())


@given(st.text(max_size=80))
def test_any_text_in_a_cell_gives_facts_or_a_facts_error(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    data = f"piece,note,height_mm\nK07,{quoted},90\n".encode("utf-8", "surrogatepass")
    path = _write(tmp_path_factory.mktemp("cell"), data)
    try:
        facts = read_facts(path)
    except FactsError:
        return
    assert facts["K07"].height_mm == 90


@pytest.mark.parametrize(("text", "refires"), [("0", 0), (" 2 ", 2), ("", None)])
def test_refires_are_counted(tmp_path: Path, text: str, refires: int | None) -> None:
    path = _write(tmp_path, f"piece,Refires\nK07,{text}\n")
    assert read_facts(path)["K07"].refires == refires


@pytest.mark.parametrize("text", ["-1", "1.5", "once", "21", "٢", "1e1"])
def test_other_refires_are_refused_by_name(tmp_path: Path, text: str) -> None:
    with pytest.raises(FactsError, match=r"row 2, column 'refires'.*Write 0, 1, 2"):
        read_facts(_write(tmp_path, f"piece,refires\nK07,{text}\n"))
