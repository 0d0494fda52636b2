package server

// A matesView is what goes on one joint of a part.
type matesView struct {
	Joint string // in words: side, family, code or size
	Parts []mateRow
	More  string // what is not shown
}

type mateRow struct{ Href, Code, Name, Kind, Free, OnHand, Where string }
