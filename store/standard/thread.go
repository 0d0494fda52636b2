package standard

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// A Thread is a thread of a coolant line with its standard. The size of a pipe thread is
// a name, not a diameter: G 1/4 measures 13.157 mm.
type Thread struct {
	ID         string  // canonical: "G 1/4", "NPT 1/4", "M10x1", "JIC -6", "M12x1.5 ISO 6149"
	Standard   string  // ISO 228-1, ISO 7-1, ASME B1.20.1 ...
	Family     string  // G, R, Rc, Rp, NPT, NPTF, M, M taper, UNF 37 deg flare ...
	Size       string  // size within the family
	MajorMM    float64 // major diameter; taper: at the gauge plane; NPT: outside of the pipe
	TPI        float64 // threads per inch; 0 for metric threads
	PitchMM    float64
	AngleDeg   float64 // thread angle, 55 or 60
	Taper      bool
	TaperRatio string // "1:16" or empty
	SealsBy    string
	MatesWith  string
	Remark     string
	Status     string // how sure the row is, and from where
}

func (t Thread) String() string { return t.ID }

// A Gender is the side of a thread: 'M' outside, 'F' inside.
type Gender byte

// The two genders.
const (
	Male   Gender = 'M'
	Female Gender = 'F'
)

func (g Gender) String() string {
	switch g {
	case Male:
		return "male"
	case Female:
		return "female"
	}
	return ""
}

// A Port is one end of a coolant line: gender and thread.
type Port struct {
	Gender Gender
	Thread Thread
}

// String spells the port as the tables do: "F:G 1/4".
func (p Port) String() string { return string(rune(p.Gender)) + ":" + p.Thread.ID }

// only returns the gender a thread must have, or 0 if both exist.
func (t Thread) only() Gender {
	switch t.Family {
	case "R", "M taper":
		return Male
	case "Rc", "Rp":
		return Female
	}
	return 0
}

// Threads returns every thread of the tables, in their order; metric threads beyond them
// are read by rule.
func Threads() []Thread { return append([]Thread(nil), threads().list...) }

// ParsePort reads a gender and a thread: "M:G 1/4", "female NPT 1/4", "F: M10x1". A BSPT
// port is R if male and Rc if female. Else a *[Refusal].
func ParsePort(text string) (Port, error) {
	var c clean
	if ref := c.tidy("thread", text); ref != nil {
		return Port{}, ref
	}
	t := c.string()
	for _, g := range []struct {
		word   string
		gender Gender
	}{{"MALE", Male}, {"FEMALE", Female}, {"M:", Male}, {"F:", Female}} {
		rest, ok := strings.CutPrefix(t, g.word)
		if !ok || g.word[len(g.word)-1] != ':' && !strings.HasPrefix(rest, " ") && !strings.HasPrefix(rest, ":") {
			continue
		}
		th, err := parseThread(text, strings.Trim(rest, ": "), g.gender)
		if err != nil {
			return Port{}, err
		}
		if o := th.only(); o != 0 && o != g.gender {
			r := refusal("thread", text, CodeMeaning, fmt.Sprintf("%s is a %s thread only", th.ID, o))
			r.Meant = []string{string(rune(o)) + ":" + th.ID}
			if twin := otherGender(th); twin.ID != "" {
				r.Meant = append(r.Meant, string(rune(g.gender))+":"+twin.ID)
			}
			return Port{}, r
		}
		return Port{g.gender, th}, nil
	}
	r := refusal("thread", text, CodeForm, "gender missing: write M: (male, outside) or F: (female, inside) before the thread")
	if th, err := parseThread(text, t, 0); err == nil {
		r.Meant = []string{"M:" + th.ID, "F:" + th.ID}
	}
	return Port{}, r
}

// ParseThread reads the name of a thread: "G 1/4", "g1/4", `1/4" BSPP`, "1/4-18 NPT",
// "M10 x 1", "M8" (coarse), "JIC-6", "M12x1.5 DIN 3852". A UNF size without a word for its
// seal, and BSP without P or T, are refused with what they could be. Else a *[Refusal].
func ParseThread(text string) (Thread, error) {
	var c clean
	if ref := c.tidy("thread", text); ref != nil {
		return Thread{}, ref
	}
	return parseThread(text, c.string(), 0)
}

const pipeSize = `(\d{1,2}[- .]\d{1,2}/\d{1,2}|\d{1,2}/\d{1,2}|\d{1,2}) ?"?(?:[- ](\d{1,2}(?:\.5)?))?`

