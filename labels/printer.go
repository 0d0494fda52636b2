package labels

import (
	"bytes"
	"fmt"
	"image"
)

// A Language is a page language of label printers.
type Language string

// The languages. In both the label travels as a picture, dot by dot as in the preview: no
// text of a label ever reaches the printer as text, so nothing typed into a field can be a
// command, every script of our font prints, and the printer needs no font of its own.
const (
	ZPL Language = "zpl" // ^GF with its run lengths
	EPL Language = "epl" // GW, binary
)

// Printer writes labels of one size in a page language for a printer of 203, 300 or 600 dpi,
// one page each. All are laid out before anything is written; else a *Refusal and no bytes.
func Printer(ls []Label, a Area, dpi int, lang Language) ([]byte, error) {
	var page func(*bytes.Buffer, *image.Paletted)
	switch lang {
	case ZPL:
		page = zpl
	case EPL:
		page = epl
	default:
		return nil, &Refusal{Class: ErrMedia, Field: "language", Why: fmt.Sprintf("%q is unknown; choose zpl or epl", string(lang))}
	}
	if len(ls) == 0 {
		return nil, &Refusal{Class: ErrMedia, Why: "nothing to print: no labels were chosen"}
	}
	var b bytes.Buffer
	for i, l := range ls {
		img, _, err := raster(l, a, dpi)
		if err != nil {
			return nil, fmt.Errorf("label %d of %d: %w", i+1, len(ls), err)
		}
		page(&b, img)
	}
	return b.Bytes(), nil
}

// packed returns the picture as rows of bits, first dot in the highest bit, 1 is black, rows
// padded with white to whole bytes.
func packed(img *image.Paletted) (rows [][]byte) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	for y := range h {
		row := make([]byte, (w+7)/8)
		for x := range w {
			if img.Pix[y*img.Stride+x] == 1 {
				row[x/8] |= 0x80 >> (x % 8)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// zpl writes one label: page width, length, home, the graphic field, end.
func zpl(b *bytes.Buffer, img *image.Paletted) {
	rows := packed(img)
	per := len(rows[0])
	total := per * len(rows)
	fmt.Fprintf(b, "^XA\n^PW%d\n^LL%d\n^LH0,0\n^FO0,0^GFA,%d,%d,%d,", img.Rect.Dx(), img.Rect.Dy(), total, total, per)
	var last []byte
	for _, row := range rows {
		if bytes.Equal(row, last) {
			b.WriteByte(':') // as the row above
			continue
		}
		last = row
		runs(b, row)
	}
	b.WriteString("^FS\n^XZ\n")
}

// runs writes a row as hexadecimal with repeat counts: G to Y stand for 1 to 19 times the
// next digit, g to z for 20 to 400 times; a comma fills the row with 0, an exclamation mark
// with F.
func runs(b *bytes.Buffer, row []byte) {
	digits := make([]byte, 0, 2*len(row))
	for _, v := range row {
		digits = append(digits, "0123456789ABCDEF"[v>>4], "0123456789ABCDEF"[v&15])
	}
	for i := 0; i < len(digits); {
		j := i
		for j < len(digits) && digits[j] == digits[i] {
			j++
		}
		n, d := j-i, digits[i]
		if j == len(digits) && d == '0' {
			b.WriteByte(',')
			return
		}
		if j == len(digits) && d == 'F' {
			b.WriteByte('!')
			return
		}
		i = j
		for n >= 400 {
			b.WriteByte('z')
			b.WriteByte(d)
			n -= 400
		}
		if n == 0 {
			continue
		}
		if n > 1 {
			if t := n / 20; t > 0 {
				b.WriteByte('g' + byte(t-1))
			}
			if u := n % 20; u > 0 {
				b.WriteByte('G' + byte(u-1))
			}
		}
		b.WriteByte(d)
	}
}

// epl writes one label: clear, width, length, the graphic, print one. In this language a set
// bit is white.
func epl(b *bytes.Buffer, img *image.Paletted) {
	rows := packed(img)
	fmt.Fprintf(b, "\nN\nq%d\nQ%d,24\nGW0,0,%d,%d,", img.Rect.Dx(), img.Rect.Dy(), len(rows[0]), len(rows))
	for _, row := range rows {
		for _, v := range row {
			b.WriteByte(^v)
		}
	}
	b.WriteString("\nP1\n")
}
