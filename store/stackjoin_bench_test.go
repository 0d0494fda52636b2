//go:build unix

package store

import (
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"brasspeg/store/stack"
)

// The stack question asked three ways: of the stack room, of SQLite by a join, and of nested
// loops. The answers are compared by what ranks a stack.
type ranked struct {
	ok              bool
	warnings, parts int
	d, set          float64
}

func askSearch(shelf *stack.Shelf, r stack.Request) (ranked, error) {
	v, err := shelf.Check(r)
	if err != nil || !v.Buildable {
		return ranked{}, err
	}
	st := &v.Stacks[0]
	return ranked{true, len(st.Warnings), len(st.Pieces), st.D(), st.Overhang}, nil
}

// joinShop makes a shop of items of parts catalogue parts with the mix of a turning shop. One
// in eight items is not free. What the join below can not say is not in it: unknown sizes,
// adapters, makers' own overhangs.
func joinShop(parts, items int) []stack.Item {
	rnd := rand.New(rand.NewPCG(21, uint64(parts)))
	word := func(of ...string) string { return of[rnd.IntN(len(of))] }
	size := func(of ...float64) float64 { return of[rnd.IntN(len(of))] }
	seats := []string{"CCMT0602", "CCMT09T3", "CCMT1204", "DCMT0702", "DCMT11T3", "DCMT1504", "CNMG1204", "CNMG1606", "DNMG1504", "DNMG1506",
		"TNMG1604", "TCMT1102", "TCMT16T3", "VBMT1103", "VBMT1604", "WNMG0604", "WNMG0804", "SCMT09T3", "SCMT1204", "RCMT10T3"}
	couplings := []string{"H16", "H20", "H25", "H32", "H40", "H50", "H60", "K25", "K32", "K40", "K50", "P32", "P40"}
	bores := []float64{16, 20, 25, 25.4, 31.75, 32, 38.1, 40, 50, 50.8, 60, 63.5}
	shanks := []float64{12, 12.7, 16, 19.05, 20, 25, 25.4, 31.75, 32, 38.1, 40, 50, 50.8}
	round := func(side stack.Side, gender string, d float64) stack.Joint {
		return stack.Joint{Side: side, Family: stack.Cylindrical, Gender: gender, Size: stack.Some(d)}
	}
	code := func(side stack.Side, f stack.Family, c string) stack.Joint {
		return stack.Joint{Side: side, Family: f, Code: c}
	}
	var all []*stack.Part
	for i := range parts {
		p := &stack.Part{Code: fmt.Sprintf("P%06d", i), WT: stack.Some(size(0.3, 0.6, 2, 4.5)), CP: stack.Some(size(20, 40, 70, 100))}
		switch x := rnd.IntN(100); {
		case x < 12:
			p.Kind, p.Coolant = stack.Holder, rnd.IntN(4) == 0
			bore := round(stack.Workpiece, "F", size(bores...))
			bore.Clamp, bore.LSC = word("split", "screws"), stack.Some(size(70, 90, 110, 130, 150, 165, 245))
			p.Joints = []stack.Joint{code(stack.Machine, stack.TurretSeat, word("VDI30", "VDI40", "VDI50", "VDI60", "BMT45", "BMT55", "BMT65", "BMT75", "BMT85", "P50")), bore}
		case x < 24:
			p.Kind, p.ForDamped, p.Sealed, p.Index = stack.Sleeve, rnd.IntN(2) > 0, rnd.IntN(2) > 0, word("scribe", "plunger", "none")
			in := size(shanks...)
			out := in + size(4, 7, 12.3, 18)
			if rnd.IntN(2) > 0 {
				out = bores[len(bores)-1-rnd.IntN(5)]
				if out < in+3 {
					in = 16
				}
			}
			bore := round(stack.Workpiece, "F", in)
			bore.LSC = stack.Some(size(70, 90, 110, 130, 150))
			p.Joints = []stack.Joint{round(stack.Machine, "M", out), bore}
		case x < 42:
			p.Kind, p.Construction, p.OAL = stack.Bar, word("steel", "heavy_metal", "carbide", "damped_steel", "damped_carbide"), stack.Some(size(200, 250, 300, 380, 470, 560, 760))
			p.Coolant = rnd.IntN(4) > 0
			shank := round(stack.Machine, "M", size(shanks...))
			shank.Flat = rnd.IntN(2) > 0
			p.Joints = []stack.Joint{shank, code(stack.Workpiece, stack.Coupling, word(couplings...)), {Side: stack.CoolantIn, Family: stack.Through}}
			if rnd.IntN(3) == 0 {
				p.Joints = append(p.Joints, stack.Joint{Side: stack.CoolantIn, Family: stack.Thread, Gender: "F", Code: word("G 1/8", "G 1/4", "NPT 1/4")})
			}
		case x < 68:
			p.Kind, p.Hand, p.DMIN, p.LF, p.Coolant = stack.Head, word("R", "L"), stack.Some(size(18, 22, 25, 32, 40, 50, 63)), stack.Some(size(16, 20, 32, 40)), rnd.IntN(5) > 0
			p.Joints = []stack.Joint{code(stack.Machine, stack.Coupling, word(couplings...)), code(stack.Workpiece, stack.Pocket, word(seats...))}
		case x < 92:
			p.Kind, p.RE, p.Edges = stack.Insert, stack.Some(size(0.2, 0.4, 0.8, 1.2)), 2
			p.Joints = []stack.Joint{code(stack.Machine, stack.Pocket, word(seats...))}
		default:
			p.Kind = stack.Hose
			for range 2 {
				p.Joints = append(p.Joints, stack.Joint{Side: stack.CoolantIn, Family: stack.Thread, Gender: word("M", "F"), Code: word("G 1/8", "G 1/4", "G 3/8", "NPT 1/8", "NPT 1/4")})
			}
		}
		all = append(all, p)
	}
	var list []stack.Item
	for i := range items {
		it := stack.Item{ID: fmt.Sprintf("I%07d", i), Part: all[rnd.IntN(len(all))], Status: stack.In, Qty: 1 + rnd.IntN(10), Place: "A-01"}
		switch rnd.IntN(16) {
		case 0:
			it.Status = stack.Out
		case 1:
			it.Reserved = []stack.Reservation{{Job: "J-9", From: "2026-03-10", To: "2026-03-20"}}
		}
		list = append(list, it)
	}
	return list
}

