package store

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"brasspeg/store/ledger"
	"brasspeg/store/life"
	"brasspeg/store/reorder"
)

// A throng is a shop on which every act is booked at random, with what a plain model says of it.
type throng struct {
	*borer
	t       *rapid.T
	bins    []PlaceID
	holders []PlaceID
	done    []string          // op ids that were booked
	merges  []string          // of them, merges
	changes []string          // and changes of a record
	acts    map[string][2]int // how often each write was booked, and refused
}

// A write is one public write of the store that comes with an op id: it draws what is asked, and
// returns how to ask it, the same each time.
type write func(w *throng) func(Op) error

func pick[T any](w *throng, what string, of []T) T { return rapid.SampledFrom(of).Draw(w.t, what) }

func (w *throng) num(what string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(w.t, what) }

func (w *throng) ids(q string) []int64 {
	var out []int64
	w.must(w.read.Raw(q).Scan(&out).Error)
	return out
}

// one draws an id of those that q finds, 0 when there is none.
func (w *throng) one(q string) int64 {
	if all := w.ids(q); len(all) > 0 {
		return pick(w, "row", all)
	}
	return 0
}

func (w *throng) anItem() ItemID { return ItemID(w.one("SELECT id FROM items ORDER BY id")) }
func (w *throng) aPart() PartID  { return PartID(w.one("SELECT id FROM parts ORDER BY id")) }
func (w *throng) aJob() JobID    { return JobID(w.one("SELECT id FROM jobs ORDER BY id")) }
func (w *throng) aBin() PlaceID  { return pick(w, "bin", w.bins) }

// there draws a pick of what stands in places of a kind, mostly of a number that is there.
func (w *throng) there(kinds string) []Pick {
	var rows []Pick
	w.must(w.read.Raw("SELECT s.item_id AS item, s.place_id AS place, s.qty FROM stock s JOIN places p ON p.id = s.place_id WHERE s.qty > 0 AND p.kind IN (" + kinds + ") ORDER BY 1, 2").Scan(&rows).Error)
	if len(rows) == 0 {
		return nil
	}
	p := pick(w, "pick", rows)
	if p.Qty > 1 {
		p.Qty = int64(w.num("qty", 1, min(int(p.Qty), 4)))
	}
	if w.num("wrong", 0, 15) == 0 {
		p.Qty += 7
	}
	return []Pick{p}
}

func err2[T any](_ T, err error) error { return err }

