package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// A Pick is one line of the pick list: what to take, from where, and its code to scan.
type Pick struct {
	Drawer string   // place code: "C-07-3"; empty where it is not in a drawer
	Order  string   // sorts the drawers as the crib is walked; empty: by Drawer
	Kind   string   // "sleeve"
	Tag    string   // tag of piece or lot
	Label  string   // id or designation
	Number int      // pieces, or 0 for one
	Note   string   // "issued to A. Lind until 2 Dec"
	Code   [][]bool // modules of the code of Tag, without quiet zone; nil prints no code
}

// A Torque is the tightening torque of one screw or nut.
type Torque struct {
	What  string // "clamp screw, head"
	NM    float64
	Known bool // false: "not recorded", never a guess
}

// A SheetCheck is one rule applied to the stack, with its limit and where that comes from.
type SheetCheck struct {
	Name, Value, Limit, Source string
	Warn                       bool
}

// A SetupSheet is what goes to the machine with the pieces: one page.
type SetupSheet struct {
	Job, Machine, By string
	Printed          time.Time // date of print
	Side             Side      // the drawing
	Picks            []Pick    // any order; printed by drawer
	OverhangMM       float64   // to set, mm; 0: not known, said so
	CentreHeight     string    // note on centre height; empty: "not recorded"
	Torques          []Torque
	Checks           []SheetCheck
	Coolant          string // the way of the coolant and its weakest part; empty: not printed
	Cautions         []string
	Remarks          string // what the last setter wrote; printed in the box above the empty lines
	RemarkCode       [][]bool
}

// Sheet prints the setup sheet on one page: drawing, overhang in mm and inch, pick list by
// drawer with a code for each piece, torques, centre height, cautions, and a box for remarks.
//
// What is not recorded says "not recorded". Type shrinks a little before anything is refused;
// where one page is not enough the error of ErrDrawing says what is too long, and nothing is
// printed: a setup sheet without its last caution would be worse than none.
func Sheet(s SetupSheet, p Paper) ([]byte, error) {
	if p != A4 && p != Letter {
		return nil, refuse("paper %q; choose A4 or Letter", p.Name)
	}
	if err := finite("overhang", s.OverhangMM); err != nil {
		return nil, err
	}
	if s.OverhangMM < 0 {
		return nil, refuse("overhang is %v mm; must not be below 0", s.OverhangMM)
	}
	for i, k := range s.Picks {
		if k.Code != nil && (len(k.Code) < 8 || len(k.Code) > 60 || len(k.Code[0]) != len(k.Code)) {
			return nil, refuse("pick %d (%s): its code has %d rows; a square code has 8 to 60", i+1, clean(k.Tag), len(k.Code))
		}
	}
	for _, t := range s.Torques {
		if t.Known && !(t.NM > 0 && t.NM < 5000) {
			return nil, refuse("torque of %s is %v Nm; must be above 0 and below 5000, or not recorded", clean(t.What), t.NM)
		}
	}
	s.Side.Inch = true
	sc, err := stackScene(s.Side)
	if err != nil {
		return nil, err
	}
	for em := 3.1; ; em -= 0.15 {
		// The drawing gives way with the type: at the smallest it takes two thirds of the width.
		w := &sheetWriter{paper: newPaper(p, clean("Setup sheet "+s.Job), s.Printed), em: em, drawn: 1 - (3.1-em)*0.37}
		w.AddPage()
		need := w.write(&s, sc)
		if need <= w.ph-sheetEdge {
			return w.bytes()
		}
		if em < 2.2 {
			return nil, refuse("the setup sheet needs %.0f mm of height and %s has %.0f mm; shorten the remarks, the cautions (%d) or the pick list (%d lines)",
				need, p.Name, w.ph-sheetEdge, len(s.Cautions), len(s.Picks))
		}
	}
}

const sheetEdge = 12.0 // mm of white around

type sheetWriter struct {
	*paper
	em    float64 // size of the running text, mm
	drawn float64 // share of the width that the drawing takes
	y     float64 // how far the page is filled
	left  float64
	wide  float64
}

// write fills the page and returns the height it needs.
func (w *sheetWriter) write(s *SetupSheet, sc *scene) float64 {
	w.left, w.wide, w.y = sheetEdge, w.pw-2*sheetEdge, sheetEdge
	w.head(s)
	scale := w.wide / sc.w * w.drawn
	w.scene(sc, w.left+w.wide*(1-w.drawn)/2, w.y, scale)
	w.y += sc.h*scale + 2
	w.overhang(s)
	w.picks(s)
	w.facts(s)
	w.checks(s)
	w.cautions(s)
	return w.remarks(s)
}

