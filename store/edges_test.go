package store

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"brasspeg/store/ledger"
	"brasspeg/store/life"
)

// A bench is a shop with a lathe of two stations, a running job on each, and a box of inserts.
type bench struct {
	*shop
	st, st2   Station
	job, job2 Job
	ins       Part
	box       Item
	bin       PlaceID
}

func newBench(s *shop, edges int) *bench {
	s.t.Helper()
	b := &bench{shop: s, bin: s.bin("E1")}
	m, st, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L2", Name: "Lathe 2"}, []Station{{Number: 5, Interface: "VDI40"}, {Number: 6, Interface: "VDI40"}})
	s.must(err)
	b.st, b.st2 = st[0], st[1]
	b.ins = s.insert("INS-C09", edges)
	b.box = s.receive(b.ins, 10, b.bin)[0]
	add := func(code string, st Station) Job {
		j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: code, Name: "Pump cover bore", MachineID: &m.ID, StationID: &st.ID, Material: "P6", PartsQty: 200, State: "running",
			FromDay: "2026-03-16", ToDay: "2026-03-20", Request: `{"bore_start_d": 34, "depth": 105, "clearance": 15, "hand": "R", "insert": {"seat": "CCMT09T3", "RE": 0.4}, "coolant": false, "coolant_bar": 0, "cutting": {"vc": 160, "f": 0.15, "ap": 0.5}}`})
		s.must(err)
		return j
	}
	b.job, b.job2 = add("J-1", b.st), add("J-2", b.st2)
	return b
}

// log logs and fails the test on an error; it returns the booking's op id.
func (b *bench) log(in EdgeIn) string {
	b.t.Helper()
	if in.Station == 0 {
		in.Station = b.st.ID
	}
	if in.Item == 0 {
		in.Item = b.box.ID
	}
	b.clock.step(3 * time.Minute)
	o := op(b.op1)
	_, err := b.LogEdge(ctx, o, in)
	b.must(err)
	return o.ID
}

func (b *bench) refused(in EdgeIn, class error, says string) {
	b.t.Helper()
	if in.Station == 0 {
		in.Station = b.st.ID
	}
	if in.Item == 0 {
		in.Item = b.box.ID
	}
	before := b.count("edge_runs") + 1000*b.count("movements") + 1000000*b.count("edge_inserts")
	_, err := b.LogEdge(ctx, op(b.op1), in)
	if !errors.Is(err, class) || !strings.Contains(fmt.Sprint(err), says) {
		b.t.Errorf("%+v: %v, want %v that says %q", in, err, class, says)
	}
	if after := b.count("edge_runs") + 1000*b.count("movements") + 1000000*b.count("edge_inserts"); after != before {
		b.t.Errorf("%+v: refused and half booked", in)
	}
}

func (b *bench) count(table string) int {
	b.t.Helper()
	var n int
	b.must(b.read.Raw("SELECT count(*) FROM " + table).Scan(&n).Error)
	return n
}

