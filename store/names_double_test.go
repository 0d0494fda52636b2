package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"gorm.io/gorm"
)

// The same thing under three numbers: a name that means what the shop has warns with what and
// where, and is saved only when confirmed.
func TestDoubles(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		has := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Maker: "Quell", MakerCode: "Q 432-8", Grade: "K7"})
		s.receive(has, 6, bin)
		s.enter(PartEntry{Kind: "sleeve", Code: "SLV-1", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130 mm", "type": "split"}})
		sleeve := func(lsc, kind string) PartEntry {
			return PartEntry{Kind: "sleeve", Code: "NEW", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": lsc, "type": kind}}
		}
		for _, tt := range []struct {
			name string
			e    PartEntry
			of   string // "" : not a double
		}{
			{"inch name, same grade", PartEntry{Kind: "insert", Designation: "CNMG 432", Grade: "k7"}, "INS-C09"},
			{"inch name, grade not said", PartEntry{Kind: "insert", Designation: "cnmg 12 04 08"}, "INS-C09"},
			{"another grade", PartEntry{Kind: "insert", Designation: "CNMG 432", Grade: "K9"}, ""},
			{"another radius", PartEntry{Kind: "insert", Designation: "CNMG 431", Grade: "K7"}, ""},
			{"another tolerance is another thing", PartEntry{Kind: "insert", Designation: "CNGG 120408", Grade: "K7"}, ""},
			{"same maker's code", PartEntry{Kind: "insert", Values: map[string]string{"seat": "CNMG1204"}, Maker: "quell", MakerCode: "q 432-8"}, "INS-C09"},
			{"same sizes, inches typed", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130.0 mm"}}, "SLV-1"},
			{"longer sleeve", sleeve("150 mm", "split"), ""},
			{"solid sleeve", sleeve("130 mm", "solid"), ""},
			{"31.75 is not 32", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "1-1/4 in", "LSC": "130 mm"}}, ""},
		} {
			tt.e.Code = "NEW"
			f, err := Fill(tt.e)
			s.must(err)
			same, err := s.Doubles(ctx, f.In)
			s.must(err)
			got := ""
			if len(same) > 0 {
				got = same[0].Code
			}
			if got != tt.of {
				t.Errorf("%s: a double of %q, want %q", tt.name, got, tt.of)
			}
		}
		f, err := Fill(PartEntry{Kind: "insert", Code: "INS-X", Designation: "CNMG 432"})
		s.must(err)
		_, err = s.EnterPart(ctx, s.boss.ID, f, false)
		d, ok := errors.AsType[*Double](err)
		if !ok || !errors.Is(err, ErrExists) {
			t.Fatalf("saved without a warning: %v", err)
		}
		for _, w := range []string{"INS-C09", "CNMG 120408", "6 in C9"} {
			if !strings.Contains(d.Error(), w) {
				t.Errorf("the warning %q does not say %q", d.Error(), w)
			}
		}
		if d.Of[0].OnHand != 6 {
			t.Errorf("the warning says %d on hand, want 6", d.Of[0].OnHand)
		}
		if _, err := s.EnterPart(ctx, s.boss.ID, f, true); err != nil {
			t.Errorf("confirmed, and refused all the same: %v", err)
		}
	})
}

// Only what a person means to be one thing is warned about: the demo shop's own catalogue,
// entered row by row, has no doubles but those listed here.
func TestDemoCatalogueHasNoFalseDoubles(t *testing.T) {
	s := newShop(t, false)
	raw, err := os.ReadFile("../testdata/shop/parts.json")
	s.must(err)
	var all []map[string]any
	s.must(json.Unmarshal(raw, &all))
	var said []string
	for _, m := range all {
		p := Part{}
		for k, to := range map[string]*string{"name": &p.Name, "maker_code": &p.MakerCode, "grade": &p.Grade} {
			*to, _ = m[k].(string)
		}
		for _, k := range []string{"name", "maker_code", "grade", "supplier", "pack", "min_order", "spares", "application", "price_breaks", "note"} {
			delete(m, k)
		}
		in, err := PartFrom(m, Entered)
		s.must(err)
		in.Part.Name, in.Part.MakerCode, in.Part.Grade = p.Name, p.MakerCode, p.Grade
		same, err := s.Doubles(ctx, in)
		s.must(err)
		for _, d := range same {
			said = append(said, in.Part.Code+" like "+d.Code+": "+d.Why)
		}
		if _, err := s.SavePart(ctx, s.boss.ID, in); err != nil {
			t.Errorf("%s: %v", in.Part.Code, err)
		}
	}
	for _, line := range said {
		t.Errorf("%s", line)
	}
}