// opWrites is every write with an op id, by the name of its method.
var opWrites = map[string]write{
	"Issue": func(w *throng) func(Op) error {
		in := IssueIn{Picks: w.there("'bin'"), To: pick(w, "to", w.holders), Override: pick(w, "why", []string{"", "needed"})}
		if w.num("job", 0, 2) > 0 {
			in.Job = w.aJob()
		}
		return func(o Op) error { return err2(w.Issue(ctx, o, in)) }
	},
	"Return": func(w *throng) func(Op) error {
		in := ReturnIn{Picks: w.there("'person','station','kit'"), To: w.aBin()}
		if w.num("insert", 0, 1) == 1 {
			n := w.num("edges", 0, 3)
			in.Edges, in.To = &n, 0
		}
		if w.num("inspect", 0, 3) == 0 {
			in.Condition, in.Reason = "inspect", "dented"
		}
		return func(o Op) error { return err2(w.Return(ctx, o, in)) }
	},
	"ReturnUnknown": func(w *throng) func(Op) error {
		in := ReturnUnknownIn{Picks: w.there("'person','station','kit'")}
		return func(o Op) error { return err2(w.ReturnUnknown(ctx, o, in)) }
	},
	"LookedAt": func(w *throng) func(Op) error {
		in := LookedAtIn{Edges: w.num("edges", 0, 3)}
		if p := w.there("'inspection'"); p != nil {
			in.Item, in.Qty = p[0].Item, p[0].Qty
		}
		return func(o Op) error { return err2(w.LookedAt(ctx, o, in)) }
	},
	"Receive": func(w *throng) func(Op) error {
		in := ReceiveIn{Part: w.aPart(), Qty: int64(w.num("qty", 1, 3)), To: w.aBin(), Box: pick(w, "box", []string{"", "B7"})}
		return func(o Op) error { return err2(w.Receive(ctx, o, in)) }
	},
	"Transfer": func(w *throng) func(Op) error {
		in := TransferIn{Picks: w.there("'bin','person','station','inspection','lost'"), To: pick(w, "to", slices.Concat(w.bins, w.holders))}
		return func(o Op) error { return err2(w.Transfer(ctx, o, in)) }
	},
	"Count": func(w *throng) func(Op) error {
		in := []CountIn{{Item: w.anItem(), Place: pick(w, "at", slices.Concat(w.bins, w.holders)), Found: int64(w.num("found", 0, 8)), Reason: "counted"}}
		return func(o Op) error { return err2(w.Count(ctx, o, in)) }
	},
	"CountTask": func(w *throng) func(Op) error {
		_, err := w.PlanCounts(ctx, 2)
		w.must(err)
		in := CountTaskIn{Task: w.one("SELECT id FROM count_tasks ORDER BY id"), Found: int64(w.num("found", 0, 3)), PlaceOK: true, ConditionOK: true, Reason: "so"}
		return func(o Op) error { return err2(w.CountTask(ctx, o, in)) }
	},
	"BinEmpty": func(w *throng) func(Op) error {
		at := w.aBin()
		return func(o Op) error { return err2(w.BinEmpty(ctx, o, at)) }
	},
	"Adjust": func(w *throng) func(Op) error {
		in := AdjustIn{Item: w.anItem(), Place: pick(w, "at", slices.Concat(w.bins, w.holders)), Delta: int64(w.num("delta", -3, 3)), Reason: "test"}
		return func(o Op) error { return err2(w.Adjust(ctx, o, in)) }
	},
	"Scrap": func(w *throng) func(Op) error {
		in := ScrapIn{Picks: w.there("'bin','person','station','inspection'"), Reason: "worn"}
		return func(o Op) error { return err2(w.Scrap(ctx, o, in)) }
	},
	"Regrind": func(w *throng) func(Op) error {
		in := RegrindIn{Qty: 1, Size: pick(w, "size", []string{"6.2 mm", "440 mm", "9 mm"}), Edges: w.num("edges", 0, 2), To: w.aBin()}
		if p := w.there("'bin'"); p != nil {
			in.Item, in.Place = p[0].Item, p[0].Place
		}
		if p := w.there("'regrind'"); p != nil && w.num("ground", 0, 1) == 1 {
			in.Item, in.Place = p[0].Item, 0
		}
		return func(o Op) error { return err2(w.Regrind(ctx, o, in)) }
	},
	"SendToGrinder": func(w *throng) func(Op) error {
		in := GrindOut{Picks: w.there("'bin','person','station'"), Note: "test"}
		if w.num("due", 0, 1) == 1 {
			in.Due = w.Today().Add(w.num("days", 0, 9))
		}
		return func(o Op) error { return err2(w.SendToGrinder(ctx, o, in)) }
	},
	"BackUnground": func(w *throng) func(Op) error {
		in := GrindBack{Picks: w.there("'regrind'"), To: w.aBin()}
		return func(o Op) error { return err2(w.BackUnground(ctx, o, in)) }
	},
	"Reverse": func(w *throng) func(Op) error {
		id := "no-such-op-is-there"
		if len(w.done) > 0 {
			id = w.done[max(0, len(w.done)-1-w.num("back", 0, 12))]
		}
		return func(o Op) error { return err2(w.Reverse(ctx, o, id, "test")) }
	},
	"Reserve": func(w *throng) func(Op) error {
		in := ReserveIn{Job: w.aJob(), Picks: []Pick{{Item: w.anItem(), Qty: int64(w.num("qty", 1, 2))}}}
		return func(o Op) error { return err2(w.Reserve(ctx, o, in)) }
	},
	"Unreserve": func(w *throng) func(Op) error {
		j := w.aJob()
		return func(o Op) error { return err2(w.Unreserve(ctx, o, j)) }
	},
	"Plan": func(w *throng) func(Op) error {
		in := PlanIn{Job: w.aJob()}
		return func(o Op) error { return err2(w.Plan(ctx, o, in)) }
	},
	"Unplan": func(w *throng) func(Op) error {
		j := w.aJob()
		return func(o Op) error { return err2(w.Unplan(ctx, o, j)) }
	},
	"UndoPlan": func(w *throng) func(Op) error {
		id := "no-such-op-is-there"
		var ids []string
		w.must(w.read.Raw("SELECT op_id FROM ops WHERE act = 'reserve' ORDER BY at DESC, op_id LIMIT 4").Scan(&ids).Error)
		if len(ids) > 0 {
			id = pick(w, "plan", ids)
		}
		return func(o Op) error { return err2(w.UndoPlan(ctx, o, id)) }
	},
	"StartJob": func(w *throng) func(Op) error {
		in := StartIn{Job: w.aJob(), Partly: w.num("partly", 0, 1) == 1, Override: pick(w, "why", []string{"", "needed"})}
		return func(o Op) error { return err2(w.StartJob(ctx, o, in)) }
	},
	"CloseJob": func(w *throng) func(Op) error {
		in := CloseIn{Job: w.aJob()}
		out, err := w.Out(ctx, in.Job)
		w.must(err)
		for _, x := range out {
			l := CloseLine{Item: x.Item, Place: x.Place, Do: pick(w, "do", []string{Keep, Unload, Later})}
			if x.Edges > 0 && l.Do == Unload {
				n := w.num("edges", 0, x.Edges)
				l.Edges = &n
			}
			in.Lines = append(in.Lines, l)
		}
		return func(o Op) error { return err2(w.CloseJob(ctx, o, in)) }
	},
	"SayBack": func(w *throng) func(Op) error {
		it, at := w.anItem(), w.Now().Add(time.Hour)
		return func(o Op) error { return err2(w.SayBack(ctx, o, it, at)) }
	},
	"AddRemark": func(w *throng) func(Op) error {
		in := RemarkIn{Job: w.aJob(), Text: "it sang"}
		return func(o Op) error { return err2(w.AddRemark(ctx, o, in)) }
	},
	"LogEdge": func(w *throng) func(Op) error {
		in := EdgeIn{Station: w.station.ID, Job: w.aJob(), Parts: w.num("parts", 1, 20), Reason: pick(w, "reason", life.Reasons), Fresh: w.num("fresh", 0, 3) == 0, Finished: w.num("finished", 0, 5) == 0, Why: "so", Note: "n"}
		if w.num("item", 0, 3) > 0 {
			in.Item = ItemID(w.one("SELECT i.id FROM items i JOIN parts p ON p.id = i.part_id WHERE p.kind = 'insert' ORDER BY i.id"))
		}
		return func(o Op) error { return err2(w.LogEdge(ctx, o, in)) }
	},
	"PartsMade": func(w *throng) func(Op) error {
		in := MadeIn{Job: w.aJob(), Count: w.num("made", 0, 60)}
		return func(o Op) error { return err2(w.PartsMade(ctx, o, in)) }
	},
	"PlanLife": func(w *throng) func(Op) error {
		f, in := w.one("SELECT id FROM edge_families ORDER BY id"), LifePlan{PlannedAt: w.num("at", 0, 30), Risk: 0.1}
		return func(o Op) error { return err2(w.PlanLife(ctx, o, f, in)) }
	},
	"PrintLabels": func(w *throng) func(Op) error {
		it, err := w.Item(ctx, w.anItem())
		w.must(err)
		return func(o Op) error { return err2(w.PrintLabels(ctx, o, PrintIn{Tags: []string{it.Tag}, Medium: "a4"})) }
	},
	"BadgePrinted": func(w *throng) func(Op) error {
		return func(o Op) error { return w.BadgePrinted(ctx, o, w.op1.ID, "a4") }
	},
	"Merge": func(w *throng) func(Op) error {
		in := MergeIn{From: PartID(w.one("SELECT id FROM parts WHERE code LIKE 'SLV%' ORDER BY id")), Into: PartID(w.one("SELECT id FROM parts WHERE code LIKE 'SLV%' ORDER BY id"))}
		return func(o Op) error {
			err := err2(w.Merge(ctx, o, in))
			if err == nil && !slices.Contains(w.merges, o.ID) {
				w.merges = append(w.merges, o.ID)
			}
			return err
		}
	},
	"Unmerge": func(w *throng) func(Op) error {
		id := "no-such-op-is-there"
		if len(w.merges) > 0 {
			id = pick(w, "merge", w.merges)
		}
		return func(o Op) error { return err2(w.Unmerge(ctx, o, id, "test")) }
	},
	"LinkCode": func(w *throng) func(Op) error {
		code, part := fmt.Sprint("4006381", w.num("code", 0, 3)), w.aPart()
		return func(o Op) error { return err2(w.LinkCode(ctx, o, code, part)) }
	},
	"UnlinkCode": func(w *throng) func(Op) error {
		code := fmt.Sprint("4006381", w.num("code", 0, 3))
		return func(o Op) error { return err2(w.UnlinkCode(ctx, o, code)) }
	},
	"ChangePart": func(w *throng) func(Op) error {
		e, p, err := w.EntryOf(ctx, w.aPart())
		if err != nil {
			return func(Op) error { return err }
		}
		e.Note = fmt.Sprint("note ", w.num("note", 0, 99))
		return func(o Op) error {
			err := err2(w.ChangePart(ctx, o, PartChange{Part: p.ID, Version: p.Version, Entry: e}))
			if err == nil && !slices.Contains(w.changes, o.ID) {
				w.changes = append(w.changes, o.ID)
			}
			return err
		}
	},
	"UndoChange": func(w *throng) func(Op) error {
		id := "no-such-op-is-there"
		if len(w.changes) > 0 {
			id = pick(w, "change", w.changes)
		}
		return func(o Op) error { return err2(w.UndoChange(ctx, o, id, false)) }
	},
	"RetirePart": func(w *throng) func(Op) error {
		p := w.aPart()
		return func(o Op) error { return err2(w.RetirePart(ctx, o, p, "old")) }
	},
	"ReusePart": func(w *throng) func(Op) error {
		p := w.aPart()
		return func(o Op) error { return err2(w.ReusePart(ctx, o, p, "again")) }
	},
	"AddSubstitute": func(w *throng) func(Op) error {
		a, b := w.aPart(), w.aPart()
		return func(o Op) error { return err2(w.AddSubstitute(ctx, o, a, b, "longer")) }
	},
	"SetWear": func(w *throng) func(Op) error {
		in := WearIn{Part: w.aPart(), Spare: w.aPart(), PerYear: 10, Life: 2}
		return func(o Op) error { return err2(w.SetWear(ctx, o, in)) }
	},
	"AcceptLevels": func(w *throng) func(Op) error {
		p, n := w.aPart(), w.num("point", 0, 9)
		return func(o Op) error { return err2(w.AcceptLevels(ctx, o, p, n, n+1)) }
	},
	"SetBuyRules": func(w *throng) func(Op) error {
		r := DefaultBuyRules()
		r.Review = w.num("review", 1, 9)
		return func(o Op) error { return err2(w.SetBuyRules(ctx, o, r)) }
	},
	"SetVendor": func(w *throng) func(Op) error {
		v := Vendor{Supplier: Supplier{Code: "ORRIN", Name: "Orrin", LeadDays: w.num("lead", 1, 20)}}
		return func(o Op) error { return err2(w.SetVendor(ctx, o, v)) }
	},
	"Snooze": func(w *throng) func(Op) error {
		p := w.aPart()
		return func(o Op) error { return err2(w.Snooze(ctx, o, p, "later", w.Today().Add(5))) }
	},
	"DraftOrders": func(w *throng) func(Op) error {
		return func(o Op) error { return err2(w.DraftOrders(ctx, o)) }
	},
	"DraftPurchases": func(w *throng) func(Op) error {
		return func(o Op) error { return err2(w.DraftPurchases(ctx, o)) }
	},
	"NewOrder": func(w *throng) func(Op) error {
		v, day := SupplierID(w.one("SELECT id FROM suppliers ORDER BY id")), w.Today().Add(2)
		return func(o Op) error { return err2(w.NewOrder(ctx, o, v, day, "")) }
	},
	"SetLine": func(w *throng) func(Op) error {
		in := LineIn{Order: w.order(), Part: w.aPart(), Pieces: w.num("pieces", 0, 5), Seen: true}
		return func(o Op) error { return err2(w.SetLine(ctx, o, in)) }
	},
	"ApproveOrder": func(w *throng) func(Op) error {
		code, v := w.order(), 0
		w.must(w.read.Raw("SELECT version FROM orders WHERE code = ?", code).Scan(&v).Error)
		return func(o Op) error { return err2(w.ApproveOrder(ctx, o, code, v)) }
	},
	"SetOrderedDay": func(w *throng) func(Op) error {
		code := w.order()
		return func(o Op) error { return err2(w.SetOrderedDay(ctx, o, code, w.Today(), w.Today().Add(9))) }
	},
	"CancelOrder": func(w *throng) func(Op) error {
		code := w.order()
		return func(o Op) error { return err2(w.CancelOrder(ctx, o, code)) }
	},
	"CloseLine": func(w *throng) func(Op) error {
		l := w.one("SELECT id FROM order_lines ORDER BY id")
		return func(o Op) error { return err2(w.CloseLine(ctx, o, l, "it will not come")) }
	},
	"CorrectPrice": func(w *throng) func(Op) error {
		l, m := w.one("SELECT id FROM order_lines ORDER BY id"), reorder.Money{Cents: int64(w.num("cents", 1, 900)), Currency: "EUR"}
		return func(o Op) error { return err2(w.CorrectPrice(ctx, o, l, nil, m, "the bill says so")) }
	},
	"ReceiveLine": func(w *throng) func(Op) error {
		in := ReceiveLineIn{Line: w.one("SELECT id FROM order_lines ORDER BY id"), Qty: int64(w.num("qty", 1, 4)), Unit: "piece", To: w.aBin(), Sure: w.num("sure", 0, 1) == 1}
		return func(o Op) error { return err2(w.ReceiveLine(ctx, o, in)) }
	},
}

