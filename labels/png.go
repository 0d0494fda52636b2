package labels

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"
)

// PNG draws one label of the given size for a label printer of 203, 300 or 600 dpi: black and
// white only, one pixel a dot, every module of the code a whole number of dots. The file
// carries its resolution, so that a program that prints it in true size prints dot on dot.
func PNG(l Label, a Area, dpi int) ([]byte, error) {
	img, perMM, err := raster(l, a, dpi)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("writing the PNG: %w", err)
	}
	return withResolution(b.Bytes(), perMM), nil
}

// raster draws a label in dots: index 1 of the picture is black. perMM is dots a millimetre.
func raster(l Label, a Area, dpi int) (img *image.Paletted, perMM float64, err error) {
	perMM, err = dotsPerMM(dpi)
	if err != nil {
		return nil, 0, err
	}
	d, err := layout(&l, a, 1/perMM)
	if err != nil {
		return nil, 0, err
	}
	return d.dots(perMM), perMM, nil
}

func (d *art) dots(k float64) *image.Paletted {
	w, h := int(math.Round(d.W*k)), int(math.Round(d.H*k))
	img := image.NewPaletted(image.Rect(0, 0, w, h), color.Palette{color.White, color.Black})
	fill := func(x0, y0, x1, y1 int, c uint8) {
		for y := max(y0, 0); y < min(y1, h); y++ {
			row := img.Pix[y*img.Stride : y*img.Stride+w]
			for x := max(x0, 0); x < min(x1, w); x++ {
				row[x] = c
			}
		}
	}
	for _, c := range d.codes {
		x0, y0, m := int(math.Round(c.x*k)), int(math.Round(c.y*k)), int(math.Round(c.module*k))
		for y := range c.sym.H {
			for x := range c.sym.W {
				if c.sym.Dark(x, y) {
					fill(x0+x*m, y0+y*m, x0+(x+1)*m, y0+(y+1)*m, 1)
				}
			}
		}
	}
	for _, r := range d.boxes {
		// a rule keeps its thickness wherever it falls between the dots
		x0, y0 := int(math.Round(r.x*k)), int(math.Round(r.y*k))
		bw, bh := max(int(math.Round(r.w*k)), 1), max(int(math.Round(r.h*k)), 1)
		ink := uint8(1)
		if r.white {
			ink = 0
		}
		fill(x0, y0, x0+bw, y0+bh, ink)
	}
	var buf sfnt.Buffer
	for _, t := range d.texts {
		d.letters(img, t, k, &buf)
	}
	return img
}

// letters draws a text. Each text has a rasteriser of its own extent, not of the whole label.
func (d *art) letters(img *image.Paletted, t text, k float64, buf *sfnt.Buffer) {
	if t.s == "" {
		return
	}
	em := t.em * k
	ox, oy := math.Floor(t.x*k-em*0.3), math.Floor(t.y*k-em*1.2)
	w := int(math.Ceil(t.face.width(t.s, em)+em*0.6)) + 2
	z := vector.NewRasterizer(w, int(math.Ceil(em*1.7))+2)
	x, y := t.x*k-ox, math.Round(t.y*k)-oy
	for _, r := range t.s {
		segs := t.face.outline(r, buf)
		at := func(p [2]float64) (float32, float32) { return float32(x + p[0]*em), float32(y + p[1]*em) }
		for i, s := range segs {
			ax, ay := at(s.pts[0])
			bx, by := at(s.pts[1])
			cx, cy := at(s.pts[2])
			switch s.op {
			case 'M':
				if i > 0 {
					z.ClosePath()
				}
				z.MoveTo(ax, ay)
			case 'L':
				z.LineTo(ax, ay)
			case 'Q':
				z.QuadTo(ax, ay, bx, by)
			case 'C':
				z.CubeTo(ax, ay, bx, by, cx, cy)
			}
		}
		if len(segs) > 0 {
			z.ClosePath()
		}
		x += t.face.width(string(r), em)
	}
	ink := uint8(1)
	if t.white {
		ink = 0
	}
	stamp(img, z, int(ox), int(oy), ink)
}

// stamp sets the dots that the rasterised shape covers by two fifths or more: at half, the stem
// of an i that lies across two dots would vanish.
func stamp(img *image.Paletted, z *vector.Rasterizer, ox, oy int, ink uint8) {
	mask := image.NewAlpha(z.Bounds())
	z.DrawOp = draw.Src
	z.Draw(mask, mask.Bounds(), image.Opaque, image.Point{})
	b := img.Bounds()
	for y := range mask.Rect.Dy() {
		for x := range mask.Rect.Dx() {
			if mask.Pix[y*mask.Stride+x] >= 255*2/5+1 {
				if p := image.Pt(x+ox, y+oy); p.In(b) {
					img.Pix[p.Y*img.Stride+p.X] = ink
				}
			}
		}
	}
}

// withResolution puts a pHYs chunk (PNG, ISO/IEC 15948, 11.3.5.3) behind the header, which the
// standard library does not write.
func withResolution(file []byte, perMM float64) []byte {
	const header = 8 + 4 + 4 + 13 + 4 // signature, and IHDR with length, name and checksum
	chunk := make([]byte, 0, 21)
	chunk = binary.BigEndian.AppendUint32(chunk, 9)
	chunk = append(chunk, "pHYs"...)
	perMetre := uint32(math.Round(perMM * 1000))
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1) // unit: metre
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	out := make([]byte, 0, len(file)+len(chunk))
	out = append(out, file[:header]...)
	out = append(out, chunk...)
	return append(out, file[header:]...)
}
