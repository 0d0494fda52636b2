package standard

import (
	"fmt"
	"strings"
)

// What two threads do to one another. "mates" never means that the thread alone seals.
const (
	MatesYes    = "mates"
	MatesNo     = "does_not_mate"
	MatesNoSeal = "mates_but_does_not_seal"

	byComparison = "comparison of threads.csv"
)

// A Mating is the answer for a male and a female thread.
type Mating struct {
	Result  string // MatesYes, MatesNo or MatesNoSeal
	Seal    string // what must be added to make it tight; empty if nothing does
	Caution bool   // a person must look before pressure comes on
	Reason  string
	Basis   string  // the standard or page behind the reason
	Adapter Adapter // what would join the two; zero if they mate
}

// Screws reports whether the two threads screw together, tight or not.
func (m Mating) Screws() bool { return m.Result != MatesNo }

// Tight reports whether the joint holds coolant once Seal is added.
func (m Mating) Tight() bool { return m.Result == MatesYes }

// An Adapter is a fitting with two ends that would join two ports.
type Adapter struct{ A, B Port }

// IsZero reports that no adapter is needed, or that none can be named.
func (a Adapter) IsZero() bool { return a == Adapter{} }

// String names the adapter as one asks for it: "adapter male G 1/4 to female NPT 1/4".
func (a Adapter) String() string {
	if a.IsZero() {
		return ""
	}
	return fmt.Sprintf("adapter %s %s to %s %s", a.A.Gender, a.A.Thread.ID, a.B.Gender, a.B.Thread.ID)
}

// AdapterFor returns the fitting whose one end mates with a and whose other end mates
// with b, whatever the genders of a and b.
func AdapterFor(a, b Port) Adapter { return Adapter{mateOf(a), mateOf(b)} }

// mateOf is the port that screws into p and seals.
func mateOf(p Port) Port {
	other := Male
	if p.Gender == Male {
		other = Female
	}
	th := p.Thread
	if o := th.only(); o != 0 && o != other {
		th = otherGender(th)
	}
	return Port{other, th}
}

// otherGender is the thread made for one that exists with one gender only: Rc for R, R
// for Rc and Rp, the parallel metric thread for the taper one. Zero if there is none.
func otherGender(th Thread) Thread {
	_, size, _ := strings.Cut(th.ID, " ")
	switch th.Family {
	case "R":
		return threads().byID["Rc "+size]
	case "Rc", "Rp":
		return threads().byID["R "+size]
	case "M taper":
		if t, err := ParseThread(strings.TrimSuffix(th.ID, " taper")); err == nil {
			return t
		}
	}
	return Thread{}
}

// Mates says whether a male port screws into a female one and what makes it tight. The
// order of the arguments does not matter if their genders differ; two ports of one gender
// never mate. When the joint is not tight, Adapter names the fitting that would make it
// so. Equal numbers are no proof: family, diameter, pitch, angle, taper and the form of
// the seal are compared.
func Mates(a, b Port) Mating {
	if a.Gender == Female && b.Gender == Male {
		a, b = b, a
	}
	var m Mating
	switch {
	case a.Gender != Male || b.Gender != Female:
		m = Mating{Result: MatesNo, Reason: fmt.Sprintf("both ends are %s", a.Gender), Basis: "two threads of one gender"}
	default:
		m = pair(a.Thread, b.Thread)
	}
	if m.Result != MatesYes {
		m.Adapter = AdapterFor(b, a)
	}
	return m
}

