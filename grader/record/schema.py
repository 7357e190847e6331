"""The tables of the record, as the list of steps that made them.

A step is never edited once it has been released: a later change is a further step. The number
of steps done stands in the file as ``PRAGMA user_version``, an integer that SQLite keeps for
the application at byte 60 of the header (https://sqlite.org/fileformat2.html#user_version_number).

Two kinds of tables: *history*, to which rows are only ever added (triggers refuse the rest),
and tables whose name starts with ``now_``, which hold the present state worked out from the
history so that lists open fast. `grader.record.now` can rebuild the latter at any time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

APPLICATION_ID = 0x47724472
"""Marks the file as a record of this program (``PRAGMA application_id``): "GrDr"."""

_FIRST = """
CREATE TABLE studio (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;

CREATE TABLE firings (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL UNIQUE CHECK (code <> ''),
  added_at TEXT NOT NULL
) STRICT;

CREATE TABLE firing_facts (
  id INTEGER PRIMARY KEY,
  firing_id INTEGER NOT NULL REFERENCES firings (id),
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  said_at TEXT NOT NULL
) STRICT;
CREATE INDEX firing_facts_firing ON firing_facts (firing_id, name, id);

CREATE TABLE pieces (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL COLLATE NOCASE UNIQUE CHECK (code <> ''),
  sort_key TEXT NOT NULL,
  added_at TEXT NOT NULL
) STRICT;
CREATE INDEX pieces_sort ON pieces (sort_key);

CREATE TABLE batches (
  id INTEGER PRIMARY KEY,
  label TEXT NOT NULL,
  source_key TEXT NOT NULL,
  opened_at TEXT NOT NULL
) STRICT;
CREATE INDEX batches_source ON batches (source_key);

CREATE TABLE batch_ends (
  id INTEGER PRIMARY KEY,
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  problems TEXT NOT NULL CHECK (json_valid(problems)),
  ended_at TEXT NOT NULL
) STRICT;
CREATE INDEX batch_ends_batch ON batch_ends (batch_id);

CREATE TABLE rounds (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  number INTEGER NOT NULL CHECK (number >= 0),
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  because TEXT NOT NULL,
  opened_at TEXT NOT NULL,
  UNIQUE (piece_id, number)
) STRICT;
CREATE INDEX rounds_batch ON rounds (batch_id);

CREATE TABLE piece_facts (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  round_id INTEGER REFERENCES rounds (id),
  name TEXT NOT NULL CHECK (name <> ''),
  value TEXT NOT NULL,
  source TEXT NOT NULL,
  said_at TEXT NOT NULL
) STRICT;
CREATE INDEX piece_facts_piece ON piece_facts (piece_id, id);

CREATE TABLE photos (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
  file TEXT NOT NULL,
  name TEXT NOT NULL,
  bytes INTEGER NOT NULL CHECK (bytes >= 0),
  captured_at TEXT,
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  added_at TEXT NOT NULL
) STRICT;

CREATE TABLE placings (
  id INTEGER PRIMARY KEY,
  photo_id INTEGER NOT NULL REFERENCES photos (id),
  round_id INTEGER REFERENCES rounds (id),
  view TEXT NOT NULL,
  turn_deg INTEGER NOT NULL CHECK (turn_deg IN (0, 90, 180, 270)),
  placed_at TEXT NOT NULL
) STRICT;
CREATE INDEX placings_photo ON placings (photo_id, id);

CREATE TABLE surveys (
  id INTEGER PRIMARY KEY,
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  analysis TEXT NOT NULL,
  grader TEXT NOT NULL,
  inputs_sha256 TEXT NOT NULL,
  zones TEXT NOT NULL CHECK (json_valid(zones)),
  made_at TEXT NOT NULL,
  UNIQUE (round_id, inputs_sha256, analysis)
) STRICT;

CREATE TABLE photo_reports (
  id INTEGER PRIMARY KEY,
  survey_id INTEGER NOT NULL REFERENCES surveys (id),
  photo_id INTEGER NOT NULL REFERENCES photos (id),
  name TEXT NOT NULL,
  view TEXT NOT NULL,
  width_px INTEGER NOT NULL,
  height_px INTEGER NOT NULL,
  usable INTEGER NOT NULL CHECK (usable IN (0, 1)),
  problems TEXT NOT NULL CHECK (json_valid(problems)),
  px_per_mm REAL,
  scale_from TEXT,
  colour_from TEXT,
  chart_de00 REAL,
  piece_bbox_px TEXT CHECK (piece_bbox_px IS NULL OR json_valid(piece_bbox_px)),
  smallest_judged_mm REAL
) STRICT;
CREATE INDEX photo_reports_survey ON photo_reports (survey_id);

CREATE TABLE findings (
  id INTEGER PRIMARY KEY,
  survey_id INTEGER REFERENCES surveys (id),
  photo_id INTEGER NOT NULL REFERENCES photos (id),
  same_as INTEGER REFERENCES findings (id),
  fault TEXT NOT NULL,
  photo TEXT NOT NULL,
  view TEXT NOT NULL,
  bbox_px TEXT NOT NULL CHECK (json_valid(bbox_px)),
  outline_px TEXT NOT NULL CHECK (json_valid(outline_px)),
  zone TEXT NOT NULL,
  diameter_mm REAL,
  area_mm2 REAL,
  height_share REAL NOT NULL,
  shift_de00 REAL,
  certainty REAL NOT NULL CHECK (certainty BETWEEN 0 AND 1),
  why TEXT NOT NULL,
  measures TEXT NOT NULL CHECK (json_valid(measures))
) STRICT;
CREATE INDEX findings_survey ON findings (survey_id);
CREATE INDEX findings_photo ON findings (photo_id);

CREATE TABLE rules (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  title TEXT NOT NULL,
  text TEXT NOT NULL,
  added_at TEXT NOT NULL
) STRICT;

CREATE TABLE verdicts (
  id INTEGER PRIMARY KEY,
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  survey_id INTEGER NOT NULL REFERENCES surveys (id),
  rules_sha256 TEXT NOT NULL REFERENCES rules (sha256),
  grader TEXT NOT NULL,
  refires_done INTEGER NOT NULL CHECK (refires_done >= 0),
  facts TEXT NOT NULL CHECK (json_valid(facts)),
  judged TEXT NOT NULL CHECK (json_valid(judged)),
  inputs_sha256 TEXT NOT NULL,
  grade TEXT NOT NULL CHECK (grade IN ('first', 'refire', 'second', 'ungraded')),
  reasons TEXT NOT NULL CHECK (json_valid(reasons)),
  cautions TEXT NOT NULL CHECK (json_valid(cautions)),
  remedies TEXT NOT NULL CHECK (json_valid(remedies)),
  price REAL,
  discard INTEGER NOT NULL CHECK (discard IN (0, 1)),
  decor_only INTEGER NOT NULL CHECK (decor_only IN (0, 1)),
  made_at TEXT NOT NULL
) STRICT;
CREATE INDEX verdicts_round ON verdicts (round_id, id);

CREATE TABLE weights (
  verdict_id INTEGER NOT NULL REFERENCES verdicts (id),
  position INTEGER NOT NULL,
  finding_id INTEGER NOT NULL REFERENCES findings (id),
  severity TEXT NOT NULL CHECK (severity IN ('slight', 'marked')),
  rule TEXT NOT NULL,
  weight TEXT NOT NULL,
  PRIMARY KEY (verdict_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  kind TEXT NOT NULL,
  subject TEXT NOT NULL,
  value TEXT NOT NULL,
  reason TEXT NOT NULL,
  finding_id INTEGER REFERENCES findings (id),
  verdict_id INTEGER REFERENCES verdicts (id),
  undoes INTEGER REFERENCES events (id),
  seen_id INTEGER NOT NULL,
  held INTEGER NOT NULL CHECK (held IN (0, 1)),
  window TEXT NOT NULL,
  said_at TEXT NOT NULL
) STRICT;
CREATE INDEX events_piece ON events (piece_id, id);

CREATE TABLE troubles (
  id INTEGER PRIMARY KEY,
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  analysis TEXT NOT NULL,
  inputs_sha256 TEXT NOT NULL,
  text TEXT NOT NULL,
  met_at TEXT NOT NULL
) STRICT;
CREATE INDEX troubles_round ON troubles (round_id, id);

CREATE TABLE now_facts (
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  round_id INTEGER NOT NULL,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (piece_id, round_id, name)
) STRICT, WITHOUT ROWID;
CREATE INDEX now_facts_value ON now_facts (name, value);

CREATE TABLE now_photos (
  photo_id INTEGER PRIMARY KEY REFERENCES photos (id),
  round_id INTEGER REFERENCES rounds (id),
  view TEXT NOT NULL,
  turn_deg INTEGER NOT NULL
) STRICT;
CREATE INDEX now_photos_round ON now_photos (round_id);
CREATE INDEX now_photos_alone ON now_photos (view) WHERE round_id IS NULL;

CREATE TABLE now_pieces (
  piece_id INTEGER PRIMARY KEY REFERENCES pieces (id),
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  number INTEGER NOT NULL,
  survey_id INTEGER REFERENCES surveys (id),
  verdict_id INTEGER REFERENCES verdicts (id),
  state_id INTEGER NOT NULL,
  photos INTEGER NOT NULL,
  cover_id INTEGER REFERENCES photos (id),
  pending INTEGER NOT NULL CHECK (pending IN (0, 1)),
  trouble TEXT NOT NULL,
  proposed TEXT,
  why TEXT NOT NULL,
  faults TEXT NOT NULL,
  discard INTEGER NOT NULL CHECK (discard IN (0, 1)),
  decor_only INTEGER NOT NULL CHECK (decor_only IN (0, 1)),
  decided TEXT,
  reason TEXT NOT NULL,
  grade TEXT,
  fate TEXT NOT NULL,
  price REAL,
  suggested REAL,
  reference INTEGER NOT NULL CHECK (reference IN (0, 1)),
  findings INTEGER NOT NULL,
  unjudged INTEGER NOT NULL,
  doubt REAL NOT NULL CHECK (doubt BETWEEN 0 AND 1),
  design TEXT NOT NULL,
  form TEXT NOT NULL,
  firing TEXT NOT NULL
) STRICT;
CREATE INDEX now_pieces_batch ON now_pieces (batch_id);
CREATE INDEX now_pieces_grade ON now_pieces (grade);
CREATE INDEX now_pieces_firing ON now_pieces (firing);
CREATE INDEX now_pieces_reference ON now_pieces (design) WHERE reference = 1;
CREATE INDEX now_pieces_waiting ON now_pieces (decided) WHERE decided IS NULL;
CREATE INDEX now_pieces_pending ON now_pieces (pending) WHERE pending = 1;

CREATE TRIGGER piece_facts_now AFTER INSERT ON piece_facts BEGIN
  INSERT INTO now_facts (piece_id, round_id, name, value)
  VALUES (NEW.piece_id, coalesce(NEW.round_id, 0), NEW.name, NEW.value)
  ON CONFLICT (piece_id, round_id, name) DO UPDATE SET value = excluded.value;
END;

CREATE TRIGGER placings_now AFTER INSERT ON placings BEGIN
  INSERT INTO now_photos (photo_id, round_id, view, turn_deg)
  VALUES (NEW.photo_id, NEW.round_id, NEW.view, NEW.turn_deg)
  ON CONFLICT (photo_id) DO UPDATE SET
    round_id = excluded.round_id, view = excluded.view, turn_deg = excluded.turn_deg;
END;
"""

# Second step: refires are compared place by place.
_SECOND = """
CREATE TABLE comparisons (
  id INTEGER PRIMARY KEY,
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  before_survey_id INTEGER NOT NULL REFERENCES surveys (id),
  after_survey_id INTEGER NOT NULL REFERENCES surveys (id),
  method TEXT NOT NULL,
  turned_deg REAL NOT NULL,
  turned_known INTEGER NOT NULL CHECK (turned_known IN (0, 1)),
  agreement REAL NOT NULL,
  sag_before REAL NOT NULL,
  sag_after REAL NOT NULL,
  stretch REAL NOT NULL,
  shift REAL NOT NULL,
  made_at TEXT NOT NULL
) STRICT;
CREATE INDEX comparisons_round ON comparisons (round_id, id);

CREATE TABLE marks (
  comparison_id INTEGER NOT NULL REFERENCES comparisons (id),
  position INTEGER NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('healed', 'unchanged', 'worse', 'new', 'not seen')),
  fault TEXT NOT NULL,
  before_id INTEGER REFERENCES findings (id),
  after_id INTEGER REFERENCES findings (id),
  text TEXT NOT NULL,
  PRIMARY KEY (comparison_id, position),
  CHECK (before_id IS NOT NULL OR after_id IS NOT NULL)
) STRICT, WITHOUT ROWID;
"""

_THIRD = """
CREATE TABLE likenesses (
  survey_id INTEGER NOT NULL REFERENCES surveys (id),
  version INTEGER NOT NULL,
  text TEXT NOT NULL CHECK (json_valid(text)),
  made_at TEXT NOT NULL,
  PRIMARY KEY (survey_id, version)
) STRICT, WITHOUT ROWID;
"""

# Fourth step: pieces are held against their sisters, and a verdict names what those said.
_FOURTH = """
CREATE TABLE sisters (
  id INTEGER PRIMARY KEY,
  survey_id INTEGER NOT NULL REFERENCES surveys (id),
  notes TEXT NOT NULL CHECK (json_valid(notes)),
  changes TEXT NOT NULL CHECK (json_valid(changes)),
  made_at TEXT NOT NULL
) STRICT;
CREATE INDEX sisters_survey ON sisters (survey_id, id);

ALTER TABLE verdicts ADD COLUMN sisters_id INTEGER REFERENCES sisters (id);
"""

_HISTORY_FIRST = [
    "firings",
    "firing_facts",
    "pieces",
    "batches",
    "batch_ends",
    "rounds",
    "piece_facts",
    "photos",
    "placings",
    "surveys",
    "photo_reports",
    "findings",
    "rules",
    "verdicts",
    "weights",
    "events",
    "troubles",
]
_HISTORY_SECOND = ["comparisons", "marks"]
_HISTORY_THIRD = ["likenesses"]
_HISTORY_FOURTH = ["sisters"]
HISTORY = (*_HISTORY_FIRST, *_HISTORY_SECOND, *_HISTORY_THIRD, *_HISTORY_FOURTH)
"""Tables to which rows are only ever added."""


def _only_added_to(tables: list[str]) -> str:
    return "".join(
        f"""
CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN
  SELECT RAISE(ABORT, '{table} is history: rows are only added');
END;
"""
        for table in tables
        for verb in ("UPDATE", "DELETE")
    )


STEPS: tuple[str, ...] = (
    _FIRST + _only_added_to(_HISTORY_FIRST),
    _SECOND + _only_added_to(_HISTORY_SECOND),
    _THIRD + _only_added_to(_HISTORY_THIRD),
    _FOURTH + _only_added_to(_HISTORY_FOURTH),
)
LATEST = len(STEPS)


def statements(script: str) -> Iterator[str]:
    """Split a script into statements, keeping the body of a trigger together.

    ``executescript`` of `sqlite3` commits before it begins, so that a step would not be one
    transaction; hence one statement at a time.
    """
    held = ""
    for line in script.splitlines(keepends=True):
        held += line
        if sqlite3.complete_statement(held):
            if held.strip():
                yield held.strip()
            held = ""
    if held.strip():
        raise ValueError(f"unfinished statement: {held.strip()[:60]}")


def step_up(db: sqlite3.Connection, *, to: int = LATEST) -> None:
    """Do the steps that are missing, each wholly or not at all.

    Parameters
    ----------
    db : sqlite3.Connection
        In autocommit mode (``isolation_level=None``), not inside a transaction.
    to : int
        Number of steps that shall have been done; for tests of older files.
    """
    # Off outside the transaction, as "other kinds of table schema changes" in
    # https://sqlite.org/lang_altertable.html asks; checked before each commit instead.
    db.execute("PRAGMA foreign_keys = OFF")
    try:
        while True:
            db.execute("BEGIN IMMEDIATE")
            try:
                # Read inside the transaction: another process may have done the step meanwhile.
                done: int = db.execute("PRAGMA user_version").fetchone()[0]
                if done >= to:
                    db.execute("ROLLBACK")
                    return
                for statement in statements(STEPS[done]):
                    db.execute(statement)
                broken = db.execute("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise sqlite3.IntegrityError(f"step {done + 1} broke references: {broken[:3]}")
                db.execute(f"PRAGMA user_version = {done + 1}")
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise
    finally:
        db.execute("PRAGMA foreign_keys = ON")
