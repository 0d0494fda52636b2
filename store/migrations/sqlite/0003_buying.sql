-- +goose Up
-- How a supplier takes orders, beside what stands in suppliers.
CREATE TABLE supplier_terms (
  supplier_id     INTEGER PRIMARY KEY REFERENCES suppliers(id),
  cutoffs         TEXT NOT NULL DEFAULT '', -- weekdays, comma separated: mon,thu, or empty for any day
  min_order_cents INTEGER NOT NULL DEFAULT 0 CHECK (min_order_cents >= 0),
  currency        TEXT NOT NULL DEFAULT '',
  CHECK (min_order_cents = 0 OR currency <> '')
) STRICT;

-- Price list of a part: from min_pieces on, a piece costs cents.
CREATE TABLE part_prices (
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  min_pieces INTEGER NOT NULL CHECK (min_pieces > 0),
  cents      INTEGER NOT NULL CHECK (cents >= 0),
  currency   TEXT NOT NULL CHECK (currency <> ''),
  PRIMARY KEY (part_id, min_pieces)
) STRICT;

-- The levels a person accepted, with what they were set from. Nothing else writes here.
CREATE TABLE part_levels (
  part_id    INTEGER PRIMARY KEY REFERENCES parts(id),
  point      INTEGER NOT NULL CHECK (point >= 0),
  quantity   INTEGER NOT NULL CHECK (quantity >= 0),
  weekly     REAL NOT NULL,
  lead       INTEGER NOT NULL,
  safety     REAL NOT NULL,
  why        TEXT NOT NULL,
  set_by     INTEGER NOT NULL REFERENCES people(id),
  set_at     TEXT NOT NULL
) STRICT;

CREATE TABLE part_substitutes (
  part_id  INTEGER NOT NULL REFERENCES parts(id),
  other_id INTEGER NOT NULL REFERENCES parts(id),
  changes  TEXT NOT NULL, -- what is different when it is used
  PRIMARY KEY (part_id, other_id),
  CHECK (part_id <> other_id)
) STRICT;

-- What wears a spare out: so many events of one parent a year, and how many events one lasts.
CREATE TABLE part_wear (
  part_id         INTEGER NOT NULL REFERENCES parts(id), -- the parent
  spare_id        INTEGER NOT NULL REFERENCES parts(id),
  events_per_year REAL NOT NULL CHECK (events_per_year >= 0),
  life_events     REAL NOT NULL CHECK (life_events > 0),
  PRIMARY KEY (part_id, spare_id)
) STRICT;

CREATE TABLE orders (
  id          INTEGER PRIMARY KEY AUTOINCREMENT,
  code        TEXT NOT NULL UNIQUE,
  supplier_id INTEGER NOT NULL REFERENCES suppliers(id),
  state       TEXT NOT NULL CHECK (state IN ('draft','approved','cancelled')),
  cutoff_day  TEXT NOT NULL,
  note        TEXT NOT NULL DEFAULT '',
  made_by     INTEGER NOT NULL REFERENCES people(id),
  made_at     TEXT NOT NULL,
  approved_by INTEGER REFERENCES people(id),
  approved_at TEXT,
  ordered_day TEXT NOT NULL DEFAULT '', -- from here the lead time counts
  version     INTEGER NOT NULL DEFAULT 1,
  CHECK ((state = 'approved') = (approved_by IS NOT NULL))
) STRICT;
CREATE INDEX orders_state ON orders(state, cutoff_day);

CREATE TABLE order_lines (
  id          INTEGER PRIMARY KEY AUTOINCREMENT,
  order_id    INTEGER NOT NULL REFERENCES orders(id),
  part_id     INTEGER NOT NULL REFERENCES parts(id),
  pieces      INTEGER NOT NULL CHECK (pieces > 0),
  pack        INTEGER NOT NULL CHECK (pack > 0),
  price_cents INTEGER CHECK (price_cents >= 0),
  currency    TEXT NOT NULL DEFAULT '',
  due_day     TEXT NOT NULL DEFAULT '', -- as the supplier promised, or as quoted
  owner       TEXT NOT NULL DEFAULT '', -- consigned: the supplier whose it stays until issued
  why         TEXT NOT NULL DEFAULT '', -- the sentence it was proposed with
  closed_at   TEXT, -- the rest will not come
  UNIQUE (order_id, part_id),
  CHECK ((price_cents IS NULL) = (currency = ''))
) STRICT;
CREATE INDEX order_lines_part ON order_lines(part_id);

