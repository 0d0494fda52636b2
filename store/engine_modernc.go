//go:build !mattn

package store

import _ "modernc.org/sqlite" // the engine, pure Go

// sqliteDriver is the database/sql name of the SQLite engine built in.
const sqliteDriver = "sqlite"
