package standard

import (
	"fmt"
	"strings"
	"sync"
)

// A Symbol is a symbol of ISO 13399 with our own plain definition, to stand as help beside
// every field that uses one.
type Symbol struct {
	Symbol, Name, Unit string
	AppliesTo          []string // bar, head, sleeve, holder, insert, coolant, all
	Definition         string   // plain words
	Confirmed          bool     // read in a public list; else from memory
	Remark             string
}

var symbols = sync.OnceValue(func() map[string]Symbol {
	out := map[string]Symbol{}
	for _, r := range table("iso13399_symbols") {
		out[r["symbol"]] = Symbol{
			r["symbol"], r["name"], r["unit"], strings.Fields(r["applies_to"]), r["plain_definition"], r["confirmed"] == "yes", r["remark"],
		}
	}
	return out
})

// SymbolOf explains a symbol of ISO 13399, case ignored; false if it is not in the table.
func SymbolOf(symbol string) (Symbol, bool) {
	s, ok := symbols()[strings.ToUpper(strings.TrimSpace(symbol))]
	return s, ok
}

// Symbols returns all symbols in the order of the table.
func Symbols() []Symbol {
	var out []Symbol
	for _, r := range table("iso13399_symbols") {
		out = append(out, symbols()[r["symbol"]])
	}
	return out
}

// A MaterialGroup is a group of ISO 513: what is cut.
type MaterialGroup struct {
	Letter                     byte // P M K N S H
	Colour, Short, Description string
	Range                      string // application range, "P01 to P50"
	Status                     string
}

// MaterialGroups returns the six groups of ISO 513 in the order of the standard.
func MaterialGroups() []MaterialGroup {
	var out []MaterialGroup
	for _, r := range table("iso513") {
		out = append(out, MaterialGroup{r["group"][0], r["colour"], r["short"], r["description"], r["application_range"], r["status"]})
	}
	return out
}

// ParseMaterialGroup reads a group or an application class of ISO 513: "P", "p25", "K 20".
// class is 0 for a group alone, else 1 to 50 and within the range of its group. Else a
// *[Refusal].
func ParseMaterialGroup(text string) (g MaterialGroup, class int, err error) {
	var c clean
	if ref := c.tidy("material", text); ref != nil {
		return g, 0, ref
	}
	t := strings.ReplaceAll(c.string(), " ", "")
	for _, m := range MaterialGroups() {
		if t[0] != m.Letter {
			continue
		}
		n := t[1:]
		if n == "" {
			return m, 0, nil
		}
		if len(n) == 2 && allDigits(n) {
			var low, high int
			if _, err := fmt.Sscanf(m.Range, string(rune(m.Letter))+"%02d to "+string(rune(m.Letter))+"%02d", &low, &high); err != nil {
				panic(err)
			}
			if class = int(atoi(n)); class >= low && class <= high {
				return m, class, nil
			}
			return g, 0, refusal("material", text, CodeMeaning, "the range of this group is "+m.Range)
		}
		break
	}
	return g, 0, refusal("material", text, CodeMeaning, "a group of ISO 513 is P, M, K, N, S or H, with two digits at most: P25")
}

// CuttingMaterials returns the symbols of ISO 513 for what cuts (HC is coated carbide),
// all from memory.
func CuttingMaterials() map[string]string {
	out := map[string]string{}
	for _, r := range table("iso513_cutting_materials") {
		out[r["symbol"]] = r["meaning"]
	}
	return out
}

// A WearCriterion is an end of life by ISO 3685: which wear, how much, when it counts.
type WearCriterion struct {
	ToolMaterial, Criterion string
	Limit                   float64 // in Unit; 0: no number, or by feed
	ByFeed                  bool    // crater depth: 0.06 + 0.3 f
	Unit, Meaning, When     string
	Status                  string
}

// WearCriteria returns the criteria for a tool material (high-speed steel, cemented
// carbide, ceramic); all of them for the empty text. The limits are from memory.
func WearCriteria(material string) []WearCriterion {
	var out []WearCriterion
	for _, r := range table("iso3685") {
		if material != "" && r["tool_material"] != material {
			continue
		}
		w := WearCriterion{
			ToolMaterial: r["tool_material"], Criterion: r["criterion"], Unit: r["unit"], Meaning: r["meaning"], When: r["when"], Status: r["status"],
		}
		if strings.Contains(r["limit"], "f") {
			w.ByFeed = true
		} else {
			w.Limit = num(r["limit"])
		}
		out = append(out, w)
	}
	return out
}

// CraterLimit returns the limit of crater depth KT in mm for a feed in mm per revolution:
// 0.06 + 0.3 f. The feed must be over 0 and at most 5. Else a *[Refusal].
//
// Source: ISO 3685:1993 clause 8.2; the formula is from memory.
func CraterLimit(feed float64) (float64, error) {
	if !(feed > 0 && feed <= 5) {
		return 0, refusal("feed", fmt.Sprint(feed), CodeMeaning, "a feed is over 0 and at most 5 mm per revolution")
	}
	return 0.06 + 0.3*feed, nil
}