// Two edges of an insert: the first leaves it in the machine, the second sends it to the scrap
// tub by ordinary movements.
func TestEdgesOfAnInsert(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		scrap := b.places.code(CodeScrap)
		o := op(b.op1)
		r, err := b.LogEdge(ctx, o, EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 21, Reason: life.Worn})
		s.must(err)
		if !strings.Contains(r.Says, "edge 1 of INS-C09") || !strings.Contains(r.Says, "Edge 2 is up") {
			t.Errorf("says %q", r.Says)
		}
		if b.there(b.box.ID, b.bin) != 9 || b.there(b.box.ID, b.st.PlaceID) != 1 {
			t.Errorf("a new insert came from the shelf: %d there, %d in the station", b.there(b.box.ID, b.bin), b.there(b.box.ID, b.st.PlaceID))
		}
		again, err := b.LogEdge(ctx, o, EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 21, Reason: life.Worn})
		if err != nil || !again.Replayed || again.Says != r.Says || b.count("edge_runs") != 1 {
			t.Errorf("the same op id again: %+v, %v", again, err)
		}
		b.log(EdgeIn{Parts: 24, Reason: life.Planned})
		var gone int64
		s.must(b.read.Raw("SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id WHERE s.place_id = ? AND i.part_id = ? AND i.edges_left = 0", scrap, b.ins.ID).Scan(&gone).Error)
		if gone != 1 || b.there(b.box.ID, b.st.PlaceID) != 0 || b.there(b.box.ID, b.bin) != 9 {
			t.Errorf("after the last edge %d in the tub, %d in the station, %d on the shelf", gone, b.there(b.box.ID, b.st.PlaceID), b.there(b.box.ID, b.bin))
		}
		b.log(EdgeIn{Parts: 20, Reason: life.Worn}) // the next insert, edge 1
		if b.count("edge_inserts") != 2 {
			t.Errorf("%d inserts", b.count("edge_inserts"))
		}
		s.sound()
		j, err := s.Job(ctx, b.job.ID)
		if s.must(err); j.PartsDone != 65 {
			t.Errorf("the job counts %d parts, want 65", j.PartsDone)
		}
	})
}

func TestEdgeBadInput(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		ok := EdgeIn{Parts: 20, Reason: life.Worn}
		with := func(f func(*EdgeIn)) EdgeIn { in := ok; f(&in); return in }
		b.refused(with(func(in *EdgeIn) { in.Parts = -3 }), ErrBadInput, "upwards")
		b.refused(with(func(in *EdgeIn) { in.Parts = 0 }), ErrBadInput, "failed on its first part made 1")
		b.refused(with(func(in *EdgeIn) { in.Count = -1 }), ErrBadInput, "count")
		b.refused(with(func(in *EdgeIn) { in.Edge = 3 }), ErrBadInput, "has 2 edges")
		b.refused(with(func(in *EdgeIn) { in.Edge = -1 }), ErrBadInput, "from 1")
		b.refused(with(func(in *EdgeIn) { in.Reason = "tired" }), ErrBadInput, "planned, worn")
		b.refused(with(func(in *EdgeIn) { in.WearVB = -0.1 }), ErrBadInput, "wear")
		b.refused(with(func(in *EdgeIn) { in.Ago = -5 }), ErrBadInput, "later")
		b.refused(with(func(in *EdgeIn) { in.Note = "bell \a" }), ErrBadInput, "note")
		b.refused(with(func(in *EdgeIn) { in.Station = 999 }), ErrNotFound, "station 999")
		b.refused(with(func(in *EdgeIn) { in.Job = 999 }), ErrNotFound, "job 999")
		b.refused(with(func(in *EdgeIn) { in.Item = 999 }), ErrNotFound, "item 999")
		slv := s.receive(s.sleeve("SLV-1"), 1, b.bin)[0]
		b.refused(with(func(in *EdgeIn) { in.Item = slv.ID }), ErrBadInput, "no insert")

		b.log(EdgeIn{Count: 21, Reason: life.Worn})
		b.refused(EdgeIn{Count: 20, Reason: life.Worn}, ErrBadInput, "stood at 21")
		b.refused(EdgeIn{Parts: 5, Edge: 1, Reason: life.Worn}, ErrExists, "used once")
		b.log(EdgeIn{Count: 30, Reason: life.Broken}) // the 9 parts come from the counter
		var parts int
		s.must(b.read.Raw("SELECT parts FROM edge_runs ORDER BY id DESC LIMIT 1").Scan(&parts).Error)
		if parts != 9 {
			t.Errorf("the counter went from 21 to 30: %d parts", parts)
		}

		// A closed job, in both its words.
		for _, state := range []string{"done", "closed"} {
			j, err := s.Job(ctx, b.job.ID)
			s.must(err)
			j.State = state
			_, err = s.SaveJob(ctx, s.boss.ID, j)
			s.must(err)
			b.refused(with(func(in *EdgeIn) { in.Job = b.job.ID }), ErrRetired, "is "+state)
			b.refused(ok, ErrBadInput, "no job runs")
			if _, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 40}); !errors.Is(err, ErrRetired) {
				t.Errorf("parts counted on a %s job: %v", state, err)
			}
		}
		s.sound()
	})
}

