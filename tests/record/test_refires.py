"""Before and after in the record, and what refiring has mended in this studio."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, judge_finding, say_mended, undo
from grader.record.facts import set_facts
from grader.record.figures import (
    AS_ADVISED,
    MendedFigure,
    mended_figures,
    new_after_refire,
    own_advice,
)
from grader.record.looking import look_at_waiting
from grader.record.queries import batches
from grader.record.refires import before_and_after, uncompared
from grader.record.studio import Studio
from tests.record.kit import ANALYSIS, BOOK, MORNING, a_batch, add, contents, four_sides

THREE = ["flake 900 300 1.0 0.9", "flake 900 600 1.0 0.9", "flake 900 900 1.0 0.9"]


@pytest.fixture
def refired(studio: Studio, tmp_path: Path) -> Studio:
    """K02 had three flakes: one healed, one stayed, one grew; and a pit is new."""
    add(studio, a_batch(tmp_path / "b", {"K02": four_sides(front=THREE)}))
    decide_grade(studio, "K02", "refire", book=BOOK)
    after = ["flake 905 600 1.0 0.9", "flake 900 902 2.0 0.9", "pit 1100 1000 1.0 0.9"]
    batch = a_batch(
        tmp_path / "c", {"K02": four_sides(front=after)}, taken=MORNING + timedelta(days=3)
    )
    add(studio, batch)
    return studio


def states(studio: Studio, code: str = "K02") -> list[str]:
    """What the refire did, place by place."""
    found = before_and_after(studio, code)
    assert found is not None
    return [mark.state for mark in found.marks]


def test_each_old_finding_is_marked(refired: Studio) -> None:
    found = before_and_after(refired, "K02")
    assert found is not None
    assert [mark.state for mark in found.marks] == ["healed", "unchanged", "worse", "new"]
    assert (found.before.number, found.after.number, found.remedy) == (0, 1, AS_ADVISED)
    # These photos have no pixels: nothing can tell how the piece stood turned.
    assert not found.alignment.known
    assert [view for view, *_ in found.views] == ["front", "right", "back", "left"]
    assert all(len(before) == len(after) == 1 for _, before, after in found.views)
    healed, unchanged, worse, new = found.marks
    assert healed.before is not None
    assert healed.after is None
    assert unchanged.before is not None
    assert unchanged.after is not None
    assert worse.text.endswith("4.0 times as large.")
    assert new.before is None


def test_a_piece_that_was_not_refired_has_no_before(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides()}))
    assert before_and_after(studio, "K01") is None
    assert before_and_after(studio, "K01", number=4) is None


def test_what_is_judged_wrong_afterwards_is_not_new(refired: Studio) -> None:
    pit = next(
        each for each in piece_view(refired, "K02").findings if each.stored.finding.fault == "pit"
    )
    judge_finding(refired, "K02", pit.stored.place_id, "wrong", book=BOOK)
    assert states(refired) == ["healed", "unchanged", "worse"]
    undo(refired, "K02", book=BOOK)
    assert states(refired) == ["healed", "unchanged", "worse", "new"]


def test_a_spot_of_the_drawing_is_neither_healed_nor_new(studio: Studio, tmp_path: Path) -> None:
    spots = ["flake 900 300 1.0 0.9", "flake 900 900 1.0 0.9"]
    add(studio, a_batch(tmp_path / "b", {"K02": four_sides(front=spots)}))
    drawn = piece_view(studio, "K02").findings[0].stored.place_id
    judge_finding(studio, "K02", drawn, "drawing", book=BOOK)
    again = a_batch(tmp_path / "c", {"K02": four_sides(front=["flake 902 301 1.0 0.9"])})
    add(studio, again, refire=True)
    assert states(studio) == ["healed"]


def test_the_maker_has_the_last_word_on_what_was_mended(refired: Studio) -> None:
    found = before_and_after(refired, "K02")
    assert found is not None
    stayed = found.marks[1].before
    assert stayed is not None
    say_mended(refired, "K02", stayed.place_id, "healed")
    assert states(refired) == ["healed", "healed", "worse", "new"]
    assert "as you said" in (before_and_after(refired, "K02") or found).marks[1].text
    undo(refired, "K02", book=BOOK)
    assert states(refired) == ["healed", "unchanged", "worse", "new"]


def test_two_refires_are_compared_each_with_the_one_before(refired: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "d", {"K02": four_sides()}, taken=MORNING + timedelta(days=9))
    add(refired, batch, refire=True)
    assert states(refired) == ["healed"] * 3
    first = before_and_after(refired, "K02", number=1)
    assert first is not None
    assert [mark.state for mark in first.marks] == ["healed", "unchanged", "worse", "new"]


def test_a_comparison_that_a_stop_left_out_is_made_later(studio: Studio, tmp_path: Path) -> None:
    from grader.record import looking

    add(studio, a_batch(tmp_path / "b", {"K02": four_sides(front=THREE)}))
    real = looking._compare
    with pytest.MonkeyPatch.context() as patch:

        def stopped(*values: object) -> None:
            raise KeyboardInterrupt

        patch.setattr(looking, "_compare", stopped)
        with pytest.raises(KeyboardInterrupt):
            add(studio, a_batch(tmp_path / "c", {"K02": four_sides()}), refire=True)
    assert looking._compare is real
    assert [each.code for each in uncompared(studio)] == ["K02"]
    assert before_and_after(studio, "K02") is None
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    assert uncompared(studio) == []
    assert states(studio) == ["healed"] * 3


def test_the_same_comparison_is_not_written_twice(refired: Studio) -> None:
    before = contents(refired)["comparisons"]
    look_at_waiting(refired, analysis=ANALYSIS, book=BOOK)
    set_facts(refired, ["K02"], {"price": "12"}, book=BOOK)
    assert contents(refired)["comparisons"] == before


def test_own_figures_count_pieces_by_fault_and_remedy(studio: Studio, tmp_path: Path) -> None:
    flaked = four_sides(front=THREE)
    codes = [f"K{number:02}" for number in range(1, 6)]
    add(studio, a_batch(tmp_path / "b", dict.fromkeys(codes, flaked)))
    after = {
        "K01": four_sides(),
        "K02": four_sides(front=THREE[:1]),
        "K03": four_sides(front=THREE),
        "K04": four_sides(front=["flake 900 300 3.0 0.9"]),
        "K05": four_sides(front=[*THREE, "crack 700 400 20 0.9"]),
    }
    add(studio, a_batch(tmp_path / "c", after), refire=True)
    assert mended_figures(studio) == (MendedFigure("flake", AS_ADVISED, 5, 1, 1, 2, 1),)
    set_facts(studio, ["K01", "K02"], {"done": "touch-up, cone 4"}, book=BOOK)
    assert mended_figures(studio) == (
        MendedFigure("flake", AS_ADVISED, 3, 0, 0, 2, 1),
        MendedFigure("flake", "touch-up, cone 4", 2, 1, 1, 0, 0),
    )
    assert new_after_refire(studio) == (1, 5)
    (text, other) = own_advice(mended_figures(studio), ["flake"])
    assert text == "In your own record, 0 of 3 with flake healed: too few to count on yet."
    assert "after “touch-up, cone 4”" in other
    assert own_advice(mended_figures(studio), ["scorch"]) == ()


def test_the_advice_quotes_them(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides(front=THREE)}))
    add(studio, a_batch(tmp_path / "c", {"K01": four_sides()}), refire=True)
    add(studio, a_batch(tmp_path / "d", {"K09": four_sides(front=THREE)}))
    (figure,) = piece_view(studio, "K09").own_figures
    assert "1 of 1 with flake healed" in figure
    assert piece_view(studio, "K01").own_figures == ()


def test_enough_pieces_give_a_share_with_its_range() -> None:
    # Wilson 1927, worked by hand for 7 of 12: 58 %, 95 % interval 32.0 to 80.7 %.
    figure = MendedFigure("flake", AS_ADVISED, 12, 7, 2, 2, 1)
    assert figure.healed_range == pytest.approx((0.3195, 0.8067), abs=2e-4)
    assert figure.text.endswith("(the true share may lie anywhere from 32% to 81%).")


def test_a_refired_piece_belongs_to_the_batch_it_came_out_with(refired: Studio) -> None:
    assert [(row.label, row.pieces) for row in batches(refired)] == [("c", 1), ("b", 0)]


def test_what_was_done_is_said_before_the_piece_is_photographed(
    studio: Studio, tmp_path: Path
) -> None:
    found = {"K02": four_sides(front=THREE[:1])}
    add(studio, a_batch(tmp_path / "b", found))
    decide_grade(studio, "K02", "refire", book=BOOK)
    set_facts(studio, ["K02"], {"done": "touched up"}, book=BOOK)
    add(studio, a_batch(tmp_path / "c", found, taken=MORNING + timedelta(days=3)))
    set_facts(studio, ["K02"], {"done": "touched up, slower"}, book=BOOK)  # a correction
    decide_grade(studio, "K02", "refire", book=BOOK)
    set_facts(studio, ["K02"], {"done": "filled, cone 4"}, book=BOOK)
    add(studio, a_batch(tmp_path / "d", found, taken=MORNING + timedelta(days=6)))
    done = [piece_view(studio, "K02", number=n).words.get("done") for n in (0, 1, 2)]
    assert done == [None, "touched up, slower", "filled, cone 4"]
    again = before_and_after(studio, "K02")
    assert again is not None and again.remedy == "filled, cone 4"