// What the shop is made of is entered, changed and taken out of use between the bookings.
func init() {
	seen := func(w *throng, q string, id any) Seen {
		var n int
		w.must(w.read.Raw(q, id).Scan(&n).Error)
		return Seen{Version: n - w.num("stale", 0, 1), Over: 0}
	}
	maps.Copy(opWrites, map[string]write{
		"EnterBins": func(w *throng) func(Op) error {
			code := fmt.Sprintf("N%d", w.num("bin", 0, 99))
			return func(o Op) error { return err2(w.EnterBins(ctx, o, []string{code})) }
		},
		"EnterMachine": func(w *throng) func(Op) error {
			m := Machine{Code: fmt.Sprintf("M%d", w.num("machine", 0, 9)), Name: "Lathe"}
			return func(o Op) error { return err2(w.EnterMachine(ctx, o, m)) }
		},
		"EnterStations": func(w *throng) func(Op) error {
			m, n := fmt.Sprintf("M%d", w.num("machine", 0, 9)), w.num("number", 1, 4)
			return func(o Op) error { return err2(w.EnterStations(ctx, o, m, []Station{{Number: n, Interface: "VDI40"}})) }
		},
		"EnterPerson": func(w *throng) func(Op) error {
			in := PersonIn{Login: fmt.Sprintf("new%d", w.num("person", 0, 9)), Name: "New", Role: Operator}
			return func(o Op) error { return err2(w.EnterPerson(ctx, o, in)) }
		},
		"ChangeBin": func(w *throng) func(Op) error {
			id := w.aBin()
			p, err := w.Place(ctx, id)
			w.must(err)
			in := BinChange{Place: id, Seen: seen(w, "SELECT version FROM places WHERE id = ?", id), Code: p.Code, Name: fmt.Sprintf("bin %d", w.num("name", 0, 9)), SortKey: p.SortKey}
			return func(o Op) error { return err2(w.ChangeBin(ctx, o, in)) }
		},
		"SetBinRetired": func(w *throng) func(Op) error {
			id := PlaceID(w.one("SELECT id FROM places WHERE kind = 'bin' ORDER BY id"))
			out := w.num("retired", 0, 2) == 0
			return func(o Op) error { return err2(w.SetBinRetired(ctx, o, id, out)) }
		},
		"ChangeMachine": func(w *throng) func(Op) error {
			id := w.one("SELECT id FROM machines ORDER BY id")
			m, err := one[Machine](w.read, "machine", id, "id = ?", id)
			if err == nil {
				m.Name = fmt.Sprintf("Lathe %d", w.num("name", 0, 9))
			}
			in := MachineChange{Machine: m, Seen: seen(w, "SELECT version FROM machines WHERE id = ?", id)}
			return func(o Op) error { return err2(w.ChangeMachine(ctx, o, in)) }
		},
		"SetMachineRetired": func(w *throng) func(Op) error {
			id, out := MachineID(w.one("SELECT id FROM machines ORDER BY id")), w.num("retired", 0, 2) == 0
			return func(o Op) error { return err2(w.SetMachineRetired(ctx, o, id, out)) }
		},
		"ChangeStation": func(w *throng) func(Op) error {
			id := w.one("SELECT id FROM stations ORDER BY id")
			st, err := one[Station](w.read, "station", id, "id = ?", id)
			if err == nil {
				mm := float64(w.num("swing", 100, 900))
				st.MaxProjection = &mm
			}
			in := StationChange{Station: st, Seen: seen(w, "SELECT version FROM stations WHERE id = ?", id), Broken: w.num("broken", 0, 1) == 1}
			return func(o Op) error { return err2(w.ChangeStation(ctx, o, in)) }
		},
		"SetStationRetired": func(w *throng) func(Op) error {
			id, out := StationID(w.one("SELECT id FROM stations ORDER BY id")), w.num("retired", 0, 2) == 0
			return func(o Op) error { return err2(w.SetStationRetired(ctx, o, id, out)) }
		},
		"ChangePerson": func(w *throng) func(Op) error {
			in := PersonChange{Person: w.op1.ID, Seen: seen(w, "SELECT version FROM people WHERE id = ?", w.op1.ID), Name: fmt.Sprintf("Opal %d", w.num("name", 0, 9)), Role: Operator}
			return func(o Op) error { return err2(w.ChangePerson(ctx, o, in)) }
		},
		"LetGo": func(w *throng) func(Op) error {
			id := PersonID(w.one("SELECT id FROM people WHERE login LIKE 'new%' ORDER BY id"))
			return func(o Op) error { return err2(w.LetGo(ctx, o, id, true)) }
		},
	})
}