func TestEdgeOfAnotherBox(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		b.log(EdgeIn{Parts: 20, Reason: life.Worn})
		other := s.part("INS-C09-08", "insert", map[string]any{"seat": "CCMT09T3", "RE": 0.8, "edges": 2})
		box := s.receive(other, 5, b.bin)[0]
		b.refused(EdgeIn{Item: box.ID, Parts: 20, Reason: life.Worn}, ErrAsk, "nose radius 0.4 mm, this has 0.8")
		b.log(EdgeIn{Item: box.ID, Parts: 20, Reason: life.Worn, Why: "no 0.4 left, offset corrected"})
		like := s.insert("INS-C09-K9", 2) // right size, another part number
		box2 := s.receive(like, 5, b.bin)[0]
		b.refused(EdgeIn{Station: b.st2.ID, Item: slvOf(b).ID, Parts: 3, Reason: life.Worn}, ErrBadInput, "no insert")
		b.log(EdgeIn{Station: b.st2.ID, Parts: 20, Reason: life.Worn})
		b.refused(EdgeIn{Station: b.st2.ID, Item: box2.ID, Parts: 20, Reason: life.Worn}, ErrAsk, "INS-C09-K9 was scanned")
		b.log(EdgeIn{Station: b.st2.ID, Item: box2.ID, Parts: 20, Reason: life.Worn, Why: "trial of grade K9"})
		var why string
		s.must(b.read.Raw("SELECT why FROM edge_runs ORDER BY id DESC LIMIT 1").Scan(&why).Error)
		if why != "trial of grade K9" {
			t.Errorf("the reason kept is %q", why)
		}
		s.sound()
	})
}

func slvOf(b *bench) Item { return b.receive(b.sleeve("SLV-9"), 1, b.bin)[0] }

// Two operators log one change: the second is told, whether his page knew of it or not, and the
// change after it is booked.
func TestTwoLogOneChange(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		var wg sync.WaitGroup
		errs := make([]error, 2)
		for i, p := range []Person{b.op1, b.gate} {
			wg.Go(func() {
				_, errs[i] = b.LogEdge(ctx, op(p), EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 20, Reason: life.Worn, After: "none"})
			})
		}
		wg.Wait()
		told := 0
		for _, err := range errs {
			if errors.Is(err, ErrExists) && strings.Contains(err.Error(), "logged at") {
				told++
			} else if err != nil {
				t.Error(err)
			}
		}
		if told != 1 || b.count("edge_runs") != 1 {
			t.Errorf("%d told, %d booked: %v", told, b.count("edge_runs"), errs)
		}
		last, err := s.LastChange(ctx, b.st.ID)
		s.must(err)
		b.log(EdgeIn{Parts: 20, Reason: life.Worn, After: last})
		// A program that names no change before it is held back when it logs the like at once.
		if _, err := b.LogEdge(ctx, op(b.gate), EdgeIn{Station: b.st.ID, Item: b.box.ID, Parts: 20, Reason: life.Worn}); !errors.Is(err, ErrExists) {
			t.Errorf("the like at once by another: %v", err)
		}
	})
}

