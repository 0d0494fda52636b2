package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"brasspeg/store/stack"
)

// A borer is a shop with what one deep bore needs: two holders and two bars of unlike length,
// one head, ten inserts of two edges, one lathe station.
type borer struct {
	*shop
	machine Machine
	station Station
}

const boreRequest = `{"bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3", "RE": 0.8}, "coolant": false, "coolant_bar": 0, "edges_needed": 6}`

func newBorer(s *shop) *borer {
	s.t.Helper()
	b := &borer{shop: s}
	m, st, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L3", Name: "Lathe 3"}, []Station{{Number: 4, Interface: "VDI50"}})
	s.must(err)
	b.machine, b.station = m, st[0]
	bin := s.bin("A1")
	for _, p := range []struct {
		code, kind string
		qty        int64
		flat       map[string]any
	}{
		{"HLD", "holder", 2, map[string]any{"interface": "VDI50", "DCONWS": 40, "unit": "mm", "LSC": 165, "clamp": "split", "coolant": "through", "CP": 100, "WT": 4.5}},
		{"BAR", "bar", 2, map[string]any{"DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 470, "CCWS": "H40", "flat": false, "coolant": true, "coolant_in": []any{"bore"}, "CP": 100, "WT": 4.64}},
		{"HED", "head", 1, map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32, "coolant": true, "CP": 100, "WT": 0.3}},
		{"INS", "insert", 10, map[string]any{"seat": "DCMT11T3", "RE": 0.8, "edges": 2}},
	} {
		s.receive(s.part(p.code, p.kind, p.flat), p.qty, bin)
	}
	return b
}

func (b *borer) job(code string, from, to Day) Job {
	b.t.Helper()
	j, err := b.SaveJob(ctx, b.boss.ID, Job{Code: code, Name: "housing", MachineID: &b.machine.ID, StationID: &b.station.ID, Material: "P", PartsQty: 40, FromDay: from, ToDay: to, Request: boreRequest})
	b.must(err)
	return j
}

func (b *borer) check(j Job) Ready {
	b.t.Helper()
	j, err := b.Job(ctx, j.ID)
	b.must(err)
	r, err := b.Check(ctx, j)
	b.must(err)
	b.must(r.Err)
	return r
}

// item is the shelf's only item of a part, or the n-th.
func (b *borer) item(code string, n int) Standing {
	b.t.Helper()
	p, err := b.PartByCode(ctx, code)
	b.must(err)
	all, err := b.ItemsOf(ctx, p.ID)
	b.must(err)
	return all[n]
}

// The second job that wants the only head is told when it is planned, by which job and until
// when it is taken, and on which day it could begin. Released, it can be had again; undone, the
// promise is back.
func TestPlan(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		one, two := b.job("J-1", "2026-03-17", "2026-03-20"), b.job("J-2", "2026-03-19", "2026-03-21")
		key := op(s.boss)
		got, err := s.Plan(ctx, key, PlanIn{Job: one.ID})
		s.must(err)
		if !strings.Contains(got.Says, "4 pieces promised") || !strings.Contains(got.Says, "280 mm") {
			t.Errorf("says %q", got.Says)
		}
		again, err := s.Plan(ctx, key, PlanIn{Job: one.ID})
		if err != nil || !again.Replayed || again.Says != got.Says {
			t.Errorf("the same op again: %+v, %v", again, err)
		}
		res, err := s.Reservations(ctx, one.ID)
		s.must(err)
		var inserts Reservation
		for _, r := range res {
			if r.ItemID == b.item("INS", 0).ID {
				inserts = r
			}
		}
		if len(res) != 4 || inserts.Qty != 3 || inserts.ToDay != Day(stack.Forever) {
			t.Errorf("promised %+v; want 4 lines, 3 inserts (6 edges of 2 each) for good", res)
		}
		r := b.check(one)
		if r.Plan == nil || r.Chosen != 0 || r.Best() == nil || r.Best().Overhang != 280 {
			t.Errorf("after planning: plan %+v, chosen %d", r.Plan, r.Chosen)
		}

		_, err = s.Plan(ctx, op(s.boss), PlanIn{Job: two.ID})
		if !errors.Is(err, ErrPromised) || !strings.Contains(err.Error(), "J-1") || !strings.Contains(err.Error(), b.item("HED", 0).Tag) || !strings.Contains(err.Error(), "2026-03-20") {
			t.Errorf("the second job: %v, want ErrPromised with J-1, the head and the day", err)
		}
		second := b.check(two)
		clashes, err := s.Clashes(ctx, &second)
		s.must(err)
		if len(clashes) != 1 || clashes[0].With != "J-1" || clashes[0].Role != "head" || clashes[0].To != "2026-03-20" {
			t.Errorf("clashes %+v", clashes)
		}
		day, err := s.Earliest(ctx, &second, clashes)
		if err != nil || day != "2026-03-21" {
			t.Errorf("the second can begin on %q, %v; want 2026-03-21", day, err)
		}

		off := op(s.boss)
		if _, err := s.Unplan(ctx, off, one.ID); err != nil {
			t.Fatal(err)
		}
		if r := b.check(two); !r.Verdict.Buildable {
			t.Error("released, and still not to be had")
		}
		if _, err := s.UndoPlan(ctx, op(s.boss), off.ID); err != nil {
			t.Fatal(err)
		}
		if r := b.check(two); r.Verdict.Buildable {
			t.Error("the release was undone, and the head is free all the same")
		}
		if _, err := s.UndoPlan(ctx, op(s.boss), off.ID); !errors.Is(err, ErrReversed) {
			t.Errorf("undone twice: %v", err)
		}
		if r := b.check(one); r.Plan == nil || r.Chosen < 0 {
			t.Error("the plan is not back")
		}
		if _, err := s.Plan(ctx, op(s.op1), PlanIn{Job: one.ID}); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator plans: %v", err)
		}
		s.sound()
	})
}