func joinRequests(n int) []stack.Request {
	rnd := rand.New(rand.NewPCG(22, 1))
	word := func(of ...string) string { return of[rnd.IntN(len(of))] }
	size := func(of ...float64) float64 { return of[rnd.IntN(len(of))] }
	var out []stack.Request
	for i := range n {
		r := stack.Request{Job: fmt.Sprintf("J-%d", 100+i), NeedDate: stack.Date("2026-03-01").AddDays(rnd.IntN(40)), BoreStartD: size(22, 30, 38, 45, 52, 62, 80),
			Depth: size(40, 80, 120, 200, 280, 400), Clearance: 20, Hand: word("R", "R", "R", "L"),
			Station: stack.Station{Interface: word("VDI40", "VDI50", "BMT65", "BMT75", "VDI30"), CoolantPort: "F:G 1/4", CoolantMaxBar: stack.Some(70), MaxMassKg: stack.Some(40)},
			Insert:  stack.Wanted{Seat: word("CCMT09T3", "DCMT11T3", "CNMG1204", "TCMT16T3", "WNMG0804"), RE: stack.Some(size(0.4, 0.8))}, EdgesNeeded: 4}
		if rnd.IntN(2) == 0 {
			r.Coolant, r.CoolantBar = true, size(20, 40, 70)
		}
		out = append(out, r)
	}
	return out
}

// The tables of the join: one a kind, a row a part, what the rules ask of it as columns, with
// the indexes that the question uses; fit holds which diameters go together.
const joinTables = `
CREATE TABLE item   (part TEXT NOT NULL, qty INTEGER NOT NULL, res_from TEXT NOT NULL, res_to TEXT NOT NULL) STRICT;
CREATE TABLE holder (id TEXT PRIMARY KEY, iface TEXT, bore REAL, lsc REAL, split INTEGER, cool INTEGER, cp REAL, wt REAL) STRICT, WITHOUT ROWID;
CREATE TABLE sleeve (id TEXT PRIMARY KEY, outside REAL, inside REAL, lsc REAL, for_damped INTEGER, none INTEGER, cool INTEGER, cp REAL, wt REAL) STRICT, WITHOUT ROWID;
CREATE TABLE bar    (id TEXT PRIMARY KEY, d REAL, damped INTEGER, carbide INTEGER, flat INTEGER, rec REAL, most REAL, stiff INTEGER, oal REAL,
                     coupling TEXT, cool INTEGER, inlet TEXT, cp REAL, wt REAL) STRICT, WITHOUT ROWID;
CREATE TABLE head   (id TEXT PRIMARY KEY, coupling TEXT, seat TEXT, hand TEXT, dmin REAL, lf REAL, cool INTEGER, cp REAL, wt REAL) STRICT, WITHOUT ROWID;
CREATE TABLE ins    (id TEXT PRIMARY KEY, seat TEXT, re REAL, edges INTEGER) STRICT, WITHOUT ROWID;
CREATE TABLE hose   (id TEXT, enter TEXT, leave TEXT, cp REAL) STRICT;
CREATE TABLE fit    (shank REAL, bore REAL, PRIMARY KEY (shank, bore)) STRICT, WITHOUT ROWID;`

