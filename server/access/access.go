// Package access says who may do what, as data: rights by role. It knows no request, no
// session and no database. Package server names a right for every route; one without a
// right, or with a right that has no row here, does not start.
package access

import "fmt"

// A Role is what a person, or a program's token, may be in the shop.
type Role string

// The roles. Visitor is somebody who has not logged in; nobody is stored as one.
const (
	Visitor   Role = "visitor"
	Operator  Role = "operator"  // at the machine: sees, and takes or brings back for himself
	Attendant Role = "attendant" // at the window: issues, returns, counts, receives
	Manager   Role = "manager"   // also reverses others' bookings and keeps master data
	Admin     Role = "admin"     // people, devices, settings, backup; does not book
)

// Roles are all roles in rising order of the table's columns.
var Roles = []Role{Visitor, Operator, Attendant, Manager, Admin}

// ParseRole reads the name of a role a person can have; Visitor is not one.
func ParseRole(s string) (Role, error) {
	for _, r := range Roles[1:] {
		if string(r) == s {
			return r, nil
		}
	}
	return "", fmt.Errorf("%q is no role; write operator, attendant, manager or admin", s)
}

// Reach is how far a right goes.
type Reach int

// The reaches. Own is what concerns oneself: pieces taken by oneself, bookings made by
// oneself; Any is everybody's.
const (
	No Reach = iota
	Own
	Any
)

func (r Reach) String() string { return [...]string{"no", "own", "any"}[r] }

// A Right is one kind of thing a person can ask for.
type Right string

// The rights. Open is for everybody, logged in or not.
const (
	Open         Right = "open"        // login, static files, health
	LogOut       Right = "log out"     // end one's own session
	SeeShop      Right = "see shop"    // parts, pieces, lots, places, jobs, stacks, tags
	SeeHolders   Right = "see holders" // the names beside pieces that are out
	SeeLedger    Right = "see ledger"  // every movement with who did it
	SeePeople    Right = "see people"  // the list of people
	SeeMetrics   Right = "see metrics" // the program's own counters
	UseWindow    Right = "use window"  // scan; what a scan then books has a right of its own
	IssuePieces  Right = "issue"       // hand pieces to a person
	ReturnPieces Right = "return"      // put pieces back in their drawer
	MovePieces   Right = "move"        // receive, transfer, count, scrap with a reason
	AdjustStock  Right = "adjust"      // write a count that differs into the books
	ReverseActs  Right = "reverse"     // take back a booking
	ReserveParts Right = "reserve"     // promise pieces to a job
	LogEdges     Right = "log edges"   // log an edge that came off, count parts
	PlanLives    Right = "plan lives"  // set the planned change and costs of a family of edges
	KeepParts    Right = "keep parts"  // enter parts, link foreign codes
	MergeParts   Right = "merge parts" // make one part of two, and take it apart again

	SeeBuying     Right = "see buying"     // what to order, prices, suppliers, orders
	EditOrders    Right = "edit orders"    // draft orders, put an alert to sleep
	ApproveOrders Right = "approve orders" // approve orders, levels, rules, suppliers' terms
	PlanJobs      Right = "plan"           // choose a job's stack, release it, close the job
	EditJobs      Right = "edit jobs"      // make and change jobs
	RemarkStacks  Right = "remark"         // keep a setter's words with a stack
	StartJobs     Right = "start jobs"     // issue a job's kit and set it running; own: at his machine, as it is planned
	TakePromised  Right = "take promised"  // take what is promised to another job, with a reason
)

// Rights of labels.
const (
	PrintLabels Right = "print labels" // tags of things; a print is on record
	KeepDevices Right = "keep devices" // register the computers that several people use
	MakeBadges  Right = "make badges"  // a new badge ends the old one
	KeepPlaces  Right = "keep places"  // enter bins, machines and their stations
	KeepPeople  Right = "keep people"  // enter who works with the crib
)

// Table is every right by role. A reach of Own is checked twice: the route lets the person
// in, and the act compares whom it concerns.
var Table = map[Right]map[Role]Reach{
	Open:         row(Any, Any, Any, Any, Any),
	LogOut:       row(No, Own, Own, Own, Own),
	SeeShop:      row(No, Any, Any, Any, Any),
	SeeHolders:   row(No, Own, Any, Any, Any),
	SeeLedger:    row(No, No, Any, Any, Any),
	SeePeople:    row(No, No, Any, Any, Any),
	SeeMetrics:   row(No, No, No, Any, Any),
	UseWindow:    row(No, Own, Any, Any, No),
	IssuePieces:  row(No, Own, Any, Any, No),
	ReturnPieces: row(No, Own, Any, Any, No),
	MovePieces:   row(No, No, Any, Any, No),
	AdjustStock:  row(No, No, Any, Any, No),
	ReverseActs:  row(No, Own, Own, Any, No),
	ReserveParts: row(No, No, Any, Any, No),
	LogEdges:     row(No, Any, Any, Any, No),
	PlanLives:    row(No, No, No, Any, No),
	KeepParts:    row(No, No, Any, Any, No),
	MergeParts:   row(No, No, No, Any, No),

	SeeBuying:     row(No, No, Any, Any, No),
	EditOrders:    row(No, No, Any, Any, No),
	ApproveOrders: row(No, No, No, Any, No),
	PlanJobs:      row(No, No, Any, Any, No),
	EditJobs:      row(No, No, No, Any, No),
	RemarkStacks:  row(No, Any, Any, Any, No),
	StartJobs:     row(No, Own, Any, Any, No),
	TakePromised:  row(No, No, Any, Any, No),

	PrintLabels: row(No, No, Any, Any, No),
	KeepDevices: row(No, No, No, No, Any),
	MakeBadges:  row(No, No, No, No, Any),
	KeepPlaces:  row(No, No, No, Any, Any),
	KeepPeople:  row(No, No, No, No, Any),
}

func row(visitor, operator, attendant, manager, admin Reach) map[Role]Reach {
	return map[Role]Reach{Visitor: visitor, Operator: operator, Attendant: attendant, Manager: manager, Admin: admin}
}

// Of returns how far the right goes for the role: No for a role or right that is not in
// the table.
func Of(role Role, right Right) Reach { return Table[right][role] }

// May reports whether the role may use the right; own says that what it is used on belongs
// to the person who asks.
func May(role Role, right Right, own bool) bool {
	switch Of(role, right) {
	case Any:
		return true
	case Own:
		return own
	}
	return false
}

// Known reports whether the right has a row, with every role in it.
func Known(right Right) bool {
	row, ok := Table[right]
	for _, r := range Roles {
		if _, has := row[r]; !has {
			return false
		}
	}
	return ok
}