// Another stack than the best is chosen by its pieces, stays the one that is shown, and a plan
// for other days than the job's says so.
func TestPlanAnotherStack(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		bin := s.bin("A2")
		other := s.part("BAR2", "bar", map[string]any{"DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 600, "CCWS": "H40", "flat": false, "coolant": true, "coolant_in": []any{"bore"}, "CP": 100, "WT": 6.1})
		s.receive(other, 1, bin)
		j := b.job("J-1", "2026-03-17", "2026-03-20")
		r := b.check(j)
		if len(r.Verdict.Stacks) < 2 {
			t.Fatalf("%d stacks, want a choice", len(r.Verdict.Stacks))
		}
		second := r.Verdict.Stacks[1].IDs()
		first := op(s.gate)
		_, err := s.Plan(ctx, first, PlanIn{Job: j.ID})
		s.must(err)
		change := op(s.gate)
		_, err = s.Plan(ctx, change, PlanIn{Job: j.ID, Pieces: second})
		s.must(err)
		r = b.check(j)
		if r.Chosen < 0 || !slices.Equal(r.Best().IDs(), second) {
			t.Errorf("chosen %v, shown %v", second, r.Best().IDs())
		}
		if res, err := s.Reservations(ctx, j.ID); err != nil || len(res) != 4 {
			t.Errorf("%d promises after planning twice, %v; want 4", len(res), err)
		}
		if _, err := s.UndoPlan(ctx, op(s.gate), first.ID); !errors.Is(err, ErrReversed) {
			t.Errorf("undo of a plan that was replaced: %v", err)
		}
		if _, err := s.UndoPlan(ctx, op(s.gate), change.ID); err != nil {
			t.Fatal(err)
		}
		if r = b.check(j); r.Chosen < 0 || slices.Equal(r.Best().IDs(), second) {
			t.Errorf("the change was undone and %v is shown", r.Best().IDs())
		}
		// Step by step back: the first plan stands as it stood, and can be undone now.
		back := op(s.gate)
		if _, err := s.UndoPlan(ctx, back, first.ID); err != nil || b.check(j).Plan != nil {
			t.Errorf("undo of the first plan: %v", err)
		}
		if _, err := s.UndoPlan(ctx, op(s.gate), back.ID); err != nil || b.check(j).Plan == nil {
			t.Errorf("and of that undo: %v", err)
		}
		s.sound()
		if _, err := s.Plan(ctx, op(s.gate), PlanIn{Job: j.ID, Pieces: []string{"P0000001X"}}); !errors.Is(err, ErrConflict) {
			t.Errorf("a stack nobody offered: %v", err)
		}
		j = r.Job
		j.ToDay = "2026-03-25"
		j, err = s.SaveJob(ctx, s.boss.ID, j)
		s.must(err)
		if r = b.check(j); r.Plan == nil || !strings.Contains(r.Plan.Stale(&r.Job), "2026-03-25") {
			t.Errorf("the job's days changed and the plan is not stale")
		}
	})
}

