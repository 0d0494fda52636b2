-- +goose Up
-- What was printed: one row a print, one row each label on it. Never changed.
CREATE TABLE label_runs (
  op_id    TEXT PRIMARY KEY,
  at       TEXT NOT NULL,
  actor_id INTEGER NOT NULL, -- 0: at the console
  medium   TEXT NOT NULL CHECK (medium <> ''), -- a4, letter, 50x25, a4:50x25
  first    INTEGER NOT NULL CHECK (first > 0), -- label of the sheet it began on
  right_mm REAL NOT NULL,
  down_mm  REAL NOT NULL,
  dpi      INTEGER NOT NULL CHECK (dpi >= 0),
  labels   INTEGER NOT NULL CHECK (labels > 0)
) STRICT;
CREATE TABLE label_prints (
  id    INTEGER PRIMARY KEY AUTOINCREMENT,
  op_id TEXT NOT NULL REFERENCES label_runs(op_id),
  tag   TEXT NOT NULL, -- of a person: never the text of the badge
  at    TEXT NOT NULL
) STRICT;
CREATE INDEX label_prints_tag ON label_prints(tag, at);
CREATE INDEX label_prints_op ON label_prints(op_id);
CREATE INDEX label_runs_at ON label_runs(at);

-- +goose StatementBegin
CREATE TRIGGER label_runs_keep BEFORE UPDATE ON label_runs BEGIN SELECT RAISE(ABORT, 'prints are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER label_runs_stay BEFORE DELETE ON label_runs BEGIN SELECT RAISE(ABORT, 'prints are never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER label_prints_keep BEFORE UPDATE ON label_prints BEGIN SELECT RAISE(ABORT, 'prints are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER label_prints_stay BEFORE DELETE ON label_prints BEGIN SELECT RAISE(ABORT, 'prints are never deleted'); END;
-- +goose StatementEnd