func (w *throng) order() string {
	var codes []string
	w.must(w.read.Raw("SELECT code FROM orders ORDER BY id DESC LIMIT 4").Scan(&codes).Error)
	if len(codes) == 0 {
		return "O-00000"
	}
	return pick(w, "order", codes)
}

// Every method of the store that takes an op id is in the table, so it takes part at random.
func TestEveryOpTakesPart(t *testing.T) {
	store := reflect.TypeFor[*Store]()
	var have []string
	for m := range store.Methods() {
		for i := range m.Type.NumIn() {
			if m.Type.In(i) == reflect.TypeFor[Op]() {
				have = append(have, m.Name)
				if opWrites[m.Name] == nil {
					t.Errorf("%s takes an op id and is not in the table of writes", m.Name)
				}
			}
		}
	}
	if len(have) != len(opWrites) {
		t.Errorf("%d methods take an op id, %d are in the table", len(have), len(opWrites))
	}
}

// Every write of the store at random, on every engine: what is refused is refused with a reason for
// people and changes nothing; what is booked, booked again under the same op id, gives no error and
// changes nothing; undone at once it leaves the shop as it was; the books of the plain model agree
// with the stock; and verify is clean after each run.
func TestEveryWriteAtRandom(t *testing.T) {
	names := slices.Sorted(maps.Keys(opWrites))
	for _, often := range []string{"Issue", "Return", "Reserve", "Plan", "StartJob", "LogEdge", "Reverse", "Transfer"} {
		names = append(names, often, often, often)
	}
	engines(t, func(t *testing.T, first *shop) {
		acts, runs, most := map[string][2]int{}, 0, 40
		if first.postgres || testing.Short() {
			most = 8
		}
		rapid.Check(t, func(rt *rapid.T) {
			if runs++; runs > most { // each run is a shop of its own
				return
			}
			s := newShop(t, first.postgres)
			defer s.Close()
			w := &throng{borer: newBorer(s), acts: acts}
			w.bins = []PlaceID{s.places.code("A1"), s.bin("A2"), s.bin("A3")}
			w.holders = []PlaceID{s.op1.PlaceID, s.gate.PlaceID, w.station.PlaceID}
			v := s.supplier("ORRIN", 12)
			for _, code := range []string{"SLV-1", "SLV-2"} {
				s.receive(s.bought(code, "sleeve", v, 1, 20000, w.bins[1], map[string]any{"DCONMS": 50, "DCONWS": 40, "LSC": 130, "unit": "mm", "type": "split"}), 2, w.bins[1])
			}
			w.job("J-1", "2026-03-16", "2026-03-20")
			w.job("J-2", "2026-03-18", "2026-03-25")
			w.job("J-3", "2026-04-18", "2026-04-25")
			rt.Repeat(map[string]func(*rapid.T){"write": func(rt *rapid.T) { w.t = rt; w.step(pick(w, "write", names)) }})
			places := map[int64]ledger.Place{}
			for id, p := range s.places.byID {
				places[int64(id)] = ledger.Place{Outside: p.Outside}
			}
			m := &model{s: s, books: replay(rt, s, places)}
			m.agree(rt)
			w.standings(rt, m.books)
			rep, err := s.Verify(ctx)
			if err != nil || len(rep.Faults) > 0 {
				rt.Fatalf("verify: %v %v", rep.Faults, err)
			}
		})
		var never []string
		for n := range opWrites {
			if acts[n][0] == 0 {
				never = append(never, n)
			}
		}
		slices.Sort(never)
		t.Logf("booked and refused: %v; never booked: %v", acts, never)
	})
}