// What is issued to a job counts as there for it, and for no other.
func TestIssuedToTheJobItself(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		one, two := b.job("J-1", "2026-03-17", "2026-03-20"), b.job("J-2", "2026-03-17", "2026-03-20")
		_, err := s.Plan(ctx, op(s.boss), PlanIn{Job: one.ID})
		s.must(err)
		r := b.check(one)
		var picks []Pick
		for _, p := range r.Plan.List() {
			it, err := s.ItemByTag(ctx, p.Tag)
			s.must(err)
			picks = append(picks, Pick{Item: it.ID, Qty: p.Qty})
		}
		planned := r.Plan.Tags()
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: picks, To: b.station.PlaceID, Job: one.ID, Due: "2026-03-20"})
		s.must(err)
		r = b.check(one)
		if !r.Verdict.Buildable || r.Has != 4 || r.Chosen < 0 || !slices.Equal(bareTags(r.Best().IDs()), planned) {
			t.Errorf("with all of it in the machine: buildable %v, has %d, chosen %d, %v", r.Verdict.Buildable, r.Has, r.Chosen, r.Verdict.Reasons)
		}
		kit, err := s.KitOf(ctx, &r)
		if err != nil || !kit.Ready() {
			t.Errorf("kit %+v, %v", kit, err)
		}
		if r := b.check(two); r.Verdict.Buildable {
			t.Error("another job may have the only head, which is in the machine for J-1")
		} else if r.Verdict.Options[0].Parts[0].Owned[0].Job != "J-1" {
			t.Errorf("the other job is told %q", r.Verdict.Options[0].Text)
		}
		// A part of it is with the job, the rest still on the shelf.
		b.restart()
		back := Pick{Item: b.item("HLD", 0).ID, Qty: 1}
		if _, err := s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{back}}); err != nil {
			t.Fatal(err)
		}
		if r = b.check(one); !r.Verdict.Buildable || r.Has != 3 {
			t.Errorf("holder on the shelf, the rest with the job: %v", r.Verdict.Reasons)
		}
		// Without a plan too: what it has is its own, whatever was promised.
		if _, err := s.Unplan(ctx, op(s.boss), one.ID); err != nil {
			t.Fatal(err)
		}
		if r = b.check(one); !r.Verdict.Buildable || r.Plan != nil || r.Has != 3 {
			t.Errorf("not planned, and 3 of 4 with the job: %v", r.Verdict.Reasons)
		}
		if r := b.check(two); r.Verdict.Buildable {
			t.Error("another job may have the head that is with J-1")
		}
		// The whole shelf is asked where what the job has is of no use by itself.
		s.must(s.retire(b.item("HLD", 0).ID))
		s.must(s.retire(b.item("HLD", 1).ID))
		if r = b.check(one); r.Verdict.Buildable || len(r.Verdict.Options) == 0 || r.Verdict.Options[0].Parts[0].Kind != stack.Holder {
			t.Errorf("no holder left: %+v", r.Verdict.Options)
		}
	})
}

// retire scraps a piece where it stands.
func (s *shop) retire(id ItemID) error {
	_, err := s.Scrap(ctx, op(s.boss), ScrapIn{Picks: []Pick{{Item: id, Qty: 1}}, Reason: "bent"})
	return err
}