func TestEdgeUndo(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		first := b.log(EdgeIn{Parts: 20, Reason: life.Worn})
		second := b.log(EdgeIn{Parts: 25, Reason: life.Worn}) // used up: two movements
		if _, err := s.Reverse(ctx, op(b.op1), first, "mistake"); !errors.Is(err, ErrForbidden) && !errors.Is(err, ErrElsewhere) {
			t.Errorf("undo of what the next change rests on: %v", err)
		}
		if _, err := s.Reverse(ctx, op(b.gate), second, "mistake"); !errors.Is(err, ErrForbidden) {
			t.Errorf("an attendant undoes another's: %v", err)
		}
		s.clock.step(59 * time.Second)
		r, err := s.Reverse(ctx, op(b.op1), second, "mistake")
		s.must(err)
		if !strings.Contains(r.Says, "edge 2, 25 parts") || b.there(b.box.ID, b.st.PlaceID) != 1 {
			t.Errorf("%q, %d in the station", r.Says, b.there(b.box.ID, b.st.PlaceID))
		}
		if _, err := s.Reverse(ctx, op(b.op1), second, "again"); !errors.Is(err, ErrReversed) {
			t.Errorf("undone twice: %v", err)
		}
		third := b.log(EdgeIn{Parts: 26, Reason: life.Worn}) // edge 2 once more: not used twice
		s.clock.step(61 * time.Second)
		if _, err := s.Reverse(ctx, op(b.op1), third, "too late"); !errors.Is(err, ErrForbidden) {
			t.Errorf("after 61 seconds: %v", err)
		}
		_, err = s.Reverse(ctx, op(b.boss), third, "a manager may")
		s.must(err)
		_, err = s.Reverse(ctx, op(b.boss), first, "and the one before")
		s.must(err)
		j, _ := s.Job(ctx, b.job.ID)
		if b.there(b.box.ID, b.bin) != 10 || b.there(b.box.ID, b.st.PlaceID) != 0 || j.PartsDone != 0 {
			t.Errorf("all undone: %d on the shelf, %d in the station, %d parts", b.there(b.box.ID, b.bin), b.there(b.box.ID, b.st.PlaceID), j.PartsDone)
		}
		// A count that was set by hand is there again after a slip.
		_, err = s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 12})
		s.must(err)
		for _, in := range []EdgeIn{{Reason: life.Worn}, {Parts: 12, Reason: life.Worn}, {Parts: 30, Reason: life.Worn}} {
			_, err = s.Reverse(ctx, op(b.op1), b.log(in), "slip")
			s.must(err)
			if j, _ := s.Job(ctx, b.job.ID); j.PartsDone != 12 {
				t.Errorf("%+v logged and undone: the count is %d, and was 12", in, j.PartsDone)
			}
		}
		b.log(EdgeIn{Parts: 20, Reason: life.Worn})
		s.sound()
	})
}

// An insert taken out with edges left goes on where it was when it is put in again, and both
// ways can be undone.
func TestInsertPutInAgain(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 3)
		b.log(EdgeIn{Parts: 20, Reason: life.Worn})
		b.log(EdgeIn{Parts: 21, Reason: life.Worn, Fresh: true}) // the first insert lies aside with two edges
		b.refused(EdgeIn{Parts: 5, Edge: 3, Reason: life.Worn}, ErrBadInput, "edge 2 up")
		b.log(EdgeIn{Parts: 22, Reason: life.Worn, Edge: 2})
		again := b.log(EdgeIn{Parts: 23, Reason: life.Worn, Edge: 2, Fresh: true}) // and back to the first
		if n := b.count("edge_inserts"); n != 2 {
			t.Errorf("%d inserts, want 2", n)
		}
		_, err := s.Reverse(ctx, op(b.op1), again, "wrong one")
		s.must(err)
		b.log(EdgeIn{Parts: 23, Reason: life.Worn, Edge: 2, Fresh: true})
		b.log(EdgeIn{Parts: 24, Reason: life.Worn}) // its third and last
		acc, err := s.EdgeAccount(ctx, "")
		if s.must(err); acc.Rows[0].Issued != 6 || acc.Rows[0].Used != 5 || acc.Rows[0].Left != 1 || acc.Rows[0].Unexplained != 0 {
			t.Errorf("two inserts of three: %+v", acc.Rows[0])
		}
		s.sound()
	})
}

