package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"brasspeg/store/standard"
)

const decodeHelp = `brasspeg decode insert|bar|mates [TEXT…] [--json]

  decode insert "CNMG 120408-MF" "CCMT 32.51"   inserts, metric or inch
  decode bar "A25T-SCLCR 09"                    boring bars
  decode mates "NPT 1/4" "G 1/4"                does the male go into the female, and is it tight
Quote a name that has a space in it. Without texts, names are read from standard input, one
a line; for mates a pair a line, parted by a comma, a tab or |.
--json writes one object a line in input order. The exit status is 1 if anything was refused.
`

// decode reads designations: decode insert|bar|mates TEXT… [--json], flags anywhere. A
// refused name is answered like the others, with its error; the exit status is 0, 1 if
// anything was refused (after everything was answered), 2 if the command itself could not
// be read.
func decode(args []string, in io.Reader, out, errOut io.Writer) (exit int) {
	asJSON, plain := false, false
	var words []string
	for _, a := range args {
		switch {
		case plain:
			words = append(words, a)
		case a == "--":
			plain = true
		case a == "--json":
			asJSON = true
		case a == "-h" || a == "--help":
			fmt.Fprint(out, decodeHelp)
			return 0
		case strings.HasPrefix(a, "--"):
			fmt.Fprintf(errOut, "brasspeg decode: no flag %.40q; there is --json\n", a)
			return 2
		default:
			words = append(words, a)
		}
	}
	if len(words) == 0 {
		fmt.Fprint(errOut, decodeHelp)
		return 2
	}
	answer, ok := decoders[words[0]]
	if !ok {
		fmt.Fprintf(errOut, "brasspeg decode: %.40q is not read; there are insert, bar and mates\n", words[0])
		return 2
	}
	w := bufio.NewWriter(out)
	refused := false
	one := func(text string) error {
		a := answer(text)
		refused = refused || a.refused
		if asJSON {
			return a.writeJSON(w)
		}
		return a.writeText(w)
	}
	var err error
	switch texts := words[1:]; {
	case len(texts) == 0:
		err = eachLine(in, func(line string) error {
			if line == "" && !asJSON {
				return nil // a person's blank line; a program's keeps its place
			}
			return one(line)
		})
	case words[0] == "mates" && !slices.ContainsFunc(texts, isPair):
		if len(texts)%2 != 0 {
			fmt.Fprintln(errOut, "brasspeg decode mates: a male and a female thread, please: decode mates \"NPT 1/4\" \"G 1/4\"")
			return 2
		}
		for i := 0; i+1 < len(texts) && err == nil; i += 2 {
			err = one(texts[i] + "\t" + texts[i+1])
		}
	default:
		for _, t := range texts {
			if err = one(t); err != nil {
				break
			}
		}
	}
	if err == nil {
		err = w.Flush()
	}
	if err != nil {
		fmt.Fprintf(errOut, "brasspeg decode: %v\n", err)
		return 1
	}
	if refused {
		return 1
	}
	return 0
}

// maxLine is what is kept of a line of standard input; the readers refuse 512 bytes
// already, the rest only says how long the name was.
const maxLine = 1024

// eachLine calls f for each line of in, without its line end, cut after maxLine bytes.
func eachLine(in io.Reader, f func(string) error) error {
	r := bufio.NewReaderSize(in, 64<<10)
	for {
		var line []byte
		read := false
		for {
			part, err := r.ReadSlice('\n')
			read = read || len(part) > 0
			if room := maxLine - len(line); room > 0 {
				line = append(line, part[:min(room, len(part))]...)
			}
			if err == nil || errors.Is(err, io.EOF) {
				break
			}
			if !errors.Is(err, bufio.ErrBufferFull) {
				return err
			}
		}
		if !read {
			return nil
		}
		if err := f(string(bytes.TrimRight(line, "\r\n"))); err != nil {
			return err
		}
	}
}

// An answer is one object of the output: fields in order, and the lines for a person.
type answer struct {
	fields  []field
	text    string
	refused bool
}

type field struct {
	name  string
	value any
}

func (a *answer) add(name string, value any) { a.fields = append(a.fields, field{name, value}) }

// column adds a value as the reference tables hold it: a number if the column holds
// numbers, the empty text if it is absent.
func (a *answer) column(name, value string) {
	if value != "" && numeric(name) {
		a.add(name, json.Number(value))
		return
	}
	a.add(name, value)
}

// numeric names the columns that hold numbers. A code like 09 is text.
func numeric(column string) bool {
	switch column {
	case "usable_corners", "ansi_size", "ansi_thickness", "ansi_radius":
		return true
	}
	return strings.HasSuffix(column, "_mm") || strings.HasSuffix(column, "_deg")
}

func (a *answer) writeJSON(w io.Writer) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	b.WriteByte('{')
	for i, f := range a.fields {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:", f.name)
		if err := e.Encode(f.value); err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		b.Truncate(b.Len() - 1)
	}
	b.WriteString("}\n")
	_, err := w.Write(b.Bytes())
	return err
}

func (a *answer) writeText(w io.Writer) error {
	_, err := io.WriteString(w, a.text)
	return err
}