const joinIndexes = `
CREATE INDEX item_part ON item(part, qty, res_from, res_to);
CREATE INDEX holder_face ON holder(iface, bore);
CREATE INDEX sleeve_out ON sleeve(outside, inside);
CREATE INDEX bar_coupling ON bar(coupling, d);
CREATE INDEX head_seat ON head(seat, hand, dmin);
CREATE INDEX ins_seat ON ins(seat);
CREATE INDEX hose_enter ON hose(enter, cp);
CREATE INDEX fit_bore ON fit(bore, shank);
ANALYZE;`

// joinSQL answers a request: the best stack by warnings, parts, diameter, overhang, stiffness.
// What is free of each kind is picked first; the insert, which nothing else depends on, is
// chosen by itself; the line grows from the station's outlet by up to four pieces.
const joinSQL = `
WITH RECURSIVE
h AS MATERIALIZED (SELECT * FROM holder WHERE iface = :iface AND {free holder}),
s AS MATERIALIZED (SELECT * FROM sleeve WHERE {free sleeve}),
b AS MATERIALIZED (SELECT * FROM bar WHERE d < :bore AND most * d >= :l - 1e-9 AND (NOT :coolant OR cool AND cp >= :bar) AND {free bar}),
e AS MATERIALIZED (SELECT * FROM head WHERE seat = :seat AND hand IN (:hand, 'N') AND dmin <= :bore AND (NOT :coolant OR cool AND cp >= :bar) AND {free head}),
i AS MATERIALIZED (
  SELECT min((re <> :re) + (coalesce(n, 0) * edges < :edges)) AS warn FROM (
    SELECT re, edges, (SELECT sum(qty) FROM item WHERE part = ins.id AND {item}) AS n FROM ins WHERE seat = :seat) WHERE n > 0),
line(open, n) AS (
  SELECT :port, 0
  UNION
  SELECT hose.leave, line.n + 1 FROM line JOIN hose
    ON hose.enter = CASE substr(line.open, 1, 1) WHEN 'M' THEN 'F' ELSE 'M' END || substr(line.open, 2)
    WHERE :coolant AND line.n < 4 AND hose.cp >= :bar AND {free hose}),
inlet AS MATERIALIZED (
  SELECT CASE substr(open, 1, 1) WHEN 'M' THEN 'F' ELSE 'M' END || substr(open, 2) AS end, min(n) AS n FROM line WHERE n > 0 GROUP BY open),
hold AS MATERIALIZED (
  SELECT f.shank AS d, h.lsc AS lsc, h.split AS split, 0 AS sleeve, 0 AS for_damped, 0 AS none, h.cool AND h.cp >= :bar AS cool, h.wt AS wt, 1 AS n
    FROM h JOIN fit f ON f.bore = h.bore
  UNION
  SELECT g.shank, min(h.lsc, s.lsc), h.split, 1, s.for_damped, s.none, h.cool AND s.cool AND min(h.cp, s.cp) >= :bar, h.wt + s.wt, 2
    FROM s JOIN fit f ON f.shank = s.outside JOIN h ON h.bore = f.bore JOIN fit g ON g.bore = s.inside)
SELECT i.warn + (:l > b.rec * b.d + 1e-9) + (b.d > 0.8 * :bore + 1e-9) + (min(hold.lsc, b.oal + e.lf - :l) < 4 * b.d - 1e-9)
    + (hold.sleeve AND b.damped AND NOT hold.split) + (NOT hold.sleeve AND b.carbide AND NOT hold.split) + (hold.sleeve AND hold.none)
    + (hold.wt + b.wt + e.wt > 15 + 1e-9) AS warnings,
  3 + hold.n + CASE WHEN :coolant AND NOT hold.cool THEN inlet.n ELSE 0 END AS parts, b.d
FROM i CROSS JOIN b JOIN hold ON hold.d = b.d JOIN e ON e.coupling = b.coupling LEFT JOIN inlet ON inlet.end = b.inlet
WHERE i.warn IS NOT NULL AND min(hold.lsc, b.oal + e.lf - :l) >= 3 * b.d - 1e-9 AND hold.wt + b.wt + e.wt <= :mass + 1e-9
  AND (NOT :coolant OR hold.cool OR inlet.n IS NOT NULL)
  AND CASE WHEN b.damped AND hold.sleeve THEN hold.for_damped WHEN b.damped THEN hold.split WHEN hold.sleeve THEN 1 ELSE hold.split OR b.flat END
ORDER BY warnings, parts, b.d DESC, b.stiff DESC LIMIT 1`

