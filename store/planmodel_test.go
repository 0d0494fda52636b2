package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestJobLives plays plans, starts, closings and undos in any order against a plain model of what
// they change; balances, lists, promises and states are equal after each, and so is what may be.
func TestJobLives(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		_, seats, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L4", Name: "Lathe 4"}, []Station{{Number: 1, Interface: "VDI50"}})
		s.must(err)
		round := 0
		rapid.Check(t, func(rt *rapid.T) {
			round++
			w := newWorld(rt, b, round, seats[0])
			rt.Repeat(map[string]func(*rapid.T){"plan": w.plan, "release": w.release, "start": w.start, "close": w.close, "undo": w.undo, "repeat": w.repeat, "": w.agree})
			w.end(rt)
		})
		s.sound()
	})
}

// A world is the model: what is where, whose list it is on, what is promised, how jobs stand.
type world struct {
	b     *borer
	jobs  []Job
	seat  map[JobID]PlaceID
	bin   PlaceID
	at    map[[2]int64]int64 // item, place
	lists []*listed
	made  []*promised
	state map[JobID]string
	plans map[JobID][]PlanPiece
	acts  []*lived
	again []func() (Receipt, error)
}

type listed struct {
	item  ItemID
	place PlaceID
	job   JobID
	qty   int64
}

type promised struct {
	job      JobID
	item     ItemID
	qty      int64
	from, to Day
	open     bool
}

// A lived act is how to take it back: each step says why it can not, or does it.
type lived struct {
	id     string
	undone bool
	back   []func() bool
}

func (w *world) clone() *world {
	c := *w
	c.at, c.state, c.plans = maps.Clone(w.at), maps.Clone(w.state), maps.Clone(w.plans)
	return &c
}

func newWorld(t *rapid.T, b *borer, round int, second Station) *world {
	w := &world{b: b, seat: map[JobID]PlaceID{}, bin: b.bin2("A1"), at: map[[2]int64]int64{}, state: map[JobID]string{}, plans: map[JobID][]PlanPiece{}}
	for i, days := range [][2]Day{{"2026-03-17", "2026-03-20"}, {"2026-03-18", "2026-03-21"}, {"2026-03-24", "2026-03-26"}} {
		st, m := b.station, b.machine.ID
		if i == 1 {
			st, m = second, second.MachineID
		}
		j, err := b.SaveJob(ctx, b.boss.ID, Job{Code: fmt.Sprintf("R%d-%d", round, i), MachineID: &m, StationID: &st.ID, Material: "P", PartsQty: 4, FromDay: days[0], ToDay: days[1], Request: boreRequest})
		if err != nil {
			t.Fatal(err)
		}
		w.jobs, w.seat[j.ID], w.state[j.ID] = append(w.jobs, j), st.PlaceID, "planned"
	}
	var rows []struct{ ItemID, PlaceID, Qty int64 }
	b.must(b.read.Raw("SELECT s.item_id, s.place_id, s.qty FROM stock s JOIN places p ON p.id = s.place_id WHERE s.qty <> 0 AND p.outside = ?", false).Scan(&rows).Error)
	for _, r := range rows {
		w.at[[2]int64{r.ItemID, r.PlaceID}] = r.Qty
	}
	return w
}

func (w *world) job(t *rapid.T) Job { return w.jobs[rapid.IntRange(0, 2).Draw(t, "job")] }

// did holds what the store says against what the model says.
func (w *world) did(t *rapid.T, what string, o Op, do func() (Receipt, error), may bool) bool {
	r, err := do()
	if (err == nil) != may {
		t.Fatalf("%s: the store says %v, the model %v", what, err, may)
	}
	if err == nil {
		w.again = append(w.again, func() (Receipt, error) {
			again, err := do()
			if err == nil && again.Says != r.Says {
				err = fmt.Errorf("%q became %q", r.Says, again.Says)
			}
			return again, err
		})
	}
	return err == nil
}

