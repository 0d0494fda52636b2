package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// Closing is undone as one act: what was unloaded is in the machine, what was kept is out for the
// job, promises, plan and state are back; a thing that has moved since stops it with the reason.
func TestCloseIsUndone(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		j := b.planned(b.job("J-1", "2026-03-17", "2026-03-20"))
		_, err := s.StartJob(ctx, op(s.gate), StartIn{Job: j.ID})
		s.must(err)
		one := 1
		in := CloseIn{Job: j.ID, Lines: []CloseLine{
			{Item: b.item("HLD", 0).ID, Do: Keep}, {Item: b.item("HLD", 1).ID, Do: Keep}, {Item: b.item("BAR", 0).ID, Do: Unload}, {Item: b.item("BAR", 1).ID, Do: Unload},
			{Item: b.item("HED", 0).ID, Do: Later}, {Item: b.item("INS", 0).ID, Do: Unload, Edges: &one}}}
		before := s.beside()
		for _, since := range []struct {
			name string
			do   func()
			says string
		}{
			{"nothing", func() {}, ""},
			{"what was kept was taken out", func() {
				_, err := s.Return(ctx, op(s.boss), ReturnIn{Picks: []Pick{{Item: b.inTurret("HLD"), Qty: 1}}})
				s.must(err)
			}, "HLD"},
			{"what was unloaded was handed out", func() {
				_, err := s.Issue(ctx, op(s.boss), IssueIn{Picks: []Pick{{Item: b.planPart(j, "BAR"), Qty: 1}}, To: s.op1.PlaceID})
				s.must(err)
			}, "BAR"},
			{"another job began with it", func() {
				k := b.planned(b.job("J-2", "2026-03-17", "2026-03-18"))
				_, err := s.StartJob(ctx, op(s.boss), StartIn{Job: k.ID, Partly: true})
				s.must(err)
			}, "J-2"},
		} {
			name := since.name
			key := op(s.gate)
			_, err := s.CloseJob(ctx, key, in)
			s.must(err)
			since.do()
			mid := s.beside()
			_, err = s.Reverse(ctx, op(s.gate), key.ID, "closed too early")
			if since.says == "" {
				s.must(err)
				s.same(name, before)
				continue
			}
			if !errors.Is(err, ErrElsewhere) && !errors.Is(err, ErrPromised) || !strings.Contains(fmt.Sprint(err), since.says) {
				t.Errorf("%s: %v", name, err)
			}
			s.same(name+", refused", mid)
			last, _, err := s.LastOp(ctx, s.boss.ID) // what came between goes back first, then the closing
			s.must(err)
			_, err = s.Reverse(ctx, op(s.boss), last, "")
			s.must(err)
			if k, err := s.JobByCode(ctx, "J-2"); err == nil {
				_, err = s.Unplan(ctx, op(s.boss), k.ID)
				s.must(err)
				s.must(s.write.Exec("UPDATE jobs SET code = 'J-2 gone' WHERE id = ?", k.ID).Error)
			}
			_, err = s.Reverse(ctx, op(s.boss), key.ID, "closed too early")
			s.must(err)
			if b.state(j) != "running" {
				t.Errorf("%s, then both undone: the job is %s", name, b.state(j))
			}
			s.same(name+", then both undone", withJob(before, s, "J-2 gone"))
		}
		s.sound()
	})
}

// withJob adds the line of a job that a test left behind.
func withJob(before string, s *shop, code string) string {
	if _, err := s.JobByCode(ctx, code); err != nil {
		return before
	}
	lines := append(strings.Split(before, "\n"), "job "+code+" planned 0")
	return strings.Join(lines, "\n")
}

// inTurret is the piece of a part that stands in the station.
func (b *borer) inTurret(code string) ItemID {
	b.t.Helper()
	for n := range 2 {
		if it := b.item(code, n); b.there(it.ID, b.station.PlaceID) > 0 {
			return it.ID
		}
	}
	b.t.Fatalf("no %s in the turret", code)
	return 0
}

// planPart is the piece of a part that was planned for a job, last.
func (b *borer) planPart(j Job, code string) ItemID {
	b.t.Helper()
	var p Plan
	b.must(b.read.Where("job_id = ?", j.ID).Order("id DESC").Limit(1).Find(&p).Error)
	for _, x := range p.List() {
		if x.Part == code {
			it, err := b.ItemByTag(ctx, x.Tag)
			b.must(err)
			return it.ID
		}
	}
	b.t.Fatalf("no %s was planned for %s", code, j.Code)
	return 0
}