// A job that has a plan is not closed by changing its record: what was promised to it would stay
// promised for ever.
func TestPlannedJobIsNotClosedByItsRecord(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		j := b.job("J-1", "2026-03-17", "2026-03-20")
		_, err := s.Plan(ctx, op(s.boss), PlanIn{Job: j.ID})
		s.must(err)
		j, err = s.Job(ctx, j.ID)
		s.must(err)
		shut := j
		shut.State = "closed"
		if _, err := s.SaveJob(ctx, s.boss.ID, shut); !errors.Is(err, ErrPromised) || !strings.Contains(err.Error(), "close page") {
			t.Errorf("closed: %v", err)
		}
		j.Name = "another name"
		if _, err := s.SaveJob(ctx, s.boss.ID, j); err != nil {
			t.Errorf("another name: %v", err)
		}
		s.sound()
		if _, err := s.CloseJob(ctx, op(s.boss), CloseIn{Job: j.ID}); err != nil {
			t.Errorf("closed by its page: %v", err)
		}
		s.sound()
	})
}

// A finished job's tools stay bolted in the machine: five of seven kept in lathe 3 are found
// there by the next job, two are back in their bins.
func TestCloseKeepsInTheTurret(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		one, two := b.job("J-640", "2026-03-17", "2026-03-20"), b.job("J-641", "2026-03-23", "2026-03-25")
		issue := func(code string, n int, qty int64, to PlaceID) Standing {
			it := b.item(code, n)
			_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: qty}}, To: to, Job: one.ID})
			s.must(err)
			return it
		}
		turret := b.station.PlaceID
		seven := []Standing{issue("HLD", 0, 1, turret), issue("BAR", 0, 1, turret), issue("HED", 0, 1, turret), issue("INS", 0, 2, turret),
			issue("HLD", 1, 1, s.op1.PlaceID), issue("BAR", 1, 1, s.op1.PlaceID)}
		in := CloseIn{Job: one.ID}
		if _, err := s.CloseJob(ctx, op(s.gate), in); !errors.Is(err, ErrBadInput) {
			t.Errorf("closed with nothing said of what is out: %v", err)
		}
		two1 := 1
		for i, it := range seven {
			l := CloseLine{Item: it.ID, Do: Keep}
			switch i {
			case 3:
				l.Do, l.Edges = Unload, &two1
			case 5:
				l.Do = Unload
			}
			in.Lines = append(in.Lines, l)
		}
		got, err := s.CloseJob(ctx, op(s.gate), in)
		s.must(err)
		if !strings.Contains(got.Says, "4 kept") || !strings.Contains(got.Says, "2 unloaded") {
			t.Errorf("says %q", got.Says)
		}
		if j, err := s.Job(ctx, one.ID); err != nil || j.State != "closed" {
			t.Errorf("state %q, %v", j.State, err)
		}
		for i, it := range seven[:5] {
			if i != 3 && s.there(it.ID, turret) != 1 {
				t.Errorf("%s is not in the turret", it.Tag)
			}
		}
		r := b.check(two)
		if !r.Verdict.Buildable {
			t.Fatalf("J-641 can not be built: %v", r.Verdict.Reasons)
		}
		inTurret := 0
		for _, u := range r.Best().Pieces {
			if u.Place == "L3/4" {
				inTurret++
			}
		}
		if inTurret < 2 { // the only head, and a holder or bar
			t.Errorf("%d of the stack are found in L3/4", inTurret)
		}
		if _, err := s.CloseJob(ctx, op(s.gate), in); !errors.Is(err, ErrBadInput) {
			t.Errorf("closed twice: %v", err)
		}
		s.sound()
	})
}

