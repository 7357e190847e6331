BEGIN TRANSACTION;
CREATE TABLE batch_ends (
  id INTEGER PRIMARY KEY,
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  problems TEXT NOT NULL CHECK (json_valid(problems)),
  ended_at TEXT NOT NULL
) STRICT;
INSERT INTO "batch_ends" VALUES(1,1,'[]','2026-11-26T09:09:38.475Z');
CREATE TABLE batches (
  id INTEGER PRIMARY KEY,
  label TEXT NOT NULL,
  source_key TEXT NOT NULL,
  opened_at TEXT NOT NULL
) STRICT;
INSERT INTO "batches" VALUES(1,'load 3','db51204aee0299d6cc5d750e94d75cb14178cb1c0e4380d763812d763646c419','2026-11-26T09:09:37.932Z');
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
INSERT INTO "events" VALUES(1,1,1,'proposed','proposed','first','',NULL,1,NULL,0,0,'','2026-11-26T09:09:38.329Z');
INSERT INTO "events" VALUES(2,2,2,'proposed','proposed','refire','',NULL,2,NULL,0,0,'','2026-11-26T09:09:38.428Z');
INSERT INTO "events" VALUES(3,1,1,'reference','reference','yes','',NULL,NULL,NULL,1,0,'','2026-11-26T09:09:38.597Z');
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
INSERT INTO "findings" VALUES(1,2,5,NULL,'flake','K02/front.jpg','front','[900, 600, 10, 10]','[[900,600],[910,600],[910,610],[900,610]]','painted',1.0,3.33333333333333314829e-01,0.01,7.1,0.9,'A flake for a test.','[["depth", 0.30000000000000004, "mm"]]');
INSERT INTO "findings" VALUES(2,2,5,NULL,'flake','K02/front.jpg','front','[700, 900, 8, 8]','[[700,900],[708,900],[708,908],[700,908]]','painted',0.8,2.13333333333333374781e-01,0.008,7.1,0.6,'A flake for a test.','[["depth", 0.30000000000000004, "mm"]]');
CREATE TABLE firing_facts (
  id INTEGER PRIMARY KEY,
  firing_id INTEGER NOT NULL REFERENCES firings (id),
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  said_at TEXT NOT NULL
) STRICT;
CREATE TABLE firings (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL UNIQUE CHECK (code <> ''),
  added_at TEXT NOT NULL
) STRICT;
CREATE TABLE likenesses (
  survey_id INTEGER NOT NULL REFERENCES surveys (id),
  version INTEGER NOT NULL,
  text TEXT NOT NULL CHECK (json_valid(text)),
  made_at TEXT NOT NULL,
  PRIMARY KEY (survey_id, version)
) STRICT, WITHOUT ROWID;
INSERT INTO "likenesses" VALUES(1,1,'{"piece":"K01","sides":[{"view":"front","wide_mm":80.0,"high_mm":100.0,"red":0.2119826224571003,"blue":-0.3778189433896262,"tone":-1.0,"painted":"000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff0000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000","marks":[],"flags":[]},{"view":"right","wide_mm":80.0,"high_mm":100.0,"red":0.2119826224571003,"blue":-0.3778189433896262,"tone":-1.0,"painted":"000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff0000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000","marks":[],"flags":[]},{"view":"back","wide_mm":80.0,"high_mm":100.0,"red":0.2119826224571003,"blue":-0.3778189433896262,"tone":-1.0,"painted":"000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff0000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000","marks":[],"flags":[]},{"view":"left","wide_mm":80.0,"high_mm":100.0,"red":0.2119826224571003,"blue":-0.3778189433896262,"tone":-1.0,"painted":"000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff0000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000","marks":[],"flags":[]}],"paints":[{"light":[0.11203286837327664,0.17257608189328044,0.7981892882666538],"share":1.0}],"painted_share":0.3125,"turn":[0.001339123717092034,-0.0016108597060808555],"colour_from":"chart","version":1}','2026-11-26T09:09:38.647Z');
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
CREATE TABLE now_facts (
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  round_id INTEGER NOT NULL,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (piece_id, round_id, name)
) STRICT, WITHOUT ROWID;
INSERT INTO "now_facts" VALUES(1,0,'decorated','yes');
INSERT INTO "now_facts" VALUES(2,0,'decorated','yes');
INSERT INTO "now_facts" VALUES(1,0,'design','newt');
INSERT INTO "now_facts" VALUES(2,0,'design','newt');
INSERT INTO "now_facts" VALUES(1,0,'finish','glazed');
INSERT INTO "now_facts" VALUES(2,0,'finish','glazed');
INSERT INTO "now_facts" VALUES(1,0,'form','beaker');
INSERT INTO "now_facts" VALUES(2,0,'form','beaker');
INSERT INTO "now_facts" VALUES(1,0,'price','30');
INSERT INTO "now_facts" VALUES(2,0,'price','30');
CREATE TABLE now_photos (
  photo_id INTEGER PRIMARY KEY REFERENCES photos (id),
  round_id INTEGER REFERENCES rounds (id),
  view TEXT NOT NULL,
  turn_deg INTEGER NOT NULL
) STRICT;
INSERT INTO "now_photos" VALUES(1,1,'front',0);
INSERT INTO "now_photos" VALUES(2,1,'right',0);
INSERT INTO "now_photos" VALUES(3,1,'back',0);
INSERT INTO "now_photos" VALUES(4,1,'left',0);
INSERT INTO "now_photos" VALUES(5,2,'front',0);
INSERT INTO "now_photos" VALUES(6,2,'right',0);
INSERT INTO "now_photos" VALUES(7,2,'back',0);
INSERT INTO "now_photos" VALUES(8,2,'left',0);
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
INSERT INTO "now_pieces" VALUES(1,1,1,0,1,1,3,4,1,0,'','first','No fault was found on the sides that were photographed.','',0,0,NULL,'','first','',NULL,NULL,1,0,0,0.0,'newt','beaker','');
INSERT INTO "now_pieces" VALUES(2,2,1,0,2,2,2,4,5,0,'','refire','2 flakes in the paint, the largest 1.0 mm (front). Few enough to touch up, if the rest of the paint is firm.','flake',0,0,NULL,'','refire','',NULL,NULL,0,2,2,0.4,'newt','beaker','');
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
INSERT INTO "photo_reports" VALUES(1,1,1,'K01/front.jpg','front',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(2,1,2,'K01/right.jpg','right',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(3,1,3,'K01/back.jpg','back',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(4,1,4,'K01/left.jpg','left',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(5,2,5,'K02/front.jpg','front',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(6,2,6,'K02/right.jpg','right',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(7,2,7,'K02/back.jpg','back',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
INSERT INTO "photo_reports" VALUES(8,2,8,'K02/left.jpg','left',2000,1500,1,'[["note", "Made for a test.", false]]',10.0,'marker','chart',1.25,'[600, 200, 800, 1000]',0.5);
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
INSERT INTO "photos" VALUES(1,'64bd5809da3213ffc934f311c79a83a50a93464f965b8198238ba45d160d4f74','photos/64/64bd5809da3213ffc934f311c79a83a50a93464f965b8198238ba45d160d4f74.jpg','K01/front.jpg',36,'2026-11-20T09:00:00',1,'2026-11-26T09:09:37.932Z');
INSERT INTO "photos" VALUES(2,'0f3f6bda1305399ba2738f513e9a42c0aa0f6d5458ab15653ccbe686adea22d2','photos/0f/0f3f6bda1305399ba2738f513e9a42c0aa0f6d5458ab15653ccbe686adea22d2.jpg','K01/right.jpg',36,'2026-11-20T09:01:00',1,'2026-11-26T09:09:37.932Z');
INSERT INTO "photos" VALUES(3,'24ee822a29eafe76020d23cbc905840b51d4c51f723cbdb49bba33112bf3d832','photos/24/24ee822a29eafe76020d23cbc905840b51d4c51f723cbdb49bba33112bf3d832.jpg','K01/back.jpg',35,'2026-11-20T09:02:00',1,'2026-11-26T09:09:37.932Z');
INSERT INTO "photos" VALUES(4,'7a2ab74552871ccd1a976f2a419539ad8ccdbacf13d699ee5aebc96a83b8ff51','photos/7a/7a2ab74552871ccd1a976f2a419539ad8ccdbacf13d699ee5aebc96a83b8ff51.jpg','K01/left.jpg',35,'2026-11-20T09:03:00',1,'2026-11-26T09:09:37.932Z');
INSERT INTO "photos" VALUES(5,'a327249c7737b38f0e886e2bfcbf84cc9f86cd1cf3f9368c7c45d3096f2c1dad','photos/a3/a327249c7737b38f0e886e2bfcbf84cc9f86cd1cf3f9368c7c45d3096f2c1dad.jpg','K02/front.jpg',80,'2026-11-20T09:00:00',1,'2026-11-26T09:09:38.226Z');
INSERT INTO "photos" VALUES(6,'41b90025790293f531e2975041421a0d0a380e62cfe949dbd51b6eb3ee80d472','photos/41/41b90025790293f531e2975041421a0d0a380e62cfe949dbd51b6eb3ee80d472.jpg','K02/right.jpg',36,'2026-11-20T09:01:00',1,'2026-11-26T09:09:38.226Z');
INSERT INTO "photos" VALUES(7,'0ec7737a388f1b2c8509d45832360c7f5d8ff896c5f87aaca7d5a5dc26725b6f','photos/0e/0ec7737a388f1b2c8509d45832360c7f5d8ff896c5f87aaca7d5a5dc26725b6f.jpg','K02/back.jpg',35,'2026-11-20T09:02:00',1,'2026-11-26T09:09:38.226Z');
INSERT INTO "photos" VALUES(8,'cd6223d58342120c4f97de24a0defef259586f77b974bf17d12c9d397e18e0ad','photos/cd/cd6223d58342120c4f97de24a0defef259586f77b974bf17d12c9d397e18e0ad.jpg','K02/left.jpg',35,'2026-11-20T09:03:00',1,'2026-11-26T09:09:38.226Z');
CREATE TABLE piece_facts (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  round_id INTEGER REFERENCES rounds (id),
  name TEXT NOT NULL CHECK (name <> ''),
  value TEXT NOT NULL,
  source TEXT NOT NULL,
  said_at TEXT NOT NULL
) STRICT;
INSERT INTO "piece_facts" VALUES(1,1,NULL,'design','newt','pieces.csv','2026-11-26T09:09:37.932Z');
INSERT INTO "piece_facts" VALUES(2,1,NULL,'form','beaker','pieces.csv','2026-11-26T09:09:37.932Z');
INSERT INTO "piece_facts" VALUES(3,1,NULL,'finish','glazed','pieces.csv','2026-11-26T09:09:37.932Z');
INSERT INTO "piece_facts" VALUES(4,1,NULL,'decorated','yes','pieces.csv','2026-11-26T09:09:37.932Z');
INSERT INTO "piece_facts" VALUES(5,1,NULL,'price','30','pieces.csv','2026-11-26T09:09:37.932Z');
INSERT INTO "piece_facts" VALUES(6,2,NULL,'design','newt','pieces.csv','2026-11-26T09:09:38.226Z');
INSERT INTO "piece_facts" VALUES(7,2,NULL,'form','beaker','pieces.csv','2026-11-26T09:09:38.226Z');
INSERT INTO "piece_facts" VALUES(8,2,NULL,'finish','glazed','pieces.csv','2026-11-26T09:09:38.226Z');
INSERT INTO "piece_facts" VALUES(9,2,NULL,'decorated','yes','pieces.csv','2026-11-26T09:09:38.227Z');
INSERT INTO "piece_facts" VALUES(10,2,NULL,'price','30','pieces.csv','2026-11-26T09:09:38.227Z');
CREATE TABLE pieces (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL COLLATE NOCASE UNIQUE CHECK (code <> ''),
  sort_key TEXT NOT NULL,
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO "pieces" VALUES(1,'K01','k000000000001','2026-11-26T09:09:37.932Z');
INSERT INTO "pieces" VALUES(2,'K02','k000000000002','2026-11-26T09:09:38.217Z');
CREATE TABLE placings (
  id INTEGER PRIMARY KEY,
  photo_id INTEGER NOT NULL REFERENCES photos (id),
  round_id INTEGER REFERENCES rounds (id),
  view TEXT NOT NULL,
  turn_deg INTEGER NOT NULL CHECK (turn_deg IN (0, 90, 180, 270)),
  placed_at TEXT NOT NULL
) STRICT;
INSERT INTO "placings" VALUES(1,1,1,'front',0,'2026-11-26T09:09:37.932Z');
INSERT INTO "placings" VALUES(2,2,1,'right',0,'2026-11-26T09:09:37.932Z');
INSERT INTO "placings" VALUES(3,3,1,'back',0,'2026-11-26T09:09:37.932Z');
INSERT INTO "placings" VALUES(4,4,1,'left',0,'2026-11-26T09:09:37.932Z');
INSERT INTO "placings" VALUES(5,5,2,'front',0,'2026-11-26T09:09:38.226Z');
INSERT INTO "placings" VALUES(6,6,2,'right',0,'2026-11-26T09:09:38.226Z');
INSERT INTO "placings" VALUES(7,7,2,'back',0,'2026-11-26T09:09:38.226Z');
INSERT INTO "placings" VALUES(8,8,2,'left',0,'2026-11-26T09:09:38.226Z');
CREATE TABLE rounds (
  id INTEGER PRIMARY KEY,
  piece_id INTEGER NOT NULL REFERENCES pieces (id),
  number INTEGER NOT NULL CHECK (number >= 0),
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  because TEXT NOT NULL,
  opened_at TEXT NOT NULL,
  UNIQUE (piece_id, number)
) STRICT;
INSERT INTO "rounds" VALUES(1,1,0,1,'first photos','2026-11-26T09:09:37.932Z');
INSERT INTO "rounds" VALUES(2,2,0,1,'first photos','2026-11-26T09:09:38.217Z');
CREATE TABLE rules (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  title TEXT NOT NULL,
  text TEXT NOT NULL,
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO "rules" VALUES('376d2e11ec880dd3fb83fce756f1229b250cf169341b28aa1bc08712c4a6fbd0','common practice (376d2e11ec)','{"cautions": {"again": "This would be its second refire: rare, and the last.", "crazing": "Crazing can appear days after the firing and often shows only with side light and ink: not seen is not a pass.", "dry": "Ware that was used or washed must be dried fully before a refire.", "flat": "Wide flat ware often cracks in a refire.", "food": "A photo cannot show whether a glaze gives off lead or cadmium, or fits the clay: only a leach test does (ISO 6486, ASTM C738). Follow your local rules for ware sold for food.", "grinding": "Grind or sand wet, with eye protection and a respirator: the dust holds silica.", "kiln": "Kiln wire, elements and power are an electrician''s work. Follow your local codes.", "not_food": "Not for food or hot liquid: cracked, flaking, pitted or bare inside.", "unloading": "Unload only when the kiln is cool. Shards, flakes and glaze drips cut: wear gloves when unloading and sorting."}, "certainty": {"counts_from": 0.5, "safety_from": 0.0}, "colour": {"noise_de00": 0.0, "widen_backdrop": 1.15, "widen_grey": 1.1, "widen_none": 1.25}, "faults": {"crack": {"cause": "drying, a joint, or cooling stress", "label": "crack", "marked": "discard", "marked_mm": 0.0, "plural": "cracks", "remedy": "", "safety": true, "slight": "discard", "text": {"decor": "{what}. A refire opens a crack further. For decoration only, with the crack shown.", "discard": "{what}. It can break in use: do not sell it.", "first": "", "refire": "", "second": "{what}. A refire opens a crack further. Sell it with the crack shown."}, "where": {"ornament": {"marked": "decor", "slight": "decor", "use": ["decor"]}, "planter_foot": {"longest_mm": 30.0, "marked": "decor", "slight": "decor", "use": ["plant"], "zone": ["foot"]}}}, "crawl": {"cause": "dust, grease, thick or cracked raw glaze, or thick underglaze below", "label": "bare island in the glaze", "marked": "refire", "marked_count": 3, "marked_mm": 5.0, "plural": "bare islands in the glaze", "refire_most": 6, "remedy": "Grind the rolled edge away wet, wash, dry, dab glaze on the bare place and fire once to the same cone. One try only: makers disagree on how often it works.", "slight": "refire", "text": {"decor": "{what}. Bare clay inside takes up what is put in it: not for food or drink.", "discard": "{what}. Not for sale.", "first": "{what}. By itself it keeps a piece first.", "refire": "{what}. One try after grinding the edge and glazing it again.", "second": "{what}. Sell it with the bare places shown."}, "where": {"inside_food": {"marked": "decor", "safety": true, "slight": "decor", "use": ["food"], "zone": ["inside"]}}}, "flake": {"cause": "underglaze too thick, or painted on bisque with dust or grease below", "label": "flake in the paint", "marked": "refire", "marked_count": 4, "marked_mm": 1.5, "plural": "flakes in the paint", "refire_most": 6, "remark_below_mm": 0.3, "remedy": "Rub the edges of each flake with a wooden tool: if more comes off, it is a second. Touch up with the same underglaze, let it dry, put thin clear over the spot and fire once, one or two cones cooler.", "slight": "refire", "text": {"decor": "{what}. Not for food or drink: flakes can come loose.", "discard": "{what}. Flakes inside a piece for food can come loose: do not sell it.", "first": "{what}. Too small to matter.", "refire": "{what}. Few enough to touch up, if the rest of the paint is firm.", "second": "{what}. Sell it with the flakes shown."}, "where": {"inside_food": {"marked": "discard", "safety": true, "slight": "discard", "use": ["food"], "zone": ["inside"]}}}, "one_sided_browning": {"cause": "one side faced the kiln wall or the elements", "label": "browned side", "marked": "second", "marked_de00": 6.0, "plural": "browned sides", "remark_below_de00": 1.8, "remedy": "", "slight": "second", "text": {"decor": "{what}. For decoration.", "discard": "{what}. Not for sale.", "first": "{what}. You like a toasted side, so by itself it keeps a piece first.", "refire": "{what}.", "second": "{what}. A refire does not undo it. Safe to use; if you like the look of it, pass it as first."}}, "pit": {"cause": "gas from the body or the glaze, or dust", "label": "pit", "marked": "second", "marked_count": 3, "marked_mm": 1.0, "plural": "pits", "remark_below_mm": 0.2, "remedy": "Grind the rim of each pit flat, dab glaze into it, fire once, cooler and faster than before.", "slight": "first", "text": {"decor": "{what}. A pit inside holds what is put in it: not for food or drink.", "discard": "{what}. Not for sale.", "first": "{what}. Few, small and outside, so by themselves they keep a piece first.", "refire": "{what}. One try: dab glaze in and fire cooler and faster.", "second": "{what}. A refire often makes pits worse; sell it with the pits shown."}, "where": {"inside_food": {"marked": "decor", "safety": true, "slight": "decor", "use": ["food"], "zone": ["inside"]}}}, "pool_tint": {"cause": "dipped too long, or glaze too thick", "label": "milky veil where the glaze is thick", "marked": "second", "marked_de00": 6.0, "marked_height_share": 0.5, "plural": "milky veils where the glaze is thick", "remark_below_de00": 1.8, "remedy": "Only if it was underfired or bubbled: fire once more with a soak. Never add glaze.", "slight": "first", "text": {"decor": "{what}. For decoration.", "discard": "{what}. Not for sale.", "first": "{what}. Slight or out of sight, so by itself it keeps a piece first.", "refire": "{what}. If it was underfired, a refire with a soak may clear it.", "second": "{what}. It shows, and a refire seldom clears it. Safe if the glaze is sealed; sell it with a word about the veil."}, "where": {"out_of_sight": {"marked": "first", "sight": ["hidden"], "slight": "first"}}}, "scorch": {"cause": "too near an element or a neighbour; this clay is heat-sensitive", "label": "scorch mark", "marked": "second", "marked_de00": 6.0, "marked_height_share": 0.5, "plural": "scorch marks", "remark_below_de00": 1.8, "remedy": "", "slight": "second", "text": {"decor": "{what}. For decoration.", "discard": "{what}. Not for sale.", "first": "{what}. It hardly shows, so by itself it keeps a piece first.", "refire": "{what}.", "second": "{what}. A refire does not lighten fired clay. Safe to use; sell it with an honest word about the mark."}}, "streak": {"cause": "underglaze too thin, or too few coats", "label": "streaked patch of paint", "marked": "second", "marked_de00": 6.0, "marked_height_share": 0.3, "plural": "streaked patches of paint", "remark_below_de00": 1.8, "remedy": "Paint over the streaks, let it dry, put thin clear on top and fire once, one or two cones cooler. It works about as often as not.", "slight": "second", "text": {"decor": "{what}. For decoration.", "discard": "{what}. Not for sale.", "first": "{what}. It hardly shows, so by itself it keeps a piece first.", "refire": "{what}. Paint over, clear, and fire once more.", "second": "{what}. Painting over works about as often as not, so it is usually a second."}}}, "finish": {"coloured_judged": ["pit", "crawl", "crack"]}, "name": "common practice", "photos": {"floor_px": 3.0, "speck_mm": 0.5}, "refire": {"flat_forms": ["plate", "platter", "dish", "tray", "tile", "charger"], "most": 1, "text": {"spent": "{what}. It has had as many refires as the rules allow; sell it with the flaw shown.", "spoiled": "{what}. This could be touched up, but only an otherwise sound piece is worth a refire.", "too_many": "{what}. Too many to touch up; sell it with them shown."}}, "seconds": {"marked": 0.5, "round_to": 0.5, "several": 0.3, "slight": 0.7}, "use": {"decor_forms": ["vase", "tile", "figure", "ornament", "candle holder", "lamp"], "food_forms": ["cup", "mug", "beaker", "bowl", "jug", "pitcher", "plate", "platter", "dish", "teapot", "salt pot", "jar", "tumbler"], "plant_forms": ["planter", "plant pot", "flower pot", "saucer"], "unknown": "food"}, "views": {"advised": ["foot", "inside"], "required": ["front", "right", "back", "left"], "show": ["front", "right", "back", "left"]}}','2026-11-26T09:09:38.329Z');
CREATE TABLE studio (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;
INSERT INTO "studio" VALUES('name','Ormsedge Pottery');
INSERT INTO "studio" VALUES('made_at','2026-11-26T09:09:37.782Z');
INSERT INTO "studio" VALUES('id','f78f9de77b944406b7bb20d26be1fb16');
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
INSERT INTO "surveys" VALUES(1,1,'test 1','0.1.0','dff67c1d66c493292d4c69391d98c5396f085da0e9a5a870600890fb5a1f5583','["clay", "painted"]','2026-11-26T09:09:38.327Z');
INSERT INTO "surveys" VALUES(2,2,'test 1','0.1.0','2932df5795c323033ccd6381d7f0cc698266c6aa6309892f8ae8144c2fda5cd8','["clay", "painted"]','2026-11-26T09:09:38.426Z');
CREATE TABLE troubles (
  id INTEGER PRIMARY KEY,
  round_id INTEGER NOT NULL REFERENCES rounds (id),
  analysis TEXT NOT NULL,
  inputs_sha256 TEXT NOT NULL,
  text TEXT NOT NULL,
  met_at TEXT NOT NULL
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
INSERT INTO "verdicts" VALUES(1,1,1,'376d2e11ec880dd3fb83fce756f1229b250cf169341b28aa1bc08712c4a6fbd0','0.1.0',0,'{"design": "newt", "form": "beaker", "finish": "glazed", "decorated": "yes", "price": "30"}','[]','bd9fb6322ed4015e8f86f4cc46be7c3a40b33ae9719b2c3d1defaf77149ee64d','first','[[null, "views.required", "No fault was found on the sides that were photographed."], [null, "views.advised", "The inside and the foot were not seen in a usable photo: look at them before selling."]]','["A photo cannot show whether a glaze gives off lead or cadmium, or fits the clay: only a leach test does (ISO 6486, ASTM C738). Follow your local rules for ware sold for food.", "Crazing can appear days after the firing and often shows only with side light and ink: not seen is not a pass."]','[]',NULL,0,0,'2026-11-26T09:09:38.329Z');
INSERT INTO "verdicts" VALUES(2,2,2,'376d2e11ec880dd3fb83fce756f1229b250cf169341b28aa1bc08712c4a6fbd0','0.1.0',0,'{"design": "newt", "form": "beaker", "finish": "glazed", "decorated": "yes", "price": "30"}','[[1, 0.9], [2, 0.6]]','47d9ce7c9df1d4302ef01eec8038fbbb494c57bab147d1ef47079e47cfed4252','refire','[["flake", "faults.flake.slight", "2 flakes in the paint, the largest 1.0 mm (front). Few enough to touch up, if the rest of the paint is firm."], [null, "views.advised", "The inside and the foot were not seen in a usable photo: look at them before selling."]]','["Unload only when the kiln is cool. Shards, flakes and glaze drips cut: wear gloves when unloading and sorting.", "Ware that was used or washed must be dried fully before a refire.", "A photo cannot show whether a glaze gives off lead or cadmium, or fits the clay: only a leach test does (ISO 6486, ASTM C738). Follow your local rules for ware sold for food.", "Crazing can appear days after the firing and often shows only with side light and ink: not seen is not a pass."]','["Rub the edges of each flake with a wooden tool: if more comes off, it is a second. Touch up with the same underglaze, let it dry, put thin clear over the spot and fire once, one or two cones cooler."]',NULL,0,0,'2026-11-26T09:09:38.428Z');
CREATE TABLE weights (
  verdict_id INTEGER NOT NULL REFERENCES verdicts (id),
  position INTEGER NOT NULL,
  finding_id INTEGER NOT NULL REFERENCES findings (id),
  severity TEXT NOT NULL CHECK (severity IN ('slight', 'marked')),
  rule TEXT NOT NULL,
  weight TEXT NOT NULL,
  PRIMARY KEY (verdict_id, position)
) STRICT, WITHOUT ROWID;
INSERT INTO "weights" VALUES(2,0,1,'slight','faults.flake.marked_mm','counts');
INSERT INTO "weights" VALUES(2,1,2,'slight','faults.flake.marked_mm','counts');
CREATE INDEX firing_facts_firing ON firing_facts (firing_id, name, id);
CREATE INDEX pieces_sort ON pieces (sort_key);
CREATE INDEX batches_source ON batches (source_key);
CREATE INDEX batch_ends_batch ON batch_ends (batch_id);
CREATE INDEX rounds_batch ON rounds (batch_id);
CREATE INDEX piece_facts_piece ON piece_facts (piece_id, id);
CREATE INDEX placings_photo ON placings (photo_id, id);
CREATE INDEX photo_reports_survey ON photo_reports (survey_id);
CREATE INDEX findings_survey ON findings (survey_id);
CREATE INDEX findings_photo ON findings (photo_id);
CREATE INDEX verdicts_round ON verdicts (round_id, id);
CREATE INDEX events_piece ON events (piece_id, id);
CREATE INDEX troubles_round ON troubles (round_id, id);
CREATE INDEX now_facts_value ON now_facts (name, value);
CREATE INDEX now_photos_round ON now_photos (round_id);
CREATE INDEX now_photos_alone ON now_photos (view) WHERE round_id IS NULL;
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
CREATE TRIGGER firings_no_update BEFORE UPDATE ON firings BEGIN
  SELECT RAISE(ABORT, 'firings is history: rows are only added');
END;
CREATE TRIGGER firings_no_delete BEFORE DELETE ON firings BEGIN
  SELECT RAISE(ABORT, 'firings is history: rows are only added');
END;
CREATE TRIGGER firing_facts_no_update BEFORE UPDATE ON firing_facts BEGIN
  SELECT RAISE(ABORT, 'firing_facts is history: rows are only added');
END;
CREATE TRIGGER firing_facts_no_delete BEFORE DELETE ON firing_facts BEGIN
  SELECT RAISE(ABORT, 'firing_facts is history: rows are only added');
END;
CREATE TRIGGER pieces_no_update BEFORE UPDATE ON pieces BEGIN
  SELECT RAISE(ABORT, 'pieces is history: rows are only added');
END;
CREATE TRIGGER pieces_no_delete BEFORE DELETE ON pieces BEGIN
  SELECT RAISE(ABORT, 'pieces is history: rows are only added');
END;
CREATE TRIGGER batches_no_update BEFORE UPDATE ON batches BEGIN
  SELECT RAISE(ABORT, 'batches is history: rows are only added');
END;
CREATE TRIGGER batches_no_delete BEFORE DELETE ON batches BEGIN
  SELECT RAISE(ABORT, 'batches is history: rows are only added');
END;
CREATE TRIGGER batch_ends_no_update BEFORE UPDATE ON batch_ends BEGIN
  SELECT RAISE(ABORT, 'batch_ends is history: rows are only added');
END;
CREATE TRIGGER batch_ends_no_delete BEFORE DELETE ON batch_ends BEGIN
  SELECT RAISE(ABORT, 'batch_ends is history: rows are only added');
END;
CREATE TRIGGER rounds_no_update BEFORE UPDATE ON rounds BEGIN
  SELECT RAISE(ABORT, 'rounds is history: rows are only added');
END;
CREATE TRIGGER rounds_no_delete BEFORE DELETE ON rounds BEGIN
  SELECT RAISE(ABORT, 'rounds is history: rows are only added');
END;
CREATE TRIGGER piece_facts_no_update BEFORE UPDATE ON piece_facts BEGIN
  SELECT RAISE(ABORT, 'piece_facts is history: rows are only added');
END;
CREATE TRIGGER piece_facts_no_delete BEFORE DELETE ON piece_facts BEGIN
  SELECT RAISE(ABORT, 'piece_facts is history: rows are only added');
END;
CREATE TRIGGER photos_no_update BEFORE UPDATE ON photos BEGIN
  SELECT RAISE(ABORT, 'photos is history: rows are only added');
END;
CREATE TRIGGER photos_no_delete BEFORE DELETE ON photos BEGIN
  SELECT RAISE(ABORT, 'photos is history: rows are only added');
END;
CREATE TRIGGER placings_no_update BEFORE UPDATE ON placings BEGIN
  SELECT RAISE(ABORT, 'placings is history: rows are only added');
END;
CREATE TRIGGER placings_no_delete BEFORE DELETE ON placings BEGIN
  SELECT RAISE(ABORT, 'placings is history: rows are only added');
END;
CREATE TRIGGER surveys_no_update BEFORE UPDATE ON surveys BEGIN
  SELECT RAISE(ABORT, 'surveys is history: rows are only added');
END;
CREATE TRIGGER surveys_no_delete BEFORE DELETE ON surveys BEGIN
  SELECT RAISE(ABORT, 'surveys is history: rows are only added');
END;
CREATE TRIGGER photo_reports_no_update BEFORE UPDATE ON photo_reports BEGIN
  SELECT RAISE(ABORT, 'photo_reports is history: rows are only added');
END;
CREATE TRIGGER photo_reports_no_delete BEFORE DELETE ON photo_reports BEGIN
  SELECT RAISE(ABORT, 'photo_reports is history: rows are only added');
END;
CREATE TRIGGER findings_no_update BEFORE UPDATE ON findings BEGIN
  SELECT RAISE(ABORT, 'findings is history: rows are only added');
END;
CREATE TRIGGER findings_no_delete BEFORE DELETE ON findings BEGIN
  SELECT RAISE(ABORT, 'findings is history: rows are only added');
END;
CREATE TRIGGER rules_no_update BEFORE UPDATE ON rules BEGIN
  SELECT RAISE(ABORT, 'rules is history: rows are only added');
END;
CREATE TRIGGER rules_no_delete BEFORE DELETE ON rules BEGIN
  SELECT RAISE(ABORT, 'rules is history: rows are only added');
END;
CREATE TRIGGER verdicts_no_update BEFORE UPDATE ON verdicts BEGIN
  SELECT RAISE(ABORT, 'verdicts is history: rows are only added');
END;
CREATE TRIGGER verdicts_no_delete BEFORE DELETE ON verdicts BEGIN
  SELECT RAISE(ABORT, 'verdicts is history: rows are only added');
END;
CREATE TRIGGER weights_no_update BEFORE UPDATE ON weights BEGIN
  SELECT RAISE(ABORT, 'weights is history: rows are only added');
END;
CREATE TRIGGER weights_no_delete BEFORE DELETE ON weights BEGIN
  SELECT RAISE(ABORT, 'weights is history: rows are only added');
END;
CREATE TRIGGER events_no_update BEFORE UPDATE ON events BEGIN
  SELECT RAISE(ABORT, 'events is history: rows are only added');
END;
CREATE TRIGGER events_no_delete BEFORE DELETE ON events BEGIN
  SELECT RAISE(ABORT, 'events is history: rows are only added');
END;
CREATE TRIGGER troubles_no_update BEFORE UPDATE ON troubles BEGIN
  SELECT RAISE(ABORT, 'troubles is history: rows are only added');
END;
CREATE TRIGGER troubles_no_delete BEFORE DELETE ON troubles BEGIN
  SELECT RAISE(ABORT, 'troubles is history: rows are only added');
END;
CREATE INDEX comparisons_round ON comparisons (round_id, id);
CREATE TRIGGER comparisons_no_update BEFORE UPDATE ON comparisons BEGIN
  SELECT RAISE(ABORT, 'comparisons is history: rows are only added');
END;
CREATE TRIGGER comparisons_no_delete BEFORE DELETE ON comparisons BEGIN
  SELECT RAISE(ABORT, 'comparisons is history: rows are only added');
END;
CREATE TRIGGER marks_no_update BEFORE UPDATE ON marks BEGIN
  SELECT RAISE(ABORT, 'marks is history: rows are only added');
END;
CREATE TRIGGER marks_no_delete BEFORE DELETE ON marks BEGIN
  SELECT RAISE(ABORT, 'marks is history: rows are only added');
END;
CREATE TRIGGER likenesses_no_update BEFORE UPDATE ON likenesses BEGIN
  SELECT RAISE(ABORT, 'likenesses is history: rows are only added');
END;
CREATE TRIGGER likenesses_no_delete BEFORE DELETE ON likenesses BEGIN
  SELECT RAISE(ABORT, 'likenesses is history: rows are only added');
END;
COMMIT;
