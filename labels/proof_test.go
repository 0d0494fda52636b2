package labels

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"slices"
	"sort"
	"testing"

	xdraw "golang.org/x/image/draw"
	"golang.org/x/image/math/f64"
)

// everyKind is the demo labels in a fixed order, with Data Matrix instead of QR if asked.
func everyKind(matrix bool) []Label {
	shop := shop()
	names := make([]string, 0, len(shop))
	for n := range shop {
		names = append(names, n)
	}
	sort.Strings(names)
	var ls []Label
	for _, n := range names {
		l := shop[n]
		l.Matrix = matrix
		ls = append(ls, l)
	}
	return ls
}

// grey copies a picture into one that can be changed.
func grey(p image.Image) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, p.Bounds().Dx(), p.Bounds().Dy()))
	draw.Draw(g, g.Rect, p, p.Bounds().Min, draw.Src)
	return g
}

// A seen is a label as the eye of a scanner sees it, and where its code stands in the picture,
// in pixels.
type seen struct {
	pic     *image.Gray
	x, y, m float64 // corner of the first module, width of a module
	sym     *Symbol
}

// crops cuts the labels out of the rasterised pages. A Data Matrix is cut out without the
// words beside it: one of the readers only looks at the middle of a picture.
func crops(t *testing.T, ls []Label, s Sheet, dpi int) []seen {
	t.Helper()
	pdf, err := PDF(ls, s)
	if err != nil {
		t.Fatal(err)
	}
	pages := rasterise(t, pdf, dpi)
	if len(pages) != s.Pages(len(ls)) {
		t.Fatalf("%d pages, want %d", len(pages), s.Pages(len(ls)))
	}
	dot := 0.0
	if s.DPI != 0 {
		k, err := dotsPerMM(s.DPI)
		if err != nil {
			t.Fatal(err)
		}
		dot = 1 / k
	}
	k := float64(dpi) / 25.4
	var out []seen
	at := max(s.Start, 1) - 1
	for i := range ls {
		d, err := layout(&ls[i], s.Cell, dot)
		if err != nil {
			t.Fatal(err)
		}
		c := d.codes[0]
		x, y := s.place((at + i) % s.PerPage())
		x0, y0, x1, y1 := x, y, x+s.Cell.W, y+s.Cell.H
		if ls[i].Matrix {
			q := float64(c.sym.Quiet) * c.module
			x0, y0 = x+c.x-q, y+c.y-q
			x1, y1 = x+c.x+float64(c.sym.W)*c.module+q, y+c.y+float64(c.sym.H)*c.module+q
		}
		r := image.Rect(int(x0*k), int(y0*k), int(x1*k), int(y1*k))
		sub := pages[(at+i)/s.PerPage()].(interface {
			SubImage(image.Rectangle) image.Image
		}).SubImage(r)
		out = append(out, seen{grey(sub), (x+c.x)*k - float64(r.Min.X), (y+c.y)*k - float64(r.Min.Y), c.module * k, c.sym})
	}
	return out
}

// blotted covers a square of the given side, in modules, with ink or with white.
func (s seen) blotted(col, row, side float64, v uint8) *image.Gray {
	out := image.NewGray(s.pic.Rect)
	copy(out.Pix, s.pic.Pix)
	r := image.Rect(int(s.x+col*s.m), int(s.y+row*s.m), int(s.x+(col+side)*s.m), int(s.y+(row+side)*s.m))
	draw.Draw(out, r, image.NewUniform(color.Gray{v}), image.Point{}, draw.Src)
	return out
}

// scaled prints the label smaller, as a print dialog does that fits to the page.
func scaled(p *image.Gray, factor float64) *image.Gray {
	w, h := int(math.Round(float64(p.Rect.Dx())*factor)), int(math.Round(float64(p.Rect.Dy())*factor))
	out := image.NewGray(image.Rect(0, 0, w, h))
	xdraw.BiLinear.Scale(out, out.Rect, p, p.Rect, draw.Src, nil)
	return out
}

