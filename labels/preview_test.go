package labels

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// The preview holds each label once, on the page it will be printed on, drawn stroke for
// stroke as the label alone, and is well-formed.
func TestPreview(t *testing.T) {
	ls := everyKind(false)
	s := A4()
	s.Start, s.OffsetX = 17, 0.5
	for page, want := range map[int][2]int{1: {0, 5}, 2: {5, len(ls)}} {
		svg, err := Preview(ls, s, page)
		if err != nil {
			t.Fatal(err)
		}
		for i, l := range ls {
			d, err := layout(&l, s.Cell, 0)
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			d.strokes(&b, 2)
			if n := bytes.Count(svg, b.Bytes()); (n == 1) != (i >= want[0] && i < want[1]) {
				t.Errorf("%s stands %d times on page %d", l.Tag, n, page)
			}
		}
		dec := xml.NewDecoder(bytes.NewReader(svg))
		for err = nil; err == nil; {
			_, err = dec.Token()
		}
		if !errors.Is(err, io.EOF) {
			t.Errorf("page %d: %v", page, err)
		}
	}
	for _, page := range []int{0, 3} {
		if _, err := Preview(ls, s, page); !errors.Is(err, ErrMedia) {
			t.Errorf("page %d: %v", page, err)
		}
	}
	wide := Label{Tag: "P0000417N", Title: strings.Repeat("W", 400)}
	if svg, err := Preview([]Label{wide}, s, 1); !errors.Is(err, ErrText) || svg != nil {
		t.Errorf("a title without end: %d bytes, %v", len(svg), err)
	}
}
