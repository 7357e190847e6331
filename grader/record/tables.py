"""What each table of the record holds, in words; goes out with every export."""

from __future__ import annotations

from collections.abc import Mapping

TABLES: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "studio": (
        "Settings of the studio.",
        {
            "key": "name, made_at, id (random, never changes), marker_mm (side of the marker)",
            "value": "the setting",
        },
    ),
    "firings": (
        "Firings of the kiln, by the maker's own code.",
        {"id": "number of the row", "code": "for instance F12", "added_at": "when"},
    ),
    "firing_facts": (
        "What was said of a firing; the last row of a name holds, an empty value takes it back.",
        {
            "id": "number of the row",
            "firing_id": "in firings",
            "name": "date, cone, programme, kiln, changed, or a word of the maker's",
            "value": "as said",
            "said_at": "when",
        },
    ),
    "pieces": (
        "Pieces.",
        {
            "id": "number of the row",
            "code": "the maker's code; case does not matter",
            "sort_key": "the code with its numbers padded, so that K2 comes before K10",
            "added_at": "when",
        },
    ),
    "batches": (
        "Folders of photos as they were taken in.",
        {
            "id": "number of the row",
            "label": "name of the folder",
            "source_key": "SHA-256 of the folder's path, to go on with an interrupted batch",
            "opened_at": "when",
        },
    ),
    "batch_ends": (
        "Batches that were taken in completely.",
        {
            "id": "number of the row",
            "batch_id": "in batches",
            "problems": "what was wrong with the folder: JSON list of sentences",
            "ended_at": "when",
        },
    ),
    "rounds": (
        "Firings of a piece: the first unload, then one for each refire.",
        {
            "id": "number of the row",
            "piece_id": "in pieces",
            "number": "firings of the piece before it in this record; 0 is the first",
            "batch_id": "in batches: where its first photos came from",
            "because": "why it was opened",
            "opened_at": "when",
        },
    ),
    "piece_facts": (
        "What was said of a piece; the last row of a name holds, an empty value takes it back.",
        {
            "id": "number of the row",
            "piece_id": "in pieces",
            "round_id": "in rounds, for firing, shelf, place, ring, side, kiln_height, "
            "neighbours, done (what was done before a refire) and refires (how many before it); "
            "else empty",
            "name": "design, form, clay, finish, decorated, painted_on, glaze, use, height_mm, "
            "price, one of the above, or a word of the maker's",
            "value": "as said",
            "source": "pieces.csv (of the batch) or said (to the program)",
            "said_at": "when",
        },
    ),
    "photos": (
        "Photographs. The files lie in photos/, named by their SHA-256 (FIPS 180-4).",
        {
            "id": "number of the row",
            "sha256": "of the content, hexadecimal",
            "file": "path within the studio folder",
            "name": "name under which it came in",
            "bytes": "size of the file",
            "captured_at": "the camera's own time; empty where unknown",
            "batch_id": "in batches",
            "added_at": "when",
        },
    ),
    "placings": (
        "Which firing of which piece a photo shows, and how; the last row of a photo holds.",
        {
            "id": "number of the row",
            "photo_id": "in photos",
            "round_id": "in rounds; empty for a photo that was set aside",
            "view": "front, right, back, left, inside, foot, top, view 1, ...",
            "turn_deg": "clockwise turn that the maker asked for, in degrees",
            "placed_at": "when",
        },
    ),
    "surveys": (
        "What the analysis saw, once for each set of photos and version of the analysis.",
        {
            "id": "number of the row",
            "round_id": "in rounds",
            "analysis": "version of the analysis",
            "grader": "version of the program",
            "inputs_sha256": "digest of photos, views, turns and facts that it looked at",
            "zones": "zones seen on the piece: JSON list",
            "made_at": "when",
        },
    ),
    "photo_reports": (
        "How each photo was read by a survey.",
        {
            "id": "number of the row",
            "survey_id": "in surveys",
            "photo_id": "in photos",
            "name": "name of the photo within the survey",
            "view": "view it was taken for",
            "width_px": "of the upright photo; 0 where it could not be read",
            "height_px": "of the upright photo",
            "usable": "1 where it can carry a verdict",
            "problems": "JSON list of [code, text, blocks]",
            "px_per_mm": "pixels per millimetre on the near surface",
            "scale_from": "marker, height, or empty",
            "colour_from": "chart, grey, backdrop, or empty",
            "chart_de00": "leave-one-out mean CIEDE2000 of the chart fit",
            "piece_bbox_px": "box of the piece: JSON [x, y, width, height]",
            "smallest_judged_mm": "diameter of the smallest speck that it can show",
        },
    ),
    "findings": (
        "Places that are not as sound surface would be. Pixels of the upright, full-size photo, "
        "x right, y down, origin top left.",
        {
            "id": "number of the row",
            "survey_id": "in surveys; empty for one that the maker drew by hand",
            "photo_id": "in photos",
            "same_as": "in findings: the first finding of the same place, if there was one",
            "fault": "scorch, one_sided_browning, flake, pit, pool_tint, streak, crawl, crack",
            "photo": "name of the photo within the survey",
            "view": "view of the photo",
            "bbox_px": "JSON [x, y, width, height]",
            "outline_px": "closed outline: JSON [[x, y], ...]",
            "zone": "painted, clay, foot or inside",
            "diameter_mm": "longest extent",
            "area_mm2": "area",
            "height_share": "height of the place over the height of the piece, 0 to 1",
            "shift_de00": "CIEDE2000 to sound surface of the zone",
            "certainty": "0 to 1",
            "why": "what was seen",
            "measures": "further measurements: JSON list of [name, value, unit]",
        },
    ),
    "rules": (
        "Sets of rules that a verdict was reached by.",
        {
            "sha256": "of the text",
            "title": "name and short version, as lists quote them",
            "text": "every value of the rules: JSON",
            "added_at": "when",
        },
    ),
    "verdicts": (
        "What the rules said, with all that they were asked about.",
        {
            "id": "number of the row",
            "round_id": "in rounds",
            "survey_id": "in surveys",
            "rules_sha256": "in rules",
            "grader": "version of the program",
            "refires_done": "refires before it",
            "facts": "facts as they were known then: JSON",
            "judged": "findings it rests on: JSON list of [id in findings, certainty]",
            "sisters_id": "in sisters: what they said then; empty where there was none",
            "inputs_sha256": "digest of all the above",
            "grade": "first, refire, second or ungraded",
            "reasons": "JSON list of [fault, rule, text]",
            "cautions": "JSON list of sentences",
            "remedies": "JSON list of sentences",
            "price": "suggested for a second",
            "discard": "1 where the piece should not be sold at all",
            "decor_only": "1 where it may be sold for decoration only",
            "made_at": "when",
        },
    ),
    "weights": (
        "The weight of each finding in a verdict.",
        {
            "verdict_id": "in verdicts",
            "position": "order within the verdict, from 0",
            "finding_id": "in findings",
            "severity": "slight or marked",
            "rule": "key of the rule that set it",
            "weight": "counts, look (too uncertain), remark (too small) or normal (no fault here)",
        },
    ),
    "events": (
        "All that was said of a piece, in order. Of events with one subject the last holds, "
        "unless it is held or undone.",
        {
            "id": "number of the row, rising in time over all pieces",
            "piece_id": "in pieces",
            "round_id": "in rounds",
            "kind": "proposed (by the rules), accept, overrule, right, wrong, drawing, missed, "
            "mended, price, sold, given, broken, kept, reference, note, undo",
            "subject": "grade, place:N and hand:N and mended:N (N in findings), price, fate, "
            "reference, or empty",
            "value": "the grade, price, word or text",
            "reason": "why",
            "finding_id": "in findings",
            "verdict_id": "in verdicts: what was proposed then",
            "undoes": "in events: what an undo takes back",
            "seen_id": "in events: the last that was known where this was said",
            "held": "1 where it has no force, as it contradicts one that was not known",
            "window": "where it was said",
            "said_at": "when",
        },
    ),
    "troubles": (
        "Pieces whose analysis failed.",
        {
            "id": "number of the row",
            "round_id": "in rounds",
            "analysis": "version of the analysis",
            "inputs_sha256": "as in surveys",
            "text": "what happened",
            "met_at": "when",
        },
    ),
    "comparisons": (
        "Firings compared with the firing before; the last row of a round holds.",
        {
            "id": "number of the row",
            "round_id": "in rounds: after the refire",
            "before_survey_id": "in surveys",
            "after_survey_id": "in surveys",
            "method": "version of the comparison",
            "turned_deg": "how far the piece stood turned, positive to the viewer's right",
            "turned_known": "0 where nothing on the surface could tell",
            "agreement": "correlation of the unrolled walls, -1 to 1",
            "sag_before": "rise of a level line towards the edge, share of the piece's height",
            "sag_after": "the same on the later photos",
            "stretch": "a level l before is 0.5 + stretch * (l + shift - 0.5) after",
            "shift": "see stretch",
            "made_at": "when",
        },
    ),
    "marks": (
        "What a refire did to each place.",
        {
            "comparison_id": "in comparisons",
            "position": "order within the comparison, from 0",
            "state": "healed, unchanged, worse, new or not seen",
            "fault": "as in findings",
            "before_id": "in findings; empty for a new place",
            "after_id": "in findings; empty for a place that is gone",
            "text": "for the maker",
        },
    ),
    "likenesses": (
        "What is kept of the looks of a piece, to hold its sisters and later pieces of its design "
        "against it.",
        {
            "survey_id": "in surveys",
            "version": "of the likeness; another one cannot be compared",
            "text": "colours of clay and paint, painted places, small marks: JSON",
            "made_at": "when",
        },
    ),
    "sisters": (
        "What the sisters of a piece in its batch say of it; the last row of a survey holds.",
        {
            "id": "number of the row",
            "survey_id": "in surveys",
            "notes": "kind, text, colour difference (dE00), number of sisters, and whether it is "
            "sure: rows of JSON",
            "changes": "finding, its certainty then (0: the drawing, so no finding), its sentence "
            "then: rows of JSON",
            "made_at": "when",
        },
    ),
    "now_facts": (
        "Present facts, worked out from piece_facts.",
        {
            "piece_id": "in pieces",
            "round_id": "in rounds; 0 for facts of the piece itself",
            "name": "as in piece_facts",
            "value": "as in piece_facts; empty where taken back",
        },
    ),
    "now_photos": (
        "Where each photo belongs at present, worked out from placings.",
        {
            "photo_id": "in photos",
            "round_id": "in rounds; empty for a photo that was set aside",
            "view": "as in placings",
            "turn_deg": "as in placings",
        },
    ),
    "now_pieces": (
        "The present state of each piece, worked out from the history.",
        {
            "piece_id": "in pieces",
            "round_id": "in rounds: the latest with photos",
            "batch_id": "in batches",
            "number": "as in rounds",
            "survey_id": "in surveys: the one that holds",
            "verdict_id": "in verdicts: the one that holds",
            "state_id": "in events: the last",
            "photos": "how many",
            "cover_id": "in photos: the one to show in lists",
            "pending": "1 while photos wait to be looked at",
            "trouble": "why that failed, else empty",
            "proposed": "grade by the rules",
            "why": "the first reason of the verdict",
            "faults": "faults that count or call for a look, the most frequent first, with commas",
            "discard": "as in verdicts",
            "decor_only": "as in verdicts",
            "decided": "grade by the maker",
            "reason": "the maker's, for the grade",
            "grade": "the maker's, else the proposed one",
            "fate": "sold, given, broken or empty",
            "price": "as the maker said",
            "suggested": "price of the verdict",
            "reference": "1 for a piece that shows what a good one of its design looks like",
            "findings": "findings of the verdict",
            "unjudged": "of these, how many call for a look",
            "doubt": "0 to 1: one less the certainty of the least certain of them",
            "design": "as in now_facts, else empty",
            "form": "as in now_facts, else empty",
            "firing": "of the round, as in now_facts, else empty",
        },
    ),
}


def tables_text() -> str:
    """Return the description of all tables, as Markdown."""
    lines = [
        "# The tables of the record",
        "",
        "One SQLite file (`record.sqlite`), also written out as one CSV file for each table "
        "(UTF-8, RFC 4180; a text that a spreadsheet would take for a formula has an apostrophe "
        "before it). Times are UTC, ISO 8601. To tables without `now_` rows are only ever added; "
        "the others can be made again from them.",
    ]
    for table, (text, columns) in TABLES.items():
        lines += ["", f"## {table}", "", text, "", "| column | meaning |", "| --- | --- |"]
        lines += [f"| `{name}` | {meaning} |" for name, meaning in columns.items()]
    return "\n".join(lines) + "\n"
