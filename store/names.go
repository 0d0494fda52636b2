package store

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// The origins of a value of a part.
const (
	Entered       = "entered"     // a person typed it
	ByDesignation = "designation" // the name says it
	ByMaker       = "maker"       // it stands in the maker's papers
)

// A PartField is one value a kind of part can have: its ISO 13399 symbol or plain word, and
// how it is typed.
type PartField struct {
	Symbol  string
	Sort    string   // size, number, count, text, choice, yes, ends
	Unit    string   // of a number
	Choices []string // of a choice
	Plain   string   // what it is, where no symbol of a standard says it
	Tells   bool     // describes the part, and never decides what mates
}

var (
	massField   = PartField{Symbol: "WT", Sort: "number", Unit: "kg"}
	ratedField  = PartField{Symbol: "CP", Sort: "number", Unit: "bar"}
	torqueField = PartField{Symbol: "torque_nm", Sort: "number", Unit: "N m", Plain: "torque for its screws"}
	handField   = PartField{Symbol: "HAND", Sort: "choice", Choices: []string{"R", "L", "N"}}
	seatField   = PartField{Symbol: "seat", Sort: "text", Plain: "pocket: shape, clearance, hole, size and thickness, as CCMT09T3"}
	dminField   = PartField{Symbol: "DMIN", Sort: "size"}
	kaprField   = PartField{Symbol: "KAPR", Sort: "number", Unit: "°", Tells: true}
	psirField   = PartField{Symbol: "PSIR", Sort: "number", Unit: "°", Tells: true}
	shapeField  = PartField{Symbol: "SC", Sort: "text", Tells: true}
	clearField  = PartField{Symbol: "AN", Sort: "number", Unit: "°", Tells: true}
	circleField = PartField{Symbol: "IC", Sort: "size", Tells: true}
	machineEnd  = PartField{Symbol: "CCMS", Sort: "text", Plain: "coupling on the machine side, by its code, as H32; never derived from a diameter"}
	workEnd     = PartField{Symbol: "CCWS", Sort: "text", Plain: "coupling on the workpiece side, by its code, as H32; never derived from a diameter"}
	endsField   = PartField{Symbol: "ends", Sort: "ends", Plain: "its two ends, gender and thread, as M:G 1/4, F:NPT 1/4"}
	passField   = PartField{Symbol: "coolant", Sort: "yes", Plain: "coolant goes through it"}
)

// partFields are the values of each kind, in the order a person is asked for them.
var partFields = map[string][]PartField{
	string(stack.Holder): {
		{Symbol: "interface", Sort: "text", Plain: "turret seat, system and size, as VDI50"}, {Symbol: "DCONWS", Sort: "size"}, {Symbol: "LSC", Sort: "size"},
		{Symbol: "clamp", Sort: "choice", Choices: []string{"split", "screws"}, Plain: "how its bore closes"},
		{Symbol: "coolant", Sort: "choice", Choices: []string{"through", "none"}, Plain: "whether its bore gets coolant"}, ratedField, massField, torqueField,
	},
	string(stack.Sleeve): {
		{Symbol: "DCONMS", Sort: "size"}, {Symbol: "DCONWS", Sort: "size"}, {Symbol: "LSC", Sort: "size"},
		{Symbol: "type", Sort: "choice", Choices: []string{"split", "solid"}, Plain: "split or solid"},
		{Symbol: "for_damped", Sort: "yes", Plain: "made to grip a damped bar all round"}, {Symbol: "sealed", Sort: "yes", Plain: "keeps coolant in"},
		{Symbol: "index", Sort: "choice", Choices: []string{"plunger", "scribe", "none"}, Plain: "aid for centre height"}, ratedField, massField,
	},
	string(stack.Bar): {
		{Symbol: "DCONMS", Sort: "size"},
		{Symbol: "construction", Sort: "choice", Choices: []string{"steel", "heavy_metal", "carbide", "damped_steel", "damped_carbide"}, Plain: "what the shank is made of"},
		{Symbol: "LF", Sort: "size", Tells: true}, {Symbol: "OAL", Sort: "size"}, {Symbol: "OHX", Sort: "size"}, {Symbol: "OHN", Sort: "size"},
		workEnd, machineEnd, seatField, handField, dminField, kaprField, psirField, shapeField, clearField, circleField,
		{Symbol: "MTP", Sort: "text", Tells: true},
		{Symbol: "coolant", Sort: "yes", Plain: "has a bore for coolant"}, {Symbol: "coolant_in", Sort: "ends", Plain: "where coolant enters: bore, or gender and thread"},
		{Symbol: "flat", Sort: "yes", Plain: "has a ground flat for screws"}, {Symbol: "hollow", Sort: "size", Plain: "maker's inside bore of a hollow shank"}, ratedField, massField, torqueField,
	},
	string(stack.Head): {
		machineEnd, seatField, handField, dminField, {Symbol: "LF", Sort: "size"}, kaprField, psirField, shapeField, clearField, circleField,
		{Symbol: "MTP", Sort: "text", Tells: true}, passField, ratedField, massField, torqueField,
	},
	string(stack.Insert): {
		seatField, {Symbol: "RE", Sort: "size"}, {Symbol: "edges", Sort: "count", Plain: "edges that can be used, both faces together"},
		shapeField, {Symbol: "EPSR", Sort: "number", Unit: "°", Tells: true}, clearField, circleField, {Symbol: "L", Sort: "size", Tells: true}, {Symbol: "S", Sort: "size", Tells: true}, massField,
	},
	string(stack.Hose):    {endsField, {Symbol: "LEN", Sort: "size", Plain: "length"}, ratedField, massField},
	string(stack.Fitting): {endsField, ratedField, massField},
	string(stack.Adapter): {
		{Symbol: "interface", Sort: "text", Plain: "turret seat, system and size, as VDI50"}, machineEnd, workEnd,
		{Symbol: "LF", Sort: "size"}, dminField, endsField, passField, ratedField, massField,
	},
	string(stack.Spare): {massField},
}

