package server

import (
	"compress/gzip"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"brasspeg/store"
)

var (
	scaleParts     = flag.Int("scale-parts", 10_000, "parts of the shop of BenchmarkFullScale")
	scaleMovements = flag.Int("scale-movements", 1_000_000, "movements of the shop of BenchmarkFullScale")
	scaleDir       = flag.String("scale-dir", "", "folder in which BenchmarkFullScale makes its shop and leaves it, to be served and looked at; empty: a temporary one")
)

// fill makes the shop a large one: parts in the mix of a turning shop with ten pieces each, 200
// jobs, and the movements of years. Parts and pieces come by the ordinary way; the movements are
// put straight into the tables, since booking millions takes hours, so their hashes do not hold.
func (sh *shop) fill(parts, movements int) {
	sh.t.Helper()
	ctx := sh.t.Context()
	rnd := rand.New(rand.NewPCG(7, 7))
	pick := func(of ...string) string { return of[rnd.IntN(len(of))] }
	size := func(of ...float64) float64 { return of[rnd.IntN(len(of))] }
	seats := []string{"CCMT0602", "CCMT09T3", "DCMT0702", "DCMT11T3", "TCMT1102", "TCMT16T3", "VBMT1103", "WNMG0604", "SCMT09T3", "CNMG1204"}
	couplings := []string{"H16", "H20", "H25", "H32", "H40", "H50", "K25", "K32", "K40"}
	bores := []float64{16, 20, 25, 32, 40, 50, 60}
	for i := range 200 {
		_, err := sh.store.AddPlace(ctx, store.Place{Code: fmt.Sprintf("R%d-%d", i/20, i%20), Kind: store.Bin})
		must(sh.t, err)
	}
	for i := range parts {
		flat := map[string]any{"id": fmt.Sprintf("S-%05d", i), "unit": "mm", "WT": size(0.3, 0.6, 2, 4.5), "CP": size(20, 40, 70, 100)}
		name, qty := "", int64(10)
		add := func(kind string, more map[string]any) {
			flat["kind"], name = kind, kind+" of the large shop"
			for k, v := range more {
				flat[k] = v
			}
		}
		switch x := rnd.IntN(100); {
		case x < 12:
			add("holder", map[string]any{"interface": pick("VDI30", "VDI40", "VDI50", "BMT55", "BMT65"), "DCONWS": size(bores...), "LSC": size(70, 90, 110, 150), "clamp": pick("split", "screws"), "coolant": pick("through", "none")})
		case x < 24:
			at := rnd.IntN(len(bores) - 1)
			add("sleeve", map[string]any{"DCONMS": bores[at+1], "DCONWS": bores[at], "LSC": size(70, 90, 110, 150), "type": "split", "for_damped": rnd.IntN(2) > 0, "sealed": rnd.IntN(2) > 0, "index": pick("scribe", "plunger", "none")})
			if bores[at+1]-bores[at] < 6 {
				flat["DCONMS"] = bores[at+1] + 8
			}
		case x < 42:
			add("bar", map[string]any{"DCONMS": size(bores...), "construction": pick("steel", "heavy_metal", "carbide", "damped_steel"), "OAL": size(200, 250, 300, 380, 470, 560), "CCWS": pick(couplings...),
				"flat": rnd.IntN(2) > 0, "coolant": true, "coolant_in": []any{"bore"}})
		case x < 68:
			add("head", map[string]any{"CCMS": pick(couplings...), "HAND": pick("R", "L"), "DMIN": size(18, 22, 25, 32, 40, 50, 63), "seat": pick(seats...), "LF": size(16, 20, 32, 40), "coolant": true})
		case x < 92:
			add("insert", map[string]any{"seat": pick(seats...), "RE": size(0.2, 0.4, 0.8), "edges": 2})
			qty = 40
		default:
			add(pick("hose", "fitting"), map[string]any{"ends": []any{pick("M:G 1/8", "F:G 1/4", "M:G 1/4", "M:NPT 1/4"), pick("M:G 1/4", "F:G 3/8", "F:NPT 1/8")}})
			qty = 4
		}
		in, err := store.PartFrom(flat, "entered")
		must(sh.t, err)
		home, err := sh.store.PlaceByCode(ctx, fmt.Sprintf("R%d-%d", i%200/20, i%20))
		must(sh.t, err)
		in.Part.Name, in.Part.HomeID = name, &home.ID
		p, err := sh.store.SavePart(ctx, 0, in)
		must(sh.t, err)
		_, err = sh.store.Receive(ctx, sh.op("brisa"), store.ReceiveIn{Part: p.ID, Qty: qty})
		must(sh.t, err)
	}
	j1, err := sh.store.JobByCode(ctx, "J-1")
	must(sh.t, err)
	for i := range 200 {
		day := sh.now.AddDate(0, 0, 1+i/4).Format("2006-01-02")
		request := fmt.Sprintf(`{"bore_start_d": %g, "depth": %g, "clearance": 20, "hand": "R", "insert": {"seat": %q, "RE": 0.8}, "coolant": %t, "coolant_bar": %d}`,
			size(30, 38, 45, 62), size(60, 120, 200, 280), pick(seats...), i%2 == 0, []int{40, 0}[i%2])
		_, err := sh.store.SaveJob(ctx, 0, store.Job{Code: fmt.Sprintf("F-%03d", i), Name: "liner", MachineID: j1.MachineID, StationID: j1.StationID, Material: "P", PartsQty: 40, FromDay: store.Day(day), ToDay: store.Day(day), Request: request})
		must(sh.t, err)
	}
	sh.http.Close()
	must(sh.t, sh.store.Close())
	must(sh.t, moves(filepath.Join(sh.dir, "brasspeg.db"), movements, sh.now))
	sh.store, err = store.Open(ctx, store.Options{Dir: sh.dir, Relaxed: true, Clock: func() time.Time { return sh.now }})
	must(sh.t, err)
	sh.serve()
}

