"""What the photos of a piece show well enough to be judged, and what they leave open."""

from __future__ import annotations

from grader.facts import PieceFacts
from grader.findings import PhotoReport, PieceSurvey, View
from grader.rules.model import Rules
from grader.rules.texts import capital, in_view_order, listed
from grader.verdict import Grade, Reason

# Five pixels across is what `smallest_judged_mm` of a photo is stated for.
_JUDGED_PX = 5.0

# A view from the top shows the inside as well.
_SHOWS_TOO = {"top": "inside"}


def unseen_sides(facts: PieceFacts, survey: PieceSurvey, rules: Rules) -> list[Reason]:
    """A reason for each demanded view that no photo shows well enough; empty where all do."""
    usable, seen = _usable(facts, survey, rules)
    missing = [view for view in rules.required if view not in seen]
    # Sides without a name fill in for named ones, one each; the inside and the foot do not.
    spare = len({photo.view for photo in usable if photo.view.startswith("view ")})
    unnamed = [view for view in missing if view not in ("inside", "foot", "top")][:spare]
    return [
        Reason(None, "views.required", _why_missing(view, facts, survey, rules))
        for view in missing
        if view not in unnamed
    ]


def _why_missing(view: str, facts: PieceFacts, survey: PieceSurvey, rules: Rules) -> str:
    name = f"The {view} side" if view in ("left", "right") else f"The {view}"
    unusable = [photo for photo in survey.photos if photo.view == view]
    if not unusable:
        return f"{name} was not photographed: photograph it before the piece is passed."
    texts = [p.text for photo in unusable for p in photo.problems if p.blocks]
    texts = texts or [p.text for photo in unusable for p in photo.problems]
    if not texts and _has_glaze(facts) and any(_too_coarse(p, rules) for p in unusable):
        return (
            f"{name} cannot be judged: the photo is too small for its specks to be seen. "
            "Go closer, or use the full-size photo."
        )
    sentences = [f"{capital(text).rstrip('.')}." for text in texts] or ["Photograph it again."]
    return f"{name} cannot be judged. {' '.join(sentences)}"


def _carries(photo: PhotoReport, facts: PieceFacts, rules: Rules) -> bool:
    blocked = not photo.usable or any(problem.blocks for problem in photo.problems)
    return not blocked and not (_has_glaze(facts) and _too_coarse(photo, rules))


def _has_glaze(facts: PieceFacts) -> bool:
    """Whether flakes and pits can be there at all; where nobody said, they can."""
    return facts.finish != "raw" or facts.decorated is True


def _too_coarse(photo: PhotoReport, rules: Rules) -> bool:
    """Whether even a marked pit would be lost in the noise."""
    marked_mm = rules.faults["pit"].limits.get("marked_mm", 1.0)
    least = _least_visible_mm(photo, rules)
    return least is not None and least > marked_mm


def _least_visible_mm(photo: PhotoReport, rules: Rules) -> float | None:
    if photo.smallest_judged_mm is None:
        return None
    return photo.smallest_judged_mm * rules.floor_px / _JUDGED_PX


def photo_reasons(
    facts: PieceFacts, survey: PieceSurvey, rules: Rules, grade: Grade
) -> list[Reason]:
    """What the photos leave open on a piece that they are good enough to grade."""
    if grade == "ungraded":
        return []
    reasons = []
    usable, seen = _usable(facts, survey, rules)
    # What is judged with ease, 5 px across: below, the share found falls to nothing (measured by
    # tests.sensitivity), though a photo that shows less may still carry a verdict.
    limits = [p.smallest_judged_mm for p in usable if p.smallest_judged_mm is not None]
    if _has_glaze(facts) and max(limits, default=0) > rules.speck_mm:
        text = (
            f"Not passed as free of specks below {max(limits):.1f} mm: the photos do not show "
            "smaller ones."
        )
        reasons.append(Reason(None, "photos.speck_mm", text))
    unseen = [v for v in in_view_order(rules.advised) if v not in seen and v not in rules.required]
    if unseen:
        them, were = ("it", "was") if len(unseen) == 1 else ("them", "were")
        names = capital(listed([f"the {view}" for view in unseen], "and"))
        text = f"{names} {were} not seen in a usable photo: look at {them} before selling."
        reasons.append(Reason(None, "views.advised", text))
    return reasons


def _usable(
    facts: PieceFacts, survey: PieceSurvey, rules: Rules
) -> tuple[list[PhotoReport], set[View]]:
    usable = [photo for photo in survey.photos if _carries(photo, facts, rules)]
    seen = {photo.view for photo in usable}
    return usable, seen | {_SHOWS_TOO[view] for view in seen if view in _SHOWS_TOO}