var (
	pipeFirst   = regexp.MustCompile(`^(G|RC|RP|R|NPTF|NPT|BSPP|BSPT|BSP|PF|PT) ?` + pipeSize + ` ?([AB])?$`)
	pipeLast    = regexp.MustCompile(`^` + pipeSize + ` ?(G|RC|RP|R|NPTF|NPT|BSPP|BSPT|BSP|PF|PT)(?: ?([AB]))?$`)
	metricName  = regexp.MustCompile(`^M ?(\d{1,3}(?:[.,]\d)?)(?: ?[X*] ?(\d(?:[.,]\d{1,3})?))?(?: ?-? ?[4-8][EFGH])?(?: ?-? ?(TAPER|TAPERED|CONICAL|KEG|DIN 158(?:-1)?|ISO ?6149(?:-[123])?|ISO ?9974(?:-[123])?|DIN ?3852(?:-1)?))?$`)
	dashFirst   = regexp.MustCompile(`^(JIC|ORB|SAE ?45) ?-? ?(\d{1,2})$`)
	dashLast    = regexp.MustCompile(`^-? ?(\d{1,2}) ?(JIC|ORB|SAE ?45)$`)
	unifiedName = regexp.MustCompile(`^(?:UNF? )?((?:\d[- ])?\d{1,2}/\d{1,2}) ?-? ?(\d{2}) ?(UNF|UNS|UN)?(?:-?2[AB])? ?(JIC|ORB|SAE ?45|37 ?DEG|45 ?DEG)?$`)
)

func parseThread(text, t string, gender Gender) (Thread, error) {
	no := func(code, why string, meant ...string) (Thread, error) {
		r := refusal("thread", text, code, why)
		r.Meant = meant
		return Thread{}, r
	}
	if m := pipeFirst.FindStringSubmatch(t); m != nil {
		return pipeThread(text, m[1], m[2], m[3], gender)
	}
	if m := pipeLast.FindStringSubmatch(t); m != nil {
		return pipeThread(text, m[3], m[1], m[2], gender)
	}
	if m := metricName.FindStringSubmatch(t); m != nil {
		return metricThread(text, m[1], m[2], m[3])
	}
	m := dashFirst.FindStringSubmatch(t)
	if m == nil {
		if m = dashLast.FindStringSubmatch(t); m != nil {
			m[1], m[2] = m[2], m[1]
		}
	}
	if m != nil {
		family := strings.ReplaceAll(m[1], " ", "")
		id := family + " -" + strings.TrimLeft(m[2], "0")
		if th, ok := threads().byID[id]; ok {
			return th, nil
		}
		return no(CodeMeaning, "no such dash size in the tables: "+id, sizesOf(family+" ")...)
	}
	if m := unifiedName.FindStringSubmatch(t); m != nil {
		size := strings.ReplaceAll(m[1], " ", "-") + "-" + m[2]
		var fit []string
		for _, th := range threads().list {
			if strings.HasPrefix(th.Size, size+" ") && (m[4] == "" || strings.HasPrefix(th.ID, sealWord(m[4]))) {
				fit = append(fit, th.ID)
			}
		}
		switch len(fit) {
		case 0:
			return no(CodeMeaning, size+" is in no table of coolant threads")
		case 1:
			return threads().byID[fit[0]], nil
		}
		return no(CodeMeaning, "the thread alone does not say how it seals: a cone of 37 degrees (JIC), of 45 degrees (SAE45) or an O-ring port (ORB)", fit...)
	}
	return no(CodeForm, "no thread name known here: write for example G 1/4, R 1/4, NPT 1/4, M10x1 or JIC -6")
}

func sealWord(w string) string {
	switch strings.ReplaceAll(w, " ", "") {
	case "ORB":
		return "ORB"
	case "SAE45", "45DEG":
		return "SAE45"
	}
	return "JIC"
}

// sizesOf lists the ids of a family, for a message.
func sizesOf(prefix string) []string {
	var out []string
	for _, th := range threads().list {
		if strings.HasPrefix(th.ID, prefix) && len(out) < 12 {
			out = append(out, th.ID)
		}
	}
	return out
}

func pipeThread(text, family, size, tpi string, gender Gender) (Thread, error) {
	no := func(why string, meant ...string) (Thread, error) {
		r := refusal("thread", text, CodeMeaning, why)
		r.Meant = meant
		return Thread{}, r
	}
	size = strings.NewReplacer(" ", "-", ".", "-").Replace(size)
	switch family {
	case "RC":
		family = "Rc"
	case "RP":
		family = "Rp"
	case "BSPP", "PF":
		family = "G"
	case "BSPT", "PT":
		switch gender {
		case Male:
			family = "R"
		case Female:
			family = "Rc"
		default:
			return no("the taper pipe thread has two names: R outside, Rc inside", "R "+size, "Rc "+size)
		}
	case "BSP":
		return no("parallel (G) or taper (R outside, Rc inside)? The name does not say", "G "+size, "R "+size, "Rc "+size)
	}
	th, ok := threads().byID[family+" "+size]
	if !ok {
		return no(fmt.Sprintf("no size %s in the tables of %s", size, family), sizesOf(family+" ")...)
	}
	if tpi != "" && tpi != strconv.FormatFloat(th.TPI, 'f', -1, 64) {
		return no(fmt.Sprintf("%s has %g threads per inch, not %s", th.ID, th.TPI, tpi), th.ID)
	}
	return th, nil
}