// processes are n stores over one shop: on PostgreSQL each with its own connections, as
// several programs have; on SQLite the one that owns the folder.
func (s *shop) processes(n int) []*Store {
	s.t.Helper()
	out := []*Store{s.Store}
	for len(out) < n {
		if !s.postgres {
			out = append(out, s.Store)
			continue
		}
		opt := s.opt
		opt.Dir = s.t.TempDir()
		st, err := Open(ctx, opt)
		s.must(err)
		s.t.Cleanup(func() { st.Close() })
		out = append(out, st)
	}
	return out
}

// Twelve people save the same thing at the same moment, by twelve codes, on three programs:
// one part, eleven warnings that name it. Twelve by one code: one part, eleven refusals.
func TestDoublesAtOneMoment(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		stores := s.processes(3)
		race := func(code func(int) string, name string) (saved []string, warned, taken int) {
			var wg sync.WaitGroup
			var mu sync.Mutex
			begin := make(chan struct{})
			for i := range 12 {
				wg.Go(func() {
					f, err := Fill(PartEntry{Kind: "insert", Code: code(i), Designation: name})
					if err != nil {
						t.Error(err)
						return
					}
					<-begin
					p, err := stores[i%3].EnterPart(ctx, s.boss.ID, f, false)
					mu.Lock()
					defer mu.Unlock()
					d, double := errors.AsType[*Double](err)
					switch {
					case err == nil:
						saved = append(saved, p.Code)
					case double:
						warned++
						if len(d.Of) != 1 {
							t.Errorf("the warning names %d parts: %v", len(d.Of), err)
						}
					case errors.Is(err, ErrExists):
						taken++
					default:
						t.Error(err)
					}
				})
			}
			close(begin)
			wg.Wait()
			return saved, warned, taken
		}
		count := func(key string) (n int64) {
			s.must(s.read.Raw("SELECT count(*) FROM parts WHERE name_key = ?", nameKey("insert", key)).Scan(&n).Error)
			return n
		}
		for _, name := range []string{"CNMG 120408", "DNMG 150608", "SNMG 120408", "VNMG 160408", "WNMG 080408"} { // each a race of its own
			saved, warned, taken := race(func(i int) string { return fmt.Sprintf("%s-%d", name[:4], i) }, name)
			if len(saved) != 1 || warned != 11 || taken != 0 || count(name) != 1 {
				t.Errorf("by twelve codes: %v saved, %d warned, %d refused, %d on record; want 1, 11, 0, 1", saved, warned, taken, count(name))
			}
		}
		saved, warned, taken := race(func(i int) string { return []string{"ONE", "one"}[i%2] }, "DCMT 11T304")
		if len(saved) != 1 || warned+taken != 11 || count("DCMT 11T304") != 1 {
			t.Errorf("by one code: %v saved, %d warned, %d refused; want 1 and 11", saved, warned, taken)
		}
	})
}

