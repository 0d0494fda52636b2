package labels

import (
	"image"
	"math"
	"math/rand"
	"testing"
)

// TestBlottedIsRead covers 15 % of the symbol, where a thumb leaves it, with ink, with white
// and with grey: all labels must still be read. Level H of version 1 mends 8 of 26 codewords
// (ISO/IEC 18004, table 9); a square of 15 % covers 8 when it lies in the free corner and more
// when it lies askew over their borders. Anywhere else off the three finder patterns 5 % must
// be mended, and beyond that a code may stay silent but never be read as another.
func TestBlottedIsRead(t *testing.T) {
	if testing.Short() {
		t.Skip("SKIPPED: the decoding of blotted labels takes some seconds; run without -short")
	}
	ls := everyKind(false)
	shots := crops(t, ls, A4(), 300)
	rng := rand.New(rand.NewSource(7))
	const modules = 21
	var pics []image.Image
	var want []string
	var must []bool
	add := func(i int, p *image.Gray, m bool) {
		pics, want, must = append(pics, p), append(want, ls[i].Tag), append(must, m)
	}
	for i, s := range shots {
		if s.sym.W != modules || s.sym.Level != "H" {
			t.Fatalf("%s: %d modules at level %s, want %d at H", ls[i].Tag, s.sym.W, s.sym.Level, modules)
		}
		side := modules * math.Sqrt(0.15)
		for _, v := range []uint8{0, 128, 255} {
			add(i, s.blotted(modules-side, modules-side, side, v), true)
		}
		for _, small := range []bool{true, true, false} {
			side := modules * math.Sqrt(0.15)
			if small {
				side = modules * math.Sqrt(0.05)
			}
			col, row := off(rng, modules, side)
			add(i, s.blotted(col, row, side, uint8(rng.Intn(2)*255)), small)
		}
	}
	for _, r := range readers(t, false) {
		for i, got := range r.read(t, pics) {
			if got != want[i] && (must[i] || got != "") {
				t.Errorf("%s, picture %d: %s reads %q", want[i], i, r.name, got)
			}
		}
	}
}

// off returns a place for a square blot clear of the three finder patterns.
func off(rng *rand.Rand, modules, side float64) (col, row float64) {
	const finder = 8
	for {
		col, row = rng.Float64()*(modules-side), rng.Float64()*(modules-side)
		left, right := col < finder, col+side > modules-finder
		top, bottom := row < finder, row+side > modules-finder
		if !(left && top || left && bottom || right && top) {
			return col, row
		}
	}
}
