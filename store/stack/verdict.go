package stack

import (
	"fmt"
	"strconv"
	"strings"
)

// A Code is a reason or a warning, for programs; Sentence says it for people.
type Code string

// A Verdict answers a Request.
type Verdict struct {
	Buildable bool
	// Stacks are the best first, at most K, empty when not buildable. The last may be there for
	// its coolant route alone: see OtherRoute.
	Stacks  []Stack
	Options []Option // ways to make it buildable, cheapest or soonest first; empty when buildable
	Reasons []Reason // what stops the nearest stack; empty when buildable
	Worse   []Worse  // answers to an easier question, with what changes
	Misses  []Miss   // parts that nearly fit, nearest first
	// Nearest is the first option's stack with its missing parts in place, nil when there is
	// none or the request is buildable.
	Nearest     *Stack
	AvailableOn Date   // earliest day waiting alone makes it buildable
	HeldBy      string // who has what the first waiting option needs
	// CoolantLimit and Weakest: of the best stack, or of the nearest stack whose line is whole
	// but rated too low.
	CoolantLimit Opt
	Weakest      string
}

// Warnings returns the codes of the best stack, sorted; empty when not buildable.
func (v *Verdict) Warnings() []Code {
	if len(v.Stacks) == 0 {
		return nil
	}
	var codes []Code
	for _, w := range v.Stacks[0].Warnings {
		codes = append(codes, w.Code)
	}
	return codes
}

// A Reason is one thing that stops a stack, or one warning, with its numbers in a sentence.
type Reason struct {
	Code Code   `json:"code"`
	Text string `json:"text"`
}

// A Used is one place in a stack and what fills it.
type Used struct {
	Role    Kind
	Part    *Part // of an invented part: what is known of it
	Item    *Item // nil when the part is not on hand
	Place   string
	Missing bool     // borrowed, to be bought, or recorded by nobody
	Need    *Missing // what the place needs, when Missing
}

// ID returns the tag of the piece, else the code of the part.
func (u Used) ID() string {
	if u.Item != nil {
		return u.Item.ID
	}
	if u.Part != nil {
		return u.Part.Code
	}
	return ""
}

// A Check is one rule applied: the value found, the limit, and where the limit comes from
// (maker's data on the part, shop default, common practice, request).
type Check struct {
	Code   Code   `json:"code"`
	Name   string `json:"name"`
	Value  string `json:"value"`
	Limit  string `json:"limit"`
	Source string `json:"source"`
	OK     bool   `json:"ok"`
	Warn   bool   `json:"warn,omitempty"`
}

// A Stack is one way to build what was asked.
type Stack struct {
	Pieces   []Used // from the turret to the insert, then the coolant line from port to bar
	Overhang float64
	Ratio    float64 // overhang / D
	LimitMM  float64 // longest overhang allowed, mm
	Grip     Opt     // mm held; unknown for a bar that is not clamped by its shank
	Mass     Opt     // kg of holder, sleeve, bar, head and adapters; unknown when one is not recorded
	Route    Route
	Checks   []Check
	Warnings []Reason
	Remarks  []string // worth knowing, no rule behind it
	Mech     Mechanics
}

// ClampRatio returns grip / D.
func (s *Stack) ClampRatio() Opt {
	d := s.D()
	if !s.Grip.Known || d <= 0 {
		return Opt{}
	}
	return Some(s.Grip.V / d)
}

// Find returns the first place of that kind, and whether there is one.
func (s *Stack) Find(k Kind) (Used, bool) {
	for _, u := range s.Pieces {
		if u.Role == k {
			return u, true
		}
	}
	return Used{}, false
}

// D returns the shank diameter of the bar in mm, 0 when there is no bar.
func (s *Stack) D() float64 {
	if u, ok := s.Find(Bar); ok {
		return barD(u.Part)
	}
	return 0
}

// IDs returns the tags of the pieces in order.
func (s *Stack) IDs() []string {
	ids := make([]string, 0, len(s.Pieces))
	for _, u := range s.Pieces {
		ids = append(ids, u.ID())
	}
	return ids
}