// standings holds what a search says of each part against sums made by hand: on hand, out, held
// and promised, free, from the plain books, the items and the promises row by row.
func (w *throng) standings(rt *rapid.T, books *ledger.Books) {
	var items []Item
	w.must(w.read.Order("id").Find(&items).Error)
	var open []Reservation
	w.must(w.read.Where("ended_at IS NULL").Find(&open).Error)
	var parts []Part
	w.must(w.read.Where("merged_into IS NULL").Order("id").Find(&parts).Error)
	today := w.Today()
	var lists []struct{ ItemID, JobID int64 }
	w.must(w.read.Raw("SELECT item_id, job_id FROM holdings WHERE qty > 0 AND job_id IS NOT NULL").Scan(&lists).Error)
	with := map[[2]int64]bool{}
	for _, h := range lists {
		with[[2]int64{h.ItemID, h.JobID}] = true
	}
	for _, p := range parts {
		var hand, out, held, promised int64
		for _, it := range items {
			if it.PartID != p.ID {
				continue
			}
			for cell, n := range books.OnHand {
				if cell.Item != int64(it.ID) || n <= 0 {
					continue
				}
				switch at, _ := w.places.get(PlaceID(cell.Place)); {
				case at.Outside:
				case at.Kind.Holds():
					hand, out = hand+n, out+n
				case at.Kind == Inspection || at.Kind == Lost || it.Held != "":
					hand, held = hand+n, held+n
				default:
					hand += n
				}
			}
			for _, r := range open {
				if r.ItemID == it.ID && r.ToDay >= today && (it.Kind == KindLot || !with[[2]int64{int64(it.ID), int64(r.JobID)}]) {
					promised += r.Qty // a piece that the job has is no longer awaited by it
				}
			}
		}
		f, err := w.FoundPart(ctx, p.ID)
		w.must(err)
		if f.OnHand != hand || f.Out != out || f.Held != held || f.Promised != promised {
			rt.Fatalf("%s: a search says %d on hand, %d out, %d held, %d promised; the sums are %d, %d, %d, %d", p.Code, f.OnHand, f.Out, f.Held, f.Promised, hand, out, held, promised)
		}
	}
}