// plan is asked of the store alone, for which stack is best is not what is tried here; what it
// promised is noted.
func (w *world) plan(t *rapid.T) {
	j, o := w.job(t), op(w.b.gate)
	if w.state[j.ID] == "closed" {
		return
	}
	r, err := w.b.Plan(ctx, o, PlanIn{Job: j.ID})
	if err != nil {
		if !errors.Is(err, ErrPromised) && !errors.Is(err, ErrShort) {
			t.Fatal(err)
		}
		return
	}
	if len(r.Lines) > 0 {
		t.Fatalf("a plan moved %d", len(r.Lines))
	}
	act := &lived{id: o.ID}
	w.endAll(act, j.ID)
	var p Plan
	w.b.must(w.b.read.Where("job_id = ? AND ended_at IS NULL", j.ID).Limit(1).Find(&p).Error)
	w.setPlan(act, j.ID, p.List())
	res, err := w.b.Reservations(ctx, j.ID)
	w.b.must(err)
	for _, x := range res {
		w.promise(act, &promised{x.JobID, x.ItemID, x.Qty, x.FromDay, x.ToDay, true})
	}
	w.acts = append(w.acts, act)
}

func (w *world) setPlan(act *lived, j JobID, to []PlanPiece) {
	was := w.plans[j]
	w.plans[j] = to
	act.back = append(act.back, func() bool {
		if fmt.Sprintf("%p", w.plans[j]) != fmt.Sprintf("%p", to) && len(w.plans[j])+len(to) > 0 {
			return false
		}
		w.plans[j] = was
		return true
	})
}

func (w *world) promise(act *lived, p *promised) {
	w.made = append(w.made, p)
	act.back = append(act.back, func() bool {
		was := p.open
		p.open = false
		return was
	})
}

func (w *world) endPromise(act *lived, p *promised) {
	p.open = false
	act.back = append(act.back, func() bool {
		if p.open || w.state[p.job] == "closed" || w.clash(p) {
			return false
		}
		p.open = true
		return true
	})
}

// clash says whether others were promised so much by now that p can not be had.
func (w *world) clash(p *promised) bool {
	have := int64(0)
	for c, n := range w.at {
		if c[0] == int64(p.item) {
			have += n
		}
	}
	for _, x := range w.made {
		if x.open && x.item == p.item && x.job != p.job && x.from <= p.to && x.to >= p.from {
			have -= x.qty
		}
	}
	return have < p.qty
}

func (w *world) endAll(act *lived, j JobID) int {
	n := 0
	for _, p := range slices.Clone(w.made) {
		if p.open && p.job == j {
			w.endPromise(act, p)
			n++
		}
	}
	if len(w.plans[j]) > 0 {
		w.setPlan(act, j, nil)
	}
	return n
}

func (w *world) release(t *rapid.T) {
	j, o := w.job(t), op(w.b.gate)
	act := &lived{id: o.ID}
	w.did(t, "release", o, func() (Receipt, error) { return w.b.Unplan(ctx, o, j.ID) }, true)
	if w.endAll(act, j.ID) > 0 || len(act.back) > 0 {
		w.acts = append(w.acts, act)
	}
}

func (w *world) setState(act *lived, j JobID, to string) {
	was := w.state[j]
	if was == to {
		return
	}
	w.state[j] = to
	act.back = append(act.back, func() bool {
		if w.state[j] != to {
			return false
		}
		w.state[j] = was
		return true
	})
}

func (w *world) idle(l *listed) bool { return l.job == 0 || w.state[l.job] == "closed" }

// move takes qty from a bin or off lists into a bin or onto a new list.
func (w *world) move(act *lived, item ItemID, from, to PlaceID, of, job JobID, qty int64) {
	w.at[[2]int64{int64(item), int64(from)}] -= qty
	w.at[[2]int64{int64(item), int64(to)}] += qty
	type part struct {
		l *listed
		n int64
	}
	var off []part
	if from != w.bin {
		left := qty
		for _, same := range []bool{true, false} {
			for _, l := range w.lists {
				if l.item == item && l.place == from && (l.job == of) == same && left > 0 {
					n := min(left, l.qty)
					l.qty -= n
					left -= n
					off = append(off, part{l, n})
				}
			}
		}
	}
	var on *listed
	if to != w.bin {
		on = &listed{item, to, job, qty}
		w.lists = append(w.lists, on)
	}
	act.back = append(act.back, func() bool {
		if w.at[[2]int64{int64(item), int64(to)}] < qty {
			return false
		}
		w.at[[2]int64{int64(item), int64(to)}] -= qty
		w.at[[2]int64{int64(item), int64(from)}] += qty
		if on != nil {
			left := qty
			for _, l := range append([]*listed{on}, w.lists...) {
				if l.item == item && l.place == to && left > 0 {
					n := min(left, l.qty)
					l.qty -= n
					left -= n
				}
			}
		}
		for _, p := range off {
			p.l.qty += p.n
		}
		return true
	})
}

