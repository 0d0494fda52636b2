package store

// One type per kind of number, so that swapped arguments do not compile.
type (
	PartID     int64
	ItemID     int64 // a piece or a lot
	PlaceID    int64
	PersonID   int64
	MachineID  int64
	StationID  int64
	JobID      int64
	SupplierID int64
)

// The letters that begin a tag, one a kind of thing.
const (
	TagAct    = 'A'
	TagPlace  = 'B'
	TagJob    = 'J'
	TagLot    = 'L'
	TagMach   = 'M'
	TagPiece  = 'P'
	TagPerson = 'W'
)