// Kit of 4: 3 ready, the head back tomorrow at 14:00.
func TestKitReadyWhen(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		j := b.job("J-1", "2026-03-18", "2026-03-20")
		_, err := s.Plan(ctx, op(s.boss), PlanIn{Job: j.ID})
		s.must(err)
		kit := func() JobKit {
			r := b.check(j)
			k, err := s.KitOf(ctx, &r)
			s.must(err)
			return k
		}
		if k := kit(); !k.Ready() || k.Says != "4 of 4 there: ready" {
			t.Errorf("all there: %q", k.Says)
		}
		head := b.item("HED", 0)
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: head.ID, Qty: 1}}, To: s.op1.PlaceID, Override: "try it"})
		s.must(err)
		if k := kit(); k.Known || k.There != 3 || !strings.Contains(k.Says, "not known") {
			t.Errorf("no day is known: %+v", k)
		}
		if _, err := s.SayBack(ctx, op(s.op1), head.ID, s.Now().Add(-time.Hour)); !errors.Is(err, ErrBadInput) {
			t.Errorf("back in the past: %v", err)
		}
		_, err = s.SayBack(ctx, op(s.op1), head.ID, time.Date(2026, 3, 17, 14, 0, 0, 0, time.UTC))
		s.must(err)
		k := kit()
		if k.There != 3 || !k.Known || k.Day != "2026-03-17" || !strings.Contains(k.Says, "3 of 4 there; ready tomorrow 14:00: head "+head.Tag+" with Opal") {
			t.Errorf("%+v", k)
		}
		if r := b.check(j); r.Verdict.AvailableOn != "2026-03-17" {
			t.Errorf("the search says %q", r.Verdict.AvailableOn)
		}
	})
}

// "Chatter above 140 m/min at 9 x D" is shown for any stack with that bar over 8.5 x D.
func TestRemarkComesBack(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		at := func(code string, depth float64) Job {
			req := strings.Replace(boreRequest, `"depth": 250`, fmt.Sprintf(`"depth": %g`, depth), 1)
			j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: code, MachineID: &b.machine.ID, StationID: &b.station.ID, FromDay: "2026-03-17", ToDay: "2026-03-18", Request: req})
			s.must(err)
			return j
		}
		seen := at("J-1", 330) // 360 mm of 40: 9 x D
		if r := b.check(seen); !r.Verdict.Buildable || r.Best().Ratio != 9 {
			t.Fatalf("ratio %v, %v", r.Best(), r.Verdict.Reasons)
		}
		_, err := s.AddRemark(ctx, op(s.op1), RemarkIn{Job: seen.ID, Text: " chatter above 140 m/min\nat 9 x D "})
		s.must(err)
		for _, tt := range []struct {
			depth float64
			want  int
		}{{330, 1}, {310, 1}, {309, 0}, {250, 0}} { // 340 mm is 8.5 x D
			r := b.check(at(fmt.Sprint("J-", tt.depth), tt.depth))
			got, err := s.RemarksOn(ctx, r.Best())
			s.must(err)
			if len(got[0]) != tt.want {
				t.Errorf("depth %v, %v x D: %d remarks, want %d", tt.depth, r.Best().Ratio, len(got[0]), tt.want)
			} else if tt.want == 1 && (got[0][0].Text != "chatter above 140 m/min at 9 x D" || got[0][0].Person != "Opal" || got[0][0].Job != "J-1") {
				t.Errorf("%+v", got[0][0])
			}
		}
		r := b.check(seen)
		got, err := s.RemarksOn(ctx, r.Best())
		s.must(err)
		s.must(s.EndRemark(ctx, s.boss.ID, got[0][0].ID))
		if got, err := s.RemarksOn(ctx, r.Best()); err != nil || len(got[0]) != 0 {
			t.Errorf("taken off, and still shown: %v %v", got, err)
		}
		for _, text := range []string{"", strings.Repeat("x", 501), "a\x07b"} {
			if _, err := s.AddRemark(ctx, op(s.op1), RemarkIn{Job: seen.ID, Text: text}); !errors.Is(err, ErrBadInput) {
				t.Errorf("%.10q: %v", text, err)
			}
		}
	})
}

// Three jobs share five of seven tools: order 1, 3, 2 saves 4 tool moves.
func TestFewestMoves(t *testing.T) {
	share := []string{"a", "b", "c", "d", "e"}
	sets := [][]string{append(slices.Clone(share), "x", "y"), append(slices.Clone(share), "u", "v"), append(slices.Clone(share), "x", "y")}
	order, moves := FewestMoves(sets)
	planned := apart(sets[0], sets[1]) + apart(sets[1], sets[2])
	if !slices.Equal(order, []int{0, 2, 1}) || planned-moves != 4 {
		t.Errorf("order %v with %d moves instead of %d; want 0 2 1 and 4 saved", order, moves, planned)
	}
}

