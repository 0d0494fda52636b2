package store

import (
	"errors"
	"fmt"
)

// Classes of failure a caller can act on, by errors.Is. Facts come in the structs that wrap them.
var (
	ErrNotFound  = errors.New("not found")
	ErrBadInput  = errors.New("not readable")
	ErrShort     = errors.New("not enough free")
	ErrElsewhere = errors.New("not on the shelf")
	ErrHeld      = errors.New("held back")
	ErrPromised  = errors.New("promised to another job")
	ErrRetired   = errors.New("no longer in use")
	ErrForbidden = errors.New("not allowed")
	ErrConflict  = errors.New("changed meanwhile")
	ErrExists    = errors.New("exists already")
	ErrReversed  = errors.New("already undone")
	ErrOpReused  = errors.New("the same op id came with other content")
	ErrBusy      = errors.New("too many bookings are waiting; try again in a moment with the same op id")
	ErrUnknown   = errors.New("it is not known whether this was booked; ask again with the same op id")
	ErrLocked    = errors.New("the store is in use")
	ErrNoStore   = errors.New("there is no store here")
	ErrDamaged   = errors.New("the store is damaged")
	ErrNewer     = errors.New("the store was made by a newer Brasspeg")
	ErrLogin     = errors.New("badge, PIN or password is not right")
	ErrSlowDown  = errors.New("too many wrong tries")
)

// A Refusal is a "no" with its facts: which class it belongs to, which input it is about, and
// a sentence for a person that says what to do. Code is finer than the class, for programs:
// which rule of reading a text broke; "" is the class's own.
type Refusal struct {
	Class error
	Code  string
	Field string
	Says  string
}

func (e *Refusal) Error() string { return e.Says }

// Unwrap makes a Refusal one of its class.
func (e *Refusal) Unwrap() error { return e.Class }

func refuse(class error, field, format string, args ...any) error {
	return &Refusal{Class: class, Field: field, Says: fmt.Sprintf(format, args...)}
}
