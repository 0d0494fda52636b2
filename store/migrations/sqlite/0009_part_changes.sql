-- +goose Up
-- What people changed of a part's record, one row a change, so that it can be read and taken back.
CREATE TABLE part_changes (
  op_id   TEXT PRIMARY KEY,
  part_id INTEGER NOT NULL REFERENCES parts(id),
  version INTEGER NOT NULL CHECK (version > 1), -- of the record after it
  by_id   INTEGER NOT NULL REFERENCES people(id),
  how     TEXT NOT NULL CHECK (how IN ('changed','taken back','retired','in use again')),
  said    TEXT NOT NULL, -- old and new, in words
  was     TEXT NOT NULL, -- JSON: the record before it
  at      TEXT NOT NULL,
  UNIQUE (part_id, version)
) STRICT;