// An insert that was brought back from the machine, and of which nobody logged a change since, is
// gone: the next change is of a new insert. Undone, the books are as they were, and the next change
// finds it gone once more.
func TestInsertGoneFromTheBooks(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 4)
		how := func() string {
			t.Helper()
			var all []string
			s.must(b.read.Raw("SELECT ended_how || ' ' || CAST(used AS TEXT) FROM edge_inserts ORDER BY id").Scan(&all).Error)
			return strings.Join(all, ", ")
		}
		b.log(EdgeIn{Parts: 20, Reason: life.Worn})
		left := 3
		_, err := s.Return(ctx, op(b.gate), ReturnIn{Picks: []Pick{{Item: b.box.ID, Place: b.st.PlaceID, Qty: 1}}, Edges: &left})
		s.must(err)
		if got := how(); got != " 1" {
			t.Errorf("brought back: %q; only a change shows that it is gone", got)
		}
		again := b.log(EdgeIn{Parts: 21, Reason: life.Worn})
		if got := how(); got != "gone 1,  1" || b.there(b.box.ID, b.st.PlaceID) != 1 || b.there(b.box.ID, b.bin) != 8 {
			t.Errorf("the next change: %q, %d in the station, %d on the shelf; want the first gone and a new one", got, b.there(b.box.ID, b.st.PlaceID), b.there(b.box.ID, b.bin))
		}
		s.sound()
		_, err = s.Reverse(ctx, op(b.boss), again, "wrong station")
		s.must(err)
		if got := how(); got != " 1, undone 0" || b.there(b.box.ID, b.bin) != 9 {
			t.Errorf("undone: %q, %d on the shelf", got, b.there(b.box.ID, b.bin))
		}
		s.sound()
		b.log(EdgeIn{Parts: 21, Reason: life.Worn})
		if got := how(); got != "gone 1, undone 0,  1" {
			t.Errorf("logged again: %q", got)
		}
		acc, err := s.EdgeAccount(ctx, "")
		s.must(err)
		// Two inserts of four edges went out; one came back with three, one edge each was run.
		if r := acc.Rows[0]; r.Issued != 8 || r.Used != 2 || r.Left != 6 || r.Unexplained != 0 {
			t.Errorf("the account: %+v", r)
		}
		s.sound()
	})
}

// A life far from usual asks why; broken edges and the end of the job have said it.
func TestEdgeFarFromUsual(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		for _, n := range []int{36, 39, 40, 41, 42, 42, 43, 44, 45, 48} {
			b.log(EdgeIn{Parts: n, Reason: life.Worn})
		}
		b.refused(EdgeIn{Parts: 20, Reason: life.Worn}, ErrAsk, "so early")
		b.refused(EdgeIn{Parts: 70, Reason: life.Planned}, ErrAsk, "at risk")
		b.log(EdgeIn{Parts: 20, Reason: life.Chipped})
		b.log(EdgeIn{Parts: 4, Reason: life.EndOfJob})
		b.log(EdgeIn{Parts: 20, Reason: life.Worn, Why: "hard skin on the casting"})
		b.log(EdgeIn{Parts: 42, Reason: life.Worn, Ago: 31})
		fams, err := s.EdgeFamilies(ctx)
		s.must(err)
		if len(fams) != 1 || fams[0].Operation != "Pump cover bore" || fams[0].Band != "160 to 180 m/min" || fams[0].Runs != 14 || fams[0].Late != 1 {
			t.Errorf("families %+v", fams)
		}
		v, err := s.LifeOf(ctx, fams[0].ID, LifeAsk{})
		s.must(err)
		if v.Fit.Kept != 13 || v.LateCount != 1 || !strings.Contains(strings.Join(v.Fit.Sentences, " "), "counted as unfinished") {
			t.Errorf("kept %d, left out %+v: %q", v.Fit.Kept, v.Fit.LeftOut, v.Fit.Sentences)
		}
	})
}

