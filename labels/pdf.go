package labels

import (
	"bytes"
	"fmt"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// mmPt is one millimetre in points of a PDF.
const mmPt = 72 / 25.4

// PDF prints labels on sheets, along the rows from s.Start, as many pages as it takes. A
// single label is a page of exactly its size, and the file asks the viewer not to scale it.
//
// All labels are laid out before anything is written: on a *Refusal, which names the label,
// there is no file. No labels at all is a *Refusal too.
func PDF(ls []Label, s Sheet) ([]byte, error) {
	arts, err := arrange(ls, s)
	if err != nil {
		return nil, err
	}
	p := newPDF(s.W, s.H, fmt.Sprintf("Labels %s to %s", clean(ls[0].Tag), clean(ls[len(ls)-1].Tag)), ls[0].Printed)
	at := max(s.Start, 1) - 1
	for i, a := range arts {
		if i == 0 || at == s.PerPage() {
			if i > 0 {
				at = 0
			}
			p.AddPage()
		}
		x, y := s.place(at)
		p.art(a, x, y)
		at++
	}
	return p.bytes()
}

// Fit tells whether PDF would print all the labels, for less: nil, or the *Refusal that names the
// first label that it would not.
func Fit(ls []Label, s Sheet) error {
	_, err := arrange(ls, s)
	return err
}

// arrange lays out all labels, on every core; a label knows nothing of the others.
func arrange(ls []Label, s Sheet) ([]*art, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if len(ls) == 0 {
		return nil, &Refusal{Class: ErrMedia, Why: "nothing to print: no labels were chosen"}
	}
	dot := 0.0
	if s.DPI != 0 {
		d, err := dotsPerMM(s.DPI)
		if err != nil {
			return nil, err
		}
		dot = 1 / d
	}
	arts, errs := make([]*art, len(ls)), make([]error, len(ls))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(ls)) {
		workers.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(ls)); i = next.Add(1) - 1 {
				arts[i], errs[i] = layout(&ls[i], s.Cell, dot)
			}
		})
	}
	workers.Wait()
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("label %d of %d: %w", i+1, len(ls), err)
		}
	}
	return arts, nil
}

// pdf is a document being written, with our three faces.
type pdf struct {
	*fpdf.Fpdf
	h float64 // of the page in mm
}

// newPDF begins a document with pages of w x h mm. date is the date of print; where it is not
// of the form 2026-11-25 the document carries none of its own, so that the same labels always
// make the same bytes.
func newPDF(w, h float64, title, date string) *pdf {
	orientation := "P"
	if w > h {
		orientation = "L"
	}
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: orientation, UnitStr: "mm",
		Size: fpdf.SizeType{Wd: min(w, h), Ht: max(w, h)}})
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.SetCatalogSort(true)
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	f.SetCreationDate(day)
	f.SetModificationDate(day)
	f.SetTitle(title, true)
	f.SetProducer("brasspeg", true)
	for _, c := range []face{plain, bold, mono} {
		f.AddUTF8FontFromBytes(faceNames[c], "", c.ttf())
	}
	return &pdf{Fpdf: f, h: h}
}

// art draws one label with its corner at x, y.
func (p *pdf) art(a *art, x, y float64) {
	for _, c := range a.codes {
		p.SetFillColor(0, 0, 0)
		p.symbol(c.sym, x+c.x, y+c.y, c.module)
	}
	white := false
	ink := func(w bool) {
		if w != white {
			v := 0
			if w {
				v = 255
			}
			p.SetFillColor(v, v, v)
			p.SetTextColor(v, v, v)
			white = w
		}
	}
	p.SetFillColor(0, 0, 0)
	p.SetTextColor(0, 0, 0)
	for _, b := range a.boxes {
		ink(b.white)
		p.Rect(x+b.x, y+b.y, b.w, b.h, "F")
	}
	ink(false)
	for _, t := range a.texts {
		if t.s == "" {
			continue
		}
		ink(t.white)
		p.SetFont(faceNames[t.face], "", t.em*mmPt)
		p.Text(x+t.x, y+t.y, t.s)
	}
	ink(false)
}

// symbol fills the code as one path.
func (p *pdf) symbol(s *Symbol, x, y, module float64) {
	m := module * mmPt
	out := make([]byte, 0, 4096)
	out = append(out, "q "...)
	for _, v := range []float64{m, 0, 0, -m, x * mmPt, (p.h - y) * mmPt} {
		out = strconv.AppendFloat(out, v, 'f', 4, 64)
		out = append(out, ' ')
	}
	out = append(out, "cm\n"...)
	for _, loop := range s.loops() {
		for i, v := range loop {
			out = strconv.AppendInt(out, int64(v[0]), 10)
			out = append(out, ' ')
			out = strconv.AppendInt(out, int64(v[1]), 10)
			if i == 0 {
				out = append(out, " m "...)
			} else {
				out = append(out, " l "...)
			}
		}
		out = append(out, "h\n"...)
	}
	p.RawWriteStr(string(append(out, "f Q"...)))
}

// bytes ends the document. The catalogue gets a wish the writer cannot express: that the
// print dialog shall not scale, since a code of 94 % no longer has whole dots and a sheet of
// 94 % no longer meets its labels.
func (p *pdf) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	return unscaled(b.Bytes())
}

// unscaled adds the viewer preference. The catalogue is the last object of the file, so only
// the place of the cross-reference table moves.
func unscaled(doc []byte) ([]byte, error) {
	const mark, wish = "/Type /Catalog\n", "/ViewerPreferences << /PrintScaling /None >>\n"
	at := bytes.LastIndex(doc, []byte(mark))
	start := bytes.LastIndex(doc, []byte("startxref\n"))
	if at < 0 || start < at {
		return nil, fmt.Errorf("writing the PDF: its catalogue is not where it was")
	}
	rest := doc[start+len("startxref\n"):]
	end := bytes.IndexByte(rest, '\n')
	if end < 0 {
		return nil, fmt.Errorf("writing the PDF: it has no end")
	}
	table, err := strconv.Atoi(string(rest[:end]))
	if err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	out := make([]byte, 0, len(doc)+len(wish)+2)
	out = append(out, doc[:at+len(mark)]...)
	out = append(out, wish...)
	out = append(out, doc[at+len(mark):start]...)
	out = append(out, "startxref\n"...)
	out = strconv.AppendInt(out, int64(table+len(wish)), 10)
	return append(out, rest[end:]...), nil
}
