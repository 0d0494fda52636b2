package life

import (
	"cmp"
	"fmt"
	"slices"
)

// An InsertTally is what is known about the inserts of one kind that a job was given.
type InsertTally struct {
	Job            string
	Inserts        int // issued, >= 0
	EdgesPerInsert int // > 0; of a round insert the indexings agreed for the job
	Used           int // edges logged as run on this job, >= 0
	Left           int // edges left on part-used inserts that came back, >= 0
	UnknownBack    int // inserts that came back with nobody knowing their edges, >= 0
	Thrown         []Thrown
}

// Thrown are edges given up unused, with the reason.
type Thrown struct {
	Edges  int // > 0
	Reason string
}

// A Balance is one row of the edge account: Issued = Used + Left + Thrown + Unexplained.
type Balance struct {
	Job                        string
	Issued, Used, Left, Thrown int      // edges
	Unexplained                int      // what is missing; below 0 more was logged than issued
	UnknownBack                int      // inserts back with unknown edges; their edges are among the unexplained
	ThrownBy                   []Thrown // by reason, most first
	Says                       string   // one sentence; empty when the row adds up
}

// Account returns one balance a job, in the order the jobs first appear, and the sum of all.
// Nothing is hidden: what does not add up is in Unexplained, with a sentence. A tally that
// cannot be right (negative numbers, no edges per insert): a *Refusal, and no table.
func Account(tallies []InsertTally) (rows []Balance, total Balance, err error) {
	at := map[string]int{}
	total.Job = "all jobs"
	for i, t := range tallies {
		if t.Inserts < 0 || t.EdgesPerInsert < 1 || t.EdgesPerInsert > 1000 || t.Used < 0 || t.Left < 0 || t.UnknownBack < 0 ||
			t.Inserts > maxJob || t.Used > maxJob || t.Left > maxJob || t.UnknownBack > t.Inserts {
			return nil, Balance{}, refuse("invalid_count", "line %d, job %s: inserts, edges used and left must be 0 or more, edges per insert 1 or more, and no more can come back than went out", i+1, clip(t.Job))
		}
		j, ok := at[t.Job]
		if !ok {
			j = len(rows)
			at[t.Job] = j
			rows = append(rows, Balance{Job: t.Job})
		}
		for _, b := range []*Balance{&rows[j], &total} {
			b.Issued += t.Inserts * t.EdgesPerInsert
			b.Used += t.Used
			b.Left += t.Left
			b.UnknownBack += t.UnknownBack
			for _, x := range t.Thrown {
				if x.Edges < 1 || x.Edges > maxJob {
					return nil, Balance{}, refuse("invalid_count", "line %d, job %s: %d edges thrown away; give 1 or more", i+1, clip(t.Job), x.Edges)
				}
				b.throw(x)
			}
		}
	}
	for i := range rows {
		rows[i].close()
	}
	total.close()
	return rows, total, nil
}

func (b *Balance) throw(x Thrown) {
	b.Thrown += x.Edges
	for i := range b.ThrownBy {
		if b.ThrownBy[i].Reason == x.Reason {
			b.ThrownBy[i].Edges += x.Edges
			return
		}
	}
	b.ThrownBy = append(b.ThrownBy, x)
}

func (b *Balance) close() {
	slices.SortStableFunc(b.ThrownBy, func(x, y Thrown) int { return cmp.Compare(y.Edges, x.Edges) })
	b.Unexplained = b.Issued - b.Used - b.Left - b.Thrown
	switch {
	case b.Unexplained > 0 && b.UnknownBack > 0:
		b.Says = fmt.Sprintf("%s not accounted for; %d inserts came back with their edges unknown", edges(b.Unexplained), b.UnknownBack)
	case b.Unexplained > 0:
		b.Says = fmt.Sprintf("%s not accounted for", edges(b.Unexplained))
	case b.Unexplained < 0:
		b.Says = fmt.Sprintf("%s more logged than issued: an edge was logged twice, or inserts came from elsewhere", edges(-b.Unexplained))
	}
}

// NextEdge returns the lowest edge number of an insert that has not been used yet. used holds
// the numbers already run; an insert with no edge left, or a number that it does not have, or
// one used twice: a *Refusal.
func NextEdge(used []int, edgesPerInsert int) (int, error) {
	if edgesPerInsert < 1 || edgesPerInsert > 1000 {
		return 0, refuse("invalid_edge", "%d edges per insert: give 1 or more", edgesPerInsert)
	}
	seen := make([]bool, edgesPerInsert+1)
	for _, e := range used {
		if e < 1 || e > edgesPerInsert {
			return 0, refuse("invalid_edge", "edge number %d: this insert has %d edges", e, edgesPerInsert)
		}
		if seen[e] {
			return 0, refuse("invalid_edge", "edge %d of this insert is logged twice; an edge is used once", e)
		}
		seen[e] = true
	}
	for e := 1; e <= edgesPerInsert; e++ {
		if !seen[e] {
			return e, nil
		}
	}
	return 0, refuse("invalid_edge", "all %d edges of this insert are used; scrap it and take another", edgesPerInsert)
}

// ScrapCarbide compares the carbide that should lie in the scrap tub with what the scales say:
// inserts used up times their mass, and the difference, all in grams. A weighed tub lighter than
// the estimate by more than a tenth means inserts went elsewhere, or were logged and not used
// up. The tenth is common practice, no source.
func ScrapCarbide(insertsUsedUp int, gramsEach, weighed float64) (expected, missing float64, says string, err error) {
	if insertsUsedUp < 0 || bad(gramsEach) || bad(weighed) {
		return 0, 0, "", refuse("invalid_count", "inserts, their mass and the weighed mass must be 0 or more")
	}
	expected = float64(insertsUsedUp) * gramsEach
	missing = expected - weighed
	switch {
	case missing > expected/10:
		says = fmt.Sprintf("the tub holds %.0f g, %.0f g were to be expected: %.0f g are missing", weighed, expected, missing)
	case -missing > expected/10:
		says = fmt.Sprintf("the tub holds %.0f g, %.0f g were to be expected: %.0f g came from elsewhere, or were never logged", weighed, expected, -missing)
	default:
		says = fmt.Sprintf("the tub holds %.0f g, about the %.0f g to be expected", weighed, expected)
	}
	return expected, missing, says, nil
}