// PartKinds are the kinds of part in the order of the stack.
func PartKinds() []string {
	return []string{"holder", "sleeve", "bar", "head", "insert", "hose", "fitting", "adapter", "spare"}
}

// PartFields are the values a kind of part can have; nil for a kind that is not known.
func PartFields(kind string) []PartField { return slices.Clone(partFields[kind]) }

// tells reports a value that only describes: the stack room has no column for it.
func tells(kind, symbol string) bool {
	for _, f := range partFields[kind] {
		if f.Symbol == symbol {
			return f.Tells
		}
	}
	return false
}

// A Told is what a designation says of a part. Asks are the questions it leaves to a person.
type Told struct {
	Canonical string
	Facts     []Fact // of origin "designation", by symbol
	Edges     int    // of an insert; 0: the name does not say
	Asks      []Ask
	Notes     []string
	Positions []standard.Position
}

// An Ask is a value that the name leaves open, with the question.
type Ask struct{ Symbol, Question string }

func (t *Told) fact(symbol string, v any, entered string) {
	b, err := json.Marshal(v)
	if err != nil {
		return // numbers and texts of the standards room always can
	}
	t.Facts = append(t.Facts, Fact{Symbol: symbol, Value: string(b), Entered: entered, Origin: ByDesignation})
}

func (t *Told) mm(symbol string, v float64) {
	if v > 0 {
		t.fact(symbol, v, num(v)+" mm")
	}
}

func (t *Told) ask(symbol, question string) { t.Asks = append(t.Asks, Ask{symbol, question}) }

