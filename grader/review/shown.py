"""Pieces as the bench shows them: plain values with addresses of photos, never pixels."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from grader.findings import FAULT_NAMES, PhotoReport
from grader.marks import MARKS
from grader.record.bench import PieceView, ShownFinding, piece_view
from grader.record.events import Event
from grader.record.pieces import PlacedPhoto
from grader.record.previews import SCREEN_PX
from grader.record.queries import PieceRow, piece_list, references
from grader.record.studio import Studio
from grader.review.routes import SMALL_PX, photo_url
from grader.review.sound import SoundPlaces, SoundTask, place_box
from grader.rules import Rules

MOST_IN_QUEUE = 600
"""Pieces that the bench lists at once: a big kiln makes sixty, so ten loads."""

_FACTS = ("design", "form", "clay", "finish", "painted_on", "glaze", "use", "firing", "shelf")

_FACT_WORDS: Mapping[tuple[str, str], str] = {
    ("finish", "raw"): "raw clay",
    ("finish", "glazed"): "clear glaze",
    ("finish", "coloured"): "coloured glaze",
    ("use", "food"): "for food",
    ("use", "plant"): "for plants",
    ("use", "decor"): "for decoration",
}

_FACT_PREFIXES: Mapping[str, str] = {
    "painted_on": "painted on ",
    "firing": "firing ",
    "shelf": "shelf ",
}

_JUDGED = {"right": "agreed", "wrong": "wrong", "drawing": "the drawing"}


def fault_table(rules: Rules) -> dict[str, dict[str, str]]:
    """Return label, shape and dashes of each fault, as the printed page draws them."""
    return {
        fault: {
            "label": rules.faults[fault].label,
            "cause": rules.faults[fault].cause,
            "path": MARKS[fault].path,
            "dashes": MARKS[fault].dashes,
        }
        for fault in FAULT_NAMES
    }


def queue(studio: Studio, batch_id: int | None, also: Collection[str] = ()) -> tuple[PieceRow, ...]:
    """Return the pieces of a load in the order in which they are to be seen.

    What a look can change comes first, then pieces whose grade the rules see otherwise than the
    maker decided, then what is clear, then what is decided.

    Parameters
    ----------
    studio : Studio
    batch_id : int or None
        All that waits, of every load, where None.
    also : collection of str
        Codes to list even where they no longer wait.
    """
    rows = piece_list(studio, batch_id=batch_id, in_studio=True, order="review", most=MOST_IN_QUEUE)
    if batch_id is None:
        rows = tuple(row for row in rows if row.decided is None or row.code in also)

    def rank(row: PieceRow) -> int:
        if row.decided is not None:
            return 1 if row.overruled else 3
        return 0 if row.unjudged or row.faults or row.grade == "ungraded" else 2

    return tuple(sorted(rows, key=rank))  # stable: the order of the record holds within each


def queue_row(row: PieceRow) -> dict[str, Any]:
    """Return a piece of the queue as the bench lists it."""
    return {
        "code": row.code,
        "design": row.design,
        "cover": thumb(row.cover),
        "pending": row.pending,
        "proposed": row.proposed or "",
        "decided": row.decided or "",
        "unjudged": row.unjudged,
        "overruled": row.overruled,
    }


def thumb(photo: PlacedPhoto | None) -> str:
    """Return the address of a photo's small preview, empty where there is no photo."""
    return photo_url(photo, SMALL_PX) if photo else ""


def shown_piece(studio: Studio, code: str, rules: Rules, sound: SoundPlaces) -> dict[str, Any]:
    """Return all that the bench shows of a piece.

    Sound surface that is not known yet is asked for, and is there the next time.

    Raises
    ------
    UnknownPieceError
    """
    view = piece_view(studio, code)
    sound.ask(_sound_tasks(view))
    verdict = view.verdict.verdict if view.verdict else None
    words = view.words
    return {
        "code": view.code,
        "facts": facts_line(words),
        "use": words.get("use", ""),
        "refires": view.round.number,
        "state": view.state_id,
        "pending": view.pending,
        "trouble": view.trouble,
        "proposed": verdict.grade if verdict else "",
        "decided": view.said.grade or "",
        "reason": view.said.reason,
        "discard": bool(verdict and verdict.discard),
        "decor_only": bool(verdict and verdict.decor_only),
        "price": _price(view),
        "reasons": [reason.text for reason in verdict.reasons] if verdict else [],
        "cautions": list(verdict.cautions) if verdict else [],
        "remedies": list(verdict.remedies) if verdict else [],
        "figures": list(view.own_figures),
        "is_pattern": view.said.reference,
        "pattern": _pattern(studio, view),
        "notes": list(view.said.notes),
        "photos": [shown_photo(photo, view.reports.get(photo.id)) for photo in view.photos],
        "findings": _findings(view, rules, sound),
        "undo": event_words(view.can_undo) if view.can_undo else "",
    }


def facts_line(words: Mapping[str, str]) -> list[str]:
    """Return what is known of a piece as short words, nothing twice."""
    said = []
    for name in _FACTS:
        word = words.get(name, "")
        if word:
            prefix = _FACT_PREFIXES.get(name, "")
            said.append(_FACT_WORDS.get((name, word)) or f"{prefix}{word}")
    return list(dict.fromkeys(said))


def event_words(event: Event) -> str:
    """Return what an event said, in a few words."""
    if event.subject == "grade" and event.kind != "undo":
        return f"graded {event.value}"
    if event.kind in _JUDGED:
        return f"place judged: {_JUDGED[event.kind]}"
    if event.kind == "missed":
        return f"{event.value.replace('_', ' ')} added by hand"
    if event.kind == "undo":
        return "taken back"
    return f"{event.kind} {event.value}".strip()


