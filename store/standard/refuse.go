package standard

import (
	"errors"
	"fmt"
	"strings"
)

// ErrDesignation is the class of every refusal of this package: the text was read and is
// not what the reader reads. All refusals are a *[Refusal].
var ErrDesignation = errors.New("designation not read")

// What is to be done with a text. These are the words of the reference tables.
const (
	Accept           = "accept"            // as the standard writes it
	Normalise        = "normalise"         // right after cleaning spaces, case, dashes, width
	AcceptSuffix     = "accept_suffix"     // right, with a maker's suffix kept apart
	AcceptIncomplete = "accept_incomplete" // right, but a letter means "special": ask for the value
	OtherSystem      = "other_system"      // a name, but of another system than the one asked for
	Reject           = "reject"            // no name this reader can prove
)

// Codes of a refusal, for a program. The first that fails is told: size, encoding,
// characters, form, meaning.
const (
	CodeEmpty     = "empty"            // nothing but white space
	CodeTooLong   = "too_long"         // more than 512 bytes, or more than 64 characters cleaned
	CodeEncoding  = "encoding_invalid" // not UTF-8
	CodeControl   = "control_char"     // a control character inside
	CodeBidi      = "bidi_char"        // a character that changes the writing direction
	CodeInvisible = "invisible_char"   // a character without width
	CodeCharset   = "charset"          // a letter of another script, or a sign nobody prints
	CodeForm      = "form"             // the shape of the text is not that of such a name
	CodeCheck     = "check_digit"      // the check character is missing or does not fit
	CodeMeaning   = "meaning"          // the shape is right, but a letter or number means nothing there
	CodeUnit      = "unit"             // a bare number that could be mm or inches
	CodeSystem    = "other_system"     // readable, but by another reader
)

// A Refusal says why a text was not read, where, and what was likely meant. It is an
// ErrDesignation.
type Refusal struct {
	Reader string   // insert, bar, holder, thread, size, tag, seat, fit
	Text   string   // as given, cut after 80 characters
	At     int      // the offending character of Text, counted from 1; 0: the text as a whole
	Char   string   // that character; empty if At is 0 or the text ends too early
	Why    string   // one sentence part, lower case
	Code   string   // one of the Code constants
	Status string   // Reject or OtherSystem
	Meant  []string // likely right spellings, likeliest first; may be empty, never chosen for you
}

func (r *Refusal) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %q: ", r.Reader, r.Text)
	switch {
	case r.At > 0 && r.Char != "":
		fmt.Fprintf(&b, "character %d %q: ", r.At, r.Char)
	case r.At > 0:
		fmt.Fprintf(&b, "at the end (character %d): ", r.At)
	}
	b.WriteString(r.Why)
	if len(r.Meant) > 0 {
		b.WriteString("; meant ")
		b.WriteString(strings.Join(r.Meant, " or "))
		b.WriteString("?")
	}
	return b.String()
}

// Unwrap makes every refusal an ErrDesignation.
func (r *Refusal) Unwrap() error { return ErrDesignation }

// refusal starts a refusal of the whole text.
func refusal(reader, text, code, why string) *Refusal {
	status := Reject
	if code == CodeSystem {
		status = OtherSystem
	}
	return &Refusal{Reader: reader, Text: cut(text), Code: code, Why: why, Status: status}
}

// cut keeps a message short whatever was pasted, and printable.
func cut(text string) string {
	if len(text) > 400 {
		text = text[:400]
	}
	text = strings.ToValidUTF8(text, "�")
	n := 0
	for i := range text {
		if n == 80 {
			return text[:i] + "…"
		}
		n++
	}
	return text
}