// Edges issued = used + left + thrown away + unexplained, whatever was done with the inserts.
func TestEdgeAccount(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 4)
		must := func(_ Receipt, err error) { t.Helper(); s.must(err) }
		must(s.Issue(ctx, op(b.gate), IssueIn{Picks: []Pick{{Item: b.box.ID, Qty: 5}}, To: b.op1.PlaceID, Job: b.job.ID}))
		for _, n := range []int{20, 22, 19, 21, 20} { // insert one used up, one edge of insert two
			b.log(EdgeIn{Parts: n, Reason: life.Worn})
		}
		one, unused := 3, 4
		must(s.Return(ctx, op(b.gate), ReturnIn{Picks: []Pick{{Item: b.box.ID, Qty: 1}}, Edges: &one}))                         // insert two, three left
		must(s.Return(ctx, op(b.gate), ReturnIn{Picks: []Pick{{Item: b.box.ID, Qty: 1}}, Edges: &unused, To: b.bin}))           // insert three, never used
		must(s.ReturnUnknown(ctx, op(b.gate), ReturnUnknownIn{Picks: []Pick{{Item: b.box.ID, Qty: 1}}, Reason: "in a pocket"})) // insert four
		must(s.Scrap(ctx, op(b.gate), ScrapIn{Picks: []Pick{{Item: b.box.ID, Place: b.op1.PlaceID, Qty: 1}}, Job: b.job.ID, Reason: "dropped"}))
		acc, err := s.EdgeAccount(ctx, "")
		s.must(err)
		if len(acc.Rows) != 1 {
			t.Fatalf("%d rows", len(acc.Rows))
		}
		r := acc.Rows[0]
		if r.Issued != 16 || r.Used != 5 || r.Left != 3 || r.Thrown != 4 || r.Unexplained != 4 || r.UnknownBack != 1 {
			t.Errorf("issued %d = used %d + left %d + thrown %d + unexplained %d; unknown back %d; want 16 = 5 + 3 + 4 + 4, 1", r.Issued, r.Used, r.Left, r.Thrown, r.Unexplained, r.UnknownBack)
		}
		if r.Issued != r.Used+r.Left+r.Thrown+r.Unexplained {
			t.Error("the row does not add up")
		}
		// Somebody looked: the insert of unknown edges had two left, and the rest stays unexplained.
		must(s.LookedAt(ctx, op(b.gate), LookedAtIn{Item: b.box.ID, Qty: 1, Edges: 2, Job: b.job.ID}))
		if acc, err = s.EdgeAccount(ctx, ""); err != nil || acc.Rows[0].Left != 5 || acc.Rows[0].Unexplained != 2 {
			t.Errorf("after the look: %+v, %v", acc.Rows, err)
		}
		// Part-used inserts are a stock of their own.
		var used []struct {
			EdgesLeft *int
			Qty       int64
		}
		s.must(b.read.Raw(`SELECT i.edges_left, s.qty FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
			WHERE i.part_id = ? AND p.kind = 'bin' AND s.qty > 0 ORDER BY i.id`, b.ins.ID).Scan(&used).Error)
		if len(used) != 3 || used[0].EdgesLeft != nil || used[0].Qty != 6 || *used[1].EdgesLeft != 3 || used[1].Qty != 1 || *used[2].EdgesLeft != 2 {
			t.Errorf("on the shelves: %+v", used)
		}
		// The part-used one goes on with its second edge, and its fourth is its last.
		part, err := s.partUsed(b.ins.ID)
		s.must(err)
		must(s.Issue(ctx, op(b.gate), IssueIn{Picks: []Pick{{Item: part.ID, Qty: 1}}, To: b.op1.PlaceID, Job: b.job.ID}))
		b.log(EdgeIn{Item: part.ID, Parts: 20, Reason: life.Worn})
		var edge int
		s.must(b.read.Raw("SELECT edge FROM edge_runs ORDER BY id DESC LIMIT 1").Scan(&edge).Error)
		if edge != 2 {
			t.Errorf("the part-used insert had one edge gone; edge %d was logged", edge)
		}
		b.log(EdgeIn{Item: part.ID, Parts: 20, Reason: life.Broken, Finished: true, Note: "seat damaged"})
		if acc, err = s.EdgeAccount(ctx, ""); err != nil || acc.Rows[0].Issued != 19 || acc.Rows[0].Used != 7 || acc.Rows[0].Left != 5 || acc.Rows[0].Thrown != 5 || acc.Rows[0].Unexplained != 2 {
			t.Errorf("after the broken one: %+v, %v; three more issued, two used, one thrown", acc.Rows, err)
		}
		// A day leaves out jobs that were over before it, and none that is open.
		rows := func(from Day) int {
			acc, err := s.EdgeAccount(ctx, from)
			s.must(err)
			return len(acc.Rows)
		}
		if n := rows("2999-01-01"); n != 1 {
			t.Errorf("an open job is left out: %d rows", n)
		}
		s.must(s.book(ctx, func(tx *Tx) error {
			return tx.exec("UPDATE jobs SET state = 'closed', from_day = '2026-03-01', to_day = '2026-03-20' WHERE id = ?", b.job.ID)
		}))
		if was, later := rows("2026-03-20"), rows("2026-03-21"); was != 1 || later != 0 {
			t.Errorf("a job that ended on 2026-03-20: %d rows from that day, %d from the next; want 1 and 0", was, later)
		}
		s.sound()
	})
}