// moves puts n issues and returns, in turn, into the ledger of a closed store, spread over two
// years before now.
func moves(file string, n int, now time.Time) error {
	db, err := sql.Open("sqlite", file+"?_pragma=journal_mode(wal)&_pragma=synchronous(off)&_pragma=foreign_keys(off)&_pragma=cache_size(-200000)")
	if err != nil {
		return err
	}
	defer db.Close()
	begin := now.AddDate(-2, 0, 0)
	step := 2 * 365 * 24 * time.Hour / time.Duration(n)
	for at := 0; at < n; at += 100_000 {
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		// A run of numbers is made into lines: item and people in turn, the issue and then its
		// return.
		const lines = `WITH RECURSIVE n(i) AS (SELECT ?1 UNION ALL SELECT i+1 FROM n WHERE i+1 < ?2),
			it AS (SELECT id, row_number() OVER (ORDER BY id) - 1 AS k FROM items),
			many AS (SELECT count(*) AS c FROM items)
			SELECT n.i, it.id, (n.i / 2 * 7919) % many.c FROM n, many JOIN it ON it.k = (n.i / 2 * 7919) % many.c`
		_, err = tx.Exec(`CREATE TEMP TABLE IF NOT EXISTS run (i INTEGER PRIMARY KEY, item INTEGER)`)
		if err == nil {
			_, err = tx.Exec(`DELETE FROM temp.run`)
		}
		if err == nil {
			_, err = tx.Exec(`INSERT INTO temp.run SELECT i, id FROM (`+lines+`)`, at, min(at+100_000, n))
		}
		if err == nil {
			_, err = tx.Exec(`INSERT INTO ops (op_id, act, fingerprint, actor_id, role, lines, answer, at)
				SELECT printf('scale-%010d', i), CASE i % 2 WHEN 0 THEN 'issue' ELSE 'return' END, '', (SELECT min(id) FROM people), 'attendant', 1, '{}', strftime('%Y-%m-%dT%H:%M:%fZ', ?1 + i * ?2, 'unixepoch') FROM temp.run`,
				float64(begin.Unix()), step.Seconds())
		}
		if err == nil {
			_, err = tx.Exec(`INSERT INTO movements (seq, op_id, line, at, actor_id, device, act, item_id, from_id, to_id, qty, job_id, reason, prev_hash, hash)
				SELECT (SELECT seq FROM ledger_head) + 1 + i - ?3, printf('scale-%010d', i), 1, strftime('%Y-%m-%dT%H:%M:%fZ', ?1 + i * ?2, 'unixepoch'), (SELECT min(id) FROM people), 'scale',
				CASE i % 2 WHEN 0 THEN 'issue' ELSE 'return' END, item, CASE i % 2 WHEN 0 THEN s.p ELSE w.p END, CASE i % 2 WHEN 0 THEN w.p ELSE s.p END, 1, NULL, '', '', printf('%d', i)
				FROM temp.run, (SELECT id AS p FROM places WHERE code = 'R0-0') s, (SELECT place_id AS p FROM people WHERE login = 'ivo') w`,
				float64(begin.Unix()), step.Seconds(), at)
		}
		if err == nil {
			_, err = tx.Exec(`UPDATE ledger_head SET seq = (SELECT max(seq) FROM movements)`)
		}
		if err != nil {
			tx.Rollback()
			return err
		}
		if err := tx.Commit(); err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkFullScale asks every page and every list of the API of a large shop: the time from
// the request to the last byte over loopback, the bytes as sent, packed. A page that is slower
// or heavier than design, section 12 wants is named in the log.
func BenchmarkFullScale(b *testing.B) {
	dir := *scaleDir
	if dir == "" {
		dir = b.TempDir()
	} else {
		must(b, os.RemoveAll(dir))
	}
	sh := newShopIn(b, store.Options{Dir: dir})
	sh.grow(3)
	sh.fill(*scaleParts, *scaleMovements)
	browser, program := sh.as("mads"), sh.program("mads")
	for _, path := range sh.asks() {
		b.Run(strings.ReplaceAll(path, "/", "|"), func(b *testing.B) {
			c := browser
			if strings.HasPrefix(path, "/api/") {
				c = program
			}
			var took []time.Duration
			weight := 0
			for b.Loop() {
				began := time.Now()
				n, err := c.weigh(path)
				took = append(took, time.Since(began))
				must(b, err)
				weight = n
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "median-ms")
			b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "max-ms")
			b.ReportMetric(float64(weight)/1024, "KB")
		})
	}
}

// weigh returns what an answer weighs as it is sent, in bytes.
func (c *client) weigh(path string) (int, error) {
	req, err := http.NewRequest("GET", c.sh.http.URL+path, nil)
	if err != nil {
		return 0, err
	}
	req.Header.Set("Accept-Encoding", "gzip")
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return 0, err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode >= 500 {
		text := raw
		if z, e := gzip.NewReader(strings.NewReader(string(raw))); e == nil {
			text, _ = io.ReadAll(z)
		}
		err = fmt.Errorf("%s: %d %.300s", path, resp.StatusCode, text)
	}
	return len(raw), err
}
