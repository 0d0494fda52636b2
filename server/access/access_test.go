package access_test

import (
	"testing"

	"brasspeg/server/access"
)

func TestEveryRightHasEveryRole(t *testing.T) {
	for right := range access.Table {
		if !access.Known(right) {
			t.Errorf("right %q does not name every role", right)
		}
	}
	if access.Known("something else") {
		t.Error("a right without a row is known")
	}
}

func TestMay(t *testing.T) {
	for _, tt := range []struct {
		role  access.Role
		right access.Right
		own   bool
		want  bool
	}{
		{access.Visitor, access.Open, false, true},
		{access.Visitor, access.SeeShop, true, false},
		{access.Operator, access.IssuePieces, true, true},
		{access.Operator, access.IssuePieces, false, false},
		{access.Attendant, access.IssuePieces, false, true},
		{access.Attendant, access.ReverseActs, false, false}, // his own mistakes only
		{access.Manager, access.ReverseActs, false, true},
		{access.Admin, access.IssuePieces, true, false}, // whoever keeps the keys does not book
		{"owner", access.SeeShop, true, false},
		{access.Manager, "something else", true, false},
	} {
		if got := access.May(tt.role, tt.right, tt.own); got != tt.want {
			t.Errorf("May(%s, %s, own %v) = %v, want %v", tt.role, tt.right, tt.own, got, tt.want)
		}
	}
}

// A right that goes further for the operator than for the attendant, or further for the
// attendant than for the manager, is a slip in the table: those three stand in rising order.
func TestRisingOrder(t *testing.T) {
	for right, row := range access.Table {
		if row[access.Operator] > row[access.Attendant] || row[access.Attendant] > row[access.Manager] {
			t.Errorf("right %q falls between operator, attendant and manager: %v", right, row)
		}
	}
}

func TestParseRole(t *testing.T) {
	for _, s := range []string{"", "visitor", "Admin", "root"} {
		if r, err := access.ParseRole(s); err == nil {
			t.Errorf("ParseRole(%q) = %q, want an error", s, r)
		}
	}
	if r, err := access.ParseRole("manager"); err != nil || r != access.Manager {
		t.Errorf("ParseRole(manager) = %q, %v", r, err)
	}
}
