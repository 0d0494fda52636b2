-- +goose Up
-- What edges are compared within: the same operation, material group, insert with its grade,
-- and speed band. version counts every run that came or went, so that a fit may be kept.
CREATE TABLE edge_families (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  operation  TEXT NOT NULL,
  material   TEXT NOT NULL,
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  band       TEXT NOT NULL, -- of the cutting speed
  version    INTEGER NOT NULL DEFAULT 0,
  planned_at INTEGER NOT NULL DEFAULT 0 CHECK (planned_at >= 0), -- parts; 0: no planned change
  planned_cost   REAL NOT NULL DEFAULT 0 CHECK (planned_cost >= 0),
  unplanned_cost REAL NOT NULL DEFAULT 0 CHECK (unplanned_cost >= 0),
  risk       REAL NOT NULL DEFAULT 0 CHECK (risk >= 0 AND risk < 1),
  created_at TEXT NOT NULL,
  UNIQUE (operation, material, part_id, band)
) STRICT;

-- One insert in a station, from its first edge there until it is used up, taken out or gone.
CREATE TABLE edge_inserts (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  item_id    INTEGER NOT NULL REFERENCES items(id), -- the lot it was taken from
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  station_id INTEGER NOT NULL REFERENCES stations(id),
  job_id     INTEGER NOT NULL REFERENCES jobs(id),
  place_id   INTEGER NOT NULL REFERENCES places(id), -- where the books have it
  edges      INTEGER NOT NULL CHECK (edges >= 0), -- of a new one; 0: round, no number agreed
  used       INTEGER NOT NULL CHECK (used >= 0), -- edges gone, those before it came here included
  thrown     INTEGER NOT NULL DEFAULT 0 CHECK (thrown >= 0), -- edges given up unused
  thrown_why TEXT NOT NULL DEFAULT '',
  mounted_at TEXT NOT NULL,
  mounted_op TEXT NOT NULL,
  ended_at   TEXT,
  ended_op   TEXT,
  ended_how  TEXT NOT NULL DEFAULT '' CHECK (ended_how IN ('','used up','finished','taken out','gone','undone')),
  CHECK (edges = 0 OR used + thrown <= edges)
) STRICT;
CREATE UNIQUE INDEX edge_inserts_up ON edge_inserts(station_id) WHERE ended_at IS NULL;
CREATE INDEX edge_inserts_job ON edge_inserts(job_id);

-- One edge from indexing to removal. Never changed; an undo names its op.
CREATE TABLE edge_runs (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  op_id      TEXT NOT NULL UNIQUE,
  at         TEXT NOT NULL,
  noted_at   TEXT, -- by the clock of the device it was entered on
  actor_id   INTEGER NOT NULL REFERENCES people(id),
  machine_id INTEGER NOT NULL REFERENCES machines(id),
  station_id INTEGER NOT NULL REFERENCES stations(id),
  job_id     INTEGER NOT NULL REFERENCES jobs(id),
  family_id  INTEGER NOT NULL REFERENCES edge_families(id),
  insert_id  INTEGER NOT NULL REFERENCES edge_inserts(id),
  item_id    INTEGER NOT NULL REFERENCES items(id),
  part_id    INTEGER NOT NULL REFERENCES parts(id),
  edge       INTEGER NOT NULL CHECK (edge > 0),
  parts      INTEGER NOT NULL CHECK (parts > 0),
  minutes    REAL NOT NULL DEFAULT 0 CHECK (minutes >= 0),
  reason     TEXT NOT NULL CHECK (reason IN ('planned','worn','finish','size','chipped','broken','chatter','end of job')),
  wear_vb    REAL NOT NULL DEFAULT 0 CHECK (wear_vb >= 0),
  speed      REAL NOT NULL DEFAULT 0 CHECK (speed >= 0),
  feed       REAL NOT NULL DEFAULT 0 CHECK (feed >= 0),
  batch      TEXT NOT NULL DEFAULT '',
  note       TEXT NOT NULL DEFAULT '',
  why        TEXT NOT NULL DEFAULT '', -- answer to what was asked: a life far from usual, another insert
  late       INTEGER NOT NULL CHECK (late IN (0,1)), -- bool
  count_at   INTEGER NOT NULL CHECK (count_at >= 0), -- parts of the job made by then
  undone_op  TEXT
) STRICT;
CREATE UNIQUE INDEX edge_runs_once ON edge_runs(insert_id, edge) WHERE undone_op IS NULL;
CREATE INDEX edge_runs_family ON edge_runs(family_id, parts, reason, batch, speed, feed, late, id) WHERE undone_op IS NULL;
CREATE INDEX edge_runs_recent ON edge_runs(family_id, id) WHERE undone_op IS NULL;
CREATE INDEX edge_runs_station ON edge_runs(station_id, id) WHERE undone_op IS NULL;
CREATE INDEX edge_runs_job ON edge_runs(job_id, id) WHERE undone_op IS NULL;
