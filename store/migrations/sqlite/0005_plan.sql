-- +goose Up
-- The stack chosen for a job, from the act that planned it until it is released. What it
-- takes is promised in reservations under the same op.
CREATE TABLE plans (
  id          INTEGER PRIMARY KEY AUTOINCREMENT,
  job_id      INTEGER NOT NULL REFERENCES jobs(id),
  op_id       TEXT NOT NULL,
  actor_id    INTEGER NOT NULL REFERENCES people(id),
  pieces      TEXT NOT NULL, -- JSON, from the turret to the edge
  overhang    REAL NOT NULL, -- mm to set
  ratio       REAL NOT NULL, -- overhang over bar diameter
  from_day    TEXT NOT NULL,
  to_day      TEXT NOT NULL,
  request     TEXT NOT NULL, -- of the job as it was planned: another one makes the plan stale
  created_at  TEXT NOT NULL,
  ended_at    TEXT,
  ended_op    TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX plans_open ON plans(job_id) WHERE ended_at IS NULL;
CREATE INDEX plans_ended ON plans(ended_op) WHERE ended_op <> '';

-- Which op ended a promise, so that the op can be undone.
ALTER TABLE reservations ADD COLUMN ended_op TEXT NOT NULL DEFAULT '';
CREATE INDEX reservations_op ON reservations(op_id);
CREATE INDEX reservations_ended ON reservations(ended_op) WHERE ended_op <> '';

-- What a setter says of a stack: shown whenever a stack with that bar reaches from_ratio.
CREATE TABLE remarks (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  job_id     INTEGER REFERENCES jobs(id),
  bar_id     INTEGER NOT NULL REFERENCES parts(id),
  head_id    INTEGER REFERENCES parts(id),
  bar_tag    TEXT NOT NULL DEFAULT '', -- of the piece it was seen with
  overhang   REAL NOT NULL, -- mm
  ratio      REAL NOT NULL, -- overhang over diameter at which it was seen
  from_ratio REAL NOT NULL CHECK (from_ratio >= 0),
  text       TEXT NOT NULL CHECK (text <> ''),
  actor_id   INTEGER NOT NULL REFERENCES people(id),
  created_at TEXT NOT NULL,
  ended_at   TEXT,
  ended_by   INTEGER REFERENCES people(id)
) STRICT;
CREATE INDEX remarks_bar ON remarks(bar_id) WHERE ended_at IS NULL;

-- When somebody said that what he has will be back, to the minute.
CREATE TABLE comebacks (
  holding_seq INTEGER PRIMARY KEY REFERENCES holdings(seq),
  due_at      TEXT NOT NULL,
  actor_id    INTEGER NOT NULL REFERENCES people(id),
  created_at  TEXT NOT NULL
) STRICT;