def _price(view: PieceView) -> float | None:
    if view.said.price is not None:
        return view.said.price
    return view.verdict.verdict.price if view.verdict else None


def _pattern(studio: Studio, view: PieceView) -> dict[str, Any] | None:
    """Return the reference piece of the same design, with one photo for each view."""
    design = view.words.get("design")
    if not design:
        return None
    others = [row for row in references(studio, design) if row.code != view.code]
    if not others:
        return None
    theirs = piece_view(studio, others[0].code)
    return {
        "code": theirs.code,
        "photos": [
            {"view": photo.view, "src": photo_url(photo, SCREEN_PX)} for photo in theirs.photos
        ],
    }


def shown_photo(photo: PlacedPhoto, report: PhotoReport | None) -> dict[str, Any]:
    """Return a photo as the viewers show it."""
    size = report.size_px if report else (0, 0)
    return {
        "id": photo.id,
        "view": photo.view,
        "name": photo.name,
        "full": photo_url(photo),
        "screen": photo_url(photo, SCREEN_PX),
        "thumb": photo_url(photo, SMALL_PX),
        "width_px": size[0],
        "height_px": size[1],
        "box_px": list(report.piece_bbox_px) if report and report.piece_bbox_px else None,
        "px_per_mm": report.px_per_mm if report else None,
        "usable": report.usable if report else True,
        "problems": [problem.text for problem in report.problems] if report else [],
    }


def _findings(view: PieceView, rules: Rules, sound: SoundPlaces) -> list[dict[str, Any]]:
    shown = [each for each in view.findings if each.weight != "normal"]
    return [_finding(number, each, view, rules, sound) for number, each in enumerate(shown, 1)]


def _finding(
    number: int, shown: ShownFinding, view: PieceView, rules: Rules, sound: SoundPlaces
) -> dict[str, Any]:
    stored, finding = shown.stored, shown.stored.finding
    report = view.reports.get(stored.photo_id)
    has_size = report is not None and all(report.size_px)
    is_known, box = sound.known(stored.id)
    values: dict[str, Any] = {
        "number": number,
        "place": stored.place_id,
        "photo": stored.photo_id,
        "fault": finding.fault,
        "label": rules.faults[finding.fault].label,
        "view": finding.view,
        "zone": finding.zone,
        "box_px": list(finding.bbox_px),
        "outline_px": [list(point) for point in finding.outline_px],
        "loupe_px": list(place_box(finding, report.size_px)) if has_size and report else None,
        "size": size_words(finding.diameter_mm, finding.height_share),
        "area": area_words(finding.diameter_mm, finding.area_mm2),
        "shift": "" if finding.shift_de00 is None else f"{finding.shift_de00:.1f} dE00",
        "sure": sure_words(finding.certainty),
        "certainty": round(finding.certainty, 2),
        "why": finding.why,
        "severity": shown.severity,
        "weight": shown.weight,
        "judged": shown.judged,
        "by_hand": stored.by_hand,
    }
    if is_known:
        values["sound_px"] = list(box) if box else None
    return values


def size_words(diameter_mm: float | None, height_share: float) -> str:
    """Return the longest extent of a place, which is what the rules measure.

    In parts of the height where the photo has no scale.
    """
    if diameter_mm is None:
        return f"{height_share:.0%} of the height (no scale)"
    return _mm(diameter_mm)


def area_words(diameter_mm: float | None, area_mm2: float | None) -> str:
    """Return the area of a place that is no round one, and the disc that would have it.

    What was seen is told with the size of that disc, which for a long or ragged place is far less
    than its longest extent: one figure would seem to contradict the other. Empty for a round
    place, and without a scale.
    """
    if not diameter_mm or not area_mm2:
        return ""
    disc_mm = 2 * math.sqrt(area_mm2 / math.pi)
    # An ellipse half again as long as broad, which still looks round, is 1.22 times its disc.
    if diameter_mm < 1.25 * disc_mm:
        return ""
    area = f"{area_mm2:.1f}" if area_mm2 < 10 else f"{area_mm2:.0f}"
    return f"{area} mm², as much as a disc of {_mm(disc_mm)}"


def _mm(length_mm: float) -> str:
    # 9.95 and more would be written as 10.0.
    return f"{length_mm:.1f} mm" if length_mm < 9.95 else f"{length_mm:.0f} mm"


def sure_words(certainty: float) -> str:
    """Return a certainty in words: half is where the rules begin to count a place by itself."""
    if certainty >= 0.85:
        return "clear"
    return "likely" if certainty >= 0.5 else "unsure"


def _sound_tasks(view: PieceView) -> list[SoundTask]:
    tasks = []
    for photo in view.photos:
        here = [each.stored for each in view.findings if each.stored.photo_id == photo.id]
        report = view.reports.get(photo.id)
        if here and report is not None:
            findings = tuple((each.id, each.finding) for each in here)
            tasks.append(
                SoundTask(photo.id, photo.file, photo.turn_deg, report.piece_bbox_px, findings)
            )
    return tasks


def in_session_order(rows: Sequence[PieceRow], order: list[str]) -> list[PieceRow]:
    """Return rows in the order in which the maker has seen them so far, new ones at the end.

    A piece must not jump to another place in the queue because it was just decided.
    """
    by_code = {row.code: row for row in rows}
    known = set(order)
    order += [row.code for row in rows if row.code not in known]
    return [by_code[code] for code in order if code in by_code]