func (w *world) relabel(act *lived, l *listed, job JobID) {
	was, qty := l.job, l.qty
	l.job = job
	act.back = append(act.back, func() bool {
		if l.job != job || l.qty != qty {
			return false
		}
		l.job = was
		return true
	})
}

func (w *world) start(t *rapid.T) {
	j, o, partly := w.job(t), op(w.b.gate), rapid.Bool().Draw(t, "partly")
	do := func() (Receipt, error) { return w.b.StartJob(ctx, o, StartIn{Job: j.ID, Partly: partly}) }
	if w.state[j.ID] == "closed" || len(w.plans[j.ID]) == 0 {
		w.did(t, "start", o, do, false)
		return
	}
	to, act := w.seat[j.ID], &lived{id: o.ID}
	gaps, all, left := 0, 0, 0
	type take struct {
		item ItemID
		from PlaceID
		qty  int64
	}
	var takes []take
	var stays []*listed
	for _, p := range w.plans[j.ID] {
		it, err := w.b.ItemByTag(ctx, p.Tag)
		w.b.must(err)
		all++
		need, stay := p.Qty, []*listed(nil)
		var off []take
		standing := w.at[[2]int64{int64(it.ID), int64(w.bin)}]
		for _, l := range w.lists {
			if l.item == it.ID && l.qty > 0 && w.idle(l) {
				standing += l.qty
			}
			if l.item == it.ID && l.job == j.ID {
				need -= l.qty
			}
		}
		need = max(need, 0)
		for _, x := range w.made { // today is before every day: what is promised until the job's last day
			if x.open && x.item == it.ID && x.job != j.ID && x.from <= j.ToDay {
				standing -= x.qty
			}
		}
		short := standing < need
		free := max(0, min(need, standing))
		for _, l := range w.lists {
			if l.item == it.ID && l.qty > 0 && l.place == to && w.idle(l) && free > 0 {
				stay = append(stay, l)
				n := min(free, l.qty)
				free, need = free-n, need-n
			}
		}
		if n := min(free, w.at[[2]int64{int64(it.ID), int64(w.bin)}]); n > 0 {
			off = append(off, take{it.ID, w.bin, n})
			free, need = free-n, need-n
		}
		for _, l := range w.lists {
			if n := min(free, l.qty); l.item == it.ID && l.place != to && w.idle(l) && n > 0 {
				off = append(off, take{it.ID, l.place, n})
				free, need = free-n, need-n
			}
		}
		if need > 0 || short {
			gaps++
		}
		left += len(off) + min(len(stay), 1)
		takes, stays = append(takes, off...), append(stays, stay...)
	}
	may := gaps == 0 || partly
	if left == 0 && (gaps == all || w.state[j.ID] == "running") {
		may = false
	}
	if !w.did(t, "start", o, do, may) {
		return
	}
	for _, l := range stays {
		w.relabel(act, l, j.ID)
		w.fulfil(act, l.item, l.qty, j.ID)
	}
	for _, x := range takes {
		w.move(act, x.item, x.from, to, 0, j.ID, x.qty)
		w.fulfil(act, x.item, x.qty, j.ID)
	}
	w.setState(act, j.ID, "running")
	w.acts = append(w.acts, act)
}

func (w *world) fulfil(act *lived, item ItemID, qty int64, j JobID) {
	it, err := w.b.Item(ctx, item)
	w.b.must(err)
	if it.Kind == KindPiece {
		return
	}
	for _, p := range slices.Clone(w.made) {
		if p.open && p.job == j && p.item == item && qty > 0 {
			w.endPromise(act, p)
			if p.qty > qty {
				rest := *p
				rest.qty, rest.open = p.qty-qty, true
				w.promise(act, &rest)
			}
			qty -= p.qty
		}
	}
}