func (s *shop) partUsed(part PartID) (Item, error) {
	return one[Item](s.read, "lot", part, "part_id = ? AND edges_left = 3", part)
}

// A round insert has as many indexings as agreed; with none agreed it goes on until somebody
// says it is finished, and its account says so.
func TestRoundInsert(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		round := s.part("INS-R12", "insert", map[string]any{"seat": "CCMT09T3", "RE": 0.4})
		box := s.receive(round, 3, b.bin)[0]
		if round.Edges != 0 {
			t.Fatalf("a round insert was given %d edges", round.Edges)
		}
		for i := range 7 {
			b.log(EdgeIn{Item: box.ID, Parts: 20 + i, Reason: life.Worn, Finished: i == 6})
		}
		acc, err := s.EdgeAccount(ctx, "")
		if s.must(err); len(acc.Rows) != 1 || acc.Rows[0].Used != 7 || acc.Rows[0].Unexplained != 0 || len(acc.Round) != 1 {
			t.Errorf("%+v", acc)
		}
		s.sound()
	})
}

func TestPartsMadeGoesUp(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 2)
		_, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 18})
		s.must(err)
		if r, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 180}); err != nil || strings.Contains(r.Says, "check the counter") {
			t.Errorf("%q %v", r.Says, err)
		}
		// A slip is mended, once somebody says that it was one.
		if _, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 18}); !errors.Is(err, ErrAsk) || !strings.Contains(err.Error(), "If 180 was a slip") {
			t.Errorf("backwards: %v", err)
		}
		if r, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 18, Why: "a nought too many"}); err != nil || !strings.Contains(r.Says, "Set back from 180") {
			t.Errorf("with a reason: %q %v", r.Says, err)
		}
		if r, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job2.ID, Count: 230}); err != nil || !strings.Contains(r.Says, "30 more than the job wants") {
			t.Errorf("more than the job: %q %v", r.Says, err)
		}
		b.log(EdgeIn{Reason: life.Worn}) // three scans: parts come from the count
		var parts int
		s.must(b.read.Raw("SELECT parts FROM edge_runs ORDER BY id DESC LIMIT 1").Scan(&parts).Error)
		if parts != 18 {
			t.Errorf("%d parts from a count of 18", parts)
		}
		if _, err := s.PartsMade(ctx, op(b.op1), MadeIn{Job: b.job.ID, Count: 17, Why: "slip"}); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "go back") {
			t.Errorf("below what its edges made: %v", err)
		}
		if May(Admin, ActEdge) || !May(Operator, ActEdge) || May(Operator, ActLifePlan) {
			t.Error("an operator logs, a manager plans, an admin does neither")
		}
		var _ ledger.Act = ActEdge
	})
}
