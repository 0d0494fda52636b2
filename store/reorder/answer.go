package reorder

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kinds are the questions Answer knows, as they are typed.
var kinds = map[string]func(fields) (Answer, error){
	"order-quantity": answerQuantity,
	"reorder-point":  answerPoint,
	"intermittent":   answerIntermittent,
	"demand-class":   answerClass,
	"abc":            answerABC,
}

// A Member is one field of an answer.
type Member struct {
	Name  string
	Value any // nil, bool, string, int, float64 (NaN is null), json.RawMessage, a slice of these, or an Answer
}

// An Answer is a JSON object whose members keep their order, so that a person reads the
// important ones first.
type Answer []Member

// Get returns the value of a member, nil if there is none.
func (a Answer) Get(name string) any {
	for _, m := range a {
		if m.Name == name {
			return m.Value
		}
	}
	return nil
}

// MarshalJSON writes the members in order; figures have 12 digits, NaN is null.
func (a Answer) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range a {
		if i > 0 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(m.Name)
		if err != nil {
			return nil, err
		}
		value, err := json.Marshal(plain(m.Value))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.Name, err)
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plain makes a value fit for JSON: a float rounds to 12 digits, for the rest is noise,
// and what is not finite is null.
func plain(v any) any {
	switch v := v.(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
		if err != nil || r == 0 {
			return 0
		}
		return r
	case []float64:
		out := make([]any, len(v))
		for i := range v {
			out[i] = plain(v[i])
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = plain(v[i])
		}
		return out
	}
	return v
}

// Respond answers one case of a kind: a JSON object with the fields of the reference
// files. Unknown fields, such as a note, a source or an expected result, are ignored. The
// answer begins with the id, if there is one. A refusal is an answer too, with error and
// status members, and comes with the error that it tells.
func Respond(kind string, raw json.RawMessage) (Answer, error) {
	var f fields
	out := Answer{}
	answer := kinds[kind]
	err := json.Unmarshal(raw, &f)
	switch {
	case answer == nil:
		err = &BadInput{"kind", kind, "is not a question of this room", "use order-quantity, reorder-point, intermittent, demand-class or abc"}
	case err != nil || f == nil:
		err = &BadInput{"case", clip(raw), "is not a JSON object", `give {"id": ..., ...}`}
	}
	if id, ok := f["id"]; ok {
		out = append(out, Member{"id", json.RawMessage(bytes.ToValidUTF8(id, []byte("?")))})
	}
	if err == nil {
		var a Answer
		if a, err = answer(f); err == nil {
			return append(out, a...), nil
		}
	}
	return append(out, Member{"status", "invalid"}, Member{"error", err.Error()}), err
}

// List finds the cases in one JSON value: an object is one case, or holds a list of them
// under "cases" or under the name its kind has in the reference files; a list is a list of
// cases.
func List(kind string, value json.RawMessage) ([]json.RawMessage, error) {
	value = bytes.TrimSpace(value)
	if len(value) > 0 && value[0] == '[' {
		var list []json.RawMessage
		err := json.Unmarshal(value, &list)
		return list, err
	}
	var holder map[string]json.RawMessage
	if err := json.Unmarshal(value, &holder); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			return nil, err
		}
		return []json.RawMessage{value}, nil // not an object: Respond says so
	}
	names := []string{"cases"}
	switch kind {
	case "demand-class":
		names = append(names, "demand_classes")
	case "abc":
		names = append(names, "abc")
	}
	for _, name := range names {
		var list []json.RawMessage
		if inner, ok := holder[name]; ok && json.Unmarshal(inner, &list) == nil {
			return list, nil
		}
	}
	return []json.RawMessage{value}, nil
}

// clip shortens foreign text for an error line.
func clip(raw []byte) string {
	s := strings.ToValidUTF8(string(bytes.TrimSpace(raw)), "?")
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "..."
	}
	return s
}

// fields are the members of one case, not yet read.
type fields map[string]json.RawMessage

func (f fields) has(name string) bool {
	raw, ok := f[name]
	return ok && string(raw) != "null"
}

// read decodes a member; a missing one is a *BadInput.
func read[T any](f fields, name, shape string) (T, error) {
	var v T
	if !f.has(name) {
		return v, &BadInput{name, "", "is missing", "give " + shape}
	}
	if err := json.Unmarshal(f[name], &v); err != nil {
		return v, &BadInput{name, clip(f[name]), "is not " + shape, "give " + shape}
	}
	return v, nil
}

// nums reads several numbers that must be there.
func (f fields) nums(names ...string) ([]float64, error) {
	out := make([]float64, len(names))
	for i, name := range names {
		v, err := read[float64](f, name, "a number")
		if err != nil {
			return nil, err
		}
		out[i] = v
	}
	return out, nil
}

// numOr reads a number that may be left out.
func (f fields) numOr(name string, otherwise float64) (float64, error) {
	if !f.has(name) {
		return otherwise, nil
	}
	return read[float64](f, name, "a number")
}

func (f fields) list(name string) ([]float64, error) {
	return read[[]float64](f, name, "a list of numbers")
}

func (f fields) pairs(name string) ([][2]float64, error) {
	rows, err := read[[][]float64](f, name, "a list of pairs of numbers")
	if err != nil {
		return nil, err
	}
	out := make([][2]float64, len(rows))
	for i, r := range rows {
		if len(r) != 2 {
			return nil, &BadInput{fmt.Sprintf("%s[%d]", name, i), clip([]byte(fmt.Sprint(r))), "is not a pair", "give [first, second]"}
		}
		out[i] = [2]float64{r[0], r[1]}
	}
	return out, nil
}

func (f fields) chances(name string) ([]Chance, error) {
	rows, err := f.pairs(name)
	if err != nil {
		return nil, err
	}
	out := make([]Chance, len(rows))
	for i, r := range rows {
		if err := whole(fmt.Sprintf("%s[%d]", name, i), r[0], 0); err != nil {
			return nil, err
		}
		if r[0] > 1_000_000 {
			return nil, &BadInput{fmt.Sprintf("%s[%d]", name, i), show(r[0]), "is too large", "at most 1000000"}
		}
		out[i] = Chance{int(r[0]), r[1]}
	}
	return out, nil
}

func (f fields) kind() string {
	var k string
	if f.has("kind") && json.Unmarshal(f["kind"], &k) == nil {
		return k
	}
	return ""
}