// joinQuery is joinSQL with what "free on the day" means put in.
func joinQuery() string {
	const item = "qty > 0 AND NOT (res_from <= :day AND res_to >= :day)"
	q := strings.ReplaceAll(joinSQL, "{item}", item)
	for _, kind := range []string{"holder", "sleeve", "bar", "head", "hose"} {
		q = strings.ReplaceAll(q, "{free "+kind+"}", "EXISTS (SELECT 1 FROM item WHERE part = "+kind+".id AND "+item+")")
	}
	return q
}

// A joiner asks SQLite.
type joiner struct {
	db   *sql.DB
	stmt *sql.Stmt
}

func newJoiner(t testing.TB, items []stack.Item) *joiner {
	t.Helper()
	db, err := sql.Open(sqliteDriver, sqliteDSN(filepath.Join(t.TempDir(), "join.db"), false, false))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	do := func(text string, args ...any) {
		if _, err := tx.Exec(text, args...); err != nil {
			t.Fatal(err)
		}
	}
	do(joinTables)
	yes := func(b bool) int {
		if b {
			return 1
		}
		return 0
	}
	known := map[string]bool{}
	var shanks, bores []float64
	stiff := []string{"", "steel", "damped_steel", "heavy_metal", "carbide", "damped_carbide"}
	for _, it := range items {
		p := it.Part
		if it.Status == stack.In {
			from, to := "", ""
			if len(it.Reserved) > 0 {
				from, to = string(it.Reserved[0].From), string(it.Reserved[0].To)
			}
			do("INSERT INTO item VALUES (?,?,?,?)", p.Code, it.Qty, from, to)
		}
		if known[p.Code] {
			continue
		}
		known[p.Code] = true
		shanks, bores = append(shanks, p.DCONMS().V), append(bores, p.DCONWS().V)
		switch p.Kind {
		case stack.Holder:
			do("INSERT INTO holder VALUES (?,?,?,?,?,?,?,?)", p.Code, p.Interface(), p.DCONWS().V, p.LSC().V, yes(p.Clamp() == "split"), yes(p.Coolant), p.CP.V, p.WT.V)
		case stack.Sleeve:
			do("INSERT INTO sleeve VALUES (?,?,?,?,?,?,?,?,?)", p.Code, p.DCONMS().V, p.DCONWS().V, p.LSC().V, yes(p.ForDamped), yes(p.Index == "none"), yes(p.Sealed), p.CP.V, p.WT.V)
		case stack.Bar:
			rec, most, _, _ := stack.OverhangLimit(p.Construction, p.DCONMS().V)
			inlet := ""
			for _, e := range p.Joints {
				if e.Family == stack.Thread {
					inlet = e.End()
				}
			}
			do("INSERT INTO bar VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)", p.Code, p.DCONMS().V, yes(p.Damped()), yes(p.Construction == "carbide"), yes(p.Flat()), rec, most,
				slices.Index(stiff, p.Construction), p.OAL.V, p.CCWS(), yes(p.Coolant), inlet, p.CP.V, p.WT.V)
		case stack.Head:
			do("INSERT INTO head VALUES (?,?,?,?,?,?,?,?,?)", p.Code, p.CCMS(), p.Seat(), p.Hand, p.DMIN.V, p.LF.V, yes(p.Coolant), p.CP.V, p.WT.V)
		case stack.Insert:
			do("INSERT INTO ins VALUES (?,?,?,?)", p.Code, p.Seat(), p.RE.V, p.Edges)
		case stack.Hose:
			e := p.Ends()
			do("INSERT INTO hose VALUES (?,?,?,?)", p.Code, e[0], e[1], p.CP.V)
			do("INSERT INTO hose VALUES (?,?,?,?)", p.Code, e[1], e[0], p.CP.V)
		}
	}
	for _, list := range []*[]float64{&shanks, &bores} {
		slices.Sort(*list)
		*list = slices.Compact(*list)
	}
	for _, d := range shanks {
		for _, w := range bores {
			if d > 0 && w > 0 && stack.Equal(d, w) {
				do("INSERT INTO fit VALUES (?,?)", d, w)
			}
		}
	}
	do(joinIndexes)
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	j := &joiner{db: db}
	if j.stmt, err = db.Prepare(joinQuery()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.stmt.Close() })
	return j
}

