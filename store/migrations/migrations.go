// Package migrations holds the numbered SQL files that build and change the store, a folder
// an engine. A file is never edited once merged; a change is a new file in both folders.
package migrations

import "embed"

// Files is sqlite/*.sql and postgres/*.sql.
//
//go:embed sqlite/*.sql postgres/*.sql
var Files embed.FS
