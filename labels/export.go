package labels

import (
	"fmt"
	"strings"
)

// A File is one finished file of an export.
type File struct {
	Name  string
	Bytes []byte
}

// Files makes what a person asks for by the ending of a file name: .pdf is one file with all
// labels on the sheet; .svg and .png are one file a label in the size of the sheet's cell,
// and .zpl and .epl one file of printer text. Where there are several labels the tag of each
// is put before the ending of its file. PNG and printer text take the sheet's DPI, 203 where
// it has none.
//
// Nothing is returned unless everything could be made.
func Files(ls []Label, s Sheet, name string) ([]File, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if len(ls) == 0 {
		return nil, &Refusal{Class: ErrMedia, Why: "nothing to print: no labels were chosen"}
	}
	dot := strings.LastIndexByte(name, '.')
	if dot < 0 {
		dot = len(name)
	}
	dpi := s.DPI
	if dpi == 0 {
		dpi = 203
	}
	one := func(b []byte, err error) ([]File, error) {
		if err != nil {
			return nil, err
		}
		return []File{{name, b}}, nil
	}
	var draw func(Label) ([]byte, error)
	switch ending := strings.ToLower(name[dot:]); ending {
	case ".pdf":
		return one(PDF(ls, s))
	case ".zpl":
		return one(Printer(ls, s.Cell, dpi, ZPL))
	case ".epl":
		return one(Printer(ls, s.Cell, dpi, EPL))
	case ".svg":
		draw = func(l Label) ([]byte, error) { return SVGAt(l, s.Cell) }
	case ".png":
		draw = func(l Label) ([]byte, error) { return PNG(l, s.Cell, dpi) }
	default:
		return nil, &Refusal{Class: ErrMedia, Field: "out", Why: fmt.Sprintf(
			"%q is no kind of file made here; end the name in .pdf, .svg, .png, .zpl or .epl", clean(name))}
	}
	var files []File
	for i, l := range ls {
		b, err := draw(l)
		if err != nil {
			return nil, fmt.Errorf("label %d of %d: %w", i+1, len(ls), err)
		}
		n := name
		if len(ls) > 1 {
			n = name[:dot] + "-" + fileSafe(l.Tag) + name[dot:]
		}
		files = append(files, File{n, b})
	}
	return files, nil
}

// fileSafe replaces what a code may hold and a file name may not.
func fileSafe(tag string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '_'
	}, tag)
}
