package store

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"brasspeg/store/standard"
)

// A foreign code is offered for linking once, and known from then on.
func TestForeignCode(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", MakerCode: "OV 4282"})
		_, err := s.Scan(ctx, "+H123OV4282/99")
		if !errors.Is(err, ErrNotFound) || !strings.Contains(err.Error(), "not ours; link to INS-C09?") {
			t.Fatalf("a supplier's code: %v", err)
		}
		if _, err := s.Scan(ctx, "9781234567897"); !errors.Is(err, ErrNotFound) || !strings.Contains(err.Error(), "not one of our codes") {
			t.Errorf("a code nobody knows: %v", err)
		}
		if _, err = s.LinkCode(ctx, op(s.gate), "+H123OV4282/99", p.ID); err != nil {
			t.Fatal(err)
		}
		if th, err := s.Scan(ctx, "+h123ov4282/99"); err != nil || th.Kind != "part" || th.Part.Code != "INS-C09" {
			t.Errorf("linked, it scans as %+v, %v", th, err)
		}
		q := s.enter(PartEntry{Kind: "insert", Code: "INS-D", Designation: "DCMT 11T304"})
		for _, code := range []string{"+H123OV4282/99", "INS-C09", p.Code, s.receive(p, 1, s.bin("Z1"))[0].Tag} {
			if _, err := s.LinkCode(ctx, op(s.gate), code, q.ID); err == nil {
				t.Errorf("%s was linked to a second thing", code)
			}
		}
		if _, err := s.LinkCode(ctx, op(s.op1), "12345", p.ID); !errors.Is(err, ErrForbidden) {
			t.Errorf("linked by an operator: %v", err)
		}
		if _, err = s.UnlinkCode(ctx, op(s.gate), "+H123OV4282/99"); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Scan(ctx, "+H123OV4282/99"); !errors.Is(err, ErrNotFound) {
			t.Errorf("unlinked, it still scans: %v", err)
		}
	})
}

// Every slip of the kinds a check character is for, on tags of every kind, is refused, and the
// right tag is among those offered.
func TestWrongTags(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		var tags []string
		for i := range 6 {
			tags = append(tags, s.receive(s.sleeve(fmt.Sprintf("SLV-%d", i)), 1, bin)[0].Tag)
		}
		tags = append(tags, s.receive(s.insert("INS-1", 2), 5, bin)[0].Tag)
		p, err := s.Place(ctx, bin)
		s.must(err)
		j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", FromDay: "2026-03-20", ToDay: "2026-03-21", Request: "{}"})
		s.must(err)
		m, _, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L1", Name: "Lathe"}, nil)
		s.must(err)
		_, cards := ActCards()
		tags = append(tags, *p.Tag, *j.Tag, *m.Tag, cards[0])
		r := rand.New(rand.NewPCG(1, 2))
		wrong := 0
		for _, tag := range tags {
			for range 40 {
				b := []byte(tag)
				switch i := 1 + r.IntN(len(b)-1); r.IntN(4) {
				case 0:
					b[i] = "0123456789"[r.IntN(10)]
				case 1:
					if i+1 < len(b) {
						b[i], b[i+1] = b[i+1], b[i]
					}
				case 2:
					b = slices.Delete(b, i, i+1)
				case 3:
					b = slices.Insert(b, i, "0123456789"[r.IntN(10)])
				}
				text := string(b)
				if text == tag {
					continue
				}
				wrong++
				th, err := s.Scan(ctx, text)
				if err == nil {
					t.Errorf("%s, a slip of %s, is taken for %s", text, tag, th.Text)
					continue
				}
				if !strings.Contains(err.Error(), tag) {
					t.Errorf("%s, a slip of %s: %v", text, tag, err)
				}
				if _, err := standard.ParseTag(text); err == nil {
					continue // another valid tag, of nothing: only the shop can tell
				}
				if _, err := s.ReadTag(ctx, "tag", text); err == nil || !strings.Contains(err.Error(), tag) {
					t.Errorf("read as a tag, %s, a slip of %s: %v", text, tag, err)
				}
			}
		}
		if wrong < 300 {
			t.Errorf("only %d slips were tried", wrong)
		}
		for _, tag := range tags {
			if th, err := s.Scan(ctx, strings.ToLower(tag)); err != nil || th.Text != tag {
				t.Errorf("%s in small letters: %+v, %v", tag, th, err)
			}
		}
	})
}