func (j *joiner) ask(r stack.Request) (ranked, error) {
	a := ranked{ok: true, set: r.Overhang()}
	bar := r.CoolantBar
	err := j.stmt.QueryRow(sql.Named("iface", r.Station.Interface), sql.Named("bore", r.BoreStartD), sql.Named("l", r.Overhang()), sql.Named("coolant", r.Coolant),
		sql.Named("bar", bar), sql.Named("seat", r.Insert.Seat), sql.Named("hand", r.Hand), sql.Named("re", r.Insert.RE.V), sql.Named("edges", r.EdgesNeeded),
		sql.Named("port", r.Station.CoolantPort), sql.Named("mass", r.Station.MaxMassKg.V), sql.Named("day", string(r.NeedDate))).Scan(&a.warnings, &a.parts, &a.d)
	if errors.Is(err, sql.ErrNoRows) {
		return ranked{}, nil
	}
	return a, err
}

// nestedLoops answers a dry request by trying every holder, sleeve, bar, head and insert. What a
// loop can tell by itself ends its turn there: the plain way, with no index.
func nestedLoops(r stack.Request, items []stack.Item) ranked {
	of := map[stack.Kind][]*stack.Part{}
	edges := map[*stack.Part]int{}
	for _, it := range items {
		if it.Status != stack.In || len(it.Reserved) > 0 && it.Reserved[0].From <= r.NeedDate && it.Reserved[0].To >= r.NeedDate {
			continue
		}
		of[it.Part.Kind] = append(of[it.Part.Kind], it.Part) // each piece for itself, as they lie there
		edges[it.Part] += it.Qty * it.Part.Edges
	}
	l := r.Overhang()
	var best ranked
	count := func(of ...bool) (n int) {
		for _, yes := range of {
			if yes {
				n++
			}
		}
		return n
	}
	for _, h := range of[stack.Holder] {
		if h.Interface() != r.Station.Interface {
			continue
		}
		split := h.Clamp() == "split"
		for _, s := range append([]*stack.Part{nil}, of[stack.Sleeve]...) {
			bore, lsc, n, mass := h.DCONWS().V, h.LSC().V, 4, h.WT.V
			if s != nil {
				if !stack.Equal(bore, s.DCONMS().V) {
					continue
				}
				bore, lsc, n, mass = s.DCONWS().V, min(lsc, s.LSC().V), 5, mass+s.WT.V
			}
			for _, b := range of[stack.Bar] {
				d := b.DCONMS().V
				rec, most, _, _ := stack.OverhangLimit(b.Construction, d)
				if !stack.Equal(bore, d) || d >= r.BoreStartD || l > most*d+1e-9 ||
					s != nil && b.Damped() && !s.ForDamped || s == nil && !split && (b.Damped() || !b.Flat()) {
					continue
				}
				for _, e := range of[stack.Head] {
					grip, mass := min(lsc, b.OAL.V+e.LF.V-l), mass+b.WT.V+e.WT.V
					if e.CCMS() != b.CCWS() || e.Seat() != r.Insert.Seat || e.Hand != r.Hand || e.DMIN.V > r.BoreStartD || grip < 3*d-1e-9 ||
						mass > r.Station.MaxMassKg.V+1e-9 {
						continue
					}
					for _, in := range of[stack.Insert] {
						if in.Seat() != r.Insert.Seat {
							continue
						}
						w := count(grip < 4*d-1e-9, l > rec*d+1e-9, d > 0.8*r.BoreStartD+1e-9, in.RE.V != r.Insert.RE.V, edges[in] < r.EdgesNeeded, mass > 15+1e-9,
							s != nil && b.Damped() && !split, s == nil && !split && b.Construction == "carbide", s != nil && s.Index == "none")
						if !best.ok || w < best.warnings || w == best.warnings && (n < best.parts || n == best.parts && d > best.d) {
							best = ranked{true, w, n, d, l}
						}
					}
				}
			}
		}
	}
	return best
}

