package labels

import (
	"fmt"
	"regexp"
	"strings"

	"brasspeg/store/standard"
	"github.com/boombuler/barcode/datamatrix"
	qrcode "github.com/skip2/go-qrcode"
)

// A Symbol is a code to scan as a square or rectangle of modules, without its quiet zone.
type Symbol struct {
	W, H  int    // modules
	Quiet int    // modules to be left white on every side
	Level string // error correction of a QR code: L, M, Q or H; "" for Data Matrix
	dark  []bool
}

// Dark reports whether the module in column x and row y is dark. Outside it is false.
func (s *Symbol) Dark(x, y int) bool {
	return x >= 0 && y >= 0 && x < s.W && y < s.H && s.dark[y*s.W+x]
}

// Rows returns the modules row by row, quiet zone not included, for drawings that are made
// elsewhere.
func (s *Symbol) Rows() [][]bool {
	rows := make([][]bool, s.H)
	for y := range rows {
		rows[y] = s.dark[y*s.W : (y+1)*s.W : (y+1)*s.W]
	}
	return rows
}

// codeMax is the longest content a label takes: more would no longer be a small symbol, and
// nobody could type it when the label is worn.
const codeMax = 60

// alphanumeric is what QR holds in its alphanumeric mode (ISO/IEC 18004). Lower case would
// change the mode and make the symbol larger, so it is refused, not folded.
const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

func checkCode(content string) error {
	refuse := func(why string) error {
		return &Refusal{Class: ErrCode, Tag: content, Field: "tag", Why: why}
	}
	if content == "" {
		return refuse("it is empty; a label needs a code to scan")
	}
	if len(content) > codeMax {
		return &Refusal{Class: ErrCode, Field: "tag", Why: fmt.Sprintf(
			"%d characters; at most %d fit a small code", len(content), codeMax)}
	}
	for i, r := range content {
		if !strings.ContainsRune(alphanumeric, r) {
			return refuse(fmt.Sprintf("character %d, %q, cannot stand in a code; use capitals A to Z and digits", i+1, r))
		}
	}
	if content[0] == ' ' || content[len(content)-1] == ' ' {
		return refuse("a space at its edge would be lost by a scanner; leave it out")
	}
	return nil
}

// ownTag is the shape of a tag: kind letter, seven digits, check character.
var ownTag = regexp.MustCompile(`^[A-Z][0-9]{7}[0-9A-Z]$`)

// checkTag refuses a content that looks like one of our tags and has a wrong check character:
// every scanner would refuse the finished label.
func checkTag(tag string) error {
	if !ownTag.MatchString(tag) {
		return nil
	}
	if _, err := standard.ParseTag(tag); err != nil {
		return &Refusal{Class: ErrCode, Tag: tag, Field: "tag", Why: err.Error()}
	}
	return nil
}

// QR returns the smallest QR code that holds the content, at the highest error correction
// that does not make it larger: a tag of nine characters is version 1 (21 modules) at level H.
//
// The content is 1 to 60 characters of QR's alphanumeric mode; else a *Refusal of ErrCode.
// The quiet zone is 4 modules (ISO/IEC 18004).
func QR(content string) (*Symbol, error) {
	if err := checkCode(content); err != nil {
		return nil, err
	}
	var best *qrcode.QRCode
	letter := ""
	for i, level := range []qrcode.RecoveryLevel{qrcode.Low, qrcode.Medium, qrcode.High, qrcode.Highest} {
		q, err := qrcode.New(content, level)
		if err != nil {
			return nil, &Refusal{Class: ErrCode, Tag: content, Field: "tag", Why: err.Error()}
		}
		if best == nil || q.VersionNumber == best.VersionNumber {
			best, letter = q, "LMQH"[i:i+1]
		}
	}
	return symbolOf(best, letter), nil
}

func symbolOf(q *qrcode.QRCode, level string) *Symbol {
	q.DisableBorder = true
	rows := q.Bitmap()
	s := &Symbol{W: len(rows), H: len(rows), Quiet: 4, Level: level}
	for _, row := range rows {
		s.dark = append(s.dark, row...)
	}
	return s
}

