package life

import (
	"fmt"
	"math"
	"strings"
)

// A Reason says why an edge came off.
type Reason string

// The reasons for taking an edge off.
const (
	Planned  Reason = "planned"
	Worn     Reason = "worn"
	Finish   Reason = "finish"
	Size     Reason = "size"
	Chipped  Reason = "chipped"
	Broken   Reason = "broken"
	Chatter  Reason = "chatter"
	EndOfJob Reason = "end of job"
)

// Reasons lists them in the order a person is asked.
var Reasons = []Reason{Planned, Worn, Finish, Size, Chipped, Broken, Chatter, EndOfJob}

// ParseReason reads a reason as people write it: any case, "end-of-job" or "end_of_job" for
// "end of job". Anything else: a *Refusal that lists the reasons.
func ParseReason(s string) (Reason, error) {
	norm := strings.ToLower(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '-' || r == '_' }), " "))
	for _, r := range Reasons {
		if norm == string(r) {
			return r, nil
		}
	}
	return "", refuse("invalid_reason", "%q is no reason for taking an edge off; use one of planned, worn, finish, size, chipped, broken, chatter, end of job", clip(s))
}

// clip keeps foreign text in a message short.
func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// A Cause is the kind of end that a reason belongs to.
type Cause int

// The causes. Wear-out and sudden failures are fitted apart, each with the other as censored.
const (
	Unfinished Cause = iota // planned, end of job: censored
	WearOut                 // worn, finish, size
	Sudden                  // chipped, broken
	FromSetup               // chatter: belongs to the setup, not the edge; censored by default
)

// Cause returns the cause of a reason; an unknown reason is Unfinished.
func (r Reason) Cause() Cause {
	switch r {
	case Worn, Finish, Size:
		return WearOut
	case Chipped, Broken:
		return Sudden
	case Chatter:
		return FromSetup
	}
	return Unfinished
}

// A Run is one edge from indexing to removal, or Count equal ones.
type Run struct {
	ID      string  // echoed in what is said about the run
	Parts   int     // parts cut, the one it failed on included; 0 when counted in minutes only
	Minutes float64 // in cut; 0 when not recorded
	Reason  Reason
	WearVB  float64 // mm of flank wear, 0 when not measured
	Speed   float64 // m/min actually run, 0 when not recorded
	Feed    float64 // mm/rev actually run, 0 when not recorded
	Batch   string  // of the work material
	Edge    int     // number of the edge on its insert, from 1; 0 when not recorded
	Late    bool    // entered long after the fact: kept, never counted
	Count   int     // equal runs on this line; 0 means 1
}

func (r Run) count() int { return max(r.Count, 1) }

// Check returns why an entry cannot be right, or nil: parts or minutes at or below 0, an edge
// number above edgesPerInsert (0: unknown), a negative size. An edge that failed on its first
// part is logged with 1 part: the part it failed on.
func (r Run) Check(edgesPerInsert int) error {
	if _, err := ParseReason(string(r.Reason)); err != nil {
		return err
	}
	switch {
	case r.Count < 0 || r.Count > maxEdges:
		return refuse("invalid_count", "%d edges on one line: a count is 1 or more", r.Count)
	case r.Parts < 0:
		return refuse("invalid_time", "%d parts: parts are counted upwards; was the counter set back?", r.Parts)
	case r.Parts > 1_000_000_000:
		return refuse("invalid_time", "%d parts on one edge: check the counter", r.Parts)
	case r.Minutes < 0 || math.IsNaN(r.Minutes) || math.IsInf(r.Minutes, 0):
		return refuse("invalid_time", "%g minutes in cut: give a number of 0 or more", r.Minutes)
	case r.Parts == 0 && r.Minutes == 0 && r.Reason.Cause() == Unfinished:
		return refuse("invalid_time", "0 parts: an edge that never cut is not a run; put it back as unused")
	case r.Parts == 0 && r.Minutes == 0:
		return refuse("invalid_time", "a life of 0: log the part on which the edge failed, as 1")
	case r.Edge < 0:
		return refuse("invalid_edge", "edge number %d: edges are numbered from 1", r.Edge)
	case edgesPerInsert > 0 && r.Edge > edgesPerInsert:
		return refuse("invalid_edge", "edge number %d: this insert has %d edges", r.Edge, edgesPerInsert)
	case bad(r.WearVB) || bad(r.Speed) || bad(r.Feed):
		return refuse("invalid_size", "wear, speed and feed must be numbers of 0 or more")
	}
	return nil
}

func bad(x float64) bool { return x < 0 || math.IsNaN(x) || math.IsInf(x, 0) }

// A Measure says what a life is counted in.
type Measure int

// Lives are counted in parts or in minutes in cut.
const (
	InParts Measure = iota
	InMinutes
)

func (m Measure) String() string {
	if m == InMinutes {
		return "minutes"
	}
	return "parts"
}

func (m Measure) age(r Run) float64 {
	if m == InMinutes {
		return r.Minutes
	}
	return float64(r.Parts)
}

// Kept is a run that entered the statistics, LeftOut one that did not, with the reason in words.
type LeftOut struct {
	Run Run
	Why string
}

// sift parts the runs that count from those that do not.
func sift(runs []Run, m Measure) (kept []Run, out []LeftOut) {
	for _, r := range runs {
		why := ""
		if err := r.Check(0); err != nil {
			why = err.Error()
		} else if r.Late {
			why = "entered late: the count may be off"
		} else if m.age(r) == 0 {
			why = fmt.Sprintf("no %s recorded", m)
		}
		if why != "" {
			out = append(out, LeftOut{r, why})
		} else {
			kept = append(kept, r)
		}
	}
	return kept, out
}

// livesOf turns runs into lives in which only the given causes count as failures.
func livesOf(runs []Run, m Measure, causes ...Cause) []Life {
	out := make([]Life, len(runs))
	for i, r := range runs {
		out[i] = Life{Age: m.age(r), Count: r.count()}
		c := r.Reason.Cause()
		for _, want := range causes {
			if c == want {
				out[i].Failed = true
			}
		}
	}
	return out
}