// TestStackJoinAgrees: search, join and nested loops give the same verdict, warnings, number of
// parts, diameter and overhang.
func TestStackJoinAgrees(t *testing.T) {
	for _, shop := range []struct{ parts, items, asked int }{{600, 1200, 24}, {1200, 6000, 60}} {
		items := joinShop(shop.parts, shop.items)
		shelf, err := stack.NewShelf(items, nil)
		if err != nil {
			t.Fatal(err)
		}
		j := newJoiner(t, items)
		built, lines := 0, 0
		for i, r := range joinRequests(shop.asked) {
			got, err := askSearch(shelf, r)
			if err != nil {
				t.Fatal(err)
			}
			want, err := j.ask(r)
			if err != nil {
				t.Fatal(err)
			}
			if got != want {
				t.Errorf("%d parts, request %d: the search says %+v, the join %+v\n%+v", shop.parts, i, got, want, r)
			}
			if got.ok {
				built++
				if v, err := shelf.Check(r); err == nil && v.Stacks[0].Route.Kind == "line" {
					lines++
				}
			}
			if shop.items < 2000 && !r.Coolant {
				if loops := nestedLoops(r, items); loops != got {
					t.Errorf("request %d: the search says %+v, nested loops %+v\n%+v", i, got, loops, r)
				}
			}
		}
		t.Logf("%d parts: %d of %d built, %d with a line", shop.parts, built, shop.asked, lines)
		if shop.parts > 1000 && (built < 5 || built == shop.asked || lines == 0) {
			t.Errorf("%d of %d built, %d with a line: nothing is compared", built, shop.asked, lines)
		}
	}
}

// spent returns the processor time this process has used.
func spent(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkStackJoin compares, in processor time, the check of a request with the SQL join on
// the shop of 100,000 items of 10,000 parts, and with nested loops on 4,000 items of 1,500 parts,
// about what those can do at all.
func BenchmarkStackJoin(b *testing.B) {
	items := joinShop(10_000, 100_000)
	shelf, err := stack.NewShelf(items, nil)
	if err != nil {
		b.Fatal(err)
	}
	j := newJoiner(b, items)
	reqs := joinRequests(24)
	few := joinShop(1500, 4000)
	small, err := stack.NewShelf(few, nil)
	if err != nil {
		b.Fatal(err)
	}
	var dry []stack.Request
	for _, r := range joinRequests(6) {
		r.Coolant, r.CoolantBar = false, 0
		dry = append(dry, r)
	}
	const rounds = 20 // of the search for one of the others
	ask := func(s *stack.Shelf, rs []stack.Request, want []ranked) []ranked {
		for i, r := range rs {
			got, err := askSearch(s, r)
			if err != nil {
				b.Fatal(err)
			}
			if want[i] != got {
				b.Fatalf("request %d: the search says %+v, the other %+v", i, got, want[i])
			}
		}
		return want
	}
	var search, join, searchSmall, nested time.Duration
	n := 0
	for b.Loop() {
		n++
		want := make([]ranked, len(reqs))
		at := spent(b)
		for i, r := range reqs {
			if want[i], err = j.ask(r); err != nil {
				b.Fatal(err)
			}
		}
		join += spent(b) - at
		ask(shelf, reqs, want) // the classes are worked out when first asked for
		at = spent(b)
		for range rounds {
			ask(shelf, reqs, want)
		}
		search += (spent(b) - at) / rounds
		want = make([]ranked, len(dry))
		at = spent(b)
		for i, r := range dry {
			want[i] = nestedLoops(r, few)
		}
		nested += spent(b) - at
		ask(small, dry, want)
		at = spent(b)
		for range rounds * 10 {
			ask(small, dry, want)
		}
		searchSmall += (spent(b) - at) / (rounds * 10)
	}
	each := func(d time.Duration, of int) float64 { return float64(d.Microseconds()) / 1000 / float64(n*of) }
	b.ReportMetric(each(search, len(reqs)), "search-ms")
	b.ReportMetric(each(join, len(reqs)), "join-ms")
	b.ReportMetric(float64(join)/float64(search), "join/search")
	b.ReportMetric(each(searchSmall, len(dry)), "search-of-4000-ms")
	b.ReportMetric(float64(nested)/float64(searchSmall), "nested/search")
	b.ReportMetric(0, "ns/op")
}