// The order is as good as the best of all orders tried one by one.
func TestFewestMovesIsFewest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 6).Draw(t, "jobs")
		sets := make([][]string, n)
		for i := range sets {
			sets[i] = rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"a", "b", "c", "d", "e", "f"}), 0, 5, rapid.ID[string]).Draw(t, "tools")
		}
		order, moves := FewestMoves(sets)
		walked := 0
		for i := 1; i < len(order); i++ {
			walked += apart(sets[order[i-1]], sets[order[i]])
		}
		if walked != moves || len(order) != n {
			t.Fatalf("order %v walks %d, says %d", order, walked, moves)
		}
		best := moves
		var try func(done []int, sum int)
		try = func(done []int, sum int) {
			if len(done) == n {
				best = min(best, sum)
				return
			}
			for i := range n {
				if !slices.Contains(done, i) {
					step := 0
					if len(done) > 0 {
						step = apart(sets[done[len(done)-1]], sets[i])
					}
					try(append(slices.Clone(done), i), sum+step)
				}
			}
		}
		try(nil, 0)
		if n > 0 && best < moves {
			t.Fatalf("%v: %d moves, %d are enough", sets, moves, best)
		}
	})
}

// All planned jobs together: the second that wants the only head is told of the first, and the
// page costs the same queries for two jobs and for many.
func TestOutlook(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		b.job("J-1", "2026-03-17", "2026-03-20")
		b.job("J-2", "2026-03-19", "2026-03-21")
		b.job("J-3", "2026-03-24", "2026-03-25")
		o, err := s.Outlook(ctx)
		s.must(err)
		if len(o.Jobs) != 3 || len(o.Jobs[0].Clashes) != 0 || len(o.Jobs[1].Clashes) == 0 || o.Jobs[1].Clashes[0].With != "J-1" || len(o.Jobs[2].Clashes) != 0 {
			for _, j := range o.Jobs {
				t.Logf("%s: %v %+v", j.Job.Code, j.Verdict.Buildable, j.Clashes)
			}
			t.Error("J-2 alone clashes, with J-1")
		}
		if len(o.Orders) != 1 || o.Orders[0].Saves() != 0 || len(o.Orders[0].Stays) != 2 || len(o.Orders[0].Stays[0]) != 3 {
			t.Errorf("orders %+v; want one machine with holder, bar and head staying", o.Orders)
		}
		if !o.Jobs[0].Kit.Ready() {
			t.Errorf("kit %+v", o.Jobs[0].Kit)
		}
		p, err := s.Purchases(ctx)
		s.must(err)
		if p.Cents != p.Bound {
			t.Errorf("purchases %+v", p)
		}
	})
}

// A job whose edges can not all be had in time does not hide what the others need.
func TestPurchasesTellTheOthers(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		many := strings.Replace(boreRequest, `"edges_needed": 6`, `"edges_needed": 600`, 1)
		for code, days := range map[string][2]Day{"J-1": {"2026-03-17", "2026-03-18"}, "J-2": {"2026-04-20", "2026-04-21"}} {
			req := boreRequest
			if code == "J-1" {
				req = many
			}
			_, err := s.SaveJob(ctx, s.boss.ID, Job{Code: code, MachineID: &b.machine.ID, StationID: &b.station.ID, FromDay: days[0], ToDay: days[1], Request: req})
			s.must(err)
		}
		p, err := s.Purchases(ctx)
		s.must(err)
		if len(p.Unsolved) != 0 || len(p.FewEdges) != 1 || p.FewEdges[0] != "J-1" || p.Cents != 0 {
			t.Errorf("unsolved %+v, few edges %v, %d cents; want J-1 counted with the edges there are, and nothing to buy", p.Unsolved, p.FewEdges, p.Cents)
		}
	})
}
