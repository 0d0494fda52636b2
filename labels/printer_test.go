package labels

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
	"testing"
)

// The PNG has whole-dot modules, true resolution, and the reader reads it.
func TestPNGDots(t *testing.T) {
	for _, dpi := range []int{203, 300, 600} {
		l := shop()["sleeve"]
		file, err := PNG(l, Area{50, 25}, dpi)
		if err != nil {
			t.Fatal(err)
		}
		p, err := png.Decode(bytes.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		k, _ := dotsPerMM(dpi)
		if w := p.Bounds().Dx(); w != int(50*k+0.5) {
			t.Errorf("%d dpi: %d dots wide, want %d", dpi, w, int(50*k+0.5))
		}
		if !bytes.Contains(file[:60], []byte("pHYs")) {
			t.Errorf("%d dpi: no resolution in the header", dpi)
		}
		// the finder pattern is 7 modules of black in its first row: a whole number of dots each
		row, run := firstRun(p)
		if run%7 != 0 || float64(run)/7/k < minModule {
			t.Errorf("%d dpi: the finder pattern in row %d is %d dots, want 7 times a whole number of at least 0.33 mm", dpi, row, run)
		}
		for _, r := range readers(t, false) {
			if got := r.read(t, []image.Image{p})[0]; got != l.Tag {
				t.Errorf("%d dpi: %s reads %q, want %s", dpi, r.name, got, l.Tag)
			}
		}
	}
}

// firstRun returns the first run of black left of the words, from the top.
func firstRun(p image.Image) (row, run int) {
	b := p.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Dx()*2/5; x++ {
			if black(p, x, y) {
				for black(p, x+run, y) {
					run++
				}
				return y, run
			}
		}
	}
	return 0, 0
}

func black(p image.Image, x, y int) bool {
	return image.Pt(x, y).In(p.Bounds()) && color.GrayModel.Convert(p.At(x, y)).(color.Gray).Y < 128
}

// unpack reads the graphic of a label back as a printer does, written from the description of
// the language and not from the writer.
func unpack(t *testing.T, out []byte) image.Image {
	t.Helper()
	s := string(out)
	var total, per int
	i := strings.Index(s, "^GFA,")
	if _, err := fmt.Sscanf(s[i:], "^GFA,%d,%d,%d,", &total, &total, &per); err != nil {
		t.Fatal(err)
	}
	s = s[i+len("^GFA,"):]
	for range 3 {
		s = s[strings.IndexByte(s, ',')+1:]
	}
	s = s[:strings.Index(s, "^FS")]
	var rows []string
	row, n := "", 0
	for _, c := range s {
		switch {
		case c == ',':
			row += strings.Repeat("0", 2*per-len(row))
		case c == '!':
			row += strings.Repeat("F", 2*per-len(row))
		case c == ':':
			row = rows[len(rows)-1]
		case c >= 'G' && c <= 'Y':
			n += int(c-'G') + 1
		case c >= 'g' && c <= 'z':
			n += 20 * (int(c-'g') + 1)
		default:
			row += strings.Repeat(string(c), max(n, 1))
			n = 0
		}
		if len(row) == 2*per {
			rows = append(rows, row)
			row = ""
		}
	}
	raw, err := hex.DecodeString(strings.Join(rows, ""))
	if err != nil || len(raw) != total || row != "" {
		t.Fatalf("%d bytes, want %d; rest %q, %v", len(raw), total, row, err)
	}
	return bits(raw, per, true)
}

func bits(raw []byte, per int, oneIsBlack bool) image.Image {
	g := image.NewGray(image.Rect(0, 0, per*8, len(raw)/per))
	for i, v := range raw {
		for b := range 8 {
			if (v>>(7-b)&1 == 1) != oneIsBlack {
				g.Pix[i*8+b] = 255
			}
		}
	}
	return g
}

// What the printer languages carry is the preview, dot by dot.
func TestPrinterTextIsThePreview(t *testing.T) {
	for _, l := range everyKind(false) {
		want, err := PNG(l, Area{50, 25}, 203)
		if err != nil {
			t.Fatal(err)
		}
		p, err := png.Decode(bytes.NewReader(want))
		if err != nil {
			t.Fatal(err)
		}
		zpl, err := Printer([]Label{l}, Area{50, 25}, 203, ZPL)
		if err != nil {
			t.Fatal(err)
		}
		epl, err := Printer([]Label{l}, Area{50, 25}, 203, EPL)
		if err != nil {
			t.Fatal(err)
		}
		i := bytes.Index(epl, []byte("GW0,0,50,200,")) + len("GW0,0,50,200,")
		for name, got := range map[string]image.Image{"zpl": unpack(t, zpl), "epl": bits(epl[i:i+50*200], 50, false)} {
			for y := range 200 {
				for x := range 400 {
					if black(got, x, y) != black(p, x, y) {
						t.Fatalf("%s, %s: dot %d,%d differs from the preview", l.Tag, name, x, y)
					}
				}
			}
		}
	}
}

// Source: a third of the diameter, common practice; bar 16 mm: code up to 5 mm, too small.
func TestRoundBar(t *testing.T) {
	r, err := RoundBar("P0000417N", 16)
	if err != nil {
		t.Fatal(err)
	}
	if r.Fits || r.Widest < 5 || r.Widest > 5.4 || r.Ways[0].Form != Hanging {
		t.Errorf("bar 16: fits %v, widest %.2f, first way %s; want false, 5.33, tag", r.Fits, r.Widest, r.Ways[0].Form)
	}
	for d := 1.0; d <= 200; d += 0.5 {
		r, err := RoundBar("P0000417N", d)
		if err != nil || len(r.Ways) == 0 {
			t.Fatalf("bar %v: %d ways, %v", d, len(r.Ways), err)
		}
		if r.Fits && r.Module*float64(r.Modules) > d/3+1e-9 {
			t.Errorf("bar %v: a code of %.2f mm is wider than a third", d, r.Module*float64(r.Modules))
		}
		if r.Fits != (d/3/21 >= 0.33) {
			t.Errorf("bar %v: fits = %v", d, r.Fits)
		}
		for _, w := range r.Ways { // what is proposed can be printed
			if w.Form == Marked || w.Form == Flag {
				continue // a mark has no words, a flag is two labels
			}
			if _, err := SVGAt(Label{Tag: "P0000417N", Kind: Piece, Printed: "2026-11-25"}, w.Area); err != nil {
				t.Errorf("bar %v: proposed %s of %v: %v", d, w.Form, w.Area, err)
			}
		}
	}
	for _, d := range []float64{0, -3, 501} {
		if _, err := RoundBar("P0000417N", d); err == nil {
			t.Errorf("bar %v: no error", d)
		}
	}
}
