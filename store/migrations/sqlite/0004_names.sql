-- +goose Up
-- What two names of one thing share, empty where no reader knows the name.
ALTER TABLE parts ADD COLUMN name_key TEXT NOT NULL DEFAULT '';
CREATE INDEX parts_name_key ON parts(kind, name_key) WHERE name_key <> '';

-- Other codes a part answers to: of the records merged into it, and foreign barcodes that a
-- person linked to it.
CREATE TABLE part_codes (
  folded     TEXT PRIMARY KEY, -- capitals, no white space
  code       TEXT NOT NULL,    -- as printed
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  why        TEXT NOT NULL CHECK (why IN ('merged','linked')),
  by_id      INTEGER NOT NULL REFERENCES people(id),
  created_at TEXT NOT NULL
) STRICT;
CREATE INDEX part_codes_part ON part_codes(part_id);

-- One record became part of another. What it changed is kept, so that it can be taken apart.
CREATE TABLE part_merges (
  op_id     TEXT PRIMARY KEY,
  from_id   INTEGER NOT NULL REFERENCES parts(id),
  into_id   INTEGER NOT NULL REFERENCES parts(id),
  by_id     INTEGER NOT NULL REFERENCES people(id),
  reason    TEXT NOT NULL DEFAULT '',
  changed   TEXT NOT NULL, -- JSON: items, codes and needs that changed hands
  at        TEXT NOT NULL,
  undone_at TEXT,
  CHECK (from_id <> into_id)
) STRICT;
CREATE INDEX part_merges_into ON part_merges(into_id);

-- A reground insert or a shortened bar is a record of its own: other sizes, other mates.
CREATE TABLE part_regrinds (
  part_id   INTEGER PRIMARY KEY REFERENCES parts(id),
  new_id    INTEGER NOT NULL REFERENCES parts(id), -- what it was when new
  from_id   INTEGER NOT NULL REFERENCES parts(id), -- what it was before this grinding
  times     INTEGER NOT NULL CHECK (times > 0),
  symbol    TEXT NOT NULL,
  was_mm    REAL NOT NULL CHECK (was_mm > 0),
  now_mm    REAL NOT NULL CHECK (now_mm > 0),
  CHECK (now_mm < was_mm)
) STRICT;
CREATE INDEX part_regrinds_new ON part_regrinds(new_id);

-- How often a part may be reground, where somebody said so.
CREATE TABLE part_regrind_limits (
  part_id INTEGER PRIMARY KEY REFERENCES parts(id),
  times   INTEGER NOT NULL CHECK (times >= 0)
) STRICT;

-- Look-ups that ended in "not here": nothing of that name, or none on the shelf.
CREATE TABLE lookups (
  id       INTEGER PRIMARY KEY AUTOINCREMENT,
  at       TEXT NOT NULL,
  day      TEXT NOT NULL,
  actor_id INTEGER NOT NULL REFERENCES people(id),
  folded   TEXT NOT NULL,
  part_id  INTEGER REFERENCES parts(id) -- the part that was meant, when one was
) STRICT;
CREATE INDEX lookups_day ON lookups(day, id);
