-- +goose Up
-- What is on consignment is found by whose it is: a supplier's settlement asks for it, and must
-- not read all that was ever moved.
CREATE INDEX items_owner ON items(owner) WHERE owner <> '';