func (w *sheetWriter) head(s *SetupSheet) {
	w.say(faceBold, 6, w.left, w.y+4.6, Ink, "Setup sheet")
	right := "printed " + s.Printed.Format(time.DateOnly)
	if s.Printed.IsZero() {
		right = "date of print not recorded"
	}
	if s.By != "" {
		right += " by " + clean(s.By)
	}
	w.end(facePlain, 2.6, w.y+4.6, Faint, right)
	w.y += 7
	w.rule(w.left, w.y, w.left+w.wide, w.y, 0.4, Ink)
	w.y += 1.2
	job := strings.TrimSpace("Job " + clean(s.Job))
	if m := clean(s.Machine); m != "" {
		job += "  ·  " + m
	}
	w.block(faceBold, 3.8, w.left, w.wide, Ink, job)
	w.y += 2
}

// end sets a text against the right edge, shrunk to half the page at most.
func (w *sheetWriter) end(f face, em, y float64, colour, s string) {
	for f.width(s, em) > w.wide/2 && em > 1 {
		em *= 0.95
	}
	w.say(f, em, w.left+w.wide-f.width(s, em), y, colour, s)
}

// block sets a cleaned text in lines from the present height.
func (w *sheetWriter) block(f face, em, x, wide float64, colour, s string) {
	for _, l := range f.wrap(clean(s), em, wide) {
		w.y += em * 1.3
		w.say(f, em, x, w.y, colour, l)
	}
}

func (w *sheetWriter) caption(s string) {
	w.y += w.em*1.5 + 1.4
	w.say(faceBold, w.em*0.86, w.left, w.y, Faint, strings.ToUpper(s))
	w.y += 1.2
	w.rule(w.left, w.y, w.left+w.wide, w.y, 0.17, Ink)
	w.y += 0.6
}

// overhang is the one figure everybody looks for, so it is the largest on the page.
func (w *sheetWriter) overhang(s *SetupSheet) {
	w.y += 7
	w.say(facePlain, 3.4, w.left, w.y, Faint, "set overhang to")
	x := w.left + 27
	if s.OverhangMM == 0 {
		w.say(faceBold, 6.5, x, w.y, Warn, "not recorded: measure before the first cut")
		return
	}
	mm, inch := trim(s.OverhangMM, 2)+" mm", trim(s.OverhangMM/25.4, 3)+" in"
	w.say(faceBold, 7.5, x, w.y, Ink, mm)
	x += faceBold.width(mm, 7.5) + 5
	w.say(faceBold, 5, x, w.y, Ink, inch)
	x += faceBold.width(inch, 5) + 5
	w.say(facePlain, 2.8, x, w.y, Faint, "from the holder's face to the cutting edge")
}

// picks: one entry a piece in the order of the drawers, so that the crib is walked once; down
// the left column, then down the right. Drawer and tag stand above what the piece is, its code
// beside them.
func (w *sheetWriter) picks(s *SetupSheet) {
	w.caption("take, drawer by drawer")
	if len(s.Picks) == 0 {
		w.block(facePlain, w.em, w.left, w.wide, Ink, "nothing to take: all pieces are in the machine")
		return
	}
	picks := slices.Clone(s.Picks)
	slices.SortStableFunc(picks, func(a, b Pick) int {
		return cmp.Or(strings.Compare(cmp.Or(a.Order, a.Drawer), cmp.Or(b.Order, b.Drawer)), strings.Compare(a.Drawer, b.Drawer))
	})
	half, wide := len(picks), w.wide
	if len(picks) > 3 {
		half, wide = (len(picks)+1)/2, w.wide/2-3
	}
	top, low := w.y, w.y
	for i, k := range picks {
		x := w.left
		if i >= half {
			x = w.left + w.wide - wide
		}
		if i == half {
			w.y = top
		}
		w.pick(&k, x, wide, i > 0 && i != half)
		low = max(low, w.y)
	}
	w.y = low
}

