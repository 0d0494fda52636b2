package stack

import (
	"fmt"
	"time"
)

// A Date is a civil date, "2026-03-16". Dates compare as strings; "" is no date.
type Date string

const civil = "2006-01-02"

// ParseDate reads a civil date in ISO 8601 form, years 1900 to 2999.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(civil, s)
	if err != nil || t.Year() < 1900 || t.Year() > 2999 {
		return "", fmt.Errorf("%q is no date; write it as 2026-03-16", s)
	}
	return Date(s), nil
}

// AddDays returns the date n days later (n may be negative). No date stays no date.
func (d Date) AddDays(n int) Date {
	t, err := time.Parse(civil, string(d))
	if err != nil {
		return d
	}
	return Date(t.AddDate(0, 0, n).Format(civil))
}

// A Status says where an item stands.
type Status string

// The statuses of an item.
const (
	In         Status = "in"
	Out        Status = "out"
	Quarantine Status = "quarantine"
	Lost       Status = "lost"
	OnOrder    Status = "on_order"
)

// Issued says who has an item that is out.
type Issued struct {
	To  string `json:"to,omitempty"`
	Job string `json:"job,omitempty"`
	Due Date   `json:"due,omitempty"`
}

// A Reservation promises an item, or Qty of a lot, to a job; both days included. Qty 0 means
// the whole item.
type Reservation struct {
	Job  string `json:"job"`
	From Date   `json:"from"`
	To   Date   `json:"to"`
	Qty  int    `json:"qty,omitempty"`
}

// An Item is a piece with its own tag, or a lot counted together.
type Item struct {
	ID       string // tag of the piece or id of the lot
	Part     *Part
	Status   Status
	Place    string // where it lies, as a person would say it: drawer, bin, machine
	Qty      int    // pieces; of a piece always 1, of a lot what is left unused
	Out      *Issued
	Reserved []Reservation
	Why      string // why it is held back
	Due      Date   // day an item on order is expected
	Ordered  Date   // day it was ordered; "" = not recorded
}

// A Station is the place on a machine where the stack goes.
type Station struct {
	Machine       string `json:"machine,omitempty"`
	Interface     string `json:"interface"`
	CoolantPort   string `json:"coolant_port,omitempty"` // "F:G 1/4"; "" = no outside outlet
	CoolantMaxBar Opt    `json:"coolant_max_bar,omitzero"`
	MaxProjection Opt    `json:"max_projection,omitzero"` // mm
	MaxMassKg     Opt    `json:"max_mass_kg,omitzero"`
}

// A Wanted insert is the pocket and nose radius asked for. RE unknown = any.
type Wanted struct {
	Seat string `json:"seat"`
	RE   Opt    `json:"RE,omitzero"`
}

// Cutting is what the mechanics need beyond the stack. Everything is optional.
type Cutting struct {
	Group int // VDI 3323 material group, 0 = not known
	VC    Opt // m/min
	F     Opt // mm/rev
	AP    Opt // mm
	Eta   Opt // efficiency of the drive, 0 to 1
}

// A Request asks for a stack.
type Request struct {
	Job      string
	Today    Date // day it is asked; "" = not told, and then no day is told for what must be bought
	NeedDate Date // first day the stack is needed
	Until    Date // last day the stack is needed; "" = NeedDate

	Station    Station
	BoreStartD float64 // mm, hole before this tool
	Depth      float64 // mm
	Clearance  float64 // mm between part face and holder face at full depth, jaws included
	Hand       string  // R, L or N
	Insert     Wanted
	Coolant    bool
	CoolantBar float64 // bar

	EdgesNeeded int // 0 = not asked
	Cutting     Cutting
	BoreEndD    Opt // mm, hole after this tool; for speed and drawing only

	// holds are pieces that jobs planned before this one take, by item id: they count as
	// reservations while a whole plan is looked at.
	holds map[string][]Reservation
}

// Overhang returns the overhang the job needs in mm: depth and clearance, to the cutting edge.
func (r *Request) Overhang() float64 { return r.Depth + r.Clearance }

// last returns the last day the request covers.
func (r *Request) last() Date {
	if r.Until > r.NeedDate {
		return r.Until
	}
	return r.NeedDate
}