func (w *world) close(t *rapid.T) {
	j, o := w.job(t), op(w.b.gate)
	in, act := CloseIn{Job: j.ID}, &lived{id: o.ID}
	if w.state[j.ID] == "closed" {
		w.did(t, "close", o, func() (Receipt, error) { return w.b.CloseJob(ctx, o, in) }, false)
		return
	}
	things, err := w.b.Out(ctx, j.ID)
	w.b.must(err)
	two := 2
	var later []func()
	for _, th := range things {
		l := CloseLine{Item: th.Item, Place: th.Place, Do: Unload}
		if th.Edges > 0 {
			l.Edges = &two // never used
		} else {
			l.Do = rapid.SampledFrom([]string{Keep, Unload, Later}).Draw(t, "do")
		}
		switch l.Do {
		case Keep:
			later = append(later, func() {
				for _, x := range w.lists {
					if x.item == th.Item && x.place == th.Place && x.job == j.ID && x.qty > 0 {
						w.relabel(act, x, 0)
					}
				}
			})
		case Unload:
			later = append(later, func() { w.move(act, th.Item, th.Place, w.bin, j.ID, 0, th.Qty) })
		}
		in.Lines = append(in.Lines, l)
	}
	if !w.did(t, "close", o, func() (Receipt, error) { return w.b.CloseJob(ctx, o, in) }, true) {
		return
	}
	for _, f := range later {
		f()
	}
	w.endAll(act, j.ID)
	w.setState(act, j.ID, "closed")
	w.acts = append(w.acts, act)
}

// undo takes any act back, where each of its steps still can be.
func (w *world) undo(t *rapid.T) {
	if len(w.acts) == 0 {
		return
	}
	act, o := rapid.SampledFrom(w.acts).Draw(t, "act"), op(w.b.gate)
	may := !act.undone
	var restore []func()
	if may {
		saved := w.clone()
		lists, made := make([]listed, len(w.lists)), make([]promised, len(w.made))
		for i, l := range w.lists {
			lists[i] = *l
		}
		for i, p := range w.made {
			made[i] = *p
		}
		restore = append(restore, func() {
			w.at, w.state, w.plans = saved.at, saved.state, saved.plans
			for i := range lists {
				*w.lists[i] = lists[i]
			}
			for i := range made {
				*w.made[i] = made[i]
			}
		})
		for i := len(act.back) - 1; i >= 0 && may; i-- {
			may = act.back[i]()
		}
		if !may {
			restore[0]()
		}
	}
	if w.did(t, "undo", o, func() (Receipt, error) { return w.b.Reverse(ctx, o, act.id, "test") }, may) {
		act.undone = true
	}
}

// repeat sends an op again: the answer is the stored one, and nothing changes.
func (w *world) repeat(t *rapid.T) {
	if len(w.again) == 0 {
		return
	}
	if r, err := rapid.SampledFrom(w.again).Draw(t, "again")(); err != nil || !r.Replayed {
		t.Fatalf("a repeat: replayed %v, %v", r.Replayed, err)
	}
}