// pick sets one entry from the present height; ruled draws a hairline above it.
func (w *sheetWriter) pick(k *Pick, x, wide float64, ruled bool) {
	side := max(w.em*3.6, 10.5) // 0.36 mm a module for a tag
	top := w.y
	if ruled {
		w.rule(x, top, x+wide, top, 0.1, Rule)
	}
	w.SetDrawColor(rgb(Ink)) // a box to tick
	w.SetLineWidth(0.2)
	w.Rect(x+0.4, top+1+w.em*0.45, w.em*0.9, w.em*0.9, "D")
	drawer := clean(k.Drawer)
	if drawer == "" {
		drawer = "no drawer"
	}
	text := wide - side - 8
	w.y = top + 0.6
	w.block(faceBold, w.em*1.1, x+5, text*0.5, Ink, drawer)
	low := w.y
	w.y = top + 0.6
	w.block(faceMono, w.em, x+5+text*0.5+1, text*0.5, Ink, k.Tag)
	w.y = max(w.y, low)
	what := strings.TrimSpace(k.Kind + " " + k.Label)
	if k.Number > 1 {
		what = fmt.Sprintf("%d x %s", k.Number, what)
	}
	w.block(facePlain, w.em, x+5, text, Ink, what)
	if k.Note != "" {
		w.block(facePlain, w.em*0.88, x+5, text, Faint, k.Note)
	}
	low = w.y
	if k.Code != nil {
		w.code(k.Code, x+wide-side, top+0.2, side)
		low = max(low, top+side+0.2)
	}
	w.y = low + 0.8
}

func (w *sheetWriter) facts(s *SetupSheet) {
	w.caption("centre height and torques")
	height := "centre height: not recorded; set it by the maker's instructions and check before the first cut"
	if c := clean(s.CentreHeight); c != "" {
		height = "centre height: " + c
	}
	w.block(facePlain, w.em, w.left, w.wide, Ink, height)
	if len(s.Torques) == 0 {
		w.block(facePlain, w.em, w.left, w.wide, Ink, "torque: not recorded; ask for the maker's value, do not guess")
	}
	for _, t := range s.Torques {
		v := "not recorded; ask for the maker's value, do not guess"
		if t.Known {
			v = fmt.Sprintf("%s Nm (%s lbf in)", trim(t.NM, 2), trim(math.Round(t.NM*8.8507*10)/10, 1))
		}
		w.block(facePlain, w.em, w.left, w.wide, Ink, "torque, "+t.What+": "+v)
	}
}

// checks sets each rule with its limit and source in two columns of small type, and the
// coolant's way above them.
func (w *sheetWriter) checks(s *SetupSheet) {
	if s.Coolant != "" {
		w.caption("coolant")
		w.block(facePlain, w.em, w.left, w.wide, Ink, s.Coolant)
	}
	if len(s.Checks) == 0 {
		return
	}
	w.caption("checks: found, limit, where the limit comes from")
	em, wide := w.em*0.8, w.wide/2-3
	top := w.y
	half := (len(s.Checks) + 1) / 2
	low := top
	for i, c := range s.Checks {
		x := w.left
		if i >= half {
			x = w.left + w.wide/2 + 3
			if i == half {
				w.y = top
			}
		}
		t, f := c.Name+" "+c.Value, facePlain
		if c.Limit != "" {
			t += ", limit " + c.Limit
		}
		if c.Source != "" {
			t += " (" + c.Source + ")"
		}
		if c.Warn {
			t, f = "look out: "+t, faceBold
		}
		w.block(f, em, x, wide, Ink, t)
		low = max(low, w.y)
	}
	w.y = low
}

// plainCaution stands on every sheet.
const plainCaution = "This sheet advises and releases nothing. Before the first part: jog the bar to full depth with the spindle stopped and look at the gap to jaws, stops and the bottom of the bore; check the swing of the next stations."

func (w *sheetWriter) cautions(s *SetupSheet) {
	w.caption("mind")
	for _, c := range append(slices.Clone(s.Cautions), plainCaution) {
		if c = clean(c); c == "" {
			continue
		}
		top := w.y
		w.block(faceBold, w.em, w.left+4, w.wide-4, Ink, c)
		w.SetFillColor(rgb(Ink))
		w.Rect(w.left, top+w.em*0.5, 1, max(w.y-top-w.em*0.4, w.em*0.6), "F")
	}
}

// remarks draws the box for the setter's words and returns the height the page needs; the box
// takes what is left of the page, and at least three lines to write on.
func (w *sheetWriter) remarks(s *SetupSheet) float64 {
	w.caption("setter's remarks, kept with the stack")
	code := 0.0
	if s.RemarkCode != nil && len(s.RemarkCode) <= 60 {
		code = 14
		w.code(s.RemarkCode, w.left+w.wide-code, w.y+0.5, code)
	}
	top := w.y
	if s.Remarks != "" {
		w.block(facePlain, w.em, w.left, w.wide-code-2, Ink, "last time: "+s.Remarks)
	}
	w.y = max(w.y+7, top+code+1)
	need := w.y + 14
	bottom := w.ph - sheetEdge
	for y := w.y; y <= bottom; y += 7 {
		w.rule(w.left, y, w.left+w.wide, y, 0.17, Rule)
	}
	return need
}