// pair is the rule for a male m in a female f.
func pair(m, f Thread) Mating {
	if m.ID == f.ID {
		return alike(m)
	}
	sameSize := m.Size == f.Size
	switch fam := m.Family + " in " + f.Family; {
	case fam == "R in Rc" && sameSize:
		return Mating{Result: MatesYes, Seal: "sealant on the thread", Reason: "taper in taper", Basis: "ISO 7-1 clause 1"}
	case fam == "R in Rp" && sameSize:
		return Mating{Result: MatesYes, Seal: "sealant on the thread", Reason: "taper male in parallel jointing female is allowed", Basis: "ISO 7-1 clause 1"}
	case fam == "R in G" && sameSize:
		return Mating{
			Result: MatesYes, Seal: "sealant on the thread", Caution: true,
			Reason: "widespread practice, but G female has wider limits than Rp and may be too shallow or bottom out",
			Basis:  "ISO 7-1 names Rp and Rc only; practice confirmed on two public technical pages",
		}
	case fam == "G in Rc" && sameSize:
		return Mating{
			Result: MatesNoSeal, Caution: true,
			Reason: "a parallel male is not a jointing thread and jams after a few turns in a taper", Basis: "ISO 7-1 clause 1 note 1",
		}
	case fam == "G in Rp" && sameSize:
		return Mating{
			Result: MatesNoSeal, Seal: "only with a washer on a flat port face", Caution: true,
			Reason: "parallel in parallel: no seal on the thread", Basis: "ISO 7-1 clause 1 note 1",
		}
	case (fam == "NPTF in NPT" || fam == "NPT in NPTF") && sameSize:
		return Mating{
			Result: MatesYes, Seal: "sealant on the thread", Caution: true,
			Reason: "same diameter and pitch, but the dry seal is lost", Basis: "from memory",
		}
	case fam == "M taper in M" && sameSize && portForm(f) == "":
		return Mating{
			Result: MatesYes, Seal: "metal to metal over a short length", Caution: true,
			Reason: "the taper male is made for the parallel female; sealant for larger sizes", Basis: "confirmed on one public technical page",
		}
	case fam == "M in M" && sameSize:
		return portForms(m, f)
	case unified(m) && unified(f) && sameSize:
		return seats(m, f)
	}
	return Mating{Result: MatesNo, Reason: difference(m, f), Basis: byComparison}
}

// alike is the answer for one thread in itself.
func alike(t Thread) Mating {
	switch t.Family {
	case "G":
		return Mating{Result: MatesYes, Seal: "washer or O-ring", Reason: "same parallel thread; the thread itself never seals", Basis: "ISO 228-1 scope"}
	case "NPT":
		return Mating{Result: MatesYes, Seal: "sealant on the thread", Reason: "same taper thread", Basis: "ASME B1.20.1"}
	case "NPTF":
		return Mating{Result: MatesYes, Seal: "dry seal", Reason: "crests crush", Basis: "confirmed on one public technical page"}
	case "UNF 37 deg flare":
		return Mating{Result: MatesYes, Seal: "37 degree cone", Reason: "same thread and cone", Basis: "SAE J514"}
	case "UNF 45 deg flare":
		return Mating{Result: MatesYes, Seal: "45 degree cone", Reason: "same thread and cone", Basis: "SAE J512"}
	case "UNF O-ring boss":
		return Mating{Result: MatesYes, Seal: "O-ring of the stud", Reason: "same thread and port form", Basis: "SAE J1926-1"}
	case "M":
		switch portForm(t) {
		case "ISO 6149":
			return Mating{Result: MatesYes, Seal: "O-ring of the stud", Reason: "same thread and port form", Basis: "ISO 6149-1"}
		case "ISO 9974":
			return Mating{Result: MatesYes, Seal: "washer or bonded seal", Reason: "same thread and port form", Basis: "ISO 9974-1"}
		}
		m := Mating{Result: MatesYes, Seal: "washer or O-ring", Reason: "same thread and port form", Basis: byComparison}
		if t.MajorMM < 10 {
			m.Reason = "same thread"
		}
		if p, ok := coarse[t.MajorMM]; ok && p == t.PitchMM {
			m.Seal, m.Reason = "washer", "same thread" // no port form is made for coarse threads
		}
		return m
	}
	// R, Rc, Rp and the taper metric thread exist with one gender only.
	return Mating{Result: MatesNo, Reason: fmt.Sprintf("%s is a %s thread only", t.ID, t.only()), Basis: t.Standard}
}

func portForm(t Thread) string {
	for _, f := range []string{"ISO 6149", "ISO 9974"} {
		if strings.HasSuffix(t.ID, f) {
			return f
		}
	}
	return ""
}

// portForms: one metric thread, other port forms.
func portForms(m, f Thread) Mating {
	a := Mating{Result: MatesNoSeal, Caution: true, Basis: "ISO 6149-1 against ISO 9974-1, confirmed on one public technical page"}
	switch {
	case portForm(m) == "":
		a.Reason = fmt.Sprintf("same thread, but the port form of the male %s is not stated: it must be that of %s", m.ID, portForm(f))
	case portForm(f) == "":
		a.Reason = fmt.Sprintf("same thread, but the port form of the female %s is not stated: it must be that of %s", f.ID, portForm(m))
	case portForm(m) == "ISO 6149":
		a.Reason = "same thread, but the O-ring stud needs the chamfer of its own port form"
	default:
		a.Reason = "same thread, but the washer of the stud needs the flat face of its own port form"
	}
	return a
}

