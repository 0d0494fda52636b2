package store

import (
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"
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
