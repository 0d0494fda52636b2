-- +goose Up
-- What an act changed besides movements, one row a change, so that the act is taken back whole.
CREATE TABLE act_changes (
  id        INTEGER PRIMARY KEY AUTOINCREMENT,
  op_id     TEXT NOT NULL,
  line      INTEGER NOT NULL DEFAULT 0 CHECK (line >= 0), -- the movement of the op that it goes with; 0: none
  what      TEXT NOT NULL CHECK (what IN ('job state','promise','plan','held for','taken off','held back','retired','substitute')),
  row_id    INTEGER NOT NULL,
  was       TEXT NOT NULL,
  became    TEXT NOT NULL,
  undone_op TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX act_changes_op ON act_changes(op_id);
CREATE INDEX act_changes_row ON act_changes(what, row_id);

-- Promises and plans made before this table: what an act ended first, so that it is made again last.
INSERT INTO act_changes (op_id, what, row_id, was, became) SELECT ended_op, 'promise', id, 'open', 'ended' FROM reservations WHERE ended_op <> '' AND ended_op NOT LIKE 'undone %' ORDER BY id;
INSERT INTO act_changes (op_id, what, row_id, was, became) SELECT ended_op, 'plan', id, 'open', 'ended' FROM plans WHERE ended_op <> '' AND ended_op NOT LIKE 'undone %' ORDER BY id;
INSERT INTO act_changes (op_id, what, row_id, was, became) SELECT op_id, 'promise', id, '', 'open' FROM reservations ORDER BY id;
INSERT INTO act_changes (op_id, what, row_id, was, became) SELECT op_id, 'plan', id, '', 'open' FROM plans ORDER BY id;

-- What a job was given instead of what was planned for it.
CREATE TABLE substitutes (
  id              INTEGER PRIMARY KEY AUTOINCREMENT,
  job_id          INTEGER NOT NULL REFERENCES jobs(id),
  op_id           TEXT NOT NULL,
  planned_tag     TEXT NOT NULL,
  planned_part_id INTEGER NOT NULL REFERENCES parts(id),
  item_id         INTEGER NOT NULL REFERENCES items(id),
  part_id         INTEGER NOT NULL REFERENCES parts(id),
  qty             INTEGER NOT NULL CHECK (qty > 0),
  actor_id        INTEGER NOT NULL REFERENCES people(id),
  why             TEXT NOT NULL DEFAULT '',
  created_at      TEXT NOT NULL,
  undone_op       TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX substitutes_job ON substitutes(job_id) WHERE undone_op = '';
