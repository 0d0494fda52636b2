package store

import (
	"testing"

	"pgregory.net/rapid"
)

// One slip anywhere in a code is found again, and what is too far is not offered.
func TestNear(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bar := map[string]any{"DCONMS": 40, "unit": "mm", "construction": "steel", "OAL": 470, "CCWS": "H40", "WT": 4}
		s.part("BAR-40-470", "bar", bar)
		s.part("BAR-K40D", "bar", bar)
		s.bin("CAB-A-12")
		for _, tt := range []struct{ asked, want string }{
			{"BAR-40-471", "BAR-40-470"}, {"bar 40 470x", "BAR-40-470"}, {"BAR-4O-470", "BAR-40-470"}, {"ABR-40-470", "BAR-40-470"}, {"BR-40-4700", "BAR-40-470"}, {"BR-40-47", ""},
			{"BARK40", "BAR-K40D"}, {"BAR-K4OD", "BAR-K40D"}, {"CAB-B-12", "CAB-A-12"},
			{"BAR-50-390", ""}, {"BAR", ""}, {"HLD-V50-60", ""}, {"", ""},
		} {
			got, err := s.Near(t.Context(), tt.asked)
			if err != nil || (tt.want == "") != (len(got) == 0) || tt.want != "" && got[0].Code != tt.want {
				t.Errorf("Near(%q) = %+v, %v; want %q", tt.asked, got, err, tt.want)
			}
		}
	})
}

// The count of slips is the same both ways, 0 only for the same text, and one for one slip made.
func TestSlips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		letter := rapid.RuneFrom([]rune("AB01"))
		a := rapid.SliceOfN(letter, 1, 12).Draw(t, "a")
		b := rapid.SliceOfN(letter, 1, 12).Draw(t, "b")
		ab, ba := slips(a, b, 3), slips(b, a, 3)
		if ab != ba || (ab == 0) != (string(a) == string(b)) {
			t.Fatalf("slips(%s, %s) = %d, the other way %d", string(a), string(b), ab, ba)
		}
		at := rapid.IntRange(0, len(a)-1).Draw(t, "at")
		wrong := append([]rune{}, a...)
		wrong[at] = 'Z'
		short := append(append([]rune{}, a[:at]...), a[at+1:]...)
		for _, c := range [][]rune{wrong, short, append(append([]rune{}, a...), 'Z')} {
			if n := slips(a, c, 3); n != 1 {
				t.Fatalf("slips(%s, %s) = %d, one was made", string(a), string(c), n)
			}
		}
		if at > 0 && a[at] != a[at-1] {
			swapped := append([]rune{}, a...)
			swapped[at], swapped[at-1] = swapped[at-1], swapped[at]
			if n := slips(a, swapped, 3); n != 1 {
				t.Fatalf("slips(%s, %s) = %d, two were swapped", string(a), string(swapped), n)
			}
		}
	})
}