func (w *world) agree(t *rapid.T) {
	want, got := []string{}, []string{}
	for c, n := range w.at {
		if n != 0 {
			want = append(want, fmt.Sprintf("%d of item %d in place %d", n, c[0], c[1]))
		}
	}
	out := map[string]int64{}
	for _, l := range w.lists {
		out[fmt.Sprintf("item %d in place %d for job %d", l.item, l.place, l.job)] += l.qty
	}
	for k, n := range out {
		if n != 0 {
			want = append(want, fmt.Sprintf("%d of %s", n, k))
		}
	}
	sum := map[string]int64{}
	for _, p := range w.made {
		if p.open {
			sum[fmt.Sprintf("item %d promised to %d %s %s", p.item, p.job, p.from, p.to)] += p.qty
		}
	}
	for k, n := range sum {
		want = append(want, fmt.Sprintf("%d of %s", n, k))
	}
	for _, j := range w.jobs {
		want = append(want, fmt.Sprintf("job %d %s planned %v", j.ID, w.state[j.ID], len(w.plans[j.ID]) > 0))
	}
	in := []JobID{w.jobs[0].ID, w.jobs[1].ID, w.jobs[2].ID}
	for _, q := range []struct {
		sql  string
		args []any
	}{
		{"SELECT CAST(s.qty AS TEXT) || ' of item ' || CAST(s.item_id AS TEXT) || ' in place ' || CAST(s.place_id AS TEXT) FROM stock s JOIN places p ON p.id = s.place_id WHERE s.qty <> 0 AND p.outside = ?", []any{false}},
		{"SELECT CAST(sum(qty) AS TEXT) || ' of item ' || CAST(item_id AS TEXT) || ' in place ' || CAST(place_id AS TEXT) || ' for job ' || CAST(coalesce(job_id, 0) AS TEXT) FROM holdings WHERE qty > 0 GROUP BY item_id, place_id, job_id", nil},
		{"SELECT CAST(sum(qty) AS TEXT) || ' of item ' || CAST(item_id AS TEXT) || ' promised to ' || CAST(job_id AS TEXT) || ' ' || from_day || ' ' || to_day FROM reservations WHERE ended_at IS NULL GROUP BY item_id, job_id, from_day, to_day", nil},
		{"SELECT 'job ' || CAST(j.id AS TEXT) || ' ' || j.state || ' planned ' || CASE WHEN EXISTS (SELECT 1 FROM plans p WHERE p.job_id = j.id AND p.ended_at IS NULL) THEN 'true' ELSE 'false' END FROM jobs j WHERE j.id IN ?", []any{in}},
	} {
		var rows []string
		w.b.must(w.b.read.Raw(q.sql, q.args...).Scan(&rows).Error)
		got = append(got, rows...)
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(want, got) {
		t.Fatalf("the model has\n%s\nthe store has\n%s", strings.Join(want, "\n"), strings.Join(got, "\n"))
	}
	w.fresh(t)
}

// fresh compares what the store says of the jobs with what it says once it has forgotten all it
// keeps in memory.
func (w *world) fresh(t *rapid.T) {
	s := w.b.Store
	read := func() string {
		ready, err := s.checkAll(ctx, w.jobs)
		w.b.must(err)
		var said []any
		for i := range ready {
			r := &ready[i]
			said = append(said, r.Job.Code, r.Chosen, r.Has, fmt.Sprint(r.Err), r.Verdict.Answer(r.Job.Code))
		}
		b, err := json.Marshal(said)
		w.b.must(err)
		return string(b)
	}
	kept := read()
	s.verdicts.mu.Lock()
	s.verdicts.kept = nil
	s.verdicts.mu.Unlock()
	s.shelf.mu.Lock()
	s.shelf.shelf = nil
	s.shelf.mu.Unlock()
	if anew := read(); kept != anew {
		t.Fatalf("kept in memory\n%s\nread anew\n%s", kept, anew)
	}
}

// end puts everything back, so that the next world begins with a full shelf.
func (w *world) end(t *rapid.T) {
	for _, j := range w.jobs {
		if w.state[j.ID] != "closed" {
			things, err := w.b.Out(ctx, j.ID)
			w.b.must(err)
			in, two := CloseIn{Job: j.ID}, 2
			for _, th := range things {
				l := CloseLine{Item: th.Item, Place: th.Place, Do: Unload}
				if th.Edges > 0 {
					l.Edges = &two
				}
				in.Lines = append(in.Lines, l)
			}
			if _, err := w.b.CloseJob(ctx, op(w.b.gate), in); err != nil {
				t.Fatal(err)
			}
		}
	}
	var left []struct {
		ItemID  ItemID
		PlaceID PlaceID
		Qty     int64
	}
	w.b.must(w.b.read.Raw("SELECT item_id, place_id, sum(qty) AS qty FROM holdings WHERE qty > 0 GROUP BY item_id, place_id").Scan(&left).Error)
	for _, h := range left {
		if _, err := w.b.Transfer(ctx, op(w.b.gate), TransferIn{Picks: []Pick{{Item: h.ItemID, Place: h.PlaceID, Qty: h.Qty}}, To: w.bin}); err != nil {
			t.Fatal(err)
		}
	}
}
