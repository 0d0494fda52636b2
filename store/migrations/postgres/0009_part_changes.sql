-- +goose Up
-- What people changed of a part's record, one row a change, so that it can be read and taken back.
CREATE TABLE part_changes (
  op_id   text PRIMARY KEY,
  part_id bigint NOT NULL REFERENCES parts(id),
  version bigint NOT NULL CHECK (version > 1), -- of the record after it
  by_id   bigint NOT NULL REFERENCES people(id),
  how     text NOT NULL CHECK (how IN ('changed','taken back','retired','in use again')),
  said    text NOT NULL, -- old and new, in words
  was     text NOT NULL, -- JSON: the record before it
  at      timestamptz(3) NOT NULL,
  UNIQUE (part_id, version)
);
