package store

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// A file of parts: dry run first, all or nothing, every bad row named, the second time a no-op.
func TestImportParts(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.bin("C9")
		good := "code;kind;designation;grade;home;DCONMS mm;DCONWS;LSC mm;price;currency\n" +
			"I-1;insert;CNMG 432;K7;C9;;;;7,20;EUR\n" +
			"S-1;sleeve;;;;50;1-1/4 in;130;;\n" +
			";;;;;;;;;\n" +
			"B-1;insert;DCMT 11T304;;;;;;;\n"
		count := func() (n int64) {
			s.must(s.read.Raw("SELECT count(*) FROM parts").Scan(&n).Error)
			return n
		}
		rep, err := s.ImportParts(ctx, s.gate.ID, []byte(good), false, false)
		s.must(err)
		if len(rep.New) != 3 || len(rep.Bad) != 0 || rep.Applied || count() != 0 || rep.Rows != 3 {
			t.Fatalf("looked at: %+v, %d parts", rep, count())
		}
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(good), true, false)
		if err != nil || !rep.Applied || count() != 3 {
			t.Fatalf("read in: %+v, %v", rep, err)
		}
		p, err := s.PartByCode(ctx, "S-1")
		s.must(err)
		if f := s.facts(p); f["DCONMS"].Value != "50" || f["DCONMS"].Entered != "50 mm" || f["DCONWS"].Value != "31.75" || f["DCONWS"].Entered != "1-1/4 in" {
			t.Errorf("S-1 has %+v", f)
		}
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(good), true, false)
		if err != nil || len(rep.Same) != 3 || len(rep.New) != 0 || count() != 3 {
			t.Errorf("the same file again: %+v, %v, %d parts", rep, err, count())
		}
		bad := "code,kind,designation,DCONMS,DCONWS mm,maker_OHX mm,home\n" +
			"X-1,insert,CNMG 120408,,,,\n" + // a double of I-1
			"X-2,insert,CXMG 120408,,,,\n" +
			"X-3,sleeve,,50,32,,\n" + // 50 of what?
			"X-4,drill,,,,,\n" +
			"X-5,sleeve,,50 mm,50,,\n" +
			"S-1,sleeve,,60 mm,,,\n" +
			"X-1,insert,DCMT 11T308,,,,\n" +
			"X-6,insert,DCMT 11T308,,,,NOWHERE\n" +
			"X-7,insert,DCMT 11T302,,,,\n" +
			"X-8,insert,DCMT 3(2.5)0.5,,,,\n" +
			",insert,DCMT 11T302,,,,\n"
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(bad), false, false)
		s.must(err)
		var lines []int
		for _, b := range rep.Bad {
			lines = append(lines, b.Line)
			if b.Says == "" {
				t.Errorf("line %d is refused without a word", b.Line)
			}
		}
		if !slices.Equal(lines, []int{3, 4, 5, 6, 7, 8, 9, 12}) {
			t.Errorf("bad lines %v: %+v", lines, rep.Bad)
		}
		var doubles []int
		for _, d := range rep.Doubles {
			doubles = append(doubles, d.Line)
		}
		if !slices.Equal(doubles, []int{2, 11}) {
			t.Errorf("doubles %+v, want line 2 and 11", rep.Doubles)
		}
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(bad), true, true); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "line 3") || count() != 3 {
			t.Errorf("read in all the same: %v, %d parts", err, count())
		}
		double := "code,kind,designation,grade\nX-1,insert,CNMG 120408,\n"
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(double), true, false); !errors.Is(err, ErrExists) || count() != 3 {
			t.Errorf("a double was read in: %v", err)
		}
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(double), true, true); err != nil || count() != 4 {
			t.Errorf("confirmed: %v", err)
		}
		for _, text := range []string{"", "code,kind\n", "code,kind,OOPS\na,insert,1\n", "code\nx\n", "\xff\xfe"} {
			if _, err := s.ImportParts(ctx, s.gate.ID, []byte(text), false, false); !errors.Is(err, ErrBadInput) {
				t.Errorf("%q: %v", text, err)
			}
		}
		if _, err := s.ImportParts(ctx, s.op1.ID, []byte("code,kind,designation\nX-9,insert,TNMG 160408\n"), true, true); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator read parts in: %v", err)
		}
	})
}