func num(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// FromDesignation reads what a name says of a part of that kind. A name that its reader
// refuses is a *standard.Refusal for inserts, and for bars that look like one; a kind or a
// name without a reader says nothing, which is not an error.
func FromDesignation(kind, designation string) (Told, error) {
	t := Told{}
	if strings.TrimSpace(designation) == "" {
		return t, nil
	}
	var err error
	switch stack.Kind(kind) {
	case stack.Insert:
		err = t.insert(designation)
	case stack.Bar:
		err = t.bar(designation)
	case stack.Head:
		t.head(designation)
	case stack.Holder, stack.Adapter:
		t.seat(designation)
	case stack.Hose, stack.Fitting:
		t.ends(designation)
	case stack.Sleeve:
		err = t.sleeve(designation)
	}
	slices.SortFunc(t.Facts, func(a, b Fact) int { return cmp.Compare(a.Symbol, b.Symbol) })
	return t, err
}

func (t *Told) insert(text string) error {
	in, reading, err := standard.ReadInsert(text)
	if err != nil {
		return err
	}
	t.Canonical, t.Edges, t.Positions, t.Notes = in.String(), in.Edges(), in.Positions(), reading.Notes()
	t.fact("seat", in.Seat(), in.Seat())
	if in.RE > 0 {
		t.mm("RE", in.RE)
	}
	t.fact("SC", string(in.Shape), string(in.Shape))
	if a := in.EPSR(); a > 0 {
		t.fact("EPSR", a, num(a)+"°")
	}
	if an, ok := in.AN(); ok {
		t.fact("AN", an, num(an)+"°")
	} else {
		t.ask("AN", "the clearance letter O needs a drawing: which angle has it?")
	}
	t.mm("IC", in.IC)
	t.mm("L", in.L)
	t.mm("S", in.S)
	if t.Edges == 0 {
		t.ask("edges", "the name does not fix how many edges can be used: how many do you count?")
	}
	return nil
}

func (t *Told) bar(text string) error {
	b, reading, err := standard.ReadBar(text)
	if err != nil {
		inch, err2 := standard.ParseInchBar(text)
		if err2 != nil {
			// A bar with a bolt-on head has a maker's name; only what begins like a name of the
			// standard is refused for its letters.
			if r, ok := errors.AsType[*standard.Refusal](err); ok && r.Code == standard.CodeMeaning {
				return err
			}
			t.Notes = []string{"the name is not one of ISO 6261, so it says nothing about the sizes"}
			return nil
		}
		b = inch
	}
	t.Canonical, t.Positions, t.Notes = b.String(), b.Positions(), reading.Notes()
	entered := num(b.Diameter) + " mm"
	if s, err := standard.Inches(b.Diameter / 25.4); err == nil && b.Inch {
		entered = s.String()
	}
	t.fact("DCONMS", b.Diameter, entered)
	construction := map[string]string{"steel": "steel", "carbide": "carbide", "heavy metal": "heavy_metal"}[b.Material()]
	if b.Damped() && (construction == "steel" || construction == "carbide") {
		construction = "damped_" + construction
	}
	if construction != "" {
		t.fact("construction", construction, construction)
	}
	t.fact("coolant", b.CoolantBore(), yes(b.CoolantBore()))
	switch lf, ok := b.LF(); {
	case !ok:
		t.ask("LF", "the length letter "+string(b.Length)+" means a special length: measure it, with its unit")
	case b.Inch:
		t.ask("LF", "lengths behind the letters of inch bars are not certain: measure it, with its unit")
	default:
		t.mm("LF", lf)
		t.mm("OAL", lf)
	}
	t.cutting(b)
	if b.Pocket().Thickness == "" {
		t.ask("seat", fmt.Sprintf("the name of a bar does not say the thickness: inserts %s fit; write the seat in full, as %s", b.Pocket(), exampleSeat(b.Pocket())))
	}
	return nil
}

// cutting is what positions 5 to 9 of a bar's name say.
func (t *Told) cutting(b standard.Bar) {
	t.fact("HAND", string(b.Hand), string(b.Hand))
	t.fact("SC", string(b.Shape), string(b.Shape))
	t.fact("MTP", string(b.Clamping), string(b.Clamping))
	if k, ok := b.KAPR(); ok {
		t.fact("KAPR", k, num(k)+"°")
		t.fact("PSIR", 90-k, num(90-k)+"°")
	} else {
		t.ask("KAPR", "the style letter "+string(b.Style)+" means a special entering angle: read it off the drawing")
	}
	for _, p := range b.Positions() {
		if p.Symbol == "AN" && strings.HasPrefix(p.Meaning, "insert clearance ") {
			deg := strings.TrimSuffix(strings.TrimPrefix(p.Meaning, "insert clearance "), "°")
			if v, err := strconv.ParseFloat(deg, 64); err == nil {
				t.fact("AN", v, num(v)+"°")
			}
		}
	}
	if slices.Contains(b.Asks(), "AN") {
		t.ask("AN", "the clearance letter O needs a drawing: which angle has the insert?")
	}
	t.mm("IC", b.IC())
}

// exampleSeat is how a seat is written, with the thickness usual for the size.
func exampleSeat(p standard.Pocket) string {
	thick := map[string]string{"06": "02", "09": "T3", "11": "T3", "12": "04", "15": "06", "16": "04"}[p.Size]
	if thick == "" {
		thick = "04"
	}
	hole := "MT"
	if p.Clearance == 'N' {
		hole = "MG"
	}
	return string([]byte{p.Shape, p.Clearance}) + hole + p.Size + thick
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// head reads the name of a bolt-on head: the coupling if it is named, and positions 4 to 9 of
// a bar after it, as H25-SCLCR09.
func (t *Told) head(text string) {
	coupling, rest, ok := strings.Cut(strings.ToUpper(strings.TrimSpace(text)), "-")
	if !ok {
		coupling, rest = "", coupling
	}
	b, err := standard.ParseBar("A25T-" + rest)
	if err != nil {
		t.Notes = []string{"the name is not one the standards room reads, so it says nothing about the sizes"}
		return
	}
	t.Canonical = strings.TrimPrefix(coupling+"-"+strings.TrimPrefix(b.String(), "A25T-"), "-")
	t.Positions = b.Positions()[3:]
	if coupling != "" {
		t.fact("CCMS", coupling, coupling)
	} else {
		t.ask("CCMS", "which coupling does it bolt to? A coupling is named, never derived from a diameter")
	}
	t.cutting(b)
	t.ask("seat", fmt.Sprintf("inserts %s fit; write the seat in full, as %s", b.Pocket(), exampleSeat(b.Pocket())))
}

// seat reads the turret seat that begins the name of a holder.
func (t *Told) seat(text string) {
	words := strings.Fields(text)
	for n := min(2, len(words)); n > 0; n-- {
		if sys, err := standard.ParseSeatSystem(strings.Join(words[:n], " ")); err == nil {
			code := strings.ReplaceAll(sys.Code(), " ", "")
			t.Canonical = code
			t.fact("interface", code, sys.Code())
			return
		}
	}
	t.Notes = []string{"the name does not begin with a turret seat, so it says nothing about the sizes"}
}

// ends reads a hose or fitting named by its threads: M:G 1/4 x F:NPT 1/4.
func (t *Told) ends(text string) {
	var names []string
	for _, part := range strings.FieldsFunc(strings.ReplaceAll(strings.ReplaceAll(text, " x ", "|"), " to ", "|"), func(r rune) bool { return r == '|' || r == '×' }) {
		if p, err := standard.ParsePort(part); err == nil {
			names = append(names, p.String())
		} else if s, err := standard.ParseSize(part); err == nil {
			t.fact("LEN", s.MM(), s.String())
		}
	}
	if len(names) == 2 {
		t.Canonical = strings.Join(names, " x ")
		t.fact("ends", names, strings.Join(names, ", "))
		return
	}
	t.Facts = nil
	t.Notes = []string{"the name does not spell two threads, as M:G 1/4 x F:NPT 1/4, so it says nothing about the ends"}
}

// sleeve reads "50/32 mm", `2" x 1-1/4"`, "40 mm / 1 in x 104 mm": outside, inside, length.
func (t *Told) sleeve(text string) error {
	s := strings.NewReplacer(" x ", "|", "×", "|", " X ", "|", " / ", "|").Replace(text)
	if !strings.Contains(s, "|") || strings.Count(s, "/") == 1 && !strings.Contains(s, `"`) && !strings.Contains(s, "-") {
		s = strings.Replace(s, "/", "|", 1)
	}
	parts := strings.Split(s, "|")
	if len(parts) < 2 || len(parts) > 3 {
		t.Notes = []string{"the name does not spell two diameters, as 50 mm x 32 mm, so it says nothing about the sizes"}
		return nil
	}
	var sizes []standard.Size
	unit := standard.Unit(0) // one unit at the end holds for all: 50 x 32 mm
	for i := len(parts) - 1; i >= 0; i-- {
		v, err := standard.ParseSize(parts[i])
		if r, ok := errors.AsType[*standard.Refusal](err); ok && r.Code == standard.CodeUnit && unit != 0 {
			v, err = standard.ParseSizeIn(parts[i], unit)
		}
		if r, ok := errors.AsType[*standard.Refusal](err); ok && r.Code == standard.CodeUnit {
			t.ask("DCONMS", "the name gives "+strings.TrimSpace(text)+" without a unit: millimetres or inches? Write the sizes with their unit")
			return nil
		} else if err != nil {
			t.Notes = []string{"the name does not spell two diameters, as 50 mm x 32 mm, so it says nothing about the sizes"}
			return nil
		}
		unit = v.Unit()
		sizes = append([]standard.Size{v}, sizes...)
	}
	t.Canonical = sizes[0].String() + " x " + sizes[1].String()
	t.fact("DCONMS", sizes[0].MM(), sizes[0].String())
	t.fact("DCONWS", sizes[1].MM(), sizes[1].String())
	if len(sizes) == 3 {
		t.fact("LSC", sizes[2].MM(), sizes[2].String())
	}
	return nil
}
