package main

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"brasspeg/testdata/shop"
)

// demoDay is a Wednesday; nothing depends on which day it is, see TestShopOnAnyDay.
var demoDay = time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)

func loadShop(t testing.TB, today time.Time) shop.Shop {
	t.Helper()
	s, err := shop.Load(today)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The shop is as large as a reader of the demo is told.
func TestShopSize(t *testing.T) {
	s := loadShop(t, demoDay)
	systems, roles, kinds := map[string]int{}, map[string]int{}, map[string]int{}
	for _, m := range s.Machines {
		for _, st := range m.Stations {
			systems[strings.TrimRight(st.Interface, "0123456789")]++
		}
	}
	for _, p := range s.People {
		roles[p.Role]++
	}
	for _, p := range s.Parts {
		kinds[p.Kind]++
		if p.Currency != "EUR" {
			t.Errorf("part %s costs in %q; the demo adds prices up, so it keeps to one currency", p.ID, p.Currency)
		}
	}
	if len(s.Machines) != 4 || len(systems) != 2 || len(s.People) != 9 || len(s.Suppliers) != 4 || len(s.Jobs) != 12 {
		t.Errorf("%d machines with turrets %v, %d people, %d suppliers, %d jobs", len(s.Machines), systems, len(s.People), len(s.Suppliers), len(s.Jobs))
	}
	if len(s.Parts) < 80 || len(s.Pieces) < 250 {
		t.Errorf("%d parts, %d pieces and lots; 80 and 250 are promised", len(s.Parts), len(s.Pieces))
	}
	for _, role := range []string{"attendant", "operator", "manager", "admin"} {
		if roles[role] == 0 {
			t.Errorf("nobody is %s", role)
		}
	}
	for _, kind := range []string{"holder", "sleeve", "bar", "head", "insert", "hose", "fitting", "spare"} {
		if kinds[kind] == 0 {
			t.Errorf("no part is a %s", kind)
		}
	}
	if last := s.Jobs[len(s.Jobs)-1]; last.Need.After(s.Today.AddDate(0, 0, 21)) || !last.Need.After(s.Today.AddDate(0, 0, 14)) {
		t.Errorf("the last job is needed on %s, want in the third week after %s", last.Need, s.Today)
	}
}

// A bar weighs what its steel, heavy metal or carbide weighs (densities: ASTM B777 for heavy
// metal, handbook values for the others; damped bars are judged loosely, they are hollow).
func TestShopMasses(t *testing.T) {
	density := map[string][2]float64{"steel": {7.8, 7.9}, "heavy_metal": {17, 18.5}, "carbide": {14, 15},
		"damped_steel": {7, 10}, "damped_carbide": {9, 13}}
	s := loadShop(t, demoDay)
	for _, p := range s.Parts {
		if p.Kind != "bar" {
			continue
		}
		cm3 := math.Pi / 4 * *p.DCONMS * *p.DCONMS * *p.OAL / 1000
		lim := density[p.Construction]
		if rho := *p.WT * 1000 / cm3; rho < lim[0]-0.1 || rho > lim[1]+0.1 {
			t.Errorf("%s of %s: %.2f kg is %.2f g/cm3, want %v", p.ID, p.Construction, *p.WT, rho, lim)
		}
	}
}

// Played on empty shelves, the history never takes what is not there and ends at the shelves
// as pieces.json has them.
func TestShopHistoryEndsAtTodaysShelves(t *testing.T) {
	s := loadShop(t, demoDay)
	h, err := s.History()
	if err != nil {
		t.Fatal(err)
	}
	if n := len(h.Acts); n < 2000 || n > 3500 {
		t.Errorf("%d acts, want 2000 to 3500", n)
	}
	pieces, lots, err := h.Shelves()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]int{}
	for i, p := range s.Pieces {
		if !s.Part(p.Part).Counted() {
			place := p.Place
			if p.Out != nil {
				place = p.Out.To
			}
			if pieces[i] != place {
				t.Errorf("piece %d (%s) ends in %q, pieces.json has it in %q", i, p.Part, pieces[i], place)
			}
			continue
		}
		place := p.Place
		if p.Out != nil {
			place = p.Out.To
		}
		name := fmt.Sprintf("%s %s %s", p.Part, p.Lot, place)
		if p.PartUsed {
			name += fmt.Sprintf(" used %d", p.EdgesLeft)
		}
		want[name] += p.Qty
	}
	for _, name := range slices.Sorted(maps.Keys(lots)) {
		if !strings.Contains(name, " SCRAP") && lots[name] != want[name] {
			t.Errorf("history leaves %d of %q, pieces.json has %d", lots[name], name, want[name])
		}
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if lots[name] == 0 {
			t.Errorf("pieces.json has %d of %q, history leaves none", want[name], name)
		}
	}
}