// Two files that double each other, read in at the same moment by two programs: one is taken
// whole, the other not at all.
func TestImportsAtOneMoment(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		stores := s.processes(2)
		files := []string{"code,kind,designation\nA-1,insert,TNMG 160408\nA-2,insert,CNMG 432\n", "code,kind,designation\nB-1,insert,CNMG 120408\nB-2,insert,SNMG 120408\n"}
		errs := make([]error, 2)
		var wg sync.WaitGroup
		begin := make(chan struct{})
		for i := range 2 {
			wg.Go(func() {
				<-begin
				_, errs[i] = stores[i].ImportParts(ctx, s.gate.ID, []byte(files[i]), true, false)
			})
		}
		close(begin)
		wg.Wait()
		won := slices.Index(errs, nil)
		line := []string{"line 2", "line 3"}[max(won, 0)] // of the other file: the row that doubles one of the first
		if won < 0 || !errors.Is(errs[1-won], ErrExists) || !strings.Contains(errs[1-won].Error(), line) {
			t.Errorf("read in at once: %v and %v; want one, and the other refused", errs[0], errs[1])
		}
		var codes []string
		s.must(s.read.Raw("SELECT code FROM parts ORDER BY code").Scan(&codes).Error)
		if want := [][]string{{"A-1", "A-2"}, {"B-1", "B-2"}}[max(won, 0)]; !slices.Equal(codes, want) {
			t.Errorf("on record: %v, want %v", codes, want)
		}
	})
}

// Rows of one file that are one thing are named by their lines, whatever makes them one: the
// name, the maker's code, the sizes.
func TestImportDoublesInside(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		file := "code,kind,designation,maker,maker_code,DCONMS mm,DCONWS mm,LSC mm,seat\n" +
			"S-1,sleeve,,,,50,32,130,\n" +
			"I-1,insert,CNMG 432,Quell,Q 12-8,,,,\n" +
			"S-2,sleeve,,,,50,32,130,\n" + // the sizes of line 2
			"S-3,sleeve,,,,50,31.75,130,\n" + // 31.75 is not 32
			"I-2,insert,,quell,q12/8,,,,CNMG1204\n" + // the maker's code of line 3
			"I-3,insert,CNMG 12 04 08,,,,,,\n" + // the name of line 3
			"S-4,sleeve,,,,50.0004,32,130,\n" // line 2 within the thousandth
		for _, apply := range []bool{false, true} {
			rep, err := s.ImportParts(ctx, s.gate.ID, []byte(file), apply, false)
			if apply != errors.Is(err, ErrExists) || !apply && err != nil {
				t.Fatalf("apply %v: %v", apply, err)
			}
			got := map[int]string{}
			for _, d := range rep.Doubles {
				got[d.Line] += d.Says + "; "
			}
			for line, of := range map[int]string{4: "line 2", 6: "line 3", 7: "line 3", 8: "line 2"} {
				if !strings.Contains(got[line], of) {
					t.Errorf("line %d: %q, want %s named", line, got[line], of)
				}
				delete(got, line)
			}
			if len(got) > 0 {
				t.Errorf("other rows are called doubles: %v", got)
			}
		}
		var n int64
		if s.must(s.read.Raw("SELECT count(*) FROM parts").Scan(&n).Error); n != 0 {
			t.Errorf("%d parts were taken all the same", n)
		}
	})
}

// What a file is compared with costs the same number of queries for one row and for fifty.
func TestImportQueries(t *testing.T) {
	s := newShop(t, false)
	catalogue(t, s, 60)
	count := func(rows int) (n int) {
		file := "code,kind,designation,grade\n"
		for i := range rows {
			file += fmt.Sprintf("N-%d,insert,VNMG 160408,G%d\n", i, i)
		}
		s.must(s.read.Callback().Query().Before("gorm:query").Register("count", func(*gorm.DB) { n++ }))
		s.must(s.read.Callback().Row().Before("gorm:row").Register("count", func(*gorm.DB) { n++ }))
		rep, err := s.ImportParts(ctx, s.gate.ID, []byte(file), false, false)
		s.must(err)
		s.must(s.read.Callback().Query().Remove("count"))
		s.must(s.read.Callback().Row().Remove("count"))
		if len(rep.New) != rows {
			t.Fatalf("%d of %d rows are new: %+v", len(rep.New), rows, rep)
		}
		return n
	}
	if a, b := count(1), count(50); a != b || a == 0 {
		t.Errorf("%d queries for one row, %d for fifty", a, b)
	}
}