func unified(t Thread) bool { return strings.HasPrefix(t.Family, "UNF") }

// seats: one unified thread, other seals.
func seats(m, f Thread) Mating {
	thread, _, _ := strings.Cut(m.Size, " ")
	a := Mating{Result: MatesNoSeal, Caution: true, Basis: byComparison}
	cone := func(t Thread) string {
		if strings.Contains(t.Family, "45") {
			return "45"
		}
		return "37"
	}
	switch boss := "UNF O-ring boss"; {
	case f.Family == boss:
		a.Reason = thread + " both, but the flare has no O-ring"
	case m.Family == boss:
		a.Reason = thread + " both, but the O-ring stud has no cone"
	default:
		a.Reason = fmt.Sprintf("%s both, but %s against %s degree cone: line contact leaks", thread, cone(m), cone(f))
		a.Basis = "confirmed on one public technical page"
	}
	return a
}

func pipe55(t Thread) bool { return t.AngleDeg == 55 }
func pipe60(t Thread) bool { return t.Family == "NPT" || t.Family == "NPTF" }

// difference says in one sentence why a male m does not go into a female f, the way one
// shows it with callipers and a pitch gauge.
func difference(m, f Thread) string {
	form := func(t Thread) string {
		if t.Taper {
			return "taper"
		}
		return "parallel"
	}
	tpi := func() string {
		if m.TPI == f.TPI {
			return fmt.Sprintf("%g threads per inch both", m.TPI)
		}
		return fmt.Sprintf("%g against %g threads per inch", m.TPI, f.TPI)
	}
	metric := func(t Thread) bool { return t.Family == "M" || t.Family == "M taper" }
	switch {
	case pipe55(m) && pipe60(f) || pipe60(m) && pipe55(f):
		angles := fmt.Sprintf("%g against %g degrees", m.AngleDeg, f.AngleDeg)
		switch {
		case m.TPI == f.TPI && m.Taper && f.Taper:
			return fmt.Sprintf("same taper and %g threads per inch, but %s: starts to turn in and leaks", m.TPI, angles)
		case m.TPI == f.TPI:
			return fmt.Sprintf("%s, but %s and %s against %s", tpi(), angles, form(m), form(f))
		case !m.Taper && f.Taper && m.Size == f.Size:
			return tpi()
		case m.Taper && f.Taper && pipe60(m):
			return fmt.Sprintf("%s and %s, although both are taper", tpi(), angles)
		}
		return fmt.Sprintf("%s and %s", tpi(), angles)
	case pipe55(m) && pipe55(f) || pipe60(m) && pipe60(f):
		switch {
		case m.Size == f.Size:
			return "same size, but " + m.Family + " male and " + f.Family + " female are not made for each other"
		case m.Family == f.Family:
			return tpi() + ", other diameter"
		}
		return "other size; " + tpi()
	case metric(m) && metric(f):
		switch {
		case m.MajorMM > f.MajorMM:
			return "other diameter: does not enter"
		case m.MajorMM < f.MajorMM:
			return "other diameter: drops in without holding"
		case m.PitchMM == f.PitchMM:
			return "taper male in a port made for a face seal: the port form does not allow it"
		}
		if c := coarse[m.MajorMM]; c == f.PitchMM {
			return "fine against coarse pitch"
		} else if c == m.PitchMM {
			return "coarse against fine pitch"
		}
		return fmt.Sprintf("pitch %.3f against %.3f mm", m.PitchMM, f.PitchMM)
	case unified(m) && unified(f):
		a, _, _ := strings.Cut(m.Size, " ")
		b, _, _ := strings.Cut(f.Size, " ")
		return a + " against " + b
	case m.TPI != 0 && m.TPI == f.TPI && m.Taper != f.Taper:
		return fmt.Sprintf("%s, but %s against %s and %.1f against %.1f mm", tpi(), form(m), form(f), m.MajorMM, f.MajorMM)
	}
	why := fmt.Sprintf("%.3f against %.3f mm and pitch %.3f against %.3f", m.MajorMM, f.MajorMM, m.PitchMM, f.PitchMM)
	if metric(m) && pipe55(f) || pipe55(m) && metric(f) {
		switch gap := m.MajorMM - f.MajorMM; {
		case gap > 0 && gap < 0.3:
			why += ": look alike, start to turn in"
		case gap < 0 && gap > -0.3:
			why += ": loose and then jams"
		}
	}
	return why
}