-- Each delivery against a line. What of it was undone in the ledger does not count.
CREATE TABLE order_receipts (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  line_id INTEGER NOT NULL REFERENCES order_lines(id),
  op_id   TEXT NOT NULL UNIQUE,
  pieces  INTEGER NOT NULL CHECK (pieces > 0),
  day     TEXT NOT NULL,
  surplus INTEGER NOT NULL DEFAULT 0 CHECK (surplus >= 0) -- more than was open, confirmed
) STRICT;
CREATE INDEX order_receipts_line ON order_receipts(line_id);

CREATE TABLE snoozes (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  by_id      INTEGER NOT NULL REFERENCES people(id),
  reason     TEXT NOT NULL,
  until_day  TEXT NOT NULL,
  level      INTEGER NOT NULL,
  stop_day   TEXT NOT NULL DEFAULT '',
  created_at TEXT NOT NULL,
  ended_at   TEXT
) STRICT;
CREATE INDEX snoozes_part ON snoozes(part_id) WHERE ended_at IS NULL;

-- The last message about a part that went out on each way, so that none goes out twice.
CREATE TABLE alerts_sent (
  part_id  INTEGER NOT NULL REFERENCES parts(id),
  way      TEXT NOT NULL CHECK (way IN ('mail','webhook')),
  day      TEXT NOT NULL,
  level    INTEGER NOT NULL,
  stop_day TEXT NOT NULL DEFAULT '',
  sent_at  TEXT NOT NULL,
  PRIMARY KEY (part_id, way)
) STRICT;

-- Requests that found nothing: how often a bar, holder or sleeve was not to be had.
CREATE TABLE refused_requests (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  part_id INTEGER NOT NULL REFERENCES parts(id),
  job_id  INTEGER REFERENCES jobs(id),
  day     TEXT NOT NULL,
  why     TEXT NOT NULL,
  at      TEXT NOT NULL
) STRICT;
CREATE INDEX refused_requests_part ON refused_requests(part_id, day);

CREATE TABLE count_tasks (
  id           INTEGER PRIMARY KEY AUTOINCREMENT,
  day          TEXT NOT NULL,
  item_id      INTEGER NOT NULL REFERENCES items(id),
  place_id     INTEGER NOT NULL REFERENCES places(id),
  why          TEXT NOT NULL,
  created_at   TEXT NOT NULL,
  found        INTEGER CHECK (found >= 0),
  was          INTEGER, -- by the record, when it was counted
  place_ok     INTEGER CHECK (place_ok IN (0,1)), -- bool
  condition_ok INTEGER CHECK (condition_ok IN (0,1)), -- bool
  reason       TEXT NOT NULL DEFAULT '',
  op_id        TEXT NOT NULL DEFAULT '',
  counted_by   INTEGER REFERENCES people(id),
  counted_at   TEXT,
  UNIQUE (day, item_id, place_id)
) STRICT;
CREATE INDEX count_tasks_open ON count_tasks(day) WHERE counted_at IS NULL;
CREATE INDEX count_tasks_item ON count_tasks(item_id, place_id);

-- Files that were read in, by their content: the same file a second time changes nothing.
CREATE TABLE imports (
  digest TEXT PRIMARY KEY,
  kind   TEXT NOT NULL,
  rows   INTEGER NOT NULL,
  by_id  INTEGER NOT NULL,
  at     TEXT NOT NULL
) STRICT;

-- So that a change is noticed without reading the tables.
CREATE INDEX parts_version ON parts(version);
CREATE INDEX jobs_version ON jobs(version);
CREATE INDEX orders_version ON orders(version);
