-- +goose Up
-- Computers that several people share: a session there locks when nobody touches it.
CREATE TABLE devices (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  name       TEXT NOT NULL,
  hash       TEXT NOT NULL UNIQUE, -- of the secret its browser keeps
  made_by    INTEGER NOT NULL REFERENCES people(id),
  created_at TEXT NOT NULL,
  ended_at   TEXT
) STRICT;
CREATE UNIQUE INDEX devices_name ON devices(name) WHERE ended_at IS NULL;

-- Whose a session is and where, so that he can see his own and close them. The columns are
-- empty for sessions from before, and until somebody logs in.
ALTER TABLE sessions ADD COLUMN code TEXT;
ALTER TABLE sessions ADD COLUMN person_id INTEGER REFERENCES people(id);
ALTER TABLE sessions ADD COLUMN device_id INTEGER REFERENCES devices(id);
ALTER TABLE sessions ADD COLUMN place TEXT;
ALTER TABLE sessions ADD COLUMN begun_at TEXT;
ALTER TABLE sessions ADD COLUMN seen_at TEXT;
ALTER TABLE sessions ADD COLUMN locked_at TEXT;
CREATE UNIQUE INDEX sessions_code ON sessions(code);
CREATE INDEX sessions_person ON sessions(person_id);
