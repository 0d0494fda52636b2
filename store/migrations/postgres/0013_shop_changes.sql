-- +goose Up
-- What the shop is made of can be changed and taken out of use: two managers at the same record
-- are told apart by its version. A station out of use has its place out of use with it.
ALTER TABLE places ADD COLUMN version bigint NOT NULL DEFAULT 0;
ALTER TABLE people ADD COLUMN version bigint NOT NULL DEFAULT 0;
ALTER TABLE machines ADD COLUMN version bigint NOT NULL DEFAULT 0;
ALTER TABLE machines ADD COLUMN retired_at timestamptz(3);
ALTER TABLE stations ADD COLUMN version bigint NOT NULL DEFAULT 0;
ALTER TABLE stations ADD COLUMN retired_at timestamptz(3);
