package labels

import (
	"image"
	"math"
	"math/rand"
	"testing"
)

// TestBlottedIsRead covers 15 % of the symbol with ink, with white and with grey, as one square
// anywhere off the finder and alignment patterns: labels on the common sheets are read, all but
// a rare one by each reader, and never as another code. The smallest symbol, on labels that
// have no room for the sturdy one, mends 8 of its 26 codewords (ISO/IEC 18004, table 9): that
// is 5 % anywhere.
func TestBlottedIsRead(t *testing.T) {
	if testing.Short() {
		t.Skip("SKIPPED: the decoding of blotted labels takes some seconds; run without -short")
	}
	ls := everyKind(false)
	for _, c := range []struct {
		name    string
		sheet   Sheet
		modules float64
		share   float64 // of the symbol
		missed  int     // at most, of all, by a reader
	}{
		{"a4", A4(), 33, 0.15, 1},
		{"36 x 16", Single(Area{36, 16}, 0), 21, 0.05, 0},
	} {
		rng := rand.New(rand.NewSource(7))
		kinds := ls
		if c.modules == 21 {
			kinds = []Label{{Tag: "P0000417N", Kind: Piece, Head: "sleeve"}, {Tag: "B0000012P", Kind: Bin}}
		}
		var pics []image.Image
		var want []string
		for i, s := range crops(t, kinds, c.sheet, 300) {
			if float64(s.sym.W) != c.modules || s.sym.Level != "H" {
				t.Fatalf("%s on %s: %d modules at level %s, want %v at H", kinds[i].Tag, c.name, s.sym.W, s.sym.Level, c.modules)
			}
			side := c.modules * math.Sqrt(c.share)
			for k := range 5 {
				col, row := off(rng, c.modules, side)
				pics, want = append(pics, s.blotted(col, row, side, []uint8{0, 255, 128}[k%3])), append(want, kinds[i].Tag)
			}
		}
		for _, r := range readers(t, false) {
			missed := 0
			for i, got := range r.read(t, pics) {
				if got == "" {
					missed++
				} else if got != want[i] {
					t.Errorf("%s, %s, picture %d: %s reads %q", c.name, want[i], i, r.name, got)
				}
			}
			if missed > c.missed {
				t.Errorf("%s, %v of the symbol blotted: %s misses %d of %d", c.name, c.share, r.name, missed, len(pics))
			}
		}
	}
}

// off returns a place for a square blot clear of the finder patterns and, where there is one,
// of the alignment pattern.
func off(rng *rand.Rand, modules, side float64) (col, row float64) {
	const finder = 8
	for {
		col, row = rng.Float64()*(modules-side), rng.Float64()*(modules-side)
		left, right := col < finder, col+side > modules-finder
		top, bottom := row < finder, row+side > modules-finder
		aligned := modules > 21 && col < modules-4 && col+side > modules-9 && row < modules-4 && row+side > modules-9
		if !(left && top || left && bottom || right && top || aligned) {
			return col, row
		}
	}
}