// A Route is the way of the coolant. Kind is "" (none asked), "through" or "line".
type Route struct {
	Kind    string
	Steps   []string // ids along the way, the station first
	Limit   Opt      // bar, the lowest rating
	Weakest string   // id of the part that sets it
}

// A Need is one size a missing part must have. Name is the field, with _min or _max when the
// value is a limit.
type Need struct {
	Name  string
	Value any // string, float64, bool or []string
}

// Missing is a part to add: its kind and every size it must have.
type Missing struct {
	Kind    Kind
	Needs   []Need
	Prefers []Need // what would also spare a warning
	// Owned are pieces the shop owns that would do but are not free, soonest first.
	Owned []Borrow
	// Catalogue are recorded parts that would do and are not on hand, cheapest first.
	Catalogue []Buy
}

// A Borrow is an owned piece that would do but is not free.
type Borrow struct {
	Item   *Item
	Code   Code // OUT, RESERVED, QUARANTINE, LOST, ON_ORDER
	HeldBy string
	Job    string
	From   Date // first day it can be had; "" = not known
	Why    string
	Text   string
}

// A Buy is a recorded part that is not on hand.
type Buy struct {
	Part *Part
	Text string
}

// An Option is the smallest set of parts that together make the request buildable.
type Option struct {
	Parts       []Missing
	Cost        int    // rank only: lower is easier to get
	AvailableOn Date   // when waiting alone is enough; "" when something must be bought
	HeldBy      string // who has it, when waiting alone is enough
	// Earliest is the first day it can be built, by waiting or by buying the first recorded part
	// told for each that is missing; "" when one has no day: not dated, no lead time recorded, or
	// the request does not say which day it is.
	Earliest   Date
	PriceCents Opt // sum, when every part has a recorded price in one currency
	Currency   string
	LeadDays   Opt // the longest
	Warnings   []Reason
	Stack      *Stack
	Text       string
}

// key names an option by kinds and sizes, so that equal ones are told once.
func (o *Option) key() string {
	var b strings.Builder
	for _, m := range o.Parts {
		b.WriteString(m.key())
		b.WriteByte('|')
	}
	return b.String()
}

// A Worse answer is a yes to an easier question.
type Worse struct {
	// What is build_dry, lower_pressure, less_deep or other_insert. Another nose radius, a longer
	// overhang and a smaller bar need no easier question: such stacks are told, with a warning.
	What    string
	Changes string // in a sentence
	Stack   Stack
}

// A Miss is a part on hand that nearly fits: in the place of what the first option misses it
// breaks one rule, and would not if it had the size told in Need.
type Miss struct {
	Item     string `json:"item"` // as a person names it: part and tag
	Tag      string `json:"tag"`
	Kind     Kind   `json:"kind"`
	Code     Code   `json:"code"`
	Distance string `json:"distance"` // "31.75 mm in 32 mm: 0.25 mm loose"
	Need     Need   `json:"-"`
}

// key names a missing part by kind and sizes.
func (m *Missing) key() string {
	b := append(make([]byte, 0, 160), m.Kind...)
	for _, n := range m.Needs {
		if n.Name == "WT_max" { // what the station still carries is not a size: two options do not differ by it
			continue
		}
		b = append(append(append(b, ';'), n.Name...), '=')
		switch v := n.Value.(type) {
		case string:
			b = append(b, v...)
		case float64:
			b = strconv.AppendFloat(b, v, 'g', -1, 64)
		case []string:
			for _, e := range v {
				b = append(append(b, e...), ',')
			}
		default:
			b = fmt.Append(b, v)
		}
	}
	return string(b)
}

// Requires returns the sizes as a map, as the reference cases write them.
func (m *Missing) Requires() map[string]any {
	out := make(map[string]any, len(m.Needs))
	for _, n := range m.Needs {
		out[n.Name] = n.Value
	}
	return out
}