var decoders = map[string]func(text string) *answer{
	"insert": decodeInsert,
	"bar":    decodeBar,
	"mates":  decodeMates,
}

// refuse fills an answer with an error: which character, why, and what was likely meant.
func (a *answer) refuse(err error) *answer {
	a.refused = true
	a.add("error", err.Error())
	r := new(standard.Refusal)
	if errors.As(err, &r) {
		meant := r.Meant
		if meant == nil {
			meant = []string{}
		}
		a.add("status", r.Status)
		a.add("recommended", r.Status)
		a.add("code", r.Code)
		a.add("reason", r.Why)
		a.add("at", r.At)
		a.add("character", r.Char)
		a.add("meant", meant)
	}
	a.text = "refused  " + err.Error() + "\n\n"
	return a
}

func notes(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func decodeInsert(text string) *answer {
	a := new(answer)
	a.add("designation", text)
	a.add("text", text)
	in, rd, err := standard.ReadInsert(text)
	if err != nil {
		return a.refuse(err)
	}
	for _, name := range standard.InsertColumns {
		a.column(name, in.Column(name))
	}
	inch, hasInch := in.Inch()
	system := "ISO 1832"
	if rd.Inch {
		system = "ANSI B212.4"
	}
	a.add("recommended", rd.Status)
	a.add("base", in.Base())
	a.add("system", system)
	a.add("iso", in.Base())
	a.add("ansi", inch.Name)
	a.column("ansi_size", inch.Size)
	a.column("ansi_thickness", inch.Thickness)
	a.column("ansi_radius", inch.Radius)
	a.add("ic_inch", inch.IC)
	a.add("thickness_inch", inch.S)
	a.add("radius_inch", inch.RE)
	a.add("status", inch.Status)
	l := in.Limits()
	for _, t := range []struct {
		name  string
		value float64
	}{{"d_plus_minus_mm", l.D}, {"m_plus_minus_mm", l.M}, {"s_plus_minus_mm", l.S}} {
		a.column(t.name, known(t.value))
	}
	a.add("seat", in.Seat())
	a.add("pocket", in.Pocket().String())
	a.add("notes", notes(rd.Notes()))

	var b strings.Builder
	b.WriteString(in.String())
	if hasInch {
		fmt.Fprintf(&b, "   in inches %s (%s)", inch.Name, inch.Status)
	}
	b.WriteString("\n")
	writePositions(&b, in.Positions())
	sides := map[string]string{"single": "one-sided", "double": "two-sided"}[in.Column("sides")]
	switch n := in.Edges(); {
	case n > 0:
		fmt.Fprintf(&b, "  edges    %d, %s (common practice)\n", n, sides)
	case sides != "":
		fmt.Fprintf(&b, "  edges    %s; how many is not fixed\n", sides)
	default:
		b.WriteString("  edges    only the drawing can tell\n")
	}
	fmt.Fprintf(&b, "  pocket   %s, hole: %s\n", in.Pocket(), in.HoleText())
	writeNotes(&b, rd.Notes())
	a.text = b.String() + "\n"
	return a
}

func known(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf("%g", v)
}

func writePositions(b *strings.Builder, ps []standard.Position) {
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, p := range ps {
		fmt.Fprintf(w, "  %s\t%s\t%s\t%s\n", p.Number, p.Text, p.Symbol, p.Meaning)
	}
	_ = w.Flush() // into memory
}

func writeNotes(b *strings.Builder, list []string) {
	for _, n := range list {
		fmt.Fprintf(b, "  note     %s\n", n)
	}
}

func decodeBar(text string) *answer {
	a := new(answer)
	a.add("designation", text)
	a.add("text", text)
	bar, rd, err := standard.ReadBar(text)
	if err != nil {
		a.refuse(err)
		a.readAs(text)
		return a
	}
	for _, name := range standard.BarColumns {
		a.column(name, bar.Column(name))
	}
	a.add("recommended", rd.Status)
	asks := bar.Asks()
	a.add("asks", notes(asks))
	std, hasStd := standard.StandardBarOf(bar.Diameter)
	if hasStd {
		a.add("standard", map[string]any{
			"shank_diameter_mm": std.DiameterMM, "length_letter": string(rune(std.LengthLetter)), "length_mm": std.LengthMM,
			"wf_mm": std.WF, "dmin_mm": std.DMIN, "status": std.Status,
		})
	}
	a.add("notes", notes(rd.Notes()))

	var b strings.Builder
	b.WriteString(bar.String() + "\n")
	writePositions(&b, bar.Positions())
	fmt.Fprintf(&b, "  takes    %s; the name does not tell the thickness of the seat\n", bar.Pocket())
	if hasStd {
		fmt.Fprintf(&b, "  standard %g mm bars: WF %g mm, DMIN %g mm (%s)\n", std.DiameterMM, std.WF, std.DMIN, std.Status)
	}
	for _, s := range asks {
		if sym, ok := standard.SymbolOf(s); ok {
			fmt.Fprintf(&b, "  ask for  %s, %s: %s\n", s, sym.Name, sym.Definition)
		}
	}
	if bar.Damped() {
		b.WriteString("  caution  damped: clamp all round, no screw on the damper; ask the maker for the shortest and longest overhang (common practice, no source)\n")
	}
	writeNotes(&b, rd.Notes())
	a.text = b.String() + "\n"
	return a
}

// readAs adds what a name refused as a bar says in its own system.
func (a *answer) readAs(text string) {
	if bar, err := standard.ParseInchBar(text); err == nil {
		lf, _ := bar.LF()
		a.add("read_as", map[string]any{
			"system": "inch bar", "canonical": bar.String(), "shank_diameter_mm": bar.Diameter, "length_mm": lf,
			"length_status": "from memory, uncertain: measure it", "insert_ic_mm": bar.IC(), "fitting_insert_prefix": bar.Pocket().String(),
		})
		var b strings.Builder
		fmt.Fprintf(&b, "  read as an inch bar:\n")
		writePositions(&b, bar.Positions())
		a.text = strings.TrimSuffix(a.text, "\n") + b.String() + "\n"
		return
	}
	if h, err := standard.ParseHolder(text); err == nil {
		lf, _ := h.LF()
		kapr, form := h.KAPR()
		a.add("read_as", map[string]any{
			"system": "square-shank holder, ISO 5608", "canonical": h.String(), "shank_height_mm": h.H, "shank_width_mm": h.B, "length_mm": lf,
			"kapr_deg": kapr, "form": form, "hand": string(rune(h.Hand)), "fitting_insert_prefix": h.Pocket().String(),
		})
		a.text = strings.TrimSuffix(a.text, "\n") + fmt.Sprintf("  read as a holder: shank %d × %d mm, length %g mm, entering angle %g° (%s), takes %s\n\n", h.H, h.B, lf, kapr, form, h.Pocket())
		return
	}
	if in, err := standard.ParseInsert(text); err == nil {
		a.add("read_as", map[string]any{"system": "insert", "canonical": in.String()})
	}
}

// pairMarks part a male from a female thread on one line, the rarest first: a comma may
// also be a decimal mark.
var pairMarks = []string{"\t", "|", ";", ","}

func isPair(text string) bool {
	for _, m := range pairMarks {
		if strings.Contains(text, m) {
			return true
		}
	}
	return false
}

func decodeMates(line string) *answer {
	a := new(answer)
	for _, mark := range pairMarks {
		if strings.Count(line, mark) != 1 {
			continue
		}
		male, female, _ := strings.Cut(line, mark)
		return mates(strings.TrimSpace(male), strings.TrimSpace(female))
	}
	a.add("text", line)
	return a.refuse(&standard.Refusal{
		Reader: "pair of threads", Text: line[:min(len(line), 80)], Code: standard.CodeForm, Status: standard.Reject,
		Why: "a line is a male and a female thread, parted by a comma, a tab or |",
	})
}

func mates(maleText, femaleText string) *answer {
	a := new(answer)
	male, err := port(maleText, standard.Male)
	side := "male"
	var female standard.Port
	if err == nil {
		female, err = port(femaleText, standard.Female)
		side = "female"
	}
	if err != nil {
		a.add("male", maleText)
		a.add("female", femaleText)
		a.add("refused", side)
		return a.refuse(err)
	}
	m := standard.Mates(male, female)
	if male.Gender == standard.Female && female.Gender == standard.Male {
		male, female = female, male
	}
	caution := "no"
	if m.Caution {
		caution = "yes"
	}
	a.add("male", male.Thread.ID)
	a.add("female", female.Thread.ID)
	a.add("result", m.Result)
	a.add("seal", m.Seal)
	a.add("caution", caution)
	a.add("reason", m.Reason)
	a.add("basis", m.Basis)
	a.add("adapter", m.Adapter.String())

	var b strings.Builder
	fmt.Fprintf(&b, "%s %s, %s %s: %s\n", male.Gender, male.Thread.ID, female.Gender, female.Thread.ID, strings.ReplaceAll(m.Result, "_", " "))
	fmt.Fprintf(&b, "  why      %s\n", m.Reason)
	if m.Seal != "" {
		fmt.Fprintf(&b, "  seal     %s\n", m.Seal)
	}
	if m.Caution {
		b.WriteString("  caution  look at both ends before pressure comes on\n")
	}
	if !m.Adapter.IsZero() {
		fmt.Fprintf(&b, "  joined   by an %s\n", m.Adapter)
	}
	fmt.Fprintf(&b, "  basis    %s\n\n", strings.Replace(m.Basis, "comparison of threads.csv", "the two rows of the thread table", 1))
	a.text = b.String()
	return a
}

// port reads one end: with its gender written (M:G 1/4), or with the gender of its place.
func port(text string, place standard.Gender) (standard.Port, error) {
	if p, err := standard.ParsePort(text); err == nil {
		return p, nil
	}
	p, err := standard.ParsePort(string(rune(place)) + ":" + text)
	if err == nil {
		return p, nil
	}
	if _, own := standard.ParseThread(text); own != nil {
		err = own // points at the text as it was typed
	}
	return standard.Port{}, err
}