// coarse are the coarse pitches of ISO 261 in mm by nominal diameter; from memory but for
// those that are in the thread table.
var coarse = map[float64]float64{
	1: 0.25, 1.2: 0.25, 1.6: 0.35, 2: 0.4, 2.5: 0.45, 3: 0.5, 3.5: 0.6, 4: 0.7, 5: 0.8, 6: 1, 7: 1, 8: 1.25, 10: 1.5, 12: 1.75,
	14: 2, 16: 2, 18: 2.5, 20: 2.5, 22: 2.5, 24: 3, 27: 3, 30: 3.5, 33: 3.5, 36: 4, 39: 4, 42: 4.5, 45: 4.5, 48: 5, 52: 5,
	56: 5.5, 60: 5.5, 64: 6,
}

// metricThread reads a metric thread by rule: diameter of 1 to 100 mm, pitch coarse if
// none is written, else one of the fine pitches of ISO 261 below the coarse one.
func metricThread(text, diameter, pitch, form string) (Thread, error) {
	no := func(why string, meant ...string) (Thread, error) {
		r := refusal("thread", text, CodeMeaning, why)
		r.Meant = meant
		return Thread{}, r
	}
	d, errD := strconv.ParseFloat(strings.Replace(diameter, ",", ".", 1), 64)
	if errD != nil || d < 1 || d > 100 {
		return no("metric threads here are M1 to M100")
	}
	usual, hasCoarse := coarse[d]
	p := usual
	if pitch != "" {
		var err error
		if p, err = strconv.ParseFloat(strings.Replace(pitch, ",", ".", 1), 64); err != nil {
			return no("the pitch is no number")
		}
	} else if !hasCoarse {
		return no(fmt.Sprintf("M%g has no coarse pitch: write the pitch, as in M%gx1.5", d, d))
	}
	limit := usual
	if !hasCoarse {
		limit = math.Min(d/5, 6)
	}
	fine := p == 0.2 || p == 0.25 || p == 0.35 || p == 0.5 || p == 0.75 || p == 1 || p == 1.25 || p == 1.5 || p == 2 || p == 3 || p == 4 || p == 6
	if hasCoarse && p != usual && (!fine || p > limit) || !hasCoarse && (!fine || p > limit) {
		var meant []string
		if hasCoarse {
			meant = append(meant, fmt.Sprintf("M%gx%g", d, usual))
		}
		return no(fmt.Sprintf("%g is no pitch of M%g", p, d), meant...)
	}
	isCoarse := hasCoarse && p == usual
	name := fmt.Sprintf("M%gx%g", d, p)
	if isCoarse && d < 8 {
		name = fmt.Sprintf("M%g", d)
	}
	switch {
	case form == "":
	case strings.HasPrefix(form, "ISO6149"), strings.HasPrefix(form, "ISO 6149"):
		name += " ISO 6149"
	case strings.HasPrefix(form, "ISO9974"), strings.HasPrefix(form, "ISO 9974"), strings.HasPrefix(form, "DIN3852"), strings.HasPrefix(form, "DIN 3852"):
		name += " ISO 9974"
	default:
		name += " taper"
	}
	if th, ok := threads().byID[name]; ok {
		return th, nil
	}
	th := Thread{
		ID: name, Standard: "ISO 261 / ISO 724", Family: "M", Size: fmt.Sprintf("%gx%g", d, p), MajorMM: d, PitchMM: p,
		AngleDeg: 60, SealsBy: "washer, O-ring or bonded seal on the face; port form decides",
		MatesWith: name + " with the same port form", Remark: "fine pitch", Status: "by the rule of ISO 261, from memory",
	}
	switch {
	case strings.HasSuffix(name, " taper"):
		th.Standard, th.Family, th.Taper, th.TaperRatio = "DIN 158-1", "M taper", true, "1:16"
		th.SealsBy = "metal to metal over a short length, sealant for larger sizes"
		th.MatesWith = fmt.Sprintf("male only: M%gx%g female (parallel)", d, p)
		th.Remark = "often marked keg"
	case strings.HasSuffix(name, " ISO 6149"):
		th.Standard, th.SealsBy = "ISO 6149-1 / -2", "O-ring in a chamfer at the port mouth"
		th.MatesWith, th.Remark = name+" only", "port may be marked M or metric"
	case strings.HasSuffix(name, " ISO 9974"):
		th.Standard, th.SealsBy = "ISO 9974-1 / DIN 3852-1", "washer or bonded seal on the flat face"
		th.MatesWith, th.Remark = name+" only", "thread runs up to the port face"
	case isCoarse:
		th.Remark = "coarse pitch"
		if d < 8 {
			th.Size = fmt.Sprintf("%g", d)
		} else {
			th.SealsBy, th.MatesWith = "not a usual coolant port", fmt.Sprintf("M%g coarse", d)
		}
	}
	return th, nil
}
