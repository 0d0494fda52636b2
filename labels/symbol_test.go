package labels

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The smallest symbol, at the highest level that keeps it small. Capacities of the
// alphanumeric mode: ISO/IEC 18004, table 7 (version 1: L 25, M 20, Q 16, H 10 characters;
// version 2: L 47, M 38, Q 29, H 20; version 3: H 35).
func TestQRIsSmall(t *testing.T) {
	for _, tt := range []struct {
		n, modules int
		level      string
	}{{1, 21, "H"}, {9, 21, "H"}, {10, 21, "H"}, {11, 21, "Q"}, {16, 21, "Q"}, {17, 21, "M"}, {20, 21, "M"},
		{21, 21, "L"}, {25, 21, "L"}, {26, 25, "Q"}, {29, 25, "Q"}, {30, 25, "M"}, {47, 25, "L"}, {48, 29, "M"}} {
		s, err := QR(strings.Repeat("A", tt.n))
		if err != nil {
			t.Fatal(err)
		}
		if s.W != tt.modules || s.H != tt.modules || s.Level != tt.level || s.Quiet != 4 {
			t.Errorf("%d characters: %d modules at %s, quiet %d; want %d at %s, quiet 4", tt.n, s.W, s.Level, s.Quiet, tt.modules, tt.level)
		}
	}
	if s, err := DataMatrix("P0000417N"); err != nil || s.W != 14 || s.H != 14 {
		t.Errorf("Data Matrix of a tag: %v, %v; want 14 modules", s, err)
	}
	for _, bad := range []string{"", "a", "Ä", " A", "A ", "A\n", "_", strings.Repeat("A", 61)} {
		if _, err := QR(bad); !errors.Is(err, ErrCode) {
			t.Errorf("QR(%q): %v, want ErrCode", bad, err)
		}
	}
}

// The path of a code, filled, is the code: a module is dark if and only if its middle lies
// inside an odd number of loops, and no two loops share a piece of border.
func TestLoopsAreTheCode(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := &Symbol{W: rapid.IntRange(1, 12).Draw(rt, "w"), H: rapid.IntRange(1, 12).Draw(rt, "h")}
		s.dark = rapid.SliceOfN(rapid.Bool(), s.W*s.H, s.W*s.H).Draw(rt, "dark")
		loops := s.loops()
		for y := range s.H {
			for x := range s.W {
				crossings := 0
				for _, l := range loops {
					for i, p := range l {
						q := l[(i+1)%len(l)]
						if p[0] != q[0] && p[1] != q[1] {
							rt.Fatalf("a border from %v to %v is neither level nor upright", p, q)
						}
						if p[0] == q[0] && p[0] > x && min(p[1], q[1]) <= y && y < max(p[1], q[1]) {
							crossings++
						}
					}
				}
				if (crossings%2 == 1) != s.Dark(x, y) {
					rt.Fatalf("module %d,%d: %d crossings, dark is %v", x, y, crossings, s.Dark(x, y))
				}
			}
		}
	})
}
