package labels

import (
	"bytes"
	"fmt"
)

// Preview draws one page (1 or more) of what PDF prints: the paper, the outline of every cell,
// and the labels where they will be, offsets included, as SVG in true millimetres. Cells that
// are skipped are crossed out.
//
// The labels are those of all pages. A page that there is not is a *Refusal of ErrMedia, and a
// label of this page that cannot be drawn is refused as by PDF.
func Preview(ls []Label, s Sheet, page int) ([]byte, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	pages := s.Pages(len(ls))
	if page < 1 || page > pages {
		return nil, &Refusal{Class: ErrMedia, Field: "page", Why: fmt.Sprintf("%d; there are pages 1 to %d", page, pages)}
	}
	dot := 0.0
	if s.DPI != 0 {
		d, err := dotsPerMM(s.DPI)
		if err != nil {
			return nil, err
		}
		dot = 1 / d
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="%smm" height="%smm" viewBox="0 0 %s %s">`, mm(s.W), mm(s.H), mm(s.W), mm(s.H))
	fmt.Fprintf(&b, "\n<title>Page %d of %d</title>\n<rect fill=\"#fff\" width=\"%s\" height=\"%s\"/>\n", page, pages, mm(s.W), mm(s.H))
	skip := max(s.Start, 1) - 1
	for i := range s.PerPage() {
		n := (page-1)*s.PerPage() + i - skip
		x, y := s.place(i)
		if s.PerPage() > 1 {
			fmt.Fprintf(&b, `<rect fill="none" stroke="#999" stroke-width="0.15" x="%s" y="%s" width="%s" height="%s"/>`+"\n",
				mm(x-s.OffsetX), mm(y-s.OffsetY), mm(s.Cell.W), mm(s.Cell.H))
		}
		switch {
		case n < 0:
			fmt.Fprintf(&b, `<path stroke="#999" stroke-width="0.3" d="M%s %sl%s %s"/>`+"\n", mm(x), mm(y), mm(s.Cell.W), mm(s.Cell.H))
		case n < len(ls):
			d, err := layout(&ls[n], s.Cell, dot)
			if err != nil {
				return nil, fmt.Errorf("label %d of %d: %w", n+1, len(ls), err)
			}
			fmt.Fprintf(&b, `<g transform="translate(%s %s)">`+"\n", mm(x), mm(y))
			d.strokes(&b, 2)
			b.WriteString("</g>\n")
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes(), nil
}