// sturdy is the version of a QR code that a label tries before the smallest one. At level H its
// blocks mend so much that one connected blot of 15 % of the symbol, anywhere off the finder
// and alignment patterns, is read: of 120 such blots (square and round, ink and white) both of
// two readers read 119, with versions 3, 2 and 1 only 96, 21 and 2; version 5 reads all and
// costs a fifth more room. A label takes it where a module keeps the size of roomyModule.
const sturdy = 4

// roomyModule is the module in mm down to which a sturdier symbol is worth its room; half as
// much again as the smallest a plain scanner reads (common practice, no source).
const roomyModule = 0.5

// sturdyQR is the QR code of the content in the sturdy version at level H; nil where the
// content is too long for it.
func sturdyQR(content string) *Symbol {
	q, err := qrcode.NewWithForcedVersion(content, sturdy, qrcode.Highest)
	if err != nil {
		return nil
	}
	return symbolOf(q, "H")
}

// DataMatrix returns the smallest square Data Matrix (ECC 200) that holds the content, for
// marks cut or burnt into the thing itself: a tag of nine characters is 14 modules wide.
//
// The content is as for QR. The quiet zone is 2 modules; ISO/IEC 16022 asks for 1, the second
// is for the ragged edge of an engraved mark (common practice, no source).
func DataMatrix(content string) (*Symbol, error) {
	if err := checkCode(content); err != nil {
		return nil, err
	}
	code, err := datamatrix.Encode(content)
	if err != nil {
		return nil, &Refusal{Class: ErrCode, Tag: content, Field: "tag", Why: err.Error()}
	}
	b := code.Bounds()
	s := &Symbol{W: b.Dx(), H: b.Dy(), Quiet: 2}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, _, _, _ := code.At(x, y).RGBA()
			s.dark = append(s.dark, r < 0x8000)
		}
	}
	return s, nil
}

// symbol is the smallest code of the label in the kind it asks for.
func (l *Label) symbol() (*Symbol, error) {
	if l.Matrix {
		return DataMatrix(l.Tag)
	}
	return QR(l.Tag)
}

// loops returns the borders of the dark areas as closed rows of corners in modules. One path
// with the even-odd or non-zero rule fills them: neighbours share no edge, so no printer
// shows a hairline between two modules, and an engraver burns no line twice.
func (s *Symbol) loops() [][][2]int {
	// Walk every border edge with the dark side on its right; at a crossing of two dark
	// corners turn right, so that the two areas stay two loops.
	type edge struct{ x, y, d int } // d: 0 east, 1 south, 2 west, 3 north
	step := [4][2]int{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}
	border := func(e edge) bool { // edge from corner (x,y) in direction d, dark on the right
		switch e.d {
		case 0:
			return s.Dark(e.x, e.y) && !s.Dark(e.x, e.y-1)
		case 1:
			return s.Dark(e.x-1, e.y) && !s.Dark(e.x, e.y)
		case 2:
			return s.Dark(e.x-1, e.y-1) && !s.Dark(e.x-1, e.y)
		}
		return s.Dark(e.x, e.y-1) && !s.Dark(e.x-1, e.y-1)
	}
	seen := make([]bool, (s.W+1)*(s.H+1)*4)
	at := func(e edge) int { return (e.y*(s.W+1)+e.x)*4 + e.d }
	var loops [][][2]int
	for y := 0; y <= s.H; y++ {
		for x := 0; x <= s.W; x++ {
			start := edge{x, y, 0}
			if seen[at(start)] || !border(start) {
				continue
			}
			var loop [][2]int
			e := start
			for {
				seen[at(e)] = true
				next := edge{e.x + step[e.d][0], e.y + step[e.d][1], 0}
				for _, turn := range [3]int{1, 0, 3} { // right, straight, left
					next.d = (e.d + turn) % 4
					if border(next) {
						break
					}
				}
				if next.d != e.d {
					loop = append(loop, [2]int{next.x, next.y})
				}
				if next == start {
					break
				}
				e = next
			}
			loops = append(loops, loop)
		}
	}
	return loops
}
