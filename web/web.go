// Package web holds what a browser gets: the page templates, the stylesheet and the script
// modules. It knows nothing of the shop; package server fills and serves it.
package web

import "embed"

// Files has the folders templates (html/template sources) and static (served under
// /static/ with a hash in the name, see server/assets.go). The licence text of each foreign
// file stands beside it.
//
//go:embed templates static
var Files embed.FS