// A return that is undone stands on the list it was on, with its job, its day and its holder.
func TestReturnIsUndoneOntoItsList(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		j := b.job("J-1", "2026-03-17", "2026-03-20")
		ins, head := b.item("INS", 0), b.item("HED", 0)
		for _, in := range []IssueIn{
			{Picks: []Pick{{Item: ins.ID, Qty: 3}, {Item: head.ID, Qty: 1}}, To: s.op1.PlaceID, Job: j.ID, Due: "2026-03-20", Note: "first"},
			{Picks: []Pick{{Item: ins.ID, Qty: 2}}, To: s.op1.PlaceID},
		} {
			_, err := s.Issue(ctx, op(s.gate), in)
			s.must(err)
		}
		before := s.beside()
		two := 2
		for _, act := range []func(Op) (Receipt, error){
			func(o Op) (Receipt, error) {
				return s.Return(ctx, o, ReturnIn{Picks: []Pick{{Item: head.ID, Qty: 1}}, Condition: "inspect", Reason: "chipped"})
			},
			func(o Op) (Receipt, error) {
				return s.Return(ctx, o, ReturnIn{Picks: []Pick{{Item: ins.ID, Qty: 4}}, Edges: &two})
			},
			func(o Op) (Receipt, error) {
				return s.Scrap(ctx, o, ScrapIn{Picks: []Pick{{Item: head.ID, Qty: 1}, {Item: ins.ID, Qty: 1}}, Reason: "dropped"})
			},
			func(o Op) (Receipt, error) { // of another list than the oldest
				return s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: s.op1.PlaceID})
			},
		} {
			key := op(s.gate)
			_, err := act(key)
			s.must(err)
			_, err = s.Reverse(ctx, op(s.gate), key.ID, "")
			s.must(err)
			s.same("undone", before)
		}
		s.sound()
	})
}

// What two jobs have of one lot in one pair of hands is told apart: closing one takes its own.
func TestCloseTakesItsOwn(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		one, two := b.job("J-1", "2026-03-17", "2026-03-20"), b.job("J-2", "2026-03-17", "2026-03-20")
		ins := b.item("INS", 0)
		for j, n := range map[JobID]int64{one.ID: 3, two.ID: 2} {
			_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: n}}, To: s.op1.PlaceID, Job: j})
			s.must(err)
		}
		before := s.beside()
		full := 2
		for _, l := range []CloseLine{{Item: ins.ID, Do: Keep}, {Item: ins.ID, Do: Unload, Edges: &full}} {
			for _, j := range []struct {
				id    JobID
				other string
			}{{two.ID, "J-1 3"}, {one.ID, "J-2 2"}} {
				key := op(s.gate)
				_, err := s.CloseJob(ctx, key, CloseIn{Job: j.id, Lines: []CloseLine{l}})
				s.must(err)
				var left []string
				s.must(s.read.Raw(`SELECT j.code || ' ' || CAST(sum(h.qty) AS TEXT) FROM holdings h JOIN jobs j ON j.id = h.job_id WHERE h.qty > 0 AND h.place_id = ? GROUP BY j.code`, s.op1.PlaceID).Scan(&left).Error)
				if len(left) != 1 || left[0] != j.other {
					t.Errorf("%s: left in his hands: %v, want %s", l.Do, left, j.other)
				}
				_, err = s.Reverse(ctx, op(s.gate), key.ID, "")
				s.must(err)
				s.same("undone", before)
			}
		}
		s.sound()
	})
}

// Another box, another part: each is kept with the job as planned and used, by whom and why; an
// addition is none, and an undo takes the line off.
func TestSubstitutes(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		bin := s.bin("A2")
		sharp := s.part("INS-04", "insert", map[string]any{"seat": "DCMT11T3", "RE": 0.4, "edges": 2})
		screw := s.part("SCREW", "spare", map[string]any{})
		s.receive(sharp, 5, bin)
		s.receive(screw, 20, bin)
		j := b.planned(b.job("J-1", "2026-03-17", "2026-03-20"))
		other := b.item("BAR", 1)
		if slices.Contains(b.check(j).Plan.Tags(), other.Tag) {
			other = b.item("BAR", 0)
		}
		issue := func(it ItemID, qty int64, note string) Op {
			key := op(s.gate)
			_, err := s.Issue(ctx, key, IssueIn{Picks: []Pick{{Item: it, Qty: qty}}, To: b.station.PlaceID, Job: j.ID, Note: note})
			s.must(err)
			return key
		}
		issue(b.item("HED", 0).ID, 1, "") // as planned
		issue(b.item("SCREW", 0).ID, 2, "")
		issue(other.ID, 1, "the other one is at the back")
		last := issue(b.item("INS-04", 0).ID, 3, "smaller radius for the finish")
		got, err := s.Substitutes(ctx, j.ID)
		s.must(err)
		if len(got) != 2 {
			t.Fatalf("%+v; want the bar and the inserts", got)
		}
		if g := got[0]; g.Role != "bar" || g.Part != "BAR" || g.Tag != other.Tag || g.PlannedTag == other.Tag || g.Person != "Gil" || g.Why != "the other one is at the back" || !strings.Contains(g.Says(), "the same part") {
			t.Errorf("%+v", g)
		}
		if g := got[1]; g.Role != "insert" || g.PlannedPart != "INS" || g.Part != "INS-04" || g.Qty != 3 || g.Says() != "planned INS "+b.item("INS", 0).Tag+", used INS-04 "+b.item("INS-04", 0).Tag {
			t.Errorf("%+v: %s", g, g.Says())
		}
		_, err = s.Reverse(ctx, op(s.gate), last.ID, "")
		s.must(err)
		if got, err = s.Substitutes(ctx, j.ID); err != nil || len(got) != 1 {
			t.Errorf("undone, and still %+v, %v", got, err)
		}
		k := b.job("J-2", "2026-04-17", "2026-04-20")
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: b.item("INS-04", 0).ID, Qty: 1}}, To: s.op1.PlaceID, Job: k.ID})
		s.must(err)
		if got, err = s.Substitutes(ctx, k.ID); err != nil || len(got) != 0 {
			t.Errorf("nothing was planned, and %+v, %v", got, err)
		}
	})
}