// A ShankSystem is a size of a machine-side interface: turret seats, tapers, shanks. Two
// parts fit only if system and size are the same; a bare number says nothing.
type ShankSystem struct {
	System, Standard string
	Size             string  // "40", "A63", empty for a bolt-on block
	NominalMM        float64 // 0: none
	ShankMM          float64 // 0: no cylindrical shank
	FlangeMM         float64
	GaugeMM          float64
	Remark, Status   string
}

// Code is how one writes the seat: "VDI 40", "PSC 63", "HSK-A 63", "SK 40", "BT 40", "ISO
// 26622 63".
func (s ShankSystem) Code() string {
	word := seatWord(s.System)
	size := s.Size
	if strings.HasPrefix(word, "HSK-") {
		size = strings.TrimLeft(size, "AT")
	}
	return strings.TrimSpace(word + " " + size)
}

// seatWord is the short word of the trade for a system.
func seatWord(system string) string {
	for _, w := range seatWords {
		if w.system == system {
			return w.word
		}
	}
	return system
}

var seatWords = []struct {
	system, word string
	also         []string // other spellings, upper case, without space
}{
	{"cylindrical shank with serration", "VDI", []string{"VDI", "DIN69880", "ISO10889"}},
	{"polygonal taper with flange", "PSC", []string{"PSC", "ISO26623"}},
	{"modular taper with ball track", "ISO 26622", []string{"ISO26622", "TS"}},
	{"hollow taper HSK form A", "HSK-A", []string{"HSK-A", "HSKA"}},
	{"hollow taper HSK form T", "HSK-T", []string{"HSK-T", "HSKT"}},
	{"7/24 taper form A/AD/AF (SK)", "SK", []string{"SK", "DIN69871", "ISO7388-1"}},
	{"7/24 taper form J (BT)", "BT", []string{"BT", "MAS403", "ISO7388-2"}},
	{"7/24 taper V-flange (CV)", "CV", []string{"CV", "CAT"}},
	{"base-mount turret", "BMT", []string{"BMT"}},
	{"square or rectangular shank", "SQ", []string{"SQ", "SQUARE"}},
	{"round boring-bar shank", "CYL", []string{"CYL", "ROUND"}},
}

// ShankSystems returns the table of machine-side interfaces.
func ShankSystems() []ShankSystem {
	var out []ShankSystem
	for _, r := range table("shank_systems") {
		out = append(out, ShankSystem{
			r["system"], r["standard"], r["size"], num(r["nominal_mm"]), num(r["shank_diameter_mm"]),
			num(r["flange_diameter_mm"]), num(r["gauge_diameter_mm"]), r["remark"], r["status"],
		})
	}
	return out
}

// ParseSeatSystem reads the seat of a machine: "VDI 40", "vdi40", "DIN 69880 40", "HSK-T
// 63", "HSK A63", "PSC50", "BMT 55", "BT40", "SK 40". A bare number is refused: 40 alone is
// six different seats. Else a *[Refusal].
func ParseSeatSystem(text string) (ShankSystem, error) {
	var c clean
	if ref := c.tidy("machine seat", text); ref != nil {
		return ShankSystem{}, ref
	}
	t := strings.ReplaceAll(c.string(), " ", "")
	t = strings.Replace(t, "HSK-", "HSK", 1)
	for _, w := range seatWords {
		for _, also := range w.also {
			size, ok := strings.CutPrefix(t, strings.ReplaceAll(also, "HSK-", "HSK"))
			if !ok {
				continue
			}
			size = strings.Trim(size, "-_/")
			if size == "" || !allDigits(size) {
				continue
			}
			var sizes []string
			for _, s := range ShankSystems() {
				if s.System != w.system {
					continue
				}
				if strings.TrimLeft(s.Size, "AT") == size {
					return s, nil
				}
				sizes = append(sizes, s.Code())
			}
			r := refusal("machine seat", text, CodeMeaning, fmt.Sprintf("no size %s in the tables of %s", size, w.word))
			r.Meant = sizes
			return ShankSystem{}, r
		}
	}
	r := refusal("machine seat", text, CodeForm, "write system and size, as in VDI 40, PSC 63, HSK-T 63 or BMT 55")
	if allDigits(t) && len(t) < 4 {
		r.Why = "a bare number is no seat: the same number means another seat in each system"
		for _, s := range ShankSystems() {
			if strings.TrimLeft(s.Size, "AT") == t {
				r.Meant = append(r.Meant, s.Code())
			}
		}
	}
	return ShankSystem{}, r
}

// Mates reports whether two machine-side interfaces are the same seat, and if not, why.
// Base-mount turrets of one number differ between makers, so they mate with a caution.
func (s ShankSystem) Mates(o ShankSystem) (ok bool, why string) {
	switch {
	case s.System != o.System:
		return false, fmt.Sprintf("%s and %s are different systems", s.Code(), o.Code())
	case s.Size != o.Size || s.Size == "":
		return false, fmt.Sprintf("%s and %s are different sizes", s.Code(), o.Code())
	case strings.HasPrefix(s.Standard, "no ISO standard"):
		return true, "the screw pattern differs between makers for the same number: compare the machine"
	}
	return true, ""
}
