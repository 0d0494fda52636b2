-- +goose Up
-- What the job's count was before an edge was logged, so that undoing the log gives it back: a
-- count set by hand was lost with it. Empty in what was logged before.
ALTER TABLE edge_runs ADD COLUMN made_before INTEGER CHECK (made_before >= 0);