// classes are those a refusal may have: a reason for people, never a failure inside.
var classes = []error{ErrNotFound, ErrBadInput, ErrShort, ErrElsewhere, ErrHeld, ErrPromised, ErrRetired, ErrForbidden, ErrConflict, ErrExists, ErrReversed, ErrAsk, ErrSurplus}

func (w *throng) step(name string) {
	w.clock.step(time.Duration(rand.IntN(5)) * time.Minute)
	ask := opWrites[name](w)
	o := op(w.boss)
	before, rows := w.beside(), w.rowsOf()
	err := ask(o)
	n := w.acts[name]
	if err != nil {
		n[1]++
		w.acts[name] = n
		if !slices.ContainsFunc(classes, func(c error) bool { return errors.Is(err, c) }) || errors.Is(err, ErrDamaged) {
			w.t.Fatalf("%s failed inside: %v", name, err)
		}
		if now := w.beside(); now != before {
			w.t.Fatalf("%s was refused (%v) and changed\n%s", name, err, differ(before, now))
		}
		if now := w.rowsOf(); now != rows && name != "Issue" { // a refused issue is counted as a request in vain
			w.t.Fatalf("%s was refused (%v) and left rows: %s, then %s", name, err, rows, now)
		}
		return
	}
	n[0]++
	w.acts[name] = n
	w.done = append(w.done, o.ID)
	after, rows := w.beside(), w.rowsOf()
	if err := ask(o); err != nil && !(name == "BadgePrinted" && errors.Is(err, ErrExists)) { // the paper of a badge is printed once, and its second print is refused
		w.t.Fatalf("%s under the same op id: %v", name, err)
	}
	if now := w.beside(); now != after || w.rowsOf() != rows {
		w.t.Fatalf("%s under the same op id changed\n%s\n%s, then %s", name, differ(after, now), rows, w.rowsOf())
	}
	if name == "Reverse" || rapid.IntRange(0, 2).Draw(w.t, "undo") > 0 {
		return
	}
	if err := err2(w.Reverse(ctx, op(w.boss), o.ID, "at once")); err != nil {
		if !slices.ContainsFunc(classes, func(c error) bool { return errors.Is(err, c) }) {
			w.t.Fatalf("undoing %s failed inside: %v", name, err)
		}
		if now := w.beside(); now != after {
			w.t.Fatalf("undoing %s was refused (%v) and changed\n%s", name, err, differ(after, now))
		}
		return
	}
	if now := w.beside(); now != before {
		w.t.Fatalf("%s was undone at once, and left\n%s", name, differ(before, now))
	}
}

// rowsOf counts the rows that an act may leave.
func (w *throng) rowsOf() string {
	var out []string
	for _, table := range []string{"ops", "movements", "holdings", "reservations", "plans", "act_changes", "substitutes", "edge_runs", "edge_inserts", "orders", "order_lines", "order_receipts", "label_runs", "label_prints", "part_changes", "part_merges", "remarks", "audit", "items"} {
		var n int64
		w.must(w.read.Raw("SELECT count(*) FROM " + table).Scan(&n).Error)
		out = append(out, fmt.Sprint(table, " ", n))
	}
	return strings.Join(out, ", ")
}

func differ(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	var out []string
	for _, l := range x {
		if !slices.Contains(y, l) {
			out = append(out, "- "+l)
		}
	}
	for _, l := range y {
		if !slices.Contains(x, l) {
			out = append(out, "+ "+l)
		}
	}
	return strings.Join(out, "\n")
}