// turned holds the label at an angle in front of the scanner, on a light ground.
func turned(p *image.Gray, degrees float64) *image.Gray {
	w, h := float64(p.Rect.Dx()), float64(p.Rect.Dy())
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	W, H := w*cos+h*math.Abs(sin), w*math.Abs(sin)+h*cos
	out := image.NewGray(image.Rect(0, 0, int(math.Ceil(W)), int(math.Ceil(H))))
	draw.Draw(out, out.Rect, image.NewUniform(color.Gray{255}), image.Point{}, draw.Src)
	m := f64.Aff3{cos, -sin, W/2 - cos*w/2 + sin*h/2, sin, cos, H/2 - sin*w/2 - cos*h/2}
	xdraw.BiLinear.Transform(out, m, p, p.Rect, draw.Over, nil)
	return out
}

// faded is a label that has been rubbed and oiled: black has become mid grey, white dull.
func faded(p *image.Gray) *image.Gray {
	out := image.NewGray(p.Rect)
	for i, v := range p.Pix {
		out.Pix[i] = uint8(105 + int(v)*60/255) // 105 for black, 165 for white
	}
	return out
}

// spoil is a way a label fares in a shop.
type spoil struct {
	name string
	do   func(p *image.Gray) *image.Gray
}

func spoils() []spoil {
	out := []spoil{
		{"as printed", func(p *image.Gray) *image.Gray { return p }},
		{"low contrast", faded},
		{"turned 15 degrees", func(p *image.Gray) *image.Gray { return turned(p, 15) }},
		{"turned -15 degrees, low contrast", func(p *image.Gray) *image.Gray { return faded(turned(p, -15)) }},
	}
	for _, f := range []float64{0.94, 0.97, 0.985} {
		out = append(out, spoil{fmt.Sprintf("at %.1f %%", f*100), func(p *image.Gray) *image.Gray { return scaled(p, f) }})
	}
	return out
}

// TestEveryLabelIsRead is the proof of this room: each kind of label, on sheets and single,
// rasterised at 203 and 300 dpi, spoiled in every way, is read by every reader. Data Matrix
// and the other media take the spoils in turn, for the sake of time.
func TestEveryLabelIsRead(t *testing.T) {
	if testing.Short() {
		t.Skip("SKIPPED: the decoding of all labels takes some seconds; run without -short")
	}
	a4 := A4()
	a4.Start = 17 // over the end of a page
	for _, matrix := range []bool{false, true} {
		ls := everyKind(matrix)
		for name, s := range map[string]Sheet{
			"a4": a4, "letter": Letter(),
			"50 x 25 single at 203": Single(Area{50, 25}, 203), "30 x 50 single at 300": Single(Area{30, 50}, 300),
		} {
			if matrix && name == "letter" {
				continue // the same code as on a4, and its reader is slow
			}
			for _, dpi := range []int{203, 300} {
				var pics []image.Image
				var what, want []string
				n := len(spoils()) - 1
				for i, p := range crops(t, ls, s, dpi) {
					if name != "a4" && i%2 == dpi/300 { // every other one at each resolution
						continue
					}
					for j, sp := range spoils() {
						// all as printed; the labels take turns with the spoils, three each
						// on a4, one elsewhere
						turns := []int{0, 1 + i%n}
						if name == "a4" && !matrix {
							turns = append(turns, 1+(i+2)%n, 1+(i+4+dpi/300)%n)
						}
						if !slices.Contains(turns, j) {
							continue
						}
						pics = append(pics, sp.do(p.pic))
						what = append(what, fmt.Sprintf("%s (%s), %s, %d dpi, %s", ls[i].Title, ls[i].Tag, name, dpi, sp.name))
						want = append(want, ls[i].Tag)
					}
				}
				for _, r := range readers(t, matrix) {
					for i, got := range r.read(t, pics) {
						if got != want[i] {
							t.Errorf("matrix %v, %s: %s reads %q", matrix, what[i], r.name, got)
						}
					}
				}
			}
		}
	}
}
