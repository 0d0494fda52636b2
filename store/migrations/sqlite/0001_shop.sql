-- +goose Up
CREATE TABLE settings (
  key   TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;

CREATE TABLE suppliers (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  code       TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  email      TEXT NOT NULL DEFAULT '',
  phone      TEXT NOT NULL DEFAULT '',
  lead_days  INTEGER NOT NULL DEFAULT 0 CHECK (lead_days >= 0),
  created_at TEXT NOT NULL
) STRICT;

-- Where things are. Outside places may go below zero, inside ones never.
CREATE TABLE places (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  tag        TEXT UNIQUE,
  code       TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  kind       TEXT NOT NULL CHECK (kind IN ('bin','station','person','kit','inspection','lost','regrind','supplier','scrap','use','adjust')),
  outside    INTEGER NOT NULL CHECK (outside IN (0,1)), -- bool
  parent     TEXT NOT NULL DEFAULT '',
  sort_key   TEXT NOT NULL DEFAULT '',
  created_at TEXT NOT NULL,
  retired_at TEXT
) STRICT;

-- Names of people stand here alone; the ledger knows them by number.
CREATE TABLE people (
  id            INTEGER PRIMARY KEY AUTOINCREMENT,
  tag           TEXT UNIQUE,
  login         TEXT NOT NULL UNIQUE,
  name          TEXT NOT NULL,
  role          TEXT NOT NULL CHECK (role IN ('operator','attendant','manager','admin')),
  place_id      INTEGER NOT NULL REFERENCES places(id),
  phone         TEXT NOT NULL DEFAULT '',
  badge_hmac    TEXT UNIQUE,
  pin_hash      TEXT NOT NULL DEFAULT '',
  password_hash TEXT NOT NULL DEFAULT '',
  created_at    TEXT NOT NULL,
  left_at       TEXT
) STRICT;

CREATE TABLE machines (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  tag        TEXT UNIQUE,
  code       TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  maker      TEXT NOT NULL DEFAULT '',
  power_kw   REAL,
  max_rpm    REAL,
  created_at TEXT NOT NULL
) STRICT;

CREATE TABLE stations (
  id              INTEGER PRIMARY KEY AUTOINCREMENT,
  machine_id      INTEGER NOT NULL REFERENCES machines(id),
  place_id        INTEGER NOT NULL UNIQUE REFERENCES places(id),
  number          INTEGER NOT NULL CHECK (number > 0),
  interface       TEXT NOT NULL,
  coolant_port    TEXT NOT NULL DEFAULT '',
  coolant_max_bar REAL,
  max_projection  REAL,
  max_mass_kg     REAL,
  UNIQUE (machine_id, number)
) STRICT;

-- The catalogue. What a part measures stands in part_facts, one row a value, as entered.
CREATE TABLE parts (
  id          INTEGER PRIMARY KEY AUTOINCREMENT,
  code        TEXT NOT NULL UNIQUE,
  kind        TEXT NOT NULL,
  name        TEXT NOT NULL DEFAULT '',
  designation TEXT NOT NULL DEFAULT '',
  maker       TEXT NOT NULL DEFAULT '',
  maker_code  TEXT NOT NULL DEFAULT '',
  counted     TEXT NOT NULL CHECK (counted IN ('piece','lot')),
  edges       INTEGER NOT NULL DEFAULT 0 CHECK (edges >= 0),
  grade       TEXT NOT NULL DEFAULT '',
  supplier_id INTEGER REFERENCES suppliers(id),
  price_cents INTEGER CHECK (price_cents >= 0),
  currency    TEXT NOT NULL DEFAULT '',
  lead_days   INTEGER CHECK (lead_days >= 0),
  pack        INTEGER NOT NULL DEFAULT 1 CHECK (pack > 0),
  min_order   INTEGER NOT NULL DEFAULT 1 CHECK (min_order > 0),
  reorder_at  INTEGER CHECK (reorder_at >= 0),
  home_id     INTEGER REFERENCES places(id),
  note        TEXT NOT NULL DEFAULT '',
  folded      TEXT NOT NULL DEFAULT '',
  merged_into INTEGER REFERENCES parts(id),
  version     INTEGER NOT NULL DEFAULT 1,
  created_at  TEXT NOT NULL,
  retired_at  TEXT,
  CHECK ((price_cents IS NULL) = (currency = ''))
) STRICT;
CREATE INDEX parts_kind ON parts(kind, code);

CREATE TABLE part_facts (
  part_id INTEGER NOT NULL REFERENCES parts(id),
  symbol  TEXT NOT NULL,
  value   TEXT NOT NULL, -- JSON, millimetres where it is a length
  entered TEXT NOT NULL DEFAULT '', -- as the person typed it, with its unit
  origin  TEXT NOT NULL DEFAULT 'entered' CHECK (origin IN ('entered','designation','maker')),
  PRIMARY KEY (part_id, symbol)
) STRICT;

-- What a part mates with, derived from its facts when it is saved, so that a mate is found by index.
CREATE TABLE part_joints (
  part_id INTEGER NOT NULL REFERENCES parts(id),
  n       INTEGER NOT NULL,
  side    TEXT NOT NULL,
  family  TEXT NOT NULL,
  code    TEXT NOT NULL DEFAULT '',
  mm      REAL,
  gender  TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (part_id, n)
) STRICT;
CREATE INDEX part_joints_code ON part_joints(family, code);
CREATE INDEX part_joints_mm ON part_joints(family, mm);

-- Spares that a part needs: screws, shims, keys, seals.
CREATE TABLE part_needs (
  part_id  INTEGER NOT NULL REFERENCES parts(id),
  spare_id INTEGER NOT NULL REFERENCES parts(id),
  qty      INTEGER NOT NULL DEFAULT 1 CHECK (qty > 0),
  PRIMARY KEY (part_id, spare_id)
) STRICT;

-- A piece is one individual, a lot is many counted together; both are items of the ledger.
CREATE TABLE items (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  tag        TEXT NOT NULL UNIQUE,
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  kind       TEXT NOT NULL CHECK (kind IN ('piece','lot')),
  edges_left INTEGER CHECK (edges_left >= 0), -- inserts: edges on each; NULL: as new
  box        TEXT NOT NULL DEFAULT '',
  owner      TEXT NOT NULL DEFAULT '', -- consignment: the supplier whose it is
  home_id    INTEGER REFERENCES places(id),
  serial     TEXT NOT NULL DEFAULT '',
  held       TEXT NOT NULL DEFAULT '', -- why it is held back; empty: it is not
  price_cents INTEGER,
  currency   TEXT NOT NULL DEFAULT '',
  created_at TEXT NOT NULL,
  retired_at TEXT
) STRICT;
CREATE INDEX items_part ON items(part_id);

CREATE TABLE stock (
  item_id  INTEGER NOT NULL REFERENCES items(id),
  place_id INTEGER NOT NULL REFERENCES places(id),
  qty      INTEGER NOT NULL,
  PRIMARY KEY (item_id, place_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX stock_place ON stock(place_id);

CREATE TABLE jobs (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  tag        TEXT UNIQUE,
  code       TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL DEFAULT '',
  machine_id INTEGER REFERENCES machines(id),
  station_id INTEGER REFERENCES stations(id),
  material   TEXT NOT NULL DEFAULT '',
  parts_qty  INTEGER NOT NULL DEFAULT 0 CHECK (parts_qty >= 0),
  parts_done INTEGER NOT NULL DEFAULT 0 CHECK (parts_done >= 0),
  from_day   TEXT NOT NULL,
  to_day     TEXT NOT NULL,
  state      TEXT NOT NULL CHECK (state IN ('planned','running','done','closed')),
  dear       INTEGER NOT NULL DEFAULT 0 CHECK (dear IN (0,1)), -- bool
  request    TEXT NOT NULL DEFAULT '{}', -- JSON, the stack asked for
  note       TEXT NOT NULL DEFAULT '',
  version    INTEGER NOT NULL DEFAULT 1,
  created_at TEXT NOT NULL,
  CHECK (from_day <= to_day)
) STRICT;
CREATE INDEX jobs_state ON jobs(state, from_day);

-- A piece, or a number of a lot, promised to a job from day to day, both included.
CREATE TABLE reservations (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  job_id     INTEGER NOT NULL REFERENCES jobs(id),
  item_id    INTEGER NOT NULL REFERENCES items(id),
  qty        INTEGER NOT NULL CHECK (qty > 0),
  from_day   TEXT NOT NULL,
  to_day     TEXT NOT NULL,
  op_id      TEXT NOT NULL,
  actor_id   INTEGER NOT NULL REFERENCES people(id),
  created_at TEXT NOT NULL,
  ended_at   TEXT,
  CHECK (from_day <= to_day)
) STRICT;
CREATE INDEX reservations_item ON reservations(item_id) WHERE ended_at IS NULL;
CREATE INDEX reservations_job ON reservations(job_id) WHERE ended_at IS NULL;

-- One act of a person. The row, its movements and the answer are one transaction.
CREATE TABLE ops (
  op_id       TEXT PRIMARY KEY,
  act         TEXT NOT NULL,
  fingerprint TEXT NOT NULL,
  actor_id    INTEGER NOT NULL REFERENCES people(id),
  role        TEXT NOT NULL,
  lines       INTEGER NOT NULL,
  answer      TEXT NOT NULL,
  at          TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE movements (
  seq       INTEGER PRIMARY KEY,
  op_id     TEXT NOT NULL REFERENCES ops(op_id) DEFERRABLE INITIALLY DEFERRED,
  line      INTEGER NOT NULL CHECK (line > 0),
  at        TEXT NOT NULL,
  actor_id  INTEGER NOT NULL REFERENCES people(id),
  device    TEXT NOT NULL DEFAULT '',
  act       TEXT NOT NULL CHECK (act IN ('issue','return','receive','transfer','count','adjust','scrap','use','reverse')),
  item_id   INTEGER NOT NULL REFERENCES items(id),
  from_id   INTEGER NOT NULL REFERENCES places(id),
  to_id     INTEGER NOT NULL REFERENCES places(id),
  qty       INTEGER NOT NULL CHECK (qty > 0),
  job_id    INTEGER REFERENCES jobs(id),
  reason    TEXT NOT NULL DEFAULT '',
  reverses  INTEGER REFERENCES movements(seq),
  prev_hash TEXT NOT NULL,
  hash      TEXT NOT NULL,
  UNIQUE (op_id, line),
  CHECK (from_id <> to_id),
  CHECK ((act = 'reverse') = (reverses IS NOT NULL))
) STRICT;
CREATE UNIQUE INDEX movements_reverses ON movements(reverses) WHERE reverses IS NOT NULL;
CREATE INDEX movements_item ON movements(item_id, seq);
CREATE INDEX movements_job ON movements(job_id, seq) WHERE job_id IS NOT NULL;

-- The end of the chain, so that a cut-off end is seen.
CREATE TABLE ledger_head (
  id   INTEGER PRIMARY KEY CHECK (id = 1),
  seq  INTEGER NOT NULL,
  hash TEXT NOT NULL,
  at   TEXT
) STRICT;
INSERT INTO ledger_head (id, seq, hash) VALUES (1, 0, '');

-- Seqs before which the clock was seen to step back.
CREATE TABLE clock_steps (
  seq  INTEGER PRIMARY KEY,
  seen TEXT NOT NULL,
  used TEXT NOT NULL
) STRICT;

-- Who has what, since when, due when. One row an open issue.
CREATE TABLE holdings (
  seq      INTEGER PRIMARY KEY, -- the movement that handed it out
  item_id  INTEGER NOT NULL REFERENCES items(id),
  place_id INTEGER NOT NULL REFERENCES places(id),
  person_id INTEGER REFERENCES people(id),
  job_id   INTEGER REFERENCES jobs(id),
  qty      INTEGER NOT NULL CHECK (qty >= 0),
  since_at TEXT NOT NULL,
  due_day  TEXT NOT NULL DEFAULT '',
  note     TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX holdings_item ON holdings(item_id, place_id) WHERE qty > 0;
CREATE INDEX holdings_place ON holdings(place_id) WHERE qty > 0;

-- Changes of master data and rights, and every override, each with who and why.
CREATE TABLE audit (
  id       INTEGER PRIMARY KEY AUTOINCREMENT,
  at       TEXT NOT NULL,
  actor_id INTEGER NOT NULL,
  what     TEXT NOT NULL,
  ref      TEXT NOT NULL,
  detail   TEXT NOT NULL
) STRICT;

CREATE TABLE sessions (
  token     TEXT PRIMARY KEY,
  data      BLOB NOT NULL,
  expiry_at TEXT NOT NULL
) STRICT;

CREATE TABLE login_tries (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  who    TEXT NOT NULL,
  device TEXT NOT NULL,
  good   INTEGER NOT NULL CHECK (good IN (0,1)), -- bool
  at     TEXT NOT NULL
) STRICT;
CREATE INDEX login_tries_who ON login_tries(who, at);
CREATE INDEX login_tries_device ON login_tries(device, at);

CREATE TABLE tokens (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  name       TEXT NOT NULL UNIQUE,
  person_id  INTEGER NOT NULL REFERENCES people(id),
  hash       TEXT NOT NULL UNIQUE,
  created_at TEXT NOT NULL,
  revoked_at TEXT
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER movements_keep BEFORE UPDATE ON movements BEGIN SELECT RAISE(ABORT, 'movements are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movements_stay BEFORE DELETE ON movements BEGIN SELECT RAISE(ABORT, 'movements are never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER ops_keep BEFORE UPDATE ON ops BEGIN SELECT RAISE(ABORT, 'ops are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER ops_stay BEFORE DELETE ON ops BEGIN SELECT RAISE(ABORT, 'ops are never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER audit_keep BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'audit rows are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER audit_stay BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT, 'audit rows are never deleted'); END;
-- +goose StatementEnd
