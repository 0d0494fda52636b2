//go:build mattn

package store

import _ "github.com/mattn/go-sqlite3" // the second engine, in C; the tests run on both

// sqliteDriver is the database/sql name of the SQLite engine built in.
const sqliteDriver = "sqlite3"