// On every day of the week the same happens, only moved along the calendar; nobody works on a
// weekend, and nothing has happened that is still to come.
func TestShopOnAnyDay(t *testing.T) {
	var first []shop.Act
	for d := range 7 {
		today := demoDay.AddDate(0, 0, d)
		s := loadShop(t, today)
		h, err := s.History()
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = h.Acts
		}
		if len(h.Acts) != len(first) {
			t.Fatalf("%s: %d acts, %d on the first day", today.Weekday(), len(h.Acts), len(first))
		}
		for i, a := range h.Acts {
			if wd := a.At.Weekday(); wd == time.Saturday || wd == time.Sunday || !a.At.Before(s.Today) {
				t.Fatalf("%s: act %d (%s) is at %s", today.Weekday(), i, a.Kind, a.At)
			}
			if i > 0 && a.At.Before(h.Acts[i-1].At) {
				t.Fatalf("%s: act %d is before act %d", today.Weekday(), i, i-1)
			}
			if b := first[i]; a.Kind != b.Kind || a.By != b.By || a.Job != b.Job || !slices.Equal(a.Lines, b.Lines) {
				t.Fatalf("%s: act %d is %+v, on the first day it was %+v", today.Weekday(), i, a, b)
			}
		}
		for _, j := range s.Jobs {
			if wd := j.Need.Weekday(); wd == time.Saturday || wd == time.Sunday || !j.Need.After(s.Today) {
				t.Errorf("%s: job %s is needed on %s %s", today.Weekday(), j.Code, wd, j.Need)
			}
		}
	}
}

// The history holds what the pages on life and buying live on.
func TestShopHistoryTells(t *testing.T) {
	s := loadShop(t, demoDay)
	h, err := s.History()
	if err != nil {
		t.Fatal(err)
	}
	reasons, family, heats := map[string]int{}, map[string]string{}, map[string][]float64{}
	for _, j := range h.Jobs {
		family[j.Code] = j.Family
	}
	for i, a := range h.Acts {
		if a.Kind != shop.Edge {
			continue
		}
		r := a.Run
		reasons[r.Reason]++
		part := s.Part(r.Insert)
		if part == nil || r.EdgeNo < 1 || r.EdgeNo > part.Edges || r.Parts < 1 || r.Minutes <= 0 || family[a.Job] == "" {
			t.Fatalf("act %d: %+v for job %q", i, *r, a.Job)
		}
		if r.Material != "" && (r.Reason == "worn" || r.Reason == "finish" || r.Reason == "size") {
			heats[r.Material] = append(heats[r.Material], float64(r.Parts))
		}
	}
	for _, why := range []string{"planned", "worn", "finish", "size", "chipped", "broken", "end of job"} {
		if reasons[why] < 5 {
			t.Errorf("%d edges came off for %q, want some", reasons[why], why)
		}
	}
	if a, b := mean(heats["heat 7711"]), mean(heats["heat 7804"]); len(heats["heat 7804"]) < 8 || b > 0.75*a {
		t.Errorf("edges last %.1f parts in the first heat, %.1f in the second (%d edges); the second is meant to halve life", a, b, len(heats["heat 7804"]))
	}
	late, open := 0, 0
	for _, o := range h.Orders {
		switch {
		case o.Received.IsZero():
			open++
		case o.Received.After(o.Due.AddDate(0, 0, 1)):
			late++
		}
	}
	if len(h.Orders) < 30 || late == 0 || open == 0 {
		t.Errorf("%d orders, %d late, %d open; want 30 or more with some late and some open", len(h.Orders), late, open)
	}
}

func mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// A typo in the data is refused with the file and the row.
func TestShopRefusesTypos(t *testing.T) {
	good := fstest.MapFS{}
	for _, name := range []string{"parts", "machines", "people", "suppliers", "places", "pieces", "jobs", "history"} {
		good[name+".json"] = &fstest.MapFile{Data: readDemo(t, name+".json")}
	}
	if _, err := shop.Read(good, demoDay); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ file, old, new, want string }{
		{"parts.json", `"DCONWS"`, `"DCONSW"`, "parts.json row 1"},
		{"parts.json", `"price_cents": 94800`, `"price_cents": 948.5`, "price_cents"},
		{"parts.json", `"pack": 1,`, `"pack": 0,`, "pack"},
		{"machines.json", `"interface"`, `"interfaces"`, "interfaces"},
		{"pieces.json", `"part": "HLD-V50-60"`, `"part": "HLD-V50-06"`, "HLD-V50-06"},
		{"pieces.json", `"place": "A1"`, `"place": "A99"`, "A99"},
		{"jobs.json", `"depth": 105`, `"deph": 105`, "deph"},
		{"jobs.json", `"station": 5`, `"station": 4`, "no station 4"},
		{"people.json", `"role": "admin"`, `"role": "boss"`, "boss"},
		{"history.json", `"qty": 20`, `"qty": 15`, "whole boxes"},
		{"suppliers.json", `[`, `{`, "suppliers.json"},
		{"places.json", `"code": "A2"`, `"code": "A1"`, "A1"},
	} {
		bad := maps.Clone(good)
		text := strings.Replace(string(good[tt.file].Data), tt.old, tt.new, 1)
		if text == string(good[tt.file].Data) {
			t.Errorf("%s has no %s to spoil", tt.file, tt.old)
		}
		bad[tt.file] = &fstest.MapFile{Data: []byte(text)}
		if _, err := shop.Read(bad, demoDay); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s with %s: error %v, want one that names %q", tt.file, tt.new, err, tt.want)
		}
	}
}

func readDemo(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "shop", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
